"""The same ground in cells twice as wide, to see what of an answer hangs on the cells."""

import warnings
from dataclasses import replace

import numpy as np

from terrain.grid import Grid
from terrain.reading.surface import Surface


def in_wider_cells(surface: Surface) -> Surface:
    """Means of two by two cells; an odd last row or column is left out, and unknown is what no known cell is in."""
    grid = surface.grid
    rows, columns = grid.shape[0] // 2, grid.shape[1] // 2
    fours = surface.elevation[: 2 * rows, : 2 * columns].reshape(rows, 2, columns, 2)
    with warnings.catch_warnings():
        # all four unknown
        warnings.simplefilter("ignore", RuntimeWarning)
        means = np.nanmean(fours, axis=(1, 3))
    wider = Grid((rows, columns), grid.left, grid.top, 2.0 * grid.cell_width, 2.0 * grid.cell_height, grid.frame)
    return replace(surface, grid=wider, elevation=means)
