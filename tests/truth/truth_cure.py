"""Whether works that were laid out through lidar end the trouble on the exact ground, by the tool's own storm on it."""

from dataclasses import replace

import numpy as np

from pipelines.layout.catching.design_flows import run_with_works, works_division
from pipelines.layout.catching.sites import BasinSite
from pipelines.layout.cured import troubles_left
from pipelines.layout.planner import LotPlan
from pipelines.layout.sizes import not_ended
from pipelines.lot_stages import LotStages
from terrain.grid import Grid

REACH = 1.0
"""A basin drains the pond that stands so near on the exact ground. [m]"""


def left_on(exact: LotStages, laid: LotPlan, grid: Grid) -> int | None:
    """Troubles of the exact ground that basins, drains and downspouts of a plan on another grid leave there; None where
    soil is moved besides."""
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
        away = [_distance(site, here.grid, each.cells) for each in spots]
        row, column = here.grid.cells(np.array([site.point.x]), np.array([site.point.y]))
        ground = float(here.drainage.ground.elevation[int(row[0]), int(column[0])])
        if away and min(away) <= REACH:
            return replace(site, spot=spots[int(np.argmin(away))].id, cells=np.empty(0, dtype=np.int64), ground=ground)
        own = row * here.grid.shape[1] + column if site.spot is not None else moved(site.cells)
        return replace(site, spot=None, cells=own, ground=ground)

    catching = replace(
        laid.built,
        basins=tuple(basin(each) for each in laid.built.basins),
        drains=tuple(replace(each, cells=moved(each.cells)) for each in laid.built.drains),
        downspouts=tuple(replace(each, cells=moved(each.cells)) for each in laid.built.downspouts),
    )
    division = works_division(here, catching)
    water = run_with_works(here, exact.reckoning, exact.diagnosis, catching, division, laid.capacities)
    return not_ended(troubles_left(exact.diagnosis, catching, division, water, here.rules))


def _distance(site: BasinSite, grid: Grid, cells: np.ndarray) -> float:
    x, y = grid.centres(cells // grid.shape[1], cells % grid.shape[1])
    return float(np.hypot(x - site.point.x, y - site.point.y).min(initial=np.inf))
