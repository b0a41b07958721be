"""A sample lot in every format that people bring gives the answer that it gives from its GeoPackage and GeoTIFF.

What a format cannot hold (polygons or attributes) stays in the GeoPackage: a table of points holds points, a GPS file
way points, a drawing shapes without attributes.
"""

import math
import re
import shutil
import tomllib
import warnings
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
import rasterio.shutil
from geopandas.testing import assert_geodataframe_equal

from pipelines.deliverables.lot.summary import summary
from pipelines.lot import screen_lot
from pipelines.lot_inputs import open_lot

SAMPLES = Path(__file__).parents[3] / "sample_data"
LAYERS = SAMPLES / "neighbourhood.gpkg"
POINTS = ("downspouts", "outfalls", "complaints")
# of the lot and beside it; lines and bounds without attributes are all that a drawing keeps
DRAWN = ("parcels", "downspouts")
GLOBE = 4326
pytestmark = pytest.mark.usefixtures("kept_in_file")


def layer(name):
    return pyogrio.read_dataframe(LAYERS, layer=name)


def named():
    """Layers that the site file of lot 1 names."""
    site = tomllib.loads((SAMPLES / "lot_01.toml").read_text())
    return [held["layer"] for held in site.values() if isinstance(held, dict) and "layer" in held]


def one_each(folder, ending, *, crs=None, **options):
    """Each layer as a file of its own."""
    for name in named():
        shapes = layer(name) if crs is None else layer(name).to_crs(crs)
        if ending == ".shp":
            # two names that it cuts to the same ten letters; lot 1 has no surveyed inverts
            shapes = shapes.drop(columns=["invert_up_m", "invert_down_m"], errors="ignore")
        with warnings.catch_warnings():
            # a shapefile cuts names at ten letters
            warnings.simplefilter("ignore")
            pyogrio.write_dataframe(shapes, folder / f"{name}{ending}", **options)
    return {name: (f"{name}{ending}", None) for name in named()}


def together(folder, name, **options):
    """All layers in one file."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for each in named():
            pyogrio.write_dataframe(layer(each), folder / name, layer=each, **options)
    return {each: (name, each) for each in named()}


def zipped(folder, made):
    """Each file that was made, with what belongs to it, in a zip of its own."""
    found = {}
    for name, (file, inside) in made.items():
        whole = folder / file
        parts = sorted(whole.iterdir()) if whole.is_dir() else sorted(folder.glob(f"{whole.stem}.*"))
        with zipfile.ZipFile(folder / f"{name}_packed.zip", "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("about.txt", "invented")
            for part in (each for each in parts if each.suffix != ".zip"):
                archive.write(part, part.relative_to(folder))
        found[name] = (f"{name}_packed.zip", inside)
    for file, _ in made.values():
        if (folder / file).is_dir():
            shutil.rmtree(folder / file)
        else:
            (folder / file).unlink(missing_ok=True)
    return found


def geoparquet(folder):
    pytest.importorskip("pyarrow", reason="pyarrow, of the extra parquet, is not installed")
    for name in named():
        layer(name).to_parquet(folder / f"{name}.parquet")
    return {name: (f"{name}.parquet", None) for name in named()}


def keyhole(folder):
    for name in named():
        shapes = layer(name).to_crs(GLOBE)
        yes_no = {key: shapes[key].astype(str) for key in shapes if shapes[key].dtype == bool}
        pyogrio.write_dataframe(shapes.assign(**yes_no), folder / f"{name}.kml", driver="LIBKML", layer=name)
    return {name: (f"{name}.kml", None) for name in named()}


def gps(folder):
    points = layer("downspouts")[["geometry"]].to_crs(GLOBE)
    pyogrio.write_dataframe(points, folder / "way.gpx", driver="GPX", layer="waypoints")
    return {"downspouts": ("way.gpx", "waypoints")}


def point_table(folder, *, crs, columns):
    """Points with all their attributes, one table of commas a layer."""
    for name in POINTS:
        shapes = layer(name).to_crs(crs)
        place = {columns[0]: shapes.geometry.x, columns[1]: shapes.geometry.y}
        shapes.drop(columns="geometry").assign(**place).to_csv(folder / f"{name}.csv", index=False)
    return {name: (f"{name}.csv", None) for name in POINTS}


def drawing(folder):
    """Closed lines on drawing layers of their own, with other things that are drawn beside."""
    for name in DRAWN:
        shapes = layer(name)
        drawn = shapes.assign(Layer=[f"{name.upper()}_{lot}" for lot in shapes["lot"]])[["Layer", "geometry"]]
        if name == "parcels":
            drawn = drawn.set_geometry(drawn.geometry.exterior)
        pyogrio.write_dataframe(drawn, folder / f"{name}.dxf", driver="DXF")
    return {name: (f"{name}.dxf", None) for name in DRAWN}


WAYS = {
    "shapefile": lambda folder: one_each(folder, ".shp"),
    "file geodatabase": lambda folder: together(folder, "lot.gdb", driver="OpenFileGDB"),
    # its index would sort features by place, and improvements are numbered in the order of what they serve
    "FlatGeobuf": lambda folder: one_each(folder, ".fgb", SPATIAL_INDEX="NO"),
    "GeoParquet": geoparquet,
    "GeoJSON": lambda folder: one_each(folder, ".geojson", crs=GLOBE, COORDINATE_PRECISION=11),
    "KML": keyhole,
    "GPX": gps,
    "DXF": drawing,
    "lon and lat": lambda folder: point_table(folder, crs=GLOBE, columns=("lon", "lat")),
    "easting and northing": lambda folder: point_table(folder, crs=32617, columns=("Easting", "Northing")),
}
ZIPPED = {
    "shapefile": lambda folder: zipped(folder, WAYS["shapefile"](folder)),
    "file geodatabase": lambda folder: zipped(folder, WAYS["file geodatabase"](folder)),
    "GeoParquet": lambda folder: zipped(folder, WAYS["GeoParquet"](folder)),
    "GeoJSON": lambda folder: zipped(folder, WAYS["GeoJSON"](folder)),
    "GeoPackage": lambda folder: zipped(folder, together(folder, "lot.gpkg")),
}
NEED_CRS = {"DXF": "EPSG:32617", "easting and northing": "EPSG:32617"}
NEED_WHERE = {"parcels.dxf": "Layer = 'PARCELS_1'"} | {
    # its attributes come as texts
    f"{name}.kml": "lot = '1'"
    for name in ("parcels", "outfalls", "complaints")
}


def virtual(folder):
    rasterio.shutil.copy(folder / "plain.tif", folder / "ground.vrt", driver="VRT")
    return "ground.vrt"


def cloud_optimized(folder):
    rasterio.shutil.copy(folder / "plain.tif", folder / "cog.tif", driver="COG", blocksize=128)
    return "cog.tif"


def ascii_grid(folder):
    rasterio.shutil.copy(folder / "plain.tif", folder / "ground.asc", driver="AAIGrid", DECIMAL_PRECISION=4)
    return "ground.asc"


def spilled(folder):
    """An IMG of which the numbers lie in a second file."""
    rasterio.shutil.copy(folder / "plain.tif", folder / "ground.img", driver="HFA", USE_SPILL="YES")
    assert (folder / "ground.ige").stat().st_size > (folder / "ground.img").stat().st_size
    return "ground.img"


GROUNDS = {"VRT": virtual, "COG": cloud_optimized, "ASCII grid": ascii_grid, "IMG with IGE": spilled}


def site_of(folder, tables, ground="plain.tif", *, crs=None):
    """The site file of lot 1 with the given files in the place of its own."""
    for name in ("rain.csv", "pump.csv", "prices.csv"):
        shutil.copy(SAMPLES / name, folder / name)
    with rasterio.open(SAMPLES / "ground.tif") as file:
        lines = (SAMPLES / "lot_01.toml").read_text().replace('"ground.tif"', f'"{ground}"').splitlines()
        assert file.crs.to_epsg() == 32617
    text, held = [], [each.partition('"')[2][:-1] for each in lines if each.startswith("layer = ")]
    at = iter(held)
    for line in lines:
        if line == 'file = "neighbourhood.gpkg"':
            name = next(at)
            file, inside = tables.get(name, (str(LAYERS), name))
            text.append(f'file = "{file}"')
            text += [f'layer = "{inside}"'] if inside else []
            text += [f'crs = "{crs}"'] if crs and name in tables else []
            where = NEED_WHERE.get(file)
            text += [f'where = "{where}"'] if where else []
        elif line.startswith("layer = ") or (line.startswith("where = ") and text[-1].startswith("where")):
            continue
        else:
            text.append(line)
    site = folder / "site.toml"
    site.write_text("\n".join(text), encoding="utf-8")
    return site


def told(site):
    return summary(screen_lot(site, grounds=1))


@pytest.fixture(scope="module")
def expected():
    return told(SAMPLES / "lot_01.toml")


@pytest.fixture(scope="module")
def plain():
    """Layers of lot 1 as its own files hold them."""
    return open_lot(SAMPLES / "lot_01.toml").opened.layers


def assert_same(found, expected, at=""):
    """Texts to the letter, numbers within what a millimetre of a corner makes of them.

    Downspouts of a wall stand in one line to the last bit, so a millimetre tells which is numbered first, and so with
    the runs from them.
    """
    if isinstance(expected, dict):
        assert list(found) == list(expected), at
        for key in expected:
            if key not in ("inputs", "warnings"):
                assert_same(found[key], expected[key], f"{at}.{key}")
    elif isinstance(expected, list | tuple):
        assert len(found) == len(expected), at
        for number, (one, other) in enumerate(zip(found, expected, strict=True)):
            assert_same(one, other, f"{at}[{number}]")
    elif isinstance(expected, float) and isinstance(found, float):
        assert math.isclose(found, expected, rel_tol=1e-3, abs_tol=1e-3), (at, found, expected)
    else:
        assert _unnumbered(found) == _unnumbered(expected), at


def some(ways, *quick):
    """All of them, each a whole screen: a few in the quick suite, the others on request."""
    return [pytest.param(way, marks=() if way in quick else pytest.mark.thorough) for way in ways]


def _unnumbered(value):
    return re.sub(r"(downspout|run)-\d+", r"\1", value) if isinstance(value, str) else value


@pytest.mark.parametrize("way", some(WAYS, "shapefile"))
def test_the_same_answer_from_any_vector_file(tmp_path, expected, way):
    shutil.copy(SAMPLES / "ground.tif", tmp_path / "plain.tif")
    tables = WAYS[way](tmp_path)
    found = told(site_of(tmp_path, tables, crs=NEED_CRS.get(way)))
    assert_same(found, expected)
    files = {Path(each["file"]).name for each in found["inputs"]}
    assert {file for file, _ in tables.values()} <= files


@pytest.mark.parametrize("way", WAYS)
def test_the_same_shapes_from_any_vector_file(tmp_path, plain, way):
    """As many, to a millimetre; the answer from some of them is tried above."""
    shutil.copy(SAMPLES / "ground.tif", tmp_path / "plain.tif")
    tables = WAYS[way](tmp_path)
    found = open_lot(site_of(tmp_path, tables, crs=NEED_CRS.get(way))).opened.layers
    assert {file for file, _ in tables.values()} <= {each.source.file.name for each in found.sources}
    for name in plain.__dataclass_fields__:
        one, other = getattr(plain, name), getattr(found, name)
        if isinstance(one, gpd.GeoDataFrame):
            assert len(other) == len(one), name
            assert (other.geometry.hausdorff_distance(one.geometry) < 1e-3).all(), name


@pytest.mark.parametrize("way", ZIPPED)
def test_a_zip_of_a_file_holds_what_the_file_holds(tmp_path, way):
    """Layers to the vertex and attribute; what is made of them is tried above."""
    folders = tmp_path / "plain", tmp_path / "zipped"
    read = []
    for folder, ways in zip(folders, (WAYS | {"GeoPackage": lambda _: {}}, ZIPPED), strict=True):
        folder.mkdir()
        shutil.copy(SAMPLES / "ground.tif", folder / "plain.tif")
        read.append(open_lot(site_of(folder, ways[way](folder))).opened.layers)
    plain, packed = read
    assert {layer.source.file.suffix for layer in packed.sources} == {".zip"}
    for name, one in ((name, getattr(plain, name)) for name in plain.__dataclass_fields__):
        if isinstance(one, gpd.GeoDataFrame):
            assert_geodataframe_equal(one, getattr(packed, name))


@pytest.mark.parametrize("way", some(GROUNDS, "COG"))
def test_the_same_answer_from_any_raster(tmp_path, expected, way):
    shutil.copy(SAMPLES / "ground.tif", tmp_path / "plain.tif")
    ground = GROUNDS[way](tmp_path)
    assert_same(told(site_of(tmp_path, {}, ground)), expected)
    with rasterio.open(tmp_path / ground) as file, rasterio.open(tmp_path / "plain.tif") as plain:
        np.testing.assert_allclose(file.read(1), plain.read(1), atol=1e-4)


def test_what_is_tried_holds_shapes_of_each_kind():
    kinds = {kind for name in named() for kind in gpd.GeoDataFrame(layer(name)).geom_type}
    assert kinds == {"Polygon", "LineString", "Point"}
