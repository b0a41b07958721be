"""One pass each over directions: what gathers, what label is met, how far it is."""

import numpy as np
from numba import njit

from terrain.arrays import BoolArray, FloatArray, IntArray


@njit(cache=True)
def accumulate(target: IntArray, order: IntArray, weight: FloatArray) -> FloatArray:
    """Sum of `weight` over all that drains through each cell, itself included.

    Parameters
    ----------
    target : (n,) int ndarray
        Next cell of each, negative where there is none.
    order : (m,) int ndarray
        Cells, downstream before upstream.
    weight : (n,) float ndarray
        What each cell gives.

    Returns
    -------
    (n,) float ndarray
        Sums; 0 for cells that are not in `order`.
    """
    total = np.zeros(target.size, dtype=np.float64)
    for position in range(order.size - 1, -1, -1):
        cell = order[position]
        total[cell] += weight[cell]
        after = target[cell]
        if after >= 0:
            total[after] += total[cell]
    return total


@njit(cache=True)
def carry_labels(target: IntArray, order: IntArray, seeds: IntArray) -> IntArray:
    """Label of the first labelled cell that each meets on its way down, itself included; -1 for none.

    Parameters
    ----------
    target, order : int ndarray
        As for `accumulate`.
    seeds : (n,) int ndarray
        Label of each cell, negative for none.

    Returns
    -------
    (n,) int ndarray
        Labels.
    """
    label = np.full(target.size, -1, dtype=np.int64)
    for position in range(order.size):
        cell = order[position]
        if seeds[cell] >= 0:
            label[cell] = seeds[cell]
        elif target[cell] >= 0:
            label[cell] = label[target[cell]]
    return label


@njit(cache=True)
def lengths(
    target: IntArray, order: IntArray, ends: BoolArray, columns: int, cell_width: float, cell_height: float
) -> FloatArray:
    """Length of each cell's way down to the first of `ends`, NaN where it meets none. [m]

    Parameters
    ----------
    target, order : int ndarray
        As for `accumulate`.
    ends : (n,) bool ndarray
        Cells at which the length is 0.
    columns : int
        Columns of the grid.
    cell_width, cell_height : float
        Size of a cell. [m]

    Returns
    -------
    (n,) float ndarray
        Lengths. [m]
    """
    length = np.full(target.size, np.nan)
    for position in range(order.size):
        cell = order[position]
        after = target[cell]
        if ends[cell]:
            length[cell] = 0.0
        elif after >= 0:
            length[cell] = length[after] + _distance(cell, after, columns, cell_width, cell_height)
    return length


@njit(cache=True)
def falls(
    target: IntArray,
    order: IntArray,
    height: FloatArray,
    reach: float,
    columns: int,
    cell_width: float,
    cell_height: float,
) -> tuple[FloatArray, FloatArray]:
    """Fall of `height` along the way down over at least `reach`, and the straight distance it is over.

    Parameters
    ----------
    target, order : int ndarray
        As for `accumulate`.
    height : (n,) float ndarray
        Heights. [m]
    reach : float
        Length along the way at which to look; less where the way ends before. [m]
    columns : int
        Columns of the grid.
    cell_width, cell_height : float
        Size of a cell. [m]

    Returns
    -------
    fall, distance : (n,) float ndarray
        NaN where not in `order`. [m], [m]
    """
    fall = np.full(target.size, np.nan)
    distance = np.full(target.size, np.nan)
    for position in range(order.size):
        cell = order[position]
        at = cell
        gone = 0.0
        while gone < reach and target[at] >= 0:
            after = target[at]
            gone += _distance(at, after, columns, cell_width, cell_height)
            at = after
        fall[cell] = height[cell] - height[at]
        distance[cell] = _distance(cell, at, columns, cell_width, cell_height)
    return fall, distance


@njit(cache=True)
def walk(target: IntArray, start: int) -> IntArray:
    """Cells from `start` down to where water leaves or stays, both included.

    Parameters
    ----------
    target : (n,) int ndarray
        Next cell of each, negative where there is none.
    start : int
        Flat index.

    Returns
    -------
    (k,) int ndarray
        Flat indices.
    """
    number = 1
    cell = start
    while target[cell] >= 0:
        cell = target[cell]
        number += 1
    cells = np.empty(number, dtype=np.int64)
    cells[0] = start
    for position in range(1, number):
        cells[position] = target[cells[position - 1]]
    return cells


@njit(cache=True)
def _distance(a, b, columns, cell_width, cell_height):  # type: ignore[no-untyped-def]
    east = (b % columns - a % columns) * cell_width
    south = (b // columns - a // columns) * cell_height
    return np.sqrt(east * east + south * south)
