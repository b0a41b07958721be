"""Compiled lower bounds of a search: the cells that a forest may touch, and what is left to pay by each way out."""

from typing import Any

import numpy as np
from numba import njit

from pipelines.layout.routing.kernels.forest_state import CROSSING, DIG, SURFACE

BLOCK = 512


@njit(cache=True)
def least_step_costs(onward: Any, depth: Any, length: Any, step: Any, trench: Any, price: float) -> Any:
    """What each step costs at least where a trench is no shallower than so deep at each cell; (cells, ways)."""
    cells, ways = onward.shape
    costs = np.full((cells, ways), np.inf)
    last = trench.shape[1] - 1
    for cell in range(cells):
        for d in range(ways):
            to = onward[cell, d]
            if to < 0 or depth[cell] == np.inf or depth[to] == np.inf:
                continue
            deep, k = 0.5 * (depth[cell] + depth[to]), 1
            while k < last and deep > trench[0, k]:
                k += 1
            share = (deep - trench[0, k - 1]) / (trench[0, k] - trench[0, k - 1])
            dug = trench[1, k - 1] + min(max(share, 0.0), 1.0) * (trench[1, k] - trench[1, k - 1])
            metre = price + step[cell, d, SURFACE] + step[cell, d, DIG] * dug
            costs[cell, d] = length[d] * metre + step[cell, d, CROSSING]
    return costs


@njit(cache=True)
def join_costs(start: Any, first: Any, second: Any, pairs: Any, meet: Any) -> None:
    """Let no cell's cost exceed that of two lines, one of each array, that meet there."""
    for k in range(pairs.shape[0]):
        one, other = first[pairs[k, 0]], second[pairs[k, 1]]
        for cell in range(start.size):
            start[cell] = min(start[cell], one[cell] + other[cell] + meet[cell])


@njit(cache=True)
def usable_loads(gathered: Any, rows: Any, pairs: Any, most: Any) -> Any:
    """Where each load may be part of a forest: what is gathered and what is left of a pair (load, row) is at most so
    much. (loads, cells)"""
    count, cells = gathered.shape
    usable = np.zeros((count, cells), np.bool_)
    for begin in range(0, cells, BLOCK):  # so many at a time stay near the processor
        end = min(begin + BLOCK, cells)
        for k in range(pairs.shape[0]):
            load, row = pairs[k, 0], pairs[k, 1]
            for cell in range(begin, end):
                usable[load, cell] |= gathered[load, cell] + rows[row, cell] <= most[k]
    return usable


@njit(cache=True)
def left_by_way(near: Any, usable: Any, onward: Any, costs: Any, cost_of: Any, gathered: Any, set_of: Any, rows: Any,
                meet: Any, first: Any, joins: Any, place: Any, places: int) -> Any:
    """What is left to pay, by place of a row, for lines about to leave cells near one way; (places, near * ways).

    The joins of a row, `joins[first[row]: first[row + 1]]`, are the load that comes in, the one that goes on and the
    row that is left then, which stands before its own. Only loads that are usable at a cell come in or go on there.
    """
    ways, count = onward.shape[1], rows.shape[0]
    left = np.full((places, near.size * ways), np.inf)
    wanted = place >= 0
    for row in range(count - 1, -1, -1):
        if wanted[row]:
            for k in range(first[row], first[row + 1]):
                wanted[joins[k, 2]] = True
    own, comes = np.empty((count, ways)), np.empty(gathered.shape[0])
    for i in range(near.size):
        cell = near[i]
        least = np.inf
        for load in range(comes.size):
            if load == 0 or set_of[load] != set_of[load - 1]:
                least = np.inf
            if usable[load, i]:
                least = min(least, gathered[load, cell])
            comes[load] = least + meet[cell]
        for row in range(count):
            if not wanted[row]:
                continue
            for d in range(ways):
                to = onward[cell, d]
                own[row, d] = costs[cost_of[row], cell, d] + rows[row, to] if to >= 0 else np.inf
            for k in range(first[row], first[row + 1]):
                paid, after = comes[joins[k, 0]], joins[k, 2]
                if paid < np.inf and usable[joins[k, 1], i]:
                    for d in range(ways):
                        own[row, d] = min(own[row, d], paid + own[after, d])
            if place[row] >= 0:
                left[place[row], i * ways: (i + 1) * ways] = own[row]
    return left
