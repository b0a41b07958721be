"""The result of one step as one file, of the kind that its value is."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.files.geopackage import write_geopackage
from pipelines.deliverables.files.geotiff import write_geotiff
from pipelines.deliverables.files.layer_table import Layer, layers
from pipelines.deliverables.files.table_csv import csv_text
from pipelines.deliverables.files.text_file import write_text
from terrain.grid import Frame
from terrain.raster import Raster
from terrain.reading.surface import Surface
from terrain.unit_table import Units


def write_result(
    path: Path, name: str, value: Any, *, frame: Frame | None, units: Units, description: str = ""
) -> None:
    """Write what a step gave."""
    if isinstance(value, Surface):
        value = Raster(value.grid, value.elevation, "m", "height of the ground")
    if isinstance(value, Raster):
        write_geotiff(path, value)
    elif isinstance(value, gpd.GeoDataFrame | Mapping):
        if frame is None:
            raise TypeError("a layer needs the frame that it was measured in")
        given = {name: value} if isinstance(value, gpd.GeoDataFrame) else value
        others = {
            each: Layer(each, each, description, _geometry_type(table), ())
            for each, table in given.items()
            if each not in layers()
        }
        on_map = {each: _on_map(table, frame) for each, table in given.items()}
        write_geopackage(path, on_map, crs=frame.crs, units=units, others=others)
    elif isinstance(value, str):
        write_single_text(path, value)
    elif isinstance(value, pd.DataFrame):
        write_single_text(path, csv_text(value))
    else:
        raise TypeError(f"step {name} gave a {type(value).__name__}, which is no raster, layer or table")


def write_single_text(path: Path, text: str) -> None:
    """Write a text file, replacing an earlier one only when whole."""
    _write_beside(path, lambda beside: write_text(beside, text))


def write_single_bytes(path: Path, content: bytes) -> None:
    """Write a file, replacing an earlier one only when whole."""
    _write_beside(path, lambda beside: beside.write_bytes(content))


def _write_beside(path: Path, write: Callable[[Path], object]) -> None:
    beside = path.with_name(f"{path.stem}.tmp{path.suffix}")
    try:
        write(beside)
        beside.replace(path)
    except OSError as error:
        raise HandoverError(f"{path} cannot be written: {error}. Give a folder with room to write in.") from error
    finally:
        beside.unlink(missing_ok=True)


def _on_map(table: pd.DataFrame, frame: Frame) -> pd.DataFrame:
    if not isinstance(table, gpd.GeoDataFrame):
        return table
    placed: pd.DataFrame = frame.to_map(table.set_crs(None, allow_override=True))
    return placed


def _geometry_type(table: pd.DataFrame) -> str | None:
    if not isinstance(table, gpd.GeoDataFrame):
        return None
    kinds = set(table.geom_type.dropna())
    z = " Z" if bool(table.has_z.any()) else ""
    return f"{kinds.pop()}{z}" if len(kinds) == 1 else f"Unknown{z}"
