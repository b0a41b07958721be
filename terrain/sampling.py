"""Heights between cell centres."""

from typing import Any

import numpy as np

from terrain.arrays import FloatArray
from terrain.grid import Grid


def sample_bilinear(elevation: FloatArray, grid: Grid, x: Any, y: Any) -> FloatArray:
    """Heights at points, from the four cell centres around each.

    Within half a cell of the border the nearest row or column holds; outside the grid, and where a cell
    that counts is unknown, the height is NaN.

    Parameters
    ----------
    elevation : (rows, cols) float ndarray
        Ground, NaN where unknown. [m]
    grid : Grid
        Where its cells lie.
    x, y : (...) array-like of float
        Easting and northing. [m]

    Returns
    -------
    (...) float ndarray
        Height at each point. [m]
    """
    x, y = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
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

    def share(weight: FloatArray, values: FloatArray) -> FloatArray:
        # a cell of no weight does not count, even where it is unknown
        return np.where(weight == 0.0, 0.0, weight * values)

    height = (
        share((1.0 - across) * (1.0 - down), elevation[upper, left])
        + share(across * (1.0 - down), elevation[upper, right])
        + share((1.0 - across) * down, elevation[lower, left])
        + share(across * down, elevation[lower, right])
    )
    return np.where(inside, height, np.nan)
