"""The ground a line may be laid in: where it may go, how deep, and what a metre of it costs there."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.errors import GeometryError
from terrain.grid import Grid

LAWN, BED, PAVING, DRIVE = (np.int64(code) for code in range(4))
SURFACES = ("lawn", "bed", "paving", "drive")

# Sixteen ways out of a cell, counted in steps of about 22.5 degrees from east, against the clock; the even ones
# are the eight neighbours, the odd ones the knight's moves between them.
STEPS = np.array(
    [(0, 1), (-1, 2), (-1, 1), (-2, 1), (-1, 0), (-2, -1), (-1, -1), (-1, -2),
     (0, -1), (1, -2), (1, -1), (2, -1), (1, 0), (2, 1), (1, 1), (1, 2)],
    dtype=np.int64,
)

STUB = 0.5
"""Barred ground that a line may cross right at its beginning or end: a basin beside a wall. [m]"""


@dataclass(frozen=True, slots=True)
class Crossing:
    """Something buried that a line may cross with care.

    Attributes
    ----------
    id, kind : str
        Its id and what it is.
    shape : shapely geometry
        Line or polygon in the metric frame.
    cost : float
        Of one crossing, by hand. [money]
    elevation : float or None
        Of its middle; None where its depth is not known. [m]
    clearance : float
        Clear height wanted between it and the pipe. [m]
    """

    id: str
    kind: str
    shape: Any
    cost: float
    elevation: float | None
    clearance: float


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
    surface : (rows, cols) int ndarray
        LAWN, BED, PAVING or DRIVE.
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
    """

    grid: Grid
    ground: FloatArray
    allowed: BoolArray
    surface: IntArray
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

    def step_lengths(self) -> FloatArray:
        """Length of each of STEPS. [m]"""
        lengths: FloatArray = np.hypot(STEPS[:, 0] * self.grid.cell_height, STEPS[:, 1] * self.grid.cell_width)
        return lengths

    def nearest_allowed(self, x: float, y: float, *, reach: float = 3.0) -> tuple[int, int] | None:
        """The allowed cell nearest to a point, which a line can reach from it.

        Parameters
        ----------
        x, y : float
            Easting and northing. [m]
        reach : float
            How far it may lie. [m]

        Returns
        -------
        tuple of int or None
            Row and column; None where there is none within reach.
        """
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
        if self.barred is None:
            return True
        east, north = self.grid.centres(row, column)
        link = shapely.LineString([(x, y), (float(east), float(north))])
        return bool(shapely.intersection(link, self.barred).length <= STUB)


def field_from_arrays(
    grid: Grid,
    ground: FloatArray,
    allowed: BoolArray | None = None,
    *,
    surface: IntArray | None = None,
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
) -> RouteField:
    """A route field from arrays of one grid.

    Parameters
    ----------
    grid : Grid
        Its cells.
    ground : (rows, cols) float ndarray
        Ground, NaN where unknown. [m]
    allowed : (rows, cols) bool ndarray, optional
        Whether a line may pass; everywhere by default. Unknown ground is never allowed.
    surface, surface_cost, dig_factor, cover
        As the fields of RouteField; a single number holds everywhere. [-], [money/m], [-], [m]
    deepest : (rows, cols) float ndarray, optional
        Lowest elevation of a trench's bottom, beside what `max_depth` says. [m]
    max_depth : float
        Deepest trench. [m]
    permit, assumed, near_line
        As the fields of RouteField.
    crossings : tuple of Crossing
        What may be crossed with care.
    barred : shapely geometry, optional
        Where no line may go, exactly.
    permit_cost : float
        Of entering the right of way, once each time. [money]

    Returns
    -------
    RouteField

    Raises
    ------
    GeometryError
        If an array's shape is not the grid's.
    """
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
    passable = _passable(free, barred, grid)
    cost, low, high = _crossed(passable, crossings, grid)
    cost = cost + permit_cost * _entering(entered)
    return RouteField(
        grid=grid, ground=ground.astype(np.float64), allowed=free,
        surface=np.zeros(shape, dtype=np.int64) if surface is None else surface.astype(np.int64),
        surface_cost=_full(shape, surface_cost), dig_factor=_full(shape, dig_factor), cover=_full(shape, cover),
        deepest=floor, permit=entered, assumed=none if assumed is None else assumed,
        near_line=none if near_line is None else near_line, passable=passable,
        crossing_cost=cost, band_low=low, band_high=high, crossings=crossings, barred=barred,
        walls=_edges(barred, blocked, grid), permit_cost=permit_cost, hits=_hits(crossings),
    )


def step_middles(array: FloatArray, *, highest: bool) -> FloatArray:
    """What lies half-way along each step: mean or highest of the two or four cells that meet there.

    Parameters
    ----------
    array : (rows, cols) float ndarray
        Values of the cells. [any]
    highest : bool
        Whether the highest is wanted rather than the mean.

    Returns
    -------
    (rows, cols, 16) float ndarray
        In the unit of the values. [any]
        NaN where a step leaves the grid.
    """
    middles = []
    for d in range(len(STEPS)):
        around = [shifted(array, step, np.nan) for step in ([] if d % 4 == 0 else _between(d))]
        if d % 2 == 0:
            around += [array, shifted(array, (int(STEPS[d, 0]), int(STEPS[d, 1])), np.nan)]
        middles.append(np.max(around, axis=0) if highest else np.mean(around, axis=0))
    return np.stack(middles, axis=-1)


def shifted(array: Any, step: tuple[int, int], fill: Any) -> Any:
    """The array whose cell (row, column) holds the value one `step` away, `fill` outside.

    Parameters
    ----------
    array : (rows, cols) ndarray
        Values of the cells.
    step : tuple of int
        Rows down and columns to the right.
    fill : any
        What stands where the step leads outside.

    Returns
    -------
    (rows, cols) ndarray
        Of the array's type.
    """
    result = np.full_like(array, fill)
    (rows, columns), (down, right) = array.shape, step
    if abs(down) < rows and abs(right) < columns:
        result[max(0, -down): rows - max(0, down), max(0, -right): columns - max(0, right)] = array[
            max(0, down): rows - max(0, -down), max(0, right): columns - max(0, -right)]
    return result


def _centres_in(barred: Any, grid: Grid) -> BoolArray:
    rows, columns = np.indices(grid.shape)
    shapely.prepare(barred)
    inside: BoolArray = shapely.intersects_xy(barred, *grid.centres(rows, columns))
    return inside


def _edges(barred: Any, blocked: BoolArray, grid: Grid) -> FloatArray:
    """Edges of the barred shape and of blocked cells, (x, y, x, y)."""
    rows, columns = np.nonzero(blocked)
    west, north = grid.left + columns * grid.cell_width, grid.top - rows * grid.cell_height
    cells = shapely.union_all(shapely.box(west, north - grid.cell_height, west + grid.cell_width, north))
    return _segments(shapely.boundary([cells.simplify(0.0)] + ([] if barred is None else [barred])))


def _segments(lines: Any) -> FloatArray:
    """The straight pieces of lines, (x, y, x, y)."""
    parts = [np.zeros((0, 4))]
    for line in shapely.get_parts(lines):
        xy = shapely.get_coordinates(line)
        parts.append(np.hstack([xy[:-1], xy[1:]]))
    return np.vstack(parts)


def _hits(crossings: tuple[Crossing, ...]) -> FloatArray:
    rows = [np.zeros((0, 7))]
    for crossing in crossings:
        for part in shapely.get_parts(crossing.shape):
            area = shapely.get_dimensions(part) == 2
            edges = _segments(shapely.boundary(part) if area else part)
            # who crosses an area crosses its edge twice
            told = [0.5 * crossing.cost if area else crossing.cost, np.inf, -np.inf]
            if crossing.elevation is not None:
                told[1:] = [crossing.elevation - crossing.clearance, crossing.elevation + crossing.clearance]
            rows.append(np.hstack([edges, np.tile(told, (len(edges), 1))]))
    return np.vstack(rows)


def _between(d: int) -> tuple[tuple[int, int], tuple[int, int]]:
    """The two cells beside a diagonal step, or the two that a knight's move passes between."""
    down, right = int(STEPS[d, 0]), int(STEPS[d, 1])
    if d % 2 == 0:
        return (down, 0), (0, right)
    half = (int(np.sign(down)), int(np.sign(right)))
    return (half, (0, half[1])) if abs(right) == 2 else (half, (half[0], 0))


def _passable(allowed: BoolArray, barred: Any, grid: Grid) -> BoolArray:
    passable = np.zeros((*allowed.shape, len(STEPS)), dtype=np.bool_)
    for d in range(len(STEPS)):
        open_step = allowed & shifted(allowed, (int(STEPS[d, 0]), int(STEPS[d, 1])), False)
        if d % 4:  # no cutting of corners
            first, second = _between(d)
            open_step &= shifted(allowed, first, False) & shifted(allowed, second, False)
        passable[..., d] = open_step
    if barred is not None and not barred.is_empty:
        shapely.prepare(barred)
        for d in range(len(STEPS) // 2):
            rows, columns = np.nonzero(passable[..., d])
            hit = shapely.intersects(barred, step_lines(grid, rows, columns, d))
            passable[rows[hit], columns[hit], d] = False
            _copy_to_reverse(passable, d)
    return passable


def step_lines(grid: Grid, rows: IntArray, columns: IntArray, d: int) -> Any:
    """Shapely lines from the centres of cells along one of STEPS.

    Parameters
    ----------
    grid : Grid
        The cells.
    rows, columns : (n,) int ndarray
        Where they start.
    d : int
        Position in STEPS.

    Returns
    -------
    (n,) ndarray of shapely LineString
        In the metric frame.
    """
    x, y = grid.centres(rows, columns)
    to_x, to_y = grid.centres(rows + STEPS[d, 0], columns + STEPS[d, 1])
    return shapely.linestrings(np.stack([np.stack([x, y], axis=-1), np.stack([to_x, to_y], axis=-1)], axis=1))


def _copy_to_reverse(steps: Any, d: int) -> None:
    reverse = (d + len(STEPS) // 2) % len(STEPS)
    fill = False if steps.dtype == np.bool_ else 0.0
    steps[..., reverse] = shifted(steps[..., d], (-int(STEPS[d, 0]), -int(STEPS[d, 1])), fill)


def _crossed(
    passable: BoolArray, crossings: tuple[Crossing, ...], grid: Grid
) -> tuple[FloatArray, FloatArray, FloatArray]:
    cost = np.zeros(passable.shape)
    low = np.full(passable.shape, np.inf)
    high = np.full(passable.shape, -np.inf)
    for d in range(len(STEPS)):
        if not crossings:
            break
        rows, columns = np.nonzero(passable[..., d])
        lines = step_lines(grid, rows, columns, d)
        for crossing in crossings:
            shapely.prepare(crossing.shape)
            hit = shapely.intersects(crossing.shape, lines)
            at = rows[hit], columns[hit], d
            # a step that ends on a line and the next that starts there would both pay: half each
            ends = shapely.intersects(crossing.shape, shapely.get_point(lines[hit], 0)).astype(np.float64)
            ends += shapely.intersects(crossing.shape, shapely.get_point(lines[hit], -1))
            cost[at] += crossing.cost * (1.0 - 0.5 * ends)
            if crossing.elevation is not None:
                low[at] = np.minimum(low[at], crossing.elevation - crossing.clearance)
                high[at] = np.maximum(high[at], crossing.elevation + crossing.clearance)
    return cost, low, high


def _entering(permit: BoolArray) -> FloatArray:
    steps = [shifted(permit, (int(down), int(right)), False) & ~permit for down, right in STEPS]
    return np.stack(steps, axis=-1).astype(np.float64)


def _full(shape: tuple[int, int], value: FloatArray | float) -> FloatArray:
    return np.array(np.broadcast_to(np.asarray(value, dtype=np.float64), shape))

