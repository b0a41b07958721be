"""Shapes as cells, each drawn once in cells of its own, wherever the window lies that asks for it again."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from affine import Affine
from rasterio.features import rasterize
from shapely import Geometry, LineString

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.grid import Grid

_FINEST = float(2**20)
"""Parts of a cell to which coordinates are rounded, so that what lies on a cell's edge does so in every window. [-]"""
_MOST, _MOST_LARGE = 30_000, 64
"""Shapes that are kept as cells: small ones, of which a town has many, and larger ones. [-]"""
_SMALL = 64
"""Rows and columns of a small shape. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class BurntShape:
    """Cells of one shape within a window.

    Attributes
    ----------
    rows, columns : slice
        The part of the window that they lie in.
    inside : (rows, cols) bool ndarray
        Of that part.
    """

    rows: slice
    columns: slice
    inside: BoolArray


def burnt_shapes(shapes: Sequence[Geometry], grid: Grid, *, all_touched: bool) -> list[BurntShape | None]:
    """Cells of each shape whose centre lies in it, or that it touches; None for a shape beyond the window."""
    found: list[BurntShape | None] = [None] * len(shapes)
    near = _near(shapes, grid)
    for at, shape, top, left, size in zip(near, *in_own_cells([shapes[k] for k in near], grid), strict=True):
        end_row, end_column = min(top + size[0], grid.shape[0]), min(left + size[1], grid.shape[1])
        if max(top, 0) >= end_row or max(left, 0) >= end_column:
            continue
        mask = (_small_mask if max(size) <= _SMALL else _large_mask)(shape, size, all_touched)
        first_row, first_column = max(top, 0), max(left, 0)
        part = mask[first_row - top : end_row - top, first_column - left : end_column - left]
        found[at] = BurntShape(slice(first_row, end_row), slice(first_column, end_column), part)
    return found


def _near(shapes: Sequence[Geometry], grid: Grid) -> list[int]:
    """Positions of shapes that may touch a window or the cells beside it; of a town's thousands most don't."""
    if not len(shapes):
        return []
    west, south, east, north = grid.bounds
    wide, high = 2.0 * grid.cell_width, 2.0 * grid.cell_height
    bounds = shapely.bounds(np.array(shapes, dtype=object))
    touching = (bounds[:, 0] <= east + wide) & (bounds[:, 2] >= west - wide)
    touching &= (bounds[:, 1] <= north + high) & (bounds[:, 3] >= south - high)
    near: list[int] = np.flatnonzero(touching).tolist()
    return near


def cells_inside(grid: Grid, shape: Geometry) -> BoolArray:
    """Cells whose centre lies in a shape."""
    found = np.zeros(grid.shape, dtype=np.bool_)
    burnt = burnt_shapes([shape], grid, all_touched=False)[0]
    if burnt is not None:
        found[burnt.rows, burnt.columns] = burnt.inside
    return found


def in_own_cells(
    shapes: Sequence[Geometry], grid: Grid
) -> tuple[list[bytes], list[int], list[int], list[tuple[int, int]]]:
    """Each shape as WKB in cells from a corner of its own, row and column of that corner, and rows and columns to
    the far one."""
    flat = np.array(shapes, dtype=object)
    if shapely.has_z(flat).any():
        flat = shapely.force_2d(flat)
    coordinates, which = shapely.get_coordinates(flat, return_index=True)
    cells = (coordinates - (grid.left, grid.top)) / (grid.cell_width, -grid.cell_height)
    cells = np.round(cells * _FINEST) / _FINEST
    corner, far = np.full((len(flat), 2), np.inf), np.full((len(flat), 2), -np.inf)
    drawn = np.unique(which)
    if drawn.size:
        first = np.searchsorted(which, drawn)
        corner[drawn], far[drawn] = np.minimum.reduceat(cells, first), np.maximum.reduceat(cells, first)
    # a cell more, since what lies on an edge touches the cell on either side
    corner = np.where(np.isfinite(corner), np.floor(corner) - 1.0, 0.0)
    size = np.where(np.isfinite(far), np.floor(far) + 2.0 - corner, 0.0).astype(np.int64)
    moved = shapely.set_coordinates(flat, cells - corner[which])
    lefts, tops = corner.astype(np.int64).T.tolist()
    return list(shapely.to_wkb(moved)), tops, lefts, [(rows, columns) for columns, rows in size.tolist()]


def _mask(shape: bytes, size: tuple[int, int], all_touched: bool) -> BoolArray:
    """Cells of a shape that lies in cells from 0 on."""
    return _drawn(shapely.from_wkb(shape), size, all_touched)


def _drawn(shape: Geometry, size: tuple[int, int], all_touched: bool) -> BoolArray:
    # northing up, as rasters lie: a centre on an outline counts by which way that runs
    northing_up = shapely.transform(shape, lambda at: at * (1.0, -1.0))
    burnt = rasterize(
        [northing_up], out_shape=size, all_touched=all_touched, dtype="uint8", transform=Affine.scale(1.0, -1.0)
    )
    return np.asarray(burnt == 1)


_small_mask, _large_mask = lru_cache(maxsize=_MOST)(_mask), lru_cache(maxsize=_MOST_LARGE)(_mask)


@lru_cache(maxsize=_MOST)
def opening_cells(
    line: bytes, ends: tuple[tuple[int, int] | None, tuple[int, int] | None], cell: tuple[float, float]
) -> tuple[IntArray, IntArray, BoolArray, FloatArray]:
    """Cells that a culvert opens, on to a cell beyond either end.

    Parameters
    ----------
    line : bytes
        As of `in_own_cells`.
    ends : tuple of tuple of int or None
        Row and column of the cells beyond its first and last end. [-]
    cell : tuple of float
        Width and height of a cell. [m]

    Returns
    -------
    rows, columns : (n,) int ndarray
        From the line's own corner.
    own : (n,) bool ndarray
        Touched by the line itself.
    along : (n,) float ndarray
        How far along it each cell lies, 0 to 1. [-]
    """
    drawn = shapely.from_wkb(line)
    first, last = ([] if end is None else [(end[1] + 0.5, end[0] + 0.5)] for end in ends)
    longer = LineString([*first, *drawn.coords, *last])
    # what lies beyond the ends may reach above and left of the line's corner
    west, north, east, south = longer.bounds
    left, top = min(int(np.floor(west)), 0), min(int(np.floor(north)), 0)
    size = int(np.floor(south)) + 2 - top, int(np.floor(east)) + 2 - left
    own, touched = (
        _drawn(shapely.transform(each, lambda at: at - (left, top)), size, True) for each in (drawn, longer)
    )
    rows, columns = np.nonzero(own | touched)
    metres = shapely.transform(drawn, lambda at: at * cell)
    centres = shapely.points((columns + left + 0.5) * cell[0], (rows + top + 0.5) * cell[1])
    along = np.asarray(shapely.line_locate_point(metres, centres)) / metres.length
    return rows + top, columns + left, own[rows, columns], along
