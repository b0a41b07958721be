"""One lot in metres, in feet of both kinds, on a web map and in degrees, and as `lotshed start` writes it down."""

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
import rasterio
from affine import Affine
from click.testing import Result
from pyproj import Geod, Transformer
from rasterio.warp import Resampling, reproject, transform_bounds

from pipelines.deliverables.files.text_file import summary_text
from pipelines.deliverables.lot.summary import summary
from pipelines.lot import screen_lot
from tests.quick_share import one_in

Run = Callable[..., Result]
Written = Callable[..., Path]

# the UTM zone of the lot, in another unit
PLANE = "+proj=tmerc +lat_0=0 +lon_0=-81 +k=0.9996 +x_0=500000 +y_0=0 +ellps=WGS84"
FEET = {"ft": 0.3048, "ftUS": 1200.0 / 3937.0}


def told(site: Path) -> dict[str, Any]:
    """What summary.json would hold."""
    found: dict[str, Any] = json.loads(summary_text(summary(screen_lot(site))))
    return found


@pytest.fixture(scope="module")
def in_metres(tmp_path_factory: pytest.TempPathFactory, write_small_lot: Written) -> Path:
    folder = tmp_path_factory.mktemp("metres")
    write_small_lot(folder)
    return folder


@pytest.fixture(scope="module")
def metric(in_metres: Path) -> dict[str, Any]:
    return told(in_metres / "site.toml")


def near(value: Any, *, rel: float) -> Any:
    """The same, with its numbers near enough."""
    if isinstance(value, dict):
        return {key: near(each, rel=rel) for key, each in value.items()}
    if isinstance(value, list):
        return [near(each, rel=rel) for each in value]
    if isinstance(value, float):
        return pytest.approx(value, rel=rel, abs=1e-9)
    return value


@pytest.mark.parametrize("unit", one_in(2, sorted(FEET, reverse=True)))
def test_feet_answer_as_metres_do(
    unit: str, metric: dict[str, Any], write_small_lot: Written, tmp_path: Path
) -> None:
    site = write_small_lot(
        tmp_path / "lot", crs=f"{PLANE} +units={'us-ft' if unit == 'ftUS' else 'ft'} +type=crs", metres=FEET[unit],
        unit=unit, unit_metres=FEET[unit],
    )
    found = told(site)
    for key in ("name", "study_area_m2", "parcel_area_m2", "run_on_area_m2", "roof_area_m2", "low_spots",
                "water_balance", "warnings", "cautions"):  # fmt: skip
        assert found[key] == near(metric[key], rel=1e-6), key
    # of flow paths that are as long, rounding takes one, which moves a peak by a second or two
    assert found["leaving"] == near(metric["leaving"], rel=1e-3)
    assert [[line[key] for key in ("mode", "verdict", "serves")] for line in found["discharges"]] == [
        [line[key] for key in ("mode", "verdict", "serves")] for line in metric["discharges"]
    ]
    # of ways that cost the same, rounding takes one: half a per cent of the cost
    costs, same = ([way["cost_likely"] for way in each["alternatives"]] for each in (found, metric))
    assert costs == near(same, rel=5e-3)


def test_a_web_map_is_measured_in_true_metres(
    metric: dict[str, Any], write_small_lot: Written, tmp_path: Path
) -> None:
    lon, lat = -81.0, 39.75
    x, y = Transformer.from_crs(4326, 3857, always_xy=True).transform(lon, lat)
    # true metres in one of the map's at that latitude, along the parallel; 0.2 % less than along the meridian
    beside = Transformer.from_crs(3857, 4326, always_xy=True).transform(x + 1.0, y)
    _, _, metres = Geod(ellps="WGS84").inv(lon, lat, *beside)
    site = write_small_lot(tmp_path / "lot", crs="EPSG:3857", metres=metres, east=x * metres, north=y * metres)
    found = told(site)
    (parcel,) = gpd.read_file(tmp_path / "lot" / "shapes.gpkg", layer="parcel").to_crs(4326).geometry
    area, _ = Geod(ellps="WGS84").geometry_area_perimeter(parcel)
    # what the map itself would say is 1.7 times too much
    assert found["parcel_area_m2"] == pytest.approx(abs(area), rel=1e-4)
    assert found["parcel_area_m2"] == pytest.approx(metric["parcel_area_m2"], rel=5e-3)
    assert [line["mode"] for line in found["discharges"]] == [line["mode"] for line in metric["discharges"]]
    assert [line["verdict"] for line in found["discharges"]] == [line["verdict"] for line in metric["discharges"]]
    deepest, same = (max(each["low_spots"], key=lambda spot: spot["depth_m"]) for each in (found, metric))
    assert deepest["depth_m"] == pytest.approx(same["depth_m"], rel=1e-6)
    assert deepest["volume_m3"] == pytest.approx(same["volume_m3"], rel=5e-3)


def test_a_raster_in_degrees_is_brought_to_metres_and_said(
    metric: dict[str, Any], in_metres: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "lot"
    folder.mkdir()
    for name in ("shapes.gpkg", "site.toml"):
        (folder / name).write_bytes((in_metres / name).read_bytes())
    with rasterio.open(in_metres / "ground.tif") as file:
        west, south, east, north = transform_bounds(file.crs, "EPSG:4326", *file.bounds)
        width, height = round(1.3 * file.width), round(1.3 * file.height)
        transform = Affine((east - west) / width, 0.0, west, 0.0, (south - north) / height, north)
        with rasterio.open(
            folder / "ground.tif", "w", driver="GTiff", height=height, width=width, count=1, dtype="float64",
            crs="EPSG:4326", transform=transform, nodata=-999999.0,
        ) as degrees:
            reproject(rasterio.band(file, 1), rasterio.band(degrees, 1), resampling=Resampling.bilinear)
    found = told(folder / "site.toml")
    assert any("its cells are in degrees; elevations are interpolated" in text for text in found["warnings"])
    assert found["parcel_area_m2"] == pytest.approx(metric["parcel_area_m2"], rel=1e-6)
    deepest, same = (max(each["low_spots"], key=lambda spot: spot["depth_m"]) for each in (found, metric))
    # interpolated twice, so smoothed by a centimetre or so
    assert deepest["depth_m"] == pytest.approx(same["depth_m"], abs=0.02)
    assert [line["mode"] for line in found["discharges"]] == [line["mode"] for line in metric["discharges"]]


def test_the_site_file_of_start_is_screened_as_it_is(run: Run, in_metres: Path, tmp_path: Path) -> None:
    site = tmp_path / "deeper" / "site.toml"
    site.parent.mkdir()
    files = in_metres / "ground.tif", in_metres / "shapes.gpkg"
    started = run("start", *files, "--layer", "parcel", "--where", "lot = 1", "--out", site)
    assert started.exit_code == 0, started.stderr
    assert set(tomllib.loads(site.read_text())) == {"name", "units", "elevation", "parcel"}
    result = run("screen", site, "--out", tmp_path / "out", "--json")
    assert result.exit_code == 0, result.stderr
    found = json.loads(result.stdout)
    assert found["parcel_area_m2"] == pytest.approx(19.6 * 21.7)
    assert found["verdict"].startswith("No roofs are given")
    # nothing is assumed in silence
    for part in ("No roofs are given", "No rain is given: 50 mm", "No soil is given", "No accuracy", "No outfall is"):
        assert any(part in text for text in found["warnings"]), part


def test_start_refuses_what_screen_refuses(run: Run, in_metres: Path, tmp_path: Path) -> None:
    result = run("start", in_metres / "ground.tif", in_metres / "shapes.gpkg", "--out", tmp_path / "site.toml")
    assert result.exit_code == 2
    assert "[parcel] shapes.gpkg has several layers (parcel, roofs" in result.stderr
    assert not (tmp_path / "site.toml").exists()
