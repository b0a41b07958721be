"""The top of a lot's report: the answer in plain words, with the numbers that a reader asks for first."""

from collections.abc import Iterator, Mapping

import pandas as pd

from pipelines.deliverables.findings import Findings, StandingWater
from pipelines.deliverables.report.blocks import Block, Facts, Inline, Items, Number, Paragraph, Subhead, Words
from pipelines.deliverables.report.numbers import layer_number, number
from pipelines.deliverables.words import MODES, VERDICTS
from pipelines.inputs.quantity_words import Units
from pipelines.layout.plan import Discharge

MOST_LOW_SPOTS = 4
FILM = 0.006
"""Water shallower than this is not worth a line. [m]"""
DECIDING = "Level shots that decide"


def lot_answer_blocks(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> tuple[Block, ...]:
    """The answer's parts, then the site checks, most telling first.

    Parameters
    ----------
    findings : Findings
        What one run found. [SI]
    layers : mapping of str to DataFrame
        As they are handed over.
    units : str
        us or si.

    Returns
    -------
    tuple of Block
        Only questions that have an answer.
    """
    plan = findings.plan
    questions = (
        ("Where does the water come from?", _sources(findings, units)),
        ("Where does it stand, and for how long?", _standing(findings, layers, units)),
        ("What is proposed?", proposed(findings, layers, units)),
        ("How does it leave?", (discharge_words(line, position, units) for position, line in enumerate(plan.discharges))),
        ("What may it cost?", _cost(findings, units)),
        ("How sure is that?", _sure(findings)),
    )
    rows = tuple((question, tuple(answer)) for question, answer in questions)
    blocks: list[Block] = [Facts(tuple(row for row in rows if row[1]))]
    if plan.refer_out:
        blocks += [Subhead("Refer to a professional; nothing is proposed"), Items(tuple((r,) for r in plan.refer_out))]
    if plan.site_checks:
        blocks += [
            Subhead("Check on site, most telling first"),
            Items(tuple((check,) for check in plan.site_checks), "box"),
        ]
    return tuple(blocks)


def worst_verdict(findings: Findings) -> str:
    """The least sure of a plan's discharges.

    Parameters
    ----------
    findings : Findings
        What one run found. [SI]

    Returns
    -------
    str
        sure, cannot_tell or no.
    """
    found = {line.verdict for line in findings.plan.discharges}
    return next((verdict for verdict in ("no", "cannot_tell", "sure") if verdict in found), "cannot_tell")


def design_storm(findings: Findings) -> str:
    """What the design storm is called, empty where nothing said it."""
    named = [storm.name for storm in findings.storms if storm.design]
    named += [value for name, value, _ in findings.parameters if name == "design storm"]
    return named[0] if named else ""


def _sources(findings: Findings, units: Units) -> Iterator[Words]:
    studied = findings.studied_area
    share = findings.run_on_area / studied if studied else 0.0
    yield (
        "Studied ground ", number(studied, "area", units, "summary/study_area_m2"),
        ": the lot ", number(findings.parcel_area, "area", units, "summary/parcel_area_m2"),
        ", of it roof ", number(findings.roof_area, "area", units, "summary/roof_area_m2"),
        "; run-on from outside ", number(findings.run_on_area, "area", units, "summary/run_on_area_m2"),
        f", {share:.0%} of the studied ground.",
    )  # fmt: skip
    if not findings.runoff:
        return
    volume = "runoff_volume_ft3" if units == "us" else "runoff_volume_m3"
    own = sum(row.runoff_volume for row in findings.runoff if not row.run_on)
    outside = sum(row.runoff_volume for row in findings.runoff if row.run_on)
    first = max(findings.runoff, key=lambda row: row.storm_depth)
    depth = "storm_depth_in" if units == "us" else "storm_depth_mm"
    name = design_storm(findings)
    yield (
        "In the design storm (", f"{name}, " if name else "",
        number(first.storm_depth, "rain", units, f"runoff/{first.id}/{depth}"), " of rain) ",
        number(own, "volume", units, f"sum/sub_catchments/{volume}/run_on/False"), " runs off the lot and ",
        number(outside, "volume", units, f"sum/sub_catchments/{volume}/run_on/True"), " arrives from outside.",
    )  # fmt: skip


def _standing(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> Iterator[Words]:
    wet = [water for water in findings.low_spots if water.on_parcel and water.storm_depth > FILM]
    wet.sort(key=lambda water: water.rank)
    if not wet:
        yield ("No water stands on the lot in the design storm.",)
    for water in wet[:MOST_LOW_SPOTS]:
        yield _low_spot(water, layers, units)
    if len(wet) > MOST_LOW_SPOTS:
        yield (f"{len(wet) - MOST_LOW_SPOTS} more low spots of lower rank are in the table of low spots.",)


def _low_spot(water: StandingWater, layers: Mapping[str, pd.DataFrame], units: Units) -> Words:
    name = water.spot.id

    def told(column: str, kind: str) -> Number:
        return layer_number(layers, "low_spots", name, column, kind, units)

    words: list[Inline] = [f"{name}: ", told("storm_depth", "depth"), " deep over up to ", told("area", "area"), ", "]
    words += _how_long(water.hours, told("stands", "hours"))
    if water.storm_depth_after > FILM:
        words += ["; with the works ", told("storm_depth_after", "depth"), " "]
        words += _how_long(water.hours_after, told("stands_after", "hours"))
    elif water.storm_depth_after < water.storm_depth:
        words.append("; with the works it drains")
    words.append(f". {water.why}" + (" Shallower than the lidar can tell." if water.spot.within_lidar_error else ""))
    return tuple(words)


def _how_long(hours: float | None, told: Number) -> list[Inline]:
    return ["for longer than was followed"] if hours is None else ["for ", told]


def proposed(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> Iterator[Words]:
    """What a plan proposes, a line each.

    Parameters
    ----------
    findings : Findings
        What one run found. [SI]
    layers : mapping of str to DataFrame
        As they are handed over.
    units : str
        us or si.

    Yields
    ------
    tuple of str or Number
        Cheap cures first.
    """
    plan = findings.plan

    def told(layer: str, name: str, column: str, kind: str) -> Number:
        return layer_number(layers, layer, name, column, kind, units)

    for cure in plan.cures:
        yield (f"{cure.what} {cure.changes}",)
    for basin in plan.catch_basins:
        if basin.provisional:
            yield (f"{basin.id}, provisional: {basin.why}",)
        else:
            yield (f"{basin.id}, a catch basin with a {basin.grate} grate for ",
                   told("catch_basins", basin.id, "peak_flow", "flow"), f". {basin.why}")  # fmt: skip
    for drain in plan.french_drains:
        yield (f"{drain.id}, a French drain ", told("french_drains", drain.id, "length", "length"),
               f" long with {drain.pipe}, for ", told("french_drains", drain.id, "peak_flow", "flow"),
               f". {drain.why}")  # fmt: skip
    for channel in plan.channel_drains:
        yield (f"{channel.id}, a channel drain ", told("channel_drains", channel.id, "length", "length"),
               f" long. {channel.why}")  # fmt: skip
    for run in plan.pipe_runs:
        under = told("pipe_runs", run.id, "deepest", "length")
        slope: Inline = "under pressure" if run.slope is None else told("pipe_runs", run.id, "slope", "slope")
        yield (f"{run.id}, ", told("pipe_runs", run.id, "length", "length"),
               f" of {run.size} {run.standard} from {run.from_id} to {run.to_id}, ",
               *(("at ", slope) if run.slope is not None else (slope,)), ", trench up to ", under,
               " deep" + (f"; crosses {'; '.join(run.crossings)}" if run.crossings else "") + ".")  # fmt: skip
    for sump in plan.sumps:
        yield (f"{sump.id}, a pumped basin {sump.basin}: moves ", told("sumps", sump.id, "operating_flow", "flow"),
               " where ", told("sumps", sump.id, "inflow", "flow"), " arrives. " + " ".join(sump.warnings))  # fmt: skip


def discharge_words(line: Discharge, position: int, units: Units) -> Words:
    """One discharge in words: how it leaves, how sure that is, by how much, and why.

    Parameters
    ----------
    line : Discharge
        Of the plan. [SI]
    position : int
        Among the plan's discharges. [-]
    units : str
        us or si.

    Returns
    -------
    tuple of str or Number
        A sentence or two.
    """
    source = f"summary/discharges/{position}"
    of = f"{', '.join(line.serves)}: " if line.serves else ""
    words: list[Inline] = [f"{of}{MODES[line.mode]}" + (f" to {line.outfall}" if line.outfall else "") + ": "]
    words.append(VERDICTS[line.verdict])
    told: list[tuple[str, Number]] = []
    if line.fall_to_spare is not None:
        told.append(("fall to spare ", number(line.fall_to_spare, "depth", units, f"{source}/fall_to_spare_m")))
    if line.fall_error is not None:
        told.append(("give or take ", number(line.fall_error, "depth", units, f"{source}/fall_error_m")))
    if line.lift is not None:
        told.append(("lift ", number(line.lift, "length", units, f"{source}/lift_m")))
    for place, (words_before, value) in enumerate(told):
        words += [" (" if place == 0 else ", ", words_before, value]
    words.append((")" if told else "") + f". {line.why}")
    return tuple(words)


def _cost(findings: Findings, units: Units) -> Iterator[Words]:
    for position, way in enumerate(findings.plan.alternatives):
        if way.chosen and way.likely is not None:
            source = f"summary/alternatives/{position}"
            yield (
                number(way.low, "money", units, f"{source}/cost_low"), " to ",
                number(way.high, "money", units, f"{source}/cost_high"), ", likely ",
                number(way.likely, "money", units, f"{source}/cost_likely"), ", in the price list's money.",
            )  # fmt: skip


def _sure(findings: Findings) -> Iterator[Words]:
    worst = worst_verdict(findings)
    said = {
        "sure": "Sure, as far as public lidar can be: a level on site confirms it.",
        "cannot_tell": "This lidar cannot tell. Level shots settle it before anyone prices or digs.",
        "no": "It does not work as far as is known; see why above.",
    }
    yield (said[worst],)
    for check in findings.plan.site_checks:
        if check.startswith(DECIDING):
            yield (check,)


def caution_paragraph() -> Paragraph:
    """What stands under every sheet's head."""
    return Paragraph(
        ("A pre-screen from public lidar. Not a survey, not for construction, not an engineer's design; local code and "
         "licensed practice come first.",), "strong",
    )  # fmt: skip
