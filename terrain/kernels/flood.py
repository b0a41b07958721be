"""Priority-flood: every open cell gets a filled height and a way down, from the open borders inward.

Cells wait in buckets by height; within a bucket a small heap keeps the exact order, so unrounded heights
are as exact as rounded ones. Cells of one level are taken first in, first out, so on a flat each cell
knows its distance in steps from the flat's outlets. [1]_

Neighbours are numbered east, south, west, north, south-east, south-west, north-west, north-east: the
opposite of k is k ^ 2.

A diagonal step between two walls that touch at their corners is blocked: a wall one cell wide and connected
by corners dams.

References
----------
.. [1] Barnes, Lehman, Mulla, "Priority-flood: an optimal depression-filling and watershed-labeling
   algorithm for digital elevation models", Computers & Geosciences 62, 2014, doi:10.1016/j.cageo.2013.04.024.
"""

import numpy as np
from numba import njit

from terrain.arrays import FloatArray, IntArray

OVER_BORDER = 8
INTO_BOTTOM = 9
NO_WAY = 10

_UNSEEN = 0
_SEEN = 1
_WALL = 2
_OUT = 3
_COUNTED = 4


@njit(cache=True)
def flood(
    elevation: FloatArray, kind: IntArray, cell_width: float, cell_height: float
) -> tuple[FloatArray, IntArray, IntArray]:
    """Fill the ground and give every open cell a way down.

    Parameters
    ----------
    elevation : (rows, cols) float ndarray
        Ground; read where `kind` is 1 only. [m]
    kind : (rows, cols) int ndarray
        0 outside, 1 open, 2 and 3 walls.
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
    """
    rows, columns = elevation.shape
    width = columns + 2
    size = (rows + 2) * width
    level = np.full(size, np.nan)
    state = np.full(size, _OUT, dtype=np.uint8)
    lowest = np.inf
    highest = -np.inf
    number = 0
    for row in range(rows):
        for column in range(columns):
            if kind[row, column] == 1:
                cell = (row + 1) * width + column + 1
                height = elevation[row, column]
                level[cell] = height
                state[cell] = _UNSEEN
                lowest = min(lowest, height)
                highest = max(highest, height)
                number += 1
            elif kind[row, column] > 1:
                state[(row + 1) * width + column + 1] = _WALL

    buckets = max(64, min(number // 4, 1 << 21))
    scale = (buckets - 1) / (highest - lowest) if highest > lowest else 0.0
    if not np.isfinite(scale):
        scale = 0.0
    head = np.full(buckets, -1, dtype=np.int32)
    link = np.empty(size, dtype=np.int32)
    way = np.full(size, NO_WAY, dtype=np.uint8)
    step = np.zeros(size, dtype=np.int32)
    order = np.empty(number, dtype=np.int64)
    heap_height = np.empty(number, dtype=np.float64)
    heap_rank = np.empty(number, dtype=np.int64)
    heap_cell = np.empty(number, dtype=np.int32)
    offsets = _offsets(width)
    nearness = _nearness(cell_width, cell_height)

    for row in range(1, rows + 1):
        for cell in range(row * width + 1, row * width + columns + 1):
            if state[cell] == _UNSEEN and _on_border(cell, state, offsets):
                _wait(cell, level[cell], lowest, scale, head, link)
                state[cell] = _SEEN
                way[cell] = OVER_BORDER
    done = _spread(
        0, level, state, way, step, order, lowest, scale, head, link, heap_height, heap_rank, heap_cell,
        offsets, nearness,
    )
    if done < number:
        _seed_shut_in(level, state, way, lowest, scale, head, link, heap_cell, offsets)
        done = _spread(
            done, level, state, way, step, order, lowest, scale, head, link, heap_height, heap_rank, heap_cell,
            offsets, nearness,
        )

    filled = np.empty((rows, columns), dtype=np.float64)
    target = np.empty(rows * columns, dtype=np.int64)
    plain = _offsets(columns)
    for row in range(rows):
        for column in range(columns):
            cell = (row + 1) * width + column + 1
            here = row * columns + column
            code = way[cell]
            filled[row, column] = level[cell]
            if code < 8:
                target[here] = here + plain[code]
            elif code == OVER_BORDER:
                target[here] = -1
            elif code == INTO_BOTTOM:
                target[here] = -2
            else:
                target[here] = -3
    for position in range(number):
        cell = order[position]
        row = cell // width
        order[position] = (row - 1) * columns + (cell - row * width) - 1
    return filled, target, order


@njit(cache=True)
def _offsets(width: int) -> IntArray:
    return np.array([1, width, -1, -width, width + 1, width - 1, -width - 1, -width + 1], dtype=np.int64)


@njit(cache=True)
def _nearness(cell_width: float, cell_height: float) -> FloatArray:
    diagonal = 1.0 / np.sqrt(cell_width * cell_width + cell_height * cell_height)
    across, along = 1.0 / cell_width, 1.0 / cell_height
    return np.array([across, along, across, along, diagonal, diagonal, diagonal, diagonal])


@njit(cache=True)
def _on_border(cell, state, offsets):  # type: ignore[no-untyped-def]
    for k in range(8):
        if state[cell + offsets[k]] == _OUT and not (k > 3 and _between_walls(cell, k, state, offsets)):
            return True
    return False


@njit(cache=True)
def _between_walls(cell, k, state, offsets):  # type: ignore[no-untyped-def]
    """Whether the diagonal step k passes between two walls that touch at their corners."""
    return state[cell + offsets[k - 4]] == _WALL and state[cell + offsets[(k - 3) & 3]] == _WALL


@njit(cache=True)
def _wait(cell, height, lowest, scale, head, link):  # type: ignore[no-untyped-def]
    bucket = min(int((height - lowest) * scale), head.size - 1)
    link[cell] = head[bucket]
    head[bucket] = cell
    return bucket


@njit(cache=True)
def _push(length, height, rank, cell, heap_height, heap_rank, heap_cell):  # type: ignore[no-untyped-def]
    at = length
    while at > 0:
        up = (at - 1) >> 1
        if heap_height[up] < height or (heap_height[up] == height and heap_rank[up] < rank):
            break
        heap_height[at], heap_rank[at], heap_cell[at] = heap_height[up], heap_rank[up], heap_cell[up]
        at = up
    heap_height[at], heap_rank[at], heap_cell[at] = height, rank, cell
    return length + 1


@njit(cache=True)
def _pop(length, heap_height, heap_rank, heap_cell):  # type: ignore[no-untyped-def]
    """Take the first away; the caller has read it."""
    last = length - 1
    height, rank, cell = heap_height[last], heap_rank[last], heap_cell[last]
    at = 0
    while True:
        down = 2 * at + 1
        if down >= last:
            break
        right = down + 1
        if right < last and (
            heap_height[right] < heap_height[down]
            or (heap_height[right] == heap_height[down] and heap_rank[right] < heap_rank[down])
        ):
            down = right
        if height < heap_height[down] or (height == heap_height[down] and rank < heap_rank[down]):
            break
        heap_height[at], heap_rank[at], heap_cell[at] = heap_height[down], heap_rank[down], heap_cell[down]
        at = down
    heap_height[at], heap_rank[at], heap_cell[at] = height, rank, cell
    return last


@njit(cache=True)
def _spread(  # type: ignore[no-untyped-def]
    done, level, state, way, step, order, lowest, scale, head, link, heap_height, heap_rank, heap_cell,
    offsets, nearness,
):
    """Take the waiting cells lowest first; `order` is the queue of the level that is being flooded."""
    taken = done
    waiting = 0
    rank = 0
    bucket = -1
    while True:
        if waiting == 0:
            bucket += 1
            while bucket < head.size and head[bucket] < 0:
                bucket += 1
            if bucket == head.size:
                return done
            cell = head[bucket]
            head[bucket] = -1
            rank += level.size
            back = rank
            while cell >= 0:
                # the list is last in, first out: ranks that fall turn it round
                waiting = _push(waiting, level[cell], back, cell, heap_height, heap_rank, heap_cell)
                back -= 1
                cell = link[cell]
        height = heap_height[0]
        while waiting > 0 and heap_height[0] == height:
            order[done] = heap_cell[0]
            done += 1
            waiting = _pop(waiting, heap_height, heap_rank, heap_cell)
        while taken < done:
            cell = order[taken]
            taken += 1
            best = 0.0
            for k in range(8):
                other = cell + offsets[k]
                seen = state[other]
                if seen > _SEEN:
                    continue
                if k > 3 and _between_walls(cell, k, state, offsets):
                    continue
                there = level[other]
                if seen == _SEEN:
                    fall = (height - there) * nearness[k]
                    if fall > best:
                        best = fall
                        way[cell] = k
                    continue
                state[other] = _SEEN
                way[other] = k ^ 2
                if there <= height:
                    level[other] = height
                    step[other] = step[cell] + 1
                    order[done] = other
                    done += 1
                elif min(int((there - lowest) * scale), head.size - 1) == bucket:
                    rank += 1
                    waiting = _push(waiting, there, rank, other, heap_height, heap_rank, heap_cell)
                else:
                    _wait(other, there, lowest, scale, head, link)


@njit(cache=True)
def _seed_shut_in(level, state, way, lowest, scale, head, link, stack, offsets):  # type: ignore[no-untyped-def]
    """Let each piece of ground that no water left start at its lowest cell."""
    for first in range(state.size):
        if state[first] != _UNSEEN:
            continue
        bottom = first
        length = 1
        stack[0] = first
        state[first] = _COUNTED
        reached = 0
        while reached < length:
            cell = stack[reached]
            reached += 1
            if level[cell] < level[bottom] or (level[cell] == level[bottom] and cell < bottom):
                bottom = cell
            for k in range(8):
                other = cell + offsets[k]
                if state[other] == _UNSEEN and not (k > 3 and _between_walls(cell, k, state, offsets)):
                    state[other] = _COUNTED
                    stack[length] = other
                    length += 1
        state[bottom] = _SEEN
        way[bottom] = INTO_BOTTOM
        _wait(bottom, level[bottom], lowest, scale, head, link)
    for cell in range(state.size):
        if state[cell] == _COUNTED:
            state[cell] = _UNSEEN
