"""The result of one step as one file, of the kind that its value is."""

from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.files.geopackage import refuse_if_open, write_geopackage
from pipelines.deliverables.files.geotiff import write_geotiff
from pipelines.deliverables.files.layer_table import Layer, layers
from pipelines.deliverables.files.table_csv import csv_text
from pipelines.deliverables.files.text_file import write_text
from pipelines.inputs.quantity_words import Units
from terrain.grid import Frame
from terrain.raster import Raster
from terrain.reading.surface import Surface


def check_file_place(path: Path, *, ending: str, overwrite: bool) -> None:
    """Refuse a place that cannot take a file, before the work is done.

    Parameters
    ----------
    path : Path
        Where the file is to go.
    ending : str
        What its name must end with, such as `.gpkg`.
    overwrite : bool
        Whether an earlier file may be replaced.

    Raises
    ------
    HandoverError
        If it has another ending, its folder is missing, or a file is there and `overwrite` is false.
    """
    if path.suffix.lower() != ending:
        raise HandoverError(f"{path} would hold the wrong kind of file. Give a name that ends with {ending}.")
    if path.is_dir():
        raise HandoverError(f"{path} is a folder. Give a file with --out.")
    if not path.resolve().parent.is_dir():
        raise HandoverError(f"{path} cannot be written: {path.parent} is not a folder. Make it, or give another --out.")
    if path.exists() and not overwrite:
        raise HandoverError(f"{path} exists. Give another name with --out, or --overwrite to replace it.")
    refuse_if_open(path)


def write_result(
    path: Path, name: str, value: Any, *, frame: Frame | None, units: Units, description: str = ""
) -> None:
    """Write what a step gave.

    Parameters
    ----------
    path : Path
        Where the file goes; what is there is replaced when the new one is whole.
    name : str
        Of the layer, in snake_case.
    value : Raster, Surface, GeoDataFrame or DataFrame
        Shapes in the metric frame.
    frame : Frame or None
        The way back to the map; a GeoDataFrame needs it.
    units : str
        si or us, as the columns of a layer of ours are named.
    description : str
        What it is in a sentence.

    Raises
    ------
    HandoverError
        If it cannot be written.
    TypeError
        If the value is none of these, or a GeoDataFrame without a frame.
    """
    if isinstance(value, Surface):
        value = Raster(value.grid, value.elevation, "m", "height of the ground")
    if isinstance(value, Raster):
        write_geotiff(path, value)
    elif isinstance(value, gpd.GeoDataFrame):
        if frame is None:
            raise TypeError("a layer needs the frame that it was measured in")
        layer = layers().get(name) or Layer(name, name, description, _geometry_type(value), ())
        table = frame.to_map(value.set_crs(None, allow_override=True))
        write_geopackage(path, {name: table}, crs=frame.crs, units=units, others={name: layer})
    elif isinstance(value, pd.DataFrame):
        write_single_text(path, csv_text(value))
    else:
        raise TypeError(f"step {name} gave a {type(value).__name__}, which is no raster, layer or table")


def write_single_text(path: Path, text: str) -> None:
    """Write a text file, replacing an earlier one only when whole.

    Parameters
    ----------
    path : Path
        Where it goes; its folder exists.
    text : str
        What it says.

    Raises
    ------
    HandoverError
        If it cannot be written.
    """
    beside = path.with_name(f"{path.stem}.tmp{path.suffix}")
    try:
        write_text(beside, text)
        beside.replace(path)
    except OSError as error:
        raise HandoverError(f"{path} cannot be written: {error}. Give a folder with room to write in.") from error
    finally:
        beside.unlink(missing_ok=True)


def _geometry_type(table: gpd.GeoDataFrame) -> str:
    kinds = set(table.geom_type.dropna())
    z = " Z" if bool(table.has_z.any()) else ""
    return f"{kinds.pop()}{z}" if len(kinds) == 1 else f"Unknown{z}"
