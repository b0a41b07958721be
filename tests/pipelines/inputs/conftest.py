"""A site of one lot, written as files for a test to spoil."""

import shutil
import warnings

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
from shapely import LineString, Point, Polygon, box

WEST, SOUTH = 500000.0, 4100000.0


def lot_shapes():
    """Layers of the site in EPSG:32610, 60 x 80 m around a lot of 30 x 40 m."""
    x, y = WEST + 20.0, SOUTH + 20.0
    return {
        "parcels": gpd.GeoDataFrame(
            {"lot": [1, 2]}, geometry=[box(x, y, x + 30, y + 40), box(x + 30, y, x + 60, y + 40)]
        ),
        "roofs": gpd.GeoDataFrame(
            {"open_below": [False, True], "floor_ft": [330.0, None]},
            geometry=[box(x + 8, y + 10, x + 20, y + 22), box(x + 20, y + 10, x + 24, y + 16)],
        ),
        "culverts": gpd.GeoDataFrame(
            {"diameter_in": [12.0], "material": ["corrugated"]}, geometry=[LineString([(x, y - 6), (x + 6, y - 6)])]
        ),
        "outfalls": gpd.GeoDataFrame({"kind": ["swale"]}, geometry=[Point(x + 5, y - 6)]),
        "soils": gpd.GeoDataFrame({"group": ["c"]}, geometry=[box(x - 50, y - 50, x + 90, y + 90)]),
    }


def write_shapes(path, layer, shapes, crs, to_crs=None, **options):
    """Write one layer with GDAL."""
    shapes = shapes.set_crs(crs) if crs is not None else shapes
    with warnings.catch_warnings():
        # a layer without a CRS or with mixed shapes is written on purpose; geopandas passes pyproj arrays of one
        warnings.simplefilter("ignore")
        shapes = shapes.to_crs(to_crs) if to_crs is not None else shapes
        if path.suffix == ".gpkg":
            shapes.to_file(path, layer=layer, driver="GPKG", **options)
        else:
            shapes.to_file(path, **options)
    return path


@pytest.fixture
def write_layer(tmp_path):
    """Write shapes: `write_layer("roofs", shapes, crs=32610, name="site.gpkg")`; several layers a file."""

    def write(layer, shapes, *, crs=32610, name="site.gpkg", to_crs=None, **options):
        return write_shapes(tmp_path / name, layer, shapes, crs, to_crs, **options)

    return write


@pytest.fixture(scope="session")
def site_files(tmp_path_factory):
    """The site's files, written once."""
    folder = tmp_path_factory.mktemp("site")
    row, column = np.mgrid[0:160, 0:160]
    heights = (100.0 + 0.01 * column - 0.005 * row).astype("float32")
    with rasterio.open(
        folder / "ground.tif", "w", driver="GTiff", width=160, height=160, count=1, dtype="float32",
        crs="EPSG:32610", transform=Affine(0.5, 0.0, WEST, 0.0, -0.5, SOUTH + 80.0),
    ) as file:  # fmt: skip
        file.write(heights, 1)
        file.units = ["m"]
    for layer, shapes in lot_shapes().items():
        write_shapes(folder / "site.gpkg", layer, shapes, 32610)
    return folder


@pytest.fixture
def site_folder(site_files, tmp_path):
    """A copy of the site's files; `site.toml` is for the test to write."""
    for name in ("ground.tif", "site.gpkg"):
        shutil.copy(site_files / name, tmp_path / name)
    return tmp_path


@pytest.fixture
def bow_tie():
    """A polygon that crosses itself, of two triangles of 100 m2 each."""
    x, y = WEST + 20.0, SOUTH + 20.0
    return Polygon([(x, y), (x + 20, y + 20), (x + 20, y), (x, y + 20)])
