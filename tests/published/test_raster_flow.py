"""Filling, directions, accumulation and water at rest, against closed forms, two public libraries and a real raster.

Barnes, Lehman and Mulla, "Priority-flood", Computers & Geosciences 62, 2014, says what a filled surface is: the least
over all ways to the border of the highest ground on the way. Barnes, Callaghan and Wickert, "Fill-Spill-Merge", Earth
Surface Dynamics 9, 2021, says how water settles. Neither prints a figure that a test could take, so surfaces whose
answer is a formula stand here, and scikit-image and pyflwdir as other people's programs.
"""

from pathlib import Path

import numpy as np
import pyflwdir
import pytest
import rasterio
from skimage.morphology import reconstruction

from terrain.flow.drainage import LEAVES, drain_ground, undrained
from terrain.flow.low_spots import find_low_spots, settle_water
from terrain.flow.pysheds_adapter import self_check
from terrain.ground import BARRIER, OPEN

RASTER = Path(__file__).parents[1] / "data" / "one_metre_ground.tif"
D8 = {(0, 1): 1, (1, 1): 2, (1, 0): 4, (1, -1): 8, (0, -1): 16, (-1, -1): 32, (-1, 0): 64, (-1, 1): 128}


@pytest.fixture(scope="module")
def real_ground(ground_of):
    with rasterio.open(RASTER) as file:
        return ground_of(file.read(1).astype(np.float64))


def reconstructed(z):
    """The filled surface as a morphological reconstruction by erosion from the rim."""
    seed = z.copy()
    seed[1:-1, 1:-1] = z.max()
    return reconstruction(seed, z, method="erosion")


def codes(drained):
    """Directions as the powers of two that other programs read; 0 where water leaves."""
    rows, columns = drained.filled.shape
    here = np.arange(drained.target.size)
    down = np.where(drained.target >= 0, drained.target, here)
    steps = zip((down // columns - here // columns).tolist(), (down % columns - here % columns).tolist(), strict=True)
    return np.array([D8.get(step, 0) for step in steps], dtype=np.uint8).reshape(rows, columns)


def rough(seed, shape=(60, 70), whole=False):
    """Rough ground in steps of 1/64 m, which single precision holds exactly."""
    random = np.random.default_rng(seed)
    row, column = np.indices(shape)
    z = 20.0 - 0.05 * row - 0.03 * column + np.sin(row / 7.0) * np.cos(column / 5.0) + random.uniform(0, 0.6, shape)
    return np.round(z * (4 if whole else 64)) / (4 if whole else 64)


@pytest.mark.parametrize("whole", [False, True])
@pytest.mark.parametrize("seed", range(5))
def test_filled_surface_equals_a_reconstruction(ground_of, seed, whole):
    z = rough(seed, whole=whole)
    np.testing.assert_array_equal(drain_ground(ground_of(z)).filled, reconstructed(z))


@pytest.mark.parametrize("seed", range(5))
def test_directions_equal_pyflwdir_where_the_steepest_way_is_the_lowest(ground_of, seed):
    # pyflwdir goes to the lowest neighbour, we to the steepest: they agree where these are one, and no two are as low
    z = rough(seed)
    drained = drain_ground(ground_of(z))
    theirs = pyflwdir.from_dem(z, nodata=-9999.0).to_array(ftype="d8")
    filled = drained.filled
    padded = np.pad(filled, 1, constant_values=np.inf)
    steps = list(D8)
    around = np.stack([padded[1 + s : padded.shape[0] - 1 + s, 1 + e : padded.shape[1] - 1 + e] for s, e in steps])
    falls = (filled - around) / np.array([np.hypot(s, e) for s, e in steps])[:, None, None]
    low = np.sort(around, axis=0)
    clear = (falls.max(axis=0) > 0) & (low[0] < low[1]) & (falls.argmax(axis=0) == around.argmin(axis=0))
    assert clear.mean() > 0.4
    np.testing.assert_array_equal(codes(drained)[clear], theirs[clear])


@pytest.mark.parametrize("south, east", [(1, 1), (1, -1), (-1, 1), (-1, -1)])
def test_directions_and_accumulation_equal_pyflwdir_on_a_plane_that_falls_along_the_diagonal(ground_of, south, east):
    row, column = np.indices((40, 60))
    z = 100.0 - 0.25 * (south * row + east * column)
    drained = drain_ground(ground_of(z))
    theirs = pyflwdir.from_dem(z, nodata=-9999.0)
    inside = np.zeros(z.shape, dtype=bool)
    inside[1:-1, 1:-1] = True
    np.testing.assert_array_equal(codes(drained)[inside], theirs.to_array(ftype="d8")[inside])
    # on the rim the ways differ, but no rim cell drains inward past the second line from its edge
    deep = np.zeros(z.shape, dtype=bool)
    deep[2:-2, 2:-2] = True
    np.testing.assert_array_equal(drained.accumulation[deep], theirs.upstream_area("cell")[deep])


@pytest.mark.parametrize("whole", [False, True])
def test_accumulation_over_our_directions_equals_pyflwdirs(ground_of, whole):
    drained = drain_ground(ground_of(rough(3, whole=whole)))
    theirs = pyflwdir.from_array(codes(drained), ftype="d8", check_ftype=False).upstream_area("cell")
    np.testing.assert_array_equal(drained.accumulation, theirs)


def test_a_real_raster_fills_as_a_reconstruction_and_drains_whole(real_ground):
    drained = drain_ground(real_ground)
    np.testing.assert_array_equal(drained.filled, reconstructed(real_ground.elevation))
    assert undrained(drained) == 0
    assert drained.accumulation.ravel()[drained.target == LEAVES].sum() == real_ground.elevation.size
    theirs = pyflwdir.from_array(codes(drained), ftype="d8", check_ftype=False).upstream_area("cell")
    np.testing.assert_array_equal(drained.accumulation, theirs)


def test_a_real_raster_is_the_same_to_the_kernel_and_pysheds(real_ground):
    assert self_check(drain_ground(real_ground)) == ()


@pytest.mark.parametrize("rain", [0.0, 0.002, 0.05, 3.0])
def test_water_on_a_real_raster_stands_or_leaves(real_ground, rain):
    drained = drain_ground(real_ground)
    spots = find_low_spots(drained, rmse=0.1, min_area=100.0, min_depth=0.5)
    settled = settle_water(drained, np.full(real_ground.grid.shape, rain), spots)
    fallen = rain * real_ground.elevation.size
    assert settled.stands + settled.leaves == pytest.approx(fallen, rel=1e-9, abs=1e-12)
    assert settled.depth.sum() == pytest.approx(settled.stands, rel=1e-9, abs=1e-9)
    for spot in spots:
        assert settled.stored[spot.id] <= spot.volume * (1 + 1e-9)


def test_closed_basins_of_a_real_raster(real_ground):
    drained = drain_ground(real_ground)
    filled = reconstructed(real_ground.elevation)
    spots = find_low_spots(drained, rmse=0.1, min_area=0.0, min_depth=0.0)
    outer = [spot for spot in spots if spot.contained_in is None]
    assert sum(spot.volume for spot in outer) == pytest.approx((filled - real_ground.elevation).sum(), rel=1e-9)
    assert sum(spot.area for spot in outer) == (filled > real_ground.elevation).sum()
    assert outer[0].depth > 1.0
    assert any(spot.contained_in == outer[0].id for spot in spots)


def bowl(shape_of, cell):
    """A bowl of radius 8 and depth 1 in a plain at 0, its middle at a corner of cells. [m]"""
    half = np.arange(cell / 2, 9, cell)
    x = np.concatenate([-half[::-1], half])
    return np.minimum(shape_of(*np.meshgrid(x, x)), 0.0)


PARABOLOID = (lambda x, y: (x**2 + y**2) / 64 - 1, 32 * np.pi)
CONE = (lambda x, y: np.hypot(x, y) / 8 - 1, 64 * np.pi / 3)
PYRAMID = (lambda x, y: np.maximum(abs(x), abs(y)) / 8 - 1, 256 / 3)


@pytest.mark.parametrize(
    "solid, cell, volume, tolerance",
    [(PARABOLOID, 1.0, 100.625, 5e-4), (PARABOLOID, 0.25, 100.531, 5e-4), (CONE, 1.0, 67.058, 5e-4),
     (CONE, 0.25, 67.0207, 5e-5), (PYRAMID, 1.0, 86.0, 1e-9)],
)  # fmt: skip
def test_volume_of_a_bowl(ground_of, solid, cell, volume, tolerance):
    shape_of, exact = solid
    drained = drain_ground(ground_of(bowl(shape_of, cell), cell_width=cell, cell_height=cell))
    (spot,) = find_low_spots(drained, rmse=0.1)
    assert spot.volume == pytest.approx(volume, abs=tolerance)
    assert spot.volume == pytest.approx(exact, rel=0.008)
    # half full by depth, a cone holds an eighth and a paraboloid a quarter
    if cell < 1.0:
        share = 0.25 if solid is PARABOLOID else 0.125
        assert np.interp(-0.5, spot.levels, spot.volumes) == pytest.approx(share * exact, rel=0.01)


def basin():
    z = np.full((5, 5), 10.0)
    z[1:4, 1:4] = 9.0
    z[2, 2] = 7.0
    return z


def test_a_closed_basin_of_nine_cells(ground_of):
    (spot,) = find_low_spots(drain_ground(ground_of(basin())), rmse=0.1)
    assert spot.volume == 11.0


def test_a_basin_with_a_notch_fills_to_the_notch(ground_of):
    z = basin()
    z[3, 4] = 9.5
    (spot,) = find_low_spots(drain_ground(ground_of(z)), rmse=0.1)
    assert (spot.spill_elevation, spot.volume) == (9.5, 6.5)
    assert divmod(spot.spill_cell, 5) == (3, 4)


@pytest.mark.parametrize(
    "water, west, east, leaves", [(3, 5.0, 3.0, 0), (5, 6.0, 4.0, 0), (13, 8.0, 8.0, 0), (14, 8.0, 8.0, 1)]
)
def test_fill_spill_and_merge_in_one_dimension(ground_of, water, west, east, leaves):
    profile = [10.0, 2.0, 6.0, 3.0, 8.0, 0.0]
    z = np.tile([0.0, *profile], (3, 1))
    kind = np.full(z.shape, BARRIER)
    kind[1, 1:] = OPEN
    runoff = np.zeros(z.shape)
    runoff[1, 2] = water
    settled = settle_water(drain_ground(ground_of(z, kind=kind)), runoff)
    level = settled.depth[1, 1:] + profile
    assert (level[1], level[3], settled.leaves) == (west, east, leaves)


@pytest.mark.parametrize("turns", range(4))
def test_an_inclined_plane_gathers_as_far_as_it_is_long(ground_of, turns):
    # along an axis the specific catchment area is n dx; along the diagonal n sqrt 2 dx, over dx / sqrt 2 of contour
    row, column = np.indices((30, 30))
    square = drain_ground(ground_of(np.rot90(100.0 - 0.1 * column, turns), cell_width=2.0, cell_height=2.0))
    along = np.rot90(square.accumulation, -turns) / 2.0
    np.testing.assert_allclose(along, 2.0 * (column + 1))
    slanting = drain_ground(ground_of(np.rot90(100.0 - 0.1 * (row + column), turns), cell_width=2.0, cell_height=2.0))
    inner = np.rot90(slanting.accumulation, -turns)[:-1, :-1]
    steps = np.minimum(row, column)[:-1, :-1] + 1
    np.testing.assert_allclose(inner / (2.0 / np.sqrt(2)), steps * np.sqrt(2) * 2.0)


def test_all_of_a_cone_leaves_over_the_border(ground_of):
    y, x = np.indices((101, 101)) - 50
    drained = drain_ground(ground_of(-np.hypot(x, y)))
    assert drained.accumulation.ravel()[drained.target == LEAVES].sum() == 10201


def test_a_funnel_gathers_every_cell_in_its_middle(ground_of):
    y, x = np.indices((101, 101)) - 50
    radius = np.hypot(x, y)
    z = np.where((radius > 48) | (radius == 0), np.nan, radius)
    drained = drain_ground(ground_of(z))
    ring = (radius < 2) & (radius > 0)
    assert drained.accumulation[ring & (drained.target.reshape(z.shape) == LEAVES)].sum() == np.isfinite(z).sum()
