"""By how much a gravity line from anywhere on the lot to an outfall has fall to spare, or is short of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import contourpy
import numpy as np
from shapely import LineString, Point

from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.kernels.ways import sees, shortest_ways, spare_along_ways, spare_on_grounds
from pipelines.layout.routing.spec import OutfallTarget, RoutePipe, RouteSpec
from pipelines.layout.routing.steps import STEPS
from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.grid import Grid
from terrain.lidar.grounds import PossibleGrounds

MOST_KEPT = 64
"""Places whose ways are kept: they are asked for again with every pipe and level. [-]"""
ROUNDING = 1e-6
"""Of a way's length added up cell by cell, and more. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class FallToSpare:
    """The fall to spare to one outfall.

    Attributes
    ----------
    outfall : OutfallTarget
        Where the lines would end.
    grid : Grid
        Its cells.
    spare : (rows, cols) float ndarray
        Fall that is left over, negative where it is short, NaN where there is no allowed way. [m]
    length : (rows, cols) float ndarray
        Of the shortest allowed way, NaN where there is none. [m]
    binding : (rows, cols) int ndarray
        Flat index of the cell where the way has least to spare, -1 where there is none.
    onward : (cells + 1,) int ndarray
        Next point of each cell's way: a flat index, `cells` for the outfall, -1 where there is none.
    """

    outfall: OutfallTarget
    grid: Grid
    spare: FloatArray
    length: FloatArray
    binding: IntArray
    onward: IntArray

    def way_from(self, row: int, column: int) -> FloatArray:
        """Vertices of the shortest allowed way from a cell to the outfall. [m]"""
        return _followed(self.onward, self.grid, self.outfall.point, row, column)


def fall_to_spare(
    field: RouteField,
    outfall: OutfallTarget,
    pipe: RoutePipe,
    spec: RouteSpec,
    *,
    slope: float | None = None,
    known: FloatArray | None = None,
) -> FallToSpare:
    """Fall to spare from every cell of a field to one outfall.

    Along the shortest allowed way from a cell, the least of what each of its points q has available over what is
    needed there: ground - cover - outside diameter + wall, less level + slope x way to the outfall + digging
    tolerance. At the cell itself the drop through a basin is needed too. The cover of the last stretch before the
    outfall is not asked for. Where that is no more than is `known` of another outfall it is NaN, and ways are looked
    for no farther off than it could be more.

    Notes
    -----
    spare(p) = min over q of (ground - cover - od + wall)(q) - (level + slope x distance(q, outfall) + tolerance);
    the parts are common practice, no source.
    """
    grid = field.grid
    more = None
    if known is not None:
        more = field.allowed & (most_to_spare(field, outfall, pipe, spec, slope=slope) > known)
    ways = ways_to(field, outfall.point, more) if more is None or more.any() else None
    if ways is None:
        lost = np.full(grid.shape, np.nan)
        return FallToSpare(outfall, grid, lost, lost.copy(), np.full(grid.shape, -1), np.full(lost.size + 1, -1))
    spare, binding = spare_along_ways(
        field.ground, field.cover, ways.order, ways.onward, ways.distance, ways.x, ways.y,
        grid.left, grid.top, grid.cell_width, grid.cell_height,
        pipe.crown, outfall.level + spec.dig_tolerance, pipe.min_slope if slope is None else slope, spec.taper_length,
        spec.basin_drop, np.full(grid.shape, -np.inf).ravel() if known is None else known.ravel(),
    )
    return FallToSpare(outfall, grid, spare.reshape(grid.shape), ways.length.reshape(grid.shape),
                       binding.reshape(grid.shape), ways.onward)


def fall_on_grounds(
    field: RouteField, outfall: OutfallTarget, pipe: RoutePipe, spec: RouteSpec, slope: float, asked: BoolArray,
    grounds: PossibleGrounds, higher: FloatArray,
) -> FloatArray:
    """`fall_to_spare` of the cells asked on each ground, on which the outfall's level is so much higher.

    (rows, cols, grounds), NaN where nothing is asked or there is no allowed way. [m]
    """
    grid, ways = field.grid, ways_to(field, outfall.point, asked)
    if ways is None:
        return np.full((*grid.shape, grounds.count), np.nan, dtype=np.float32)
    spare = spare_on_grounds(
        field.ground, field.cover, ways.order, ways.onward, ways.distance, ways.x, ways.y,
        grid.left, grid.top, grid.cell_width, grid.cell_height,
        pipe.crown, outfall.level + spec.dig_tolerance, slope, spec.taper_length, spec.basin_drop, asked.ravel(),
        grounds.by_cell, grounds.first_row, grounds.first_column,
    )
    found: FloatArray = spare.reshape((*grid.shape, grounds.count)) - higher.astype(np.float32)
    return found


def most_to_spare(
    field: RouteField, outfall: OutfallTarget, pipe: RoutePipe, spec: RouteSpec, *, slope: float | None = None
) -> FloatArray:
    """What `fall_to_spare` cannot exceed: at each cell, as if the way from there were straight. [m]"""
    rows, columns = field.grid.shape
    x, y = field.grid.centres(*np.divmod(np.arange(rows * columns), columns))
    straight = np.hypot(x - outfall.point.x, y - outfall.point.y).reshape(field.grid.shape)
    fall = (pipe.min_slope if slope is None else slope) * straight
    own = field.ground - field.cover - pipe.crown - outfall.level - spec.dig_tolerance - fall - spec.basin_drop
    return np.asarray(own + ROUNDING, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class WaysTo:
    """Shortest allowed ways to a place.

    Attributes
    ----------
    x, y : (cells + 1,) float ndarray
        Cells, then the place. [m]
    distance : (cells + 1,) float ndarray
        Infinite where there is no way. [m]
    onward : (cells + 1,) int ndarray
        Next point of each way.
    order : (n,) int ndarray
        Cells that are reached, the nearest first.
    """

    x: FloatArray
    y: FloatArray
    distance: FloatArray
    onward: IntArray
    order: IntArray

    @property
    def length(self) -> FloatArray:
        """Of each cell's way, NaN where there is none. [m]"""
        return np.where(np.isfinite(self.distance[:-1]), self.distance[:-1], np.nan)


def shortest_way(field: RouteField, row: int, column: int, place: Point) -> FloatArray:
    """Vertices of the shortest allowed way from a cell to a place; none where there is no way. [m]"""
    wanted = np.zeros(field.grid.shape, dtype=np.bool_)
    wanted[row, column] = True
    ways = ways_to(field, place, wanted)
    return np.zeros((0, 2)) if ways is None else _followed(ways.onward, field.grid, place, row, column)


def _followed(onward: IntArray, grid: Grid, place: Point, row: int, column: int) -> FloatArray:
    cells = grid.shape[0] * grid.shape[1]
    at = row * grid.shape[1] + column
    points: list[tuple[float, float]] = []
    while 0 <= at < cells and onward[at] >= 0:
        x, y = grid.centres(*divmod(at, grid.shape[1]))
        points.append((float(x), float(y)))
        at = int(onward[at])
    if points:
        points.append((place.x, place.y))
    return np.array(points, dtype=np.float64).reshape(-1, 2)


def way_lengths(field: RouteField, place: Point) -> FloatArray:
    """Length of the shortest allowed way from each cell to a place, NaN where there is none. [m]"""
    ways = ways_to(field, place)
    return np.full(field.grid.shape, np.nan) if ways is None else ways.length.reshape(field.grid.shape)


def ways_to(field: RouteField, place: Point, wanted: BoolArray | None = None) -> WaysTo | None:
    """Shortest allowed ways to a place, which don't hang on levels and pipes; None where it is out of reach.

    From everywhere, or from the cells wanted and all that lie nearer.
    """
    start = field.nearest_allowed(place.x, place.y)
    if start is None:
        return None
    first = start[0] * field.grid.shape[1] + start[1]
    if wanted is not None:
        return _search_ways(field.passable, field.walls, field.grid, first, place.x, place.y, wanted)
    return _ways_to(_Itself(field.passable), _Itself(field.walls), _Itself(field.grid), first, place.x, place.y)


class _Itself:
    """A part of a field as a key: alike is only the very same one."""

    def __init__(self, same: Any) -> None:
        self.same = same

    def __hash__(self) -> int:
        return id(self.same)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Itself) and self.same is other.same


@lru_cache(maxsize=MOST_KEPT)
def _ways_to(passable: _Itself, walls: _Itself, grid: _Itself, first: int, east: float, north: float) -> WaysTo:
    everywhere = np.ones(grid.same.shape, dtype=np.bool_)
    return _search_ways(passable.same, walls.same, grid.same, first, east, north, everywhere)


def _search_ways(
    passable: BoolArray, walls: FloatArray, grid: Grid, first: int, east: float, north: float, wanted: BoolArray
) -> WaysTo:
    rows, columns = grid.shape
    x, y = grid.centres(*np.divmod(np.arange(rows * columns), columns))
    x, y = np.append(x, east), np.append(y, north)
    clear = bool(sees(walls, x[first], y[first], x[-1], y[-1]))
    return WaysTo(x, y, *shortest_ways(passable, STEPS, x, y, walls, first, clear, wanted.ravel()))


def spare_contours(field_of_fall: FloatArray, grid: Grid, levels: Sequence[float]) -> list[tuple[float, LineString]]:
    """Contour lines of a fall to spare. [m]"""
    rows, columns = grid.shape
    if rows < 2 or columns < 2:
        return []
    x, _ = grid.centres(np.zeros(columns), np.arange(columns))
    _, y = grid.centres(np.arange(rows), np.zeros(rows))
    generator = contourpy.contour_generator(x, y, field_of_fall)
    lines = [(float(level), np.asarray(line, dtype=np.float64)) for level in levels for line in generator.lines(level)]
    return [(level, LineString(line)) for level, line in lines if len(line) > 1]
