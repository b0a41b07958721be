"""Holes in a raster: small ones are closed, large ones stay open."""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage, sparse
from scipy.sparse.linalg import spsolve

from terrain.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class ClosedHoles:
    """A surface with its small holes closed.

    Attributes
    ----------
    elevation : (rows, cols) float ndarray
        Heights, NaN where still unknown. [m]
    small : int
        Holes that were closed.
    large_cells : int
        Cells that stay unknown.
    """

    elevation: FloatArray
    small: int
    large_cells: int


def close_small_holes(
    elevation: FloatArray, *, cell_width: float = 1.0, cell_height: float = 1.0, max_cells: int = 25
) -> ClosedHoles:
    """Interpolate holes of few cells from the ground around them.

    Each closed cell takes the weighted mean of its four neighbours (the discrete Laplace equation), so that no
    closed cell lies above or below the ground around its hole and a plane stays a plane. A hole that touches
    the window's edge may be part of a larger one and stays open.
    """
    unknown = np.isnan(elevation)
    small, count = _small_holes(unknown, max_cells)
    if not count:
        return ClosedHoles(elevation, 0, int(unknown.sum()))
    closed = elevation.copy()
    closed[small] = _harmonic(elevation, small, cell_width, cell_height)
    return ClosedHoles(closed, count, int(unknown.sum() - small.sum()))


def _small_holes(unknown: BoolArray, max_cells: int) -> tuple[BoolArray, int]:
    if not unknown.any():
        return np.zeros(unknown.shape, dtype=np.bool_), 0
    labels, count = ndimage.label(unknown, structure=np.ones((3, 3), dtype=np.int64))
    sizes = np.bincount(labels.ravel(), minlength=count + 1)
    is_small = sizes <= max_cells
    is_small[0] = False
    edge = np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]])
    is_small[edge] = False
    mask: BoolArray = is_small[labels]
    return mask, int(is_small.sum())


def _harmonic(elevation: FloatArray, hole: BoolArray, cell_width: float, cell_height: float) -> FloatArray:
    rows, columns = np.nonzero(hole)
    number = np.full(hole.shape, -1, dtype=np.int64)
    number[rows, columns] = np.arange(rows.size)
    matrix_rows, matrix_columns, weights = [], [], []
    right = np.zeros(rows.size)
    diagonal = np.zeros(rows.size)
    # heights relative to one of them keep their last digits
    base = float(np.nanmin(elevation))
    down, across = 1.0 / cell_height**2, 1.0 / cell_width**2
    for step_row, step_column, weight in ((-1, 0, down), (1, 0, down), (0, -1, across), (0, 1, across)):
        beside = number[rows + step_row, columns + step_column]
        known = beside < 0
        right[known] += weight * (elevation[rows[known] + step_row, columns[known] + step_column] - base)
        diagonal += weight
        matrix_rows.append(np.flatnonzero(~known))
        matrix_columns.append(beside[~known])
        weights.append(np.full(int((~known).sum()), -weight))
    each = np.arange(rows.size)
    matrix = sparse.csc_matrix(
        (
            np.concatenate([*weights, diagonal]),
            (np.concatenate([*matrix_rows, each]), np.concatenate([*matrix_columns, each])),
        )
    )
    solved: FloatArray = np.asarray(spsolve(matrix, right), dtype=np.float64) + base
    return solved
