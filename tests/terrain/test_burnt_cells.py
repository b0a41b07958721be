"""Shapes drawn in cells of their own, beside GDAL's drawing of them on the whole window."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS
from rasterio.features import rasterize
from shapely import LineString, MultiPolygon, Point, box

from terrain.flow.burnt_cells import burnt_shapes, cells_inside
from terrain.grid import Frame, Grid
from terrain.kernels.lowest import lowest_open

FRAME = Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0)
HALVES = st.integers(-10, 70).map(lambda k: k / 2.0)
"""Edges and middles of cells, where a drawing is most in doubt."""


def grid_of(rows, columns, left=705_000.0, top=3_340_000.0, width=1.0, height=1.0):
    return Grid((rows, columns), left, top, width, height, FRAME)


def drawn_whole(shape, grid, *, all_touched):
    return (
        rasterize([shape], out_shape=grid.shape, transform=grid.transform, all_touched=all_touched, dtype="uint8") == 1
    )


def drawn_apart(shape, grid, *, all_touched):
    found = np.zeros(grid.shape, dtype=bool)
    burnt = burnt_shapes([shape], grid, all_touched=all_touched)[0]
    if burnt is not None:
        found[burnt.rows, burnt.columns] = burnt.inside
    return found


@given(west=HALVES, south=HALVES, wide=st.integers(1, 40), high=st.integers(1, 40), touched=st.booleans())
def test_cells_are_those_that_gdal_finds_on_the_whole_window(west, south, wide, high, touched):
    grid = grid_of(20, 30)
    x, y = grid.left + west, grid.top - 20.0 + south
    shape = box(x, y, x + wide / 2.0, y + high / 2.0)
    if not touched:
        shape = MultiPolygon([shape, box(x + 41.3, y, x + 44.6, y + 3.3)])
    np.testing.assert_array_equal(
        drawn_apart(shape, grid, all_touched=touched), drawn_whole(shape, grid, all_touched=touched)
    )


@pytest.mark.parametrize(("width", "height"), [(1.0, 1.0), (0.5, 0.5), (0.7, 1.1)])
def test_every_window_has_the_same_cells_of_a_shape(width, height):
    random = np.random.default_rng(4)
    wide = grid_of(90, 90, width=width, height=height)
    part = grid_of(50, 40, wide.left + 13 * width, wide.top - 21 * height, width, height)
    for _ in range(40):
        x, y = wide.left + random.uniform(-5, 90) * width, wide.top - random.uniform(-5, 90) * height
        shape = Point(x, y).buffer(random.uniform(0.5, 20.0))
        np.testing.assert_array_equal(cells_inside(part, shape), cells_inside(wide, shape)[21:71, 13:53])


def test_a_shape_beyond_the_window_has_no_cells():
    grid = grid_of(5, 5)
    far = LineString([(grid.left + 50.0, grid.top), (grid.left + 60.0, grid.top - 9.0)])
    assert burnt_shapes([far], grid, all_touched=True) == [None]


def test_the_lowest_open_cell_is_the_one_that_a_look_at_all_of_them_finds():
    random = np.random.default_rng(7)
    for _ in range(60):
        rows, columns = random.integers(1, 12, 2)
        elevation = random.integers(0, 6, (rows, columns)).astype(float)
        elevation[random.random(elevation.shape) < 0.1] = np.nan
        roof = np.where(random.random(elevation.shape) < 0.2, 3, -1)
        barrier = random.random(elevation.shape) < 0.2
        x, y, reach = *random.uniform(-3.0, 14.0, 2), random.uniform(0.2, 4.0)
        found = lowest_open(elevation, roof, barrier, 0.0, 11.0, 1.0, 0.8, x, y, reach)
        i, j = np.mgrid[:rows, :columns]
        away = np.hypot(j + 0.5 - x, 11.0 - (i + 0.5) * 0.8 - y)
        open_here = (roof < 0) & ~barrier & np.isfinite(elevation) & (away <= max(reach, 0.71))
        if not open_here.any():
            assert found[0] == -1
            continue
        heights = np.where(open_here, elevation, np.inf)
        assert found == (*np.unravel_index(np.argmin(heights), heights.shape), heights.min())
