"""The crew's sheet: where it is dug and how deep, in which order, what can hurt, what to photograph and to test."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from shapely import Point

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.findings.stakeout import benchmark_of, stakes_of
from pipelines.deliverables.findings.ties import WallCorner, structures_of, ties_of, wall_corners
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
from pipelines.deliverables.report.figures.map_picture import MapPicture
from pipelines.deliverables.report.figures.plan import inverts_at, plan_figure
from pipelines.deliverables.report.figures.profile import profile_figure, profiles_of
from pipelines.deliverables.report.figures.section import drain_section, sump_section
from pipelines.deliverables.report.figures.water import pump_figure
from pipelines.deliverables.report.lot.answer import caution_paragraph
from pipelines.deliverables.report.numbers import number
from pipelines.deliverables.words.quantities import format_quantity
from pipelines.deliverables.words.say import say, say_all
from pipelines.deliverables.words.slopes import fall_for_crew
from pipelines.deliverables.words.take_off import in_trade_units
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.plan import Plan
from terrain.unit_table import Units

HOSE = 0.5e-3
"""What a garden hose gives; common practice, no source. [m3/s]"""


def crew_sheet(findings: Findings, picture: MapPicture, units: Units) -> Sheet | None:
    """What the crew digs by."""
    plan = findings.plan
    if not (plan.pipe_runs or plan.french_drains or plan.channel_drains):
        return None
    digging = [caution for caution in findings.cautions if caution.id != "not_a_survey"]
    crossed = tuple((f"{run.id} crosses {'; '.join(say_all(run.crossings, units))}.",)
                    for run in profiles_of(findings) if run.crossings)  # fmt: skip
    cautions = said_items((caution.text for caution in digging), units, "box")
    before = (Subhead("Before you dig"), replace(cautions, items=(*crossed, *cautions.items)))
    order = (Subhead("Order of work"), Items(tuple((step,) for step in order_of_work(plan)), "number"))
    heights, profiles = tuple(_heights(findings, units)), tuple(_profiles(findings, units))
    drawn = (plan_figure(findings, picture, units), *heights)
    take_off = (Subhead("Take-off, material"), Paragraph((material_words(findings, units),)))
    rest: list[Block] = [*_grades(findings, units)]
    if plan.french_drains or plan.sumps:
        rest.append(Subhead("Sections"))
    rest += [drain_section(drain, units) for drain in plan.french_drains]
    for sump in plan.sumps:
        rest.append(sump_section(sump, units))
        rest += [pump_figure(each, sump, units) for each in findings.pumps if each.sump == sump.id]
    rest += [
        Subhead("Photograph before backfilling"),
        Items(tuple((text,) for text in photographs(plan)), "box"),
        Subhead("Hose test, before the sod goes back"),
        Items(tuple((text,) for text in hose_test(plan, units)), "number"),
    ]
    paper = (caution_paragraph(), *drawn, *before, *profiles, *order, *take_off)
    blocks = (caution_paragraph(), *before, *order, *drawn, *profiles, *take_off, *rest)
    return Sheet("crew", "Crew", "For the crew that digs and lays.", blocks, paper)


def _profiles(findings: Findings, units: Units) -> Iterator[Block]:
    runs = profiles_of(findings)
    if runs:
        yield Subhead("Profiles, as lidar sees the ground")
    yield from (profile_figure(run, findings, units) for run in runs)


def material_words(findings: Findings, units: Units) -> str:
    """What is brought, in one line."""
    material = [(line.item, *in_trade_units(line.quantity, line.kind, units))
                for line in findings.plan.take_off if line.share == "material"]  # fmt: skip
    told = ((item, number(amount, "amount", units).text.removesuffix(".0"), unit) for item, amount, unit in material)
    return f"{'; '.join(' '.join(each) for each in told)}."


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


def _heights(findings: Findings, units: Units) -> Iterator[Block]:
    """What heights are told from, and where each structure stands."""
    benchmark = benchmark_of(findings)
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
    corners = wall_corners(findings)
    if not corners:
        told += " No outline of a house was drawn along its walls, and a roof's corner is an eave: locate on site."
    yield Paragraph((told,))
    yield _structures(findings, corners, units)


def _structures(findings: Findings, corners: Sequence[WallCorner], units: Units) -> Table:
    """Each structure with its inverts, its depth, and the distances that find it."""
    level, length = number(0.0, "level", units).unit, number(0.0, "length", units).unit
    deep = Head("Cut", level, True) if findings.levels_given else Head("Depth, about", length, True)
    where = (Head("First tie"), Head("Second tie")) if corners else (Head("Where"),)
    columns = (Head("Structure"), Head("What"), Head("Invert above benchmark, in / out", level, True), deep, *where)
    rows: list[tuple[Inline, ...]] = []
    for each in structures_of(findings):
        ties = ties_of(each.point, corners)
        told = tuple(f"{number(tie.distance, 'length', units).text} {tie.origin}" for tie in ties or ())
        depth = depth_at(findings, each.point)
        kind = "level" if findings.levels_given else "length"
        rows.append((each.id, each.what, inverts_at(findings, each.point, units),
                     "" if depth is None else number(depth, kind, units).bare,
                     *(told or ("locate on site", "")[: len(where)])))  # fmt: skip
    note = "Ties are from corners of walls, lettered on the plan." if corners else ""
    return Table("structures", "Structures", columns, tuple(rows), note=note)


def depth_at(findings: Findings, point: Point) -> float | None:
    """Ground less the trench's bottom under the lowest pipe at a point; None where no pipe ends there. [m]"""
    deepest = [
        ground - z + find_pipe(run.pipe_key).wall
        for run in findings.plan.pipe_runs
        for (x, y, z), ground in ((run.line.coords[0], run.ground[0]), (run.line.coords[-1], run.ground[-1]))
        if np.hypot(x - point.x, y - point.y) < 0.3
    ]
    return max(max(deepest), 0.0) if deepest else None


def _grades(findings: Findings, units: Units) -> Iterator[Block]:
    stakes = stakes_of(findings)
    if not stakes:
        return
    level = number(0.0, "level", units).unit
    fall = Head(f"Fall to the next, over {'10 ft' if units == 'us' else '10 m'}", "", True)
    columns = [Head("Stake"), Head("What"), Head("Station", number(0.0, "length", units).unit, True),
               Head("Invert above benchmark, below it with a minus", level, True), fall]  # fmt: skip
    if findings.levels_given:
        columns.append(Head("Cut", level, True))
    rows: list[tuple[Inline, ...]] = []
    for stake in stakes:
        above = number(stake.above_benchmark, "level", units, f"stakeout|{stake.point}|invert_above_benchmark_{level}")
        row: list[Inline] = [
            stake.point, stake.what, number(stake.station, "length", units, f"stakeout|{stake.point}|station_{level}"),
            above, "" if stake.slope is None else say(fall_for_crew(stake.slope), units).partition(" per")[0],
        ]  # fmt: skip
        if findings.levels_given:
            row.append(number(stake.cut, "level", units, f"stakeout|{stake.point}|cut_{level}"))
        rows.append(tuple(row))
    yield Table("stakeout", "Stakes", tuple(columns), tuple(rows),
                note="The same rows with easting and northing are in stakeout.csv.")  # fmt: skip
