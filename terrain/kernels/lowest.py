"""The lowest open cell near a place."""

import math

import numpy as np
from numba import njit


@njit(cache=True)
def lowest_open(elevation, roof, barrier, left, top, width, height, x, y, reach):  # type: ignore[no-untyped-def]
    """Row, column and height of the lowest known cell that is neither roof nor barrier; row -1 where there is none."""
    rows, columns = elevation.shape
    row, column = math.floor((top - y) / height), math.floor((x - left) / width)
    span_rows, span_columns = int(reach / height) + 1, int(reach / width) + 1
    limit = max(reach, 0.71 * max(width, height))
    found_row, found_column, lowest = -1, -1, np.inf
    for i in range(max(row - span_rows, 0), min(row + span_rows + 1, rows)):
        for j in range(max(column - span_columns, 0), min(column + span_columns + 1, columns)):
            if roof[i, j] >= 0 or barrier[i, j] or not elevation[i, j] < lowest:
                continue
            if math.hypot(left + (j + 0.5) * width - x, top - (i + 0.5) * height - y) <= limit:
                found_row, found_column, lowest = i, j, elevation[i, j]
    return found_row, found_column, lowest


@njit(cache=True)
def open_cells(elevation, roof, barrier, rows, columns, own, along, top, left, upper, lower):  # type: ignore[no-untyped-def]
    """Lower cells along a culvert to its bed, which falls from its upper invert to its lower one, and take what bars
    them away; cells beside its own that a barrier stands on stay, and roofs and unknown ground."""
    for k in range(rows.size):
        i, j = rows[k] + top, columns[k] + left
        if i < 0 or j < 0 or i >= elevation.shape[0] or j >= elevation.shape[1]:
            continue
        if roof[i, j] >= 0 or (barrier[i, j] and not own[k]) or not np.isfinite(elevation[i, j]):
            continue
        elevation[i, j] = min(elevation[i, j], upper + (lower - upper) * along[k])
        barrier[i, j] = False
