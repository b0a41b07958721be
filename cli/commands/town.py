"""lotshed town: every lot of a street or a town, and the swales that take their water."""

from pathlib import Path
from typing import Any

import click

from cli import interrupt
from cli.options import allow_linked_option, json_option, out_folder_option, overwrite_option, talk_options
from cli.streams import tell, tell_json
from cli.voice import Voice, text_width


@click.command("town")
@click.argument("town", metavar="TOWN.toml", type=click.Path(path_type=Path))
@out_folder_option(required=True)
@click.option(
    "--depth",
    type=click.Choice(["ground", "plan"]),
    default="ground",
    show_default=True,
    help="How much is done of each lot: its water alone, or the whole screen.",
)
@click.option("--where", metavar="SQL", help="Which parcels, in place of `where` in [parcel] of the town file.")
@click.option("--scheduler", metavar="ADDRESS", help="Dask scheduler that runs already  [default: one on this machine]")
@click.option(
    "--workers",
    type=click.IntRange(1, 10_000),
    metavar="N",
    help="Processes to start here, or to wait for at the address  [default: one a core]",
)
@click.option(
    "--grounds",
    type=click.IntRange(1, 1000),
    metavar="N",
    help="Grounds that lidar allows, on which lots are tried: all at the depth plan, at the depth ground the "
    "tenth that needs most  [default: 20]",
)
@click.option("--resume", is_flag=True, help="Do only lots that are missing or whose inputs changed.")
@click.option("--reports", metavar="worst:N", help="Also write the report page of the N lots that need most.")
@click.option(
    "--lot-time",
    type=click.FloatRange(1.0, 1e6),
    metavar="SECONDS",
    default=600.0,
    show_default=True,
    help="After which a lot is ended and set aside.",
)
@click.option(
    "--lot-memory",
    type=click.FloatRange(0.2, 1e4),
    metavar="GB",
    default=1.2,
    show_default=True,
    help="That a worker, or a lot by itself, may take.",
)
@json_option
@allow_linked_option
@overwrite_option
@talk_options
@click.pass_obj
def command(
    voice: Voice,
    town: Path,
    out: Path,
    depth: str,
    where: str | None,
    scheduler: str | None,
    workers: int | None,
    grounds: int | None,
    resume: bool,
    reports: str | None,
    lot_time: float,
    lot_memory: float,
    as_json: bool,
    overwrite: bool,
) -> None:
    """Do every lot of a town, rank them by need, and route their water along its swales.

    TOWN.toml is a site file whose [parcel] selects many and whose [elevation] file may be a folder or list of rasters.
    Each lot is done as `lotshed screen` would, by workers of Dask (pip install 'lotshed[town]'): on this machine, or
    on those of a scheduler's ADDRESS, which must see all inputs at the same paths. Lots that are done are kept in
    DIR.lots as they are done, so that --resume goes on where a run ended. Into DIR go town.gpkg and the same layers
    as GeoParquet (in the raster's CRS if that is projected, else local UTM), runoff.csv, lots.csv, summary.json and
    town.html. Columns carry their unit in their name and follow `units` of the town file; JSON is always in SI: with
    --json one event a line, the last one with the summary.

    \b
    Example:
      lotshed town sample_data/town.toml --out /tmp/town --workers 2
    """
    from pipelines.deliverables.files.place import prepare_place

    prepare_place(out, overwrite=overwrite or resume)

    from datetime import date

    from pipelines.deliverables.town.answer import town_text
    from pipelines.deliverables.town.handover import write_town
    from pipelines.deliverables.town.summary import town_summary
    from pipelines.town.alone import Limits
    from pipelines.town.reports import wanted_reports
    from pipelines.town.run import TownWish, run_town

    count = wanted_reports(reports)
    wish = TownWish(
        depth="plan" if depth == "plan" else "ground",
        where=where,
        grounds=grounds,
        scheduler=scheduler,
        workers=workers,
        resume=resume,
        limits=Limits(lot_time, lot_memory * 1e9),
    )

    def event(name: str, values: dict[str, Any]) -> None:
        if as_json:
            tell_json(_line({"event": name, **values}))

    interrupt.keeps("Finished lots are kept; run again with --resume.")
    with voice.progress() as progress:
        findings, pages = run_town(town, out, wish, tell=progress, event=event, reports=count)
        progress("writing layers, tables and the page", 0.95)
        written = write_town(findings, out, overwrite=overwrite or resume, made_on=date.today(), extra_files=pages)
    if as_json:
        tell_json(_line({"event": "done", "summary": town_summary(findings)}))
    else:
        tell(town_text(findings, text_width(), str(out), written))


def _line(values: dict[str, Any]) -> str:
    import json

    return json.dumps(values, allow_nan=False, default=str)
