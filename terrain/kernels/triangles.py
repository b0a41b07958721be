"""Heights of cells under a triangulation, by linear interpolation within each triangle."""

import math

from numba import njit

from terrain.arrays import FloatArray, IntArray

# a centre on the seam of two triangles belongs to both, whatever round-off says
_SEAM = 1e-9


@njit(cache=True)
def fill_triangles(x: FloatArray, y: FloatArray, z: FloatArray, triangles: IntArray, out: FloatArray) -> None:
    """Fill each cell whose centre lies in a triangle.

    x and y count cells from the centre of cell (0, 0), east and south; `out` keeps what it holds elsewhere.
    """
    rows, columns = out.shape
    for t in range(triangles.shape[0]):
        a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        double_area = (x[b] - x[a]) * (y[c] - y[a]) - (x[c] - x[a]) * (y[b] - y[a])
        if double_area == 0.0:
            continue
        first_row = max(math.ceil(min(y[a], y[b], y[c])), 0)
        last_row = min(math.floor(max(y[a], y[b], y[c])), rows - 1)
        first_column = max(math.ceil(min(x[a], x[b], x[c])), 0)
        last_column = min(math.floor(max(x[a], x[b], x[c])), columns - 1)
        for row in range(first_row, last_row + 1):
            for column in range(first_column, last_column + 1):
                u = ((x[c] - x[b]) * (row - y[b]) - (column - x[b]) * (y[c] - y[b])) / double_area
                v = ((x[a] - x[c]) * (row - y[c]) - (column - x[c]) * (y[a] - y[c])) / double_area
                w = 1.0 - u - v
                if u >= -_SEAM and v >= -_SEAM and w >= -_SEAM:
                    out[row, column] = u * z[a] + v * z[b] + w * z[c]
