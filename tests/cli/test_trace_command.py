"""`lotshed trace` writes its page; a traced file stands in the place of tables, and is refused in one message."""

import copy
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from click.testing import Result
from pyproj import CRS

from pipelines import Site
from pipelines.deliverables.files.symbols import symbols
from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.inputs.site_file import read_site_file
from pipelines.inputs.site_ground import open_site
from pipelines.inputs.traced.traced_file import MOST_FEATURES, TRACED_KINDS, read_traced
from pipelines.lot import screen_lot
from pipelines.tracing.globe_fit import fit_globe, moved_fit
from pipelines.tracing.things import symbol_of_thing, things
from terrain.errors import GroundError
from terrain.grid import Frame
from terrain.metric_frame import moved_points
from tests.traced_site import traced_text

Run = Callable[..., Result]
SAMPLES = Path(__file__).parents[2] / "sample_data"
BARE = re.compile(r"\[(?:roofs|hardscape|right_of_way|downspouts|outfalls|complaints|house)\]\n(?:\w.*\n)*")


@pytest.fixture(scope="session")
def first_site(write_small_lot: Callable[..., Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small lot of which everything but ground, parcel and rain is in a traced file."""
    site = write_small_lot(tmp_path_factory.mktemp("first") / "lot")
    (site.parent / "traced.geojson").write_text(traced_text(open_site(site)), encoding="utf-8")
    text, count = BARE.subn("", site.read_text(encoding="utf-8"))
    assert count == 7
    place = site.with_name("traced.toml")
    place.write_text(text + '\n[traced]\nfile = "traced.geojson"\n', encoding="utf-8")
    return place


@pytest.fixture
def traced_site(first_site: Path, tmp_path: Path) -> Path:
    """The same, for a test to spoil."""
    return Path(shutil.copytree(first_site.parent, tmp_path / "lot")) / first_site.name


def in_tables(site: Path) -> SiteLayers:
    return open_site(site).layers


def test_a_traced_file_says_what_the_tables_said(traced_site: Path) -> None:
    whole = traced_site.with_name("site.toml")
    ours, theirs = in_tables(traced_site), in_tables(whole)
    for name in ("roofs", "hardscape", "right_of_way", "downspouts", "outfalls", "complaints"):
        one, other = getattr(ours, name), getattr(theirs, name)
        assert len(one) == len(other) > 0, name
        assert shapely.hausdorff_distance(one.geometry.array, other.geometry.array).max() < 0.002, name
        told = [column for column in one.columns if column not in ("id", "geometry")]
        assert one[told].astype(str).equals(other[told].astype(str)), name
    assert read_site_file(traced_site).house == read_site_file(whole).house


def test_a_traced_lot_is_screened_as_its_tables_are(traced_site: Path) -> None:
    found = [screen_lot(site, grounds=1) for site in (traced_site, traced_site.with_name("site.toml"))]
    ours, theirs = ([each.mode for each in findings.plan.discharges] for findings in found)
    assert ours == theirs == ["gravity"]
    parts = [
        {part: getattr(findings.plan.parts, part).state for part in ("cause", "fall", "outfall", "cure")}
        for findings in found
    ]
    assert parts[0] == parts[1]
    # the file is among the inputs, with the tables that it stands for
    assert "traced.geojson" in {Path(each.file).name for each in found[0].inputs}


@pytest.mark.thorough
@pytest.mark.parametrize("number", [1, 3, 5, 11])
def test_sample_lots_from_a_traced_file_alone_agree(number: int, tmp_path: Path) -> None:
    whole = SAMPLES / f"lot_{number:02d}.toml"
    (tmp_path / "traced.geojson").write_text(traced_text(open_site(whole)), encoding="utf-8")
    text = whole.read_text(encoding="utf-8").replace(' = "ground.tif"', f' = "{SAMPLES}/ground.tif"')
    text = re.sub(r"\[(?!elevation|parcel|rain|pump|prices)\w+\]\n(?:\w.*\n)*", "", text)
    text = re.sub(r'"(\w+\.(?:gpkg|csv))"', rf'"{SAMPLES}/\1"', text)
    site = tmp_path / "site.toml"
    site.write_text(text + '\n[soil]\ncover = "lawn, fair"\n\n[traced]\nfile = "traced.geojson"\n', encoding="utf-8")
    told = []
    for each in (whole, site):
        plan = screen_lot(each).plan
        told.append(
            [*(way.mode for way in plan.discharges),
             *(getattr(plan.parts, part).state for part in ("cause", "fall", "outfall", "cure"))]
        )  # fmt: skip
    assert told[0] == told[1]


def test_street_land_a_hair_off_is_still_the_way_off(write_small_lot: Callable[..., Path], tmp_path: Path) -> None:
    site = write_small_lot(tmp_path / "lot")
    path = site.with_name("traced.geojson")
    content = json.loads(traced_text(open_site(site)))
    street = next(each for each in content["features"] if each["properties"]["table"] == "right_of_way")
    # 5 mm to the south
    street["geometry"]["coordinates"] = [[[x, y - 5e-8] for x, y in street["geometry"]["coordinates"][0]]]
    path.write_text(json.dumps(content), encoding="utf-8")
    text = BARE.sub("", site.read_text(encoding="utf-8"))
    site.write_text(text + '\n[traced]\nfile = "traced.geojson"\n', encoding="utf-8")
    layers = in_tables(site)
    assert layers.parcel.distance(layers.right_of_way.geometry[0]) > 0.003
    assert [each.mode for each in screen_lot(site, grounds=1).plan.discharges] == ["gravity"]


def test_what_the_file_does_not_hold_stays(traced_site: Path) -> None:
    path = traced_site.with_name("traced.geojson")
    content = json.loads(path.read_text(encoding="utf-8"))
    only = [each for each in content["features"] if each["properties"]["table"] == "downspouts"][:1]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": only, "replaces": ["downspouts", "complaints"],
                                "answers": {"gate": "3 ft", "built": 1990}}), encoding="utf-8")  # fmt: skip
    whole = traced_site.with_name("site.toml")
    whole.write_text(whole.read_text(encoding="utf-8") + '\n[traced]\nfile = "traced.geojson"\n', encoding="utf-8")
    site, layers = read_site_file(whole), in_tables(whole)
    assert len(layers.downspouts) == 1
    # all of them were struck out
    assert site.complaints is None
    assert len(layers.roofs) == 1
    assert site.roofs is not None
    assert site.roofs.file.name == "shapes.gpkg"
    assert (site.house.foundation, site.house.built) == ("slab", 1990)
    assert site.layout.gate == pytest.approx(0.9144)


def test_a_placed_sill_is_the_floor(traced_site: Path) -> None:
    path = traced_site.with_name("traced.geojson")
    content = json.loads(path.read_text(encoding="utf-8"))
    place = next(each for each in content["features"] if each["properties"]["table"] == "downspouts")["geometry"]
    sill = {"type": "Feature", "id": 900, "geometry": place,
            "properties": {"table": "house", "floor_m": 100.75, "above_ground_m": 0.15}}  # fmt: skip
    content["features"].append(sill)
    path.write_text(json.dumps(content), encoding="utf-8")
    assert read_site_file(traced_site).house.floor == pytest.approx(100.75)


def spoilt(content: dict[str, Any], how: str) -> Any:
    """A traced file with one thing wrong."""
    first = content["features"][0]
    if how == "self-crossing":
        ring = first["geometry"]["coordinates"][0]
        ring[1], ring[2] = ring[2], ring[1]
    elif how == "outside":
        first["geometry"]["coordinates"] = [[[x + 0.5, y] for x, y in first["geometry"]["coordinates"][0]]]
    elif how == "in the map's metres":
        first["geometry"]["coordinates"] = [[[500e3, 44e5], [500e3 + 9, 44e5], [500e3, 44e5 + 9], [500e3, 44e5]]]
    elif how == "many":
        content["features"] = [first | {"id": each, "properties": {}} for each in range(100_000)]
        first["geometry"]["coordinates"] = []
    elif how == "wrong type":
        first["geometry"] = {"type": "Point", "coordinates": first["geometry"]["coordinates"][0][0]}
    elif how == "unknown table":
        first["properties"]["table"] = "moat"
    elif how == "no table":
        del first["properties"]["table"]
    elif how == "no properties":
        del first["properties"]
    elif how == "no geometry":
        first["geometry"] = None
    elif how == "open ring":
        first["geometry"]["coordinates"] = [first["geometry"]["coordinates"][0][:2]]
    elif how == "texts as places":
        first["geometry"]["coordinates"] = [[["a", "b"], ["c", "d"], ["e", "f"], ["a", "b"]]]
    elif how == "wrong value":
        first["properties"]["outline"] = "<script>alert(1)</script>"
    elif how == "unknown property":
        first["properties"]["open_belo"] = True
    elif how == "too long":
        first["properties"]["part"] = "x" * 100_000
    elif how == "nested property":
        first["properties"]["part"] = {"a": [1]}
    elif how == "twice":
        content["features"][1]["id"] = first["id"]
    elif how == "wrong answer":
        content["answers"] = {"foundation": "stilts", "built": "long ago"}
    elif how == "replaces":
        content["replaces"] = ["parcel"]
    elif how == "no collection":
        return [1, 2]
    else:
        raise AssertionError(how)
    return content


SAID = {
    "self-crossing": "feature 1, of roofs: its outline is no plain one (Self-intersection",
    "outside": "feature 1 (roofs) lies outside the ground raster",
    "in the map's metres": "feature 1, of roofs: its coordinates are no longitudes and latitudes",
    "many": f"it holds 100,000 features, and one lot's drawing may hold {MOST_FEATURES:,}",
    "wrong type": "roofs: feature 1 is of the wrong geometry type (Point); this layer needs polygons",
    "unknown table": 'feature 1: it belongs to the unknown table "moat"',
    "no table": "feature 1: its properties have no table",
    "no properties": "feature 1: properties: field required",
    "no geometry": "feature 1: geometry:",
    "open ring": "feature 1, of roofs: its coordinates make no Polygon",
    "texts as places": "feature 1, of roofs: its coordinates make no Polygon",
    "wrong value": 'roofs: feature 1, outline: "<script>alert(1)</script>" is not known; it may be walls or eaves',
    "unknown property": 'feature 1, of roofs: unknown property "open_belo"; did you mean "open_below"?',
    "too long": "feature 1: properties.part: string should have at most 500 characters",
    "nested property": "feature 1: properties.part",
    "twice": "feature 1: another feature has the same id",
    "wrong answer": 'answers: foundation: "stilts" is not known',
    "replaces": 'replaces names the unknown table "parcel"',
    "no collection": "it is no GeoJSON FeatureCollection",
}


@pytest.mark.parametrize("how", SAID)
def test_a_traced_file_at_fault_is_one_message(how: str, traced_site: Path, run: Run, tmp_path: Path) -> None:
    path = traced_site.with_name("traced.geojson")
    content = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps(spoilt(content, how)), encoding="utf-8")
    refused(run("screen", traced_site, "--out", tmp_path / "out"), SAID[how])
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"hello", "it is no GeoJSON (Expecting value"), (b"\xff\xfe\x00", "it is no GeoJSON"),
        (b"", "it is no GeoJSON"),
        (b"[" * 200_000, "it is nested too deep"), (b'{"type": NaN}', "NaN is no number of JSON"),
        (b" " * 20_000_001, "it has 20,000,001 bytes, and may have 20,000,000"),
    ],
    ids=["text", "bytes", "empty", "deep", "nan", "large"],
)  # fmt: skip
def test_no_geojson_is_one_message(content: bytes, said: str, traced_site: Path, run: Run, tmp_path: Path) -> None:
    traced_site.with_name("traced.geojson").write_bytes(content)
    refused(run("screen", traced_site, "--out", tmp_path / "out"), said)


def test_a_file_that_is_not_there_is_named(traced_site: Path, run: Run, tmp_path: Path) -> None:
    traced_site.with_name("traced.geojson").unlink()
    refused(run("screen", traced_site, "--out", tmp_path / "out"), 'file: "traced.geojson" does not exist')
    traced_site.with_name("traced.geojson").mkdir()
    refused(run("screen", traced_site, "--out", tmp_path / "out"), "it is no file")


def refused(result: Result, said: str) -> None:
    assert result.exit_code == 2, result.output
    assert result.stderr.count("Error:") == 1
    assert said in result.stderr
    assert "Traceback" not in result.stderr
    assert result.stdout == ""


def test_the_page_is_written_once_and_holds_no_markup_of_the_site(traced_site: Path, run: Run) -> None:
    traced = traced_site.with_name("traced.geojson")
    content = json.loads(traced.read_text(encoding="utf-8"))
    wet = next(each for each in content["features"] if each["properties"]["table"] == "complaints")
    wet["properties"]["what"] = "</script><script>alert(1)</script>"
    traced.write_text(json.dumps(content), encoding="utf-8")
    named = traced_site.read_text(encoding="utf-8").replace('"Made lot"', '"</title><script>alert(2)</script>"')
    traced_site.write_text(named, encoding="utf-8")
    result = run("trace", traced_site)
    assert result.exit_code == 0, result.output
    page = traced_site.with_name("trace.html").read_text(encoding="utf-8")
    assert page.count("<script") == 2
    assert page.count("</script>") == 2
    assert "alert(2)</script>" not in page
    assert "default-src &#39;none&#39;; img-src data:; style-src &#39;sha256-" in page
    data = json.loads(page.split('id="trace-data">')[1].split("</script>")[0])
    assert wet["properties"]["what"] in [each["properties"].get("what") for each in data["features"]]
    # what the site traced already is kept when the page saves over it
    assert sorted(data["replaces"]) == sorted(content["replaces"])
    again = run("trace", traced_site)
    assert again.exit_code == 2
    assert "exists" in again.stderr
    assert run("trace", traced_site, "--overwrite").exit_code == 0
    assert run("trace", traced_site, "--out", traced_site.with_name("page.txt")).exit_code == 2


def test_each_thing_fits_its_table_and_is_drawn() -> None:
    listed = things()
    assert len({thing["key"] for thing in listed}) == len(listed)
    for thing in listed:
        kind = TRACED_KINDS[thing["table"]]
        assert thing["shape"] in kind.shapes, thing["key"]
        columns = {column.name: column for column in kind.columns}
        assert set(thing.get("set", {})) <= set(columns), thing["key"]
        assert symbol_of_thing(thing) in symbols()[thing["symbol"]]
        for field in thing.get("field", ()):
            column = columns[field["name"]]
            choices = set(field.get("choices", ()))
            assert not column.allowed or choices == set(column.allowed), (thing["key"], field["name"])
            if field["form"] == "length":
                assert column.form == "length"
                assert field["most"] == (column.most or field["most"])
    # whatever a site's tables may hold, the page can draw
    assert {thing["table"] for thing in listed} == set(TRACED_KINDS)


@pytest.mark.parametrize(
    ("code", "x", "y"),
    [(32617, 5e5, 44e5), (2264, 1.3e6, 6e5), (26910, 3e5, 6.5e6), (3857, -9e6, 5e6), (32760, 4.9e5, 5.0e6)],
)
def test_the_fit_agrees_with_pyproj_within_a_centimetre(code: int, x: float, y: float) -> None:
    crs = CRS.from_epsg(code)
    unit = float(crs.axis_info[0].unit_conversion_factor)
    frame = Frame(crs, unit, unit, unit)
    bounds = (x * unit, y * unit, x * unit + 1500.0, y * unit + 900.0)
    fit = fit_globe(frame, bounds)
    assert fit.off < 1e-3
    places = np.random.default_rng(3).uniform((0.0, 0.0), (1500.0, 900.0), (500, 2)).T
    longitude, latitude = moved_points(crs, CRS("OGC:CRS84"), *((places + np.array([[x * unit], [y * unit]])) / unit))
    off = np.hypot(*(np.array(moved_fit(fit.to_plane, longitude, latitude)) - places))
    assert off.max() < 0.01


def test_a_window_too_wide_for_the_fit_is_refused() -> None:
    crs = CRS.from_epsg(32617)
    with pytest.raises(GroundError, match="transform would be"):
        fit_globe(Frame(crs, 1.0, 1.0, 1.0), (2e5, 44e5, 8e5, 50e5))


def test_a_notebook_takes_a_traced_file(traced_site: Path) -> None:
    folder = traced_site.parent
    parcel = {"file": folder / "shapes.gpkg", "layer": "parcel"}
    site = Site(folder / "ground.tif", parcel, traced=folder / "traced.geojson")
    with site.on_disk() as path:
        assert len(in_tables(path).roofs) == 1


def test_ids_and_order_outlive_a_reading(traced_site: Path) -> None:
    content = json.loads(traced_site.with_name("traced.geojson").read_text(encoding="utf-8"))
    roofs = [each["id"] for each in content["features"] if each["properties"]["table"] == "downspouts"]
    moved = copy.deepcopy(content)
    moved["features"].reverse()
    traced_site.with_name("traced.geojson").write_text(json.dumps(moved), encoding="utf-8")
    assert sorted(in_tables(traced_site).downspouts["id"].astype(int)) == roofs
    assert set(read_traced(traced_site.with_name("traced.geojson")).tables) == set(content["replaces"])
