"""One pass each over directions: what gathers, what label is met, how far it is."""

import numpy as np
from numba import njit

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.kernels.window import INTO_BOTTOM, OVER_BORDER, neighbour_offsets


@njit(cache=True)
def gather(way, columns, kind, receiver):  # type: ignore[no-untyped-def]
    """Bring cells into an order, and count what drains through each, along the streams from their heads."""
    steps = np.zeros(16, dtype=np.int64)
    steps[:8] = neighbour_offsets(columns)
    awaited = np.zeros(way.size, dtype=np.uint8)
    cells = np.ones(way.size, dtype=np.float64)
    for cell in range(way.size):
        if way[cell] < OVER_BORDER:
            awaited[cell + steps[way[cell]]] += 1
    order = np.empty(way.size, dtype=np.int64)
    begin = way.size
    for cell in range(way.size):
        if kind[cell] > 1:
            begin -= 1
            order[begin] = cell
            if receiver[cell] >= 0:
                cells[receiver[cell]] += 1.0
    # heads wait where targets come to stand later
    target = np.empty(way.size, dtype=np.int64)
    number = 0
    for cell in range(way.size):
        # written always, counted where it is one: a branch here is a coin toss
        target[number] = cell
        number += (awaited[cell] == 0) & (way[cell] <= INTO_BOTTOM)
    for i in range(number):
        cell = target[i]
        carried = cells[cell]
        code = way[cell]
        while True:
            begin -= 1
            order[begin] = cell
            if code >= OVER_BORDER:
                break
            cell += steps[code]
            carried += cells[cell]
            cells[cell] = carried
            missing = awaited[cell] - 1
            awaited[cell] = missing
            if missing != 0:
                break
            code = way[cell]
    for cell in range(way.size):
        code = way[cell]
        if code < OVER_BORDER:
            target[cell] = cell + steps[code]
        elif code <= INTO_BOTTOM:
            target[cell] = 7 - np.int64(code)
        else:
            target[cell] = max(receiver[cell], -1) if kind[cell] > 1 else -3
            cells[cell] = kind[cell] > 1
    return target, order[begin:], cells


@njit(cache=True)
def accumulate(target: IntArray, order: IntArray, weight: FloatArray) -> FloatArray:
    """Sum of `weight` over all that drains through each cell, itself included."""
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
    """Label of the first labelled cell that each meets on its way down, itself included; -1 for none."""
    label = np.full(target.size, -1, dtype=np.int64)
    for position in range(order.size):
        cell = order[position]
        if seeds[cell] >= 0:
            label[cell] = seeds[cell]
        elif target[cell] >= 0:
            label[cell] = label[target[cell]]
    return label


@njit(cache=True)
def last_on_way(target: IntArray, marked: BoolArray) -> IntArray:
    """Marked cells whose way down meets no other marked one."""
    last = np.empty(target.size, dtype=np.int64)
    number = 0
    for cell in range(target.size):
        if marked[cell]:
            after = target[cell]
            while after >= 0 and not marked[after]:
                after = target[after]
            if after < 0:
                last[number] = cell
                number += 1
    return last[:number]


@njit(cache=True)
def met_on_way(target: IntArray, cells: IntArray) -> BoolArray:
    """Which of some cells, the columns, each of them meets on its way down, itself included."""
    number = np.full(target.size, -1, dtype=np.int64)
    for position in range(cells.size):
        number[cells[position]] = position
    met = np.zeros((cells.size, cells.size), dtype=np.bool_)
    for position in range(cells.size):
        cell = cells[position]
        while cell >= 0:
            if number[cell] >= 0:
                met[position, number[cell]] = True
            cell = target[cell]
    return met


@njit(cache=True)
def lengths(
    target: IntArray, order: IntArray, ends: BoolArray, columns: int, cell_width: float, cell_height: float
) -> FloatArray:
    """Length of each cell's way down to the first of `ends`, NaN where it meets none. [m]"""
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
def walk(target: IntArray, start: int) -> IntArray:
    """Cells from `start` down to where water leaves or stays, both included."""
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
