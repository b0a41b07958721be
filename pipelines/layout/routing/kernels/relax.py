"""Compiled lower bounds: cheapest ways over cells when neither inverts nor bends count."""

from typing import Any

import numpy as np
from numba import njit

from pipelines.layout.routing.kernels.heap import heap_drop_first, heap_push


@njit(cache=True)
def spread_costs(onward: Any, costs: Any, start: Any, *, backward: bool, most: float) -> Any:
    """Cheapest cost at every cell that can be reached for no more than `most`, given what it costs to start at each."""
    cells, ways = onward.shape
    best = start.copy()
    done = np.zeros(cells, np.bool_)
    room = cells * (ways + 1)
    keys, items, size = np.empty(room), np.empty(room, np.int64), np.int64(0)
    turned = ways // 2 if backward else 0
    for cell in range(cells):
        if np.isfinite(start[cell]):
            size = heap_push(keys, items, size, start[cell], cell)
    while size > 0:
        cell = items[0]
        size = heap_drop_first(keys, items, size)
        if done[cell]:
            continue
        done[cell] = True
        for d in range(ways):
            to = onward[cell, d]
            if to < 0 or done[to]:
                continue
            if backward:
                cost = best[cell] + costs[to, d + turned if d < turned else d - turned]
            else:
                cost = best[cell] + costs[cell, d]
            if cost < best[to] and cost <= most:
                best[to] = cost
                size = heap_push(keys, items, size, cost, to)
    return best


@njit(cache=True)
def bent_ways(onward: Any, costs: Any, turn: Any, first: int, *, backward: bool) -> Any:
    """Cheapest ways from one cell to all, bends counted."""
    cells, ways = onward.shape
    best, before = np.full((cells, ways), np.inf), np.full((cells, ways), -1)
    done = np.zeros((cells, ways), np.bool_)
    room = cells * ways * ways + ways
    keys, items, size = np.empty(room), np.empty(room, np.int64), np.int64(0)
    for d in range(ways):
        to = onward[first, d]
        if to >= 0:
            cost = costs[to, (d + ways // 2) % ways] if backward else costs[first, d]
            if cost < best[to, d]:
                best[to, d] = cost
                size = heap_push(keys, items, size, cost, to * ways + d)
    while size > 0:
        cell, d = items[0] // ways, items[0] % ways
        size = heap_drop_first(keys, items, size)
        if done[cell, d]:
            continue
        done[cell, d] = True
        for e in range(ways):
            to = onward[cell, e]
            if to < 0 or turn[d, e] == np.inf or done[to, e]:
                continue
            cost = best[cell, d] + turn[d, e]
            cost += costs[to, (e + ways // 2) % ways] if backward else costs[cell, e]
            if cost < best[to, e]:
                best[to, e] = cost
                before[to, e] = d
                size = heap_push(keys, items, size, cost, to * ways + e)
    best[first] = 0.0
    before[first] = -1
    return best, before
