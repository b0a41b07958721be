"""Ground from points is the linear interpolation of their triangulation, and outlines are what stands."""

import numpy as np
import pytest
import shapely
from pyproj import CRS
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import Delaunay, cKDTree
from shapely import Polygon, box
from shapely.affinity import rotate

from terrain.errors import GroundError
from terrain.grid import Frame
from terrain.kernels.triangles import fill_triangles
from terrain.points.cells import fit_planes, window_grid
from terrain.points.ground_raster import ground_of_points
from terrain.points.outlines import outlines_of, squared
from terrain.points.quality import point_quality
from terrain.points.roofs import roofs_by_class, roofs_standing
from terrain.reading.points_window import PointCloud

FRAME = Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0)
SIDE = 60.0


def cloud_of(x, y, z, kind=2, *, side=SIDE):
    count = len(x)
    kind = np.broadcast_to(np.asarray(kind, dtype=np.uint8), count).copy()
    columns = [np.asarray(each, dtype=np.float32) for each in (x, y, z)]
    return PointCloud(*columns, kind, np.ones(count, dtype=bool), (1000.0, 2000.0, 1000.0 + side, 2000.0 + side), 0.0)


def scattered(density, *, side=SIDE, seed=1):
    generator = np.random.default_rng(seed)
    return generator.uniform(0.0, side, (2, round(density * side * side)))


def sloping(x, y):
    return 5.0 + 0.03 * x - 0.02 * y


@pytest.mark.parametrize("seed", range(3))
def test_cells_are_interpolated_as_scipy_does_and_alike_uncompiled(seed):
    x, y = np.random.default_rng(seed).uniform(-2.0, 22.0, (2, 60))
    z = np.random.default_rng(seed + 50).normal(size=60)
    triangles = Delaunay(np.column_stack([x, y])).simplices.astype(np.int64)
    filled, plain = np.full((20, 20), np.nan), np.full((20, 20), np.nan)
    fill_triangles(x, y, z, triangles, filled)
    fill_triangles.py_func(x, y, z, triangles, plain)
    rows, columns = np.mgrid[0:20, 0:20]
    expected = LinearNDInterpolator(np.column_stack([x, y]), z)(columns, rows)
    np.testing.assert_allclose(filled, expected, atol=1e-9)
    np.testing.assert_array_equal(filled, plain)


@pytest.mark.parametrize("density, cell", [(0.5, 1.0), (2.0, 0.5), (20.0, 0.25)])
def test_a_plane_stays_a_plane_on_cells_that_fit_the_spacing(density, cell):
    x, y = scattered(density)
    ground = ground_of_points(cloud_of(x, y, sloping(x, y)), FRAME, "a.laz")
    assert ground.grid.cell_width == cell
    assert ground.spacing == pytest.approx(density**-0.5, rel=0.15)
    east, north = ground.grid.centres(*np.indices(ground.grid.shape))
    inside = np.isfinite(ground.elevation)
    assert inside.mean() > 0.95
    off = ground.elevation - sloping(east - 1000.0, north - 2000.0)
    assert np.abs(off[inside]).max() < 2e-5


def test_cells_farther_than_three_spacings_from_ground_are_holes_but_under_roofs():
    x, y = scattered(4.0)
    away = np.hypot(x - 30.0, y - 30.0)
    x, y = x[away > 8.0], y[away > 8.0]
    ground = ground_of_points(cloud_of(x, y, sloping(x, y)), FRAME, "a.laz")
    known = ground.known(np.zeros(ground.grid.shape, dtype=bool))
    east, north = ground.grid.centres(*np.indices(ground.grid.shape))
    tree = cKDTree(np.column_stack([x + 1000.0, y + 2000.0]))
    nearest = tree.query(np.stack([east, north], axis=-1))[0]
    cell = ground.grid.cell_width
    assert np.isnan(known[nearest > 3.0 * ground.spacing + cell]).all()
    assert np.isfinite(known[(nearest < 3.0 * ground.spacing - cell) & np.isfinite(ground.elevation)]).all()
    middle = ground.grid.cells(1030.0, 2030.0)
    assert np.isnan(known[middle])
    roofed = np.zeros(ground.grid.shape, dtype=bool)
    roofed[middle] = True
    assert ground.known(roofed)[middle] == pytest.approx(sloping(30.0, 30.0), abs=0.05)


def test_points_without_a_ground_class_are_refused():
    x, y = scattered(1.0)
    with pytest.raises(GroundError, match=r"fewer than 100 of its 3,600 points are classed as ground .* 1 \(3,600\)"):
        ground_of_points(cloud_of(x, y, x, kind=1), FRAME, "a.laz")
    with pytest.raises(GroundError, match="lie in one line"):
        ground_of_points(cloud_of(np.full(200, 3.3), np.linspace(1.0, 50.0, 200), np.zeros(200)), FRAME, "a.laz")


@pytest.mark.parametrize("turn", [0.0, 17.0, 45.0])
@pytest.mark.parametrize("density", [2.0, 10.0])
def test_an_outline_is_squared_and_as_large_as_what_stands(turn, density):
    shape = rotate(Polygon([(20, 20), (38, 20), (38, 30), (29, 30), (29, 40), (20, 40)]), turn, origin=(30, 30))
    x, y = scattered(density)
    on_it = shapely.contains_xy(shape, x, y)
    placed = shapely.affinity.translate(shape, 1000.0, 2000.0)
    (found,) = outlines_of(cloud_of(x[on_it], y[on_it], np.zeros(on_it.sum())), FRAME, least_area=10.0)
    assert found.symmetric_difference(placed).area < 0.13 * placed.area
    corners = np.asarray(found.exterior.coords)
    assert 7 <= len(corners) <= 13
    along = np.diff(corners, axis=0)
    along /= np.hypot(*along.T)[:, None]
    turns = np.abs(np.sum(along * np.roll(along, 1, axis=0), axis=1))
    assert turns.max() < 1e-6, "every corner is a right angle"


def test_a_rectangle_keeps_its_area_and_a_ring_is_left_round():
    ragged = box(0.0, 0.0, 12.0, 8.0).difference(box(0.0, 0.0, 0.5, 0.5))
    assert squared(ragged).area == pytest.approx(ragged.area)
    assert len(squared(ragged).exterior.coords) == 5
    disc = shapely.Point(0.0, 0.0).buffer(8.0)
    assert squared(disc).symmetric_difference(disc).area < 0.13 * disc.area


def test_what_stands_and_is_planar_is_a_roof_and_a_tree_is_not():
    x, y = scattered(4.0)
    generator = np.random.default_rng(3)
    house, tree = (np.abs(x - 20.0) < 6.0) & (np.abs(y - 20.0) < 5.0), np.hypot(x - 45.0, y - 40.0) < 6.0
    z = 0.02 * generator.standard_normal(x.size)
    z[house] += 3.0 + 0.4 * (5.0 - np.abs(y[house] - 20.0))
    z[tree] += generator.uniform(2.5, 7.0, int(tree.sum()))
    kind = np.where(house | tree, 1, 2)
    cloud = cloud_of(x, y, z, kind)
    ground = ground_of_points(cloud, FRAME, "a.laz")
    assert roofs_by_class(cloud, ground) == []
    (roof,) = roofs_standing(cloud, ground)
    true = box(1014.0, 2015.0, 1026.0, 2025.0)
    assert roof.intersection(true).area > 0.85 * true.area
    assert roof.difference(true).area < 0.15 * true.area


@pytest.mark.parametrize(("degrees", "found"), [(59.0, 1), (61.0, 0)])
def test_what_is_steeper_than_sixty_degrees_is_no_roof(degrees, found):
    x, y = scattered(8.0)
    house = (np.abs(x - 20.0) < 6.0) & (np.abs(y - 20.0) < 5.0)
    z = np.where(house, 3.0 + np.tan(np.radians(degrees)) * (y - 15.0), 0.0)
    cloud = cloud_of(x, y, z, np.where(house, 1, 2))
    assert len(roofs_standing(cloud, ground_of_points(cloud, FRAME, "a.laz"))) == found


def test_what_points_say_of_their_accuracy():
    x, y = scattered(8.0)
    generator = np.random.default_rng(3)
    bare = (x > 40.0) & (y > 40.0)
    z = sloping(x, y) + 0.05 * generator.standard_normal(x.size)
    cloud = cloud_of(x[~bare], y[~bare], z[~bare])
    lot = box(1000.0, 2000.0, 1000.0 + SIDE, 2000.0 + SIDE)
    said = point_quality(cloud, FRAME, lot, box(1000.0, 2000.0, 1010.0, 2010.0))
    # squares of 3 m that only reach into the bare part count whole
    assert said.density == pytest.approx(8.0, rel=0.1)
    assert said.bare_area == pytest.approx(400.0, abs=8.0)
    assert said.bare_middle == pytest.approx((20.0, 20.0), abs=0.5)
    # the smoothest fifth of samples of some 32 lies a little below the whole
    assert 0.042 < said.roughness < 0.05
    fit = fit_planes(cloud, window_grid(cloud, FRAME, 2.0), with_neighbours=False)
    held = fit.points > 10
    assert np.sqrt(np.mean(fit.rms[held] ** 2)) == pytest.approx(0.05, rel=0.03)
