"""The plan of a lot: diagnosis, cheap cures, ways to carry the water off compared, one of them chosen and said why."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from pipelines.hydraulics.held_back import HeldBack
from pipelines.layout.catching.design_flows import run_with_works, works_division
from pipelines.layout.catching.proposal import Catching, catch
from pipelines.layout.choice import leaves_by
from pipelines.layout.cured import against_today, troubles_left
from pipelines.layout.diagnosis.cause import Cause, cause_of
from pipelines.layout.diagnosis.coarse_cells import on_cells
from pipelines.layout.diagnosis.diagnose import Diagnosis, run_on_share, within_error_alone
from pipelines.layout.diagnosis.division import Division
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.diagnosis.stops import reasons_to_stop
from pipelines.layout.existing_drains import checks_of_drains, told_of_drains
from pipelines.layout.gate.faults import faults_of, without_room
from pipelines.layout.improvements import all_outfalls, only_served, what_runs_by
from pipelines.layout.level_shots import level_shots
from pipelines.layout.options import Option, PlanInputs, alternatives_of, of_sizes
from pipelines.layout.outfall_hours import LotWithWorks, holds_under, with_outfall_water
from pipelines.layout.parts import CaughtBy, LevelShot, Part, Parts, SurfaceOnly, Verdict
from pipelines.layout.plan import (
    Alternative,
    CatchBasin,
    Cure,
    Discharge,
    Plan,
    Said,
)
from pipelines.layout.quantities.cautions import CheckNeeds, site_checks
from pipelines.layout.quantities.order_of_checks import in_order
from pipelines.layout.quantities.take_off import Cost
from pipelines.layout.read_levels import levels_read
from pipelines.layout.surface.surface_only import (
    Reshaped,
    Surfaced,
    dry_where_gone,
    hollows,
    storm_on,
    surface_only,
    works_to_try,
)
from pipelines.layout.surface.with_pipes import soil_and_pipes
from pipelines.layout.swale.found_outfall import OutfallLook
from pipelines.layout.two_catchings import LaidOut, best_caught
from pipelines.layout.verdict_parts import (
    as_far_as_culverts,
    as_far_as_found,
    as_far_as_looked,
    as_far_as_outfall,
    as_today,
    headline,
    headline_no_way,
    no_way,
    nothing_built,
    on_the_surface,
    provisional,
    stopped,
    though_dry,
    with_works,
)
from pipelines.layout.way_ground import NOTHING_CAUGHT, way_ground
from pipelines.layout.ways.deep_trenches import deep_trenches
from pipelines.layout.ways.lift_design import LiftDesign
from pipelines.layout.ways.outfall_water import (
    candidates,
    found_of_outfalls,
    parts_of_outfalls,
    with_water,
)
from pipelines.layout.ways.outlets.at_culvert import checks_at_culverts
from pipelines.layout.ways.outlets.blocked import missing_tables, told_once, what_bars, why_no_line
from pipelines.layout.ways.outlets.found_low_line import with_odds
from pipelines.layout.ways.own_crossings import own_crossings
from pipelines.layout.ways.own_swale import own_swale
from pipelines.layout.ways.way_values import WayInputs
from terrain.reason import Reason, reason


@dataclass(frozen=True, slots=True, eq=False)
class LotPlan:
    """A plan with the water before and after it.

    Attributes
    ----------
    plan : Plan
        What is proposed.
    diagnosis : Diagnosis
        The lot as it is.
    division : Division
        The ground divided with the works in place.
    water : LotWater
        The storm with the works in place.
    served : dict of str to str
        Outfall by collector.
    limits : dict of str to float
        Most that leaves by an outfall. [m3/s]
    built : Catching
        Collectors that have a line.
    capacities : dict of str to float
        What each of them takes. [m3/s]
    lifts : tuple of LiftDesign
        Pumped basins with their lines.
    looks : tuple of OutfallLook
        What was found of the outfalls that lines end at, held against their grates; of all where none is used.
    held : dict of str to HeldBack
        What the water that their lines end in holds back in the design storm, by collector.
    """

    plan: Plan
    diagnosis: Diagnosis
    division: Division
    water: LotWater
    served: Mapping[str, str]
    limits: Mapping[str, float]
    built: Catching = NOTHING_CAUGHT
    capacities: Mapping[str, float] = field(default_factory=dict)
    lifts: tuple[LiftDesign, ...] = ()
    looks: tuple[OutfallLook, ...] = ()
    reshaped: Reshaped | None = None
    held: Mapping[str, HeldBack] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Sited:
    """What would catch the water; reasons to stop, for which nothing would; whether a person edited it."""

    catching: Catching
    stops: tuple[Reason, ...] = ()
    edited: bool = False


def site_works(inputs: PlanInputs, found: Diagnosis) -> Sited:
    """Site what would catch what is wrong, unless the lot is referred out."""
    stops = reasons_to_stop(inputs.site, inputs.layers, inputs.situation)
    return Sited(NOTHING_CAUGHT if stops else catch(inputs.situation, inputs.reckoning, found), stops)


def plan_lot(inputs: PlanInputs, found: Diagnosis, sited: Sited, ground: WayInputs | None) -> LotPlan:
    """Plan what a diagnosed lot needs: lines from what was sited to the ways out, None where roofs are not known."""
    planned = _planned(inputs, found, sited, ground)
    sites, own = candidates(inputs.layers, inputs.situation)
    given = [site for site in (*with_water(sites, inputs.looks), *own) if site.given]
    # what somebody drew stays on the map, whatever becomes of it
    drawn = with_odds(all_outfalls(given, planned.plan.outfalls), inputs.situation)
    moved = tuple(
        reason("outfall_moved_to_bed", outfall=each.id, kind=each.kind, distance=each.moved_from.distance(each.point))
        for each in drawn
        if each.moved_from is not None
    )
    plan, unseen, verdict = planned.plan, tuple(each.why for each in inputs.unseen), planned.plan.verdict
    if inputs.cells is not None:
        unseen = (*unseen, inputs.cells.why)
        if inputs.cells.decides and not plan.refer_out:
            verdict = on_cells(verdict, inputs.cells)
    shots = level_shots(inputs.situation, plan, inputs.places)
    told = reason("check_level_shots", shots=tuple(_said_shot(each) for each in shots)) if shots else None
    banks = [(reason("check_culvert", bank=each.name), each.decides) for each in inputs.unseen]
    drains = checks_of_drains(inputs.layers, inputs.situation.rules)
    if inputs.effort.cut_short:
        unseen = (*unseen, reason("search_cut_short", places=inputs.effort.most))
    unseen = (*told_of_drains(inputs.layers, inputs.situation.rules), *unseen)
    first, *rest = in_order(plan.site_checks, plan.parts, shots=told, banks=banks) or (None,)
    reach = inputs.situation.rules["outfall_bottom_reach"].likely
    ends = checks_at_culverts(plan, inputs.layers.culverts.geometry, reach)
    checks = (*drains, *(() if first is None else (first,)), *ends, *rest)
    planned = replace(
        planned,
        plan=replace(
            plan, verdict=verdict, outfalls=drawn, warnings=(*plan.warnings, *moved, *unseen), site_checks=checks,
            level_shots=shots,
        ),
    )
    return planned if planned.looks else replace(planned, looks=found_of_outfalls(inputs.looks, (), (), NOTHING_CAUGHT))


def _planned(inputs: PlanInputs, found: Diagnosis, sited: Sited, ground: WayInputs | None) -> LotPlan:
    catching = sited.catching
    if sited.stops:
        return _nothing_built(inputs, found, catching, sited.stops[0], sited.stops)
    if ground is None:
        return _provisional(inputs, found, catching)
    if catching.empty:
        return _nothing_built(inputs, found, catching, _nothing_wrong(found, catching), ())
    return _with_works(inputs, found, catching, ground, weigh=not sited.edited)


def _said_shot(shot: LevelShot) -> Reason:
    return reason("level_shot", id=shot.id, what=shot.what, gain=shot.gain)


def _nothing_wrong(found: Diagnosis, catching: Catching) -> Reason:
    if catching.enough:
        return reason("downspouts_suffice")
    if catching.refused:
        return reason("nothing_fits", refused=catching.refused)
    return reason("fill_hollows") if found.troubles else reason("nothing_stands")


def _nothing_built(
    inputs: PlanInputs, found: Diagnosis, catching: Catching, verdict: Said, stops: tuple[Said, ...]
) -> LotPlan:
    if found.troubles and not (stops or catching.enough or catching.refused):
        topped = surface_only(inputs, found, hollows(found.troubles))
        if topped is not None and topped[0].state != "no":
            return _on_the_surface(inputs, found, catching, topped, None)
    cause = _cause(inputs, found)
    within, dry = within_error_alone(inputs.situation, found), not (stops or found.troubles)
    unsure, told = though_dry(inputs.places, within, inputs.beyond) if dry else (None, verdict)
    if unsure is not None and cause.state in ("sure", "not_needed"):
        cause, verdict = Cause("cannot_tell", unsure, cause.doubts), told
    why = stops[0] if stops else verdict
    cures = Alternative(
        "none", True, 0.0, 0.0, _cure_money(inputs, catching), None, None, reason("the_cheap_cures"), True
    )
    parts = stopped(why) if stops else nothing_built(found, catching, _part(cause), verdict)
    if not stops:
        parts = _as_far_as_known(parts, inputs, found)
    plan = Plan(
        verdict=verdict if stops else headline(found, parts, verdict, None),
        parts=parts,
        discharges=(
            Discharge(
                (), None, "none", "no" if stops or catching.refused else "sure" if unsure is None else "cannot_tell",
                why, None, None, None,
            ),
        ),
        cures=catching.cures,
        alternatives=() if stops else (cures,),
        refer_out=stops,
        site_checks=site_checks(CheckNeeds((), False, False, inputs.situation.roofs_known, False, _is_open(cause),
                                           read=levels_read(inputs.situation, found))),
        warnings=(*cause.doubts, *catching.refused),
    )  # fmt: skip
    return LotPlan(plan, found, found.division, found.water, {}, {})


def _cure_money(inputs: PlanInputs, catching: Catching) -> float:
    """High end of what the cheap cures cost: an hour each, and pipe for an extension."""
    labour = inputs.prices["labour"].high if "labour" in inputs.prices else 0.0
    return len(catching.cures) * labour


def _provisional(inputs: PlanInputs, found: Diagnosis, catching: Catching) -> LotPlan:
    basins = tuple(
        CatchBasin(
            id=site.id, drains_to="", point=site.point, grate="", peak_flow=np.nan, capacity=np.nan,
            governed_by="", ponding=np.nan, ground_elevation=site.ground, invert_elevation=np.nan, provisional=True,
            why=reason("basin_provisional", why=site.why),
        )
        for site in catching.basins
    )
    cause, why = _cause(inputs, found), reason("roofs_not_given")
    plan = Plan(
        verdict=why,
        parts=_as_far_as_known(provisional(_part(cause), why), inputs, found),
        catch_basins=basins,
        discharges=(Discharge(tuple(b.id for b in basins), None, "none", "cannot_tell", why, None, None, None),),
        site_checks=site_checks(CheckNeeds((), bool(basins), False, False, False, _is_open(cause))),
        warnings=(*cause.doubts, *catching.refused),
    )
    return LotPlan(plan, found, found.division, found.water, {}, {})


def _with_works(
    inputs: PlanInputs, found: Diagnosis, catching: Catching, ground: WayInputs, *, weigh: bool
) -> LotPlan:
    situation = inputs.situation
    laid, caught_by = best_caught(inputs, found, catching, ground, weigh=weigh)
    if isinstance(laid, Catching):
        return _nothing_built(inputs, found, laid, _nothing_wrong(found, laid), ())
    turned_aside = own_swale(laid.way_inputs, found, run_on_share(situation, found))
    if turned_aside is not None:
        laid = _with_cures(laid, (*laid.catching.cures, turned_aside.cure))
    shaped = surface_only(inputs, found, works_to_try(inputs, found, turned_aside))
    if shaped is None:
        return _laid_out(inputs, found, laid, caught_by)
    if _enough_alone(inputs, shaped[0], laid):
        return _on_the_surface(inputs, found, laid.catching, shaped, laid.least)
    if not weigh:
        return _laid_out(inputs, found, laid, caught_by, shaped[0])
    surface, lot, both = soil_and_pipes(inputs, found, laid, shaped, way_ground)
    if both is None:
        return _laid_out(inputs, found, laid, caught_by, surface)
    # what costs little and comes first is told of the lot as it is
    return _laid_out(both.inputs, found, _with_cures(both.laid, laid.catching.cures), both.caught_by, surface, lot)


def _with_cures(laid: LaidOut, cures: tuple[Cure, ...]) -> LaidOut:
    catching = replace(laid.catching, cures=cures)
    way_inputs = replace(laid.way_inputs, catching=catching)
    return replace(laid, catching=catching, way_inputs=way_inputs, least=replace(laid.least, way_inputs=way_inputs))


def _laid_out(
    inputs: PlanInputs, today: Diagnosis, laid: LaidOut, caught_by: tuple[CaughtBy, ...],
    surface: SurfaceOnly | None = None, lot: Reshaped | None = None,
) -> LotPlan:
    """The plan of what is laid out; on the reshaped `lot`, whose inputs these are then, where soil is moved too."""
    situation, reckoning, rules = inputs.situation, inputs.reckoning, inputs.situation.rules
    catching, found = laid.catching, today if lot is None else lot.found
    option, sizes = of_sizes(inputs, found, laid.division, laid.least, laid.other)
    way_inputs, flows, chosen = option.way_inputs, option.way_inputs.flows, option.chosen
    alternatives = alternatives_of(inputs, option)
    if chosen is None or option.cost is None:
        return _no_way_out(inputs, today, catching, alternatives, option)
    works, (lines, unpriced) = option.built, option.priced
    served = only_served(catching, chosen)
    division = works_division(situation, served)
    water = run_with_works(situation, reckoning, found, served, division, chosen.capacities)
    cause, way = _cause(inputs, today), leaves_by(way_inputs, chosen, found)
    if lot is not None:
        way = reason("leaves_beside_surface", way=way, works=tuple(work.why for work in lot.works))
    looks = found_of_outfalls(inputs.looks, chosen.outfalls, chosen.discharges, served)
    left = against_today(troubles_left(found, served, division, water, rules), today)
    full = with_outfall_water(LotWithWorks(situation, reckoning, found, served, division), water, chosen, looks)
    water, looks = full.water if lot is None else dry_where_gone(full.water, today.water), full.looks
    takes = parts_of_outfalls(looks, chosen.outfalls)
    under = holds_under(chosen, served, looks)
    parts = with_works(_part(cause), chosen, takes, left, under, laid.on_each(chosen))
    parts = _as_far_as_known(parts, inputs, today)
    ends = [each for each in chosen.outfalls if any(line.outfall == each.id for line in chosen.discharges)]
    kinds = {outfall.kind for outfall in ends}
    plan = Plan(
        verdict=headline(today, parts, way, option.cost, [each for each in left if not each.ended]),
        parts=parts,
        catch_basins=works.catch_basins,
        french_drains=works.french_drains,
        channel_drains=works.channel_drains,
        pipe_runs=works.pipe_runs,
        sumps=works.sumps,
        outfalls=all_outfalls(way_inputs.outfalls, chosen.outfalls),
        fittings=works.fittings,
        discharges=as_far_as_outfall(chosen.discharges, takes),
        cures=catching.cures,
        alternatives=alternatives,
        sizes=sizes,
        caught_by=caught_by,
        surface=surface,
        take_off=lines,
        site_checks=site_checks(
            CheckNeeds(
                chosen.deciding, True, bool(works.sumps), True, bool(kinds & {"swale", "ditch"}), _is_open(cause),
                "pond" in kinds, tuple(sorted(kinds & {"swale", "ditch"})),
                levels_read(situation, today, works.pipe_runs, ends),
                grates=rules["grate_set_within"].likely if any(each.spot for each in served.basins) else None,
            )
        ),
        warnings=(
            *cause.doubts,
            *catching.refused,
            *chosen.warnings,
            *own_crossings(works.pipe_runs, rules["pipe_clearance"].likely),
            *deep_trenches(works.pipe_runs, works.french_drains, works.sumps, rules),
            *what_runs_by(flows),
            *unpriced,
        ),
    )
    found_by_gate = faults_of(plan, way_inputs.ground)
    notes = without_room(found_by_gate, plan, way_inputs.ground)
    faults = tuple(each for each in found_by_gate if each not in notes)
    plan = replace(plan, faults=faults, warnings=tuple(dict.fromkeys((*plan.warnings, *faults, *notes.values()))))
    return LotPlan(
        plan, today, division, water, chosen.served, chosen.limits, served, chosen.capacities, chosen.lifts,
        looks=looks, reshaped=lot, held=full.held,
    )


def _enough_alone(inputs: PlanInputs, surface: SurfaceOnly, laid: LaidOut) -> bool:
    """Whether works on the surface end it for less than any line, or may where lines don't; what the site file asks for
    comes first."""
    layout, cost = inputs.site.layout, laid.least.cost
    if layout.lift is not None or layout.keep_dry is not None or inputs.situation.fixed_basins:
        return False
    ends = surface.state == "sure" or (surface.state == "cannot_tell" and cost is not None and laid.over > 0)
    return ends and (cost is None or surface.likely <= cost.likely)


def _on_the_surface(
    inputs: PlanInputs, found: Diagnosis, catching: Catching, shaped: Surfaced, least: Option | None
) -> LotPlan:
    surface, lot, lines = replace(shaped[0], chosen=True), shaped[1], shaped[2]
    why = reason("surface_suffices", works=tuple(work.why for work in surface.works), sure=surface.state == "sure")
    cause = _cause(inputs, found)
    parts = on_the_surface(_part(cause), surface.state, why, against_today(lot.through, found))
    parts = _as_far_as_known(parts, inputs, found)
    water = storm_on(lot, inputs.reckoning, found.water)
    verdict: Verdict = "sure" if parts.cure.state == "sure" else "cannot_tell"
    plan = Plan(
        verdict=headline(found, parts, why, Cost(surface.low, surface.likely, surface.high), lot.through),
        parts=parts,
        discharges=(Discharge((), None, "none", verdict, why, None, None, None),),
        cures=catching.cures,
        alternatives=() if least is None else alternatives_of(inputs, least, taken=False),
        surface=surface,
        take_off=lines,
        site_checks=site_checks(CheckNeeds((), True, False, True, False, _is_open(cause), line=False)),
        warnings=(*cause.doubts, *catching.refused),
    )
    return LotPlan(plan, found, lot.found.division, water, {}, {}, reshaped=lot)


def _no_way_out(
    inputs: PlanInputs, found: Diagnosis, catching: Catching, alternatives: tuple[Alternative, ...], option: Option
) -> LotPlan:
    cause, barred = _cause(inputs, found), what_bars(option.way_inputs, inputs.layers)
    missing = missing_tables(option.way_inputs)
    why = why_no_line(option.way_inputs, inputs.layers, barred, tuple(option.ways.values()))
    parts = no_way(_part(cause), why, known=not missing)
    parts = _as_far_as_known(parts, inputs, found)
    today = as_today(found.water, inputs.situation.rules["least_basin_flow"].likely)
    plan = Plan(
        verdict=headline_no_way(found, parts, today, missing),
        parts=parts,
        outfalls=all_outfalls(option.way_inputs.outfalls, ()),
        discharges=(Discharge((), None, "none", "cannot_tell" if missing else "no", today, None, None, None),),
        cures=catching.cures,
        alternatives=told_once(alternatives, barred),
        site_checks=site_checks(CheckNeeds((), False, False, True, False, _is_open(cause))),
        warnings=(*cause.doubts, *catching.refused),
    )
    looks = found_of_outfalls(inputs.looks, (), (), catching)
    return LotPlan(plan, found, found.division, found.water, {}, {}, looks=looks)


def _cause(inputs: PlanInputs, found: Diagnosis) -> Cause:
    return cause_of(inputs.site, inputs.layers, inputs.situation, found)


def _part(cause: Cause) -> Part:
    return Part(cause.state, cause.why)


def _as_far_as_known(parts: Parts, inputs: PlanInputs, today: Diagnosis) -> Parts:
    """The same as far as culverts that nobody has seen, and grounds that lidar allows, leave it open."""
    return as_far_as_looked(as_far_as_found(as_far_as_culverts(parts, inputs.unseen), today.troubles), inputs.beyond)


def _is_open(cause: Cause) -> bool:
    return bool(cause.doubts) or cause.state == "no"
