"""A layer is read again where anything that it hangs on has changed, and only there."""

import json

import pytest

from pipelines.inputs.shapes.layer_state import layer_state

ROOFS, PATIOS = "\"table\" = 'roofs'", "\"table\" = 'hardscape'"


def _drawn(path, *features, **more):
    rows = [
        {"type": "Feature", "properties": {"table": table, **said}, "geometry": {"type": "Point", "coordinates": at}}
        for table, at, said in features
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows, **more}))
    return path


ROOF, PATIO = ("roofs", [0.0, 0.0], {"floor": "3 ft"}), ("hardscape", [1.0, 0.0], {"kind": "patio"})


def test_a_table_of_a_drawing_hangs_on_its_own_features(tmp_path):
    path = _drawn(tmp_path / "traced.geojson", ROOF, PATIO)
    roofs, patios = layer_state(path, ROOFS), layer_state(path, PATIOS)
    _drawn(path, ROOF, ("hardscape", [1.0, 0.5], {"kind": "patio"}))
    assert layer_state(path, ROOFS) == roofs
    assert layer_state(path, PATIOS) != patios


@pytest.mark.parametrize(
    ("features", "more"),
    [
        pytest.param([PATIO, ROOF], {}, id="it stands elsewhere, so its number is another"),
        pytest.param([ROOF, PATIO, PATIO], {}, id="one more"),
        pytest.param([ROOF, ("hardscape", [1.0, 0.0], {"floor": 3})], {}, id="a name holds another kind of value"),
        pytest.param([ROOF, PATIO], {"crs": {"type": "name", "properties": {"name": "EPSG:32617"}}}, id="a CRS"),
    ],
)  # fmt: skip
def test_a_table_hangs_on_what_its_file_says_of_all(tmp_path, features, more):
    path = _drawn(tmp_path / "traced.geojson", ROOF, PATIO)
    before = layer_state(path, ROOFS)
    _drawn(path, *features, **more)
    assert layer_state(path, ROOFS) != before


def test_a_file_hangs_on_what_is_named_like_it(tmp_path):
    path = tmp_path / "lots.gpkg"
    path.write_bytes(b"SQLite format 3")
    before = layer_state(path, None)
    (tmp_path / "other.gpkg-wal").write_bytes(b"x")
    assert layer_state(path, None) == before
    (tmp_path / "lots.gpkg-wal").write_bytes(b"x")
    assert layer_state(path, None) != before


@pytest.mark.parametrize("text", ["{", "[]", '{"features": [1]}', '{"features": [{"properties": null}]}'])
def test_what_is_no_drawing_hangs_on_its_file(tmp_path, text):
    path = tmp_path / "traced.geojson"
    path.write_text(text)
    before = layer_state(path, ROOFS)
    path.write_text(f"{text} ")
    assert before is not None
    assert layer_state(path, ROOFS) != before


def test_what_may_point_elsewhere_has_no_state(tmp_path):
    path = tmp_path / "lots.gpkg"
    path.write_text("\ufeff \n<OGRVRTDataSource/>", encoding="utf-8")
    assert layer_state(path, None) is None
    assert layer_state(tmp_path, None) is None
    assert layer_state(tmp_path / "gone.gpkg", None) is None
