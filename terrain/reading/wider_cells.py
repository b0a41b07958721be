"""The same ground in cells twice as wide, to see what of an answer hangs on the cells."""

import warnings
from dataclasses import replace

import numpy as np

from terrain.grid import Grid
from terrain.reading.surface import Surface


def in_wider_cells(surface: Surface, first: int) -> Surface:
    """Means of two by two cells from the first row and column on; an odd last one is left out, and a cell is unknown
    where all four are."""
    grid = surface.grid
    rows, columns = (grid.shape[0] - first) // 2, (grid.shape[1] - first) // 2
    left, top = grid.left + first * grid.cell_width, grid.top - first * grid.cell_height
    fours = surface.elevation[first : first + 2 * rows, first : first + 2 * columns].reshape(rows, 2, columns, 2)
    with warnings.catch_warnings():
        # all four unknown
        warnings.simplefilter("ignore", RuntimeWarning)
        means = np.nanmean(fours, axis=(1, 3))
    wider = Grid((rows, columns), left, top, 2.0 * grid.cell_width, 2.0 * grid.cell_height, grid.frame)
    return replace(surface, grid=wider, elevation=means)
