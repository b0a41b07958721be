"""The answer of `lotshed screen` as a person reads it on a terminal."""

import textwrap
from collections.abc import Iterable, Iterator

from pipelines.deliverables.findings import Findings, StandingWater
from pipelines.deliverables.unit_systems import UnitSystem, unit_system
from pipelines.deliverables.words import (
    area_words,
    flow_words,
    hours_words,
    length_words,
    money_words,
    rain_words,
    volume_words,
)
from pipelines.layout.plan import Discharge

WIDTH = 100
MOST_LOW_SPOTS = 6

VERDICTS = {"sure": "sure", "cannot_tell": "cannot tell from this lidar", "no": "does not work"}
MODES = {
    "gravity": "by gravity",
    "pump": "pumped",
    "daylight": "daylight on the own lot",
    "soakaway": "into a soakaway",
    "none": "nothing to build",
}


def lot_answer(findings: Findings) -> str:
    """The run's answer as plain text, every number with its unit.

    Parameters
    ----------
    findings : Findings
        What one run found. [SI]

    Returns
    -------
    str
        Sections that have something to say, and no others.
    """
    units = unit_system(findings.units)
    plan = findings.plan
    sections = (
        ("Where water comes from", _sources(findings, units)),
        ("Where it stands", _standing(findings, units)),
        ("What is proposed", _proposed(findings, units)),
        ("How it leaves", (_discharge(line, units) for line in plan.discharges)),
        ("Ways compared", _alternatives(findings, units)),
        ("What leaves the lot in the design storm", _leaving(findings, units)),
        ("Cheap cures first", (f"{cure.what} {cure.changes}" for cure in plan.cures)),
        ("Refer to a professional", plan.refer_out),
        ("Check on site, most telling first", plan.site_checks),
        ("Warnings", findings.warnings),
        ("Cautions", (caution.text for caution in findings.cautions)),
    )
    parts = [textwrap.fill(f"{findings.name}: {plan.verdict}", WIDTH)]
    for title, lines in sections:
        listed = list(lines)
        if listed:
            parts.append("\n".join([title, *map(_item, listed)]))
    return "\n\n".join(parts)


def _item(text: str) -> str:
    return textwrap.fill(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")


def _sources(findings: Findings, units: UnitSystem) -> Iterator[str]:
    share = findings.run_on_area / findings.studied_area if findings.studied_area else 0.0
    yield (
        f"Studied ground {area_words(findings.studied_area, units)}: "
        f"the lot {area_words(findings.parcel_area, units)}, "
        f"of it roof {area_words(findings.roof_area, units)}; run-on from outside "
        f"{area_words(findings.run_on_area, units)}, {share:.0%} of the studied ground."
    )
    depths = {row.storm_depth for row in findings.runoff}
    own = sum(row.runoff_volume for row in findings.runoff if not row.run_on)
    outside = sum(row.runoff_volume for row in findings.runoff if row.run_on)
    if depths:
        yield (
            f"Design storm {rain_words(max(depths), units)}: {volume_words(own, units)} runs off the lot and "
            f"{volume_words(outside, units)} arrives from outside."
        )


def _standing(findings: Findings, units: UnitSystem) -> Iterator[str]:
    on_lot = sorted((water for water in findings.low_spots if water.on_parcel), key=lambda water: water.rank)
    if not on_lot:
        yield "No low spot on the lot."
    for water in on_lot[:MOST_LOW_SPOTS]:
        yield _low_spot(water, units)
    if len(on_lot) > MOST_LOW_SPOTS:
        yield f"{len(on_lot) - MOST_LOW_SPOTS} more low spots of lower rank are in the layer low_spots."


def _low_spot(water: StandingWater, units: UnitSystem) -> str:
    spot = water.spot
    holds = f"holds {length_words(spot.depth, units)} over {area_words(spot.area, units)} before it spills"
    if spot.enclosed:
        holds += ", shut in by roofs or barriers"
    doubt = " Shallower than the lidar can tell." if spot.within_lidar_error else ""
    before = _water(water.storm_depth, water.hours, units)
    after = _water(water.storm_depth_after, water.hours_after, units)
    return f"{spot.id}: {holds}. In the design storm {before}; with the works {after}. {water.why}{doubt}"


def _water(depth: float, hours: float | None, units: UnitSystem) -> str:
    if depth <= 0.0:
        return "dry"
    how_long = "for an unknown time" if hours is None else f"for {hours_words(hours)}"
    return f"{length_words(depth, units)} deep {how_long}"


def _proposed(findings: Findings, units: UnitSystem) -> Iterator[str]:
    plan = findings.plan
    for basin in plan.catch_basins:
        kind = "Provisional catch basin" if basin.provisional else "Catch basin"
        yield f"{kind} {basin.id}, {basin.grate}, for {flow_words(basin.peak_flow, units)}. {basin.why}"
    for drain in plan.french_drains:
        yield (
            f"French drain {drain.id}, {length_words(drain.length, units)} long, {drain.pipe}, for "
            f"{flow_words(drain.peak_flow, units)}. {drain.why}"
        )
    for channel in plan.channel_drains:
        yield (
            f"Channel drain {channel.id}, {length_words(channel.length, units)} long, for "
            f"{flow_words(channel.peak_flow, units)}. {channel.why}"
        )
    for run in plan.pipe_runs:
        slope = "under pressure" if run.slope is None else f"at {run.slope:.1%}"
        yield (
            f"Pipe {run.id} from {run.from_id} to {run.to_id}: {length_words(run.length, units)} of {run.size} "
            f"{run.standard} {slope}, {flow_words(run.peak_flow, units)} at the peak, trench up to "
            f"{length_words(run.deepest, units)} deep{_crossings(run.crossings)}."
        )
    for sump in plan.sumps:
        yield (
            f"Pumped basin {sump.id}, {sump.basin}: lifts {flow_words(sump.operating_flow, units)} by "
            f"{length_words(sump.lift, units)} where {flow_words(sump.inflow, units)} arrives. "
            f"{' '.join(sump.warnings)}"
        )


def _crossings(crossings: Iterable[str]) -> str:
    listed = "; ".join(crossings)
    return f"; crosses {listed}" if listed else ""


def _discharge(line: Discharge, units: UnitSystem) -> str:
    numbers = []
    if line.fall_to_spare is not None:
        numbers.append(f"fall to spare {length_words(line.fall_to_spare, units)}")
    if line.fall_error is not None:
        numbers.append(f"its error {length_words(line.fall_error, units)}")
    if line.lift is not None:
        numbers.append(f"lift {length_words(line.lift, units)}")
    where = f" to {line.outfall}" if line.outfall else ""
    of = f"{', '.join(line.serves)}: " if line.serves else ""
    told = f" ({', '.join(numbers)})" if numbers else ""
    return f"{of}{MODES[line.mode]}{where}: {VERDICTS[line.verdict]}{told}. {line.why}"


def _alternatives(findings: Findings, units: UnitSystem) -> Iterator[str]:
    for way in findings.plan.alternatives:
        chosen = ", chosen" if way.chosen else ""
        if not way.possible:
            yield f"{MODES[way.mode].capitalize()}: not possible: {way.depends_on}"
            continue
        told = [money_words(way.low, way.likely, way.high)]
        if way.deepest is not None:
            told.append(f"deepest dig {length_words(way.deepest, units)}")
        if way.fall_to_spare is not None:
            told.append(f"fall to spare {length_words(way.fall_to_spare, units)}")
        depends = f" Depends on: {way.depends_on}" if way.depends_on else ""
        yield f"{MODES[way.mode].capitalize()}{chosen}: {'; '.join(told)}.{depends}"


def _leaving(findings: Findings, units: UnitSystem) -> Iterator[str]:
    for place, peak_before, volume_before, peak_after, volume_after in findings.leaving:
        yield (
            f"{place}: peak {flow_words(peak_before, units)} before, {flow_words(peak_after, units)} after; volume "
            f"{volume_words(volume_before, units)} before, {volume_words(volume_after, units)} after"
        )
