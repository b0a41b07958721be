"""Small holes close without a bump; large ones stay open and are told."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.reading.holes import close_small_holes
from terrain.reading.raster_file import kept_open
from terrain.reading.raster_source import open_raster
from terrain.reading.surface import read_window
from terrain.reason import reason


def plane(rows=20, columns=24, cell_width=1.0, cell_height=1.0):
    row, column = np.mgrid[0:rows, 0:columns]
    return 100.0 + 0.03 * column * cell_width - 0.05 * row * cell_height


@given(st.integers(0, 2**32 - 1), st.floats(0.2, 3.0), st.floats(0.2, 3.0), st.integers(1, 9))
def test_a_plane_stays_a_plane(seed, cell_width, cell_height, cells):
    heights = plane(cell_width=cell_width, cell_height=cell_height)
    punched = heights.copy()
    generator = np.random.default_rng(seed)
    row, column = 10, 12
    for _ in range(cells):
        punched[row, column] = np.nan
        row = int(np.clip(row + generator.integers(-1, 2), 1, 18))
        column = int(np.clip(column + generator.integers(-1, 2), 1, 22))
    closed = close_small_holes(punched, cell_width=cell_width, cell_height=cell_height)
    np.testing.assert_allclose(closed.elevation, heights, atol=1e-9)


@given(st.integers(0, 2**32 - 1))
def test_a_closed_cell_lies_between_the_ground_around(seed):
    generator = np.random.default_rng(seed)
    heights = generator.normal(50.0, 3.0, (12, 12))
    punched = heights.copy()
    punched[4:8, 5:8] = np.nan
    closed = close_small_holes(punched).elevation
    around = heights[3:9, 4:9]
    rim = around[~np.isnan(punched[3:9, 4:9])]
    assert closed[4:8, 5:8].min() >= rim.min() - 1e-9
    assert closed[4:8, 5:8].max() <= rim.max() + 1e-9


def test_one_cell_takes_the_mean_of_its_sides():
    heights = np.array([[9.0, 1.0, 9.0], [2.0, np.nan, 4.0], [9.0, 5.0, 9.0]])
    assert close_small_holes(heights).elevation[1, 1] == pytest.approx(3.0)


def test_near_sides_count_more_than_far_ones():
    heights = np.array([[9.0, 1.0, 9.0], [2.0, np.nan, 4.0], [9.0, 5.0, 9.0]])
    closed = close_small_holes(heights, cell_width=1.0, cell_height=2.0).elevation[1, 1]
    # Laplace's equation in differences: (2 + 4) / 1 + (1 + 5) / 4 over 2 / 1 + 2 / 4
    assert closed == pytest.approx(7.5 / 2.5)
    heights[0, 1], heights[2, 1] = 3.0, 7.0
    closed = close_small_holes(heights, cell_height=2.0).elevation[1, 1]
    assert closed == pytest.approx((6.0 + 10.0 / 4.0) / 2.5)


@pytest.mark.parametrize("cells, closes", [(25, True), (26, False)])
def test_the_largest_hole_that_closes(cells, closes):
    heights = plane()
    heights[3:5, 3:16].flat[:cells] = np.nan
    heights[3:5, 3:16] = np.where(np.arange(26).reshape(2, 13) < cells, np.nan, heights[3:5, 3:16])
    closed = close_small_holes(heights)
    assert np.isfinite(closed.elevation).all() == closes
    assert (closed.small, closed.large_cells) == ((1, 0) if closes else (0, 26))


def test_cells_that_touch_by_a_corner_are_one_hole():
    heights = plane()
    for step in range(6):
        heights[4 + step, 5 + step] = np.nan
    assert close_small_holes(heights, max_cells=5).small == 0
    assert close_small_holes(heights, max_cells=6).small == 1


def test_a_hole_at_the_windows_edge_stays_open():
    heights = plane()
    heights[0, 4] = np.nan
    assert np.isnan(close_small_holes(heights).elevation[0, 4])


def test_the_ground_given_is_left_alone():
    heights = plane()
    heights[5, 5] = np.nan
    close_small_holes(heights)
    assert np.isnan(heights[5, 5])


def test_holes_are_counted_and_told(write_raster):
    heights = plane(60, 60)
    heights[10, 10] = heights[20:22, 30] = np.nan
    heights[40:50, 40:50] = np.nan
    source = open_raster(write_raster(heights), unit="m")
    surface = read_window(source, source.grid.bounds)
    assert reason("ground_holes_closed", file="ground.tif", holes=2) in surface.warnings
    assert reason("ground_unknown", file="ground.tif", area=100.0) in surface.warnings
    assert np.isnan(surface.elevation).sum() == 100


def test_a_raster_that_is_kept_open_gives_every_window_as_it_gives_it_alone(write_raster, rolling):
    holed = rolling.astype("float32")
    holed[70:73, 60:63] = np.nan
    holed[100, 10] = -9999.0
    path = write_raster(holed, nodata=np.nan)
    source = open_raster(path)
    west, _, _, north = source.grid.bounds
    windows = [
        (west + 2.0 * k, north - 30.0 - 2.5 * k, west + 20.0 + 2.0 * k, north - 10.0 - 2.5 * k) for k in range(36)
    ]
    alone = [read_window(source, each) for each in windows]
    with kept_open():
        held = open_raster(path)
        assert open_raster(path).grid == held.grid == source.grid
        together = [read_window(held, each) for each in windows]
    for one, other in zip(alone, together, strict=True):
        np.testing.assert_array_equal(one.elevation, other.elevation)
        assert (one.grid, one.raster_ends, one.warnings) == (other.grid, other.raster_ends, other.warnings)
    # some windows hold what must be told, some do not
    assert len({len(each.warnings) for each in alone}) > 1
