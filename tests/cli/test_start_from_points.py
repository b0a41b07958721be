"""`start` from tiles of points or from two rasters: the files it leaves, the plan they give, and what it refuses."""

import json
import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
from rasterio.features import rasterize

SAMPLES = Path(__file__).parents[2] / "sample_data"
LOT = ("--layer", "parcels", "--where", "lot = 1")


@pytest.fixture(scope="module")
def tile(claywick_points, sample_returns, tmp_path_factory):
    """Points within 75 m of lot 1, whose houses are not classed."""
    middle = gpd.read_file(SAMPLES / "neighbourhood.gpkg", layer="parcels", where="lot = 1").geometry.iloc[0].centroid
    near = np.hypot(sample_returns.x - middle.x, sample_returns.y - middle.y) < 75.0
    path = tmp_path_factory.mktemp("tile") / "tile.laz"
    return claywick_points.write_points(path, sample_returns.of(near), buildings=False)


@pytest.fixture
def parcel(tmp_path):
    path = tmp_path / "parcels.gpkg"
    parcels = gpd.read_file(SAMPLES / "neighbourhood.gpkg", layer="parcels", where="lot = 1")
    parcels.to_file(path, layer="parcels")
    return path


@pytest.fixture
def started(run, tile, parcel):
    result = run("start", tile, parcel)
    assert result.exit_code == 0, result.stderr
    return result


def test_ground_roofs_and_a_site_file_that_names_both(started, parcel):
    folder = parcel.parent
    assert sorted(path.name for path in folder.iterdir()) == ["found.gpkg", "ground.tif", "parcels.gpkg", "site.toml"]
    site = tomllib.loads((folder / "site.toml").read_text())
    assert site["elevation"]["file"] == "ground.tif"
    assert site["roofs"] == {"file": "found.gpkg", "layer": "roofs"}
    with rasterio.open(folder / "ground.tif") as file:
        assert (file.nodata, file.units) == (-999999.0, ("m",))
        assert "NAVD88" in file.crs.to_wkt()
        assert file.tags()["made_from"] == "tile.laz"
        assert "triangulation" in file.tags()["made_how"]
    assert {name for name, _ in pyogrio.list_layers(folder / "found.gpkg")} >= {"roofs", "water"}
    roofs = gpd.read_file(folder / "found.gpkg", layer="roofs")
    assert roofs["found_in_lidar"].all()
    assert not roofs["by_class"].any()
    assert roofs.crs.to_epsg() == 32617


def test_what_it_says_on_the_terminal_and_in_the_file(started, parcel):
    said = dict(line.split("  ", 1) for line in started.stdout.split("\n\n")[0].splitlines())
    assert "withheld, overlap or noise left out" in said["points"]
    assert said["elevations are in"].strip() == "m (the vertical CRS)"
    assert "on the smoothest ground" in said["points' scatter"]
    assert "1 of them on the lot (what stands 2 m up and is planar, found in lidar)" in said["roofs"]
    text = (parcel.parent / "site.toml").read_text()
    assert "#   points' density: " in text
    assert "# file = \"buildings.gpkg\"" not in text


def test_what_is_found_gives_a_plan_with_works(started, run, parcel, tmp_path):
    out = tmp_path / "out"
    result = run("screen", parcel.parent / "site.toml", "--out", out, "--grounds", "10")
    assert result.exit_code == 0, result.stderr
    summary = json.loads((out / "summary.json").read_text())
    assert summary["catch_basins"]
    assert summary["roof_area_m2"] == pytest.approx(126.0, rel=0.15)
    assert any("found in lidar" in each for each in summary["warnings"])


def test_an_earlier_result_stays_unless_asked_and_what_is_not_ours_always(run, tile, parcel):
    folder = parcel.parent
    (folder / "ground.tif").write_bytes((SAMPLES / "garage_lot.tif").read_bytes())
    refused = run("start", tile, parcel, "--overwrite")
    assert refused.exit_code == 2
    assert "was not written by lotshed, so it stays" in refused.stderr
    assert sorted(path.name for path in folder.iterdir()) == ["ground.tif", "parcels.gpkg"]
    assert run("start", tile, parcel, "--out", folder / "lot_1.toml").exit_code == 0
    assert {"lot_1_ground.tif", "lot_1_found.gpkg", "lot_1.toml"} <= {path.name for path in folder.iterdir()}
    again = run("start", tile, parcel, "--out", folder / "lot_1.toml")
    assert again.exit_code == 2
    assert "exists" in again.stderr
    assert run("start", tile, parcel, "--out", folder / "lot_1.toml", "--overwrite").exit_code == 0
    assert not [path for path in folder.iterdir() if "building" in path.name]


@pytest.mark.parametrize("options, said", [
    (("--crs", "EPSG:99"), "--crs: its CRS means nothing here"),
    (("--crs", "EPSG:32616"), "the parcel lies outside tile.laz"),
    (("--surface", SAMPLES / "ground.tif"), "--surface goes with a ground raster"),
    ((SAMPLES / "ground.tif",), "holds points and"),
])  # fmt: skip
def test_what_does_not_go_together_is_one_message(run, tile, parcel, options, said):
    files = (tile, parcel) if isinstance(options[0], str) else (tile, *options, parcel)
    result = run("start", *files, *(options if isinstance(options[0], str) else ()))
    assert result.exit_code == 2
    assert said in " ".join(result.stderr.replace("\n", " ").split())
    assert "Traceback" not in result.stderr
    assert [path.name for path in parcel.parent.iterdir()] == ["parcels.gpkg"]


def test_points_without_classes_and_a_torn_tile_leave_nothing(
    run, tile, parcel, claywick_points, sample_returns, tmp_path_factory
):
    folder = tmp_path_factory.mktemp("bad")
    middle = gpd.read_file(parcel).geometry.iloc[0].centroid
    near = sample_returns.of(np.hypot(sample_returns.x - middle.x, sample_returns.y - middle.y) < 30.0)
    plain = claywick_points.write_points(folder / "plain.laz", near, classes=False)
    result = run("start", plain, parcel)
    assert result.exit_code == 2
    assert "are classed as ground (class 2 of the LAS specification)" in result.stderr
    torn = folder / "torn.laz"
    torn.write_bytes(tile.read_bytes()[:-5000])
    result = run("start", torn, parcel)
    assert result.exit_code == 2
    assert "torn.laz" in result.stderr
    bare = claywick_points.write_points(folder / "bare.laz", near, crs=None)
    result = run("start", bare, parcel)
    assert result.exit_code == 2
    assert "it has no CRS; give --crs" in result.stderr
    assert [path.name for path in parcel.parent.iterdir()] == ["parcels.gpkg"]
    assert run("start", bare, parcel, "--crs", "EPSG:32617").exit_code == 0


def test_a_surface_beside_a_ground_raster_gives_roofs(run, parcel, tmp_path):
    with rasterio.open(SAMPLES / "ground.tif") as file:
        heights, profile = file.read(1), file.profile
    roofs = gpd.read_file(SAMPLES / "neighbourhood.gpkg", layer="roofs", where="part = 'house'")
    on_roof = rasterize(list(roofs.geometry), out_shape=heights.shape, transform=profile["transform"])
    with rasterio.open(tmp_path / "dsm.tif", "w", **profile) as file:
        file.write(np.where(on_roof == 1, 219.0, heights).astype(np.float32), 1)
    result = run("start", SAMPLES / "ground.tif", parcel, "--surface", tmp_path / "dsm.tif")
    assert result.exit_code == 0, result.stderr
    site = tomllib.loads((tmp_path / "site.toml").read_text())
    assert site["roofs"]["file"] == "found.gpkg"
    assert not (tmp_path / "ground.tif").exists()
    found = gpd.read_file(tmp_path / "found.gpkg", layer="roofs")
    assert found.union_all().intersection(roofs.union_all()).area > 0.85 * roofs.union_all().area
    # two more stand farther off than is looked
    assert "16, 1 of them on the lot" in result.stdout


def test_a_parcel_file_alone_or_two_rasters_are_refused(run, parcel):
    two = run("start", SAMPLES / "ground.tif", SAMPLES / "ember_lane.tif", parcel)
    assert two.exit_code == 2
    assert "2 rasters are given" in two.stderr
    assert run("start", SAMPLES / "ground.tif", parcel, "--crs", "EPSG:32617").exit_code == 2
