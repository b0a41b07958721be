"""Fill-spill-merge: where a given water comes to stand, and what runs on.

Water runs down to its pit and fills it; a pool that is full spills into the one beside it; two full pools
merge; an outermost pool that is full lets the rest run on down its way out. [1]_

References
----------
.. [1] Barnes, Callaghan, Wickert, "Computing water flow through complex landscapes - Part 3: Fill-Spill-Merge:
   flow routing in depression hierarchies", Earth Surface Dynamics 9, 105-121, 2021, doi:10.5194/esurf-9-105-2021.
"""

import numpy as np
from numba import njit

from terrain.arrays import FloatArray, IntArray
from terrain.kernels.depressions import Tree


def settle(
    runoff: FloatArray,
    elevation: FloatArray,
    target: IntArray,
    order: IntArray,
    tree: Tree,
    cell_area: float,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Let water run, stand and spill until it rests."""
    leaves, stored, spilled = _run(runoff, target, order, tree, cell_area)
    level = _levels(stored, elevation, tree, cell_area)
    return _depths(elevation, level, tree), leaves, stored, spilled, level


@njit(cache=True)
def _run(runoff, target, order, tree, cell_area):  # type: ignore[no-untyped-def]
    flow = runoff.copy()
    leaves = np.zeros(runoff.size)
    pools = tree.parent.size
    stored = np.zeros(pools)
    spilled = np.zeros(pools)
    capacity = tree.capacity * cell_area
    outermost = np.arange(pools)
    for pool in range(pools - 1, -1, -1):
        if tree.parent[pool] >= 0:
            outermost[pool] = outermost[tree.parent[pool]]
    awaited = np.zeros(pools, dtype=np.int64)
    for pool in range(pools):
        awaited[outermost[pool]] += tree.begin[pool + 1] - tree.begin[pool]
    stack_pool = np.empty(pools + 2, dtype=np.int64)
    stack_pit = np.empty(pools + 2, dtype=np.int64)
    stack_water = np.empty(pools + 2)
    for position in range(order.size - 1, -1, -1):
        cell = order[position]
        after = target[cell]
        water = flow[cell]
        if tree.pit[cell] >= 0:
            stored[tree.pit[cell]] += water
            outer = outermost[tree.pit[cell]]
            awaited[outer] -= 1
            if awaited[outer] > 0:
                continue
            water = _fill(outer, stored, spilled, capacity, tree, stack_pool, stack_pit, stack_water)
        if after >= 0:
            flow[after] += water
        else:
            leaves[cell] += water
    return leaves, stored, spilled


@njit(cache=True)
def _fill(outer, stored, spilled, capacity, tree, stack_pool, stack_pit, stack_water):  # type: ignore[no-untyped-def]
    """Fill, spill and merge inside one outermost pool; what it cannot hold."""
    for pool in range(tree.first[outer], outer + 1):
        left, right = tree.left[pool], tree.right[pool]
        if left < 0:
            continue
        stored[pool] = stored[left] + stored[right]
        if stored[left] > capacity[left] and stored[right] <= capacity[right]:
            _spill(left, right, stored, spilled, capacity, tree, stack_pool, stack_pit, stack_water)
        elif stored[right] > capacity[right] and stored[left] <= capacity[left]:
            _spill(right, left, stored, spilled, capacity, tree, stack_pool, stack_pit, stack_water)
        for inner in (left, right):
            if stored[inner] > capacity[inner]:
                spilled[inner] += stored[inner] - capacity[inner]
                stored[inner] = capacity[inner]
    if stored[outer] <= capacity[outer]:
        return 0.0
    over = stored[outer] - capacity[outer]
    stored[outer] = capacity[outer]
    spilled[outer] += over
    return over


@njit(cache=True)
def _spill(giver, taker, stored, spilled, capacity, tree, stack_pool, stack_pit, stack_water):  # type: ignore[no-untyped-def]
    """Let what `giver` cannot hold run into `taker` as far as it has room."""
    over = stored[giver] - capacity[giver]
    stored[giver] = capacity[giver]
    spilled[giver] += over
    stack_pool[0], stack_pit[0], stack_water[0] = taker, tree.entry[giver], over
    length = 1
    while length > 0:
        length -= 1
        pool, pit, water = stack_pool[length], stack_pit[length], stack_water[length]
        left, right = tree.left[pool], tree.right[pool]
        stored[pool] += water
        if left < 0 or (stored[left] >= capacity[left] and stored[right] >= capacity[right]):
            continue
        near = left if tree.first[left] <= pit <= left else right
        far = right if near == left else left
        to_near = min(water, capacity[near] - stored[near])
        to_far = min(water - to_near, capacity[far] - stored[far])
        if to_near < water:
            spilled[near] += water - to_near
            stack_pool[length], stack_pit[length], stack_water[length] = far, tree.entry[near], to_far
            length += 1
        if to_far < water - to_near:
            spilled[far] += water - to_near - to_far
        stack_pool[length], stack_pit[length], stack_water[length] = near, pit, to_near
        length += 1


@njit(cache=True)
def _levels(stored, elevation, tree, cell_area):  # type: ignore[no-untyped-def]
    """Level of the sheet of water that covers each pool, NaN where there is no one sheet."""
    level = np.full(stored.size, np.nan)
    for pool in range(stored.size - 1, -1, -1):
        outer = tree.parent[pool]
        if outer >= 0 and level[outer] == level[outer]:
            level[pool] = level[outer]
            continue
        if stored[pool] >= tree.capacity[pool] * cell_area:
            level[pool] = tree.spill_level[pool]
            continue
        water = stored[pool] / cell_area
        if water <= 0.0 or water < tree.base_volume[pool]:
            continue
        count = tree.base_count[pool]
        height = tree.base_level[pool]
        volume = tree.base_volume[pool]
        for ground in np.sort(elevation[tree.cells[tree.begin[pool] : tree.begin[pool + 1]]]):
            if volume + count * (ground - height) >= water:
                break
            volume += count * (ground - height)
            height = ground
            count += 1
        level[pool] = min(height + (water - volume) / count, tree.spill_level[pool])
    return level


@njit(cache=True)
def _depths(elevation, level, tree):  # type: ignore[no-untyped-def]
    depth = np.zeros(elevation.size)
    for pool in range(level.size):
        for position in range(tree.begin[pool], tree.begin[pool + 1]):
            cell = tree.cells[position]
            if level[pool] > elevation[cell]:
                depth[cell] = level[pool] - elevation[cell]
    return depth
