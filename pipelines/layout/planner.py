"""The plan of a lot: diagnosis, cheap cures, ways to carry the water off compared, one of them chosen and said why."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely import LineString

from pipelines.hydraulics.basin_capacity import basin_capacity
from pipelines.hydraulics.grate import BASIN_GRATES, choose_grate, ponding_depth
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.hydraulics.pumping.pump_curve import PumpCurve
from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.inputs.site_file import SiteFile
from pipelines.layout.catching.design_flows import DesignFlows, design_flows, run_with_works, works_division
from pipelines.layout.catching.proposal import Catching, catch
from pipelines.layout.catching.trench_sizes import DRAIN_PIPE
from pipelines.layout.diagnosis.diagnose import Diagnosis, Reckoning, diagnose, run_on_share
from pipelines.layout.diagnosis.division import Division
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.stops import ground_water_signs, reasons_to_stop
from pipelines.layout.plan import (
    Alternative,
    CatchBasin,
    ChannelDrain,
    Discharge,
    FrenchDrain,
    Outfall,
    PipeRun,
    Plan,
    TakeOffLine,
)
from pipelines.layout.quantities.cautions import CheckNeeds, site_checks
from pipelines.layout.quantities.quantities import Access, quantities_of
from pipelines.layout.quantities.take_off import Cost, UnitPrice, price_take_off, total_cost
from pipelines.layout.routing.fall_to_spare import fall_to_spare
from pipelines.layout.routing.lot_field import lot_field
from pipelines.layout.routing.spec import OutfallTarget
from pipelines.layout.ways.all_ways import lay_out_ways
from pipelines.layout.ways.laying import LayGround, route_spec, settings_to_try
from pipelines.layout.ways.lift_design import LiftDesign, assumed_curve
from pipelines.layout.ways.outfall_sites import (
    OutfallRules,
    OutfallSite,
    daylight_places,
    found_outfalls,
    given_outfalls,
)
from pipelines.layout.ways.own_crossings import own_crossings
from pipelines.layout.ways.own_swale import own_swale
from pipelines.layout.ways.way_values import LaidOut, WayInputs
from terrain.raster import Raster
from terrain.reason import Reason

LEAST_DRAIN_FLOW = 3.2e-4
"""A stone trench that would catch less is left out: the basin does the job. [m3/s]"""
LEAST_BASIN_FLOW = 6.3e-5
"""A basin that water runs by and that would catch less is left out, 1 gpm; a value of this project. [m3/s]"""
BY_THE_POND = "Its flow is the least that ends this: the pond takes the peak."
SHALLOW_PONDING = 0.05
"""Water that may stand over a grate at the peak, so long as it drains in time; a value of this project. [m]"""
NOTHING_CAUGHT = Catching((), (), (), (), False, ())
PREFERENCE = {"gravity": 0, "daylight": 1, "soakaway": 2, "pump": 3, "none": 4}


@dataclass(frozen=True, slots=True, eq=False)
class PlanInputs:
    """All that a plan is made from.

    Attributes
    ----------
    site : SiteFile
        What the site file says.
    layers : SiteLayers
        Its shapes.
    situation : Situation
        The lot.
    reckoning : Reckoning
        Surfaces, rain, soil.
    prices : mapping of str to UnitPrice
        By item.
    curve : PumpCurve or None
        Of the pump, where it is given.
    """

    site: SiteFile
    layers: SiteLayers
    situation: Situation
    reckoning: Reckoning
    prices: Mapping[str, UnitPrice]
    curve: PumpCurve | None


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
    spare : Raster or None
        Fall to spare of a small gravity line from each place to the outfall that leaves most; None without outfalls.
        [m]
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
    spare: Raster | None = None


def plan_lot(inputs: PlanInputs) -> LotPlan:
    """Diagnose a lot and plan what it needs."""
    planned = _planned(inputs)
    if planned.spare is not None or not inputs.situation.roofs_known:
        return planned
    ways = _way_inputs(inputs, planned.diagnosis, NOTHING_CAUGHT, DesignFlows({}, {}, {}))
    return replace(planned, spare=spare_everywhere(ways))


def _planned(inputs: PlanInputs) -> LotPlan:
    found = diagnose(inputs.situation, inputs.reckoning)
    stops = reasons_to_stop(inputs.site, inputs.layers, inputs.situation)
    if stops:
        return _nothing_built(inputs, found, NOTHING_CAUGHT, stops[0], stops)
    catching = catch(inputs.situation, inputs.reckoning, found)
    if not inputs.situation.roofs_known:
        return _provisional(inputs, found, catching)
    if catching.empty:
        return _nothing_built(inputs, found, catching, _fine_in_words(found, catching), ())
    return _with_works(inputs, found, catching)


def _fine_in_words(found: Diagnosis, catching: Catching) -> str:
    if catching.enough:
        return "Nothing to build: leading the downspouts away ends what is wrong in this storm."
    if catching.refused:
        refused = "; ".join(str(each) for each in catching.refused)
        return f"Something is wrong on this lot and no works fit: {refused}."
    if found.troubles:
        return "Nothing to build: small hollows to fill, no works."
    return "Nothing to build: no water stands or runs on this lot beyond what people put up with in this storm."


def _nothing_built(
    inputs: PlanInputs, found: Diagnosis, catching: Catching, verdict: str, stops: tuple[str, ...]
) -> LotPlan:
    why = stops[0] if stops else verdict
    plan = Plan(
        verdict=verdict,
        discharges=(
            Discharge((), None, "none", "no" if stops or catching.refused else "sure", why, None, None, None),
        ),
        cures=catching.cures,
        alternatives=(
            Alternative("none", True, 0.0, 0.0, _cure_money(inputs, catching), None, None, "the cheap cures", True),
        )
        if not stops
        else (),
        refer_out=stops,
        site_checks=site_checks(CheckNeeds((), False, False, inputs.situation.roofs_known, False)),
        warnings=(*ground_water_signs(inputs.situation.complaints), *catching.refused),
    )
    return LotPlan(plan, found, found.division, found.water, {}, {})


def _cure_money(inputs: PlanInputs, catching: Catching) -> float:
    """High end of what the cheap cures cost: an hour each, and pipe for an extension."""
    labour = inputs.prices["labour"].high if "labour" in inputs.prices else 0.0
    return len(catching.cures) * labour


def _provisional(inputs: PlanInputs, found: Diagnosis, catching: Catching) -> LotPlan:
    basins = tuple(
        CatchBasin(
            id=site.id, drains_to="", point=site.point, grate="", peak_flow=0.0, capacity=0.0, governed_by="",
            ponding=0.0, ground_elevation=site.ground, invert_elevation=np.nan, provisional=True,
            why=f"Provisional, since no roofs are given. {site.why}",
        )
        for site in catching.basins
    )
    why = (
        "Roofs are not given, so nothing can be sited against a house and no line is laid: the ground is read, and "
        "basins at low spots are provisional."
    )
    plan = Plan(
        verdict=why,
        catch_basins=basins,
        discharges=(Discharge(tuple(b.id for b in basins), None, "none", "cannot_tell", why, None, None, None),),
        site_checks=site_checks(CheckNeeds((), bool(basins), False, False, False)),
        warnings=catching.refused,
    )
    return LotPlan(plan, found, found.division, found.water, {}, {})


def _with_works(inputs: PlanInputs, found: Diagnosis, catching: Catching) -> LotPlan:
    situation, reckoning = inputs.situation, inputs.reckoning
    division = works_division(situation, catching)
    flows = design_flows(situation, reckoning, found, catching, division)
    useful = _without_idle(catching, flows)
    if useful is not catching:
        catching = useful
        if catching.empty:
            return _nothing_built(inputs, found, catching, _fine_in_words(found, catching), ())
        division = works_division(situation, catching)
        flows = design_flows(situation, reckoning, found, catching, division)
    way_inputs = _way_inputs(inputs, found, catching, flows)
    turned_aside = own_swale(way_inputs, found, run_on_share(situation, found))
    if turned_aside is not None:
        catching = replace(catching, cures=(*catching.cures, turned_aside))
    ways = lay_out_ways(way_inputs)
    fixed = inputs.site.layout.lift
    priced = {way.mode: _priced(inputs, catching, flows, way) for way in ways if way.possible}
    chosen = _choose(ways, {mode: total_cost(lines) for mode, (lines, _) in priced.items()}, fixed)
    alternatives = tuple(_alternative(way, priced.get(way.mode), chosen) for way in ways)
    if chosen is None:
        return _no_way_out(inputs, found, catching, alternatives, ways)
    chosen = _in_doubt(found, chosen)
    built = _only_served(catching, chosen)
    division = works_division(situation, built)
    water = run_with_works(situation, reckoning, found, built, division, chosen.capacities)
    lines, unpriced = priced[chosen.mode]
    plan = Plan(
        verdict=_verdict(chosen, flows, total_cost(lines)),
        catch_basins=_basins(situation, catching, flows, chosen),
        french_drains=(*_drains(catching, flows, chosen), *chosen.works.french_drains),
        channel_drains=_channels(catching, flows, chosen),
        pipe_runs=chosen.works.pipe_runs,
        sumps=chosen.works.sumps,
        outfalls=_all_outfalls(way_inputs, chosen),
        fittings=chosen.works.fittings,
        discharges=chosen.discharges,
        cures=catching.cures,
        alternatives=alternatives,
        take_off=lines,
        site_checks=site_checks(
            CheckNeeds(
                chosen.deciding, True, bool(chosen.works.sumps), True,
                any(outfall.kind in ("swale", "ditch") for outfall in chosen.outfalls),
            )
        ),
        warnings=(
            *ground_water_signs(situation.complaints),
            *catching.refused,
            *chosen.warnings,
            *own_crossings(chosen.works.pipe_runs),
            *_short_in_words(flows),
            *unpriced,
            *_still_wet(found, water),
        ),
    )
    return LotPlan(
        plan, found, division, water, chosen.served, chosen.limits, built, chosen.capacities, chosen.lifts,
        spare_everywhere(way_inputs),
    )


def _in_doubt(found: Diagnosis, chosen: LaidOut) -> LaidOut:
    """Nothing is sure of works for water that only the lidar shows, within its error; as it is otherwise."""
    if not found.troubles or any(trouble.certain for trouble in found.troubles):
        return chosen
    wet = tuple(dict.fromkeys(str(trouble.name) for trouble in found.troubles))
    why = (
        f" Whether water stands on {' and '.join(wet)} at all is within the lidar's error, and nobody is known to have "
        "seen it."
    )
    return replace(
        chosen,
        discharges=tuple(
            replace(each, verdict="cannot_tell" if each.verdict == "sure" else each.verdict, why=each.why + why)
            for each in chosen.discharges
        ),
        deciding=(*(f"the lowest point and the rim of {name}" for name in wet), *chosen.deciding),
    )


def _without_idle(catching: Catching, flows: DesignFlows) -> Catching:
    """Without drains and basins that would catch next to nothing; the same value where there are none of these."""
    drains = tuple(site for site in catching.drains if flows.flows[site.id] >= LEAST_DRAIN_FLOW)
    basins = tuple(
        site for site in catching.basins if site.spot is not None or flows.flows[site.id] >= LEAST_BASIN_FLOW
    )
    if len(drains) == len(catching.drains) and len(basins) == len(catching.basins):
        return catching
    kept = {site.id for site in basins} | {site.id for site in drains}
    dropped = [site.id for site in catching.sites if site.id not in kept and site not in catching.downspouts]
    refused = catching.refused
    if not basins and not drains:
        # nothing else does the job in their stead
        refused = (*refused, f"what would be caught by {', '.join(dropped)} is next to nothing")
    return replace(catching, basins=basins, drains=drains, refused=refused)


def spare_everywhere(inputs: WayInputs) -> Raster | None:
    """Fall to spare of the smallest gravity line from everywhere on the lot, to the outfall that leaves most."""
    sites = (*inputs.outfalls, *inputs.daylights)
    if not sites:
        return None
    settings = settings_to_try(inputs.situation.rules, inputs.site.layout)[0]
    spec, _ = route_spec(inputs.ground, settings)
    route_field = replace(inputs.ground.field, cover=np.maximum(inputs.ground.field.cover, settings.cover))
    falls = [
        fall_to_spare(
            route_field, OutfallTarget(site.id, site.point, site.level), spec.pipes[0], slope=settings.slope,
            taper_length=spec.taper_length, dig_tolerance=spec.dig_tolerance, basin_drop=spec.basin_drop,
        ).spare
        for site in sites
    ]
    most = np.fmax.reduce(falls)
    inside = mask_of(inputs.situation.parcel, route_field.grid)
    return Raster(route_field.grid, np.where(inside, most, np.nan), "m", "fall to spare to the best outfall")


def _only_served(catching: Catching, way: LaidOut) -> Catching:
    """Collectors that have a line; what could not be tied in is as it was."""
    return replace(
        catching,
        basins=tuple(site for site in catching.basins if site.id in way.served),
        drains=tuple(site for site in catching.drains if site.id in way.served),
        downspouts=tuple(site for site in catching.downspouts if site.id in way.served),
    )


def _way_inputs(inputs: PlanInputs, found: Diagnosis, catching: Catching, flows: DesignFlows) -> WayInputs:
    situation, layers = inputs.situation, inputs.layers
    rules = OutfallRules(
        clearance=situation.rules["outlet_above_swale"].likely,
        daylight_line=situation.rules["outlet_offset_line"].likely,
        daylight_walk=situation.rules["outlet_offset_walk"].likely,
    )
    outfalls = given_outfalls(
        [
            (shape, kind, float(level) if np.isfinite(level) else None)
            for shape, kind, level in zip(
                layers.outfalls.geometry, layers.outfalls["kind"], layers.outfalls["level_m"], strict=True
            )
        ],
        situation.drainage, situation.parcel, rules, shots=situation.shots,
        high_waters=[
            float(level) if np.isfinite(level) else None for level in layers.outfalls["highest_level_m"]
        ],
    )
    own = tuple(site for site in outfalls if site.kind == "daylight")
    outfalls = tuple(site for site in outfalls if site.kind not in ("daylight", "soakaway"))
    if not outfalls and not own:
        outfalls = found_outfalls(
            situation.drainage, situation.parcel, situation.on_parcel, situation.right_of_way, situation.roofs, rules
        )
    daylights = own or daylight_places(
        situation.drainage, situation.parcel, situation.on_parcel, right_of_way=situation.right_of_way,
        paving=situation.paving, houses=situation.houses, barred=situation.keep_out, wet=found.wet, rules=rules,
    )
    route_field = lot_field(
        situation, layers, [site.point for site in (*outfalls, *daylights)], inputs.prices,
        cover=situation.rules["cover_lawn"].low, max_depth=situation.rules["depth_hand_dig"].high,
    )
    keep_out = tuple(
        (shape, str(kind).lower())
        for shape, kind in zip(layers.keep_out.geometry, layers.keep_out["kind"], strict=True)
    )
    ground = LayGround(situation, route_field, inputs.prices, inputs.site.layout, keep_out)
    return WayInputs(
        inputs.site, ground, catching, flows, outfalls, daylights,
        inputs.curve if inputs.curve is not None else assumed_curve(), inputs.curve is not None,
    )


def _priced(
    inputs: PlanInputs, catching: Catching, flows: DesignFlows, way: LaidOut
) -> tuple[tuple[TakeOffLine, ...], tuple[Reason, ...]]:
    works = replace(
        way.works,
        catch_basins=_basins(inputs.situation, catching, flows, way),
        french_drains=(*_drains(catching, flows, way), *way.works.french_drains),
        channel_drains=_channels(catching, flows, way),
    )
    rules, layout = inputs.situation.rules, inputs.site.layout
    narrow = layout.gate is not None and layout.gate < rules["narrow_gate"].likely
    access = Access(hard=narrow, soil=layout.soil or "earth")
    return price_take_off(quantities_of(works, rules, access), inputs.prices, rules)


def _choose(ways: Sequence[LaidOut], costs: Mapping[str, Cost], fixed: str | None) -> LaidOut | None:
    """A sure way before one that cannot be told, gravity before daylight before a pump; the site file's choice wins."""
    possible = [way for way in ways if way.possible]
    if fixed == "gravity":
        possible = [way for way in possible if way.mode in ("gravity", "daylight")]
    elif fixed == "pump":
        possible = [way for way in possible if way.mode == "pump"]
    if not possible:
        return None
    return min(
        possible,
        key=lambda way: (
            way.mode == "pump" and any(other.mode != "pump" for other in possible if _may_work(other)),
            not way.sure and not _only_unverified(way),
            PREFERENCE[way.mode],
            costs[way.mode].likely,
        ),
    )


def _may_work(way: LaidOut) -> bool:
    return all(each.verdict != "no" for each in way.discharges)


def _only_unverified(way: LaidOut) -> bool:
    return any(not outfall.verified for outfall in way.outfalls) and all(
        outfall.verdict == "sure" for outfall in way.outfalls if outfall.verdict is not None
    )


def _alternative(
    way: LaidOut, priced: tuple[tuple[TakeOffLine, ...], tuple[Reason, ...]] | None, chosen: LaidOut | None
) -> Alternative:
    cost = total_cost(priced[0]) if priced is not None else None
    return Alternative(
        mode=way.mode,
        possible=way.possible,
        low=cost.low if cost else None,
        likely=cost.likely if cost else None,
        high=cost.high if cost else None,
        deepest=way.deepest,
        fall_to_spare=way.fall_to_spare,
        depends_on=way.depends_on,
        chosen=way is chosen,
    )


def _no_way_out(
    inputs: PlanInputs,
    found: Diagnosis,
    catching: Catching,
    alternatives: tuple[Alternative, ...],
    ways: Sequence[LaidOut],
) -> LotPlan:
    why = "No lawful way out was found: " + "; ".join(f"{way.mode}: {way.depends_on}" for way in ways) + "."
    plan = Plan(
        verdict="Water has no lawful way off this lot by what is known: it stays where it stands.",
        discharges=(Discharge((), None, "none", "no", why, None, None, None),),
        cures=catching.cures,
        alternatives=alternatives,
        site_checks=site_checks(CheckNeeds((), False, False, True, False)),
        warnings=(*ground_water_signs(inputs.situation.complaints), *catching.refused),
    )
    return LotPlan(plan, found, found.division, found.water, {}, {})


def _first_run(name: str, runs: Sequence[PipeRun]) -> PipeRun | None:
    return next((run for run in runs if run.from_id == name), None)


def _basins(
    situation: Situation, catching: Catching, flows: DesignFlows, way: LaidOut
) -> tuple[CatchBasin, ...]:
    clogging = situation.rules["grate_clogging"].likely
    basins: list[CatchBasin] = []
    for site in catching.basins:
        run = _first_run(site.id, way.works.pipe_runs)
        flow = flows.flows[site.id]
        grate = choose_grate(flow, SHALLOW_PONDING, clogging=clogging) or BASIN_GRATES[-1]
        ponding = ponding_depth(grate, flow, clogging=clogging)
        if run is None or run.kind == "pressure":
            continue
        pipe = find_pipe(run.pipe_key)
        takes = basin_capacity(
            grate, SHALLOW_PONDING, rim=site.ground, invert=run.invert_up, diameter=pipe.inside,
            slope=max(run.slope or 0.0, 1e-4), roughness=pipe.roughness, clogging=clogging,
        )
        pond_helps = site.spot is not None and site.id not in flows.short
        basins.append(
            CatchBasin(
                id=site.id, drains_to=run.id, point=site.point, grate=grate.name, peak_flow=flow,
                capacity=min(takes.flow, way.capacities.get(site.id, takes.flow)), governed_by=takes.governed_by,
                ponding=ponding, ground_elevation=site.ground, invert_elevation=run.invert_up, provisional=False,
                why=f"{site.why} {BY_THE_POND}" if pond_helps else site.why,
            )
        )
    return tuple(basins)


def _drains(catching: Catching, flows: DesignFlows, way: LaidOut) -> tuple[FrenchDrain, ...]:
    drains: list[FrenchDrain] = []
    for site in catching.drains:
        run = _first_run(site.id, way.works.pipe_runs)
        if run is None or site.channel:
            continue
        xy = shapely.get_coordinates(site.line)
        drains.append(
            FrenchDrain(
                id=site.id, drains_to=run.id, line=LineString(np.column_stack([xy, site.inverts])),
                length=site.length, width=site.width, depth=site.depth, pipe=DRAIN_PIPE, slope=site.slope,
                peak_flow=flows.flows[site.id], why=site.why,
            )
        )
    return tuple(drains)


def _channels(catching: Catching, flows: DesignFlows, way: LaidOut) -> tuple[ChannelDrain, ...]:
    return tuple(
        ChannelDrain(site.id, run.id, site.line, site.length, site.width, flows.flows[site.id], site.why)
        for site in catching.drains
        if site.channel and (run := _first_run(site.id, way.works.pipe_runs)) is not None
    )


def _all_outfalls(inputs: WayInputs, chosen: LaidOut) -> tuple[Outfall, ...]:
    """Those that are used, and the candidates that were found and are not."""
    used = {"-".join(outfall.id.split("-")[:2]) for outfall in chosen.outfalls}
    rest: dict[str, OutfallSite] = {}
    for site in inputs.outfalls:
        if site.id not in used:
            rest.setdefault(site.id, site)
    return (
        *chosen.outfalls,
        *(
            Outfall(site.id, site.kind, site.point, site.verified, site.level, None, None, None, site.to_confirm,
                    site.high_water)
            for site in rest.values()
        ),
    )


def _short_in_words(flows: DesignFlows) -> list[str]:
    return [
        f"{name} takes {flows.flows[name] * 15850.3:.0f} gpm ({flows.flows[name] * 1000.0:.1f} l/s) of what arrives in "
        f"the design storm; up to {more * 15850.3:.0f} gpm ({more * 1000.0:.1f} l/s) more runs by"
        for name, more in flows.short.items()
    ]


def _still_wet(found: Diagnosis, water: LotWater) -> list[str]:
    """Troubled low spots whose water still stands too long with the works in place."""
    said = []
    for trouble in found.troubles:
        if trouble.spot is None or trouble.spot.spot.id not in water.standing:
            continue
        after = water.standing[trouble.spot.spot.id]
        tolerance = found.rules.at(trouble.spot.place)
        limit = max(tolerance.duration, 1800.0)
        if after.stands_at_end or (after.depth > tolerance.depth and after.time_above > limit):
            said.append(
                f"with the works, water on {trouble.name} still stands {after.time_above / 3600.0:.1f} h above what is "
                "put up with in the design storm"
            )
    return said


def _verdict(chosen: LaidOut, flows: DesignFlows, cost: Cost) -> str:
    way = {
        "gravity": "It leaves by gravity",
        "daylight": "It comes out by gravity on the lot's own lawn",
        "pump": "What lies low must be lifted by a pump",
        "soakaway": "It soaks away on the lot",
        "none": "Nothing to build",
    }[chosen.mode]
    if chosen.mode == "pump" and any(each.mode == "gravity" for each in chosen.discharges):
        way += ", the rest leaves by gravity on its own line"
    if chosen.mode in ("gravity", "daylight") and chosen.fall_to_spare is not None:
        size = f"{abs(chosen.fall_to_spare) / 0.3048:.2f} ft ({abs(chosen.fall_to_spare) * 100:.0f} cm)"
        if chosen.fall_to_spare >= 0.0:
            way += f" with {size} of fall to spare"
        else:
            way += f", {size} short of the slope and cover that the trade aims at"
    lifts = [each.lift for each in chosen.discharges if each.lift is not None]
    if lifts:
        way += f" ({max(lifts) / 0.3048:.1f} ft, {max(lifts):.2f} m, of static lift)"
    sure = "sure" if chosen.sure else "this lidar cannot tell for sure"
    money = f"likely {cost.likely:,.0f}, from {cost.low:,.0f} to {cost.high:,.0f} in the price list's money"
    return f"{way}: {sure}; {money}."

