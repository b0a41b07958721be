"""What the site gave beside the parcel, as layers: roofs, paving, utilities, ground to keep out of, and the rest."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from pipelines.deliverables.files.layer_table import make_layer
from terrain.grid import Frame
from terrain.unit_table import HOUR, Units

CONTEXT = ("hardscape", "roofs", "right_of_way", "frontage", "keep_out", "barriers", "utilities", "site_culverts",
           "keep_out_marks", "downspouts", "complaints")  # fmt: skip
"""Layers made of them, from the bottom up."""
LEAST = 0.15
"""Half of what a line or point to keep out of takes on the map. [m]"""
CLASSES = ("septic", "well", "tree")
"""What ground to keep out of is, by a word in its kind."""


def context_layers(given: Mapping[str, gpd.GeoDataFrame], units: Units) -> dict[str, pd.DataFrame]:
    """Layers of what was given, in the metric frame; empty ones included."""
    made: dict[str, Callable[[gpd.GeoDataFrame], pd.DataFrame]] = {
        "hardscape": lambda table: _layer("hardscape", "paving", table, units, table.geometry, "kind", "protect"),
        "roofs": lambda table: _layer(
            "roofs", "roof", table, units, table.geometry, "part", "open_below", "outline", "found_in_lidar"
        ),
        "right_of_way": lambda table: _layer("right_of_way", "row", table, units, table.geometry, "kind", "name"),
        "frontage": lambda table: _layer(
            "frontage", "frontage", table, units, table.geometry, "side", "width", "known_by"
        ),
        "barriers": lambda table: _layer("barriers", "barrier", table, units, table.geometry, "kind", "height"),
        "utilities": lambda table: _layer(
            "utilities", "utility", table, units, table.geometry, "kind", "crossing", "depth"
        ),
        "culverts": lambda table: _layer(
            "site_culverts", "culvert-given", table, units, table.geometry, "diameter", "material"
        ),
        "downspouts": lambda table: _layer("downspouts", "downspout", table, units, table.geometry),
        "complaints": lambda table: _layer(
            "complaints", "complaint", table, units, shapely.point_on_surface(table.geometry.array), "what", "date",
            "depth", "hours", "where", "season",
        ),
    }  # fmt: skip
    found = {}
    for name, make in made.items():
        found["site_culverts" if name == "culverts" else name] = make(given.get(name, _empty()))
    found |= _keep_out(given.get("keep_out", _empty()), units)
    return {name: found[name] for name in CONTEXT}


def on_map(tables: Mapping[str, pd.DataFrame], frame: Frame) -> dict[str, pd.DataFrame]:
    """Tables with their shapes brought from the metric frame to the map's CRS."""
    return {
        name: frame.to_map(table).set_crs(frame.crs) if isinstance(table, gpd.GeoDataFrame) else table
        for name, table in tables.items()
    }


def _keep_out(table: gpd.GeoDataFrame, units: Units) -> dict[str, pd.DataFrame]:
    """Ground with its setback, and a mark in its middle."""
    setback = table["setback_m"].fillna(0.0) if "setback_m" in table else pd.Series(dtype=float)
    ground = [shape.buffer(max(reach, LEAST if shape.area == 0.0 else 0.0))
              for shape, reach in zip(table.geometry, setback, strict=True)]  # fmt: skip
    marks = shapely.point_on_surface(table.geometry.array)
    kinds = table.get("kind", ())
    classes = [next((each for each in CLASSES if each in str(kind).lower()), "other") for kind in kinds]
    return {
        "keep_out": _layer("keep_out", "keep-out", table, units, ground, "kind", "setback", "crossing", "note"),
        "keep_out_marks": make_layer(
            "keep_out_marks", units, geometry=marks, id=[f"keep-out-mark-{name}" for name in table["id"]],
            kind=list(kinds), **{"class": classes},
        ),
    }  # fmt: skip


def _layer(
    name: str, called: str, table: gpd.GeoDataFrame, units: Units, shapes: Sequence[Any], *columns: str
) -> pd.DataFrame:
    values: dict[str, Any] = {}
    for column in columns:
        length = f"{column}_m"
        values[column] = list(table[length] if length in table else table.get(column, [None] * len(table)))
    if "hours" in values:
        values["hours"] = [HOUR * hours for hours in values["hours"]]
    return make_layer(name, units, geometry=list(shapes), id=[f"{called}-{each}" for each in table["id"]], **values)


def _empty() -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"id": []}, geometry=[])
