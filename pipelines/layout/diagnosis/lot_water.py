"""The storm on the lot: runoff of every region, routed from place to place, with or without works."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from hashlib import blake2b

import numpy as np
from shapely import Polygon

from pipelines.hydraulics.held_back import HeldBack, RatingInTime
from pipelines.hydraulics.ratings import StageOutflow
from pipelines.hydrology.hydrographs import add_hydrographs
from pipelines.hydrology.lot_balance import runoff_volumes
from pipelines.hydrology.low_spot_ponds import storage_of_low_spot
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.hydrology.runoff_table import sub_catchment_runoff
from pipelines.hydrology.standing_water import PoolWater, route_storage
from pipelines.hydrology.sub_catchment import Hydrograph, SubCatchment
from pipelines.hydrology.surface_map import SurfaceMap, group_at, shares_of
from pipelines.hydrology.surfaces import infiltration_rate
from pipelines.layout.diagnosis.division import ENCLOSED, SIDES, Division, Region
from pipelines.layout.diagnosis.upslope import UpslopeWater, upslope_water
from pipelines.layout.diagnosis.water_settings import WaterSettings, travel_of
from terrain.arrays import FloatArray
from terrain.flow.cells_to_polygons import label_polygons
from terrain.flow.drainage import Drainage
from terrain.flow.low_spots import LowSpot
from terrain.grid import Grid
from terrain.ground import Ground

_NO_OUTLINE = Polygon()


@dataclass(frozen=True, slots=True, eq=False)
class Taking:
    """What works take at a place.

    Attributes
    ----------
    works : str
        Id of the basin, drain or downspout.
    capacity : float
        Most it takes as water runs by; infinite for a pipe that is sized after its inflow. [m3/s]
    rating : StageOutflow or None
        At a low spot: what leaves through the works by level. [m], [m3/s]
    piped : bool
        Whether its roofs are connected by pipe.
    held_back : HeldBack or None
        Where its line ends in water; of a low spot its rating tells it.
    rim : float
        Where its water comes out. [m]
    """

    works: str
    capacity: float = np.inf
    rating: StageOutflow | RatingInTime | None = None
    piped: bool = False
    held_back: HeldBack | None = None
    rim: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class LotWater:
    """One storm on one division of the ground.

    Attributes
    ----------
    runoff : tuple of SubCatchment
        One row a region, its outline left empty.
    standing : dict of str to PoolWater
        By low spot.
    arriving, taken : dict of str to Hydrograph
        By works: what comes to them, and what they take.
    leaving : dict of str to Hydrograph
        By side of the lot, over the ground.
    rain, soaked, left, collected, stands : float
        Rain on the studied ground and where it went: into the ground where it fell or where it stood, over the lot's
        edges, into works, still standing at the end. [m3]
    """

    runoff: tuple[SubCatchment, ...]
    standing: dict[str, PoolWater]
    arriving: dict[str, Hydrograph]
    taken: dict[str, Hydrograph]
    leaving: dict[str, Hydrograph]
    rain: float
    soaked: float
    left: float
    collected: float
    stands: float

    @property
    def balance(self) -> float:
        """Rain less all that became of it: 0 but for round-off. [m3]"""
        return self.rain - self.soaked - self.left - self.collected - self.stands


def run_storm(
    division: Division,
    drainage: Drainage,
    spots: Mapping[str, LowSpot],
    surfaces: SurfaceMap,
    rain: DesignRain,
    takings: Mapping[str, Taking],
    settings: WaterSettings,
) -> LotWater:
    """Runoff of every region in the storm, and its way from place to place."""
    upslope = None
    if division.upslope is not None:
        upslope = upslope_water(division.upslope, drainage, surfaces, rain, settings)
    runoff = tuple(
        _after_upslope(row, region, upslope)
        for row, region in zip(
            _runoff(division, drainage, surfaces, rain, takings, settings), division.regions, strict=True
        )
    )
    coming: dict[str, list[Hydrograph]] = {}
    for region, row in zip(division.regions, runoff, strict=True):
        coming.setdefault(region.place, []).append(row.hydrograph)
    standing: dict[str, PoolWater] = {}
    arriving: dict[str, Hydrograph] = {}
    taken: dict[str, Hydrograph] = {}
    for place in division.places:
        inflow = _sum(coming.get(place.id, []), runoff)
        taking = takings.get(place.id)
        if place.kind == "spot":
            water = _stand(spots[place.id], inflow, surfaces, taking, settings)
            standing[place.id] = water
            onward = water.spill
            if taking is not None:
                arriving[taking.works], taken[taking.works] = inflow, water.outflow
        else:
            capacity = _capacity(taking, inflow)
            arriving[place.id] = inflow
            taken[place.id] = Hydrograph(inflow.step, np.minimum(inflow.flow, capacity))
            onward = Hydrograph(inflow.step, np.maximum(inflow.flow - capacity, 0.0))
        if onward.volume > 0.0:
            coming.setdefault(division.next_place[place.id], []).append(onward)
    leaving = {side: _sum(coming.get(side, []), runoff) for side in SIDES}
    shut_in = sum(part.volume for part in coming.get(ENCLOSED, []))
    held = 0.0 if upslope is None else upslope.stands
    return _closed(division, drainage.ground.grid, rain, runoff, standing, arriving, taken, leaving, shut_in, held)


def outlined(runoff: Sequence[SubCatchment], division: Division) -> tuple[SubCatchment, ...]:
    """Rows of a storm on a division with the outlines of their regions, which no storm needs."""
    grid = division.drainage.ground.grid
    labels = np.full(grid.shape, -1, dtype=np.int64)
    for number, region in enumerate(division.regions):
        labels.ravel()[region.cells] = number
    shapes = label_polygons(labels, grid)
    return tuple(replace(row, shape=shapes[n]) for n, row in zip(range(len(division.regions)), runoff, strict=True))


def excess_by_cell(division: Division, water: LotWater, surfaces: SurfaceMap) -> FloatArray:
    """Water that runs off each studied cell in the storm. [m3]"""
    excess = np.zeros(division.studied.shape)
    for region, row in zip(division.regions, water.runoff, strict=True):
        excess.ravel()[region.cells] = runoff_volumes(surfaces, region.cells, row.shares, row.storm_depth)
    return excess


def _closed(
    division: Division,
    grid: Grid,
    rain: DesignRain,
    runoff: tuple[SubCatchment, ...],
    standing: dict[str, PoolWater],
    arriving: dict[str, Hydrograph],
    taken: dict[str, Hydrograph],
    leaving: dict[str, Hydrograph],
    shut_in: float,
    held_upslope: float,
) -> LotWater:
    fallen = rain.storm.depth * float(np.count_nonzero(division.studied)) * grid.cell_area
    ran_off = sum(row.hydrograph.volume for row in runoff)
    return LotWater(
        runoff=runoff,
        standing=standing,
        arriving=arriving,
        taken=taken,
        leaving=leaving,
        rain=fallen,
        soaked=fallen - ran_off - held_upslope + sum(water.infiltrated for water in standing.values()),
        left=sum(flow.volume for flow in leaving.values()),
        collected=sum(flow.volume for flow in taken.values()),
        stands=shut_in + held_upslope + sum(water.final_volume for water in standing.values()),
    )


def _after_upslope(row: SubCatchment, region: Region, upslope: UpslopeWater | None) -> SubCatchment:
    """Of ground upslope the flow is what its low spots let by."""
    if region.entries is None or upslope is None:
        return row
    return replace(row, hydrograph=add_hydrographs([upslope.flows[entry] for entry in region.entries.tolist()]))


def _runoff(
    division: Division,
    drainage: Drainage,
    surfaces: SurfaceMap,
    rain: DesignRain,
    takings: Mapping[str, Taking],
    settings: WaterSettings,
) -> Iterator[SubCatchment]:
    """Runoff of every region; what was reckoned of the same cells and way before, as most are, is taken from there."""
    ground, known = drainage.ground, settings.known
    served = [takings.get(region.place) for region in division.regions]
    piped = [taking is not None and taking.piped for taking in served]
    hangs_on = surfaces, rain, settings.compacted, settings.travel
    told = division.known.of("told", lambda: [_told_by(each, ground) for each in division.regions])
    keys = [(each, pipe, *hangs_on) for each, pipe in zip(told, piped, strict=True)]

    def runs_off(number: int) -> SubCatchment:
        region = division.regions[number]
        travel = travel_of(region, drainage, surfaces, rain, settings)
        shares = shares_of(
            surfaces,
            region.cells,
            slope=travel.slope,
            return_period=rain.return_period,
            roofs_connected=piped[number],
            compacted=settings.compacted,
        )
        return sub_catchment_runoff(
            region.id, region.drains_to, shares, travel, rain, shape=_NO_OUTLINE, run_on=region.run_on
        )

    for number, (region, taking) in enumerate(zip(division.regions, served, strict=True)):
        row = known.of(keys[number], partial(runs_off, number))
        to_works = taking is not None and region.drains_to == region.place
        to = taking.works if taking is not None and to_works else region.drains_to
        yield replace(row, id=region.id, drains_to=to, run_on=region.run_on)


def _told_by(region: Region, ground: Ground) -> bytes:
    """What the runoff of a region hangs on, in short: its cells, its longest way and the heights along it."""
    parts = np.array(region.path.size), region.path, ground.elevation.ravel()[region.path], region.cells
    return blake2b(b"".join(part.tobytes() for part in parts)).digest()


def _sum(parts: Sequence[Hydrograph], runoff: Sequence[SubCatchment]) -> Hydrograph:
    if parts:
        return add_hydrographs(parts)
    return Hydrograph(runoff[0].hydrograph.step, np.zeros(2))


def _capacity(taking: Taking | None, inflow: Hydrograph) -> FloatArray:
    """Most that is taken of what runs by, at each time. [m3/s]"""
    capacity = np.full(inflow.flow.size, taking.capacity if taking is not None else 0.0)
    if taking is None or taking.held_back is None:
        return capacity
    share = taking.held_back.limit(taking.rim, np.arange(inflow.flow.size, dtype=np.float64) * inflow.step)
    # a pipe that is sized after its inflow takes that much and no more
    held: FloatArray = np.where(share < 1.0, np.minimum(capacity, inflow.peak) * share, capacity)
    return held


def _stand(
    spot: LowSpot, inflow: Hydrograph, surfaces: SurfaceMap, taking: Taking | None, settings: WaterSettings
) -> PoolWater:
    soil = infiltration_rate(group_at(surfaces, spot.cells), compacted=settings.compacted).likely
    rating, tolerable = None if taking is None else taking.rating, settings.tolerable.get(spot.id, 0.0)

    def stands() -> PoolWater:
        return route_storage(
            inflow, storage_of_low_spot(spot), infiltration_rate=soil, outflow=rating, tolerable_depth=tolerable,
            watched=settings.watched,
        )

    if isinstance(rating, RatingInTime):
        return stands()
    told = [spot.levels, spot.areas, spot.volumes, inflow.flow]
    told += [] if rating is None else [rating.levels, rating.flows]
    sizes = tuple(part.size for part in told)
    key = blake2b(b"".join(part.tobytes() for part in told)).digest(), sizes, inflow.step, soil, tolerable
    return settings.ponds.of((*key, spot.bottom_elevation, settings.watched), stands)
