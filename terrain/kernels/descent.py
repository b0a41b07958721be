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
)

_BESIDE_OUTLET = 16


@njit(cache=True)
def steepest_ways(height, state, width, cell_width, cell_height, way):  # type: ignore[no-untyped-def]
    """Neighbour to which each cell falls steepest by true distances; of equals the first by number.

    Parameters
    ----------
    height, state : ndarray
        From `pad_window`; heights may have been raised since. [m], [-]
    width : int
        Cells in a padded row.
    cell_width, cell_height : float
        Size of a cell. [m]
    way : uint8 ndarray
        Filled with 0 to 7, OVER_BORDER for a border cell with no lower neighbour, FLAT for another such cell, or
        NO_GROUND.
    """
    number = height.size - 2 * width - 2
    way[: width + 1] = NO_GROUND
    way[-width - 1 :] = NO_GROUND
    _steepest_of_rows(
        height[width + 1 : width + 1 + number],
        height[width + 2 : width + 2 + number],
        height[2 * width + 1 : 2 * width + 1 + number],
        height[width : width + number],
        height[1 : 1 + number],
        height[2 * width + 2 : 2 * width + 2 + number],
        height[2 * width : 2 * width + number],
        height[0:number],
        height[2 : 2 + number],
        cell_width,
        cell_height,
        way[width + 1 : width + 1 + number],
    )
    for cell in range(width, height.size - width):
        if way[cell] == FLAT:
            if state[cell] & (WALL | OUT):
                way[cell] = NO_GROUND
            elif state[cell] & BORDER:
                way[cell] = OVER_BORDER
        elif state[cell] & PINCHED:
            way[cell] = _steepest_pinched(cell, height, state, width, cell_width, cell_height)


@njit(cache=True)
def _steepest_of_rows(  # type: ignore[no-untyped-def]
    here, east, south, west, north, south_east, south_west, north_west, north_east, cell_width, cell_height, way
):
    # written out, so that the compiler takes eight cells at once
    across, along = 1.0 / cell_width, 1.0 / cell_height
    slant = 1.0 / np.sqrt(cell_width * cell_width + cell_height * cell_height)
    for i in range(here.size):
        level = here[i]
        best = 0.0
        found = FLAT
        fall = (level - east[i]) * across
        if fall > best:
            best, found = fall, 0
        fall = (level - south[i]) * along
        if fall > best:
            best, found = fall, 1
        fall = (level - west[i]) * across
        if fall > best:
            best, found = fall, 2
        fall = (level - north[i]) * along
        if fall > best:
            best, found = fall, 3
        fall = (level - south_east[i]) * slant
        if fall > best:
            best, found = fall, 4
        fall = (level - south_west[i]) * slant
        if fall > best:
            best, found = fall, 5
        fall = (level - north_west[i]) * slant
        if fall > best:
            best, found = fall, 6
        fall = (level - north_east[i]) * slant
        if fall > best:
            best, found = fall, 7
        way[i] = found


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
def cross_flats(height, bed, state, width, way, label, toward, away, lines):  # type: ignore[no-untyped-def]
    """Give each flat cell a way towards the nearest outlet of its flat, counted in steps.

    With `lines`, of the neighbours one step nearer a cell takes the one with the lowest bed, so that lines follow the
    bottom of a pond; among equals on dry ground the one farthest from higher ground, so that they gather in the
    middle [1]_.

    Parameters
    ----------
    height, state : ndarray
        As for `steepest_ways`.
    bed : ndarray
        Ground below `height`. [m]
    width : int
        Cells in a padded row.
    way : uint8 ndarray
        From `steepest_ways`; changed in place: cells of a flat without outlet become PIT.
    label : int32 ndarray
        Where such cells get the number of their pit, from 1; changed in place.
    toward, away : int32 ndarray
        Zeros, a cell each with `lines`, else none; used up.
    lines : bool
        Whether it matters which of the nearest ways is taken.

    Returns
    -------
    int64 ndarray
        First cell of each pit; that of number 0 is -1.

    References
    ----------
    .. [1] Barnes, Lehman, Mulla, "An efficient assignment of drainage direction over flat surfaces in raster digital
       elevation models", Computers & Geosciences 62, 2014, doi:10.1016/j.cageo.2013.01.009.
    """
    offsets = neighbour_offsets(width)
    gathered = np.empty(1024, dtype=np.int64)
    queue = np.empty(1024, dtype=np.int64)
    pits = np.empty(1024, dtype=np.int64)
    pits[0] = -1
    number_of_pits = 1
    for first in range(width, height.size - width):
        if way[first] != FLAT:
            continue
        number, gathered = _gather_flat(first, height, state, way, gathered, offsets)
        if queue.size < gathered.size:
            queue = np.empty(gathered.size, dtype=np.int64)
        outlets = _spread_from_outlets(gathered, number, queue, state, way, toward, lines, offsets)
        if outlets == 0:
            if number_of_pits == pits.size:
                pits = _longer(pits)
            pits[number_of_pits] = first
            for i in range(number):
                way[gathered[i]] = PIT
                label[gathered[i]] = number_of_pits
            number_of_pits += 1
        elif lines and outlets < number:
            _spread_from_higher_ground(queue, number, gathered, height, bed, state, toward, away, offsets)
            _choose_ways(queue, outlets, number, height, bed, state, way, toward, away, offsets)
    return pits[:number_of_pits]


@njit(cache=True)
def _gather_flat(first, height, state, way, gathered, offsets):  # type: ignore[no-untyped-def]
    """All cells of one flat; those beside an outlet get _BESIDE_OUTLET plus their way to it."""
    level = height[first]
    way[first] = GATHERED
    gathered[0] = first
    taken, number = 0, 1
    while taken < number:
        if number + 8 > gathered.size:
            gathered = _longer(gathered)
        cell = gathered[taken]
        taken += 1
        pinched = state[cell] & PINCHED
        for k in range(8):
            other = cell + offsets[k]
            if height[other] != level or way[other] > FLAT or (pinched and blocked(cell, k, state, offsets)):
                continue
            if way[other] == FLAT:
                way[other] = GATHERED
                gathered[number] = other
                number += 1
            elif way[cell] == GATHERED:
                way[cell] = _BESIDE_OUTLET + k
    return number, gathered


@njit(cache=True)
def _spread_from_outlets(gathered, number, queue, state, way, toward, lines, offsets):  # type: ignore[no-untyped-def]
    """Ways by steps to the nearest outlet, and the cells in that order; how many are beside an outlet."""
    outlets = 0
    for i in range(number):
        if way[gathered[i]] >= _BESIDE_OUTLET:
            queue[outlets] = gathered[i]
            outlets += 1
    for i in range(outlets):
        way[queue[i]] -= _BESIDE_OUTLET
        if lines:
            toward[queue[i]] = 1
    taken, last = 0, outlets
    while taken < last and last < number:
        cell = queue[taken]
        taken += 1
        pinched = state[cell] & PINCHED
        for k in range(8):
            other = cell + offsets[k]
            if way[other] == GATHERED and not (pinched and blocked(cell, k, state, offsets)):
                way[other] = k ^ 2
                queue[last] = other
                last += 1
                if lines:
                    toward[other] = toward[cell] + 1
    return outlets


@njit(cache=True)
def _spread_from_higher_ground(  # type: ignore[no-untyped-def]
    cells, number, queue, height, bed, state, toward, away, offsets
):
    """Steps of each dry cell of a flat from higher ground beside the flat."""
    level = height[cells[0]]
    last = 0
    for i in range(number):
        cell = cells[i]
        if bed[cell] < level:
            continue
        for k in range(8):
            if height[cell + offsets[k]] > level:
                away[cell] = 1
                queue[last] = cell
                last += 1
                break
    taken = 0
    while taken < last:
        cell = queue[taken]
        taken += 1
        for k in range(8):
            other = cell + offsets[k]
            if toward[other] == 0 or away[other] > 0 or bed[other] != level:
                continue
            if not (state[cell] & PINCHED and blocked(cell, k, state, offsets)):
                away[other] = away[cell] + 1
                queue[last] = other
                last += 1


@njit(cache=True)
def _choose_ways(  # type: ignore[no-untyped-def]
    cells, first, number, height, bed, state, way, toward, away, offsets
):
    level = height[cells[0]]
    for i in range(first, number):
        cell = cells[i]
        nearer = toward[cell] - 1
        lowest = np.inf
        farthest = -1
        for k in range(8):
            other = cell + offsets[k]
            if toward[other] != nearer or height[other] != level or bed[other] > lowest:
                continue
            if bed[other] == lowest and away[other] <= farthest:
                continue
            if state[cell] & PINCHED and blocked(cell, k, state, offsets):
                continue
            lowest, farthest = bed[other], away[other]
            way[cell] = k


@njit(cache=True)
def _longer(cells):  # type: ignore[no-untyped-def]
    longer = np.empty(2 * cells.size, dtype=np.int64)
    longer[: cells.size] = cells
    return longer
