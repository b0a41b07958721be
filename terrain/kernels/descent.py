"""The way down from each cell: the steepest where a neighbour is lower, across a flat towards its nearest outlet."""

import numpy as np
from numba import njit

from terrain.kernels.window import (
    BORDER,
    FLAT,
    GATHERED,
    NO_GROUND,
    OUT,
    OVER_BORDER,
    PINCHED,
    PIT,
    WALL,
    blocked,
    neighbour_offsets,
    unpadded,
)

_BESIDE_OUTLET = 16
# steps to an outlet from which it matters which of several nearest ways is taken
_WIDE = 4

# number of the lowest bit that is set
_FIRST = np.zeros(129, dtype=np.int64)
_FIRST[[1, 2, 4, 8, 16, 32, 64, 128]] = np.arange(8)


@njit(cache=True)
def steepest_ways(height, state, width, cell_width, cell_height):  # type: ignore[no-untyped-def]
    """Neighbour to which each cell falls steepest by true distances; of equals the first by number."""
    number = height.size - 2 * width - 2
    way = np.full(height.size, NO_GROUND, dtype=np.uint8)
    level = np.zeros(height.size, dtype=np.uint8)
    below = np.zeros(height.size, dtype=np.uint8)
    here = slice(width + 1, width + 1 + number)
    _compare_rows(
        height[here],
        height[width + 2 : width + 2 + number],
        height[2 * width + 1 : 2 * width + 1 + number],
        height[width : width + number],
        height[1 : 1 + number],
        height[2 * width + 2 : 2 * width + 2 + number],
        height[2 * width : 2 * width + number],
        height[0:number],
        height[2 : 2 + number],
        state[here],
        cell_width,
        cell_height,
        way[here],
        level[here],
        below[here],
    )
    if state[0] & PINCHED:
        offsets = neighbour_offsets(width)
        for cell in range(width, height.size - width):
            if state[cell] & PINCHED and not state[cell] & OUT:
                way[cell] = _steepest_pinched(cell, height, state, width, cell_width, cell_height)
                for k in range(4, 8):
                    if blocked(cell, k, state, offsets):
                        level[cell] &= ~np.uint8(1 << k)
    return way, level, below


@njit(cache=True)
def _compare_rows(  # type: ignore[no-untyped-def]
    here,
    east,
    south,
    west,
    north,
    south_east,
    south_west,
    north_west,
    north_east,
    state,
    cell_width,
    cell_height,
    way,
    level,
    below,
):
    # written out, so that the compiler takes many cells at once
    across, along = 1.0 / cell_width, 1.0 / cell_height
    slant = 1.0 / np.sqrt(cell_width * cell_width + cell_height * cell_height)
    for i in range(here.size):
        h = here[i]
        e, s, w, n = east[i], south[i], west[i], north[i]
        se, sw, nw, ne = south_east[i], south_west[i], north_west[i], north_east[i]
        best = 0.0
        found = FLAT
        fall = (h - e) * across
        if fall > best:
            best, found = fall, 0
        fall = (h - s) * along
        if fall > best:
            best, found = fall, 1
        fall = (h - w) * across
        if fall > best:
            best, found = fall, 2
        fall = (h - n) * along
        if fall > best:
            best, found = fall, 3
        fall = (h - se) * slant
        if fall > best:
            best, found = fall, 4
        fall = (h - sw) * slant
        if fall > best:
            best, found = fall, 5
        fall = (h - nw) * slant
        if fall > best:
            best, found = fall, 6
        fall = (h - ne) * slant
        if fall > best:
            best, found = fall, 7
        if found == FLAT:
            found = NO_GROUND if state[i] & (WALL | OUT) else OVER_BORDER if state[i] & BORDER else FLAT
        way[i] = found
        cardinal = (h == e) | (h == s) << 1 | (h == w) << 2 | (h == n) << 3
        level[i] = cardinal | (h == se) << 4 | (h == sw) << 5 | (h == nw) << 6 | (h == ne) << 7
        below[i] = (e > h) | (s > h) | (w > h) | (n > h) | (se > h) | (sw > h) | (nw > h) | (ne > h)


@njit(cache=True)
def _steepest_pinched(cell, height, state, width, cell_width, cell_height):  # type: ignore[no-untyped-def]
    offsets = neighbour_offsets(width)
    best = 0.0
    found = OVER_BORDER if state[cell] & BORDER else FLAT
    for k in range(8):
        if blocked(cell, k, state, offsets):
            continue
        distance = np.sqrt(cell_width**2 + cell_height**2) if k > 3 else cell_height if k & 1 else cell_width
        fall = (height[cell] - height[cell + offsets[k]]) * (1.0 / distance)
        if fall > best:
            best, found = fall, k
    return found


@njit(cache=True)
def cross_flats(width, way, level, label):  # type: ignore[no-untyped-def]
    """Give each flat cell a way towards the nearest outlet of its flat, counted in steps."""
    offsets = neighbour_offsets(width)
    gathered = np.empty(1024, dtype=np.int64)
    queue = np.empty(1024, dtype=np.int64)
    pits = np.empty(1024, dtype=np.int64)
    pits[0] = -1
    number_of_pits = 1
    for first in range(width, way.size - width):
        if way[first] != FLAT:
            continue
        number, gathered = _gather_flat(first, way, level, gathered, offsets)
        if queue.size < gathered.size:
            queue = np.empty(gathered.size, dtype=np.int64)
        if _spread_from_outlets(gathered, number, queue, way, level, offsets) == 0:
            if number_of_pits == pits.size:
                pits = _longer(pits)
            pits[number_of_pits] = first
            for i in range(number):
                way[gathered[i]] = PIT
                label[gathered[i]] = number_of_pits
            number_of_pits += 1
    return pits[:number_of_pits]


@njit(cache=True)
def draw_lines_over_flats(elevation, height, width, way, level, below, toward):  # type: ignore[no-untyped-def]
    """Like `cross_flats` where every flat has an outlet; on wide flats lines gather.

    Of the neighbours one step nearer an outlet a cell takes the one with the lowest ground, so that lines follow the
    bottom of a pond; among equals on dry ground the one farthest from higher ground, so that they gather in the
    middle [1]_.

    References
    ----------
    .. [1] Barnes, Lehman, Mulla, "An efficient assignment of drainage direction over flat surfaces in raster digital
       elevation models", Computers & Geosciences 62, 2014, doi:10.1016/j.cageo.2013.01.009.
    """
    offsets = neighbour_offsets(width)
    gathered = np.empty(1024, dtype=np.int64)
    queue = np.empty(1024, dtype=np.int64)
    away = np.zeros(way.size, dtype=np.uint8)
    for first in range(width, way.size - width):
        if way[first] != FLAT:
            continue
        number, gathered = _gather_flat(first, way, level, gathered, offsets)
        if queue.size < gathered.size:
            queue = np.empty(gathered.size, dtype=np.int64)
        farthest = _spread_from_outlets(gathered, number, queue, way, level, offsets)
        if farthest > _WIDE:
            _count_from_outlets(queue, number, way, toward, offsets)
            _count_from_higher_ground(queue, number, gathered, elevation, height, width, level, below, toward, away)
            _choose_ways(queue, number, elevation, width, way, level, toward, away)


@njit(cache=True)
def _gather_flat(first, way, level, gathered, offsets):  # type: ignore[no-untyped-def]
    """All cells of one flat; those beside an outlet get _BESIDE_OUTLET plus their way to it."""
    way[first] = GATHERED
    gathered[0] = first
    taken, number = 0, 1
    while taken < number:
        if number + 8 > gathered.size:
            gathered = _longer(gathered)
        cell = gathered[taken]
        taken += 1
        bits = np.int64(level[cell])
        while bits:
            k = _FIRST[bits & -bits]
            bits &= bits - 1
            other = cell + offsets[k]
            if way[other] == FLAT:
                way[other] = GATHERED
                gathered[number] = other
                number += 1
            elif way[other] < FLAT and way[cell] == GATHERED:
                way[cell] = _BESIDE_OUTLET + k
    return number, gathered


@njit(cache=True)
def _spread_from_outlets(gathered, number, queue, way, level, offsets):  # type: ignore[no-untyped-def]
    """Ways by steps to the nearest outlet, and the cells in that order; the most steps, 0 where there is no outlet."""
    last = 0
    for i in range(number):
        if way[gathered[i]] >= _BESIDE_OUTLET:
            queue[last] = gathered[i]
            last += 1
    if last == 0:
        return 0
    for i in range(last):
        way[queue[i]] -= _BESIDE_OUTLET
    taken, steps, end_of_step = 0, 1, last
    while last < number:
        if taken == end_of_step:
            steps += 1
            end_of_step = last
        cell = queue[taken]
        taken += 1
        bits = np.int64(level[cell])
        while bits:
            k = _FIRST[bits & -bits]
            bits &= bits - 1
            other = cell + offsets[k]
            if way[other] == GATHERED:
                way[other] = k ^ 2
                queue[last] = other
                last += 1
    return steps + 1 if end_of_step < number else steps


@njit(cache=True)
def _count_from_outlets(cells, number, way, toward, offsets):  # type: ignore[no-untyped-def]
    for i in range(number):
        toward[cells[i]] = toward[cells[i] + offsets[way[cells[i]]]] + 1


@njit(cache=True)
def _count_from_higher_ground(  # type: ignore[no-untyped-def]
    cells, number, queue, elevation, height, width, level, below, toward, away
):
    """Steps of each dry cell of a flat from higher ground beside the flat, 255 at most."""
    offsets = neighbour_offsets(width)
    bed = elevation.ravel()
    top = height[cells[0]]
    last = 0
    for i in range(number):
        if below[cells[i]] and bed[unpadded(cells[i], width)] == top:
            away[cells[i]] = 1
            queue[last] = cells[i]
            last += 1
    taken = 0
    while taken < last:
        cell = queue[taken]
        taken += 1
        bits = np.int64(level[cell])
        while bits:
            k = _FIRST[bits & -bits]
            bits &= bits - 1
            other = cell + offsets[k]
            if away[other] == 0 and toward[other] > 0 and bed[unpadded(other, width)] == top:
                away[other] = min(np.int64(away[cell]) + 1, 255)
                queue[last] = other
                last += 1


@njit(cache=True)
def _choose_ways(cells, number, elevation, width, way, level, toward, away):  # type: ignore[no-untyped-def]
    offsets = neighbour_offsets(width)
    bed = elevation.ravel()
    for i in range(number):
        cell = cells[i]
        nearer = toward[cell] - 1
        if nearer == 0:
            continue
        lowest = np.inf
        farthest = -1
        bits = np.int64(level[cell])
        while bits:
            k = _FIRST[bits & -bits]
            bits &= bits - 1
            other = cell + offsets[k]
            if toward[other] != nearer:
                continue
            ground = bed[unpadded(other, width)]
            if ground < lowest or (ground == lowest and away[other] > farthest):
                lowest, farthest = ground, away[other]
                way[cell] = k


@njit(cache=True)
def _longer(cells):  # type: ignore[no-untyped-def]
    longer = np.empty(2 * cells.size, dtype=np.int64)
    longer[: cells.size] = cells
    return longer
