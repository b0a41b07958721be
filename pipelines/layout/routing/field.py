"""The ground a line may be laid in: where it may go, how deep, and what a metre of it costs there."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely import Point

from pipelines.layout.routing.steps import (
    STEPS,
    Crossing,
    crossed_by_steps,
    edges_of_barred,
    entering_steps,
    hits_of_crossings,
    passable_steps,
)
from terrain.arrays import BoolArray, FloatArray
from terrain.errors import GeometryError
from terrain.grid import Grid
from terrain.kept import kept

STUB = 0.5
"""Barred ground that a line may cross right at its beginning or end: a basin beside a wall. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class RouteField:
    """Where a line may be laid on one lot.

    Attributes
    ----------
    grid : Grid
        Its cells, which may be coarser than the raster.
    ground : (rows, cols) float ndarray
        Ground, NaN where unknown. [m]
    allowed : (rows, cols) bool ndarray
        Whether a line may pass the cell's centre.
    surface_cost : (rows, cols) float ndarray
        What a metre costs for what lies on top: sod, cutting and patching, boring. [money/m]
    dig_factor : (rows, cols) float ndarray
        Multiplies the cost of digging: roots, digging by hand. [-]
    cover : (rows, cols) float ndarray
        Least cover over the pipe. [m]
    deepest : (rows, cols) float ndarray
        Lowest elevation that the bottom of a trench may have. [m]
    permit, assumed, near_line : (rows, cols) bool ndarray
        In the right of way, where a permit is needed; on a strip to the outfall that nobody confirmed; within the
        offset of a neighbour's line.
    passable : (rows, cols, 16) bool ndarray
        Whether a line may run from the cell along each of STEPS.
    crossing_cost, band_low, band_high : (rows, cols, 16) float ndarray
        Along each step: cost of what it crosses, and the heights between which no part of a pipe may lie (infinite
        and reversed where there is nothing). [money], [m]
    crossings : tuple of Crossing
        What is crossed, as shapes.
    barred : shapely geometry or None
        Where no line may go, exactly; None where only cells are known.
    walls : (m, 4) float ndarray
        The edges of all that a line may not cross, from (x, y) to (x, y). [m]
    permit_cost : float
        Of entering the right of way, once each time; part of `crossing_cost`. [money]
    hits : (m, 7) float ndarray
        Edges of what may be crossed, (x, y, x, y), price of crossing one, and the heights between which no part of a
        pipe may lie there. [m], [money], [m]
    fine : FloatArray or None
        Ground in smaller cells, a whole number of them to each; None where the cells hold all there is. [m]
    """

    grid: Grid
    ground: FloatArray
    allowed: BoolArray
    surface_cost: FloatArray
    dig_factor: FloatArray
    cover: FloatArray
    deepest: FloatArray
    permit: BoolArray
    assumed: BoolArray
    near_line: BoolArray
    passable: BoolArray
    crossing_cost: FloatArray
    band_low: FloatArray
    band_high: FloatArray
    crossings: tuple[Crossing, ...]
    barred: Any
    walls: FloatArray
    permit_cost: float
    hits: FloatArray
    fine: FloatArray | None = None

    def step_lengths(self) -> FloatArray:
        """Length of each of STEPS. [m]"""
        lengths: FloatArray = np.hypot(STEPS[:, 0] * self.grid.cell_height, STEPS[:, 1] * self.grid.cell_width)
        return lengths

    def nearest_each(self, points: Sequence[Point]) -> list[tuple[int, int] | None]:
        """The allowed cell nearest to each of some points: many stand on a cell's centre."""
        x, y = shapely.get_x(points), shapely.get_y(points)
        rows, columns = self.grid.cells(x, y)
        east, north = self.grid.centres(rows, columns)
        inside = (rows >= 0) & (rows < self.grid.shape[0]) & (columns >= 0) & (columns < self.grid.shape[1])
        own = inside & (x == east) & (y == north)
        own[own] = self.allowed[rows[own], columns[own]]
        return [
            (row, column) if here else self.nearest_allowed(point.x, point.y)
            for row, column, here, point in zip(rows.tolist(), columns.tolist(), own, points, strict=True)
        ]

    def nearest_allowed(self, x: float, y: float, *, reach: float = 3.0) -> tuple[int, int] | None:
        """The allowed cell nearest to a point, which a line can reach from it."""
        grid = self.grid
        row, column = (int(v) for v in grid.cells(x, y))
        inside = 0 <= row < grid.shape[0] and 0 <= column < grid.shape[1]
        if inside and self.allowed[row, column] and self._linked(x, y, row, column):
            return row, column
        rows, columns = np.nonzero(self.allowed)
        east, north = grid.centres(rows, columns)
        away = np.hypot(east - x, north - y)
        limit = max(reach, 0.75 * float(np.hypot(grid.cell_width, grid.cell_height)))
        near = np.flatnonzero(away <= limit)
        for k in near[np.argsort(away[near], kind="stable")]:
            if self._linked(x, y, int(rows[k]), int(columns[k])):
                return int(rows[k]), int(columns[k])
        return None

    def _linked(self, x: float, y: float, row: int, column: int) -> bool:
        """Whether a line from a point to a cell's centre runs through barred ground for a stub at the most."""
        east, north = self.grid.centres(row, column)
        if self.barred is None or (x == float(east) and y == float(north)):
            return True
        link = shapely.LineString([(x, y), (float(east), float(north))])
        return bool(shapely.intersection(link, self.barred).length <= STUB)


@kept
def field_from_arrays(
    grid: Grid,
    ground: FloatArray,
    allowed: BoolArray | None = None,
    *,
    surface_cost: FloatArray | float = 0.0,
    dig_factor: FloatArray | float = 1.0,
    cover: FloatArray | float = 0.3,
    deepest: FloatArray | None = None,
    max_depth: float = 1.2,
    permit: BoolArray | None = None,
    assumed: BoolArray | None = None,
    near_line: BoolArray | None = None,
    crossings: tuple[Crossing, ...] = (),
    barred: Any = None,
    permit_cost: float = 0.0,
    fine: FloatArray | None = None,
) -> RouteField:
    """A route field from arrays of one grid."""
    shape = grid.shape
    if ground.shape != shape or (allowed is not None and allowed.shape != shape):
        raise GeometryError(f"the arrays of a route field are {ground.shape}, its grid is {shape}: give both alike")
    known = np.isfinite(ground)
    free = known if allowed is None else allowed & known
    blocked = ~free
    if barred is not None:
        free = free & ~_centres_in(barred, grid)
    floor = np.where(known, ground - max_depth, np.inf)
    if deepest is not None:
        floor = np.maximum(floor, deepest)
    none = np.zeros(shape, dtype=np.bool_)
    entered = none if permit is None else permit
    passable = passable_steps(free, barred, grid)
    cost, low, high = crossed_by_steps(passable, crossings, grid)
    cost = cost + permit_cost * entering_steps(entered)
    return RouteField(
        grid=grid, ground=ground.astype(np.float64), allowed=free,
        surface_cost=_full(shape, surface_cost), dig_factor=_full(shape, dig_factor), cover=_full(shape, cover),
        deepest=floor, permit=entered, assumed=none if assumed is None else assumed,
        near_line=none if near_line is None else near_line, passable=passable,
        crossing_cost=cost, band_low=low, band_high=high, crossings=crossings, barred=barred,
        walls=edges_of_barred(barred, blocked, grid), permit_cost=permit_cost, hits=hits_of_crossings(crossings),
        fine=fine,
    )


def _centres_in(barred: Any, grid: Grid) -> BoolArray:
    rows, columns = np.indices(grid.shape)
    shapely.prepare(barred)
    inside: BoolArray = shapely.intersects_xy(barred, *grid.centres(rows, columns))
    return inside


def _full(shape: tuple[int, int], value: FloatArray | float) -> FloatArray:
    return np.array(np.broadcast_to(np.asarray(value, dtype=np.float64), shape))

