"""Points as a table of commas: longitude and latitude, or easting and northing with the CRS that they are in."""

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from pipelines.inputs.errors import LayerError, TableError
from pipelines.inputs.shapes.crs_given import crs_given
from pipelines.inputs.tables.csv_table import CsvTable, read_csv_table

LONGITUDE, LATITUDE = ("lon", "longitude", "long", "lng"), ("lat", "latitude")
EASTING, NORTHING = ("easting", "x"), ("northing", "y")
"""What the columns of a place are called, in any case."""
GLOBE = CRS("OGC:CRS84")
_IN_WORDS = "lon and lat in degrees, or easting and northing with crs in the table of the site file"


def is_point_table(path: Path) -> bool:
    """Whether a file is called a table of commas and holds no shapes as text."""
    if path.suffix.lower() != ".csv" or not path.is_file():
        return False
    with path.open("rb") as file:
        head = file.readline(20_000).decode("utf-8", "replace").lower()
    return not {name.strip(' \t\r\n"') for name in head.split(",")} & {"wkt", "geom", "geometry", "_wktgeom_json"}


def read_point_table(path: Path, where: str, crs: str | None) -> gpd.GeoDataFrame:
    """Read points with the rest of their columns; rows without a place have no shape."""
    table = read_csv_table(path, where)
    x, y, found = columns_of_place(table, crs, where)
    places = [place_of(table, row, x, y) for row in table.rows]
    others = {name: _typed([row.texts[name] for row in table.rows]) for name in table.columns if name not in (x, y, "")}
    others = {f"{name}_" if name in ("fid", "geom") else name: values for name, values in others.items()}
    shapes = [None if place is None else shapely.Point(place) for place in places]
    return gpd.GeoDataFrame(others, geometry=gpd.GeoSeries(shapes, crs=found), crs=found)


def columns_of_place(table: CsvTable, crs: str | None, where: str) -> tuple[str, str, CRS]:
    """The two columns that say where a point is, and the CRS that they are in."""
    for across, along, on_globe in ((LONGITUDE, LATITUDE, True), (EASTING, NORTHING, False)):
        x = [name for name in across if name in table.columns]
        y = [name for name in along if name in table.columns]
        if len(x) != 1 or len(y) != 1:
            continue
        given = None if crs is None else crs_given(crs, where)
        if given is None and not on_globe:
            raise LayerError(
                f"{where}: columns {x[0]} and {y[0]} say nothing of their CRS; say it in the same table of the site "
                'file, as in crs = "EPSG:32617"'
            )
        if given is not None and on_globe != given.is_geographic:
            raise LayerError(
                f'{where}: columns {x[0]} and {y[0]} do not go with crs = "{crs}", which counts in '
                f"{given.axis_info[0].unit_name}; give {_IN_WORDS}"
            )
        return x[0], y[0], given or GLOBE
    raise TableError(f"{where}: columns {', '.join(table.columns)} don't say where a point is; give {_IN_WORDS}")


def place_of(table: CsvTable, row: Any, x: str, y: str) -> tuple[float, float] | None:
    """Where a row's point is, None where both cells are empty. [map unit or deg]"""
    if not row.texts[x] and not row.texts[y]:
        return None
    place = table.number(row, x), table.number(row, y)
    if x in LONGITUDE and not (abs(place[0]) <= 360.0 and abs(place[1]) <= 90.0):
        raise TableError(
            f"{table.where}: line {row.line}: {x} {place[0]:g}, {y} {place[1]:g} is no place on the globe; the two may "
            f"be changed over, or be no degrees: give {_IN_WORDS}"
        )
    return place


def _typed(texts: list[str]) -> Any:
    """Numbers where all that is there are numbers as they are counted; a number with a nought before it is a name."""
    filled = [text for text in texts if text]
    if not filled or any(text.lstrip("-").startswith("0") and text.lstrip("-")[1:2].isdigit() for text in filled):
        return np.array([text or None for text in texts], dtype=object)
    try:
        numbers = np.array([float(text) if text else np.nan for text in texts])
    except ValueError:
        return np.array([text or None for text in texts], dtype=object)
    if len(filled) == len(texts) and all(text.lstrip("-").isdigit() and len(text) < 16 for text in texts):
        return pd.array([int(text) for text in texts], dtype="int64")
    return numbers
