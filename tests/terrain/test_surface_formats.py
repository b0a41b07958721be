"""Heights come out as they were written, whatever way a raster keeps them."""

import numpy as np
import pytest
import rasterio
import rasterio.shutil
from affine import Affine

from terrain.reading.raster_source import open_raster
from terrain.reading.surface import read_window


def told(surface, code):
    return next((line for line in surface.warnings if line.code == code), None)


def whole(path, **options):
    source = open_raster(path, unit="m", **options)
    return read_window(source, source.grid.bounds)


@pytest.mark.parametrize(
    "profile",
    [
        {},
        {"tiled": True, "blockxsize": 32, "blockysize": 48, "compress": "deflate"},
        {"BIGTIFF": "YES"},
        {"compress": "deflate", "predictor": 3},
        {"compress": "lzw", "predictor": 3, "tiled": True, "blockxsize": 64, "blockysize": 64},
        {"compress": "zstd", "predictor": 2},
        {"driver": "HFA"},
        {"interleave": "band", "blockysize": 1},
    ],
)
def test_a_way_of_keeping_numbers_does_not_change_them(write_raster, rolling, profile):
    heights = rolling.astype("float32")
    surface = whole(write_raster(heights, **profile))
    assert surface.elevation.dtype == np.float64
    np.testing.assert_array_equal(surface.elevation, heights.astype(np.float64))


def test_cloud_optimized(write_raster, rolling, tmp_path):
    plain = write_raster(rolling.astype("float32"))
    cog = tmp_path / "cog.tif"
    rasterio.shutil.copy(plain, cog, driver="COG", blocksize=128, overview_resampling="average")
    np.testing.assert_array_equal(whole(cog).elevation, rolling.astype("float32").astype(np.float64))


def test_float64_keeps_its_digits(write_raster, rolling):
    np.testing.assert_array_equal(whole(write_raster(rolling)).elevation, rolling)


def test_ascii_grid(tmp_path):
    path = tmp_path / "ground.asc"
    path.write_text(
        "ncols 3\nnrows 2\nxllcorner 500000\nyllcorner 4100000\ncellsize 2\nNODATA_value -9999\n"
        "1.25 2.5 -9999\n4 5 6.125\n"
    )
    path.with_suffix(".prj").write_text(rasterio.crs.CRS.from_epsg(32610).to_wkt())
    surface = whole(path)
    np.testing.assert_array_equal(surface.elevation, [[1.25, 2.5, np.nan], [4.0, 5.0, 6.125]])
    assert surface.grid.bounds == (500000.0, 4100000.0, 500006.0, 4100004.0)


def test_whole_numbers_with_scale_and_offset(write_raster, rolling):
    stored = np.round((rolling - 100.0) / 0.01).astype("int16")
    surface = whole(write_raster(stored, scale=0.01, offset=100.0, nodata=-32768))
    np.testing.assert_allclose(surface.elevation, stored * 0.01 + 100.0, rtol=0, atol=1e-12)


def test_scale_and_offset_come_before_the_unit(write_raster):
    stored = np.full((4, 4), 500, dtype="int16")
    source = open_raster(write_raster(stored, scale=0.1, offset=10.0), unit="ft")
    surface = read_window(source, source.grid.bounds)
    # (500 * 0.1 + 10) ft; the other order would give 25.24 m
    np.testing.assert_allclose(surface.elevation, 60.0 * 0.3048, rtol=1e-15)


def test_nodata_is_declared_before_scale_and_offset(write_raster):
    stored = np.full((5, 5), 200, dtype="int16")
    stored[0, 0] = -100
    surface = whole(write_raster(stored, scale=0.5, offset=3.0, nodata=-100))
    assert np.isnan(surface.elevation[0, 0])
    assert np.isfinite(surface.elevation).sum() == 24


@pytest.mark.parametrize("nodata", [-999999.0, -9999.0, -3.4028234663852886e38, np.nan, 0.0])
def test_declared_nodata_is_unknown(write_raster, rolling, nodata):
    heights = rolling.astype("float32")
    heights[:40] = nodata
    surface = whole(write_raster(heights, nodata=nodata))
    assert np.isnan(surface.elevation[:40]).all()
    assert np.isfinite(surface.elevation[40:]).all()
    assert told(surface, "nodata_undeclared") is None


@pytest.mark.parametrize("mark", [-999999.0, -9999.0, -3.4028234663852886e38, np.inf, -np.inf, np.nan])
def test_undeclared_marks_of_nodata_are_unknown(write_raster, rolling, mark):
    heights = rolling.astype("float32")
    heights[:40] = mark
    surface = whole(write_raster(heights))
    assert np.isnan(surface.elevation[:40]).all()
    np.testing.assert_array_equal(surface.elevation[40:], heights[40:].astype(np.float64))
    if np.isfinite(mark):
        assert [(each["cells"], float(each["number"])) for each in told(surface, "nodata_undeclared")["marks"]] == [
            (3600, pytest.approx(mark, rel=1e-3))
        ]


def test_undeclared_least_whole_number_is_unknown(write_raster):
    stored = np.full((9, 9), 300, dtype="int16")
    stored[:, :4] = -32768
    surface = whole(write_raster(stored, scale=0.01))
    assert np.isnan(surface.elevation[:, :4]).all()


def test_a_scaled_number_that_looks_like_a_mark_is_ground(write_raster):
    stored = np.full((9, 9), -9990, dtype="int16")
    stored[4, 4] = -9999
    surface = whole(write_raster(stored, scale=0.01))
    assert surface.elevation[4, 4] == pytest.approx(-99.99)


def test_ground_at_zero_is_ground_where_no_nodata_is_declared(write_raster):
    column = np.mgrid[0:20, 0:20][1]
    heights = np.maximum(0.0, 0.05 * (column - 8)).astype("float32")
    surface = whole(write_raster(heights))
    assert np.isfinite(surface.elevation).all()
    assert (surface.elevation[:, :9] == 0.0).all()
    assert told(surface, "heights_of_zero") is None


def test_zeros_far_below_everything_are_kept_and_warned_about(write_raster, rolling):
    heights = rolling.astype("float32")
    heights[:10] = 0.0
    surface = whole(write_raster(heights))
    assert (surface.elevation[:10] == 0.0).all()
    assert told(surface, "heights_of_zero")["cells"] == 900


def test_heights_that_no_land_has_are_warned_about(write_raster):
    surface = whole(write_raster(np.full((5, 5), 20000.0, dtype="float32")))
    assert told(surface, "heights_of_no_land")["high"] == 20000.0


def test_band_one_of_several_is_read_and_said(write_raster, rolling):
    two = np.stack([rolling, rolling + 50.0])
    surface = whole(write_raster(two))
    np.testing.assert_array_equal(surface.elevation, rolling)
    assert told(surface, "raster_bands")["bands"] == 2


def test_cells_need_not_be_square(write_raster, rolling):
    path = write_raster(rolling, transform=Affine(0.5, 0.0, 500000.0, 0.0, -2.0, 4100000.0))
    grid = whole(path).grid
    assert (grid.cell_width, grid.cell_height, grid.cell_area) == (0.5, 2.0, 1.0)


def test_only_the_window_is_read(write_raster, rolling, monkeypatch):
    path = write_raster(rolling, tiled=True, blockxsize=16, blockysize=16)
    source = open_raster(path, unit="m")
    asked = []
    own = rasterio.DatasetReader.read
    monkeypatch.setattr(
        "rasterio.DatasetReader.read", lambda self, *args, **kw: asked.append(kw["window"]) or own(self, *args, **kw)
    )
    surface = read_window(source, (500010.0, 4099950.0, 500020.0, 4099960.0))
    assert [(window.width, window.height) for window in asked] == [(10, 10)]
    np.testing.assert_array_equal(surface.elevation, rolling[40:50, 10:20])


@pytest.mark.parametrize("shape", [(1, 1), (1, 7), (7, 1)])
def test_one_cell_one_row_one_column(write_raster, shape):
    surface = whole(write_raster(np.full(shape, 3.5)))
    assert surface.elevation.shape == shape
    assert (surface.elevation == 3.5).all()


def test_all_nodata(write_raster):
    surface = whole(write_raster(np.full((6, 6), -9999.0), nodata=-9999.0))
    assert np.isnan(surface.elevation).all()


def test_windows_lie_on_the_rasters_own_cells(write_raster, rolling):
    source = open_raster(write_raster(rolling), unit="m")
    large = read_window(source, (500000.0, 4099900.0, 500060.0, 4100000.0))
    small = read_window(source, (500010.3, 4099949.2, 500020.7, 4099960.1))
    assert small.grid.bounds == (500010.0, 4099949.0, 500021.0, 4099961.0)
    rows, columns = large.grid.cells(*small.grid.centres(0, 0))
    np.testing.assert_array_equal(
        small.elevation, large.elevation[rows : rows + 12, columns : columns + 11]
    )
