"""A window within a ring of one cell, as flat arrays: what all passes over the ground share.

Neighbours are numbered east, south, west, north, south-east, south-west, north-west, north-east: the opposite of
neighbour k is k ^ 2. A diagonal step between two walls that touch at their corners is blocked, so a wall one cell wide
whose cells are joined by corners dams.
"""

import numpy as np
from numba import njit

from terrain.arrays import IntArray

# bits of a cell's state
WALL = 2
OUT = 4
PINCHED = 8
BORDER = 16

# ways of a cell: 0 to 7 a neighbour, 8 and 9 an end, from 10 on none
OVER_BORDER = 8
INTO_BOTTOM = 9
FLAT = 10
GATHERED = 11
PIT = 12
NO_GROUND = 13


@njit(cache=True)
def pad_window(elevation, kind):  # type: ignore[no-untyped-def]
    """Heights and states within a ring of one cell of unknown ground."""
    rows, columns = elevation.shape
    width = columns + 2
    height = np.full((rows + 2) * width, np.nan)
    state = np.full((rows + 2) * width, OUT, dtype=np.uint8)
    walls = False
    for row in range(rows):
        first = (row + 1) * width + 1
        for column in range(columns):
            if kind[row, column] == 1:
                height[first + column] = elevation[row, column]
                state[first + column] = 0
            elif kind[row, column] > 1:
                state[first + column] = WALL
                walls = True
    if walls:
        _mark_pinches(state, width)
    return height, _mark_borders(state, width, walls)


@njit(cache=True)
def _mark_pinches(state, width):  # type: ignore[no-untyped-def]
    for cell in range(width, state.size - width - 1):
        # the four cells of a square: this one, east, south, south-east
        east, south, across = cell + 1, cell + width, cell + width + 1
        if state[cell] & WALL and state[across] & WALL and not (state[east] | state[south]) & WALL:
            state[east] |= PINCHED
            state[south] |= PINCHED
            state[0] |= PINCHED
        if state[east] & WALL and state[south] & WALL and not (state[cell] | state[across]) & WALL:
            state[cell] |= PINCHED
            state[across] |= PINCHED
            state[0] |= PINCHED


@njit(cache=True)
def _mark_borders(state, width, walls):  # type: ignore[no-untyped-def]
    """State with BORDER; into a copy, since a loop that writes where it reads is not made wide."""
    number = state.size - 2 * width - 2
    marked = state.copy()
    here = marked[width + 1 : width + 1 + number]
    east, west = state[width + 2 : width + 2 + number], state[width : width + number]
    south, north = state[2 * width + 1 : 2 * width + 1 + number], state[1 : 1 + number]
    south_east, south_west = state[2 * width + 2 : 2 * width + 2 + number], state[2 * width : 2 * width + number]
    north_west, north_east = state[0:number], state[2 : 2 + number]
    for i in range(number):
        beside = east[i] | west[i] | south[i] | north[i]
        beside |= south_east[i] | south_west[i] | north_west[i] | north_east[i]
        here[i] |= (beside & OUT) << 2
    if walls:
        offsets = neighbour_offsets(width)
        for cell in range(width, state.size - width):
            if marked[cell] & PINCHED and marked[cell] & BORDER:
                marked[cell] &= ~np.uint8(BORDER)
                for k in range(8):
                    if state[cell + offsets[k]] & OUT and not blocked(cell, k, state, offsets):
                        marked[cell] |= BORDER
    return marked


@njit(cache=True)
def neighbour_offsets(width: int) -> IntArray:
    """Steps in a flat array to the eight neighbours."""
    return np.array([1, width, -1, -width, width + 1, width - 1, -width - 1, -width + 1], dtype=np.int64)


@njit(cache=True)
def blocked(cell, k, state, offsets):  # type: ignore[no-untyped-def]
    """Whether the step from `cell` to its neighbour k passes between two walls that touch at their corners."""
    if k < 4 or not state[cell] & PINCHED:
        return False
    return state[cell + offsets[k - 4]] & WALL != 0 and state[cell + offsets[(k - 3) & 3]] & WALL != 0


@njit(cache=True)
def unpadded(cell, width):  # type: ignore[no-untyped-def]
    """Flat index in the window of a padded one."""
    return (cell // width - 1) * (width - 2) + cell % width - 1
