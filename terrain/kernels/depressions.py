"""The tree of depressions: which pits there are, where each spills, what each holds, what it merges into.

Cells below their spill level, and all ground that is shut in, are taken lowest first. A cell on which two
pools meet joins them: there each spills into the other, and a new pool stands on both. [1]_ Pools are
numbered so that those inside a pool come right before it, and cells are listed in that order, so all that
lies under one pool is one slice.

References
----------
.. [1] Barnes, Callaghan, Wickert, "Computing water flow through complex landscapes - Part 2: Finding
   hierarchies in depressions and morphological segmentations", Earth Surface Dynamics 8, 2020,
   doi:10.5194/esurf-8-431-2020.
"""

from typing import NamedTuple

import numpy as np
from numba import njit

from terrain.arrays import BoolArray, FloatArray, IntArray

_ROW = np.array([0, 1, 0, -1, 1, 1, -1, -1], dtype=np.int64)
_COLUMN = np.array([1, 0, -1, 0, 1, -1, -1, 1], dtype=np.int64)


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
        Own cells of pool p are cells[begin[p]:begin[p + 1]], lowest first; all under it
        cells[begin[first[p]]:begin[p + 1]].
    cells : (m,) int ndarray
        Flat indices of all cells in pools.
    pit : (rows * cols,) int ndarray
        Pit that water on each pooled cell runs to, -1 elsewhere.
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
    filled: FloatArray,
    kind: IntArray,
    shut_in: BoolArray,
    target: IntArray,
    order: IntArray,
    cell_width: float,
    cell_height: float,
) -> Tree:
    """Find all depressions, however small.

    Parameters
    ----------
    elevation, filled : (rows, cols) float ndarray
        Ground, and ground with its low spots filled. [m]
    kind : (rows, cols) int ndarray
        0 outside, 1 open, 2 and 3 walls.
    shut_in : (rows, cols) bool ndarray
        Open cells from which no water leaves.
    target, order : int ndarray
        Directions from `flood`.
    cell_width, cell_height : float
        Size of a cell. [m]

    Returns
    -------
    Tree
        All depressions.
    """
    pooled = (kind == 1) & (shut_in | (filled > elevation))
    cells = np.flatnonzero(pooled)
    cells = cells[np.argsort(elevation.ravel()[cells], kind="stable")]
    spill = np.where(shut_in, np.inf, filled).ravel()
    pit, pits = find_pits(elevation, kind, pooled, cells, cell_width, cell_height)
    joined = _join(elevation.ravel(), kind, spill, pit, pits, cells)
    return Tree(*_number(elevation.ravel(), pit, pits, cells, target, order, *joined))


@njit(cache=True)
def find_pits(
    elevation: FloatArray,
    kind: IntArray,
    pooled: BoolArray,
    cells: IntArray,
    cell_width: float,
    cell_height: float,
) -> tuple[IntArray, int]:
    """Pit to which water on each pooled cell runs, down the steepest way on bare ground.

    Parameters
    ----------
    elevation : (rows, cols) float ndarray
        Ground. [m]
    kind : (rows, cols) int ndarray
        2 and 3 are walls.
    pooled : (rows, cols) bool ndarray
        Cells in pools; a pooled cell has no lower neighbour outside.
    cells : (m,) int ndarray
        The same as flat indices, lowest first.
    cell_width, cell_height : float
        Size of a cell. [m]

    Returns
    -------
    pit : (rows * cols,) int ndarray
        Number of the pit, lowest pit 0; -1 outside pools.
    pits : int
        How many there are.
    """
    columns = elevation.shape[1]
    height = elevation.ravel()
    nearness = np.empty(8)
    for k in range(8):
        nearness[k] = 1.0 / np.sqrt((_ROW[k] * cell_height) ** 2 + (_COLUMN[k] * cell_width) ** 2)
    down = np.full(height.size, -1, dtype=np.int32)
    queue = np.empty(cells.size, dtype=np.int64)
    last = 0
    for cell in cells:
        steepest = 0.0
        for k in range(8):
            other = _step(cell // columns, cell % columns, k, kind, pooled)
            if other >= 0 and (height[cell] - height[other]) * nearness[k] > steepest:
                steepest = (height[cell] - height[other]) * nearness[k]
                down[cell] = other
        if down[cell] >= 0:
            queue[last] = cell
            last += 1
    _cross_flats(queue, 0, last, down, height, kind, pooled)
    pit = np.full(height.size, -1, dtype=np.int64)
    pits = 0
    for cell in cells:
        if down[cell] < 0:
            down[cell] = cell
            pit[cell] = pits
            pits += 1
            queue[0] = cell
            _cross_flats(queue, 0, 1, down, height, kind, pooled)
    for cell in cells:
        at = cell
        while pit[at] < 0:
            at = down[at]
        found = pit[at]
        at = cell
        while pit[at] < 0:
            pit[at] = found
            at = down[at]
    return pit, pits


@njit(cache=True)
def _cross_flats(queue, first, last, down, height, kind, pooled):  # type: ignore[no-untyped-def]
    """Let cells of a flat that have no way down yet take the way of the neighbour that is nearest to one."""
    columns = kind.shape[1]
    while first < last:
        cell = queue[first]
        first += 1
        for k in range(8):
            other = _step(cell // columns, cell % columns, k, kind, pooled)
            if other >= 0 and down[other] < 0 and height[other] == height[cell]:
                down[other] = cell
                queue[last] = other
                last += 1


@njit(cache=True)
def _step(row, column, k, kind, pooled):  # type: ignore[no-untyped-def]
    """Flat index of the pooled neighbour k, -1 where there is none or two walls touch in between."""
    other_row = row + _ROW[k]
    other_column = column + _COLUMN[k]
    rows, columns = kind.shape
    if other_row < 0 or other_column < 0 or other_row >= rows or other_column >= columns:
        return -1
    if not pooled[other_row, other_column]:
        return -1
    if k > 3 and kind[row, other_column] > 1 and kind[other_row, column] > 1:
        return -1
    return other_row * columns + other_column


@njit(cache=True)
def _top(pool, above):  # type: ignore[no-untyped-def]
    """Outermost pool so far, halving the way to it for the next caller."""
    while above[pool] != pool:
        above[pool] = above[above[pool]]
        pool = above[pool]
    return pool


@njit(cache=True)
def _join(height, kind, spill, pit, pits, cells):  # type: ignore[no-untyped-def]
    """Take cells lowest first and join the pools that meet on them."""
    columns = kind.shape[1]
    pooled = (pit >= 0).reshape(kind.shape)
    most = max(2 * pits - 1, 0)
    above = np.arange(most)
    parent = np.full(most, -1, dtype=np.int64)
    left = np.full(most, -1, dtype=np.int64)
    right = np.full(most, -1, dtype=np.int64)
    bottom = np.full(most, -1, dtype=np.int64)
    spill_cell = np.full(most, -1, dtype=np.int64)
    entry = np.full(most, -1, dtype=np.int64)
    base_level = np.zeros(most)
    spill_level = np.full(most, np.inf)
    base_volume = np.zeros(most)
    capacity = np.full(most, np.inf)
    base_count = np.zeros(most, dtype=np.int64)
    # what stands so far: the level each pool has reached, the cells and the volume below it
    reached = np.zeros(most)
    count = np.zeros(most, dtype=np.int64)
    volume = np.zeros(most)
    owner = np.full(height.size, -1, dtype=np.int64)
    pools = pits
    for cell in cells:
        level = height[cell]
        if bottom[pit[cell]] < 0:
            bottom[pit[cell]] = cell
            base_level[pit[cell]] = level
            reached[pit[cell]] = level
        mine = _top(pit[cell], above)
        for k in range(8):
            other = _step(cell // columns, cell % columns, k, kind, pooled)
            if other < 0 or owner[other] < 0:
                continue
            theirs = _top(pit[other], above)
            if theirs == mine:
                continue
            for pool in (mine, theirs):
                volume[pool] += count[pool] * (level - reached[pool])
                capacity[pool] = volume[pool]
                spill_cell[pool] = cell
                spill_level[pool] = level
                parent[pool] = pools
                above[pool] = pools
            entry[mine] = pit[other]
            entry[theirs] = pit[cell]
            left[pools] = mine
            right[pools] = theirs
            bottom[pools] = bottom[mine] if height[bottom[mine]] <= height[bottom[theirs]] else bottom[theirs]
            base_level[pools] = level
            reached[pools] = level
            volume[pools] = volume[mine] + volume[theirs]
            count[pools] = count[mine] + count[theirs]
            base_volume[pools] = volume[pools]
            base_count[pools] = count[pools]
            mine = pools
            pools += 1
        volume[mine] += count[mine] * (level - reached[mine])
        reached[mine] = level
        count[mine] += 1
        owner[cell] = mine
    for pool in range(pools):
        if parent[pool] < 0:
            spill_level[pool] = spill[bottom[pool]]
            if spill_level[pool] < np.inf:
                capacity[pool] = volume[pool] + count[pool] * (spill_level[pool] - reached[pool])
    return (
        owner, parent[:pools], left[:pools], right[:pools], bottom[:pools], spill_cell[:pools], entry[:pools],
        base_level[:pools], spill_level[:pools], base_volume[:pools], capacity[:pools], base_count[:pools],
    )


@njit(cache=True)
def _number(  # type: ignore[no-untyped-def]
    height, pit, pits, cells, target, order, owner, parent, left, right, bottom, spill_cell, entry, base_level,
    spill_level, base_volume, capacity, base_count,
):
    """Number pools so that those inside one come right before it, and find where outermost ones spill."""
    pools = parent.size
    new = np.full(pools, -1, dtype=np.int64)
    old = np.empty(pools, dtype=np.int64)
    first = np.empty(pools, dtype=np.int64)
    stack = np.empty(pools + 1, dtype=np.int64)
    number = 0
    for outer in range(pools):
        if parent[outer] >= 0:
            continue
        # outermost first, right before left, then turned round
        length = 1
        stack[0] = outer
        begin = number
        while length > 0:
            length -= 1
            pool = stack[length]
            old[number] = pool
            number += 1
            if left[pool] >= 0:
                stack[length] = left[pool]
                stack[length + 1] = right[pool]
                length += 2
        old[begin:number] = old[begin:number][::-1].copy()
    for pool in range(pools):
        new[old[pool]] = pool
    for pool in range(pools):
        inner = left[old[pool]]
        if inner < 0:
            first[pool] = pool
        else:
            first[pool] = min(first[new[inner]], first[new[right[old[pool]]]])
    begin_cells = np.zeros(pools + 1, dtype=np.int64)
    for cell in cells:
        begin_cells[new[owner[cell]] + 1] += 1
    for pool in range(pools):
        begin_cells[pool + 1] += begin_cells[pool]
    free = begin_cells.copy()
    listed = np.empty(cells.size, dtype=np.int64)
    for cell in cells:
        pool = new[owner[cell]]
        listed[free[pool]] = cell
        free[pool] += 1
        pit[cell] = new[pit[cell]]

    outermost = np.arange(pools)
    for pool in range(pools - 1, -1, -1):
        if parent[old[pool]] >= 0:
            outermost[pool] = outermost[new[parent[old[pool]]]]
    new_spill = spill_cell[old]
    for cell in order:
        if pit[cell] >= 0:
            outer = outermost[pit[cell]]
            if new_spill[outer] == -1:
                # the cell of the pool from which all others of it lie upstream
                new_spill[outer] = target[cell] if spill_level[old[outer]] < np.inf else -2
    new_spill[new_spill == -2] = -1
    return (
        _renamed(parent[old], new), _renamed(left[old], new), _renamed(right[old], new), first, bottom[old],
        new_spill, _renamed(entry[old], new), base_level[old], spill_level[old], base_volume[old], capacity[old],
        base_count[old], begin_cells, listed, pit,
    )


@njit(cache=True)
def _renamed(pools, new):  # type: ignore[no-untyped-def]
    renamed = np.full(pools.size, -1, dtype=np.int64)
    for position in range(pools.size):
        if pools[position] >= 0:
            renamed[position] = new[pools[position]]
    return renamed
