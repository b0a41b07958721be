"""From a surface to the ground as water meets it: roofs and barriers stand, culverts open it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from rasterio.features import rasterize
from scipy.ndimage import distance_transform_edt
from shapely import Geometry, LineString, Point

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.errors import GeometryError
from terrain.grid import Grid
from terrain.ground import BARRIER, OPEN, OUTSIDE, ROOF, Ground
from terrain.kept import kept
from terrain.reading.surface import Surface

DOWNSPOUT_REACH = 1.5
"""A downspout belongs to a roof whose outline is this near. Common practice, no source. [m]"""
_BESIDE = 16
"""Cells around roofs and barriers among which open ground is looked for first. [-]"""
INVERT_REACH = 1.0
"""The lowest ground this near a culvert's end is the invert that is found. Common practice, no source. [m]"""


@dataclass(frozen=True, slots=True)
class CulvertLine:
    """A pipe that the surface does not show.

    Attributes
    ----------
    inverts : tuple of float or None
        Of the line's first and last end, where known. [m]
    """

    line: LineString
    inverts: tuple[float | None, float | None] = (None, None)


@kept
def make_ground(
    surface: Surface,
    *,
    roofs: Sequence[Geometry] = (),
    open_below: Sequence[bool] = (),
    downspouts: Sequence[Point] = (),
    downspout_ends: Sequence[Point] = (),
    barriers: Sequence[Geometry] = (),
    culverts: Sequence[CulvertLine] = (),
    downspout_reach: float = DOWNSPOUT_REACH,
    invert_reach: float = INVERT_REACH,
) -> Ground:
    """Stand roofs and barriers on a surface and open it along culverts; a downspout's water comes out at its end."""
    is_open = list(open_below)
    if is_open and len(is_open) != len(roofs):
        raise GeometryError(
            f"{len(is_open)} values of open_below were given for {len(roofs)} roofs: give one for each roof, or none"
        )
    if downspout_ends and len(downspout_ends) != len(downspouts):
        raise GeometryError(
            f"{len(downspout_ends)} ends were given for {len(downspouts)} downspouts: give one for each, or none"
        )
    grid = surface.grid
    known = np.isfinite(surface.elevation)
    inside = _inside(roofs, grid)
    walls = [(roofs[position], position) for position in inside if not (is_open and is_open[position])]
    roof = np.where(known, _burn(walls, grid, all_touched=False), -1)
    dams = [(barriers[position], 1) for position in _inside(barriers, grid)]
    barrier = known & (roof < 0) & (_burn(dams, grid, all_touched=True) == 1)
    elevation = surface.elevation.copy()
    for culvert in _near(culverts, grid, invert_reach):
        _carve(elevation, barrier, roof >= 0, grid, culvert, invert_reach)
    kind = np.where(known, OPEN, OUTSIDE)
    kind[barrier] = BARRIER
    kind[roof >= 0] = ROOF
    receiver = np.full(grid.shape, -1, dtype=np.int64)
    if (kind == OPEN).any() and (kind > OPEN).any():
        nearest = _nearest_open(kind, grid)
        receiver[barrier] = _lowest_beside(elevation, kind, barrier, nearest)
        receiver[roof >= 0] = nearest[roof >= 0]
        near = _near_any(downspouts, [shape for shape, _ in walls], downspout_reach)
        spouts = np.array(downspouts, dtype=object)[near]
        ends = np.array(downspout_ends or downspouts, dtype=object)[near]
        for shape, position in walls:
            own = shapely.distance(shape, spouts) <= downspout_reach if spouts.size else np.zeros(0, dtype=np.bool_)
            _lead_to_downspouts(receiver, roof == position, list(spouts[own]), list(ends[own]), nearest, grid)
    return Ground(grid, elevation, kind.astype(np.int64), receiver, roof.astype(np.int64))


def opened_along(surface: Surface, culverts: Sequence[CulvertLine], *, invert_reach: float = INVERT_REACH) -> Surface:
    """A surface as it would lie were it open along these culverts."""
    elevation = surface.elevation.copy()
    nothing = np.zeros(surface.grid.shape, dtype=np.bool_)
    for culvert in _near(culverts, surface.grid, invert_reach):
        _carve(elevation, nothing.copy(), nothing, surface.grid, culvert, invert_reach)
    return replace(surface, elevation=elevation)


def _near_any(points: Sequence[Point], shapes: Sequence[Geometry], reach: float) -> BoolArray:
    """Which points may lie as near as that to one of some shapes."""
    found: np.ndarray = np.array(points, dtype=object)
    if not found.size or not len(shapes):
        return np.zeros(found.size, dtype=np.bool_)
    west, south, east, north = shapely.total_bounds(np.array(shapes, dtype=object))
    x, y = shapely.get_x(found), shapely.get_y(found)
    near: BoolArray = (x >= west - reach) & (x <= east + reach) & (y >= south - reach) & (y <= north + reach)
    return near


def _inside(shapes: Sequence[Geometry], grid: Grid) -> list[int]:
    """Positions of shapes that may touch a window; of a city's thousands most don't."""
    if not len(shapes):
        return []
    west, south, east, north = grid.bounds
    bounds = shapely.bounds(np.array(shapes, dtype=object))
    touching = (bounds[:, 0] <= east) & (bounds[:, 2] >= west) & (bounds[:, 1] <= north) & (bounds[:, 3] >= south)
    return [int(position) for position in np.flatnonzero(touching)]


def _burn(shapes: Sequence[tuple[Geometry, int]], grid: Grid, *, all_touched: bool) -> IntArray:
    """Value of the shape that covers each cell, -1 for none; of several the first given."""
    drawn = [(shape, value) for shape, value in reversed(shapes) if not shapely.is_empty(shape)]
    if not drawn:
        return np.full(grid.shape, -1, dtype=np.int64)
    burnt = rasterize(
        drawn, out_shape=grid.shape, fill=-1, transform=grid.transform, all_touched=all_touched, dtype="int32"
    )
    return np.asarray(burnt, dtype=np.int64)


def _nearest_open(kind: IntArray, grid: Grid) -> IntArray:
    """Open cell nearest to each roof and barrier cell, itself elsewhere."""
    found = np.arange(kind.size, dtype=np.int64).reshape(kind.shape)
    rows, columns = (np.flatnonzero((kind > OPEN).any(axis=axis)) for axis in (1, 0))
    sampling = (grid.cell_height, grid.cell_width)
    beside = min(sampling) * _BESIDE
    # most often some of a small piece is open near by
    for reach in (_BESIDE, max(kind.shape)):
        top, left = max(int(rows[0]) - reach, 0), max(int(columns[0]) - reach, 0)
        piece = slice(top, int(rows[-1]) + reach + 1), slice(left, int(columns[-1]) + reach + 1)
        away, (row, column) = distance_transform_edt(kind[piece] != OPEN, sampling=sampling, return_indices=True)
        if (kind[piece] == OPEN).any() and away[kind[piece] > OPEN].max() <= beside:
            break
    found[piece] = (row + top) * kind.shape[1] + column + left
    return found


def _lowest_beside(elevation: FloatArray, kind: IntArray, barrier: BoolArray, nearest: IntArray) -> IntArray:
    """Lowest open cell beside each barrier cell, the nearest one where it touches none."""
    rows, columns = kind.shape
    height = np.full((rows + 2, columns + 2), np.inf)
    height[1:-1, 1:-1] = np.where(kind == OPEN, elevation, np.inf)
    row, column = np.nonzero(barrier)
    steps = [(0, 1), (1, 0), (0, -1), (-1, 0), (1, 1), (1, -1), (-1, -1), (-1, 1)]
    beside = np.stack([height[row + 1 + south, column + 1 + east] for south, east in steps])
    choice = np.argmin(beside, axis=0)
    south, east = np.array(steps)[choice].T
    found = (row + south) * columns + column + east
    return np.where(np.isfinite(beside.min(axis=0)), found, nearest[row, column])


def _lead_to_downspouts(
    receiver: IntArray, covered: BoolArray, downspouts: Sequence[Point], ends: Sequence[Point], nearest: IntArray,
    grid: Grid,
) -> None:
    """Share a roof's cells among its downspouts, each to the nearest, and on to where that one's water comes out."""
    if not downspouts or not covered.any():
        return
    x = np.array([point.x for point in downspouts])
    y = np.array([point.y for point in downspouts])
    spout_rows, spout_columns = grid.cells(np.array([end.x for end in ends]), np.array([end.y for end in ends]))
    spout_rows = np.clip(spout_rows, 0, grid.shape[0] - 1)
    spout_columns = np.clip(spout_columns, 0, grid.shape[1] - 1)
    rows, columns = np.nonzero(covered)
    cell_x, cell_y = grid.centres(rows, columns)
    choice = np.argmin(np.hypot(cell_x[:, None] - x, cell_y[:, None] - y), axis=1)
    receiver[rows, columns] = nearest[spout_rows, spout_columns][choice]


def _near(culverts: Sequence[CulvertLine], grid: Grid, reach: float) -> list[CulvertLine]:
    """Culverts that may open some of a window."""
    for culvert in culverts:
        if culvert.line.length == 0:
            place = culvert.line.coords[0][:2]
            raise GeometryError(f"a culvert at {place} has no length: draw it from inlet to outlet")
    around = reach + grid.cell_width + grid.cell_height
    return [culverts[k] for k in _inside([culvert.line.buffer(around) for culvert in culverts], grid)]


def _part_around(line: LineString, grid: Grid) -> tuple[Grid, int, int]:
    """The part of a grid that a line lies in, and its first row and column."""
    west, south, east, north = line.bounds
    rows, columns = grid.cells(np.array([west, east]), np.array([north, south]))
    (top, bottom), (left, right) = np.clip(rows, 0, grid.shape[0] - 1), np.clip(columns, 0, grid.shape[1] - 1)
    top, left = max(int(top) - 1, 0), max(int(left) - 1, 0)
    shape = min(int(bottom) + 2, grid.shape[0]) - top, min(int(right) + 2, grid.shape[1]) - left
    part = replace(
        grid, shape=shape, left=grid.left + left * grid.cell_width, top=grid.top - top * grid.cell_height
    )
    return part, top, left


def _carve(
    elevation: FloatArray, barrier: BoolArray, roof: BoolArray, grid: Grid, culvert: CulvertLine, reach: float
) -> None:
    """Lower the cells along a culvert to its invert, and between its ends and the low ground that was found there."""
    line = culvert.line
    first, last = Point(line.coords[0]), Point(line.coords[-1])
    blocked = roof | barrier
    ends = [_lowest_near(elevation, blocked, grid, end, reach) for end in (first, last)]
    inverts = [_lower(given, found[1]) for given, found in zip(culvert.inverts, ends, strict=True)]
    if inverts[0] is None or inverts[1] is None:
        return
    points = [point for point, _ in ends[:1] if point is not None] + [Point(c[:2]) for c in line.coords]
    points += [point for point, _ in ends[1:] if point is not None]
    longer = LineString(points)
    around, first_row, first_column = _part_around(longer, grid)
    rows, columns = np.nonzero(_burn([(line, 1)], around, all_touched=True) == 1)
    more_rows, more_columns = np.nonzero(_burn([(longer, 1)], around, all_touched=True) == 1)
    free = ~barrier[more_rows + first_row, more_columns + first_column]
    drawn = np.zeros(around.shape, dtype=np.bool_)
    drawn[rows, columns] = drawn[more_rows[free], more_columns[free]] = True
    rows, columns = np.nonzero(drawn)
    rows, columns = rows + first_row, columns + first_column
    centres = shapely.points(np.column_stack(grid.centres(rows, columns)))
    along = np.asarray(shapely.line_locate_point(line, centres)) / line.length
    bed = inverts[0] + (inverts[1] - inverts[0]) * along
    passable = ~roof[rows, columns] & np.isfinite(elevation[rows, columns])
    rows, columns, bed = rows[passable], columns[passable], bed[passable]
    elevation[rows, columns] = np.minimum(elevation[rows, columns], bed)
    barrier[rows, columns] = False


def _lower(given: float | None, found: float | None) -> float | None:
    known = [value for value in (given, found) if value is not None]
    return min(known) if known else None


def _lowest_near(
    elevation: FloatArray, blocked: BoolArray, grid: Grid, end: Point, reach: float
) -> tuple[Point | None, float | None]:
    """Centre and height of the lowest open ground near a culvert's end."""
    row, column = grid.cells(end.x, end.y)
    span_rows, span_columns = int(reach / grid.cell_height) + 1, int(reach / grid.cell_width) + 1
    rows = slice(max(int(row) - span_rows, 0), min(max(int(row) + span_rows + 1, 0), grid.shape[0]))
    columns = slice(max(int(column) - span_columns, 0), min(max(int(column) + span_columns + 1, 0), grid.shape[1]))
    window = (rows, columns)
    if rows.start >= rows.stop or columns.start >= columns.stop:
        return None, None
    x, y = grid.centres(*np.mgrid[window])
    here = np.hypot(x - end.x, y - end.y) <= max(reach, 0.71 * max(grid.cell_width, grid.cell_height))
    height = np.where(here & ~blocked[window] & np.isfinite(elevation[window]), elevation[window], np.inf)
    if not np.isfinite(height.min()):
        return None, None
    best = np.unravel_index(np.argmin(height), height.shape)
    return Point(float(x[best]), float(y[best])), float(height[best])
