"""Points of other people's files: a classed tile and a COPC tree out of a public library's tests.

tests/data/README.md names them.

Classes are those of the ASPRS LAS Specification 1.4-R15, table 17: 2 ground, 6 building, 7 low noise, 9 water, 18 high
noise. It prints no figure that a test of a raster could take, so scipy's interpolation stands beside ours as another
program's, and laspy's own whole reading beside our reading of a window.
"""

from pathlib import Path

import laspy
import numpy as np
import pytest
import shapely
from scipy.interpolate import LinearNDInterpolator

from terrain.metric_frame import metric_frame
from terrain.points.ground_raster import ground_of_points
from terrain.points.roofs import roofs_by_class
from terrain.reading.points_file import open_points
from terrain.reading.points_window import GROUND, read_points

DATA = Path(__file__).parents[1] / "data"


@pytest.fixture(scope="module")
def tile():
    source = open_points(DATA / "classed_points.laz")
    frame = metric_frame(source.horizontal, (-96.7, 41.2))
    # a little beyond the last point, which lies on the tile's rim
    west, south, east, north = (each * frame.x_scale for each in source.bounds)
    cloud = read_points([source], frame, (west, south, east + 0.01, north + 0.01))
    return source, frame, cloud


@pytest.fixture(scope="module")
def ground(tile):
    _, frame, cloud = tile
    return ground_of_points(cloud, frame, "classed_points.laz")


def test_a_real_tile_is_read_in_its_own_units_without_its_noise(tile):
    source, _, cloud = tile
    held = laspy.read(source.path)
    kind = np.asarray(held.classification)
    # its WKT says nothing of heights, its GeoTIFF keys say US survey feet
    assert source.vertical.unit == "ftUS"
    assert cloud.kind.size == int((kind != 7).sum())
    assert cloud.left_out == int((kind == 7).sum()) == 25
    z = np.asarray(held.z)[kind != 7] * 1200.0 / 3937.0
    np.testing.assert_allclose(np.sort(cloud.base + cloud.z.astype(float)), np.sort(z), atol=1e-4)


def test_ground_of_a_real_tile_is_what_scipy_makes_of_its_points(tile, ground):
    _, _, cloud = tile
    held = cloud.of(cloud.kind == GROUND)
    west, south, _, _ = cloud.bounds
    places = np.column_stack([held.x, held.y]).astype(float)
    x, y = ground.grid.centres(*np.indices(ground.grid.shape))
    by_all = LinearNDInterpolator(places, held.z.astype(float))(x - west, y - south) + cloud.base
    both = np.isfinite(by_all) & np.isfinite(ground.elevation) & ground.near
    assert both.mean() > 0.4
    off = ground.elevation[both] - by_all[both]
    # one mean a cell against every point: within the scatter of this flight's returns
    assert np.sqrt(np.mean(off**2)) < 0.02
    assert abs(off.mean()) < 0.003


def test_roofs_of_a_real_tile_hold_its_building_points(tile, ground):
    _, _, cloud = tile
    roofs = shapely.union_all(roofs_by_class(cloud, ground))
    west, south, _, _ = cloud.bounds
    x, y = cloud.x + west, cloud.y + south
    inside = shapely.contains_xy(roofs.buffer(0.5), x, y)
    assert inside[cloud.kind == 6].mean() > 0.95
    # cells of a quarter meter with building points, counted by numpy alone
    cells = np.unique(np.floor(np.column_stack([cloud.x, cloud.y])[cloud.kind == 6] / 0.25), axis=0)
    assert roofs.area == pytest.approx(len(cells) * 0.25**2, rel=0.15)


def test_a_window_of_a_real_tree_is_what_lies_in_it():
    source = open_points(DATA / "tree_points.copc.laz")
    assert source.tree
    assert source.vertical.unit == "ftUS"
    frame = metric_frame(source.horizontal, (-123.1, 44.1))
    held = laspy.read(source.path)
    x, y = np.asarray(held.x) * frame.x_scale, np.asarray(held.y) * frame.y_scale
    west, south, east, north = np.percentile(x, 20), np.percentile(y, 30), np.percentile(x, 70), np.percentile(y, 80)
    inside = (x >= west) & (x < east) & (y >= south) & (y < north)
    cloud = read_points([source], frame, (west, south, east, north))
    assert cloud.kind.size == int(inside.sum()) > 100
    np.testing.assert_allclose(np.sort(cloud.x), np.sort(x[inside] - west), atol=1e-3)
