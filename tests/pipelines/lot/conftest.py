"""Lots made for a test: ground as an array, shapes as dictionaries, written as the files a person would bring."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
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
) -> Path:
    """Write a lot whose shapes are given in metres from the ground's lower left corner, and its site file."""
    rows, columns = ground.shape
    folder.mkdir(parents=True, exist_ok=True)
    # the three-number form keeps clear of operators that affine is about to change
    transform = Affine(cell, 0.0, east, 0.0, -cell, north + rows * cell)
    with rasterio.open(
        folder / "ground.tif", "w", driver="GTiff", height=rows, width=columns, count=1, dtype="float64", crs=crs,
        transform=transform, nodata=-999999.0,
    ) as file:
        file.write(ground, 1)
    tables = ['[elevation]\nfile = "ground.tif"\nunit = "m"\nrmse = "2 cm"\n']
    for name, rows_of in layers.items():
        shapes = [_moved(row["geometry"], east, north) for row in rows_of]
        values = {key: [row.get(key) for row in rows_of] for key in rows_of[0] if key != "geometry"}
        frame = gpd.GeoDataFrame(values, geometry=shapes, crs=crs)
        frame.to_file(folder / "shapes.gpkg", layer=name, engine="pyogrio")
        tables.append(f'[{name}]\nfile = "shapes.gpkg"\nlayer = "{name}"\n')
    site = folder / "site.toml"
    site.write_text('name = "Made lot"\n' + "\n".join(tables) + more, encoding="utf-8")
    return site


def _moved(shape: BaseGeometry, east: float, north: float) -> BaseGeometry:
    from shapely.affinity import translate

    return translate(shape, east, north)


@pytest.fixture
def make_lot(tmp_path: Path) -> MakeLot:
    """`write_lot` into the test's own folder."""

    def make(ground: np.ndarray, layers: dict[str, list[dict[str, Any]]], **options: Any) -> Path:
        return write_lot(tmp_path / options.pop("folder", "lot"), ground, layers, **options)

    return make
