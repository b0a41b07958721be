"""The sample neighbourhood from points made of its true ground: raster, houses, and what is said of them.

Classes and flags are those of the ASPRS LAS Specification 1.4-R15; the ground is invented.
"""

from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import CRS, Transformer

from pipelines.inputs.errors import LayerError
from pipelines.inputs.lidar_finds import ground_from_points, roofs_from_surface
from terrain.errors import GroundError

SAMPLES = Path(__file__).parents[3] / "sample_data"
LAYERS = SAMPLES / "neighbourhood.gpkg"
SEEN = shapely.box(711_980.0, 3_319_950.0, 712_110.0, 3_320_080.0)
LOT_7 = {"layer": "parcels", "where": "lot = 7"}


@pytest.fixture(scope="module")
def true_surface(claywick_points):
    return claywick_points.true_surface


@pytest.fixture(scope="module")
def houses():
    roofs = gpd.read_file(LAYERS, layer="roofs")
    return list(roofs[roofs["part"] == "house"].geometry)


@pytest.fixture(scope="module")
def tiles(claywick_points, sample_returns, tmp_path_factory):
    """Two tiles that share no point, every class in them."""
    folder = tmp_path_factory.mktemp("tiles")
    west = sample_returns.x < 712_000.0
    return [
        claywick_points.write_points(folder / name, sample_returns.of(part))
        for name, part in (("west.laz", west), ("east.laz", ~west))
    ]


@pytest.fixture(scope="module")
def by_class(tiles):
    return ground_from_points(tiles, LAYERS, **LOT_7)


@pytest.fixture(scope="module")
def without_classes(claywick_points, sample_returns, tmp_path_factory):
    """The same where a producer classed the ground alone."""
    path = tmp_path_factory.mktemp("plain") / "plain.laz"
    claywick_points.write_points(path, sample_returns, buildings=False, plants=False)
    return ground_from_points([path], LAYERS, **LOT_7)


def held_against(found, houses):
    """Share of the houses' area found, largest area invented, mean distance of an eave from where it is. [-, m2, m]"""
    true = shapely.union_all(houses)
    invented = max(roof.difference(true.buffer(0.7)).area for roof in found)
    off = []
    for house in houses:
        roof = max(found, key=lambda each: each.intersection(house).area)
        around = shapely.line_interpolate_point(house.exterior, np.linspace(0.0, 1.0, 100), normalized=True)
        off.append(shapely.distance(roof.exterior, around).mean())
    return shapely.union_all(found).intersection(true).area / true.area, invented, float(np.mean(off))


def test_the_raster_lies_within_the_noise_of_the_true_ground(by_class, true_surface, claywick_points):
    ground, found = by_class
    grid, z = ground.raster.grid, ground.raster.values
    assert ground.raster.unit == "m"
    assert grid.cell_width == 0.5
    x, y = grid.centres(*np.indices(grid.shape))
    open_ground = np.isfinite(z) & ~shapely.contains_xy(shapely.union_all(found.roofs).buffer(1.5), x, y)
    off = z[open_ground] - true_surface(x[open_ground], y[open_ground])
    # the middle of cells whose points scatter by WHITE; breaks of slope that no point hit make the tail
    assert np.median(np.abs(off)) < claywick_points.WHITE
    assert abs(off.mean()) < 0.005
    assert np.percentile(np.abs(off), 95) < 2.0 * claywick_points.WHITE
    assert np.isfinite(z).mean() > 0.98


def test_houses_are_found_by_their_class(by_class, houses):
    _, found = by_class
    share, invented, off = held_against(found.roofs, houses)
    assert found.by_class
    assert len(found.roofs) == 18
    assert share >= 0.95
    assert invented <= 20.0
    assert off <= 0.7
    assert found.roofs_on_lot == 1


def test_houses_are_found_without_a_class_and_no_tree_is_one(without_classes, houses):
    _, found = without_classes
    share, invented, off = held_against(found.roofs, houses)
    assert not found.by_class
    assert share >= 0.85
    assert invented <= 20.0
    assert off <= 0.7


@pytest.mark.thorough
@pytest.mark.parametrize("density", [2.0, 8.0, 20.0])
@pytest.mark.parametrize("classed", [True, False])
def test_houses_at_every_density(density, classed, claywick_points, houses, tmp_path):
    made = claywick_points.returns(density, seed=11, trees=120)
    path = claywick_points.write_points(tmp_path / "tile.laz", made, buildings=classed, plants=classed)
    _, found = ground_from_points([path], LAYERS, **LOT_7)
    share, invented, off = held_against(found.roofs, houses)
    assert share >= (0.95 if classed else 0.85)
    assert invented <= 20.0
    assert off <= 0.7


def test_the_pond_is_kept_as_water_and_level_in_the_ground(by_class):
    ground, found = by_class
    pond = max(found.water, key=lambda each: each.area)
    row, column = ground.raster.grid.cells(pond.centroid.x, pond.centroid.y)
    assert ground.raster.values[row, column] == pytest.approx(210.60, abs=0.05)
    assert pond.area == pytest.approx(np.pi * 24.0 * 18.0, rel=0.08)


def test_what_is_said_of_accuracy(by_class):
    ground, found = by_class
    assert ground.quality.density == pytest.approx(2.0, rel=0.05)
    assert ground.quality.ground_share > 0.97
    # paving scatters by 1 cm, lawn by 2
    assert 0.008 < ground.quality.roughness < 0.02
    assert ground.rmse is None
    assert found.warnings == ()
    assert ground.left_out == pytest.approx(0.15 / 1.15 * (ground.points + ground.left_out), rel=0.05)
    assert ground.crs.is_compound


def test_rough_points_and_dense_plants_are_told(claywick_points, sample_returns, tmp_path):
    generator = np.random.default_rng(2)
    parcel = gpd.read_file(LAYERS, layer="parcels", where="lot = 7").geometry.iloc[0]
    west, south, east, north = parcel.bounds
    x, y = (west + east) / 2.0, (south + north) / 2.0
    near = (np.abs(sample_returns.x - x) < 60.0) & (np.abs(sample_returns.y - y) < 60.0)
    here = sample_returns.of(near)
    here.z[:] += 0.12 * generator.standard_normal(here.z.size)
    plants = (here.kind == claywick_points.GROUND) & (here.y > north - 15.0)
    here.kind[plants] = claywick_points.LOW
    path = claywick_points.write_points(tmp_path / "tile.laz", here)
    ground, found = ground_from_points([path], LAYERS, **LOT_7)
    assert ground.rmse == pytest.approx(ground.quality.roughness / 0.6)
    assert ground.rmse > 0.10
    (told,) = found.warnings
    assert told.code == "few_ground_points"
    assert told["side"].code == "part_north"
    assert told["area"] > 200.0


def test_a_tile_elsewhere_is_told_and_one_alone_refused(tiles, claywick_points, sample_returns, tmp_path):
    far = sample_returns.of(slice(0, 2000))
    far.x[:] += 5_000.0
    other = claywick_points.write_points(tmp_path / "far.laz", far)
    _, found = ground_from_points([tiles[1], other], LAYERS, **LOT_7)
    assert [each.code for each in found.warnings] == ["points_tile_unused"]
    assert [path.name for path in found.files] == ["east.laz"]
    with pytest.raises(GroundError, match=r"the parcel lies outside far\.laz: .* its right CRS with --crs"):
        ground_from_points([other], LAYERS, **LOT_7)
    with pytest.raises(LayerError, match="it selects 18 parcels; select one with --where"):
        ground_from_points(tiles, LAYERS, layer="parcels")


def test_a_tile_in_feet_gives_a_raster_in_feet(claywick_points, sample_returns, tmp_path, true_surface):
    to_feet = Transformer.from_crs("EPSG:32617", "EPSG:2236", always_xy=True)
    near = np.hypot(sample_returns.x - 712_000.0, sample_returns.y - 3_320_000.0) < 80.0
    here = sample_returns.of(near)
    x, y = to_feet.transform(here.x, here.y)
    foot = 1200.0 / 3937.0
    path = claywick_points.write_points(
        tmp_path / "feet.laz", replace(here, x=x, y=y, z=here.z / foot), crs="EPSG:2236+6360"
    )
    ground, _ = ground_from_points([path], LAYERS, layer="parcels", where="lot = 5")
    assert ground.raster.unit == "ftUS"
    grid = ground.raster.grid
    assert grid.cell_width == 0.5
    x, y = grid.centres(*np.nonzero(np.isfinite(ground.raster.values)))
    back = to_feet.transform(x / grid.frame.x_scale, y / grid.frame.y_scale, direction="INVERSE")
    off = ground.raster.values[np.isfinite(ground.raster.values)] * foot - true_surface(*back)
    assert np.median(np.abs(off)) < 0.02
    assert CRS.from_user_input(ground.crs.sub_crs_list[1]).to_epsg() == 6360


@pytest.fixture
def surface_raster(claywick_points, true_surface, tmp_path):
    """A raster of the surface around lot 7 with houses and one tree, as an agency hands it out."""
    west, _, _, north = SEEN.bounds
    cell, count = 0.5, 260
    x, y = np.meshgrid(west + (np.arange(count) + 0.5) * cell, north - (np.arange(count) + 0.5) * cell)
    generator = np.random.default_rng(4)
    z, kind = true_surface(x, y), np.full(x.shape, 2)
    s, t = claywick_points.to_st(x, y)
    claywick_points._put_houses(z, kind, s, t, generator)
    tree = np.hypot(x - (west + 40.0), y - (north - 90.0)) < 5.0
    z[tree] += generator.uniform(3.0, 8.0, int(tree.sum()))

    def write(name="dsm.tif", crs="EPSG:32617"):
        profile = {"driver": "GTiff", "width": count, "height": count, "count": 1, "dtype": "float32", "crs": crs,
                   "transform": Affine(cell, 0.0, west, 0.0, -cell, north), "nodata": -9999.0}  # fmt: skip
        with rasterio.open(tmp_path / name, "w", **profile) as file:
            file.write(z.astype(np.float32), 1)
            file.units = ("m",)
        return tmp_path / name

    return write


def test_roofs_are_found_between_two_rasters(surface_raster, houses):
    found = roofs_from_surface(SAMPLES / "ground.tif", surface_raster(), LAYERS, **LOT_7)
    whole = [house for house in houses if SEEN.contains(house)]
    # those that the raster's edge cuts are no fair ones
    seen = [roof for roof in found.roofs if SEEN.buffer(-0.5).contains(roof)]
    share, invented, off = held_against(seen, whole)
    assert len(whole) >= 5
    assert share >= 0.85
    assert invented <= 20.0
    assert off <= 0.7
    assert found.roofs_on_lot == 1
    with pytest.raises(GroundError, match=r"give both in one CRS"):
        roofs_from_surface(SAMPLES / "ground.tif", surface_raster("far.tif", crs="EPSG:26917"), LAYERS, **LOT_7)
