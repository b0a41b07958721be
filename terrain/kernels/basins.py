"""Basins of bare ground, the saddles between them, and the level at which each lets its water out.

The filled height of a cell is the higher of its own and of the level at which its basin's pit lets water out, which is
the least level of a way over saddles to the border. So the ground is filled over basins instead of cells: the lowest
saddle of each pair of basins, taken lowest first as for a least spanning tree. [1]_

References
----------
.. [1] Cordonnier, Bovy, Braun, "A versatile, linear complexity algorithm for flow routing in topographies with
   depressions", Earth Surface Dynamics 7, 549-562, 2019, doi:10.5194/esurf-7-549-2019.
"""

import numpy as np
from numba import njit

from terrain.kernels.window import BORDER, NO_GROUND, OVER_BORDER, PINCHED, blocked, neighbour_offsets

_LOOK_UPS = 8
_SHORT = 24


@njit(cache=True)
def label_basins(way, width, label):  # type: ignore[no-untyped-def]
    """Give each cell the basin that its way ends in: 0 for the border, else its pit."""
    offsets = neighbour_offsets(width)
    for first in range(width, way.size - width):
        if label[first] >= 0 or way[first] == NO_GROUND:
            continue
        cell = first
        while label[cell] < 0 and way[cell] != OVER_BORDER:
            cell += offsets[way[cell]]
        found = max(label[cell], 0)
        label[cell] = found
        cell = first
        while label[cell] < 0:
            label[cell] = found
            cell += offsets[way[cell]]


@njit(cache=True)
def find_saddles(height, state, width, label, basins):  # type: ignore[no-untyped-def]
    """Lowest saddle of each two basins that touch, and of each basin with the border."""
    meets, most = _mark_meetings(label, state, width)
    newest = np.full(basins, -1, dtype=np.int32)
    before = np.empty(most, dtype=np.int32)
    one = np.empty(most, dtype=np.int32)
    other = np.empty(most, dtype=np.int32)
    level = np.empty(most, dtype=np.float64)
    cells = np.empty(most, dtype=np.int32)
    steps = np.array([0, 1, width, width + 1, width - 1])
    offsets = neighbour_offsets(width)
    number = 0
    for cell in range(width, height.size - width):
        if not meets[cell]:
            continue
        mine = label[cell]
        for i in range(5):
            beside = cell + steps[i]
            # step 0 stands for the border, which is basin 0
            theirs = label[beside] if i > 0 else 0
            if theirs == mine or theirs < 0 or (i == 0 and not state[cell] & BORDER):
                continue
            if i > 2 and state[cell] & PINCHED and blocked(cell, i + 1, state, offsets):
                continue
            top = cell if height[cell] >= height[beside] else beside
            a, b = max(mine, theirs), min(mine, theirs)
            # few look-ups, so that a basin with very many neighbours costs no more than others
            at = newest[a]
            looked = 0
            while at >= 0 and other[at] != b and looked < _LOOK_UPS:
                at = before[at]
                looked += 1
            if at >= 0 and other[at] == b:
                if height[top] < level[at]:
                    level[at] = height[top]
                    cells[at] = top
                continue
            one[number] = a
            other[number] = b
            level[number] = height[top]
            cells[number] = top
            before[number] = newest[a]
            newest[a] = number
            number += 1
    return one[:number], other[:number], level[:number], cells[:number]


@njit(cache=True)
def _mark_meetings(label, state, width):  # type: ignore[no-untyped-def]
    """Cells beside another basin or, outside basin 0, beside the border; and how many saddles they make at most."""
    marked = np.zeros(label.size, dtype=np.uint8)
    number = label.size - 2 * width - 2
    _mark_wide(
        label[width + 1 : width + 1 + number],
        label[width + 2 : width + 2 + number],
        label[2 * width : 2 * width + number],
        label[2 * width + 1 : 2 * width + 1 + number],
        label[2 * width + 2 : 2 * width + 2 + number],
        state[width + 1 : width + 1 + number],
        marked[width + 1 : width + 1 + number],
    )
    return marked, 5 * np.count_nonzero(marked)


@njit(cache=True)
def _mark_wide(mine, east, south_west, south, south_east, state, marked):  # type: ignore[no-untyped-def]
    # written out, so that the compiler takes many cells at once
    for i in range(mine.size):
        a = mine[i]
        differs = (a ^ east[i]) | (a ^ south_west[i]) | (a ^ south[i]) | (a ^ south_east[i])
        marked[i] = (a >= 0) & ((differs != 0) | ((a > 0) & (state[i] & BORDER != 0)))


@njit(cache=True)
def rank_levels(level):  # type: ignore[no-untyped-def]
    """Order of levels, lowest first, equal ones as they come."""
    number = level.size
    if number == 0:
        return np.empty(0, dtype=np.int32)
    lowest, highest = level.min(), level.max()
    scale = (number - 1) / (highest - lowest) if highest > lowest else 0.0
    if not np.isfinite(scale):
        scale = 0.0
    bucket = np.empty(number, dtype=np.int32)
    begin = np.zeros(number + 1, dtype=np.int32)
    for i in range(number):
        bucket[i] = min(int((level[i] - lowest) * scale), number - 1)
        begin[bucket[i] + 1] += 1
    for i in range(number):
        begin[i + 1] += begin[i]
    free = begin.copy()
    ranked = np.empty(number, dtype=np.int32)
    for i in range(number):
        ranked[free[bucket[i]]] = i
        free[bucket[i]] += 1
    for i in range(number):
        first, last = begin[i], begin[i + 1]
        if last - first > _SHORT:
            part = ranked[first:last].copy()
            ranked[first:last] = part[np.argsort(level[part], kind="mergesort")]
            continue
        for j in range(first + 1, last):
            moved = ranked[j]
            at = j
            while at > first and level[ranked[at - 1]] > level[moved]:
                ranked[at] = ranked[at - 1]
                at -= 1
            ranked[at] = moved
    return ranked


@njit(cache=True)
def outlet_levels(one, other, level, ranked, ends):  # type: ignore[no-untyped-def]
    """Level at which each basin lets its water out."""
    basins = ends.size
    above = np.arange(basins).astype(np.int32)
    outlet = ends.copy()
    for i in ranked:
        a, b = outermost(one[i], above), outermost(other[i], above)
        if a == b:
            continue
        if outlet[a] == np.inf and outlet[b] == np.inf:
            above[max(a, b)] = min(a, b)
        elif outlet[a] == np.inf:
            outlet[a] = level[i]
        elif outlet[b] == np.inf:
            outlet[b] = level[i]
    group = np.empty(basins, dtype=np.int32)
    for a in range(basins):
        group[a] = outermost(a, above)
        outlet[a] = outlet[group[a]]
    return outlet, group


@njit(cache=True)
def outermost(a, above):  # type: ignore[no-untyped-def]
    """Root of `a`, the way to it halved for the next caller."""
    while above[a] != a:
        above[a] = above[above[a]]
        a = above[a]
    return a
