"""The tree of depressions: which pits there are, where each spills, what each holds, what it merges into.

Saddles between basins are taken lowest first. Where two pools meet each spills into the other, and a new pool stands on
both; a pool that meets the border, or one that has met it, is an outermost one. [1]_ Pools are numbered so that those
inside a pool come right before it, and cells are listed in that order, so all that lies under one pool is one slice.

References
----------
.. [1] Barnes, Callaghan, Wickert, "Computing water flow through complex landscapes - Part 2: Finding hierarchies in
   depressions and morphological segmentations", Earth Surface Dynamics 8, 2020, doi:10.5194/esurf-8-431-2020.
"""

from typing import NamedTuple

import numpy as np
from numba import njit

from terrain.arrays import FloatArray, IntArray
from terrain.kernels.basins import find_saddles, label_basins, outermost, rank_levels
from terrain.kernels.descent import cross_flats, steepest_ways
from terrain.kernels.window import pad_window, unpadded


class Tree(NamedTuple):
    """Pools, those inside a pool numbered right before it; volumes are over one unit of area.

    Attributes
    ----------
    parent : (k,) int ndarray
        Pool it merges into when full, -1 for an outermost one.
    left, right : (k,) int ndarray
        The two pools that it stands on, -1 for a pit.
    first : (k,) int ndarray
        Lowest number among the pools inside it; its own for a pit.
    bottom : (k,) int ndarray
        Flat index of its lowest cell.
    spill_cell : (k,) int ndarray
        Flat index of the cell it spills over, -1 where shut in.
    entry : (k,) int ndarray
        Pit that its overflow enters inside the pool it merges with, -1 for an outermost one.
    base_level, spill_level : (k,) float ndarray
        Where it begins, the bottom of a pit or the level at which two pools merge, and where it spills,
        inf where shut in. [m]
    base_volume, capacity : (k,) float ndarray
        Held below its base, and up to its spill level, inf where shut in. [m]
    base_count : (k,) int ndarray
        Cells under its base.
    begin : (k + 1,) int ndarray
        Own cells of pool p, from its base up, are cells[begin[p]:begin[p + 1]]; all under it
        cells[begin[first[p]]:begin[p + 1]].
    cells : (m,) int ndarray
        Flat indices of all cells in pools.
    pit : (rows * cols,) int ndarray
        Pit that water on each pooled cell runs to, -1 elsewhere: a cell is pooled that lies below where its outermost
        pool spills, or is shut in.
    """

    parent: IntArray
    left: IntArray
    right: IntArray
    first: IntArray
    bottom: IntArray
    spill_cell: IntArray
    entry: IntArray
    base_level: FloatArray
    spill_level: FloatArray
    base_volume: FloatArray
    capacity: FloatArray
    base_count: IntArray
    begin: IntArray
    cells: IntArray
    pit: IntArray


def grow_tree(
    elevation: FloatArray,
    kind: IntArray,
    target: IntArray,
    order: IntArray,
    cell_width: float,
    cell_height: float,
) -> Tree:
    """Find all depressions, however small."""
    return Tree(*_grow(elevation, kind, target, order, cell_width, cell_height))


@njit(cache=True)
def _grow(elevation, kind, target, order, cell_width, cell_height):  # type: ignore[no-untyped-def]
    height, state = pad_window(elevation, kind)
    width = elevation.shape[1] + 2
    way, level, _ = steepest_ways(height, state, width, cell_width, cell_height)
    label = np.full(height.size, -1, dtype=np.int32)
    pits = cross_flats(width, way, level, label)
    label_basins(way, width, label)
    one, other, top, cell = find_saddles(height, state, width, label, pits.size)
    joined = _join(one, other, top, cell, rank_levels(top), height, pits)
    return _list_cells(height, width, label, target, order, *joined)


@njit(cache=True)
def _join(one, other, level, cell, ranked, height, pits):  # type: ignore[no-untyped-def]
    """Pools as they arise, pits first: pool p is the pit of basin p + 1."""
    number = pits.size - 1
    most = max(2 * number - 1, 0)
    above = np.arange(most)
    met_border = np.zeros(most, dtype=np.bool_)
    parent = np.full(most, -1, dtype=np.int64)
    left = np.full(most, -1, dtype=np.int64)
    right = np.full(most, -1, dtype=np.int64)
    bottom = np.full(most, -1, dtype=np.int64)
    bottom[:number] = pits[1:]
    spill_cell = np.full(most, -1, dtype=np.int64)
    entry = np.full(most, -1, dtype=np.int64)
    base_level = np.zeros(most)
    spill_level = np.full(most, np.inf)
    for pool in range(number):
        base_level[pool] = height[bottom[pool]]
    for i in ranked:
        a = outermost(one[i] - 1, above)
        b = outermost(other[i] - 1, above) if other[i] > 0 else -1
        if a == b:
            continue
        if b < 0 or met_border[b] or met_border[a]:
            for pool in (a, b):
                if pool >= 0 and not met_border[pool]:
                    met_border[pool] = True
                    spill_level[pool] = level[i]
            continue
        for pool in (a, b):
            parent[pool] = number
            above[pool] = number
            spill_level[pool] = level[i]
            spill_cell[pool] = cell[i]
        entry[a], entry[b] = other[i] - 1, one[i] - 1
        left[number], right[number] = a, b
        bottom[number] = bottom[a] if height[bottom[a]] <= height[bottom[b]] else bottom[b]
        base_level[number] = level[i]
        number += 1
    return (
        parent[:number],
        left[:number],
        right[:number],
        bottom[:number],
        spill_cell[:number],
        entry[:number],
        base_level[:number],
        spill_level[:number],
    )


@njit(cache=True)
def _list_cells(  # type: ignore[no-untyped-def]
    height, width, label, target, order, parent, left, right, bottom, spill_cell, entry, base_level, spill_level
):
    """Number pools so that those inside one come right before it, and give each its cells."""
    pools = parent.size
    old, new = _renumber(parent, left, right)
    first = np.arange(pools)
    for pool in range(pools):
        if left[old[pool]] >= 0:
            first[pool] = min(first[new[left[old[pool]]]], first[new[right[old[pool]]]])
    parent, left, right = _renamed(parent[old], new), _renamed(left[old], new), _renamed(right[old], new)
    base_level, spill_level = base_level[old], spill_level[old]
    outer = np.arange(pools)
    for pool in range(pools - 1, -1, -1):
        if parent[pool] >= 0:
            outer[pool] = outer[parent[pool]]

    owner, pit = _own(height, width, label, new, parent, outer, spill_level)
    begin = np.zeros(pools + 1, dtype=np.int64)
    for cell in range(owner.size):
        if owner[cell] >= 0:
            begin[owner[cell] + 1] += 1
    for pool in range(pools):
        begin[pool + 1] += begin[pool]
    free = begin.copy()
    cells = np.empty(begin[pools], dtype=np.int64)
    own_depth = np.zeros(pools)
    columns = width - 2
    for cell in range(owner.size):
        pool = owner[cell]
        if pool >= 0:
            cells[free[pool]] = cell
            free[pool] += 1
            own_depth[pool] += spill_level[pool] - height[_padded(cell, columns)]
    base_volume, capacity = np.zeros(pools), np.zeros(pools)
    base_count = np.zeros(pools, dtype=np.int64)
    for pool in range(pools):
        a, b = left[pool], right[pool]
        if a >= 0:
            base_volume[pool] = capacity[a] + capacity[b]
            base_count[pool] = begin[pool] - begin[first[pool]]
        rise = base_count[pool] * (spill_level[pool] - base_level[pool]) if base_count[pool] > 0 else 0.0
        capacity[pool] = base_volume[pool] + rise + own_depth[pool] if spill_level[pool] < np.inf else np.inf
    bottom, spill_cell = _unpadded(bottom[old], width), _unpadded(spill_cell[old], width)
    _find_outlets(spill_cell, spill_level, target, order, pit, outer)
    return (
        parent,
        left,
        right,
        first,
        bottom,
        spill_cell,
        _renamed(entry[old], new),
        base_level,
        spill_level,
        base_volume,
        capacity,
        base_count,
        begin,
        cells,
        pit,
    )


@njit(cache=True)
def _renumber(parent, left, right):  # type: ignore[no-untyped-def]
    pools = parent.size
    old = np.empty(pools, dtype=np.int64)
    stack = np.empty(pools + 1, dtype=np.int64)
    number = 0
    for outer in range(pools):
        if parent[outer] >= 0:
            continue
        # outermost first, then what is inside, and the whole turned round
        stack[0] = outer
        length = 1
        begin = number
        while length > 0:
            length -= 1
            pool = stack[length]
            old[number] = pool
            number += 1
            if left[pool] >= 0:
                stack[length], stack[length + 1] = left[pool], right[pool]
                length += 2
        old[begin:number] = old[begin:number][::-1].copy()
    new = np.empty(pools, dtype=np.int64)
    for pool in range(pools):
        new[old[pool]] = pool
    return old, new


@njit(cache=True)
def _own(height, width, label, new, parent, outer, spill_level):  # type: ignore[no-untyped-def]
    """Pool that each cell belongs to, the innermost that spills above it, and the pit its water runs to."""
    pools = parent.size
    # jumps over ever more pools, so that a long chain of pools is climbed in few steps
    jump = np.arange(pools)
    depth = np.zeros(pools, dtype=np.int64)
    for pool in range(pools - 1, -1, -1):
        up = parent[pool]
        if up >= 0:
            depth[pool] = depth[up] + 1
            far = jump[up]
            jump[pool] = jump[far] if depth[up] - depth[far] == depth[far] - depth[jump[far]] else up
    columns = width - 2
    rows = height.size // width - 2
    owner = np.full(rows * columns, -1, dtype=np.int32)
    pit = np.full(rows * columns, -1, dtype=np.int64)
    for row in range(rows):
        for column in range(columns):
            cell = (row + 1) * width + column + 1
            if label[cell] <= 0:
                continue
            pool = new[label[cell] - 1]
            if height[cell] >= spill_level[outer[pool]]:
                continue
            pit[row * columns + column] = pool
            while spill_level[pool] <= height[cell]:
                pool = jump[pool] if spill_level[jump[pool]] <= height[cell] else parent[pool]
            owner[row * columns + column] = pool
    return owner, pit


@njit(cache=True)
def _find_outlets(spill_cell, spill_level, target, order, pit, outer):  # type: ignore[no-untyped-def]
    """Where outermost pools spill: beyond the one of their cells from which all others lie upstream."""
    found = spill_level == np.inf
    for cell in order:
        if pit[cell] >= 0 and not found[outer[pit[cell]]]:
            found[outer[pit[cell]]] = True
            spill_cell[outer[pit[cell]]] = target[cell]


@njit(cache=True)
def _padded(cell, columns):  # type: ignore[no-untyped-def]
    return cell + columns + 3 + 2 * (cell // columns)


@njit(cache=True)
def _unpadded(cells, width):  # type: ignore[no-untyped-def]
    plain = np.full(cells.size, -1, dtype=np.int64)
    for i in range(cells.size):
        if cells[i] >= 0:
            plain[i] = unpadded(cells[i], width)
    return plain


@njit(cache=True)
def _renamed(pools, new):  # type: ignore[no-untyped-def]
    renamed = np.full(pools.size, -1, dtype=np.int64)
    for position in range(pools.size):
        if pools[position] >= 0:
            renamed[position] = new[pools[position]]
    return renamed


@njit(cache=True)
def volumes_when_full(heights: FloatArray, ends: IntArray, tops: FloatArray) -> FloatArray:
    """Of each of several pools what stands on its cells up to its top, level by level, in cells."""
    found = np.zeros(tops.size)
    for pool in range(tops.size):
        sorted_heights = np.sort(heights[ends[pool] : ends[pool + 1]])
        last = sorted_heights.size - 1
        for cell in range(last):
            found[pool] += (sorted_heights[cell + 1] - sorted_heights[cell]) * (cell + 1)
        if tops[pool] > sorted_heights[last]:
            found[pool] += (tops[pool] - sorted_heights[last]) * (last + 1)
    return found
