"""Shapes as drawn, made shapes that can be measured: flat, of the type asked for, valid."""

from typing import Any

import numpy as np
import shapely
from shapely import Geometry
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.errors import LayerError
from terrain.arrays import BoolArray

_DIMENSION = {"point": 0, "line": 1, "polygon": 2}
# of well-known binary
_SURFACES = {15: "polyhedral surface", 16: "triangulated surface (TIN)", 17: "triangle"}
_IN_WORDS = {"point": "points", "line": "lines", "polygon": "polygons"}


def shapes_of_wkb(held: Any, ids: Any, where: str) -> tuple[Any, dict[int, str]]:
    """Shapes from well-known binary, rings that are not closed closed; what was wrong with those by their position."""
    # numbers that are none are found by us, by feature
    with np.errstate(invalid="ignore"):
        shapes = shapely.from_wkb(held, on_invalid="ignore")
    closed = {}
    for position in np.flatnonzero(shapely.is_missing(shapes)):
        if held[position] is None:
            continue
        mended = shapely.from_wkb(held[position], on_invalid="fix")
        if mended is None:
            raise LayerError(f"{where}: feature {ids[position]} {_unread(held[position])}; draw it again")
        shapes[position] = mended
        closed[int(position)] = "its ring was not closed"
    return shapes, closed


def flat_shapes(
    shapes: Any, ids: Any, allowed: tuple[str, ...], where: str
) -> tuple[Any, BoolArray, dict[int, str]]:
    """Drop heights, repair polygons that cross themselves, refuse other types.

    Gives the shapes, which of them are not empty, and what was wrong with those repaired by their position.
    """
    with np.errstate(invalid="ignore"):
        flat = shapely.force_2d(np.asarray(shapes, dtype=object))
    _refuse_infinite(flat, ids, where)
    kept: BoolArray = ~(shapely.is_missing(flat) | shapely.is_empty(flat))
    _refuse_types(flat, ids, kept, allowed, where)
    # a line from a point to itself is no line
    kept &= ~((shapely.get_dimensions(flat) == 1) & (shapely.length(flat) == 0.0))
    repaired = {}
    for position in np.flatnonzero(kept & (shapely.get_dimensions(flat) == 2) & ~shapely.is_valid(flat)):
        fault = shapely.is_valid_reason(flat[position])
        mended = _polygonal(shapely.make_valid(flat[position], method="structure"))
        if mended.is_empty:
            raise LayerError(
                f"{where}: feature {ids[position]} is no polygon that holds an area ({fault}); draw it again"
            )
        flat[position] = mended
        repaired[int(position)] = str(fault)
    flat_area = kept & (shapely.get_dimensions(flat) == 2) & (shapely.area(flat) == 0.0)
    if flat_area.any():
        raise LayerError(f"{where}: feature {some(ids[flat_area])} is no polygon that holds an area; draw it again")
    return flat, kept, repaired


def _unread(held: bytes) -> str:
    kind = int.from_bytes(held[1:5], "little" if held[:1] == b"\1" else "big") % 1000
    if kind in _SURFACES:
        return f"is a {_SURFACES[kind]}, and only plain polygons, lines and points are read"
    return "has a shape that cannot be read, such as a line of one point"


def _refuse_infinite(flat: Any, ids: Any, where: str) -> None:
    """Of every vertex, since a shape's bounds pass over one that is no number."""
    points, owners = shapely.get_coordinates(flat, return_index=True)
    infinite = np.unique(owners[~np.isfinite(points).all(axis=1)])
    if infinite.size:
        raise LayerError(
            f"{where}: feature {some(ids[infinite])} has coordinates that are not finite; draw it again"
        )


def _refuse_types(flat: Any, ids: Any, kept: BoolArray, allowed: tuple[str, ...], where: str) -> None:
    dimensions = shapely.get_dimensions(flat)
    collections = shapely.get_type_id(flat) == 7
    wrong = kept & (~np.isin(dimensions, [_DIMENSION[each] for each in allowed]) | collections)
    if wrong.any():
        first = flat[np.flatnonzero(wrong)[0]]
        needed = " or ".join(_IN_WORDS[each] for each in allowed)
        raise LayerError(
            f"{where}: feature {some(ids[wrong])} is of the wrong geometry type ({first.geom_type}); "
            f"this layer needs {needed}"
        )


def _polygonal(shape: Geometry) -> BaseGeometry:
    """The polygons of a shape, without the lines and points that a repair leaves behind."""
    parts = [part for part in shapely.get_parts(shapely.get_parts([shape])) if part.geom_type == "Polygon"]
    parts = [part for part in parts if part.area > 0.0]
    united: BaseGeometry = shapely.union_all(parts) if parts else shapely.Polygon()
    return united


def some(ids: Any) -> str:
    """Ids as a message names them, five at most."""
    shown = ", ".join(str(each) for each in ids[:5])
    return shown if len(ids) <= 5 else f"{shown} and {len(ids) - 5} more"
