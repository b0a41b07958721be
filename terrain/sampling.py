"""Heights between cell centres."""

from typing import Any

import numpy as np

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.grid import Grid
from terrain.kernels.sampling import between_centres


def sample_bilinear(elevation: FloatArray, grid: Grid, x: Any, y: Any) -> FloatArray:
    """Heights at points, from the four cell centres around each. [m]

    Within half a cell of the border the nearest row or column holds; outside the grid, and where a cell
    that counts is unknown, the height is NaN.
    """
    x, y = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
    heights = between_centres(
        np.ascontiguousarray(elevation, dtype=np.float64), grid.left, grid.top, grid.cell_width, grid.cell_height,
        x.ravel(), y.ravel(),
    )  # fmt: skip
    found: FloatArray = heights.reshape(x.shape)
    return found


def sample_known(elevation: FloatArray, grid: Grid, x: Any, y: Any) -> FloatArray:
    """Heights at points, from those of the four cell centres around each that are known. [m]"""
    x, y = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
    inside, corners = _corners(grid, x, y)
    total, known = np.zeros(x.shape), np.zeros(x.shape)
    for weight, row, column in corners:
        here = elevation[row, column]
        share = np.where(np.isfinite(here), weight, 0.0)
        total, known = total + share * np.nan_to_num(here), known + share
    # a share that is none but for rounding says nothing
    enough = inside & (known > 1e-6)
    return np.where(enough, total / np.where(enough, known, 1.0), np.nan)


def _corners(grid: Grid, x: FloatArray, y: FloatArray) -> tuple[BoolArray, list[tuple[FloatArray, IntArray, IntArray]]]:
    """Whether points lie in a grid; share, row and column of each of the four cells around them."""
    rows, columns = grid.shape
    column = (x - grid.left) / grid.cell_width - 0.5
    row = (grid.top - y) / grid.cell_height - 0.5
    inside = (column >= -0.5) & (column <= columns - 0.5) & (row >= -0.5) & (row <= rows - 0.5)
    column = np.clip(np.where(inside, column, 0.0), 0.0, columns - 1.0)
    row = np.clip(np.where(inside, row, 0.0), 0.0, rows - 1.0)
    left = np.minimum(column.astype(np.int64), max(columns - 2, 0))
    upper = np.minimum(row.astype(np.int64), max(rows - 2, 0))
    right, lower = np.minimum(left + 1, columns - 1), np.minimum(upper + 1, rows - 1)
    across, down = column - left, row - upper
    return inside, [
        ((1.0 - across) * (1.0 - down), upper, left),
        (across * (1.0 - down), upper, right),
        ((1.0 - across) * down, lower, left),
        (across * down, lower, right),
    ]
