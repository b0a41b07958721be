"""The answer of `lotshed screen` as a person reads it on a terminal."""

import textwrap
from collections.abc import Iterable, Iterator
from functools import partial

from pipelines.deliverables.findings.lot import Findings, StandingWater
from pipelines.deliverables.unit_systems import unit_system
from pipelines.deliverables.words.names import EDGES, MODES, VERDICTS
from pipelines.deliverables.words.say import say, say_all
from pipelines.hydrology.runoff_table import runoff_bounds
from pipelines.inputs.quantity_words import format_quantity
from pipelines.layout.plan import Discharge, Said
from terrain.unit_table import Units

WIDTH = 100
MOST_LOW_SPOTS = 6


def lot_answer(findings: Findings) -> str:
    """The run's answer as plain text, every number with its unit."""
    units = unit_system(findings.units)
    plan = findings.plan
    sections = (
        ("Where water comes from", _sources(findings, units)),
        ("Where it stands", _standing(findings, units)),
        ("What is proposed", _proposed(findings, units)),
        ("How it leaves", (_discharge(line, units) for line in plan.discharges)),
        ("Ways compared", _alternatives(findings, units)),
        ("What leaves the lot in the design storm", _leaving(findings, units)),
        ("Cheap cures first", (" ".join(say_all((cure.what, cure.changes), units)) for cure in plan.cures)),
        ("Refer to a professional", say_all(plan.refer_out, units)),
        ("Check on site, most telling first", say_all(plan.site_checks, units)),
        ("Warnings", say_all(findings.warnings, units)),
        ("Cautions", (say(caution.text, units) for caution in findings.cautions)),
    )
    parts = [textwrap.fill(f"{findings.name}: {say(plan.verdict, units)}", WIDTH)]
    for title, lines in sections:
        listed = list(lines)
        if listed:
            parts.append("\n".join([title, *map(_item, listed)]))
    return "\n\n".join(parts)


def _in_words(kind: str, value: float | None, units: Units) -> str:
    return format_quantity(value, kind, units)


def _money(low: float | None, likely: float | None, high: float | None) -> str:
    if low is None or likely is None or high is None:
        return "not priced"
    return f"{round(low, -1):,.0f} to {round(high, -1):,.0f}, likely {round(likely, -1):,.0f}"


def _item(text: str) -> str:
    return textwrap.fill(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")


def _sources(findings: Findings, units: Units) -> Iterator[str]:
    share = findings.run_on_area / findings.studied_area if findings.studied_area else 0.0
    yield (
        f"Studied ground {_area(findings.studied_area, units)}: "
        f"the lot {_area(findings.parcel_area, units)}, "
        f"of it roof {_area(findings.roof_area, units)}; run-on from outside "
        f"{_area(findings.run_on_area, units)}, {share:.0%} of the studied ground."
    )
    depths = {row.storm_depth for row in findings.runoff}
    own = sum(row.runoff_volume for row in findings.runoff if not row.run_on)
    outside = sum(row.runoff_volume for row in findings.runoff if row.run_on)
    if depths:
        yield (
            f"Design storm {_rain(max(depths), units)}: {_volume(own, units)} runs off the lot and "
            f"{_volume(outside, units)} arrives from outside."
        )
        bounds = runoff_bounds(findings.runoff)
        yield (
            f"On dry soil {_volume(bounds.dry, units)} would run off in all, on wet soil "
            f"{_volume(bounds.wet, units)}."
        )


def _standing(findings: Findings, units: Units) -> Iterator[str]:
    on_lot = sorted((water for water in findings.low_spots if water.on_parcel), key=lambda water: water.rank)
    if not on_lot:
        yield "No low spot on the lot."
    for water in on_lot[:MOST_LOW_SPOTS]:
        yield _low_spot(water, units)
    if len(on_lot) > MOST_LOW_SPOTS:
        yield f"{len(on_lot) - MOST_LOW_SPOTS} more low spots of lower rank are in the layer low_spots."


def _low_spot(water: StandingWater, units: Units) -> str:
    spot = water.spot
    holds = f"holds {_depth(spot.depth, units)} over {_area(spot.area, units)} before it spills"
    if spot.enclosed:
        holds += ", shut in by roofs or barriers"
    doubt = " Shallower than the lidar can tell." if spot.within_lidar_error else ""
    before = _water(water.storm_depth, water.hours, units)
    after = _water(water.storm_depth_after, water.hours_after, units)
    return f"{spot.id}: {holds}. In the design storm {before}; with the works {after}. {say(water.why, units)}{doubt}"


def _water(depth: float, hours: float | None, units: Units) -> str:
    # less than shows in tenths of an inch
    if depth < 0.05 * 0.0254:
        return "dry"
    how_long = "for an unknown time" if hours is None else f"for {format_quantity(hours * 3600, 'time')}"
    return f"{_depth(depth, units)} deep {how_long}"


def _proposed(findings: Findings, units: Units) -> Iterator[str]:
    plan = findings.plan
    for basin in plan.catch_basins:
        kind = "Provisional catch basin" if basin.provisional else "Catch basin"
        yield f"{kind} {basin.id}, {basin.grate}, for {_flow(basin.peak_flow, units)}. {say(basin.why, units)}"
    for drain in plan.french_drains:
        yield (
            f"French drain {drain.id}, {_length(drain.length, units)} long, {drain.pipe}, for "
            f"{_flow(drain.peak_flow, units)}. {say(drain.why, units)}"
        )
    for channel in plan.channel_drains:
        yield (
            f"Channel drain {channel.id}, {_length(channel.length, units)} long, for "
            f"{_flow(channel.peak_flow, units)}. {say(channel.why, units)}"
        )
    for run in plan.pipe_runs:
        slope = "under pressure" if run.slope is None else f"at {run.slope:.1%}"
        yield (
            f"Pipe {run.id} from {run.from_id} to {run.to_id}: {_length(run.length, units)} of {run.size} "
            f"{run.standard} {slope}, {_flow(run.peak_flow, units)} at the peak, trench up to "
            f"{_length(run.deepest, units)} deep{_crossings(run.crossings, units)}."
        )
    for sump in plan.sumps:
        yield (
            f"Pumped basin {sump.id}, {sump.basin}: lifts {_flow(sump.operating_flow, units)} by "
            f"{_length(sump.lift, units)} where {_flow(sump.inflow, units)} arrives. "
            f"{'; '.join(say_all(sump.warnings, units))}"
        )


def _crossings(crossings: Iterable[Said], units: Units) -> str:
    listed = "; ".join(say_all(crossings, units))
    return f"; crosses {listed}" if listed else ""


def _discharge(line: Discharge, units: Units) -> str:
    numbers = []
    if line.fall_to_spare is not None:
        numbers.append(f"fall to spare {_depth(line.fall_to_spare, units)}")
    if line.fall_error is not None:
        numbers.append(f"its error {_depth(line.fall_error, units)}")
    if line.lift is not None:
        numbers.append(f"lift {_length(line.lift, units)}")
    where = f" to {line.outfall}" if line.outfall else ""
    of = f"{', '.join(line.serves)}: " if line.serves else ""
    told = f" ({', '.join(numbers)})" if numbers else ""
    return f"{of}{MODES[line.mode]}{where}: {VERDICTS[line.verdict]}{told}. {say(line.why, units)}"


def _alternatives(findings: Findings, units: Units) -> Iterator[str]:
    for way in findings.plan.alternatives:
        chosen = ", chosen" if way.chosen else ""
        if not way.possible:
            yield f"{MODES[way.mode].capitalize()}: not possible: {say(way.depends_on, units)}"
            continue
        told = [_money(way.low, way.likely, way.high)]
        if way.deepest is not None:
            told.append(f"deepest dig {_length(way.deepest, units)}")
        if way.fall_to_spare is not None:
            told.append(f"fall to spare {_depth(way.fall_to_spare, units)}")
        depends = f" Depends on: {say(way.depends_on, units)}" if way.depends_on else ""
        yield f"{MODES[way.mode].capitalize()}{chosen}: {'; '.join(told)}.{depends}"


def _leaving(findings: Findings, units: Units) -> Iterator[str]:
    for place, peak_before, volume_before, peak_after, volume_after in findings.leaving:
        where = EDGES[place].capitalize() if place in EDGES else place
        yield (
            f"{where}: peak {_flow(peak_before, units)} before, {_flow(peak_after, units)} after; volume "
            f"{_volume(volume_before, units)} before, {_volume(volume_after, units)} after"
        )


_length, _depth, _area, _volume, _flow, _rain = (
    partial(_in_words, kind) for kind in ("length", "depth", "area", "volume", "flow", "rain")
)
