"""Lifting with a pump what gravity cannot serve; what gravity can serve keeps a line of its own."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from pipelines.hydraulics.errors import PumpTooWeakError
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.plan import Discharge, Outfall, Said, Verdict
from pipelines.layout.quantities.quantities import Works
from pipelines.layout.routing.spec import OutfallTarget, RoutedForest, RoutePipe
from pipelines.layout.ways.fall import spare_to, verdict_of
from pipelines.layout.ways.gravity import best_gravity, discharges_of, line_warnings, nowhere, run_warnings, shots_at
from pipelines.layout.ways.gravity_lines import GravityAnswer
from pipelines.layout.ways.lift_design import PRESSURE_PIPES, LiftDesign, design_lift
from pipelines.layout.ways.lines import PipeLines, lay_lines
from pipelines.layout.ways.outfall_sites import OutfallSite
from pipelines.layout.ways.settings import LaySettings, collectors_of, line_ground, route_spec, settings_to_try
from pipelines.layout.ways.sump_sites import SumpSite, site_sumps
from pipelines.layout.ways.way_values import Way, WayInputs
from terrain.arrays import BoolArray
from terrain.reason import reason
from terrain.unit_table import FOOT


@dataclass(frozen=True, slots=True, eq=False)
class _Lift:
    """A sump with its lines: as sited, the gravity lines to it as laid, its design, and the outfall."""

    site: SumpSite
    feed: PipeLines
    design: LiftDesign
    outfall: OutfallSite


def by_pump(inputs: WayInputs, gravity: Way, answer: GravityAnswer | None) -> Way:
    """Lift what gravity cannot serve; where gravity serves all, lift all, for comparison. Roofs never go through it."""
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
    try:
        lift = _cheapest_lift(inputs, lifted, first)
    except PumpTooWeakError as error:
        return Way("pump", False, depends_on=error.fact)
    if lift is None:
        return Way("pump", False, depends_on=reason("no_place_for_sump"))
    return _laid_by_pump(inputs, lifted, rest, lift)


def sump_cells(inputs: WayInputs) -> BoolArray:
    """Cells of the route field where a sump may stand.

    On the lot, its edge 5 ft from any wall and its pit outside the 45-degree plane of the footing, clear of
    keep-outs and paving.
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
    inside: BoolArray = shapely.contains_xy(free, *grid.centres(*np.indices(grid.shape)))
    return inside


def _cheapest_lift(inputs: WayInputs, lifted: Sequence[str], first: int) -> _Lift | None:
    """The sump and outfall whose lines cost least, collectors to it and pressure line from it together."""
    rules, field = inputs.situation.rules, inputs.ground.field
    layout = inputs.site.layout
    target = settings_to_try(rules, layout)[0].slope
    settings = LaySettings(target, layout.cover or rules["cover_lawn"].low)
    spec, _ = route_spec(inputs.ground, settings)
    collectors = collectors_of(inputs.catching, inputs.flows.flows, lifted, spec, settings)
    pipe = find_pipe(PRESSURE_PIPES[0])
    price = inputs.ground.prices.get(f"{pipe.key} pipe")
    routed = RoutePipe(pipe.key, pipe.outside, pipe.wall, 0.0, 1.0, price.likely / FOOT if price is not None else 0.0)
    house = inputs.situation.houses
    places = sump_cells(inputs)
    best: tuple[float, SumpSite, OutfallSite] | None = None
    for outfall in _apart(inputs.outfalls, int(rules["lift_outfalls_tried"].likely)):
        sites, unserved = site_sumps(
            field, collectors, OutfallTarget(outfall.id, outfall.point, outfall.level), spec, routed, places,
            deepest_inlet=rules["sump_inlet_depth"].likely, sump_cost=1e4, cover=rules["pressure_line_cover"].likely,
            power=None if house.is_empty else shapely.centroid(house),
            power_cost=rules["power_cost"].likely,
        )
        if unserved or len(sites) != 1:
            continue
        if best is None or sites[0].cost < best[0]:
            best = (sites[0].cost, sites[0], outfall)
    return None if best is None else _designed(inputs, best[1], best[2], settings, first)


def _apart(outfalls: Sequence[OutfallSite], most: int) -> list[OutfallSite]:
    """At most so many places, one of each outfall first."""
    ordered = sorted(outfalls, key=lambda site: (site.level,))
    seen: dict[str, OutfallSite] = {}
    for site in ordered:
        seen.setdefault(site.id, site)
    return list(seen.values())[:most]


def _designed(
    inputs: WayInputs, site: SumpSite, outfall: OutfallSite, settings: LaySettings, first: int
) -> _Lift:
    _, pipes = route_spec(inputs.ground, settings)
    where = line_ground(inputs.ground, inputs.catching, inputs.flows.flows, {})
    where = replace(where, tailwater={"sump-1": site.inlet})
    forest = RoutedForest(site.inflows, site.cost, site.cost, site.cost, True, {})
    feed = lay_lines(forest, pipes, where, first=first, downspouts=frozenset())
    design = design_lift(
        inputs.situation,
        inputs.curve,
        site.point,
        site.inlet,
        sum(inputs.flows.flows[name] for name in site.serves),
        site.pressure,
        outfall=outfall.id,
        outlet_level=max(outfall.level, outfall.tailwater),
        number=1,
        run_number=first + len(feed.runs),
        crossing_kinds=where.crossing_kinds,
    )
    return _Lift(site, feed, design, outfall)


def _laid_by_pump(inputs: WayInputs, lifted: Sequence[str], rest: GravityAnswer | None, lift: _Lift) -> Way:
    outfall, sump, rules = lift.outfall, lift.design.sump, inputs.situation.rules
    total = sum(inputs.flows.flows[name] for name in lifted)
    moved = min(1.0, sump.operating_flow / total) if total > 0.0 else 1.0
    capacities = {name: inputs.flows.flows[name] * moved for name in lifted}
    outfalls: dict[str, Outfall] = {each.id: each for each in (rest.outfalls if rest is not None else ())}
    discharges: tuple[Discharge, ...] = ()
    warnings: list[Said] = [reason("of_sump", sump=sump.id, text=text) for text in sump.warnings]
    served = dict.fromkeys(lifted, outfall.id)
    deciding: tuple[Said, ...] = ()
    if rest is not None:
        discharges, deciding = discharges_of(inputs, rest, "gravity")
        warnings += line_warnings(inputs, rest)
        capacities |= {name: inputs.flows.flows[name] for name in rest.lines.served}
        served |= rest.lines.served
    warnings += run_warnings(lift.feed.runs, inputs.site.layout.cover or rules["cover_lawn"].low, rules)
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
                pumped.fall_error, None, outfall.to_confirm, outfall.high_water),
    )
    runs = (*(rest.lines.runs if rest is not None else ()), *lift.feed.runs, lift.design.run)
    fittings = (*(rest.lines.fittings if rest is not None else ()), *lift.feed.fittings, *lift.design.fittings)
    alone = rest is None or outfall.id not in rest.lines.served.values()
    return Way(
        mode="pump",
        possible=True,
        works=Works(pipe_runs=runs, sumps=(sump,), fittings=fittings),
        outfalls=tuple(outfalls[name] for name in sorted(outfalls)),
        discharges=(*discharges, pumped),
        served=served,
        capacities=capacities,
        limits={outfall.id: sump.operating_flow} if alone else {},
        deepest=max(run.deepest for run in runs),
        depends_on=reason("pump_depends", confirm=outfall.to_confirm),
        warnings=tuple(warnings),
        deciding=(*deciding, *(shot for shot in more if shot not in deciding)),
        lifts=(lift.design,),
    )


def _pumped(inputs: WayInputs, lifted: Sequence[str], lift: _Lift) -> tuple[Discharge, tuple[Said, ...]]:
    """The pumped line as a discharge, and the shots that would say whether it is needed at all."""
    sump, outfall = lift.design.sump, lift.outfall
    spares = [
        each
        for name in lifted
        if (each := spare_to(inputs.ground, inputs.catching, inputs.flows.flows, name, outfall)) is not None
    ]
    spare, error = min(spares) if spares else (None, None)
    verdict: Verdict = "sure"
    why: list[Said] = [reason("pump_lifts", lift=sump.lift, flow=sump.operating_flow)]
    shots: tuple[Said, ...] = ()
    sigmas = inputs.situation.rules["verdict_sigmas"].likely
    if spare is not None and error is not None and verdict_of(spare, error, sigmas) == "cannot_tell":
        verdict = "cannot_tell"
        shots = shots_at(lifted[0], outfall.id, outfall.kind)
        why.append(reason("gravity_may_do", shots=shots))
    elif spare is not None and spare < 0.0:
        why.append(reason("gravity_short", short=-spare))
    if not outfall.verified:
        verdict = "cannot_tell"
        why.append(reason("outfall_found_only"))
    if reason("strip_unconfirmed") in lift.design.run.crossings:
        verdict = "cannot_tell"
        why.append(reason("way_unconfirmed"))
    told = reason("sentences", parts=tuple(why))
    return Discharge(tuple(lifted), outfall.id, "pump", verdict, told, spare, error, sump.lift), shots
