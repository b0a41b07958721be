"""Lots made for a test: ground as an array, shapes as dictionaries, written as the files a person would bring."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
from shapely import LineString, Point, box
from shapely.affinity import scale, translate
from shapely.geometry.base import BaseGeometry

SAMPLES = Path(__file__).parents[3] / "sample_data"
EAST, NORTH = 500_000.0, 4_400_000.0
CELL = 0.5

MakeLot = Callable[..., Path]


def write_lot(
    folder: Path,
    ground: np.ndarray,
    layers: dict[str, list[dict[str, Any]]],
    *,
    more: str = "",
    cell: float = CELL,
    east: float = EAST,
    north: float = NORTH,
    crs: str = "EPSG:32617",
    metres: float = 1.0,
    unit: str = "m",
    unit_metres: float = 1.0,
) -> Path:
    """Write a lot whose shapes are given in metres from the ground's lower left corner, and its site file.

    `metres` are in one unit of the map, `unit_metres` in one unit of the heights as they are written.
    """
    rows, columns = ground.shape
    folder.mkdir(parents=True, exist_ok=True)
    # the three-number form keeps clear of operators that affine is about to change
    transform = Affine(cell / metres, 0.0, east / metres, 0.0, -cell / metres, (north + rows * cell) / metres)
    with rasterio.open(
        folder / "ground.tif", "w", driver="GTiff", height=rows, width=columns, count=1, dtype="float64", crs=crs,
        transform=transform, nodata=-999999.0,
    ) as file:
        file.write(ground / unit_metres, 1)
    tables = [f'[elevation]\nfile = "ground.tif"\nunit = "{unit}"\nrmse = "2 cm"\ngrounds = 1\n']
    for name, rows_of in layers.items():
        shapes = [_moved(row["geometry"], east, north, metres) for row in rows_of]
        values = {key: [row.get(key) for row in rows_of] for key in rows_of[0] if key != "geometry"}
        frame = gpd.GeoDataFrame(values, geometry=shapes, crs=crs)
        frame.to_file(folder / "shapes.gpkg", layer=name, engine="pyogrio")
        tables.append(f'[{name}]\nfile = "shapes.gpkg"\nlayer = "{name}"\n')
    site = folder / "site.toml"
    site.write_text('name = "Made lot"\n' + "\n".join(tables) + more, encoding="utf-8")
    return site


def _moved(shape: BaseGeometry, east: float, north: float, metres: float) -> BaseGeometry:
    return scale(translate(shape, east, north), 1.0 / metres, 1.0 / metres, origin=(0.0, 0.0))


SMALL_WIDE = 30.0
SMALL_LAYERS: dict[str, list[dict[str, Any]]] = {
    "parcel": [{"lot": 1, "geometry": box(5.2, 4.0, 24.8, 25.7)}],
    "roofs": [{"open_below": False, "geometry": box(10.2, 11.2, 19.8, 17.8)}],
    "hardscape": [{"kind": "patio", "protect": True, "geometry": box(11.2, 19.2, 18.8, 23.8)}],
    "right_of_way": [{"kind": "street", "geometry": box(0.0, 0.0, 30.0, 4.0)}],
    "downspouts": [{"geometry": Point(10.2, 11.2)}, {"geometry": Point(19.8, 11.2)}],
    "outfalls": [{"kind": "swale", "geometry": LineString([(0.35, 1.62), (29.9, 1.62)])}],
    "complaints": [{"what": "stands on the patio", "geometry": Point(15.1, 22.1)}],
}
SMALL_MORE = """
[house]
foundation = "slab"

[rain]
depth = "3 in"
duration = "60 min"

[soil]
group = "B"
"""


def small_ground(cell: float = CELL) -> np.ndarray:
    """Thirty metres each way: a slope to a swale in the south, a hollow at the patio behind the house.

    Rough by 2 mm, so that no two cells tie.
    """
    count = round(SMALL_WIDE / cell)
    row, column = np.mgrid[0:count, 0:count]
    x, y = (column + 0.5) * cell, SMALL_WIDE - (row + 0.5) * cell
    swale = np.where(y < 3.2, 0.6 * (1.0 - np.abs(y - 1.6) / 1.6), 0.0)
    hollow = 0.25 * np.exp(-((x - 15.1) ** 2 + (y - 22.1) ** 2) / 4.0)
    rough = np.random.default_rng(7).normal(0.0, 0.002, (count, count))
    ground: np.ndarray = 100.0 + 0.03 * y + 0.002 * x - swale - hollow + rough
    return ground


def write_small_lot(folder: Path, **options: Any) -> Path:
    """`write_lot` of a lot of 19.6 x 21.7 m that takes a second to screen; gravity drains it."""
    return write_lot(folder, small_ground(), SMALL_LAYERS, **{"more": SMALL_MORE, **options})


@pytest.fixture
def make_lot(tmp_path: Path) -> MakeLot:
    """`write_lot` into the test's own folder."""

    def make(ground: np.ndarray, layers: dict[str, list[dict[str, Any]]], **options: Any) -> Path:
        return write_lot(tmp_path / options.pop("folder", "lot"), ground, layers, **options)

    return make


@pytest.fixture(scope="session")
def made_lots() -> Any:
    """This file, for a test that makes several lots."""
    return sys.modules[__name__]
