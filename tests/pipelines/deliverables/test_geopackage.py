import base64
import hashlib
import re
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
from pyproj import CRS

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.files.geopackage import write_geopackage
from pipelines.deliverables.files.layer_table import Layer, layers
from pipelines.deliverables.files.styles import labels, marker_svg, style_document
from pipelines.deliverables.files.symbols import symbols
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.layers import lot_tables
from terrain.unit_table import Units
from tests.pipelines.deliverables.conftest import make_findings

FEATURES = {
    "parcel": "MultiPolygon",
    "flow_paths": "LineString",
    "low_spots": "MultiPolygon",
    "sub_catchments": "MultiPolygon",
    "catch_basins": "Point",
    "french_drains": "LineString Z",
    "channel_drains": "LineString",
    "pipe_runs": "LineString Z",
    "sumps": "Point",
    "fittings": "Point",
    "outfalls": "Point",
    "outfall_moves": "LineString",
    "level_shots": "Point",
    "hidden_culverts": "LineString",
    "fall_to_spare": "LineString",
    "surface_works": "MultiPolygon",
    "hardscape": "MultiPolygon",
    "roofs": "MultiPolygon",
    "right_of_way": "MultiPolygon",
    "frontage": "MultiLineString",
    "keep_out": "MultiPolygon",
    "keep_out_marks": "Point",
    "barriers": "MultiLineString",
    "utilities": "MultiLineString",
    "site_culverts": "MultiLineString",
    "downspouts": "Point",
    "complaints": "Point",
}
TABLES = ("runoff", "leaving", "take_off", "cautions", "run_info")


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("written") / "lot.gpkg"
    findings = make_findings()
    write_geopackage(path, lot_tables(findings, "us"), crs=findings.frame.crs, units="us")
    return path


@pytest.fixture
def package(written: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(written, tmp_path))


@pytest.fixture
def database(package: Path) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(package)
    yield connection
    connection.close()


def test_layers_have_their_declared_types_the_main_one_first(package: Path) -> None:
    listed = pyogrio.list_layers(package)
    found = dict(listed)
    assert listed[0][0] == "parcel"
    assert {name: kind for name, kind in found.items() if kind} == FEATURES
    assert {name for name, kind in found.items() if not kind} == {*TABLES, "layer_styles"}


def test_columns_are_those_of_the_layer_table(package: Path) -> None:
    for name in (*FEATURES, *TABLES):
        info = pyogrio.read_info(package, layer=name)
        assert list(info["fields"]) == [written for written, _ in layers()[name].written("us")]
        assert info["fid_column"] == "fid"
        if name in FEATURES:
            assert info["geometry_name"] == "geom"
            assert info["crs"] == "EPSG:2264"


def test_shapes_come_back_to_the_map_with_z_in_its_unit(package: Path) -> None:
    runs = gpd.read_file(package, layer="pipe_runs").set_index("id")
    us_survey_foot = 1200 / 3937  # NIST SP 811, appendix B
    start = runs.geometry["run-1"].coords[0]
    assert start == pytest.approx((400_020 / us_survey_foot, 150_012 / us_survey_foot, 99.5 / us_survey_foot))
    assert runs["length_ft"]["run-1"] == pytest.approx(10 / 0.3048, rel=1e-9)
    assert runs["size"]["run-2"] == "1-1/2 in sch 40"


def test_unknown_numbers_are_null(database: sqlite3.Connection) -> None:
    ((slope,),) = database.execute("SELECT slope_pct FROM pipe_runs WHERE id = 'run-2'")
    ((stands, after),) = database.execute("SELECT stands_h, stands_after_h FROM low_spots")
    assert (slope, stands, after) == (None, 26.0, None)


def test_booleans_are_declared_as_such(database: sqlite3.Connection) -> None:
    declared = {row[1]: row[2] for row in database.execute("PRAGMA table_info(flow_paths)")}
    assert declared["run_on"] == declared["certain"] == "BOOLEAN"


def test_required_tables_and_marks_of_the_open_standard(database: sqlite3.Connection) -> None:
    # source: OGC 12-128r18, GeoPackage encoding standard 1.3.1, clauses 1.1 and 2.1 to 2.4 (from memory)
    assert database.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
    assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert database.execute("PRAGMA foreign_key_check").fetchall() == []
    tables = {name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    assert {"gpkg_spatial_ref_sys", "gpkg_contents", "gpkg_geometry_columns", "gpkg_extensions"} <= tables
    assert {-1, 0, 4326} <= {number for (number,) in database.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")}
    kinds = dict(database.execute("SELECT table_name, data_type FROM gpkg_contents"))
    assert {name for name, kind in kinds.items() if kind == "features"} == set(FEATURES)
    assert {name for name, kind in kinds.items() if kind == "attributes"} == {*TABLES, "layer_styles"}
    for name in kinds:
        keys = [row[1] for row in database.execute(f'PRAGMA table_info("{name}")') if row[5]]
        assert len(keys) == 1
    z = dict(database.execute("SELECT table_name, z FROM gpkg_geometry_columns"))
    assert z == {name: int(kind.endswith("Z")) for name, kind in FEATURES.items()}


def test_titles_units_and_meanings_of_columns(database: sqlite3.Connection) -> None:
    # source: OGC 12-128r18, GeoPackage encoding standard 1.3.1, annex F, schema extension (from memory)
    registered = database.execute(
        "SELECT table_name, scope FROM gpkg_extensions WHERE extension_name = 'gpkg_schema' ORDER BY 1"
    ).fetchall()
    assert registered == [("gpkg_data_column_constraints", "read-write"), ("gpkg_data_columns", "read-write")]
    titles = dict(database.execute("SELECT column_name, title FROM gpkg_data_columns WHERE table_name = 'low_spots'"))
    assert titles["depth_in"] == "depth [in]"
    (described,) = database.execute(
        "SELECT description FROM gpkg_data_columns WHERE table_name = 'low_spots' AND column_name = 'depth_in'"
    ).fetchone()
    assert described == "deepest water before it spills"
    (title,) = database.execute("SELECT identifier FROM gpkg_contents WHERE table_name = 'low_spots'").fetchone()
    assert title == "Low spots"


def test_default_styles_are_found_by_layer_name(database: sqlite3.Connection) -> None:
    rows = database.execute("SELECT f_table_schema, f_table_name, useAsDefault, styleQML FROM layer_styles").fetchall()
    assert {name for _, name, _, _ in rows} == set(FEATURES)
    for schema, _, default, document in rows:
        assert (schema, default) == ("", 1)
        assert ElementTree.fromstring(document).find("renderer-v2/symbols/symbol/layer/Option") is not None


def test_symbols_differ_by_more_than_colour() -> None:
    for name, listed in symbols().items():
        drawn = [symbol for symbol in listed if symbol.kind != "fill"]
        assert len({(symbol.look, symbol.width) for symbol in drawn}) == len(drawn)
        if name not in layers():  # drawn in the report only
            continue
        columns = {column.name for column in layers()[name].columns}
        assert {condition.attribute for symbol in listed for condition in symbol.conditions} <= columns
        for units in ("si", "us"):
            assert style_document(layers()[name], listed, units).startswith("<qgis")


@pytest.mark.parametrize("units", ["us", "si"])
def test_layers_are_labelled_with_columns_that_they_have(units: Units) -> None:
    told = labels()
    assert {"pipe_runs", "catch_basins", "outfalls", "utilities", "complaints", "keep_out_marks"} <= set(told)
    for name, label in told.items():
        written = {key for key, _ in layers()[name].written(units)}
        document = ElementTree.fromstring(style_document(layers()[name], symbols()[name], units))
        assert document.get("hasScaleBasedVisibilityFlag") == ("1" if label.shown_to else "0")
        aliases = {alias.get("field") for alias in document.iter("alias")}
        assert aliases == written
        style = document.find("labeling/settings/text-style")
        assert (style is not None) == bool(label.columns)
        if style is not None:
            named = set(re.findall(r'"([^"]+)"', style.get("fieldName", "")))
            assert len(named) == len(label.columns)
            assert named <= written


def test_a_pipe_is_labelled_with_its_size_and_the_slope_of_each_segment() -> None:
    document = ElementTree.fromstring(style_document(layers()["pipe_runs"], symbols()["pipe_runs"], "us"))
    style = document.find("labeling/settings/text-style")
    assert style is not None
    assert style.get("fieldName") == """"id" || coalesce(', ' || "size", '') || coalesce(', ' || "slope_range", '')"""
    # a barrel: a whole outside, an inside that is broken under pressure
    lines = [layer for layer in document.iter("layer") if layer.get("class") == "SimpleLine"]
    broken = [next(each.get("value") for each in layer.iter("Option") if each.get("name") == "use_custom_dash")
              for layer in lines]  # fmt: skip
    assert broken == ["0", "0", "0", "1"]
    heads = [layer for layer in document.iter("layer") if layer.get("class") == "MarkerLine"]
    assert len(heads) == len(symbols()["pipe_runs"])


def test_ground_and_lines_are_in_no_text_s_way() -> None:
    # seen in a desktop GIS: where ground is an obstacle, nothing that stands on it is labelled
    for name, label in labels().items():
        if label.columns:
            document = ElementTree.fromstring(style_document(layers()[name], symbols()[name], "us"))
            rendering = document.find("labeling/settings/rendering")
            assert rendering is not None
            assert rendering.get("obstacle") == ("1" if "Point" in (layers()[name].geometry or "") else "0"), name


def test_a_marker_goes_along_as_its_glyph() -> None:
    for name in ("outfalls", "sumps", "fittings"):
        document = ElementTree.fromstring(style_document(layers()[name], symbols()[name], "us"))
        for drawn, symbol in zip(document.findall("renderer-v2/symbols/symbol"), symbols()[name], strict=True):
            (option,) = [each for each in drawn.iter("Option") if each.get("name") == "name"]
            svg = base64.b64decode(option.get("value", "").removeprefix("base64:")).decode()
            assert svg == marker_svg(symbol)
            assert ElementTree.fromstring(svg).tag.endswith("svg")


def test_rules_hold_for_booleans_texts_and_ranges() -> None:
    # seen in a desktop GIS: a boolean column compared with 1 selects nothing
    def filters(name: str, units: Units) -> list[str]:
        document = ElementTree.fromstring(style_document(layers()[name], symbols()[name], units))
        return [rule.get("filter", "") for rule in document.iter("rule")]

    assert filters("sub_catchments", "us") == ['NOT "run_on"', '"run_on"']
    assert filters("pipe_runs", "us") == ["\"kind\" = 'gravity'", "\"kind\" = 'pressure'"]
    assert filters("low_spots", "us") == [
        '"depth_in" < 3.0', '"depth_in" >= 3.0 AND "depth_in" < 6.0',
        '("depth_in" >= 6.0 OR "depth_in" IS NULL)',
    ]  # fmt: skip
    assert filters("flow_paths", "us")[1] == (
        'NOT "when_full" AND NOT "run_on" AND ("found_pct" >= 50.0 OR "found_pct" IS NULL) '
        'AND "contributing_area_ft2" < 5000.0'
    )
    assert filters("low_spots", "si")[0] == '"depth_m" < 0.0762'


def test_two_runs_are_byte_identical(
    tmp_path: Path, findings: Findings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("OGR_CURRENT_DATE", "2024-05-01T12:00:00.000Z")
    hashes = set()
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
        path = tmp_path / name / "lot.gpkg"
        write_geopackage(path, lot_tables(findings, "us"), crs=findings.frame.crs, units="us")
        hashes.add(hashlib.sha256(path.read_bytes()).hexdigest())
    assert len(hashes) == 1


@pytest.mark.parametrize("ending", ["-wal", "-shm", "-journal"])
def test_a_file_that_is_open_elsewhere_is_left_alone(package: Path, findings: Findings, ending: str) -> None:
    package.with_name(f"lot.gpkg{ending}").write_bytes(b"")
    before = package.read_bytes()
    with pytest.raises(HandoverError, match=f"lot.gpkg{ending} lies beside it"):
        write_geopackage(package, lot_tables(findings, "us"), crs=findings.frame.crs, units="us")
    assert package.read_bytes() == before


def test_a_failure_halfway_leaves_the_earlier_file_and_no_litter(
    package: Path, findings: Findings, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = package.read_bytes()

    def fail(*_: object, **__: object) -> None:
        raise OSError("no space left")

    monkeypatch.setattr("pipelines.deliverables.files.geopackage._describe", fail)
    with pytest.raises(HandoverError, match="no space left"):
        write_geopackage(package, lot_tables(findings, "us"), crs=findings.frame.crs, units="us")
    assert package.read_bytes() == before
    assert [path.name for path in package.parent.iterdir()] == ["lot.gpkg"]


def test_a_crs_without_a_code_is_kept_in_words(tmp_path: Path) -> None:
    crs = CRS.from_proj4("+proj=tmerc +lat_0=35 +lon_0=-80 +k=0.99995 +x_0=1000 +y_0=2000 +ellps=GRS80 +units=us-ft")
    table = gpd.GeoDataFrame({"name": ["a"]}, geometry=gpd.points_from_xy([1.0], [2.0]))
    path = tmp_path / "made.gpkg"
    kinds = {"made": Layer("made", "made", "", "Point", ())}
    write_geopackage(path, {"made": table}, crs=crs, units="si", others=kinds)
    back = gpd.read_file(path, layer="made")
    assert back.crs.axis_info[0].unit_name == "US survey foot"
    assert np.array(back.geometry[0].coords)[0] == pytest.approx((1.0, 2.0))
