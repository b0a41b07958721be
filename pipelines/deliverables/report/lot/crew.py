"""The crew's sheet: where it is dug and how deep, in which order, what can hurt, what to photograph and to test."""

from collections.abc import Iterator, Mapping

import pandas as pd

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.findings.stakeout import benchmark_of, stakes_of
from pipelines.deliverables.report.blocks import (
    Block,
    Head,
    Inline,
    Items,
    Paragraph,
    Sheet,
    Subhead,
    Table,
    said_items,
)
from pipelines.deliverables.report.figures.profile import profile_figure
from pipelines.deliverables.report.figures.section import drain_section, sump_section
from pipelines.deliverables.report.figures.water import pump_figure
from pipelines.deliverables.report.lot.answer import caution_paragraph
from pipelines.deliverables.report.lot.columns import COLUMNS
from pipelines.deliverables.report.numbers import layer_table, number
from pipelines.deliverables.words.quantities import format_quantity
from pipelines.deliverables.words.say import say
from pipelines.layout.plan import Plan
from terrain.unit_table import Units

HOSE = 0.5e-3
"""What a garden hose gives; common practice, no source. [m3/s]"""
SHORT = ("id", "from_id", "to_id", "size", "length", "slopes", "deepest", "crossings")


def crew_sheet(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> Sheet | None:
    """What the crew digs by."""
    plan = findings.plan
    if not (plan.pipe_runs or plan.french_drains or plan.channel_drains):
        return None
    digging = [caution for caution in findings.cautions if caution.id != "not_a_survey"]
    blocks: list[Block] = [
        caution_paragraph(),
        Subhead("Before you dig"),
        said_items((caution.text for caution in digging), units, "box"),
        Subhead("Order of work"),
        Items(tuple((step,) for step in order_of_work(plan)), "number"),
        Subhead("Pipes"),
    ]
    shown = tuple(each for each in COLUMNS["pipe_runs"] if each.column in SHORT)
    runs = layer_table(layers, "pipe_runs", units, shown, title="Pipes to lay")
    if runs is not None:
        blocks.append(Table("crew-runs", runs.title, runs.columns, runs.rows))
    blocks += _grades(findings, units)
    if plan.pipe_runs:
        blocks.append(Subhead("Profiles, as lidar sees the ground"))
    for run in plan.pipe_runs:
        on_run = [fitting for fitting in plan.fittings if fitting.on_run == run.id]
        blocks.append(profile_figure(run, on_run, findings.ground, findings.grid, units))
    if plan.french_drains or plan.sumps:
        blocks.append(Subhead("Sections"))
    blocks += [drain_section(drain, units) for drain in plan.french_drains]
    for sump in plan.sumps:
        blocks.append(sump_section(sump, units))
        blocks += [pump_figure(each, sump, units) for each in findings.pumps if each.sump == sump.id]
    blocks += [
        Subhead("Photograph before backfilling"),
        Items(tuple((text,) for text in photographs(plan)), "box"),
        Subhead("Hose test, before the sod goes back"),
        Items(tuple((text,) for text in hose_test(plan, units)), "number"),
    ]
    return Sheet("crew", "Crew", "For the crew that digs and lays.", tuple(blocks))


def order_of_work(plan: Plan) -> Iterator[str]:
    """Steps of the job in the order in which they are done; common practice, no source."""
    yield "Check on site what the answer asks for; where lidar cannot judge, the level shots come first."
    yield "See that the utility marks are there, locate private lines, open crossings by hand."
    yield "Set the benchmark, stake the line, cut and lift the sod."
    if any(run.kind == "gravity" for run in plan.pipe_runs):
        yield "Dig and lay each gravity line from its outfall upward, so that water always has a way out."
    for text, there in (
        ("Set the sump basin level on tamped stone, bring in its pipes, then its pressure line.", bool(plan.sumps)),
        ("Set each catch basin with its rim just below the ground around it.", bool(plan.catch_basins)),
        ("Line each French drain's trench with fabric, bed the pipe holes down, fill with washed stone, fold the "
         "fabric over as its section shows.", bool(plan.french_drains)),
        ("Cut the paving along a line, set the channel on concrete, level with the lower side.",
         bool(plan.channel_drains)),
    ):  # fmt: skip
        if there:
            yield text
    yield "Check the slope of every pipe with a level before it is covered. Photograph. Hose test."
    yield "Backfill in layers, tamp, put the sod back, sweep, show the owner the outlet and the cleanouts."


def photographs(plan: Plan) -> Iterator[str]:
    """What is photographed while it can be seen; common practice, no source."""
    yield "Every crossing, with a rule against it and something behind it that can be found again."
    for run in plan.pipe_runs:
        yield f"{run.id} in its open trench from both ends, with a rule at {run.from_id} and at {run.to_id}."
    for fitting in plan.fittings:
        if "cleanout" in fitting.kind.lower():
            yield f"The {fitting.kind} on {fitting.on_run}, with its distance to a corner of the house."
    for drain in plan.french_drains:
        yield f"{drain.id}: fabric, pipe on its bed, stone before the fabric is folded over."
    for sump in plan.sumps:
        yield f"{sump.id}: floats, check valve, relief hole, alarm."


def hose_test(plan: Plan, units: Units) -> Iterator[str]:
    """How it is tried before it is closed; common practice, no source."""
    hose = format_quantity(HOSE, "flow", units)
    yield f"One person at the outlet, one at the hose; a garden hose gives about {hose}."
    for basin in plan.catch_basins:
        if not basin.provisional:
            yield f"Run the hose into {basin.id} until it comes out at the end of its line; note the minutes."
    for drain in plan.french_drains:
        yield f"Run it along {drain.id}: no water may stand on the stone."
    for sump in plan.sumps:
        yield (
            f"Fill {sump.id} until the pump starts: it must stop by itself, the line drain back, the alarm sound when "
            "the pump is unplugged."
        )
    yield "Look for wet joints, a belly that holds water (a level on the pipe tells), and water where none should be."


def _grades(findings: Findings, units: Units) -> Iterator[Block]:
    benchmark, stakes = benchmark_of(findings), stakes_of(findings)
    if benchmark is None:
        return
    yield Subhead("Heights, provisional")
    name = say(benchmark.name, units)
    if benchmark.measured:
        told = f"Heights are relative to {name}, read with a level on site."
    else:
        told = (
            f"Heights are relative to {name}, which is unsurveyed; they are only as accurate as the lidar. Set a "
            "benchmark on site and read it first."
        )
    if findings.levels_given:
        told += " Cuts are to the trench's bottom under the pipe."
    else:
        told += " Cut depths need level shots."
    yield Paragraph((told,))
    level = number(0.0, "level", units).unit
    columns = [Head("Stake"), Head("What"), Head("Station", number(0.0, "length", units).unit, True),
               Head("Invert above benchmark, below it with a minus", level, True)]  # fmt: skip
    if findings.levels_given:
        columns.append(Head("Cut", level, True))
    rows: list[tuple[Inline, ...]] = []
    for stake in stakes:
        above = number(stake.above_benchmark, "level", units, f"stakeout|{stake.point}|invert_above_benchmark_{level}")
        row: list[Inline] = [
            stake.point, stake.what, number(stake.station, "length", units, f"stakeout|{stake.point}|station_{level}"),
            above,
        ]  # fmt: skip
        if findings.levels_given:
            row.append(number(stake.cut, "level", units, f"stakeout|{stake.point}|cut_{level}"))
        rows.append(tuple(row))
    yield Table("stakeout", "Stakes", tuple(columns), tuple(rows),
                note="The same rows with easting and northing are in stakeout.csv.")  # fmt: skip
