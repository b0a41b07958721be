"""Any CRS becomes true metres; what is not north-up is brought north-up."""

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS, Geod, Transformer
from rasterio.warp import Resampling, reproject

from terrain.metric_frame import horizontal_part, metric_frame, utm_zone
from terrain.reading.raster_source import open_raster
from terrain.reading.surface import read_window

GEOD = Geod(ellps="WGS84")


def whole(path, **options):
    source = open_raster(path, unit="m", **options)
    return source, read_window(source, source.grid.bounds)


@pytest.mark.parametrize(
    "crs, unit, west, north",
    [
        ("EPSG:2277", 1200 / 3937, 2300000.0, 10000000.0),
        ("EPSG:2223", 0.3048, 700000.0, 1000000.0),
        ("EPSG:32610", 1.0, 500000.0, 4100000.0),
    ],
)
def test_cells_are_true_metres_in_any_linear_unit(write_raster, rolling, crs, unit, west, north):
    _, surface = whole(write_raster(rolling, crs=crs, transform=Affine(3.0, 0.0, west, 0.0, -3.0, north)))
    grid = surface.grid
    assert grid.cell_width == pytest.approx(3.0 * unit, rel=1e-14)
    assert grid.left == pytest.approx(west * unit, rel=1e-14)
    assert grid.map_transform.almost_equals(Affine(3.0, 0.0, west, 0.0, -3.0, north), precision=1e-6)


def test_web_mercator_cells_are_measured_along_the_ellipsoid(write_raster, rolling):
    transform = Affine(2.0, 0.0, -10_000_000.0, 0.0, -2.0, 5_000_000.0)
    _, surface = whole(write_raster(rolling, crs="EPSG:3857", transform=transform))
    to_lonlat = Transformer.from_crs(3857, 4326, always_xy=True)
    x, y = -10_000_000.0 + 90.0, 5_000_000.0 - 120.0
    lon, lat = to_lonlat.transform([x, x + 2.0, x], [y, y, y + 2.0])
    east = GEOD.line_length(lon[:2], lat[:2])
    north = GEOD.line_length([lon[0], lon[2]], [lat[0], lat[2]])
    assert surface.grid.cell_width == pytest.approx(east, rel=1e-5)
    assert surface.grid.cell_height == pytest.approx(north, rel=1e-5)
    assert surface.grid.cell_width < 1.6


def test_a_survey_projections_own_scale_is_left_alone():
    crs = CRS("EPSG:32610")
    frame = metric_frame(crs, (-123.0, 37.0))
    assert (frame.x_scale, frame.y_scale, frame.unit) == (1.0, 1.0, 1.0)


def test_a_crs_without_name_or_code_serves(write_raster, rolling):
    wkt = (
        'PROJCS["unnamed",GEOGCS["unnamed",DATUM["unknown",SPHEROID["GRS80",6378137,298.257222101]],'
        'PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],'
        'PARAMETER["latitude_of_origin",0],PARAMETER["central_meridian",-123],PARAMETER["scale_factor",0.9996],'
        'PARAMETER["false_easting",500000],PARAMETER["false_northing",0],UNIT["US survey foot",0.304800609601219]]'
    )
    _, surface = whole(write_raster(rolling, crs=wkt, transform=Affine(2.0, 0.0, 1640000.0, 0.0, -2.0, 13000000.0)))
    assert surface.grid.cell_width == pytest.approx(2.0 * 1200 / 3937, rel=1e-9)
    assert surface.grid.frame.crs.to_epsg() is None
    np.testing.assert_array_equal(surface.elevation, rolling)


def test_the_vertical_part_is_dropped(write_raster, rolling):
    source, _ = whole(write_raster(rolling, crs="EPSG:6339+5703"))
    assert source.grid.frame.crs == CRS("EPSG:6339")
    assert source.vertical_datum == "NAVD88 height"
    assert horizontal_part(CRS("EPSG:32610").to_3d(), "x") == CRS("EPSG:32610")


def test_a_crs_bound_to_another_datum_keeps_its_own_plane():
    bound = CRS.from_string("+proj=utm +zone=33 +ellps=bessel +towgs84=598,73,418,0,0,0,0 +units=m +type=crs")
    assert bound.is_bound
    assert horizontal_part(bound, "x").is_projected
    assert not horizontal_part(bound, "x").is_bound


@pytest.mark.parametrize(
    "near, code", [((-123.1, 37.0), 32610), ((151.2, -33.9), 32756), ((-180.0, 1.0), 32601), ((180.0, 1.0), 32660)]
)
def test_utm_zone(near, code):
    # zones are six degrees wide, counted from 180 W: EPSG guidance note 7-1
    assert utm_zone(near).to_epsg() == code


TURNS = {
    "south first": (lambda h: h[::-1], lambda c, n: Affine(c, 0, 500000, 0, c, 4100000 - n * c)),
    "east first": (lambda h: h[:, ::-1], lambda c, n: Affine(-c, 0, 500000 + 90 * c, 0, -c, 4100000)),
    "columns for rows": (lambda h: h.T, lambda c, n: Affine(0, c, 500000, -c, 0, 4100000)),
}


@pytest.mark.parametrize("turn", TURNS)
def test_flips_and_right_angles_are_undone_exactly(write_raster, rolling, turn):
    flip, place = TURNS[turn]
    path = write_raster(np.ascontiguousarray(flip(rolling)), transform=place(0.5, rolling.shape[0]))
    source, surface = whole(path)
    assert source.warped
    assert surface.grid.bounds == (500000.0, 4099940.0, 500045.0, 4100000.0)
    np.testing.assert_array_equal(surface.elevation, rolling)
    assert "raster_turned" in {line.code for line in surface.warnings}


def test_unknown_cells_stay_where_they_are_when_rows_are_undone(write_raster, rolling):
    heights = rolling.copy()
    heights[40:60, 30:50] = np.nan
    # a third of a foot: no cell's middle is a round number
    cell, north = 0.3048 / 3.0, 4100000.123
    place = Affine(cell, 0, 500000.456, 0, cell, north - rolling.shape[0] * cell)
    _, surface = whole(write_raster(np.ascontiguousarray(heights[::-1]), transform=place))
    np.testing.assert_array_equal(surface.elevation, heights)


def test_a_turned_raster_gives_the_plane_it_holds(write_raster):
    cos, sin = 0.5 * np.cos(np.radians(31.0)), 0.5 * np.sin(np.radians(31.0))
    transform = Affine(cos, sin, 500000.0, sin, -cos, 4100000.0)
    row, column = np.mgrid[0:200, 0:240] + 0.5
    x = transform.a * column + transform.b * row + transform.c
    y = transform.d * column + transform.e * row + transform.f
    _, surface = whole(write_raster(100.0 + 0.03 * (x - 500000.0) - 0.02 * (y - 4100000.0), transform=transform))
    rows, columns = np.nonzero(np.isfinite(surface.elevation))
    cx, cy = surface.grid.centres(rows, columns)
    expected = 100.0 + 0.03 * (cx - 500000.0) - 0.02 * (cy - 4100000.0)
    inside = np.abs(surface.elevation[rows, columns] - expected) < 1e-6
    assert inside.mean() > 0.97  # beyond the middle of the rim's cells the rim's own heights hold
    assert len(rows) * surface.grid.cell_area == pytest.approx(200 * 240 * 0.25, rel=0.01)


def geographic(write_raster, size=300):
    transform = Affine(1e-5, 0.0, -95.0, 0.0, -1e-5, 30.0)
    row, column = np.mgrid[0:size, 0:size]
    heights = 30.0 + 0.01 * column + 0.5 * np.sin(row / 20.0)
    return heights, transform, write_raster(heights, crs="EPSG:4326", transform=transform)


def test_a_geographic_raster_is_brought_to_its_utm_zone(write_raster):
    _, _, path = geographic(write_raster)
    source, surface = whole(path)
    assert source.grid.frame.crs.to_epsg() == 32615
    assert surface.grid.cell_width == pytest.approx(GEOD.line_length([-95.0, -95.0 + 1e-5], [29.999, 29.999]), rel=1e-3)
    assert "raster_in_degrees" in {line.code for line in surface.warnings}


def test_a_geographic_raster_agrees_with_gdals_own_warp(write_raster):
    heights, transform, path = geographic(write_raster)
    _, surface = whole(path)
    warped = np.full(surface.grid.shape, np.nan)
    reproject(
        heights, warped, src_transform=transform, src_crs="EPSG:4326", dst_transform=surface.grid.map_transform,
        dst_crs="EPSG:32615", src_nodata=np.nan, dst_nodata=np.nan, resampling=Resampling.bilinear,
    )  # fmt: skip
    inner = np.s_[10:-10, 10:-10]
    # GDAL places cells by an approximation good to an eighth of a cell
    np.testing.assert_allclose(surface.elevation[inner], warped[inner], atol=2e-3)


def test_a_warped_window_is_a_part_of_the_whole(write_raster):
    _, _, path = geographic(write_raster)
    source, large = whole(path)
    west, south, _, _ = large.grid.bounds
    small = read_window(source, (west + 51.0, south + 62.0, west + 120.0, south + 130.0))
    row, column = large.grid.cells(*small.grid.centres(0, 0))
    rows, columns = small.grid.shape
    np.testing.assert_array_equal(small.elevation, large.elevation[row : row + rows, column : column + columns])


def test_nodata_does_not_leak_into_warped_cells(write_raster):
    transform = Affine(1e-5, 0.0, -95.0, 0.0, -1e-5, 30.0)
    heights = np.full((200, 200), 50.0)
    heights[80:120, 80:120] = -9999.0
    _, surface = whole(write_raster(heights, crs="EPSG:4326", transform=transform))
    known = surface.elevation[np.isfinite(surface.elevation)]
    assert np.abs(known - 50.0).max() < 1e-9
    assert np.isnan(surface.elevation).sum() > 1600
