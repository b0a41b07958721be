"""The likeliest ground, and possible grounds, once some of their heights were read with a level."""

from dataclasses import dataclass

import numpy as np
import scipy.linalg

from terrain.arrays import FloatArray, IntArray
from terrain.grid import Grid
from terrain.lidar.error_model import LAWN, LONG_GRASS, LidarModel

SHIFT = 10.0
"""Standard error of what lies between a level's own height and lidar's: as good as unknown. [m]"""
MOST_WEIGHTS = 20_000_000
"""Weights that are held at once. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class KnownHeights:
    """Cells whose height was read with a level, that height, and the standard error of a reading. [m]"""

    rows: IntArray
    columns: IntArray
    heights: FloatArray
    error: float

    def moved(self, first_row: int, first_column: int, shape: tuple[int, ...]) -> "KnownHeights":
        """Those that lie in a part of the grid, as cells of it."""
        rows, columns = self.rows - first_row, self.columns - first_column
        inside = (rows >= 0) & (rows < shape[0]) & (columns >= 0) & (columns < shape[1])
        return KnownHeights(rows[inside], columns[inside], self.heights[inside], self.error)


def brought_to_shots(
    elevation: FloatArray, known: KnownHeights, covers: IntArray, grid: Grid, model: LidarModel
) -> FloatArray:
    """Lidar's ground brought to the shots, with what its neighbors and its cover share with them.

    Parameters
    ----------
    elevation : (rows, cols) float ndarray
        By lidar, NaN where unknown. [m]
    known : KnownHeights
        What was read; a cell holds one height.
    covers : (rows, cols) int ndarray
        What stands on each cell.
    grid : Grid
        Of these.
    model : LidarModel
        How lidar errs.

    Returns
    -------
    (rows, cols) float ndarray
        On the shots' own datum; at each shot what was read there. [m]
    """
    off = elevation[known.rows, known.columns] - known.heights
    found: FloatArray = elevation - _spread(off[None, :], known, covers, grid, model)[0]
    found[known.rows, known.columns] = known.heights
    return found


def grounds_through_shots(
    above: FloatArray, known: KnownHeights, covers: IntArray, grid: Grid, model: LidarModel, seed: list[int]
) -> FloatArray:
    """Grounds above lidar's, as grounds above that which was brought to the shots: each goes through its own readings.

    Parameters
    ----------
    above : (grounds, rows, cols) float ndarray
        As they were drawn without shots. [m]
    known : KnownHeights
        As cells of these.
    covers, grid, model
        As above, of these cells.
    seed : list of int
        Of the readings' errors.

    Returns
    -------
    (grounds, rows, cols) float32 ndarray
        [m]

    References
    ----------
    .. [1] Chiles and Delfiner, "Geostatistics: Modeling Spatial Uncertainty", 2nd ed., Wiley, 2012, section 7.3
       (conditional simulation by kriging the residuals; from memory).
    """
    generator = np.random.default_rng([*seed, 1, 1])
    errors = generator.normal(0.0, known.error, (len(above), known.rows.size))
    missed = above[:, known.rows, known.columns] - errors
    brought: FloatArray = above - _spread(missed, known, covers, grid, model).astype(np.float32)
    return brought


def _spread(off: FloatArray, known: KnownHeights, covers: IntArray, grid: Grid, model: LidarModel) -> FloatArray:
    """What is missed at the shots, as it is likely everywhere: shared by all heights, by a cover, by neighbors.

    Simple kriging whose covariance holds a shift of the whole raster that nobody knows.
    """
    rows, columns = known.rows, known.columns
    own_cover = covers[rows, columns]
    found = np.zeros((len(off), *covers.shape))
    if not rows.size:
        return found

    def covariance(row: IntArray, column: IntArray, cover: IntArray) -> FloatArray:
        apart = np.hypot(
            (row[:, None] - rows[None, :]) * grid.cell_height, (column[:, None] - columns[None, :]) * grid.cell_width
        )
        shared = model.correlated**2 * np.exp(-apart / model.noise_length) + model.white**2 * (apart < 1e-9)
        for kind, bias in ((LAWN, model.lawn), (LONG_GRASS, model.long_grass)):
            shared = shared + bias.variance * ((cover[:, None] == kind) & (own_cover[None, :] == kind))
        both: FloatArray = shared + SHIFT**2
        return both

    own = covariance(rows, columns, own_cover) + known.error**2 * np.eye(rows.size)
    middle = off.mean(axis=1)
    weights = scipy.linalg.solve(own, (off - middle[:, None]).T, assume_a="pos")
    height, width = covers.shape
    step = max(MOST_WEIGHTS // (width * rows.size), 1)
    for first in range(0, height, step):
        row, column = np.mgrid[first : min(first + step, height), 0:width].reshape(2, -1)
        part = covariance(row, column, covers[row, column]) @ weights
        found[:, first : first + step] = part.T.reshape(len(off), -1, width)
    found += middle[:, None, None]
    return found
