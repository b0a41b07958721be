"""lotshed screen: the main job."""

from pathlib import Path

import click

from cli.exit_codes import VERDICT_FAILS
from cli.options import (
    allow_linked_option,
    also_option,
    dry_run_option,
    full_option,
    json_option,
    out_folder_option,
    overwrite_option,
    strict_option,
    talk_options,
)
from cli.streams import tell, tell_json
from cli.voice import Voice, text_width


@click.command("screen")
@click.argument("site", metavar="SITE.toml", type=click.Path(path_type=Path))
@out_folder_option(required=False)
@click.option("--self-check", is_flag=True, help="Also hold our own drainage kernel against pysheds.")
@click.option(
    "--grounds", type=click.IntRange(1, 1000), metavar="N",
    help="Grounds that lidar allows, on which the answer is tried: what the site file says, or 100; 1 takes the raster "
    "as it is.",
)
@also_option
@strict_option
@dry_run_option
@json_option
@full_option
@allow_linked_option
@overwrite_option
@talk_options
@click.pass_obj
def command(
    voice: Voice,
    site: Path,
    out: Path | None,
    self_check: bool,
    grounds: int | None,
    also: tuple[str, ...],
    strict: bool,
    dry_run: bool,
    as_json: bool,
    full: bool,
    overwrite: bool,
) -> int | None:
    """Screen one lot: read the ground, follow the water, propose works, and say how sure that is.

    SITE.toml names the ground raster, the parcel and whatever else is known; `lotshed start` writes one. Into DIR go
    lot.gpkg (layers in the raster's CRS if that is projected, else local UTM; z in its linear unit), runoff.csv,
    summary.json, report.html, report.pdf with its appendix.pdf, and where pipes are laid stakeout.csv and
    profiles.csv. Columns carry their unit in their name and follow `units` of the site file; JSON is always in SI.

    \b
    Example:
      lotshed screen sample_data/lot_07.toml --out /tmp/lot_07
    """
    from pipelines.deliverables.files.place import check_place, prepare_place

    if dry_run:
        if out is not None:
            check_place(out, overwrite=overwrite)
        from pipelines.deliverables.words.say import say
        from pipelines.lot_inputs import check_site

        units, told = check_site(site)
        tell("\n".join(say(each, units) for each in told))
        return None
    if out is None:
        raise click.UsageError("Missing option '--out DIR': the folder for the result.")

    prepare_place(out, overwrite=overwrite)

    from datetime import date

    from pipelines.lot import screen_lot
    from terrain.beside import two_at_once

    if "parquet" in also:
        from pipelines.deliverables.files.geoparquet import refuse_without_parquet

        refuse_without_parquet()
    with voice.progress() as progress, two_at_once():
        findings = screen_lot(site, progress=progress, self_check=self_check, grounds=grounds)
        progress("writing layers, tables and the report", 0.95)

        # where a child looked along the outfalls this is loaded already
        from pipelines.deliverables.lot.handover import write_lot
        from pipelines.deliverables.lot.written import answer_text, brief_text, lot_files

        further = lot_files(findings, made_on=date.today(), geojson="geojson" in also, parquet="parquet" in also)
        write_lot(findings, out, overwrite=overwrite, extra_files=further)

    written = ["lot.gpkg", "runoff.csv", "summary.json", *further]
    if as_json:
        from pipelines.deliverables.files.text_file import summary_text
        from pipelines.deliverables.lot.summary import summary

        tell_json(summary_text(summary(findings)))
    elif full:
        tell(answer_text(findings, text_width()))
    else:
        tell(brief_text(findings, text_width(), str(out), written))
    if as_json or full:
        voice.note(f"Written to {out}: {', '.join(written)}")
    return VERDICT_FAILS if strict and findings.plan.parts.verdict != "sure" else None
