"""The one table of layers and columns: names, types, units, meanings, and empty layers made from it."""

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from pipelines.deliverables.unit_systems import from_si
from pipelines.deliverables.words.say import say
from terrain.reason import Reason
from terrain.unit_table import Units

ABSENT = "-"


DECIMALS = {
    "": 3, "-": 3, "ft": 2, "in": 2, "m": 3, "mm": 1, "ft2": 0, "m2": 1, "ft3": 1, "m3": 2, "yd3": 2, "gpm": 1,
    "cfs": 3, "l_s": 2, "ft_s": 2, "m_s": 2, "in_h": 2, "mm_h": 1, "pct": 2, "min": 1, "h": 2, "yr": 1,
}  # fmt: skip
"""Digits behind the point, by the unit in a column's name."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a layer.

    Attributes
    ----------
    name, type : str
        Without its unit; text, real, integer or boolean.
    si, us : str
        Unit in each system, empty for none, `-` where the column is not written in that system.
    meaning : str
        In words, may be empty.
    """

    name: str
    type: str
    si: str
    us: str
    meaning: str

    def unit(self, units: Units) -> str:
        """Unit in the given system, empty for none."""
        return self.us if units == "us" else self.si

    def written(self, units: Units) -> str:
        """Name as it leaves Python, the unit in it."""
        unit = self.unit(units)
        return f"{self.name}_{unit}" if unit else self.name


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer or table.

    Attributes
    ----------
    name, title, description : str
        As in the file, and as a person reads it.
    geometry : str or None
        Declared geometry type, None for a table.
    columns : tuple of Column
        In order.
    """

    name: str
    title: str
    description: str
    geometry: str | None
    columns: tuple[Column, ...]

    def written(self, units: Units) -> Iterator[tuple[str, Column]]:
        """Names as they leave Python, with their columns, in order."""
        for column in self.columns:
            if column.unit(units) != ABSENT:
                yield column.written(units), column


@cache
def layers() -> dict[str, Layer]:
    """Every layer and table that can be handed over."""
    columns: dict[str, list[Column]] = {}
    for row in read_rows("layers.csv"):
        column = Column(row["column"], row["type"], row["si"], row["us"], row["meaning"])
        columns.setdefault(row["layer"], []).append(column)
    return {
        row["layer"]: Layer(
            row["layer"], row["title"], row["description"], row["geometry"] or None, tuple(columns[row["layer"]])
        )
        for row in read_rows("layer_titles.csv")
    }


def make_layer(
    name: str, units: Units, /, *, crs: Any = None, geometry: Sequence[Any] | None = None, **values: Sequence[Any]
) -> pd.DataFrame:
    """A layer with the columns of the table, units in their names, sorted by id."""
    layer = layers()[name]
    wanted = {column.name for column in layer.columns}
    if wanted != set(values):
        raise TypeError(f"layer {name}: columns {sorted(wanted ^ set(values))} are missing or not in layers.csv")
    data = {written: _typed(values[column.name], column, units) for written, column in layer.written(units)}
    if layer.geometry is None:
        table = pd.DataFrame(data)
    else:
        shapes = _declared(() if geometry is None else geometry, layer.geometry)
        # in one go: to set the geometry of a table that is there takes as long again
        table = gpd.GeoDataFrame({**data, "geometry": gpd.array.from_shapely(shapes, crs=crs)}, geometry="geometry")
    if "id" in table:
        table = table.sort_values("id", kind="stable", ignore_index=True)
    return table


def rounded(name: str, table: pd.DataFrame, units: Units) -> pd.DataFrame:
    """A layer or table with its numbers at the digits that they are worth: what the ground and the rain can bear."""
    places = {
        written: DECIMALS[column.unit(units)] for written, column in layers()[name].written(units)
        if column.type == "real" and written in table
    }  # fmt: skip
    return table.round(places)


def empty_layer(name: str, units: Units, *, crs: Any = None) -> pd.DataFrame:
    """A layer without features, with its columns and types."""
    columns = {column.name: () for column in layers()[name].columns}
    return make_layer(name, units, crs=crs, geometry=(), **columns)


def read_rows(file: str) -> list[dict[str, str]]:
    """Rows of one of the tables that are packed with this room."""
    text = resources.files("pipelines.deliverables.files").joinpath(file).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def _typed(values: Sequence[Any], column: Column, units: Units) -> Any:
    if column.type == "real":
        return from_si(values, column.unit(units))
    if column.type == "boolean":
        return pd.array([None if value is None else bool(value) for value in values], dtype="boolean")
    if column.type == "integer":
        return pd.array(list(values), dtype="Int64")
    return pd.Series([None if value is None else _text(value, units) for value in values], dtype=object)


def _text(value: Any, units: Units) -> str:
    if isinstance(value, Reason):
        value = say(value, units)
    # a file name that is no valid text, or a NUL in a name, would end the run at the very last
    return str(value).encode("utf-8", "backslashreplace").decode("utf-8").replace("\0", "")


def _declared(shapes: Sequence[Any], geometry: str) -> list[Any]:
    kind, _, z = geometry.partition(" ")
    array = np.array(list(shapes), dtype=object)
    if z:
        array = shapely.force_3d(array)
    elif array.size:
        array = shapely.force_2d(array)
    if kind == "MultiLineString":
        return [shapely.MultiLineString([shape]) if shape.geom_type == "LineString" else shape for shape in array]
    return [_multiple(shape) if kind == "MultiPolygon" else shape for shape in array]


def _multiple(shape: Any) -> Any:
    if shape.geom_type == "Polygon":
        return shapely.MultiPolygon([shape])
    if shape.geom_type == "GeometryCollection":
        polygons = [part for part in shapely.get_parts(shapely.get_parts(shape)) if part.geom_type == "Polygon"]
        return shapely.MultiPolygon(polygons)
    return shape
