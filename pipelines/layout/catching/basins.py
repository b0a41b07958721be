"""Basins: at the low of standing water, where flow arrives at one place, or where the site file wants them."""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from pipelines.layout.catching.sites import BasinSite, CatchGround, LayoutError, heights_along, open_cells_within
from pipelines.layout.diagnosis.troubles import SpotPlace, Trouble
from terrain.reason import reason


def fixed_basins(points: Sequence[Point], spots: Sequence[SpotPlace], ground: CatchGround) -> tuple[BasinSite, ...]:
    """Basins where the site file wants them."""
    reach = ground.rules["shot_reach"].likely
    basins: list[BasinSite] = []
    for number, point in enumerate(points, start=1):
        if not shapely.intersects(ground.free, point):
            raise LayoutError(
                f"layout.basins: point {number} lies off the lot, under a roof, in a keep-out or within the offset of "
                "a lot line, where no basin may stand; move it, or leave it out and let the plan site basins"
            )
        spot = next((each for each in spots if shapely.distance(each.shape, point) <= reach), None)
        height = float(heights_along(LineString([point, point]), ground.drainage)[0])
        why = reason("basin_as_given", place=None if spot is None else spot.name)
        basins.append(ground.basin(number, point, height, None if spot is None else spot.spot.id, why))
    return tuple(basins)


def basin_at_spot(trouble: Trouble, place: SpotPlace, ground: CatchGround, number: int) -> BasinSite | None:
    """A basin at the lowest shot of a low spot, at its lowest free cell, or near it; None where none fits."""
    free, reach = ground.free, ground.rules["shot_reach"].likely
    read = [
        shot
        for shot in ground.shots
        if shapely.distance(place.shape, shot) <= reach and shapely.contains_xy(free, shot.x, shot.y)
    ]
    if read:
        lowest = min(read, key=lambda shot: float(shot.z))
        why = reason("basin_at_shot", place=trouble.name, why=trouble.why)
        return ground.basin(number, Point(lowest.x, lowest.y), float(lowest.z), place.spot.id, why)
    grid, cells = ground.drainage.ground.grid, place.spot.cells
    x, y = grid.centres(cells // grid.shape[1], cells % grid.shape[1])
    allowed = shapely.contains_xy(free, x, y)
    middle = shapely.centroid(place.shape)
    if allowed.any():
        heights = ground.drainage.ground.elevation.ravel()[cells]
        away = np.hypot(x - middle.x, y - middle.y)
        # lowest first; among equals the one nearest the middle
        best = np.lexsort((away, np.where(allowed, heights, np.inf)))[0]
        point, cell = Point(float(x[best]), float(y[best])), int(cells[best])
    else:
        moved = _nearest_free(ground, middle)
        if moved is None:
            return None
        point, cell = moved
    # the lowest free ground of a hollow is not always the patio's own
    beside = (trouble.spot or place).place == "paving" and not shapely.intersects(ground.paving, point)
    why = reason("basin_at_low", place=trouble.name, beside=beside, why=trouble.why)
    return ground.basin(number, point, float(ground.drainage.ground.elevation.ravel()[cell]), place.spot.id, why)


def basin_on_path(trouble: Trouble, where: Point, ground: CatchGround, number: int) -> BasinSite | None:
    """A basin where flow arrives at one place; None where none fits."""
    moved = _nearest_free(ground, where)
    if moved is None:
        return None
    point, cell = moved
    why = reason("basin_on_path", place=trouble.name, why=trouble.why)
    return ground.basin(number, point, float(ground.drainage.ground.elevation.ravel()[cell]), None, why)


def _nearest_free(ground: CatchGround, where: BaseGeometry) -> tuple[Point, int] | None:
    """Nearest open cell in free ground, the lowest among those that are about as near."""
    drainage, grid = ground.drainage, ground.drainage.ground.grid
    window = open_cells_within(shapely.buffer(where, ground.rules["basin_snap"].likely), drainage)
    if window.size == 0:
        return None
    x, y = grid.centres(window // grid.shape[1], window % grid.shape[1])
    away = np.where(shapely.contains_xy(ground.free, x, y), np.hypot(x - where.x, y - where.y), np.inf)
    if not np.isfinite(away).any():
        return None
    near = away <= away.min() + 0.5 * max(grid.cell_width, grid.cell_height)
    heights = np.where(near, drainage.ground.elevation.ravel()[window], np.inf)
    best = int(np.lexsort((away, heights))[0])
    return Point(float(x[best]), float(y[best])), int(window[best])
