"""A lot's record as text and tables, and back: values by the fields of their classes, nothing that could be run."""

import base64
import dataclasses
import types
from collections.abc import Mapping
from functools import cache
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from pipelines.deliverables.errors import HandoverError
from terrain.reason import Reason


def plain(value: Any) -> Any:
    """A value as JSON holds it: dataclasses by field, shapes as hexadecimal WKB, arrays as base64 of float64."""
    if value is None or type(value) in (str, float, int, bool):
        return value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {each.name: plain(getattr(value, each.name)) for each in dataclasses.fields(value)}
    if isinstance(value, shapely.Geometry):
        return shapely.to_wkb(value, hex=True)
    if isinstance(value, np.ndarray):
        return base64.b64encode(np.ascontiguousarray(value, dtype="<f8").tobytes()).decode()
    if isinstance(value, pd.DataFrame):
        return _plain_table(value)
    if isinstance(value, Mapping):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, tuple | list):
        return [plain(each) for each in value]
    if isinstance(value, np.generic):
        return value.item()
    return value


def made(kind: Any, held: Any) -> Any:
    """The value of a type that `plain` made JSON of.

    Parameters
    ----------
    kind : type
        Of the value, as a field's annotation gives it.
    held : object
        What JSON held.

    Returns
    -------
    object
        Equal to what it was made of.

    Raises
    ------
    HandoverError
        If what is held is no such value.
    """
    origin, inner = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        if held is None:
            return None
        return made(next(each for each in inner if each is not type(None)), held)
    if origin is Literal or kind in (str, bool, int):
        return held
    if kind is float:
        return float(held)
    if origin is tuple:
        if len(inner) == 2 and inner[1] is Ellipsis:
            return tuple(made(inner[0], each) for each in held)
        return tuple(made(one, each) for one, each in zip(inner, held, strict=True))
    if origin is np.ndarray:
        return np.frombuffer(base64.b64decode(held), dtype="<f8").astype(np.float64)
    if origin is not None and issubclass(origin, Mapping):
        return {key: made(inner[1], each) for key, each in held.items()}
    if kind is Reason:
        return _fact(held)
    if isinstance(kind, type) and issubclass(kind, shapely.Geometry):
        return shapely.from_wkb(held)
    if kind is pd.DataFrame:
        return _table(held)
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        hints = _hints(kind)
        unknown = held.keys() - hints.keys()
        if unknown:
            raise HandoverError(f"a lot's record holds {', '.join(sorted(unknown))}, which this version does not know")
        return kind(**{name: made(hints[name], each) for name, each in held.items()})
    raise HandoverError(f"a lot's record holds a {kind}, which is not kept")


def _fact(held: Any) -> Any:
    """A reason, or what it tells."""
    if isinstance(held, dict):
        return Reason(held["code"], tuple((name, _fact(each)) for name, each in held["values"]))
    return tuple(_fact(each) for each in held) if isinstance(held, list) else held


@cache
def _hints(kind: Any) -> dict[str, Any]:
    return get_type_hints(kind)


def _plain_table(table: pd.DataFrame) -> dict[str, Any]:
    shapes = table.geometry.name if isinstance(table, gpd.GeoDataFrame) else None
    columns = {}
    # a column out of a table with shapes takes as long as all else here
    for name, values in pd.DataFrame(table).items():
        if name == shapes:
            held = [None if each is None else shapely.to_wkb(each, hex=True) for each in values]
        else:
            held = [None if _is_unknown(each) else plain(each) for each in values.tolist()]
        columns[str(name)] = {"type": "geometry" if name == shapes else str(values.dtype), "values": held}
    crs = table.crs.to_wkt() if shapes is not None and table.crs is not None else None
    return {"columns": columns, "crs": crs}


def _is_unknown(value: Any) -> bool:
    # of a value alone in a fifth of the time that a column's own look takes
    return value is None or value is pd.NA or value != value


def _table(held: Any) -> pd.DataFrame:
    columns, shapes = {}, None
    for name, column in held["columns"].items():
        if column["type"] == "geometry":
            shapes = name
            columns[name] = gpd.GeoSeries(
                [None if each is None else shapely.from_wkb(each) for each in column["values"]]
            )
        else:
            columns[name] = pd.Series(column["values"], dtype=column["type"])
    table = pd.DataFrame(columns)
    return table if shapes is None else gpd.GeoDataFrame(table, geometry=shapes, crs=held["crs"])
