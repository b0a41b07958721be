"""A closed depression and what a storm fills it to: where it isn't filled nothing runs on, and its level is its own."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Point

from pipelines.hydrology.along_swale import side_hydrographs, side_inflows
from pipelines.hydrology.flow_path import travel_rules
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.hydrology.surface_map import SurfaceMap
from pipelines.inputs.site_file import SiteFile
from terrain.arrays import FloatArray, IntArray
from terrain.flow.cells_to_polygons import label_polygons
from terrain.flow.drainage import Drainage
from terrain.flow.low_spots import LowSpot


@dataclass(frozen=True, slots=True, eq=False)
class Filling:
    """Level of a depression through a storm that doesn't fill it, and the flow that reaches it. [m], [m3/s]"""

    stage: FloatArray
    arriving: FloatArray
    step: float


def depression_at(point: Point, drainage: Drainage, spots: tuple[LowSpot, ...]) -> LowSpot | None:
    """The outermost depression, deeper than lidar's error, that a place lies in; none that the raster's end cuts."""
    grid = drainage.ground.grid
    row, column = (int(each) for each in grid.cells(point.x, point.y))
    at = row * grid.shape[1] + column
    for spot in spots:
        if spot.contained_in is not None or spot.within_lidar_error or at not in spot.cells:
            continue
        if spot.spill_cell is None:
            return spot
        row, column = divmod(spot.spill_cell, grid.shape[1])
        # beyond the raster's end water may leave lower
        rim = min(row, column, grid.shape[0] - 1 - row, grid.shape[1] - 1 - column)
        return None if rim <= 1 else spot
    return None


def fill_depression(
    spot: LowSpot, drainage: Drainage, surfaces: SurfaceMap, rain: DesignRain, site: SiteFile
) -> Filling | None:
    """What a storm makes of a closed depression; None where it fills it and water runs on."""
    arriving = flow_to(spot.cells, drainage, surfaces, rain, site)
    held = np.cumsum(arriving.flow) * arriving.step
    if held[-1] >= spot.volume:
        return None
    return Filling(np.interp(held, spot.volumes, spot.levels), arriving.flow, arriving.step)


def flow_to(
    cells: IntArray, drainage: Drainage, surfaces: SurfaceMap, rain: DesignRain, site: SiteFile
) -> Hydrograph:
    """Flow of a storm that reaches some cells, from all that drains to them and themselves."""
    seeds = np.full(drainage.target.size, -1, dtype=np.int64)
    seeds[cells] = 0
    inflows = side_inflows(
        drainage, seeds.reshape(drainage.ground.grid.shape), surfaces,
        two_year_24h_depth=rain.two_year_24h_depth, return_period=rain.return_period,
        travel=travel_rules(site.rules), compacted=site.soil.compacted,
    )  # fmt: skip
    return side_hydrographs(inflows, rain)[0]


def shape_of(spot: LowSpot, drainage: Drainage) -> shapely.Geometry:
    """Outline of a depression, filled. [m]"""
    labels = np.full(drainage.ground.grid.shape, -1, dtype=np.int64)
    labels.ravel()[spot.cells] = 0
    return label_polygons(labels, drainage.ground.grid)[0]
