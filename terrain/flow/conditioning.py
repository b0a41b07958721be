"""From a surface to the ground as water meets it: roofs and barriers stand, culverts open it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.ndimage import distance_transform_edt
from shapely import Geometry, LineString, Point

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.errors import GeometryError
from terrain.flow.burnt_cells import BurntShape, burnt_shapes, in_own_cells, opening_cells
from terrain.flow.drainage import fill_ground
from terrain.grid import Grid
from terrain.ground import BARRIER, OPEN, ROOF, Ground
from terrain.kept import kept
from terrain.kernels.flood import may_stand_deeper
from terrain.kernels.lowest import lowest_open, open_cells
from terrain.reading.surface import Surface

DOWNSPOUT_REACH = 1.5
"""A downspout belongs to a roof whose outline is this near. Common practice, no source. [m]"""
_BESIDE = 16
"""Cells around roofs and barriers among which open ground is looked for first. [-]"""
_LOOKS = 4
"""Over a window for a way out of each of its ponds, before they are filled. [-]"""
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
    if downspout_ends and len(downspout_ends) != len(downspouts):
        raise GeometryError(
            f"{len(downspout_ends)} ends were given for {len(downspouts)} downspouts: give one for each, or none"
        )
    grid = surface.grid
    elevation, kind, roof, barrier, drawn = _stand(surface, roofs, open_below, barriers, culverts, invert_reach)
    receiver = np.full(grid.shape, -1, dtype=np.int64)
    if (kind == OPEN).any() and (kind > OPEN).any():
        spouts = _Spouts(downspouts, downspout_ends or downspouts, grid)
        led = {position: spouts.beside(roofs[position], downspout_reach) for position in drawn}
        to_find = (kind > OPEN) & ~np.isin(roof, [position for position, own in led.items() if own.size])
        spouts.mark_covered(to_find, kind, [own for own in led.values() if own.size])
        nearest = _nearest_open(kind, to_find, grid) if to_find.any() else None
        if nearest is not None:
            alone = to_find & (roof >= 0)
            receiver[alone] = nearest[alone]
            if barrier.any():
                receiver[barrier] = _lowest_beside(elevation, kind, barrier, nearest)
        for position, shape in drawn.items():
            if led[position].size and shape is not None:
                spouts.lead(receiver, roof, position, shape, led[position], nearest)
    return Ground(grid, elevation, kind, receiver, roof)


@kept
def pond_depths(
    surface: Surface,
    *,
    roofs: Sequence[Geometry] = (),
    open_below: Sequence[bool] = (),
    barriers: Sequence[Geometry] = (),
    culverts: Sequence[CulvertLine] = (),
    invert_reach: float = INVERT_REACH,
    least: float = 0.0,
) -> FloatArray:
    """Depth of the water on a ground whose ponds all stand full, NaN where nothing stands open, and 0 everywhere where
    none is as deep as `least`; where water runs, and where roofs let it out, is not asked. [m]"""
    elevation, kind, *_ = _stand(surface, roofs, open_below, barriers, culverts, invert_reach)
    if not may_stand_deeper(elevation, kind, least, _LOOKS):
        return np.zeros(surface.grid.shape)
    return fill_ground(surface.grid, elevation, kind) - elevation


def _stand(
    surface: Surface,
    roofs: Sequence[Geometry],
    open_below: Sequence[bool],
    barriers: Sequence[Geometry],
    culverts: Sequence[CulvertLine],
    invert_reach: float,
) -> tuple[FloatArray, IntArray, IntArray, BoolArray, dict[int, BurntShape | None]]:
    """Heights, kinds, roof and barrier of each cell, and the roofs that stand in the window by their position."""
    is_open = list(open_below)
    if is_open and len(is_open) != len(roofs):
        raise GeometryError(
            f"{len(is_open)} values of open_below were given for {len(roofs)} roofs: give one for each roof, or none"
        )
    grid = surface.grid
    known = np.isfinite(surface.elevation)
    walls = [k for k in _inside(roofs, grid) if not ((is_open and is_open[k]) or shapely.is_empty(roofs[k]))]
    drawn = burnt_shapes([roofs[k] for k in walls], grid, all_touched=False)
    roof = np.full(grid.shape, -1, dtype=np.int64)
    # of several the first given
    for position, shape in zip(reversed(walls), reversed(drawn), strict=True):
        if shape is not None:
            roof[shape.rows, shape.columns][shape.inside] = position
    roof[~known] = -1
    barrier = np.zeros(grid.shape, dtype=np.bool_)
    dams = [barriers[k] for k in _inside(barriers, grid) if not shapely.is_empty(barriers[k])]
    for shape in burnt_shapes(dams, grid, all_touched=True):
        if shape is not None:
            barrier[shape.rows, shape.columns] |= shape.inside
    barrier &= known & (roof < 0)
    elevation = surface.elevation.copy()
    _carve(elevation, barrier, roof, grid, _near(culverts, grid, invert_reach), invert_reach)
    kind = known.astype(np.int64)
    kind[barrier] = BARRIER
    kind[roof >= 0] = ROOF
    return elevation, kind, roof, barrier, dict(zip(walls, drawn, strict=True))


def opened_along(surface: Surface, culverts: Sequence[CulvertLine], *, invert_reach: float = INVERT_REACH) -> Surface:
    """A surface as it would lie were it open along these culverts."""
    elevation = surface.elevation.copy()
    near, shape = _near(culverts, surface.grid, invert_reach), surface.grid.shape
    _carve(elevation, np.zeros(shape, np.bool_), np.full(shape, -1, np.int64), surface.grid, near, invert_reach)
    return replace(surface, elevation=elevation)


def _inside(shapes: "Sequence[Geometry] | np.ndarray", grid: Grid, reach: float = 0.0) -> list[int]:
    """Positions of shapes that may lie so near to a window; of a city's thousands most don't."""
    if not len(shapes):
        return []
    west, south, east, north = grid.bounds
    west, south, east, north = west - reach, south - reach, east + reach, north + reach
    bounds = shapely.bounds(np.array(shapes, dtype=object))
    touching = (bounds[:, 0] <= east) & (bounds[:, 2] >= west) & (bounds[:, 1] <= north) & (bounds[:, 3] >= south)
    return [int(position) for position in np.flatnonzero(touching)]


def _nearest_open(kind: IntArray, to_find: BoolArray, grid: Grid) -> IntArray:
    """Open cell nearest to each of some roof and barrier cells, itself elsewhere."""
    found = np.arange(kind.size, dtype=np.int64).reshape(kind.shape)
    rows, columns = (np.flatnonzero(to_find.any(axis=axis)) for axis in (1, 0))
    sampling = (grid.cell_height, grid.cell_width)
    beside = min(sampling) * _BESIDE
    # most often some of a small piece is open near by
    for reach in (_BESIDE, max(kind.shape)):
        top, left = max(int(rows[0]) - reach, 0), max(int(columns[0]) - reach, 0)
        piece = slice(top, int(rows[-1]) + reach + 1), slice(left, int(columns[-1]) + reach + 1)
        away, (row, column) = distance_transform_edt(kind[piece] != OPEN, sampling=sampling, return_indices=True)
        if (kind[piece] == OPEN).any() and away[to_find[piece]].max() <= beside:
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


class _Spouts:
    """Downspouts of a window: where they stand, and the cells at which their water comes out."""

    def __init__(self, downspouts: Sequence[Point], ends: Sequence[Point], grid: Grid) -> None:
        self._grid = grid
        self._points: np.ndarray = np.array(downspouts, dtype=object)
        self._x, self._y = shapely.get_x(self._points), shapely.get_y(self._points)
        out: np.ndarray = np.array(ends, dtype=object)
        rows, columns = grid.cells(shapely.get_x(out), shapely.get_y(out))
        rows, columns = np.clip(rows, 0, grid.shape[0] - 1), np.clip(columns, 0, grid.shape[1] - 1)
        self._out = rows * grid.shape[1] + columns

    def beside(self, roof: Geometry, reach: float) -> IntArray:
        """Which of them stand as near as that to a roof."""
        west, south, east, north = roof.bounds
        x, y = self._x, self._y
        near = np.flatnonzero((x >= west - reach) & (x <= east + reach) & (y >= south - reach) & (y <= north + reach))
        found: IntArray = near[shapely.distance(roof, self._points[near]) <= reach] if near.size else near
        return found

    def mark_covered(self, to_find: BoolArray, kind: IntArray, several: Sequence[IntArray]) -> None:
        """Mark cells at which water would come out under a roof, on a barrier or on unknown ground."""
        if several:
            out = self._out[np.concatenate(several)]
            to_find.ravel()[out[kind.ravel()[out] != OPEN]] = True

    def lead(
        self, receiver: IntArray, roof: IntArray, position: int, shape: BurntShape, own: IntArray,
        nearest: IntArray | None,
    ) -> None:
        """Share a roof's cells among its downspouts, each to the nearest, and on to where its water comes out."""
        rows, columns = np.nonzero(shape.inside & (roof[shape.rows, shape.columns] == position))
        if not rows.size:
            return
        rows, columns = rows + shape.rows.start, columns + shape.columns.start
        x, y = self._grid.centres(rows, columns)
        choice = np.argmin(np.hypot(x[:, None] - self._x[own], y[:, None] - self._y[own]), axis=1)
        out = self._out[own] if nearest is None else nearest.ravel()[self._out[own]]
        receiver[rows, columns] = out[choice]


def _near(culverts: Sequence[CulvertLine], grid: Grid, reach: float) -> list[CulvertLine]:
    """Culverts that may open some of a window."""
    if not culverts:
        return []
    lines = np.array([culvert.line for culvert in culverts], dtype=object)
    for at in np.flatnonzero(shapely.length(lines) == 0):
        raise GeometryError(
            f"a culvert at {lines[at].coords[0][:2]} has no length: draw it from inlet to outlet"
        )
    return [culverts[k] for k in _inside(lines, grid, reach + grid.cell_width + grid.cell_height)]


def _carve(
    elevation: FloatArray, barrier: BoolArray, roof: IntArray, grid: Grid, culverts: Sequence[CulvertLine],
    reach: float,
) -> None:
    """Lower the cells along culverts to their inverts, and between their ends and the low ground found there."""
    if not culverts:
        return
    size = grid.cell_width, grid.cell_height
    lines = [culvert.line for culvert in culverts]
    points = [shapely.get_coordinates(shapely.get_point(lines, end)).tolist() for end in (0, -1)]
    for culvert, at, line, top, left, _ in zip(
        culverts, zip(*points, strict=True), *in_own_cells(lines, grid), strict=True
    ):
        ends = [lowest_open(elevation, roof, barrier, grid.left, grid.top, *size, *end, reach) for end in at]
        heights = [end[2] if end[0] >= 0 else None for end in ends]
        inverts = [_lower(given, found) for given, found in zip(culvert.inverts, heights, strict=True)]
        if inverts[0] is None or inverts[1] is None:
            continue
        first, last = (None if end[0] < 0 else (int(end[0] - top), int(end[1] - left)) for end in ends)
        rows, columns, own, along = opening_cells(line, (first, last), size)
        open_cells(elevation, roof, barrier, rows, columns, own, along, top, left, float(inverts[0]), float(inverts[1]))


def _lower(given: float | None, found: float | None) -> float | None:
    known = [value for value in (given, found) if value is not None]
    return min(known) if known else None
