"""How much each basin, drain and downspout must take, and the storm again with them in place."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipelines.hydraulics.grate import weir_flow
from pipelines.hydraulics.held_back import HeldBack
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.hydraulics.ratings import StageOutflow
from pipelines.hydraulics.stone_trench import StoneTrench, trench_capacity
from pipelines.hydrology.hydrographs import add_hydrographs
from pipelines.hydrology.low_spot_ponds import storage_of_low_spot
from pipelines.hydrology.standing_water import route_storage
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.hydrology.surface_map import group_at
from pipelines.hydrology.surfaces import infiltration_rate
from pipelines.inputs.rules import Rules
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.catching.sites import BasinSite, DrainSite
from pipelines.layout.catching.trench_sizes import DRAIN_PIPE
from pipelines.layout.diagnosis.diagnose import Diagnosis, Reckoning, settings_for
from pipelines.layout.diagnosis.division import CollectingPlace, Division, divide_ground
from pipelines.layout.diagnosis.lot_water import LotWater, Taking, run_storm
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import SpotPlace, Tolerance, TroubleRules
from terrain.flow.low_spots import LowSpot
from terrain.unit_table import GALLON_PER_MINUTE

NOTHING_HELD_BACK: Mapping[str, HeldBack] = {}
STEPS = tuple(
    gpm * GALLON_PER_MINUTE for gpm in (5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 150, 200, 250, 300, 400, 500)
)
"""Flows that are tried for a basin at a low spot. [m3/s]"""


@dataclass(frozen=True, slots=True, eq=False)
class DesignFlows:
    """What the works are sized for.

    Attributes
    ----------
    flows : dict of str to float
        By basin, drain and downspout. [m3/s]
    short : dict of str to float
        Peak that arrives and is more than the works take, where it is. [m3/s]
    volumes : dict of str to float
        Water that arrives in the design storm. [m3]
    caught : tuple of str
        Basins that take more than drains what stands in time, of what runs by.
    """

    flows: dict[str, float]
    short: dict[str, float]
    volumes: dict[str, float]
    caught: tuple[str, ...] = ()


def works_division(situation: Situation, catching: Catching) -> Division:
    """The studied ground divided with works in place."""
    places = [CollectingPlace(spout.id, "taker", spout.cells) for spout in catching.downspouts]
    places += [CollectingPlace(spot.id, "spot", spot.cells) for spot in situation.counted_spots]
    places += [CollectingPlace(drain.id, "taker", drain.cells) for drain in catching.drains if not drain.into]
    places += [CollectingPlace(basin.id, "taker", basin.cells) for basin in catching.basins if basin.cells.size]
    return situation.divided.of(
        tuple((place.id, place.kind, place.cells.tobytes()) for place in places),
        lambda: divide_ground(situation.drainage, situation.on_parcel, places, skip=situation.studied,
                              upslope=situation.upslope),
    )


def design_flows(
    situation: Situation, reckoning: Reckoning, found: Diagnosis, catching: Catching, division: Division
) -> DesignFlows:
    """Least flow of each collector that ends what is wrong.

    A basin at a low spot gets the least flow at which water there stays within what is tolerated: the hollow stores
    the rest. Basins and drains that water runs by get their peak, up to what one 12 in grate or the stone and its
    pipe take. Downspouts get their roof's peak.
    """
    rules = situation.rules
    on_path = rules["basin_12in_flow"].likely
    spots = {spot.id: spot for spot in situation.counted_spots}
    # a trench that ends in the basin of its pond is an inlet of that basin: its water is the pond's
    takers = [drain for drain in catching.drains if not drain.into]
    open_ended = {drain.id: Taking(drain.id) for drain in takers}
    open_ended |= {spout.id: Taking(spout.id, piped=True) for spout in catching.downspouts}
    open_ended |= {basin.id: Taking(basin.id, on_path) for basin in catching.basins if basin.spot is None}
    settings = settings_for(found.places, found.rules, reckoning)
    water = run_storm(
        division, situation.drainage, spots, reckoning.surfaces, reckoning.rain, open_ended, settings
    )
    flows: dict[str, float] = {}
    short: dict[str, float] = {}
    volumes = {name: flow.volume for name, flow in water.arriving.items()}
    for spout in catching.downspouts:
        flows[spout.id] = water.arriving[spout.id].peak
    for drain in takers:
        arrives = water.arriving[drain.id].peak
        flows[drain.id] = min(arrives, drain_capacity(drain, rules))
        short[drain.id] = arrives - flows[drain.id]
    for basin in catching.basins:
        if basin.spot is None:
            arrives = water.arriving[basin.id].peak
            flows[basin.id] = min(arrives, on_path)
            short[basin.id] = arrives - flows[basin.id]
        else:
            inflow = _inflow_of(basin.spot, division, water, spots)
            volumes[basin.id] = inflow.volume
            flows[basin.id], enough = _least_flow(
                spots[basin.spot], grate_level(basin, situation), found.places[basin.spot], inflow, reckoning,
                found.rules, rules,
            )
            short[basin.id] = 0.0 if enough else inflow.peak - flows[basin.id]
            flows |= {
                drain.id: min(flows[basin.id], drain_capacity(drain, rules))
                for drain in catching.drains
                if drain.into == basin.id
            }
    return DesignFlows(flows, {name: more for name, more in short.items() if more > 1e-6}, volumes)


def drain_capacity(drain: DrainSite, rules: Rules) -> float:
    """What a stone trench brought to grade takes in and carries, the least of both; of a grated channel, its grate.
    [m3/s]

    References
    ----------
    .. [1] As of `trench_capacity`; a grate as a weir along one side, half of it clogged: TxDOT Hydraulic Design Manual,
       ch. 10, eq. 10-30, and Oregon DOT Hydraulics Manual, ch. 13 app. D for the clogging of slotted drains.
    """
    if drain.channel:
        return (1.0 - rules["grate_clogging"].likely) * weir_flow(rules["channel_head"].likely, drain.length)
    trench = StoneTrench(
        length=drain.length,
        width=drain.width,
        depth=drain.depth,
        pipe=find_pipe(DRAIN_PIPE),
        slope=max(drain.slope, 1e-4),
        porosity=rules["stone_porosity"].likely,
    )
    return trench_capacity(
        trench, clogging=rules["grate_clogging"].likely, stone_size=rules["stone_size"].likely
    )


def grate_level(basin: BasinSite, situation: Situation) -> float:
    """Lowest that a grate may lie by this lidar: a pit under it within the lidar's error is no other place. [m]"""
    row, column = situation.grid.cells(np.array([basin.point.x]), np.array([basin.point.y]))
    return float(situation.drainage.ground.elevation[int(row[0]), int(column[0])]) - situation.rmse


def rating_of(spot: LowSpot, grate: float, capacity: float, rules: Rules) -> StageOutflow:
    """What leaves a low spot through a basin whose grate lies at a level [m]: its capacity once well under water."""
    storage = storage_of_low_spot(spot)
    low, high = max(float(storage.levels[0]), grate), float(storage.levels[-1])
    if low >= high:
        # the pond never reaches the grate
        return StageOutflow(np.array([low, low + rules["grate_submerged"].likely]), np.zeros(2))
    shallow = low + min(rules["grate_submerged"].likely, 0.5 * (high - low))
    return StageOutflow(np.array([low, shallow, high]), np.array([0.0, capacity, capacity]))


def run_with_works(
    situation: Situation,
    reckoning: Reckoning,
    found: Diagnosis,
    catching: Catching,
    division: Division,
    capacities: Mapping[str, float],
    held_back: Mapping[str, HeldBack] = NOTHING_HELD_BACK,
) -> LotWater:
    """The storm again with works of given capacities in place, their outlets free but where water holds them back."""
    spots = {spot.id: spot for spot in situation.counted_spots}
    takings: dict[str, Taking] = {}
    for basin in catching.basins:
        if basin.id not in capacities:
            continue
        if basin.spot is None:
            takings[basin.id] = Taking(
                basin.id, capacities[basin.id], held_back=held_back.get(basin.id), rim=basin.ground
            )
        else:
            rating = rating_of(
                spots[basin.spot], grate_level(basin, situation), capacities[basin.id], situation.rules
            )
            held = held_back.get(basin.id)
            takings[basin.spot] = Taking(basin.id, rating=rating if held is None else held.rating(rating))
    for drain in catching.drains:
        if drain.into:
            continue
        takings[drain.id] = Taking(
            drain.id, capacities.get(drain.id, 0.0), held_back=held_back.get(drain.id), rim=float(drain.ground[-1])
        )
    for spout in catching.downspouts:
        takings[spout.id] = Taking(
            spout.id, capacities.get(spout.id, 0.0), piped=spout.id in capacities,
            held_back=held_back.get(spout.id), rim=spout.ground,
        )
    return run_storm(
        division, situation.drainage, spots, reckoning.surfaces, reckoning.rain, takings,
        settings_for(found.places, found.rules, reckoning),
    )


def tolerated_over_grate(place: SpotPlace, tolerated: TroubleRules, rules: Rules) -> Tolerance:
    """What is tolerated at a place that a grate drains: beside a wall some water may stand over it for a while."""
    if place.place == "wall":
        return Tolerance(rules["grate_wall_depth"].likely, rules["grate_wall_time"].likely)
    return tolerated.at(place.place)


def _inflow_of(spot: str, division: Division, water: LotWater, spots: Mapping[str, LowSpot]) -> Hydrograph:
    """All that comes to a low spot: its regions, and what upstream places spill or let by."""
    parts = [
        row.hydrograph
        for region, row in zip(division.regions, water.runoff, strict=True)
        if region.place == spot
    ]
    for place in division.places:
        if division.next_place[place.id] != spot:
            continue
        if place.kind == "spot":
            parts.append(water.standing[place.id].spill)
        else:
            arrives, takes = water.arriving[place.id], water.taken[place.id]
            parts.append(Hydrograph(arrives.step, arrives.flow - takes.flow))
    return add_hydrographs(parts) if parts else Hydrograph(water.runoff[0].hydrograph.step, np.zeros(2))


def _least_flow(
    spot: LowSpot,
    grate: float,
    place: SpotPlace,
    inflow: Hydrograph,
    reckoning: Reckoning,
    tolerated: TroubleRules,
    rules: Rules,
) -> tuple[float, bool]:
    """Least flow of the list at which the water stays within what is tolerated everywhere in the spot, if one does."""
    limits = [
        (each.dry + limit.depth, limit.duration)
        for each in place.every
        for limit in [tolerated_over_grate(each, tolerated, rules)]
    ]
    storage = storage_of_low_spot(spot)
    soil = infiltration_rate(group_at(reckoning.surfaces, spot.cells), compacted=reckoning.compacted)

    def fine(capacity: float) -> bool:
        water = route_storage(
            inflow, storage, infiltration_rate=soil.likely, outflow=rating_of(spot, grate, capacity, rules),
            tolerable_depth=0.0, watched=reckoning.watched,
        )
        return all(water.depth <= deepest or water.time_over(deepest) <= longest for deepest, longest in limits)

    low, high = 0, len(STEPS) - 1
    if not fine(STEPS[high]):
        return rules["basin_12in_flow"].likely, False
    while low < high:
        middle = (low + high) // 2
        if fine(STEPS[middle]):
            high = middle
        else:
            low = middle + 1
    return STEPS[low], True
