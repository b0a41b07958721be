"""Fill the ground and give every open cell a way down: exact on any heights, without an epsilon."""

import numpy as np
from numba import njit

from terrain.arrays import FloatArray, IntArray
from terrain.kernels.basins import find_saddles, label_basins, outlet_levels, rank_levels
from terrain.kernels.descent import cross_flats, steepest_ways
from terrain.kernels.routing import gather
from terrain.kernels.window import INTO_BOTTOM, pad_window


def flood(
    elevation: FloatArray, kind: IntArray, weight: FloatArray, cell_width: float, cell_height: float
) -> tuple[FloatArray, IntArray, IntArray, FloatArray]:
    """Fill the ground, give every open cell a way down and add up what drains through it.

    Parameters
    ----------
    elevation : (rows, cols) float ndarray
        Ground; read where `kind` is 1 only. [m]
    kind : (rows, cols) int ndarray
        0 outside, 1 open, 2 and 3 walls.
    weight : (rows * cols,) float ndarray
        What each open cell gives.
    cell_width, cell_height : float
        Size of a cell. [m]

    Returns
    -------
    filled : (rows, cols) float ndarray
        Least height at which water leaves, NaN where not open. [m]
    target : (rows * cols,) int ndarray
        Flat index of the next cell; -1 over an open border, -2 at the bottom of shut-in ground, -3 not open.
    order : (n,) int ndarray
        Flat indices of open cells, downstream before upstream.
    total : (rows * cols,) float ndarray
        Sum of weights that drains through each open cell, itself included.
    """
    rows, columns = elevation.shape
    width = columns + 2
    padded = (rows + 2) * width
    # large arrays are made here rather than in compiled code: NumPy asks for large pages, which saves a fifth
    height, filled = np.empty(padded), np.empty(padded)
    way, label = np.empty(padded, dtype=np.uint8), np.empty(padded, dtype=np.int32)
    state = pad_window(elevation, kind, height)
    bottoms = _fill(height, state, width, cell_width, cell_height, way, label, filled)
    toward, away = np.zeros(padded, dtype=np.int32), np.zeros(padded, dtype=np.int32)
    _find_ways(height, filled, state, width, cell_width, cell_height, bottoms, way, label, toward, away)
    ways = np.ascontiguousarray(way.reshape(rows + 2, width)[1:-1, 1:-1]).ravel()
    total, target, order = weight.copy(), np.empty(ways.size, dtype=np.int64), np.empty(ways.size, dtype=np.int64)
    begin = gather(ways, columns, total, target, order)
    return np.ascontiguousarray(filled.reshape(rows + 2, width)[1:-1, 1:-1]), target, order[begin:], total


@njit(cache=True)
def _fill(height, state, width, cell_width, cell_height, way, label, filled):  # type: ignore[no-untyped-def]
    """Raise the ground to where each basin lets water out; the cells where water stays in ground that is shut in."""
    label[:] = -1
    filled[:] = height
    steepest_ways(height, state, width, cell_width, cell_height, way)
    none = np.empty(0, dtype=np.int32)
    pits = cross_flats(height, height, state, width, way, label, none, none, False)
    if pits.size == 1:
        return np.empty(0, dtype=np.int64)
    label_basins(way, width, label)
    one, other, level, _ = find_saddles(height, state, width, label, pits.size)
    ranked = rank_levels(level)
    ends = np.full(pits.size, np.inf)
    ends[0] = -np.inf
    outlet, group = outlet_levels(one, other, level, ranked, ends)
    bottoms = shut_in_bottoms(height, pits, outlet, group)
    if bottoms.size > 0:
        for basin in bottoms:
            ends[basin] = height[pits[basin]]
        outlet, group = outlet_levels(one, other, level, ranked, ends)
    for cell in range(height.size):
        if label[cell] > 0 and outlet[label[cell]] > height[cell]:
            filled[cell] = outlet[label[cell]]
    return pits[bottoms]


@njit(cache=True)
def shut_in_bottoms(height, pits, outlet, group):  # type: ignore[no-untyped-def]
    """Basin with the lowest pit of each piece of ground that has no way out.

    Parameters
    ----------
    height : ndarray
        From `pad_window`. [m]
    pits : (basins,) int ndarray
        First cell of each pit.
    outlet, group : (basins,) ndarray
        From `outlet_levels`. [m], [-]

    Returns
    -------
    (n,) int ndarray
        Numbers of basins.
    """
    lowest = np.full(pits.size, -1, dtype=np.int64)
    for basin in range(1, pits.size):
        if outlet[basin] == np.inf:
            best = lowest[group[basin]]
            if best < 0 or height[pits[basin]] < height[pits[best]]:
                lowest[group[basin]] = basin
    return lowest[lowest >= 0]


@njit(cache=True)
def _find_ways(  # type: ignore[no-untyped-def]
    height, filled, state, width, cell_width, cell_height, bottoms, way, label, toward, away
):
    steepest_ways(filled, state, width, cell_width, cell_height, way)
    for bottom in bottoms:
        way[bottom] = INTO_BOTTOM
    cross_flats(filled, height, state, width, way, label, toward, away, True)
