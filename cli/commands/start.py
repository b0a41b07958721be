"""lotshed start: look at the two files that everyone has, and write a site file."""

from pathlib import Path

import click

from cli.options import allow_linked_option, overwrite_option, talk_options
from cli.streams import tell
from cli.voice import Voice


@click.command("start")
@click.argument("ground", metavar="GROUND", type=click.Path(path_type=Path))
@click.argument("parcel", metavar="PARCEL", type=click.Path(path_type=Path))
@click.option("--layer", help="Layer of the parcel file, where it holds several.")
@click.option("--where", help="Expression that selects the lot, as GDAL takes it, such as \"lot = 7\".")
@click.option("--unit", type=click.Choice(["m", "ft", "ftUS"]), help="Vertical unit of the ground, where you know it.")
@click.option(
    "--units", type=click.Choice(["us", "si"]), default="us", show_default=True, help="Units of what is handed over."
)
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE", help="Site file to write  [default: site.toml by PARCEL]"
)
@allow_linked_option
@overwrite_option
@talk_options
@click.pass_obj
def command(
    voice: Voice,
    ground: Path,
    parcel: Path,
    layer: str | None,
    where: str | None,
    unit: str | None,
    units: str,
    out: Path | None,
    overwrite: bool,
) -> None:
    """Look at a ground raster and a parcel file, say what they are, and write a site file to edit.

    The ground may be any raster that GDAL reads, the parcel any vector file; each may be in its own CRS. The site
    file runs as it is, and its comments say what else can be added: roofs, rain, outfalls and so on.

    \b
    Example:
      lotshed start sample_data/ground.tif sample_data/neighbourhood.gpkg --layer parcels --where "lot = 7" \\
          --out /tmp/site.toml
    """
    from pipelines.deliverables.files.single_file import check_file_place, write_single_text
    from pipelines.deliverables.files.site_file_text import description_lines, site_file_text
    from pipelines.deliverables.unit_systems import unit_system
    from pipelines.deliverables.words.say import say_all
    from pipelines.inputs.describe import describe_inputs

    place = parcel.parent / "site.toml" if out is None else out
    check_file_place(place, ending=".toml", overwrite=overwrite)
    found = describe_inputs(ground, parcel, layer=layer, where=where, unit=unit)
    system = unit_system(units)
    write_single_text(place, site_file_text(found, place.resolve().parent, system))
    lines = description_lines(found, system)
    width = max(len(what) for what, _ in lines)
    tell("\n".join(f"{what.ljust(width)}  {value}" for what, value in lines))
    for warning in say_all(found.warnings, system):
        voice.note(f"Warning: {warning}")
    voice.note(f"Written to {place}; edit it, then: lotshed screen {place} --out DIR")
