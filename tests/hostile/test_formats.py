"""Tables of points, drawings, zips and GeoParquet that are torn, huge, empty or of another place: one message each."""

import io
import json
import os
import zipfile
from contextlib import suppress
from pathlib import Path

import geopandas as gpd
import pyogrio
import pytest
import rasterio
import rasterio.shutil
from pyproj import CRS
from shapely import LineString, Point, box

from pipelines.deliverables.words.say import say
from pipelines.inputs.errors import InputFileError, LayerError, TableError
from pipelines.inputs.shapes import drawing, parquet_file, plain_files, readable_file
from pipelines.inputs.shapes.layer_table import LAYER_KINDS
from pipelines.inputs.shapes.vector_file import find_layer, read_shapes
from pipelines.inputs.site_sections import VectorFile
from terrain.errors import LotshedError
from terrain.grid import Frame

FRAME = Frame(CRS(32617), 1.0, 1.0, 1.0)
SQUARE = box(500010, 4400010, 500019, 4400019)
SOME = gpd.GeoDataFrame({"kind": ["swale"]}, geometry=[SQUARE], crs=32617)


@pytest.fixture(autouse=True)
def made():
    """Nothing that was made or unpacked outlives its test."""
    yield
    readable_file.clear_away()
    assert not readable_file._folders


def read(path, key="roofs", *, crs=None, where=None, layer=None):
    source = VectorFile.model_construct(file=path, layer=layer, where=where, crs=crs)
    return read_shapes(find_layer(source, key), LAYER_KINDS[key], FRAME)


def write(path, text):
    path.write_text(text, encoding="utf-8")
    return path


POINTS = {
    "none": ("kind,note\nswale,x\n", None, "don't say where a point is; give lon and lat"),
    "no rows": ("lon,lat,kind\n", None, "has a header and no rows"),
    "empty": ("", None, "is empty"),
    "no number": ("lon,lat,kind\n-81,here,swale\n", None, 'line 2, column lat: "here" is no number'),
    "half a place": ("lon,lat,kind\n-81,,swale\n", None, 'line 2, column lat: "" is no number'),
    "infinite": ("lon,lat,kind\ninf,30,swale\n", None, 'line 2, column lon: "inf" is no number'),
    "changed over": ("lon,lat,kind\n39.7,-181,swale\n", None, "is no place on the globe; the two may be changed over"),
    "metres as degrees": ("lon,lat,kind\n500010,4400010,swale\n", None, "is no place on the globe"),
    "no CRS": ("easting,northing,kind\n500010,4400010,swale\n", None, "say it in the same table of the site"),
    "CRS of degrees": ("easting,northing,kind\n1,2,swale\n", "EPSG:4326", "do not go with crs"),
    "CRS of metres": ("lon,lat,kind\n-81,39,swale\n", "EPSG:32617", "do not go with crs"),
    "no such CRS": ("x,y,kind\n1,2,swale\n", "EPSG:999999", "is no CRS that says where on earth a place is"),
    "a CRS that is a file": ("x,y,kind\n1,2,swale\n", "/etc/passwd", "is no CRS that says where"),
    "a CRS of nowhere": ("x,y,kind\n1,2,swale\n", 'LOCAL_CS["x:y",UNIT["m",1]]', "is no CRS that says where"),
    "cells missing": ("lon,lat,kind\n-81,39\n", None, "line 2 has 2 values for 3 columns"),
    "semicolons": ("lon;lat;kind\n-81;39;swale\n", None, "is separated by semicolons"),
    "no text": ("lon,lat\n\udcff,1\n", None, "is no text in UTF-8"),
    "twice": ("lon,lat,lat\n1,2,3\n", None, "column lat stands in the header twice"),
    "huge": ("lon,lat,kind\n" + "-81,39,swale\n" * 20_001, None, "lines, and at most 20,000 are read"),
    "a long line": ("lon,lat,kind\n-81,39," + "x" * 20_001, None, "characters, and at most"),
}  # fmt: skip


@pytest.mark.parametrize("name", POINTS)
def test_a_table_of_points_that_cannot_be(tmp_path, name):
    text, crs, told = POINTS[name]
    path = tmp_path / "p.csv"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises((TableError, LayerError), match=None) as caught:
        read(path, "outfalls", crs=crs)
    assert told in str(caught.value)
    assert "p.csv" in str(caught.value)


def test_rows_of_points_are_read_as_they_say(tmp_path):
    path = write(
        tmp_path / "p.csv", "# kept by hand\nLon,LAT,kind,lot,no,fid\n-81,39.7,swale,1,007,5\n,,curb,2,008,6\n"
    )
    shapes, found = read(path, "outfalls", where="no = '007' OR lot = 2")
    assert list(shapes["kind"]) == ["swale"]
    assert [each.code for each in found] == ["shapes_empty"]
    assert read(path, "outfalls", where="lot >= 1 AND fid_ = 5")[0].geometry[0].geom_type == "Point"


def dxf(inside, *, units=None, end="\n"):
    head = f"0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n{units}\n0\nENDSEC\n" if units is not None else ""
    return (head + f"0\nSECTION\n2\nENTITIES\n{inside}0\nENDSEC\n0\nEOF\n").replace("\n", end)


def polyline(points, *, closed, layer="LOT"):
    held = "".join(f"10\n{x}\n20\n{y}\n" for x, y in points)
    return f"0\nLWPOLYLINE\n8\n{layer}\n90\n{len(points)}\n70\n{int(closed)}\n{held}"


RING = list(SQUARE.exterior.coords)[:-1]
OPEN = [(500010, 4400030), (500019, 4400030)]
TEXT = "0\nTEXT\n8\nNOTES\n10\n500011\n20\n4400011\n40\n1\n1\nLOT 7\n"


@pytest.mark.parametrize("units, crs", [(None, "EPSG:32617"), (0, "EPSG:32617"), (6, "EPSG:32617"), (4, "EPSG:32617")])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_of_a_drawing_closed_lines_are_polygons_and_what_does_not_fit_is_told(tmp_path, units, crs, end):
    inside = polyline(RING, closed=True) + polyline(OPEN, closed=False, layer="FENCE") + TEXT
    path = tmp_path / "d.dxf"
    path.write_bytes(dxf(inside, units=units, end=end).encode())
    shapes, (told,) = read(path, crs=crs)
    assert shapes.geometry[0].equals(SQUARE)
    assert say(told, "si").startswith(
        "[roofs] d.dxf, layer entities: 2 shapes of the drawing left out, being no polygon"
    )
    lines, _ = read(path, "barriers", crs=crs, where="Layer = 'FENCE'")
    assert lines.geometry[0].equals(LineString(OPEN))


@pytest.mark.parametrize("units, crs", [(2, "EPSG:32617"), (21, "EPSG:4326"), (6, "EPSG:2227"), (6, "EPSG:4326")])
def test_a_drawing_in_another_unit_than_its_crs(tmp_path, units, crs):
    path = write(tmp_path / "d.dxf", dxf(polyline(RING, closed=True), units=units))
    with pytest.raises(LayerError, match=rf"\$INSUNITS {units}\), and its CRS .* counts in"):
        read(path, crs=crs)


@pytest.mark.parametrize("units", [2, 21])
def test_feet_of_either_kind_go_with_a_crs_in_feet(tmp_path, units):
    path = write(tmp_path / "d.dxf", dxf(polyline(RING, closed=True), units=units))
    assert find_layer(VectorFile.model_construct(file=path, crs="EPSG:2227"), "roofs").crs == CRS(2227)


def test_a_drawing_needs_a_crs(tmp_path):
    path = write(tmp_path / "d.dxf", dxf(polyline(RING, closed=True)))
    with pytest.raises(LayerError, match=r'it has no CRS; say the one .* as in crs = "EPSG:32617"'):
        read(path)


def test_blocks_that_hold_each_other_end_at_once(tmp_path):
    """Thirty blocks of which each holds the next twice would make a thousand million lines."""
    blocks = "".join(
        f"0\nBLOCK\n8\n0\n2\nB{n}\n70\n0\n10\n0\n20\n0\n3\nB{n}\n1\n\n"
        + f"0\nINSERT\n2\nB{n + 1}\n10\n1\n20\n1\n" * 2
        + "0\nENDBLK\n"
        for n in range(30)
    )
    inside = "0\nINSERT\n8\n0\n2\nB0\n10\n500011\n20\n4400011\n" + polyline(RING, closed=True)
    text = dxf(inside, units=6).replace(
        "0\nSECTION\n2\nENT", f"0\nSECTION\n2\nBLOCKS\n{blocks}0\nENDSEC\n0\nSECTION\n2\nENT"
    )
    shapes, (told,) = read(write(tmp_path / "d.dxf", text), crs="EPSG:32617")
    assert (len(shapes), told["shapes"]) == (1, 1)


def test_a_drawing_that_names_others_opens_none(tmp_path, listener):
    os.mkfifo(tmp_path / "other")
    block = f"0\nBLOCK\n8\n0\n2\nX\n70\n4\n10\n0\n20\n0\n3\nX\n1\n{tmp_path / 'other'}\n0\nENDBLK\n"
    image = f"0\nIMAGEDEF\n1\n{listener.url}/x.png\n"
    more = (
        f"0\nSECTION\n2\nBLOCKS\n{block}0\nENDSEC\n0\nSECTION\n2\nENT",
        f"0\nSECTION\n2\nOBJECTS\n{image}0\nENDSEC\n0\nEOF",
    )
    text = dxf("0\nINSERT\n8\n0\n2\nX\n10\n1\n20\n1\n" + polyline(RING, closed=True), units=6)
    text = text.replace("0\nSECTION\n2\nENT", more[0]).replace("0\nEOF", more[1])
    # a pipe that is opened would be waited for
    shapes, _ = read(write(tmp_path / "d.dxf", text), crs="EPSG:32617")
    assert (len(shapes), listener.hits) == (1, 0)


@pytest.mark.parametrize("cut", range(0, 300, 17))
def test_a_torn_drawing_reads_or_gives_one_message(tmp_path, cut):
    text = dxf(polyline(RING, closed=True), units=6)
    path = write(tmp_path / "d.dxf", text[: len(text) - cut])
    with suppress(LotshedError):
        assert len(read(path, crs="EPSG:32617")[0]) <= 1


def test_a_huge_drawing(tmp_path, monkeypatch):
    monkeypatch.setattr(plain_files, "MOST_BYTES", 100)
    with pytest.raises(InputFileError, match=r"is larger than 0\.0001 MB; cut the drawing"):
        read(write(tmp_path / "d.dxf", dxf(polyline(RING, closed=True))), crs="EPSG:32617")
    assert drawing.MOST_BYTES == 100_000_000


def test_a_crs_beside_that_of_the_file(tmp_path):
    SOME.to_file(tmp_path / "a.gpkg", layer="a")
    assert len(read(tmp_path / "a.gpkg", crs="EPSG:32617")[0]) == 1
    with pytest.raises(LayerError, match=r'its own CRS is .* and crs = "EPSG:2227" is another; leave crs out'):
        read(tmp_path / "a.gpkg", crs="EPSG:2227")
    SOME.to_file(tmp_path / "b.shp")
    (tmp_path / "b.prj").unlink()
    assert len(read(tmp_path / "b.shp", crs="EPSG:32617")[0]) == 1


def pack(path, files, **options):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, held in files.items():
            archive.writestr(name, held, **options)
    return path


@pytest.fixture
def package(tmp_path):
    SOME.to_file(tmp_path / "whole.gpkg", layer="a")
    return (tmp_path / "whole.gpkg").read_bytes()


def test_zips_that_are_refused(tmp_path, package, monkeypatch):
    inner = io.BytesIO()
    with zipfile.ZipFile(inner, "w") as archive:
        archive.writestr("a.gpkg", package)
    fgb = tmp_path / "a.fgb"
    SOME.to_file(fgb)
    for files, told in (
        ({"a.gpkg": package, "b.gpkg": package}, "is no part of a shapefile, nor one file of shapes alone"),
        ({"a.gpkg": inner.getvalue()}, "is a zip again; unpack it first"),
        ({"a.vrt": b"<OGRVRTDataSource/>"}, "is no part of a shapefile"),
        ({"a.gpkg": package[:3000]}, "torn"),
        ({"a.fgb": fgb.read_bytes()[:60]}, "has no layer of shapes"),
        ({"a.json": b'{"type": "gdal_streamed_alg"}'}, "is a step that GDAL would run"),
        ({"a.csv": b"lon,lat\n1,x\n"}, "is no number"),
        ({"x.gdb/gdb": b"x"}, "is no geodatabase that can be read"),
        ({"x.gdb/a.gdbtable": b"x", "a.gpkg": package}, "nor one file of shapes alone"),
        ({}, "no layer of shapes"),
    ):
        path = pack(tmp_path / f"{len(list(tmp_path.iterdir()))}.zip", files)
        with pytest.raises(LotshedError) as caught:
            read(path)
        assert told in str(caught.value) or "it is no vector file" in str(caught.value), (files.keys(), caught.value)
    monkeypatch.setattr(readable_file, "MOST_UNPACKED", 50_000)
    with pytest.raises(InputFileError, match="unpacks to more than"):
        read(pack(tmp_path / "bomb.zip", {"a.gpkg": package + b"\0" * 100_000}))


def test_a_zip_that_lies_of_its_size(tmp_path, package, monkeypatch):
    path = pack(tmp_path / "a.zip", {"a.gpkg": package})
    held = bytearray(path.read_bytes())
    at = held.rindex(b"PK\1\2") + 24
    held[at : at + 4] = (10).to_bytes(4, "little")
    path.write_bytes(held)
    with pytest.raises(LotshedError):
        read(path)


def test_names_in_a_zip_lead_nowhere(tmp_path, package):
    folder = tmp_path / "in" / "side"
    folder.mkdir(parents=True)
    shapes, _ = read(pack(folder / "a.zip", {"../../out.gpkg": package}))
    assert len(shapes) == 1
    assert sorted(each.name for each in tmp_path.rglob("*") if each.is_file()) == ["a.zip", "whole.gpkg"]


def test_a_database_in_a_zip_is_looked_at_too(tmp_path, package):
    import sqlite3

    path = tmp_path / "odd.gpkg"
    path.write_bytes(package)
    with sqlite3.connect(path) as database:
        database.execute("create view endless as with recursive n(i) as (select 1 union all select i + 1 from n) "
                         "select count(*) from n")  # fmt: skip
    database.close()
    with pytest.raises(InputFileError, match="its view endless is no plain look at tables"):
        read(pack(tmp_path / "odd.zip", {"odd.gpkg": path.read_bytes()}))


def test_a_view_may_be_called_anything(tmp_path, package):
    import sqlite3

    path = tmp_path / "quoted.gpkg"
    path.write_bytes(package)
    with sqlite3.connect(path) as database:
        database.execute('create view "what ""they"" saw" as select 1')
    database.close()
    assert len(read(path)) > 0


def test_a_locked_zip(tmp_path, package):
    path = pack(tmp_path / "a.zip", {"a.gpkg": package})
    held = bytearray(path.read_bytes())
    for mark, at in ((b"PK\1\2", 8), (b"PK\3\4", 6)):
        held[held.index(mark) + at] |= 1
    path.write_bytes(held)
    with pytest.raises(InputFileError, match="password"):
        read(path)


def test_what_is_made_is_private_and_cleared_away(tmp_path, package):
    path = pack(tmp_path / "a.zip", {"a.gpkg": package})
    opened = readable_file.readable_file(path, "here")
    assert opened == readable_file.readable_file(path, "here")
    (folder,) = readable_file._folders
    assert folder.stat().st_mode & 0o077 == 0
    readable_file.clear_away()
    assert not opened.exists()


@pytest.fixture
def parquet():
    return pytest.importorskip("pyarrow.parquet", reason="pyarrow, of the extra parquet, is not installed")


def test_geoparquet_with_lists_and_names_of_a_databases_own(tmp_path, parquet):
    given = SOME.assign(fid=[9], many=[[1, 2]], kept=[4], of_a_kind=["x"]).astype({"of_a_kind": "category"})
    given.to_parquet(tmp_path / "a.parquet")
    found = find_layer(VectorFile.model_construct(file=tmp_path / "a.parquet"), "roofs")
    assert set(found.attributes) == {"kind", "fid_", "kept", "of_a_kind"}
    assert len(read(tmp_path / "a.parquet", where="kept = 4 AND fid_ = 9")[0]) == 1


def test_geoparquet_that_is_refused(tmp_path, parquet, monkeypatch):
    import pyarrow as pa

    SOME.to_parquet(tmp_path / "whole.parquet")
    held = (tmp_path / "whole.parquet").read_bytes()
    for cut in (4, 12, len(held) // 2, len(held) - 9, len(held) - 1):
        torn = tmp_path / f"torn{cut}.parquet"
        torn.write_bytes(held[:cut])
        with pytest.raises(InputFileError, match="it is no GeoParquet that can be read, or is torn"):
            read(torn)
    plain = pa.table({"a": [1]})
    for name, geo, told in (
        ("plain", None, "a Parquet file without shapes"),
        ("none", {"columns": {}}, "a Parquet file without shapes"),
        ("list", [1], "a Parquet file without shapes"),
        ("odd", {"version": "1.0.0", "primary_column": "a", "columns": {"a": {"encoding": "WKB"}}}, "it is no Geo"),
        ("missing", {"version": "1.0.0", "primary_column": "b", "columns": {"b": {"encoding": "WKB"}}}, "it is no Geo"),
    ):  # fmt: skip
        made = plain if geo is None else plain.replace_schema_metadata({b"geo": json.dumps(geo).encode()})
        parquet.write_table(made, tmp_path / f"{name}.parquet")
        with pytest.raises(LotshedError, match=told):
            read(tmp_path / f"{name}.parquet")
    no_crs = SOME.set_crs(None, allow_override=True)
    no_crs.to_parquet(tmp_path / "no_crs.parquet")
    with pytest.raises(LayerError, match="it has no CRS; say it in its table"):
        read(tmp_path / "no_crs.parquet")
    assert len(read(tmp_path / "no_crs.parquet", crs="EPSG:32617")[0]) == 1
    with pytest.raises(LayerError, match="its own CRS is"):
        read(tmp_path / "whole.parquet", crs="EPSG:2227")
    monkeypatch.setattr(parquet_file, "_MOST_ROWS", 0)
    SOME.to_parquet(tmp_path / "many.parquet")
    with pytest.raises(InputFileError, match=r"holds 1 features .* cut it to the ground that matters"):
        read(tmp_path / "many.parquet")


def test_without_pyarrow_it_is_said_what_to_install(tmp_path, monkeypatch):
    (tmp_path / "a.parquet").write_bytes(b"PAR1" * 9)
    monkeypatch.setitem(__import__("sys").modules, "pyarrow", None)
    with pytest.raises(InputFileError, match=r'pip install "lotshed\[parquet\]", or use a GeoPackage'):
        read(tmp_path / "a.parquet")


def test_what_geodatabases_and_shapefiles_do_to_names(tmp_path):
    # newer GDAL sets the underscore itself
    made = gpd.GeoDataFrame({"group_": ["c"], "lot": [7.0]}, geometry=[SQUARE], crs=32617)
    pyogrio.write_dataframe(made, tmp_path / "s.gdb", driver="OpenFileGDB", layer="soils")
    assert list(read(tmp_path / "s.gdb", "soil")[0]["group"]) == ["c"]
    assert list(read(tmp_path / "s.gdb", "parcel")[0]["lot"]) == ["7"]


def test_a_filter_on_a_file_that_is_no_database(tmp_path):
    two = gpd.GeoDataFrame({"kind": ["swale", "curb"]}, geometry=[Point(1, 1), Point(2, 2)], crs=32617)
    for ending in (".shp", ".fgb", ".geojson"):
        path = tmp_path / f"a{ending}"
        two.to_file(path, driver="GeoJSON" if ending == ".geojson" else None)
        assert list(read(path, "outfalls", where="kind = 'curb'")[0]["kind"]) == ["curb"]


def test_an_img_whose_numbers_lie_elsewhere(lot, refused, tmp_path):
    made = lot.with_name("abcdefgh.img")
    rasterio.shutil.copy(lot.with_name("ground.tif"), made, driver="HFA", USE_SPILL="YES")
    lot.write_text(lot.read_text().replace('"ground.tif"', '"abcdefgh.img"'))
    with rasterio.open(made) as file:
        assert sorted(Path(each).name for each in file.files)[:1] == ["abcdefgh.ige"]
    # the same number of letters, so that all else stays where it is
    made.with_suffix(".ige").rename(lot.parent.parent / "abcdE.ige")
    made.write_bytes(made.read_bytes().replace(b"abcdefgh.ige", b"../abcdE.ige"))
    with rasterio.open(made) as file:
        assert file.read(1).max() > 0.0, "GDAL itself would read it"
    told = refused("screen", lot, "--out", tmp_path / "out")
    assert "keeps numbers in abcdE.ige, which lies outside its folder" in told


def test_an_img_whose_numbers_are_a_pipe(lot, refused, tmp_path):
    made = lot.with_name("abcdefgh.img")
    rasterio.shutil.copy(lot.with_name("ground.tif"), made, driver="HFA", USE_SPILL="YES")
    lot.write_text(lot.read_text().replace('"ground.tif"', '"abcdefgh.img"'))
    made.with_suffix(".ige").unlink()
    os.mkfifo(made.with_suffix(".ige"))
    assert "is a named pipe" in refused("screen", lot, "--out", tmp_path / "out")
