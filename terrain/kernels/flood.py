"""Fill the ground and give every open cell a way down: exact on any heights, without an epsilon."""

import numpy as np
from numba import njit

from terrain.arrays import FloatArray, IntArray
from terrain.ground import OPEN, OUTSIDE
from terrain.kernels.basins import find_saddles, label_basins, outlet_levels, rank_levels
from terrain.kernels.descent import cross_flats, draw_lines_over_flats, steepest_ways
from terrain.kernels.routing import gather
from terrain.kernels.window import INTO_BOTTOM, pad_window


@njit(cache=True)
def flood(
    elevation: FloatArray, kind: IntArray, receiver: IntArray, cell_width: float, cell_height: float
) -> tuple[FloatArray, IntArray, IntArray, FloatArray]:
    """Fill the ground, give every cell a way down and count what drains through it."""
    rows, columns = elevation.shape
    width = columns + 2
    # every new large array costs as much as a pass over the ground, so what is done with is used again
    height, state = pad_window(elevation, kind)
    label = np.full(height.size, -1, dtype=np.int32)
    bottoms = _raise(height, state, width, cell_width, cell_height, label)
    way, level, below = steepest_ways(height, state, width, cell_width, cell_height)
    for bottom in bottoms:
        way[bottom] = INTO_BOTTOM
    label[:] = 0
    draw_lines_over_flats(elevation, height, width, way, level, below, label)
    filled = np.empty((rows, columns))
    ways = np.empty(rows * columns, dtype=np.uint8)
    for row in range(rows):
        first = (row + 1) * width + 1
        filled[row] = height[first : first + columns]
        ways[row * columns : (row + 1) * columns] = way[first : first + columns]
    target, order, cells = gather(ways, columns, kind.ravel(), receiver.ravel())
    return filled, target, order, cells.reshape((rows, columns))


@njit(cache=True)
def fill(elevation: FloatArray, kind: IntArray, cell_width: float, cell_height: float) -> FloatArray:
    """Fill the ground alone, to the bit as `flood` does."""
    rows, columns = elevation.shape
    height, state = pad_window(elevation, kind)
    label = np.full(height.size, -1, dtype=np.int32)
    _raise(height, state, columns + 2, cell_width, cell_height, label)
    filled = np.empty((rows, columns))
    for row in range(rows):
        first = (row + 1) * (columns + 2) + 1
        filled[row] = height[first : first + columns]
    return filled


@njit(cache=True)
def may_stand_deeper(elevation: FloatArray, kind: IntArray, depth: float, looks: int) -> bool:
    """False where surely no full pond is as deep as that; on ground that drains, in a fraction of what a fill takes.

    Each look goes over the cells and back and lets each spill to the lowest way out found so far, by rows and columns
    alone: never below the level to which it fills [1]_.

    References
    ----------
    .. [1] Planchon, Darboux, "A fast, simple and versatile algorithm to fill the depressions of digital elevation
       models", Catena 46, 2002, doi:10.1016/S0341-8162(01)00164-3.
    """
    rows, columns = elevation.shape
    level = np.full((rows + 2, columns + 2), -np.inf)
    for i in range(rows):
        for j in range(columns):
            if kind[i, j] != OUTSIDE:
                level[i + 1, j + 1] = np.inf
    for _ in range(looks):
        deep = False
        for i in range(1, rows + 1):
            for j in range(1, columns + 1):
                if kind[i - 1, j - 1] == OPEN:
                    out = min(min(level[i - 1, j], level[i, j - 1]), min(level[i + 1, j], level[i, j + 1]))
                    level[i, j] = max(elevation[i - 1, j - 1], out)
        for i in range(rows, 0, -1):
            for j in range(columns, 0, -1):
                if kind[i - 1, j - 1] == OPEN:
                    out = min(min(level[i - 1, j], level[i, j - 1]), min(level[i + 1, j], level[i, j + 1]))
                    level[i, j] = max(elevation[i - 1, j - 1], out)
                    deep |= level[i, j] - elevation[i - 1, j - 1] >= depth
        if not deep:
            return False
    return True


@njit(cache=True)
def _raise(height, state, width, cell_width, cell_height, label):  # type: ignore[no-untyped-def]
    """Raise heights to where each basin lets water out; the cells where water stays in ground that is shut in."""
    way, level, _ = steepest_ways(height, state, width, cell_width, cell_height)
    pits = cross_flats(width, way, level, label)
    if pits.size == 1:
        return np.empty(0, dtype=np.int64)
    label_basins(way, width, label)
    one, other, top, _ = find_saddles(height, state, width, label, pits.size)
    ranked = rank_levels(top)
    ends = np.full(pits.size, np.inf)
    ends[0] = -np.inf
    outlet, group = outlet_levels(one, other, top, ranked, ends)
    bottoms = _shut_in_bottoms(height, pits, outlet, group)
    if bottoms.size > 0:
        for basin in bottoms:
            ends[basin] = height[pits[basin]]
        outlet, group = outlet_levels(one, other, top, ranked, ends)
    for cell in range(height.size):
        if label[cell] > 0 and outlet[label[cell]] > height[cell]:
            height[cell] = outlet[label[cell]]
    return pits[bottoms]


@njit(cache=True)
def _shut_in_bottoms(height, pits, outlet, group):  # type: ignore[no-untyped-def]
    """Basin with the lowest pit of each piece of ground that has no way out."""
    lowest = np.full(pits.size, -1, dtype=np.int64)
    for basin in range(1, pits.size):
        if outlet[basin] == np.inf:
            best = lowest[group[basin]]
            if best < 0 or height[pits[basin]] < height[pits[best]]:
                lowest[group[basin]] = basin
    return lowest[lowest >= 0]
