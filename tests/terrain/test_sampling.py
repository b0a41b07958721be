"""Heights between cell centres."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from terrain.grid import Frame, Grid
from terrain.sampling import sample_bilinear

FRAME = Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0)


def _grid(rows=5, columns=7, width=0.5, height=0.25):
    return Grid((rows, columns), 10.0, 20.0, width, height, FRAME)


@given(st.floats(0.02, 0.98), st.floats(0.02, 0.98))
def test_a_plane_is_read_exactly_between_cell_centres(across, down):
    grid = _grid()
    x, y = grid.centres(*np.mgrid[0:5, 0:7])
    plane = 3.0 + 0.2 * x - 0.7 * y
    west, south, east, north = grid.bounds
    at_x = west + 0.25 + across * (east - west - 0.5)
    at_y = south + 0.125 + down * (north - south - 0.25)
    assert sample_bilinear(plane, grid, at_x, at_y) == pytest.approx(3.0 + 0.2 * at_x - 0.7 * at_y, abs=1e-12)


def test_the_outermost_half_cell_takes_the_nearest_row_and_beyond_is_unknown():
    grid = _grid()
    ground = np.arange(35.0).reshape(5, 7)
    assert sample_bilinear(ground, grid, 10.0, 20.0) == 0.0
    assert np.isnan(sample_bilinear(ground, grid, 9.99, 20.0))
    assert np.isnan(sample_bilinear(ground, grid, 11.0, 18.7))


def test_an_unknown_cell_is_unknown_only_where_it_counts():
    grid = _grid()
    ground = np.ones((5, 7))
    ground[2, 3] = np.nan
    x, y = grid.centres(2, [2, 3])
    assert sample_bilinear(ground, grid, x[0], y) == 1.0
    assert np.isnan(sample_bilinear(ground, grid, x[0] + 0.01, y))


def test_one_cell_and_one_row():
    assert sample_bilinear(np.array([[4.0]]), _grid(1, 1), 10.1, 19.9) == 4.0
    assert sample_bilinear(np.array([[4.0, 6.0]]), _grid(1, 2), 10.5, 19.9) == 5.0
