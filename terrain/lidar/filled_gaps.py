"""Gaps that were drawn across: where lidar saw no ground, and whoever made the raster filled in what lies between."""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.grid import Grid

SMOOTH = 0.4
"""Ground is drawn across where it is less than so many times as rough as such ground is elsewhere. [-]"""
FEWEST, WIDEST = 4, 8.0
"""Fewer cells beside each other may be so smooth by chance: on white noise one patch of so many in 25,000 cells is [-].
Ground is compared with what lies no farther off [m]."""
NORMAL_MEDIAN = 0.6745
"""Median of a standard normal value's size. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class FilledGaps:
    """By how much the ground in gaps may lie off what was drawn across them.

    Attributes
    ----------
    cells : tuple of (n,) int ndarray
        Rows and columns.
    gap : (n,) int ndarray
        Number of each cell's gap, from 0.
    error : (n,) float ndarray
        Standard error of its height. [m]
    """

    cells: tuple[IntArray, IntArray]
    gap: IntArray
    error: FloatArray

    def drawn(self, generator: np.random.Generator, window: tuple[slice, slice]) -> FloatArray:
        """How much higher than drawn across the ground may lie, over a window: one hump or hollow a gap. [m]"""
        rows, columns = window
        above = np.zeros((rows.stop - rows.start, columns.stop - columns.start))
        if self.gap.size:
            chance = generator.standard_normal(int(self.gap.max()) + 1)
            row, column = self.cells[0] - rows.start, self.cells[1] - columns.start
            inside = (row >= 0) & (row < above.shape[0]) & (column >= 0) & (column < above.shape[1])
            above[row[inside], column[inside]] = (chance[self.gap] * self.error)[inside]
        return above


def filled_gaps(elevation: FloatArray, counted: BoolArray, grid: Grid) -> FilledGaps:
    """Gaps among open, unpaved ground (`counted`), by how smooth they are, and how far off they may be.

    Notes
    -----
    As far as the raster's own ground lies off a straight line over twice the distance to the gap's rim, less what it
    does so over two cells, which is noise.
    """
    counted = counted & np.isfinite(elevation)
    rough = _roughness(elevation)
    told = counted & np.isfinite(rough)
    usual = float(np.median(rough[told])) if np.count_nonzero(told) >= 100 else 0.0
    smooth = told & (rough < SMOOTH * usual)
    patches, _ = ndimage.label(smooth)
    large = np.bincount(patches.ravel()) >= FEWEST
    large[0] = False
    # a mean over three cells is still rough beside the rim
    inside = ndimage.binary_dilation(large[patches], iterations=2) & counted
    labels, _ = ndimage.label(inside, np.ones((3, 3)))
    rows, columns = np.nonzero(inside)
    if not rows.size:
        return FilledGaps((rows, columns), np.empty(0, dtype=np.int64), np.empty(0))
    away = ndimage.distance_transform_edt(inside, sampling=(grid.cell_height, grid.cell_width))
    spans, off = _off_straight(elevation, counted & ~inside, grid)
    error = np.interp(away[rows, columns], spans, off)
    return FilledGaps((rows, columns), np.unique(labels[rows, columns], return_inverse=True)[1], error)


def _roughness(elevation: FloatArray) -> FloatArray:
    """Mean size of second differences down and across, over three by three cells; NaN where any is not known. [m]"""
    bent = np.full(elevation.shape, np.nan)
    bent[1:-1, 1:-1] = (
        np.abs(elevation[:-2, 1:-1] - 2.0 * elevation[1:-1, 1:-1] + elevation[2:, 1:-1])
        + np.abs(elevation[1:-1, :-2] - 2.0 * elevation[1:-1, 1:-1] + elevation[1:-1, 2:])
    )
    unknown = ndimage.binary_dilation(np.isnan(bent), np.ones((3, 3)))
    return np.where(unknown, np.nan, ndimage.uniform_filter(np.nan_to_num(bent), 3))


def _off_straight(elevation: FloatArray, counted: BoolArray, grid: Grid) -> tuple[FloatArray, FloatArray]:
    """Distances, and how far ground lies off the middle of what is so far on both sides, over that of a cell. [m]"""
    heights = np.where(counted, elevation, np.nan)
    cell = min(grid.cell_height, grid.cell_width)
    spans, spreads = [], []
    for step in range(1, max(int(WIDEST / cell), 2)):
        off = [np.abs(each[step:-step] - 0.5 * (each[: -2 * step] + each[2 * step :]))
               for each in (heights, heights.T) if each.shape[0] > 2 * step]
        known = np.concatenate([each[np.isfinite(each)] for each in off]) if off else np.empty(0)
        if known.size < 100:
            break
        spans.append(step * cell)
        spreads.append((float(np.median(known)) / NORMAL_MEDIAN) ** 2)
    if not spans:
        return np.zeros(1), np.zeros(1)
    return np.array(spans), np.sqrt(np.maximum(np.array(spreads) - spreads[0], 0.0))
