"""lotshed swale: does the outfall take it?"""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli.exit_codes import VERDICT_FAILS
from cli.options import (
    allow_linked_option,
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

if TYPE_CHECKING:
    from pipelines.swale import WhatIf


@click.command("swale")
@click.argument("site", metavar="SITE.toml", type=click.Path(path_type=Path))
@out_folder_option(required=False)
@click.option("--add-discharge", multiple=True, metavar="FLOW", help='A discharge to try, as "60 gpm"; needs --at.')
@click.option("--at", multiple=True, metavar="X,Y", help="Where it comes out: easting,northing in the raster's CRS.")
@click.option("--lots", type=click.Path(path_type=Path), metavar="FOLDER", help="Screened lots to add, one by one.")
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
    add_discharge: tuple[str, ...],
    at: tuple[str, ...],
    lots: Path | None,
    strict: bool,
    dry_run: bool,
    as_json: bool,
    full: bool,
    overwrite: bool,
) -> int | None:
    """Check swales station by station: slope, standing water, culverts, water levels in the storm, outlets, a re-cut.

    SITE.toml names the ground raster, the parcels and in [swales] the lines along the swales; culverts, outfalls,
    roofs, rain and soil make the answer better. Into DIR go swale.gpkg (layers in the raster's CRS if that is
    projected, else local UTM; z in its linear unit), stations.csv, summary.json and two pictures a swale. Columns
    carry their unit in their name and follow `units` of the site file; JSON is always in SI. A discharge to try is
    given with its place, several by repeating both; --lots adds the outlets of screened lots one by one, in the order
    of their names, and says with which the swale is full. With --strict the exit code is 3 where a reach, a drive or
    an outlet does not surely take it.

    \b
    Example:
      lotshed swale sample_data/swale.toml --out /tmp/swales --add-discharge "60 gpm" --at 711930,3319997
    """
    from pipelines.deliverables.files.place import check_place, prepare_place

    if out is not None:
        (check_place if dry_run else prepare_place)(out, overwrite=overwrite)
    asked = _asked(add_discharge, at)
    if dry_run:
        from pipelines.deliverables.words.say import say
        from pipelines.swale import plan_of_check

        plan = plan_of_check(site, lots=lots)
        for step in plan.steps:
            tell(say(step, plan.units))
        return None
    if out is None:
        raise click.UsageError("Missing option '--out DIR': the folder for the result.")

    from pipelines.deliverables.swale.handover import write_swales
    from pipelines.swale import check_swale

    with voice.progress() as progress:
        findings = check_swale(site, progress=progress, add_discharges=asked, lots=lots)
        written = write_swales(findings, out, overwrite=overwrite)

    if as_json:
        from pipelines.deliverables.files.text_file import summary_text
        from pipelines.deliverables.swale.summary import swale_summary

        tell_json(summary_text(swale_summary(findings)))
    elif full:
        from pipelines.deliverables.report.swale_answer import caution_blocks, swale_answer_blocks
        from pipelines.deliverables.report.text import blocks_as_text

        tell(blocks_as_text((*swale_answer_blocks(findings), *caution_blocks(findings)), text_width()))
    else:
        from pipelines.deliverables.report.swale_answer import swale_brief_text

        tell(swale_brief_text(findings, text_width(), str(out), written))
    if as_json or full:
        voice.note(f"Written to {out}: {', '.join(written)}")
    return VERDICT_FAILS if strict and any(not found.takes_all for found in findings.swales) else None


def _asked(flows: tuple[str, ...], places: tuple[str, ...]) -> "list[WhatIf]":
    from pipelines.inputs.errors import QuantityError
    from pipelines.inputs.quantity import parse_quantity
    from pipelines.swale import WhatIf
    from terrain.shown_text import quoted

    if len(flows) != len(places):
        raise click.UsageError(
            f"{len(flows)} --add-discharge and {len(places)} --at were given: give one place for each discharge."
        )
    asked = []
    for flow, place in zip(flows, places, strict=True):
        try:
            easting, northing = (float(part) for part in place.split(","))
        except ValueError:
            words = f"--at {quoted(place)}: give easting and northing with a comma between, as 711930,3319997"
            raise click.UsageError(words) from None
        amount = parse_quantity(flow, "flow", "--add-discharge")
        if amount < 0.0:
            raise QuantityError(f"--add-discharge {quoted(flow)}: a discharge is 0 or more")
        asked.append(WhatIf(amount, easting, northing))
    return asked
