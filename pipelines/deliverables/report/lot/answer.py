"""The top of a lot's report: the answer in plain words, with the numbers that a reader asks for first."""

import re
from collections.abc import Iterator, Mapping, Sequence
from functools import partial

import pandas as pd

from pipelines.deliverables.findings.lot import Findings, StandingWater
from pipelines.deliverables.findings.possible import told_by_number
from pipelines.deliverables.report.blocks import Block, Facts, Inline, Number, Paragraph, Subhead, Words, said_items
from pipelines.deliverables.report.lot.storms import storm_sentences
from pipelines.deliverables.report.lot.verdict_words import is_said, state_words
from pipelines.deliverables.report.numbers import layer_number, number
from pipelines.deliverables.words.names import MODES, PARTS, VERDICTS
from pipelines.deliverables.words.say import say, say_all, sentence, start_upper, with_article
from pipelines.deliverables.words.slopes import slopes_of
from pipelines.hydrology.runoff_table import runoff_bounds
from pipelines.layout.parts import CaughtBy, Size, SurfaceWork, WithPipes
from pipelines.layout.plan import Discharge, Plan, Said
from pipelines.layout.swale.found_outfall import OutfallLook
from terrain.reason import Reason, reason
from terrain.unit_table import INCH, Units

MOST_LOW_SPOTS = 4
WORTH_A_LINE = INCH
"""Water shallower than this is not worth a line at the top. [m]"""
UNKNOWN_TOLD = 0.02
"""Share of the lot without known ground that is told beside its area; what lies under it is the rounding to cells."""
SMALL = ("low_spot_too_small", "low_spot_inside_another")
LONGEST_LEAD = 150
"""Letters of the answer in one sentence, before its details are left out. [-]"""
CURRENCY = "in the currency of the price list"


def lot_answer_blocks(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> tuple[Block, ...]:
    """The answer's parts, then the site checks, most telling first."""
    plan, looks = findings.plan, findings.outfall_looks
    cures = ((" ".join(sentence(each, units) for each in (cure.what, cure.changes)),) for cure in plan.cures)
    questions = (
        ("What will it do, storm by storm?", storm_sentences(findings, units, improved=improves(findings))),
        ("What costs little, first?", cures),
        ("What is proposed?", in_short(findings, layers, units)),
        ("Which ways were compared, and what may they cost?", _ways(findings, units)),
        ("How sure is that?", _sure(findings, units)),
        ("How does it leave?", (discharge_words(line, at, units) for at, line in enumerate(plan.discharges))),
        ("Does the outfall take it?", (outfall_words(look, at, units) for at, look in enumerate(looks))),
        ("Where does the water come from?", _sources(findings, units)),
        ("Where does it stand, and for how long?", standing_words(findings, layers, units)),
    )
    rows = tuple((question, tuple(answer)) for question, answer in questions)
    blocks: list[Block] = [Facts(tuple(row for row in rows if row[1]))]
    if plan.refer_out:
        blocks += [Subhead("Refer to a professional; nothing is proposed"), said_items(plan.refer_out, units)]
    if plan.site_checks:
        blocks += [Subhead("Check on site, most telling first"), said_items(plan.site_checks, units, "box")]
    return tuple(blocks)


def lead_of(findings: Findings, units: Units) -> str:
    """What is wrong and what to do about it, in one sentence."""
    verdict = findings.plan.verdict
    if isinstance(verdict, Reason) and is_said(verdict, "headline", "headline_no_way"):
        none = is_said(verdict, "headline_no_way")
        way = reason("no_line_off", missing=verdict["missing"]) if none else verdict["way"]
        verdict = reason("in_one_sentence", wrong=verdict["wrong"], way=way)
    # a point before a digit ends nothing
    text = re.split(r"(?<=[.?!])\s+(?=[A-Z])", sentence(verdict, units), maxsplit=1)[0]
    # a list of what is done on the surface is told in full below the map
    return text if len(text) <= LONGEST_LEAD else f"{': '.join(text.split(': ')[:2]).rstrip('.')}."


def worst_verdict(findings: Findings) -> str:
    """State of the weakest part of the verdict."""
    return findings.plan.parts.verdict


def design_storm(findings: Findings, units: Units) -> str:
    """What the design storm is called, empty where nothing said it."""
    named = [storm.name for storm in findings.storms if storm.design]
    named += [value for name, value, _ in findings.parameters if is_said(name, "parameter_storm")]
    return say(named[0], units) if named else ""


def _sources(findings: Findings, units: Units) -> Iterator[Words]:
    studied = findings.studied_area
    share = number(findings.run_on_area / studied if studied else 0.0, "share", units).text
    # cells of the lot whose height nobody knows drain nowhere: what is left of the lot and the run-on are the whole
    unknown = findings.parcel_area - (studied - findings.run_on_area)
    left_out = ""
    if unknown > UNKNOWN_TOLD * findings.parcel_area:
        left_out = f" ({number(unknown, 'area', units).text} of it has no known ground and is left out)"
    yield (
        "Drainage area ", number(studied, "area", units, "summary|study_area_m2"),
        ": the lot ", number(findings.parcel_area, "area", units, "summary|parcel_area_m2"),
        f"{left_out}, including ", number(findings.roof_area, "area", units, "summary|roof_area_m2"),
        " of roof, and ", number(findings.run_on_area, "area", units, "summary|run_on_area_m2"),
        f" of run-on from outside ({share} of it).",
    )  # fmt: skip
    if findings.passing_area > 0.0:
        yield (
            "Water of at least another ", number(findings.passing_area, "area", units, "summary|passing_by_area_m2"),
            " crosses a corner or an edge of the lot and leaves again within ",
            number(findings.rules["passing_by"].likely, "length", units).text,
            " of the line: it passes by and is not run-on of the lot. Look on site whether it does.",
        )  # fmt: skip
    if not findings.runoff:
        return
    volume = "runoff_volume_ft3" if units == "us" else "runoff_volume_m3"
    own = sum(row.runoff_volume for row in findings.runoff if not row.run_on)
    outside = sum(row.runoff_volume for row in findings.runoff if row.run_on)
    first = max(findings.runoff, key=lambda row: row.storm_depth)
    depth = "storm_depth_in" if units == "us" else "storm_depth_mm"
    name = design_storm(findings, units)
    rain = number(first.storm_depth, "rain", units, f"runoff|{first.id}|{depth}")
    # the storm is often called by its depth
    called: Words = (name,) if rain.text in name else (f"{name}, " if name else "", rain, " of rain")
    yield (
        "In the design storm (", *called, ") ",
        number(own, "volume", units, f"sum|sub_catchments|{volume}|run_on|False"), " runs off the lot and ",
        number(outside, "volume", units, f"sum|sub_catchments|{volume}|run_on|True"),
        " off the ground outside that drains to it." if findings.spots_upslope else " arrives from outside.",
    )  # fmt: skip
    if findings.spots_upslope:
        yield (
            "More than ", number(findings.rules["surroundings"].likely, "length", units).text, " upslope of the lot ",
            number(findings.spots_upslope, "count", units, "summary|low_spots_upslope"),
            " low spots hold back " if findings.spots_upslope > 1 else " low spot holds back ",
            number(findings.held_upslope, "volume", units, "summary|held_upslope_m3"),
            " of it. Filled or drained, they let it run on to the lot.",
        )  # fmt: skip
    bounds = runoff_bounds(findings.runoff)
    dry, wet = (number(each, "volume", units).text for each in (bounds.dry, bounds.wet))
    yield (f"On dry soil {dry} would run off in all, on wet soil {wet}.",)


def standing_words(
    findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units, *, most: int = MOST_LOW_SPOTS,
    short: bool = False,
) -> Iterator[Words]:  # fmt: skip
    """Where water stands on the lot, worst first; in short without why that matters and what is done."""
    listed = told_by_number(findings.low_spots, findings.possible)
    wet = [water for water in findings.low_spots if _stands(water.depth_on_lot, water.hours_on_lot)]
    wet = [water for water in wet if water.spot.id in listed]
    # one inside another is told with it
    told = {water.spot.id for water in wet}
    wet = [water for water in wet if water.spot.contained_in not in told]
    deep = [water for water in wet if water.depth_on_lot >= WORTH_A_LINE and water.why.code not in SMALL]
    deep.sort(key=lambda water: water.rank)
    if not deep and not short:
        yield ("No water worth a line stands on the lot in the design storm.",)
    for water in deep[:most]:
        yield _low_spot(water, layers, units, improved=improves(findings), short=short)
    more = len(wet) - len(deep[:most])
    if more and not short:
        yield (f"{more} more, shallower or of lower rank, {'is' if more == 1 else 'are'} in the table of low spots.",)
    if not short:
        yield from ((sentence(each.why, units),) for each in findings.possible)


def _stands(depth: float, hours: float | None) -> bool:
    """Whether water stands: what is a film on the ground stands for no time."""
    return depth > 0.0 and hours != 0.0


def improves(findings: Findings) -> bool:
    """Whether a plan changes where water goes."""
    plan = findings.plan
    return bool(plan.pipe_runs or plan.french_drains or plan.channel_drains or plan.sumps or soil_moved(plan))


def soil_moved(plan: Plan) -> tuple[SurfaceWork, ...]:
    """Works on the surface that a plan proposes, alone or with pipes."""
    return plan.surface.works if plan.surface is not None and plan.surface.proposed else ()


def _low_spot(
    water: StandingWater, layers: Mapping[str, pd.DataFrame], units: Units, *, improved: bool, short: bool
) -> Words:
    name = water.spot.id

    def told(column: str, kind: str) -> Number:
        return layer_number(layers, "low_spots", name, column, kind, units)

    at = _place_of(water.why) if short else None
    place = f", {say(at, units)}: water stands" if at is not None else ""
    words: list[Inline] = [f"{name}{place or ':'} ", told("depth_on_lot", "depth"), " deep over up to "]
    words += [told("area_on_lot", "area"), ", "]
    words += _how_long(water.hours_on_lot, told("stands_on_lot", "time"))
    if short:
        return (*words, ".")
    if improved and _stands(water.depth_on_lot_after, water.hours_on_lot_after):
        words += ["; with the improvements ", told("depth_on_lot_after", "depth"), " deep, "]
        words += _how_long(water.hours_on_lot_after, told("stands_on_lot_after", "time"))
    elif improved and water.depth_on_lot_after < water.depth_on_lot:
        words.append("; with the improvements it drains")
    doubt = " Within lidar error." if water.spot.within_lidar_error else ""
    words.append(f". {sentence(water.why, units)}{doubt}")
    return tuple(words)


def _place_of(why: Reason) -> Said | None:
    """The place that a reason speaks of, its own or that of what it gives as its reason."""
    values = dict(why.values)
    place, inner = values.get("place"), values.get("why")
    if isinstance(place, Reason | str):
        return place
    return _place_of(inner) if isinstance(inner, Reason) else None


def _how_long(hours: float | None, told: Number) -> list[Inline]:
    return ["for an unknown time"] if hours is None else ["for ", told]


def in_short(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> Iterator[Words]:
    """What is built, the pipes added up."""
    runs = findings.plan.pipe_runs
    if hole_first(findings):
        yield (sentence(reason("dig_hole_first"), units),)
    yield from _collectors(findings, layers, units)
    yield from pump_words(findings, layers, units)
    if runs:
        crossings = list(dict.fromkeys(text for run in runs for text in say_all(run.crossings, units)))
        yield (*pipe_words(findings, layers, units), _crossings(crossings))
    yield from _soil_works(findings.plan, units)
    if not runs and not soil_moved(findings.plan) and not findings.plan.catch_basins and not findings.plan.refer_out:
        yield (nothing_built(findings),)


def _soil_works(plan: Plan, units: Units) -> Iterator[Words]:
    yield from ((f"{work.id}: {say(work.why, units)}.",) for work in soil_moved(plan))


def hole_first(findings: Findings) -> bool:
    """Whether something is built that does nothing against the ground water that may be there."""
    plan = findings.plan
    asked = any(is_said(each, "check_hole_for_ground_water") for each in plan.site_checks)
    built = bool(plan.pipe_runs or plan.catch_basins or soil_moved(plan))
    return asked and plan.parts.cause.state == "cannot_tell" and built


def pipe_words(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> Words:
    """The pipes added up by size, and the deepest trench."""
    runs = findings.plan.pipe_runs
    column = "length_ft" if units == "us" else "length_m"
    words: list[Inline] = ["Pipe: "]
    for place, size in enumerate(dict.fromkeys(f"{run.size} {run.standard}".strip() for run in runs)):
        length = sum(run.length for run in runs if f"{run.size} {run.standard}".strip() == size)
        told = number(length, "length", units, f"sum|pipe_runs|{column}|size|{size}")
        words += [", " if place else "", told, f" of {size}"]
    deepest = max(runs, key=lambda run: run.deepest)
    words += [", trench up to ", layer_number(layers, "pipe_runs", deepest.id, "deepest", "length", units), " deep"]
    return tuple(words)


def nothing_built(findings: Findings) -> str:
    """What is told where nothing is built."""
    if worst_verdict(findings) == "sure" or not findings.plan.discharges:
        return "Nothing to build."
    return "Nothing, as far as is known now."


def _crossings(crossings: Sequence[str]) -> str:
    return f"; crosses {'; '.join(crossings)}." if crossings else "."


def proposed(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> Iterator[Words]:
    """What a plan proposes, a line each."""
    yield from _collectors(findings, layers, units)
    yield from pump_words(findings, layers, units)
    yield from _soil_works(findings.plan, units)
    for run in findings.plan.pipe_runs:
        told = partial(layer_number, layers, "pipe_runs", run.id, units=units)
        slopes = slopes_of(run)
        slope = "under pressure" if slopes is None else f"at {say(slopes, units)}"
        yield (f"{run.id}, ", told("length", "length"),
               f" of {run.size} {run.standard} from {run.from_id} to {run.to_id}, {slope}, trench up to ",
               told("deepest", "length"), " deep" + _crossings(say_all(run.crossings, units)))  # fmt: skip
    for fault in findings.plan.faults:
        yield (f"Cannot be built as drawn: {sentence(fault, units)}",)


def _collectors(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> Iterator[Words]:
    plan = findings.plan
    each_why = [*(basin.why for basin in plan.catch_basins), *(drain.why for drain in plan.french_drains),
                *(channel.why for channel in plan.channel_drains)]  # fmt: skip
    for words, why in zip(collector_words(findings, layers, units), each_why, strict=True):
        yield (*words, f". {sentence(why, units)}")


def collector_words(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> Iterator[Words]:
    """What catches the water, without its reason."""
    plan = findings.plan

    def told(layer: str, name: str, column: str, kind: str) -> Number:
        return layer_number(layers, layer, name, column, kind, units)

    for basin in plan.catch_basins:
        if basin.provisional:
            yield (f"{basin.id}, a provisional catch basin",)
        else:
            yield (f"{basin.id}, a catch basin with {with_article(basin.grate)} grate for ",
                   told("catch_basins", basin.id, "peak_flow", "flow"))  # fmt: skip
    for drain in plan.french_drains:
        length = told("french_drains", drain.id, "length", "length")
        if drain.peak_flow > 0.0:
            yield (f"{drain.id}, a French drain ", length, f" long with {drain.pipe}, for ",
                   told("french_drains", drain.id, "peak_flow", "flow"))  # fmt: skip
        else:
            yield (f"{drain.id}, a trench of stone ", length, f" long with {drain.pipe}")
    for channel in plan.channel_drains:
        yield (f"{channel.id}, a channel drain ", told("channel_drains", channel.id, "length", "length"), " long")


def pump_words(
    findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units, *, short: bool = False
) -> Iterator[Words]:
    """Each sump basin, its pump and what that delivers; in short without its warnings."""
    told = partial(layer_number, layers, "sumps", units=units)
    for sump in findings.plan.sumps:
        # what it falls short by is told by the flows, and among the warnings
        others = [each for each in sump.warnings if isinstance(each, str) or each.code != "more_than_the_pump_moves"]
        warned = "" if short else "".join(f"; {warning}" for warning in say_all(others, units))
        pumps = "a pump: delivers" if sump.pumps == 1 else f"{sump.pumps} pumps on lines of their own: together deliver"
        yield (f"{sump.id}, a sump basin {say(sump.basin, units)} with {pumps} ",
               told(sump.id, "delivered_flow", "flow"), ", lifted by ",
               told(sump.id, "lift", "length"), ", where ", told(sump.id, "inflow", "flow"),
               f" reaches it at the peak{'' if sump.copes else ': it does not cope'}{warned}.")  # fmt: skip


def discharge_words(line: Discharge, position: int, units: Units) -> Words:
    """One discharge in words: how it leaves, how sure that is, by how much, and why."""
    of = f"{', '.join(line.serves)}: " if line.serves else ""
    if line.mode == "none" and line.verdict != "sure":
        return (sentence(line.why, units),)
    head = f"{of}{MODES[line.mode]}{f' to {line.outfall}' if line.outfall else ''}: {VERDICTS[line.verdict]}"
    return (head, *discharge_figures(line, position, units), f". {sentence(line.why, units)}")


def discharge_figures(line: Discharge, position: int, units: Units, more: str = "") -> Words:
    """By how much it leaves, in brackets; nothing where that is not known."""
    source = f"summary|discharges|{position}"
    told: list[tuple[str, Inline]] = []
    if line.fall_to_spare is not None and line.mode != "pump":
        told.append(fall_words(line.fall_to_spare, source, units))
    if line.fall_error is not None and line.mode != "pump":
        told.append(("give or take ", number(line.fall_error, "depth", units, f"{source}|fall_error_m")))
    if line.lift is not None:
        told.append(("lift ", number(line.lift, "length", units, f"{source}|lift_m")))
    words = [each for before, value in told for each in (", ", before, value)]
    return (" (", *words[1:], f"{more})") if told else ()


def fall_words(spare: float, source: str, units: Units) -> tuple[str, Inline]:
    """Fall to spare, or what a line is short of it: never a negative number to spare."""
    if spare < 0.0:
        return "short of fall by ", number(-spare, "depth", units).text
    return "fall to spare ", number(spare, "depth", units, f"{source}|fall_to_spare_m")


def outfall_words(look: OutfallLook, position: int, units: Units) -> Words:
    """One outfall in words: whether it takes the storm, its water's level, and why."""
    words: list[Inline] = [f"{look.outfall}: {VERDICTS[look.state]}"]
    if look.level is not None:
        words += [", water up to ", number(look.level, "level", units, f"summary|outfall|{position}|level_m")]
    words.append(f". {sentence(look.why, units)}")
    return tuple(words)


def _ways(findings: Findings, units: Units) -> Iterator[Words]:
    for position, way in enumerate(findings.plan.alternatives):
        source = f"summary|alternatives|{position}"
        depends = sentence(way.depends_on, units)
        name = start_upper(MODES[way.mode])
        if not way.possible:
            yield (f"{name}: not possible. {depends}",)
            continue
        words: list[Inline] = [f"{name}{', chosen' if way.chosen else ''}: "]
        if way.likely is None:
            words.append("not priced")
        else:
            low, likely, high = (number(value, "money", units, f"{source}|cost_{key}") for value, key in (
                (way.low, "low"), (way.likely, "likely"), (way.high, "high")))  # fmt: skip
            words += [low, " to ", high, ", likely ", likely, f", {CURRENCY}"]
        if way.deepest is not None:
            words += ["; deepest dig ", number(way.deepest, "length", units, f"{source}|deepest_m")]
        if way.fall_to_spare is not None and way.mode != "pump":
            words += ["; ", *fall_words(way.fall_to_spare, source, units)]
        words.append(f". It depends on this: {depends}" if depends else ".")
        yield tuple(words)
    if findings.not_needed_on is not None:
        yield (sentence(findings.not_needed_on, units),)
    surface = findings.plan.surface
    if surface is not None:
        yield (sentence(reason(
            "surface_alone", chosen=surface.chosen, works=tuple(work.why for work in surface.works), left=surface.left,
            refused=surface.refused, state=surface.state, low=surface.low, likely=surface.likely, high=surface.high,
        ), units),)  # fmt: skip
        yield from ((sentence(each, units),) for each in surface.relaid)
        if surface.with_pipes is not None:
            yield (sentence(said_with_pipes(surface.with_pipes), units),)
    beside = surface is not None and surface.proposed
    caught = (said_caught(each, beside=beside) for each in findings.plan.caught_by)
    sizes = (said_size(each, beside=beside) for each in findings.plan.sizes)
    for said in (*caught, *sizes):
        yield (sentence(said, units),)
    for sump in findings.plan.sumps:
        for other in sump.compared:
            yield (f"{sump.id}, not taken: {say(other, units)}.",)


def said_with_pipes(both: WithPipes) -> Reason:
    """Works on the surface with pipes for the rest, what they do and their price beside pipes alone."""
    return reason(
        "surface_with_pipes", chosen=both.chosen, low=both.low, likely=both.likely, high=both.high,
        alone=both.pipes_alone, less=both.less, left=both.left, place=both.place, depth=both.depth, over=both.over,
        why=both.why,
    )


def said_caught(caught: CaughtBy, *, beside: bool = False) -> Reason:
    """One of two ways to catch the water, what it does and its price; beside soil that is moved it is a part alone."""
    return reason(
        "caught_by", kind=caught.kind, length=caught.length, why=caught.why, likely=caught.likely, low=caught.low,
        high=caught.high, chosen=caught.chosen, ended=caught.ended, place=caught.place, depth=caught.depth,
        over=caught.over, cut=caught.cut, passes=caught.passes, beside=beside,
    )


def said_size(size: Size, *, beside: bool = False) -> Reason:
    """One size of the works and its price; beside soil that is moved it is a part alone."""
    return reason(
        "size_of_works", years=size.keeps_dry, catches=size.catches, chosen=size.chosen, holds=size.holds,
        low=size.low, likely=size.likely, high=size.high, beside=beside,
    )


def _sure(findings: Findings, units: Units) -> Iterator[Words]:
    for name, part in findings.plan.parts.named:
        asked = f"{PARTS[name]} {start_upper(state_words(findings, name, units))}"
        yield (f"{asked}: {sentence(part.why, units)}",)


def caution_paragraph() -> Paragraph:
    """What stands under every sheet's head."""
    return Paragraph(
        ("A pre-screen from public lidar. Not a survey, not for construction, not an engineer's design; local code and "
         "licensed practice come first.",), "strong",
    )  # fmt: skip
