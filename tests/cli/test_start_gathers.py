"""lotshed start gathers what a person has, writes what it found of that, and its site file is screened as it is."""

import importlib.util
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
from pyproj import CRS
from shapely import LineString, Point, box

from pipelines.inputs.gathering import units_of_map

Run = Callable[..., Result]
EAST, NORTH = 500_000.0, 4_400_000.0
LOTS = ((5.2, 4.0, 24.8, 25.7), (-20.0, 4.0, 5.2, 25.7), (24.8, 4.0, 45.0, 25.7), (5.2, 25.7, 24.8, 45.0),
        (-20.0, -40.0, 45.0, -8.0))  # fmt: skip


def frame(rows: list[dict[str, Any]], crs: Any = "EPSG:32617") -> gpd.GeoDataFrame:
    table = gpd.GeoDataFrame(rows, crs="EPSG:32617")
    table.geometry = table.geometry.translate(EAST, NORTH)
    return table.to_crs(crs)


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A raster, parcels with their neighbors, roofs, and a GeoPackage with layers of all kinds."""
    place = Path(__file__).parents[1] / "pipelines" / "lot" / "conftest.py"
    spec = importlib.util.spec_from_file_location("written_lot", place)
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    folder = tmp_path_factory.mktemp("files")
    ground = made.small_ground()
    with rasterio.open(
        folder / "ground.tif", "w", driver="GTiff", height=60, width=60, count=1, dtype="float64", crs="EPSG:32617",
        transform=Affine(0.5, 0.0, EAST, 0.0, -0.5, NORTH + 30.0), nodata=-999999.0,
    ) as file:  # fmt: skip
        file.write(ground, 1)
        file.update_tags(1, units="m")
        file.set_band_unit(1, "m")
    frame([{"lot": n, "geometry": box(*each)} for n, each in enumerate(LOTS, 1)]).to_file(folder / "parcels.gpkg")
    frame([{"geometry": box(10.2, 11.2, 19.8, 17.8)}]).to_file(folder / "buildings.gpkg")
    layers = {
        "roofs": [{"geometry": box(60.0, 11.0, 70.0, 18.0)}],
        "Hardscape": [{"kind": "patio", "protect": True, "geometry": box(11.2, 19.2, 18.8, 23.8)}],
        "complaints": [{"what": "stands on the patio", "geometry": Point(15.1, 22.1)}],
        "outfalls": [{"type": "no kind is given", "geometry": Point(15.0, 1.6)}],
        "barriers": [{"kind": "fence", "geometry": LineString([(9000.0, 0.0), (9010.0, 0.0)])}],
        "cables": [{"geometry": LineString([(0.0, 0.0), (9.0, 9.0)])}],
    }
    for name, rows in layers.items():
        frame(rows).to_file(folder / "survey.gpkg", layer=name)
    (folder / "rain.csv").write_text((made.SAMPLES / "rain.csv").read_text())
    return folder


def started(run: Run, files: Path, out: Path, *more: str | Path) -> tuple[dict[str, Any], Result]:
    parcel = "--where", "lot = 1", "--out", out
    result = run("start", files / "ground.tif", files / "parcels.gpkg", *parcel, *more)
    assert result.exit_code == 0, result.stderr
    return tomllib.loads(out.read_text()), result


def test_raster_parcels_and_roofs_end_in_a_plan_with_works(run: Run, files: Path, tmp_path: Path) -> None:
    site, result = started(run, files, tmp_path / "site.toml", "--roofs", files / "buildings.gpkg")
    assert set(site) == {"name", "units", "elevation", "parcel", "roofs"}
    assert "the south side of the lot is taken for its frontage" in result.stdout
    assert "falls to the west" in result.stdout
    assert "of the grounds that this lidar allows" in result.stdout
    gains = [line for line in result.stdout.splitlines() if line.startswith("  - [")]
    assert [line.split("]")[0] for line in gains[:3]] == ["  - [hardscape", "  - [complaints", "  - [outfalls"]
    (tmp_path / "site.toml").write_text((tmp_path / "site.toml").read_text().replace("# grounds = 100", "grounds = 1"))
    screened = run("screen", tmp_path / "site.toml", "--out", tmp_path / "out", "--json")
    assert screened.exit_code == 0, screened.stderr
    found = json.loads(screened.stdout)
    # by these heights soil alone may end it
    assert found["surface_only"]["chosen"]
    assert found["surface_only"]["cost_likely"] > 0.0
    frontage = gpd.read_file(tmp_path / "out" / "lot.gpkg", layer="frontage")
    assert list(frontage["side"]) == ["south"]


def test_what_is_given_is_written_and_what_is_not_taken_is_told(run: Run, files: Path, tmp_path: Path) -> None:
    site, result = started(
        run, files, tmp_path / "site.toml", "--roofs", files / "buildings.gpkg", "--layers", files / "survey.gpkg",
        "--rain", files / "rain.csv", "--soil", "c", "--site-name", 'The "corner" lot', "--picture",
        files / "ground.tif", "--utilities", f"{files}/survey.gpkg:cables", "--units", "us",
    )  # fmt: skip
    assert set(site) == {
        "name", "units", "elevation", "parcel", "roofs", "hardscape", "complaints", "rain", "soil", "picture",
        "utilities",
    }  # fmt: skip
    assert site["name"] == 'The "corner" lot'
    assert site["units"] == "us"
    assert site["roofs"]["file"].endswith("buildings.gpkg")
    assert site["hardscape"]["layer"] == "Hardscape"
    assert site["utilities"]["layer"] == "cables"
    assert site["soil"] == {"group": "C"}
    assert site["rain"]["table"].endswith("rain.csv")
    told = [" ".join(line.split()) for line in result.stdout.splitlines() if line.startswith("not taken")]
    assert "not taken roofs: another file was given for that table" in told
    assert "not taken barriers: it holds nothing near the lot" in told
    assert "not taken cables: no table of the site file is called so" in told
    assert any(line.startswith("not taken outfalls: ") and "kind" in line for line in told)
    assert "complaints survey.gpkg, complaints: 1 within reach, 1 on the lot" in " ".join(result.stdout.split())


def test_one_storm_and_the_street_s_side_can_be_said(run: Run, files: Path, tmp_path: Path) -> None:
    site, result = started(
        run, files, tmp_path / "site.toml", "--rain", "3 in, 60 min", "--street-side", "south",
    )
    assert site["rain"] == {"depth": "3 in", "duration": "60 min"}
    assert site["parcel"]["street_side"] == "south"
    assert "as [parcel] street_side says" in " ".join(result.stdout.split())


@pytest.mark.parametrize(
    ("option", "value", "told"),
    [
        ("--roofs", "none.gpkg", "[roofs] none.gpkg: the file does not exist"),
        ("--rain", "heavy", "neither a file nor a depth and a duration"),
        ("--rain", "3, 60 min", "unit"),
        ("--layers", "none.gpkg", "--layers none.gpkg: the file does not exist"),
        ("--soil", "E", "[soil] E: the file does not exist"),
        ("--picture", __file__, "is no raster that can be read"),
    ],
)
def test_what_cannot_be_used_is_one_message_and_writes_nothing(
    run: Run, files: Path, tmp_path: Path, option: str, value: str, told: str
) -> None:
    site = tmp_path / "site.toml"
    result = run(
        "start", files / "ground.tif", files / "parcels.gpkg", "--where", "lot = 1", "--out", site, option, value
    )
    assert result.exit_code == 2, result.output
    assert told in result.stderr
    assert not site.exists()


def test_a_side_that_a_neighbor_shares_is_told_before_it_is_screened(run: Run, files: Path, tmp_path: Path) -> None:
    _, result = started(run, files, tmp_path / "site.toml", "--street-side", "north")
    assert 'street_side = "north": no free edge of the lot faces north' in result.stderr


# units of EPSG's own definitions
@pytest.mark.parametrize(
    ("crs", "units"),
    [
        (2263, "us"),  # NAD83 / New York Long Island (ftUS)
        (2958, "si"),  # NAD83(CSRS) / UTM zone 17N, Canada
        (6346, "us"),  # NAD83(2011) / UTM zone 17N, in metres
        (32617, "si"), (25832, "si"), (4326, "si"),
    ],
)  # fmt: skip
def test_units_follow_the_map(crs: int, units: str, tmp_path: Path) -> None:
    middle = CRS(crs).area_of_use
    assert middle is not None
    at = Point((middle.west + middle.east) / 2.0, (middle.south + middle.north) / 2.0)
    place = tmp_path / "parcel.gpkg"
    gpd.GeoDataFrame(geometry=[at.buffer(0.001)], crs=4326).to_crs(crs).to_file(place)
    assert units_of_map(place, None, []) == units
