"""Lifting with a pump what gravity cannot serve; what gravity can serve keeps a line of its own."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pipelines.hydraulics.errors import PumpTooWeakError
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.catching.sites import LARGEST_GRATE
from pipelines.layout.plan import Discharge, Outfall, PipeRun, Said, Verdict
from pipelines.layout.quantities.quantities import Works
from pipelines.layout.routing.laid_lines import AT_END, pieces_of, with_laid
from pipelines.layout.routing.spec import OutfallTarget, RoutedForest, RoutePipe
from pipelines.layout.ways.fall import Fall, odds_of, spare_to, verdict_by_count, verdict_of
from pipelines.layout.ways.gravity import (
    best_gravity,
    discharges_of,
    level_not_given,
    line_warnings,
    nowhere,
    run_warnings,
    shots_at,
)
from pipelines.layout.ways.gravity_lines import GravityAnswer
from pipelines.layout.ways.lift_coping import Candidate, coping_lift
from pipelines.layout.ways.lift_design import LiftDesign, design_lift, lift_place, pressure_pipes
from pipelines.layout.ways.lift_storm import LiftStorm, lift_storm
from pipelines.layout.ways.lines import PipeLines, lay_lines
from pipelines.layout.ways.outfall_sites import OutfallSite
from pipelines.layout.ways.outlets.outlet_levels import CARRIES_ON
from pipelines.layout.ways.settings import LaySettings, collectors_of, line_ground, route_spec, settings_to_try
from pipelines.layout.ways.sump_sites import SumpSite, site_sumps
from pipelines.layout.ways.way_values import Way, WayInputs
from terrain.arrays import BoolArray
from terrain.reason import Reason, reason
from terrain.unit_table import FOOT, HOUR

LEVEL_STEP = 0.01
"""To which a level in the sump is found. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class _Lift:
    """A sump with its lines: as sited, the gravity lines to it as laid, its design, the outfall, and the share of their
    flow that low spots are drained with."""

    site: SumpSite
    feed: PipeLines
    design: LiftDesign
    outfall: OutfallSite
    share: float


def by_pump(inputs: WayInputs, gravity: Way, answer: GravityAnswer | None) -> Way:
    """Lift what gravity cannot serve; where gravity serves all, lift all, for comparison.

    A roof goes through it only where its downspout has no fall for a line of its own and no extension over the ground.
    """
    if not inputs.outfalls:
        return Way("pump", False, depends_on=nowhere(inputs, "gravity"))
    served = answer.lines.served if answer is not None else {}
    lifted = [name for name in inputs.wanted if name not in served]
    if gravity.possible or not lifted:
        lifted = list(inputs.wanted)
    by_gravity = [name for name in (*inputs.wanted, *inputs.spouts) if name not in lifted]
    rest = None
    if by_gravity:
        before = answer.settings if answer is not None else None
        rest = best_gravity(inputs, by_gravity, inputs.outfalls, by_gravity, like=before)
    first = len(rest.lines.runs) + 1 if rest is not None else 1
    drained = tuple(rest.lines.served) if rest is not None else ()
    stuck = [site.id for site in inputs.catching.downspouts if not site.extends and site.id not in drained]
    lift: _Lift | Reason | None = None
    # where the sump or the pump cannot take the roof too, the lift is laid out without it
    for names in ((*lifted, *stuck), lifted)[not stuck:]:
        storm = lift_storm(inputs, names, drained)
        try:
            lift = _cheapest_lift(inputs, storm, rest, first)
        except PumpTooWeakError as error:
            lift = error.fact
        if isinstance(lift, _Lift) and (lift.design.copes or names is lifted):
            break
    if lift is None:
        return Way("pump", False, depends_on=reason("no_place_for_sump"))
    if isinstance(lift, Reason):
        return Way("pump", False, depends_on=lift)
    return _laid_by_pump(inputs, storm, rest, lift)


def sump_cells(inputs: WayInputs, lifted: Sequence[str], lines: Sequence[PipeRun] = ()) -> BoolArray:
    """Cells of the route field where a sump may stand.

    On the lot, its edge 5 ft from any wall and its pit outside the 45-degree plane of the footing, clear of
    keep-outs, paving, other lines and structures; or in the place of a basin that it lifts, whose grate it takes.
    """
    situation, rules = inputs.situation, inputs.situation.rules
    radius = rules["sump_width"].likely / 2.0
    pit = rules["sump_inlet_depth"].likely + rules["sump_inlet"].likely
    footing = situation.footing_depth
    if footing is None:
        footing = rules["default_footing_depth"].likely
    off_wall = max(rules["sump_wall_offset"].likely + radius, pit - footing + radius)
    free = shapely.difference(
        shapely.buffer(situation.parcel, -rules["line_offset"].likely),
        shapely.union_all([shapely.buffer(situation.roofs, off_wall), situation.keep_out, situation.paving]),
    )
    grid = inputs.ground.field.grid
    centres = grid.centres(*np.indices(grid.shape))
    inside: BoolArray = shapely.contains_xy(free, *centres) & ~shapely.contains_xy(_taken(inputs, lines), *centres)
    clear = shapely.difference(free, _along(lines, inputs))
    for basin in inputs.catching.basins:
        if basin.id in lifted and shapely.contains_xy(clear, basin.point.x, basin.point.y):
            inside[grid.cells(basin.point.x, basin.point.y)] = True
    return inside


def _taken(inputs: WayInputs, lines: Sequence[PipeRun]) -> BaseGeometry:
    """Where the middle of a sump of any width would make it overlap a basin, a drain, a channel or a line. [m]"""
    radius, catching = inputs.situation.rules["sump_width_wider"].high / 2.0, inputs.catching
    shapes = [shapely.buffer(basin.point, radius + LARGEST_GRATE) for basin in catching.basins]
    shapes += [shapely.buffer(drain.line, radius + drain.width / 2.0) for drain in catching.drains]
    taken: BaseGeometry = shapely.union_all(np.array([*shapes, _along(lines, inputs)], dtype=object))
    return taken


def _along(lines: Sequence[PipeRun], inputs: WayInputs) -> BaseGeometry:
    """Where the middle of a sump of any width would stand on a line. [m]"""
    radius = inputs.situation.rules["sump_width_wider"].high / 2.0
    shapes = [shapely.buffer(run.line, radius + find_pipe(run.pipe_key).outside / 2.0) for run in lines]
    along: BaseGeometry = shapely.union_all(np.array(shapes, dtype=object))
    return along


def _cheapest_lift(
    inputs: WayInputs, storm: LiftStorm, rest: GravityAnswer | None, first: int
) -> _Lift | Reason | None:
    """The sump and outfall whose lines cost least, collectors to it and pressure line from it together; a refusal."""
    rules = inputs.situation.rules
    clearance, hours = rules["pipe_clearance"].likely, rules["crossing_hours"].likely / HOUR
    labour = inputs.ground.prices["labour"].likely if "labour" in inputs.ground.prices else 0.0
    runs = rest.lines.runs if rest is not None else ()
    ends = {outfall.id for outfall in rest.outfalls} if rest is not None else set()
    field = with_laid(inputs.ground.field, (
        piece for run in runs for pipe in (find_pipe(run.pipe_key),)
        for piece in pieces_of(
            run.id, run.line, pipe.outside, pipe.wall, clearance, hours * labour,
            at_end=AT_END if run.to_id in ends else 0.0,
        )
    ))
    layout = inputs.site.layout
    target = settings_to_try(rules, layout)[0].slope
    settings = LaySettings(target, layout.cover or rules["cover_lawn"].low)
    spec, _ = route_spec(inputs.ground, settings)
    collectors = collectors_of(inputs.catching, inputs.flows.flows, storm.lifted, spec, settings)
    pipe = pressure_pipes(rules)[0]
    price = inputs.ground.prices.get(f"{pipe.key} pipe")
    routed = RoutePipe(pipe.key, pipe.outside, pipe.wall, 0.0, 1.0, price.likely / FOOT if price is not None else 0.0)
    house = inputs.situation.houses
    places = sump_cells(inputs, storm.lifted, runs)
    best: tuple[float, SumpSite, OutfallSite] | None = None
    for outfall in _apart(inputs.outfalls, int(rules["lift_outfalls_tried"].likely)):
        sites, unserved = site_sumps(
            field, collectors, OutfallTarget(outfall.id, outfall.point, outfall.level), spec, routed, places,
            deepest_inlet=rules["sump_inlet_depth"].likely, sump_cost=1e4, cover=rules["pressure_line_cover"].likely,
            power=None if house.is_empty else shapely.centroid(house),
            power_cost=rules["power_cost"].likely, radius=rules["sump_width"].likely / 2.0, clearance=clearance,
            effort=inputs.ground.effort,
        )
        if unserved or len(sites) != 1:
            continue
        if best is None or sites[0].cost < best[0]:
            best = (sites[0].cost, sites[0], outfall)
    return None if best is None else _designed(inputs, storm, rest, best[1], best[2], settings, first)


def _apart(outfalls: Sequence[OutfallSite], most: int) -> list[OutfallSite]:
    """At most so many places, one of each outfall first."""
    ordered = sorted(outfalls, key=lambda site: (site.level,))
    seen: dict[str, OutfallSite] = {}
    for site in ordered:
        seen.setdefault(site.id, site)
    return list(seen.values())[:most]


def _designed(
    inputs: WayInputs, storm: LiftStorm, rest: GravityAnswer | None, site: SumpSite, outfall: OutfallSite,
    settings: LaySettings, first: int,
) -> _Lift | Reason:
    outlet = max(outfall.level + outfall.over, outfall.tailwater)
    place = lift_place(inputs.situation, inputs.curve, site.point, site.inlet, site.pressure, outlet_level=outlet)
    kinds = line_ground(inputs.ground, inputs.catching, inputs.flows.flows, {}).crossing_kinds

    def laid(chosen: Candidate, why: Reason, compared: tuple[Reason, ...] = ()) -> _Lift:
        flows = inputs.flows.flows | (storm.flows(chosen.share) if chosen.copes else {})
        feed = _feed(inputs, site, flows, settings, first, site.inlet)
        design = design_lift(
            place, chosen.option, outfall=outfall.id, number=1, run_number=first + len(feed.runs),
            crossing_kinds=kinds, inflow=storm.inflow(chosen.share if chosen.copes else 1.0), storage=chosen.storage,
            stone=chosen.stone, copes=chosen.copes, why_copes=why, compared=compared,
        )
        return _Lift(site, feed, design, outfall, chosen.share)

    found = coping_lift(
        inputs, place, storm,
        top=lambda share: _level_without_surcharge(
            inputs, site, inputs.flows.flows | storm.flows(share), settings, first
        ),
        works_of=lambda each: _works(rest, laid(each, reason("way_pump"))),
    )
    return found.why if found.chosen is None else laid(found.chosen, found.why, found.compared)


def _feed(
    inputs: WayInputs, site: SumpSite, flows: Mapping[str, float], settings: LaySettings, first: int, level: float
) -> PipeLines:
    """Gravity lines to the sump with water at a level in it. [m]"""
    _, pipes = route_spec(inputs.ground, settings)
    where = replace(line_ground(inputs.ground, inputs.catching, flows, {}), tailwater={"sump-1": level})
    lines = tuple(replace(line, flow=sum(flows[name] for name in line.serves)) for line in site.inflows)
    forest = RoutedForest(lines, site.cost, site.cost, site.cost, True, {})
    spouts = frozenset(site.id for site in inputs.catching.downspouts)
    return lay_lines(forest, pipes, where, first=first, downspouts=spouts)


def _level_without_surcharge(
    inputs: WayInputs, site: SumpSite, flows: Mapping[str, float], settings: LaySettings, first: int
) -> float:
    """Highest water in the sump at which what its collectors pass on still comes to it below every grate. [m]"""
    rims = line_ground(inputs.ground, inputs.catching, inputs.flows.flows, {}).rims
    low, high = site.inlet, min(site.ground, *(rims[name] for name in site.serves))
    if not site.inflows:
        return high
    while high - low > LEVEL_STEP:
        middle = 0.5 * (low + high)
        over = _feed(inputs, site, flows, settings, first, middle).surcharged
        low, high = (low, middle) if over else (middle, high)
    return low


def _works(rest: GravityAnswer | None, lift: _Lift) -> Works:
    """All lines of the way, with its sump and stone."""
    design, feed = lift.design, lift.feed
    return Works(
        french_drains=design.stone,
        pipe_runs=(*(rest.lines.runs if rest is not None else ()), *feed.runs, *design.runs),
        sumps=(design.sump,),
        fittings=(*(rest.lines.fittings if rest is not None else ()), *feed.fittings, *design.fittings),
    )


def _capacities(flows: Mapping[str, float], lifted: Sequence[str], storm: LiftStorm, lift: _Lift) -> dict[str, float]:
    """What each lifted collector takes: its flow, or its part of what is delivered where the lift falls short."""
    if lift.share >= 0.0:
        return storm.flows(lift.share)
    part = lift.design.sump.delivered_flow / storm.total
    return {name: flows[name] * part for name in lifted}


def _laid_by_pump(inputs: WayInputs, storm: LiftStorm, rest: GravityAnswer | None, lift: _Lift) -> Way:
    outfall, sump, rules = lift.outfall, lift.design.sump, inputs.situation.rules
    lifted, works = storm.lifted, _works(rest, lift)
    capacities = _capacities(inputs.flows.flows, lifted, storm, lift)
    outfalls: dict[str, Outfall] = {each.id: each for each in (rest.outfalls if rest is not None else ())}
    discharges: tuple[Discharge, ...] = ()
    warnings: list[Said] = [reason("of_sump", sump=sump.id, text=text) for text in sump.warnings]
    served = dict.fromkeys(lifted, outfall.id)
    deciding: tuple[Said, ...] = ()
    if rest is not None:
        discharges, deciding = discharges_of(inputs, rest, "gravity")
        warnings += [
            said for said in line_warnings(inputs, rest)
            if said.code != "spout_not_tied_in" or said["name"] not in lifted
        ]
        capacities |= {name: inputs.flows.flows[name] for name in rest.lines.served}
        served |= rest.lines.served
    warnings += [reason("roof_through_lift", name=name) for name in inputs.spouts if name in lifted]
    warnings += run_warnings(lift.feed.runs, rules, inputs.site.layout)
    if not inputs.curve_given:
        warnings.append(
            reason(
                "pump_curve_assumed", shut_off=rules["assumed_pump_shut_off"].likely,
                head=rules["assumed_pump_end_head"].likely, flow=rules["assumed_pump_end_flow"].likely,
            )
        )
    pumped, more = _pumped(inputs, lifted, lift)
    outfalls.setdefault(
        outfall.id,
        Outfall(outfall.id, outfall.kind, outfall.point, outfall.verified, outfall.level, pumped.fall_to_spare,
                pumped.fall_error, None, outfall.to_confirm, outfall.high_water, outfall.given, outfall.under,
                outfall.over, outfall.moved_from),
    )
    alone = rest is None or outfall.id not in rest.lines.served.values()
    return Way(
        mode="pump",
        possible=True,
        works=works,
        outfalls=tuple(outfalls[name] for name in sorted(outfalls)),
        discharges=(*discharges, pumped),
        served=served,
        capacities=capacities,
        limits={outfall.id: sump.delivered_flow} if alone else {},
        deepest=max(run.deepest for run in works.pipe_runs),
        depends_on=reason("pump_depends", confirm=outfall.to_confirm),
        warnings=tuple(warnings),
        deciding=(*deciding, *(shot for shot in more if shot not in deciding)),
        lifts=(lift.design,),
        flows=storm.flows(lift.share) if lift.design.copes else {},
    )


def _level_that_decides(inputs: WayInputs, lifted: Sequence[str]) -> Reason | None:
    """An outfall to which gravity fails by the level that it is taken to have, and may do by one that it may have."""
    rules = inputs.situation.rules
    for outfall in _apart(inputs.outfalls, int(rules["lift_outfalls_tried"].likely)):
        # how high grass makes a swale's bottom look is among what the grounds differ in
        if outfall.under <= 0.0 or (inputs.situation.grounds is not None and outfall.kind in CARRIES_ON):
            continue
        spares = [spare_to(inputs.ground, inputs.catching, inputs.flows.flows, name, outfall) for name in lifted]
        if not spares or any(each is None for each in spares):
            continue
        spare, error, *_ = min((each for each in spares if each is not None), key=lambda each: each[:2])
        sigmas = rules["verdict_sigmas"].likely
        if verdict_of(spare, error, sigmas) == "no" and verdict_of(spare + outfall.under, error, sigmas) != "no":
            return level_not_given(outfall, spare)
    return None


def _spares(inputs: WayInputs, lifted: Sequence[str], outfall: OutfallSite, settings: int) -> list[Fall]:
    """Fall to spare of what is lifted had it a gravity line: by the trade's target (settings 0) or its floors (-1)."""
    laid_by = settings_to_try(inputs.situation.rules, inputs.site.layout)[settings]
    found = (
        spare_to(inputs.ground, inputs.catching, inputs.flows.flows, name, outfall, laid_by) for name in lifted
    )
    return [each for each in found if each is not None]


def _gravity_on_grounds(
    inputs: WayInputs, lifted: Sequence[str], outfall: OutfallSite
) -> tuple[Verdict | None, Reason | str, tuple[float, ...]]:
    """Whether gravity fails by the trade's floors, by counting grounds, and its spare there [m]; None where it does not
    fail by fall at all."""
    floors = [each for each in _spares(inputs, lifted, outfall, -1) if each.on_grounds.size]
    if not floors or min(each.laid for each in floors) >= 0.0:
        return None, "", ()
    least = np.min([each.on_grounds for each in floors], axis=0)
    return verdict_by_count(least < 0.0), odds_of(least >= 0.0), tuple(least.tolist())


def _pumped(inputs: WayInputs, lifted: Sequence[str], lift: _Lift) -> tuple[Discharge, tuple[Said, ...]]:
    """The pumped line as a discharge, and the shots that would say whether it is needed at all."""
    sump, outfall = lift.design.sump, lift.outfall
    spares = _spares(inputs, lifted, outfall, 0)
    spare, error, *_ = min(spares, key=lambda each: each[:2]) if spares else (None, None)
    verdict: Verdict = "sure"
    why: list[Said] = [reason("pump_lifts", lift=sump.lift, flow=sump.delivered_flow), lift.design.why_copes]
    shots: tuple[Said, ...] = ()
    sigmas = inputs.situation.rules["verdict_sigmas"].likely
    fails, odds, on_grounds = _gravity_on_grounds(inputs, lifted, outfall)
    open_fall = spare is not None and error is not None and verdict_of(spare, error, sigmas) == "cannot_tell"
    if fails is not None:
        open_fall = fails != "sure"
        why.append(odds)
    if open_fall:
        verdict = "cannot_tell"
        shots = shots_at(lifted[0], outfall.id, outfall.kind)
        why.append(reason("gravity_may_do", shots=shots))
    elif spare is not None and spare < 0.0:
        why.append(reason("gravity_short", short=-spare))
    if open_level := _level_that_decides(inputs, lifted):
        verdict = "cannot_tell"
        shots = (*shots, open_level["shot"])
        why.append(open_level)
    unconfirmed = any(reason("strip_unconfirmed") in run.crossings for run in lift.design.runs)
    if not outfall.given:
        why += [reason("outfall_found_only"), *([reason("way_unconfirmed")] if unconfirmed else [])]
    elif unconfirmed:
        verdict = "cannot_tell"
        why.insert(0, reason("way_unconfirmed"))
    if not lift.design.copes:
        verdict = "no"
    told = reason("sentences", parts=tuple(why))
    return Discharge(tuple(lifted), outfall.id, "pump", verdict, told, spare, error, sump.lift, on_grounds), shots
