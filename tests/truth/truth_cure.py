"""Whether works that were laid out through lidar end the trouble on the exact ground, by the tool's own storm on it."""

from dataclasses import replace

import numpy as np
from shapely import Point

from pipelines.layout.catching.design_flows import run_with_works, works_division
from pipelines.layout.catching.sites import BasinSite
from pipelines.layout.cured import troubles_left
from pipelines.layout.planner import LotPlan
from pipelines.layout.sizes import not_ended
from pipelines.lot_stages import LotStages
from terrain.grid import Grid

REACH, SET_WITHIN = 1.0, 3.0
"""A basin drains the pond that stands so near to where it is drawn on the exact ground; one that is to drain a pond is
set by its crew at the lowest wet ground so near. [m]"""


def left_on(exact: LotStages, laid: LotPlan, grid: Grid) -> int | None:
    """Troubles of the exact ground that basins, drains and downspouts of a plan on another grid leave there, each grate
    at the low that is found; None where soil is moved besides."""
    if laid.reshaped is not None or not laid.capacities:
        return None
    here = exact.situation

    def moved(cells: np.ndarray) -> np.ndarray:
        x, y = grid.centres(cells // grid.shape[1], cells % grid.shape[1])
        rows, columns = here.grid.cells(x, y)
        inside = (rows >= 0) & (rows < here.grid.shape[0]) & (columns >= 0) & (columns < here.grid.shape[1])
        return rows[inside] * here.grid.shape[1] + columns[inside]

    def basin(site: BasinSite) -> BasinSite:
        spots = [each for each in here.counted_spots if each.id in exact.diagnosis.places]
        away = [_distances(site, here.grid, each.cells) for each in spots]
        near = int(np.argmin([each.min() for each in away])) if spots else -1
        reach = REACH if site.spot is None else SET_WITHIN
        heights = here.drainage.ground.elevation.ravel()
        if spots and away[near].min() <= reach:
            cells = spots[near].cells[away[near] <= reach]
            cell = int(cells[np.argmin(heights[cells])])
            x, y = here.grid.centres(*np.divmod(np.array([cell]), here.grid.shape[1]))
            return replace(
                site, spot=spots[near].id, cells=np.empty(0, dtype=np.int64), ground=float(heights[cell]),
                point=Point(float(x[0]), float(y[0])),
            )
        row, column = here.grid.cells(np.array([site.point.x]), np.array([site.point.y]))
        own = row * here.grid.shape[1] + column
        return replace(
            site, spot=None, cells=own if site.spot is not None else moved(site.cells), ground=float(heights[own[0]])
        )

    catching = replace(
        laid.built,
        basins=tuple(basin(each) for each in laid.built.basins),
        drains=tuple(replace(each, cells=moved(each.cells)) for each in laid.built.drains),
        downspouts=tuple(replace(each, cells=moved(each.cells)) for each in laid.built.downspouts),
    )
    division = works_division(here, catching)
    water = run_with_works(here, exact.reckoning, exact.diagnosis, catching, division, laid.capacities)
    return not_ended(troubles_left(exact.diagnosis, catching, division, water, here.rules))


def _distances(site: BasinSite, grid: Grid, cells: np.ndarray) -> np.ndarray:
    x, y = grid.centres(cells // grid.shape[1], cells % grid.shape[1])
    return np.hypot(x - site.point.x, y - site.point.y)
