"""lotshed gis-plugin: the steps and jobs as algorithms of a desktop GIS."""

from pathlib import Path

import click

from cli.options import overwrite_option, talk_options
from cli.streams import tell_json
from cli.voice import Voice


@click.command("gis-plugin")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE.zip", help="Plugin to write.")
@click.option("--describe", is_flag=True, help="Print what can be offered as JSON, as the plugin asks for it.")
@overwrite_option
@talk_options
@click.pass_obj
def command(voice: Voice, out: Path | None, describe: bool, overwrite: bool) -> None:
    """Write a plugin that offers lotshed in QGIS, 3.22 or later: each step and whole job as a Processing algorithm.

    Install it there under Plugins, from a ZIP file. It runs this lotshed, in this environment, or the one that is
    named in its setting; steps of other packages appear as soon as they are installed here. Lengths are asked in
    metres or another unit of one's choice, other quantities in the unit that stands beside them. The file
    names the folder of this environment, so write it anew before passing it on to somebody.

    \b
    Example:
      lotshed gis-plugin --out /tmp/lotshed_plugin.zip
    """
    if (out is None) != describe:
        raise click.UsageError("Give --out FILE.zip for the plugin, or --describe for what it would offer.")
    if out is not None:
        from pipelines.deliverables.files.place import check_file_place

        check_file_place(out, ending=".zip", overwrite=overwrite)
    from cli.gis.description import description

    offered, faults = description()
    for fault in faults:
        voice.note(f"Warning: {fault}")
    if out is None:
        import json

        tell_json(json.dumps(offered))
        return
    from cli.gis.package import plugin_bytes
    from pipelines.deliverables.files.single_file import write_single_bytes

    write_single_bytes(out, plugin_bytes(offered))
    voice.note(f"Written to {out}: in the GIS, install it from this ZIP file.")
