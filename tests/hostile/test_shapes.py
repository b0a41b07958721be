"""Every shape is checked, repaired or refused as it is read, and its message names file, layer and feature."""

import shutil
import struct
import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
from geopandas.testing import assert_geodataframe_equal
from pyproj import CRS
from shapely import LineString, MultiLineString, MultiPoint, MultiPolygon, Point, box

from pipelines.deliverables.words.say import say
from pipelines.inputs.errors import LayerError
from pipelines.inputs.shapes.layer_table import LAYER_KINDS
from pipelines.inputs.shapes.layers import read_layers
from pipelines.inputs.shapes.vector_file import find_layer, read_shapes
from pipelines.inputs.site_file import read_site_file
from pipelines.inputs.site_sections import VectorFile
from pipelines.lot_inputs import open_lot
from terrain.grid import Frame

SAMPLES = Path(__file__).parents[2] / "sample_data"
FRAME = Frame(CRS(32617), 1.0, 1.0, 1.0)
SQUARE = [(0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0), (0.0, 0.0)]
ONE = struct.pack("<I", 1)
NAN, INFINITE = float("nan"), float("inf")


def points(held):
    return struct.pack("<I", len(held)) + b"".join(struct.pack("<dd", *each) for each in held)


def shape(kind, body):
    return b"\1" + struct.pack("<I", kind) + body


def polygon(held):
    return shape(3, struct.pack("<I", 1) + points(held))


def read(path, key, layer="s"):
    kind = LAYER_KINDS[key]
    return read_shapes(find_layer(VectorFile.model_construct(file=path, layer=layer, where=None), key), kind, FRAME)


REFUSED = {
    "two-point ring": (polygon(SQUARE[:2]), "no polygon that holds an area"),
    "ring there and back": (polygon([SQUARE[0], SQUARE[2], SQUARE[0]]), "no polygon that holds an area"),
    "one-point ring": (polygon(SQUARE[:1]), "a shape that cannot be read"),
    "no number": (polygon([*SQUARE[:2], (NAN, 9.0), *SQUARE[3:]]), "coordinates that are not finite"),
    "infinite": (polygon([*SQUARE[:2], (9.0, INFINITE), *SQUARE[3:]]), "coordinates that are not finite"),
    "TIN": (shape(16, ONE + shape(17, ONE + points([*SQUARE[:3], SQUARE[0]]))), "(TIN)"),
    "polyhedral": (shape(15, ONE + polygon(SQUARE)), "is a polyhedral surface"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_a_polygon_that_cannot_be(write_blobs, tmp_path, name):
    held, told = REFUSED[name]
    path = write_blobs(tmp_path / "a.gpkg", [polygon(SQUARE), held])
    with pytest.raises(LayerError) as caught:
        read(path, "roofs")
    assert told in str(caught.value)
    assert str(caught.value).startswith("[roofs] a.gpkg, layer s: feature 2 ")


@pytest.mark.parametrize(
    "held, told",
    [
        (shape(2, points([(1.0, NAN), (2.0, 2.0)])), "feature 1 has coordinates that are not finite"),
        (shape(2, points([(1.0, 1.0)])), "feature 1 has a shape that cannot be read"),
    ],
)
def test_a_line_that_cannot_be(write_blobs, tmp_path, held, told):
    with pytest.raises(LayerError, match=told):
        read(write_blobs(tmp_path / "a.gpkg", [held]), "utilities")


def test_what_can_be_mended_is_and_is_told(write_blobs, tmp_path):
    crossed = polygon([SQUARE[0], SQUARE[2], SQUARE[1], *SQUARE[3:]])
    path = write_blobs(tmp_path / "a.gpkg", [polygon(SQUARE[:-1]), crossed])
    shapes, (told,) = read(path, "hardscape")
    assert shapes.geometry[0].equals(box(0, 0, 9, 9))
    said = say(told, "si")
    assert "1 (its ring was not closed, 81" in said
    assert "2 (Self-intersection" in said
    # the two halves of the second are two pavings
    assert list(shapes["id"]) == ["1", "2-1", "2-2"]


def test_empty_shapes_and_lines_without_length_are_passed_over(write_blobs, tmp_path):
    line = shape(2, points([(0.0, 0.0), (5.0, 0.0)]))
    none = [shape(2, points([])), shape(2, points([(1.0, 1.0), (1.0, 1.0)])), shape(5, struct.pack("<I", 0)), b"\1\2"]
    shapes, (told,) = read(write_blobs(tmp_path / "a.gpkg", [line, *none]), "utilities")
    assert list(shapes["id"]) == ["1"]
    assert say(told, "si").endswith("feature 2, 3, 4, 5 has no shape and is ignored.")


def test_curves_are_made_linear(write_blobs, tmp_path):
    arc = points([(0.0, 0.0), (5.0, 5.0), (10.0, 0.0)])
    path = write_blobs(tmp_path / "a.gpkg", [shape(8, arc), shape(11, struct.pack("<I", 1) + shape(8, arc))])
    shapes, _ = read(path, "utilities")
    assert [each.geom_type for each in shapes.geometry] == ["LineString", "LineString"]
    # half a circle of a radius of 5
    assert shapes.geometry.length.tolist() == pytest.approx([5.0 * np.pi] * 2, rel=1e-3)


def test_parts_are_features_of_their_own_and_lines_that_meet_are_one(tmp_path):
    path = tmp_path / "a.gpkg"
    meeting = MultiLineString([[(0, 0), (5, 0)], [(5, 0), (9, 0)]])
    apart = MultiLineString([[(0, 3), (5, 3)], [(6, 3), (9, 3)]])
    gpd.GeoDataFrame({"kind": ["gas", "water"]}, geometry=[meeting, apart], crs=32617).to_file(path, layer="s")
    shapes, _ = read(path, "utilities")
    assert list(shapes["id"]) == ["1", "2-1", "2-2"]
    assert list(shapes["kind"]) == ["gas", "water", "water"]
    assert shapes.geometry[0].equals(LineString([(0, 0), (9, 0)]))
    # of a lot in two parts neither is a lot of its own
    lot = MultiPolygon([box(0, 0, 9, 9), box(20, 0, 29, 9)])
    gpd.GeoDataFrame(geometry=[lot], crs=32617).to_file(path, layer="lot")
    assert read(path, "parcel", "lot")[0].geometry[0].equals(lot)


def promoted(folder):
    """Sample lot 1 with every shape of every layer in a multi-part of one part."""
    kinds = {"Polygon": MultiPolygon, "LineString": MultiLineString, "Point": MultiPoint}
    site = folder / "lot_01.toml"
    for name in ("ground.tif", "rain.csv", "pump.csv", "prices.csv", "lot_01.toml"):
        shutil.copy(SAMPLES / name, folder / name)
    for layer, _ in pyogrio.list_layers(SAMPLES / "neighbourhood.gpkg"):
        table = pyogrio.read_dataframe(SAMPLES / "neighbourhood.gpkg", layer=layer, fid_as_index=True)
        many = [kinds[each.geom_type]([each]) if each.geom_type in kinds else each for each in table.geometry]
        made = table.set_geometry(many)
        pyogrio.write_dataframe(made, folder / "neighbourhood.gpkg", layer=layer, promote_to_multi=True)
    return site


def test_the_sample_lot_in_multi_parts_is_the_same_lot(tmp_path):
    site = promoted(tmp_path)
    assert "Multi" in pyogrio.read_info(tmp_path / "neighbourhood.gpkg", layer="roofs")["geometry_type"]
    plain, many = (open_lot(each).opened.layers for each in (SAMPLES / "lot_01.toml", site))
    assert tomllib.loads(site.read_text())["parcel"]["file"] == "neighbourhood.gpkg"
    for name in (each for each in plain.__dataclass_fields__ if each not in ("sources", "warnings", "parcel")):
        one, other = getattr(plain, name), getattr(many, name)
        if not isinstance(one, gpd.GeoDataFrame):
            assert repr(one) == repr(other)
            continue
        assert_geodataframe_equal(one, other)
        # to the last bit, and of the very same type
        assert [each.wkb for each in one.geometry] == [each.wkb for each in other.geometry]
    assert plain.warnings == many.warnings


@pytest.mark.thorough
def test_a_small_lot_in_multi_parts_gives_the_very_same_answer(lots, run, tmp_path):
    kinds = {"Polygon": MultiPolygon, "LineString": MultiLineString, "Point": MultiPoint}
    many = {
        name: [row | {"geometry": kinds[row["geometry"].geom_type]([row["geometry"]])} for row in rows]
        for name, rows in lots.SMALL_LAYERS.items()
    }
    answers = []
    for name, layers in (("single", lots.SMALL_LAYERS), ("many", many)):
        site = lots.write_lot(tmp_path / name, lots.small_ground(), layers, more=lots.SMALL_MORE)
        result = run("screen", site, "--out", tmp_path / f"{name}-out", "--full")
        assert result.exit_code == 0, result.stderr
        answers.append(result.stdout)
    assert answers[0] == answers[1]


@pytest.mark.parametrize(
    "basins, told",
    [
        ("[[500015, 4400022], [500015, 4400022]]", "basins 1 and 2 stand less than 0.1 m apart"),
        ("[[500015, 4400022], [500013, 4400022], [500013.05, 4400022]]", "basins 2 and 3 stand less than"),
        ("[[500015, nan]]", "basins"),
        ("[[inf, 4400022]]", "basins"),
    ],
)
def test_basins_in_each_other_or_nowhere(lot, refused, tmp_path, basins, told):
    lot.write_text(f"{lot.read_text()}\n[layout]\nbasins = {basins}\n")
    assert told in refused("screen", lot, "--out", tmp_path / "out")


def test_a_layer_of_basins_in_each_other(lot, tmp_path):
    two = MultiPoint([(500013, 4400022), (500015, 4400022)])
    twice = gpd.GeoDataFrame(geometry=[Point(500015, 4400022), two], crs=32617)
    twice.to_file(lot.with_name("basins.gpkg"), layer="b")
    lot.write_text(f'{lot.read_text()}\n[layout]\nbasins = {{ file = "basins.gpkg" }}\n')
    with pytest.raises(LayerError, match="basins 1 and 2-2 stand less than"):
        read_layers(read_site_file(lot), FRAME)


def test_no_command_falls_over_a_shape(lot, refused, write_blobs, tmp_path):
    moved = [(500010 + x, 4400010 + y) for x, y in SQUARE]
    odd = write_blobs(lot.with_name("odd.gpkg"), [polygon([*moved[:2], (NAN, 4400019.0), *moved[3:]])])
    site = lot.with_name("odd.toml")
    site.write_text(lot.read_text().replace('"shapes.gpkg"\nlayer = "parcel"', '"odd.gpkg"'))
    swale = lot.with_name("swale.toml")
    swale.write_text(site.read_text() + '\n[swales]\nfile = "shapes.gpkg"\nlayer = "outfalls"\n')
    ground, out = lot.with_name("ground.tif"), tmp_path / "out"
    for command in (
        ("screen", site, "--out", out),
        ("swale", swale, "--out", out),
        ("start", ground, odd, "--out", tmp_path / "s.toml"),
        ("step", "sub-catchments", "--elevation", ground, "--parcel", odd, "--out", tmp_path / "o.gpkg"),
        ("step", "troubles", "--site", site, "--out", tmp_path / "o.gpkg"),
    ):
        assert "odd.gpkg, layer s: feature 1 has coordinates that are not finite" in refused(*command), command
    assert not out.exists()
