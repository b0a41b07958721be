"""What comes to swales: side inflows by station, point discharges, and the flow along each in any storm."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import MultiPolygon, Point, Polygon

from pipelines.hydrology.along_swale import (
    SideInflow,
    SwaleFlow,
    add_along,
    constant_discharge,
    side_hydrographs,
    side_inflows,
)
from pipelines.hydrology.flow_path import PUBLISHED, TravelRules
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.hydrology.surface_map import PAVED, ROOF, SurfaceMap
from pipelines.inputs.errors import LayerError
from pipelines.layout.swale.site import SwaleSite
from terrain.arrays import FloatArray, IntArray
from terrain.flow.burnt_cells import cells_inside
from terrain.flow.drainage import Drainage
from terrain.swale.swale_cells import swale_cells


@dataclass(frozen=True, slots=True)
class PointDischarge:
    """A discharge at a place on a swale, steady through the storm.

    Attributes
    ----------
    id : str
        Of a lot's outlet, or of a what-if.
    lot : str
        Name of the lot, empty for none.
    flow : float
        [m3/s]
    swale : int
        Position of the swale.
    station : float
        [m]
    """

    id: str
    lot: str
    flow: float
    swale: int
    station: float


@dataclass(frozen=True, slots=True, eq=False)
class SwaleWater:
    """Ground that drains to swales, ready for any storm; made by `divide_to_swales`.

    Attributes
    ----------
    sites : tuple of SwaleSite
        The swales.
    drainage : Drainage
        Over the ground.
    surfaces : SurfaceMap
        What lies on it.
    first : tuple of int
        First label of each swale; a cell's is that plus the position of the section below it.
    inflows : tuple of SideInflow
        By label.
    """

    sites: tuple[SwaleSite, ...]
    drainage: Drainage
    surfaces: SurfaceMap
    first: tuple[int, ...]
    inflows: tuple[SideInflow, ...]


def divide_to_swales(
    sites: Sequence[SwaleSite],
    drainage: Drainage,
    surfaces: SurfaceMap,
    *,
    two_year_24h_depth: float,
    return_period: float | None,
    travel: TravelRules = PUBLISHED,
    compacted: bool,
    piped: Sequence[Polygon | MultiPolygon] = (),
    without: IntArray | None = None,
    marked: tuple[IntArray, tuple[int, ...]] | None = None,
) -> SwaleWater:
    """Divide the ground by the place where its water enters a swale, without what is piped and some cells besides;
    `marked` is what `swale_labels` gives, where it is known already."""
    seeds, first = swale_labels(sites, drainage) if marked is None else marked
    left_out = [cells for cells in (piped_cells(drainage, piped), without) if cells is not None]
    inflows = side_inflows(
        drainage, seeds, surfaces, two_year_24h_depth=two_year_24h_depth, return_period=return_period,
        travel=travel, compacted=compacted, piped=np.concatenate(left_out) if left_out else None,
    )  # fmt: skip
    return SwaleWater(tuple(sites), drainage, surfaces, first, inflows)


def swale_labels(sites: Sequence[SwaleSite], drainage: Drainage) -> tuple[IntArray, tuple[int, ...]]:
    """Label of the section below on each cell of a swale, -1 elsewhere, and the first label of each swale."""
    seeds = np.full(drainage.ground.grid.shape, -1, dtype=np.int64)
    first = []
    label = 0
    for site in sites:
        own = swale_cells(drainage.ground, site.thalweg, site.sections).ravel()
        free = np.flatnonzero((own >= 0) & (seeds.ravel() < 0))
        seeds.ravel()[free] = own[free] + label
        first.append(label)
        label += len(site.sections)
    return seeds, tuple(first)


def piped_cells(drainage: Drainage, piped: Sequence[Polygon | MultiPolygon]) -> IntArray | None:
    """Flat indices of the cells in some shapes, None for none."""
    shapes = [shape for shape in piped if not shape.is_empty]
    if not shapes:
        return None
    inside = np.zeros(drainage.ground.grid.shape, dtype=np.bool_)
    for shape in shapes:
        inside |= cells_inside(drainage.ground.grid, shape)
    return np.flatnonzero(inside)


def swale_flows(
    water: SwaleWater,
    rain: DesignRain,
    discharges: Sequence[PointDischarge],
    velocities: Sequence[float],
) -> tuple[SwaleFlow, ...]:
    """Flow along each swale in a storm.

    References
    ----------
    .. [1] As of `pipelines.hydrology.along_swale.add_along`.
    """
    runoff = side_hydrographs(water.inflows, rain)
    flows = []
    for position, (site, first) in enumerate(zip(water.sites, water.first, strict=True)):
        side = {
            label - first: [hydrograph]
            for label, hydrograph in runoff.items()
            if first <= label < first + len(site.sections)
        }
        for each in discharges:
            if each.swale == position and each.flow > 0.0:
                steady = constant_discharge(each.flow, rain.storm.duration)
                side.setdefault(site.section_below(each.station), []).append(steady)
        flows.append(add_along(site.station, side, velocities[position]))
    return tuple(flows)


def side_areas(water: SwaleWater) -> tuple[dict[str, FloatArray], ...]:
    """Ground that enters each swale by station: all, roofs, paving. [m2]"""
    found = [
        {name: np.zeros(len(site.sections)) for name in ("total", "roof", "paved")} for site in water.sites
    ]
    for inflow in water.inflows:
        swale = int(np.searchsorted(water.first, inflow.stretch, side="right")) - 1
        index = inflow.stretch - water.first[swale]
        found[swale]["total"][index] += inflow.area
        for share in inflow.shares:
            if share.surface in (ROOF, PAVED):
                found[swale]["roof" if share.surface == ROOF else "paved"][index] += share.area
    return tuple(found)


def place_discharge(
    sites: Sequence[SwaleSite], id: str, lot: str, flow: float, point: Point, *, within: float
) -> PointDischarge | None:
    """Put a discharge on the nearest swale."""
    away = [float(site.thalweg.line.distance(point)) for site in sites]
    nearest = int(np.argmin(away))
    if away[nearest] > within:
        return None
    return PointDischarge(id, lot, flow, nearest, sites[nearest].station_of(point))


def place_or_refuse(
    sites: Sequence[SwaleSite], id: str, flow: float, point: Point, *, within: float
) -> PointDischarge:
    """Put a what-if discharge on the nearest swale, or say that none is near."""
    placed = place_discharge(sites, id, "", flow, point, within=within)
    if placed is None:
        away = min(float(site.thalweg.line.distance(point)) for site in sites)
        raise LayerError(
            f"{id} at easting {point.x:.1f} m, northing {point.y:.1f} m (metres of the map's plane): the nearest swale "
            f"is {away:.0f} m away and at most {within:g} m may be; give the map coordinates of a place on a swale"
        )
    return placed


def lot_shares(
    water: SwaleWater, parcels: Sequence[tuple[str, Polygon | MultiPolygon]], depths: Mapping[int, FloatArray]
) -> list[tuple[str, int, float, float, float, float, float]]:
    """What each lot's ground sends to each swale."""
    grid = water.drainage.ground.grid
    roof_code = water.surfaces.keys.index(ROOF)
    rows: list[tuple[str, int, float, float, float, float, float]] = []
    for lot, shape in parcels:
        inside = cells_inside(grid, shape).ravel()
        by_swale: dict[int, list[tuple[int, float, float, float]]] = {}
        for inflow in water.inflows:
            own = inside[inflow.cells]
            if not own.any():
                continue
            swale = int(np.searchsorted(water.first, inflow.stretch, side="right")) - 1
            roof = water.surfaces.surface.ravel()[inflow.cells[own]] == roof_code
            by_swale.setdefault(swale, []).append(
                (
                    inflow.stretch - water.first[swale],
                    float(own.sum()) * grid.cell_area,
                    float(roof.sum()) * grid.cell_area,
                    float(depths[inflow.stretch][own].sum()),
                )
            )
        for swale, parts in by_swale.items():
            stations = water.sites[swale].station[[index for index, *_ in parts]]
            area, roof_area, volume = (sum(part[k] for part in parts) for k in (1, 2, 3))
            rows.append((lot, swale, area, roof_area, volume, float(stations.min()), float(stations.max())))
    return rows
