"""Compiled reading of heights between cell centres."""

from typing import Any

import numpy as np
from numba import njit


@njit(cache=True)
def between_centres(elevation: Any, left: float, top: float, width: float, height: float, x: Any, y: Any) -> Any:
    """Heights at points (n,), bilinear; NaN outside the grid and where a cell that counts is unknown. [m]"""
    rows, columns = elevation.shape
    found = np.full(x.size, np.nan)
    for k in range(x.size):
        column, row = (x[k] - left) / width - 0.5, (top - y[k]) / height - 0.5
        if not (column >= -0.5 and column <= columns - 0.5 and row >= -0.5 and row <= rows - 0.5):
            continue
        column, row = min(max(column, 0.0), columns - 1.0), min(max(row, 0.0), rows - 1.0)
        i, j = min(int(row), max(rows - 2, 0)), min(int(column), max(columns - 2, 0))
        across, down = column - j, row - i
        found[k] = 0.0
        for below in range(2):
            for beside in range(2):
                weight = (across if beside else 1.0 - across) * (down if below else 1.0 - down)
                # a cell of no weight does not count, even where it is unknown
                if weight != 0.0:
                    found[k] += weight * elevation[min(i + below, rows - 1), min(j + beside, columns - 1)]
    return found
