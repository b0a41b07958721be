"""A file that the page to trace on saved: shapes for a site's tables, and what a form would ask.

GeoJSON by RFC 7946, in longitude and latitude. Each feature's `table` says which table of the site file it belongs to,
its other properties are that table's columns, lengths in metres (`depth_m`). Beside the features stand `replaces`, the
tables that the file takes the place of, and `answers`.
"""

import difflib
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

import geopandas as gpd
import numpy as np
import shapely
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from shapely import GEOSException

from pipelines.inputs.errors import InputFileError, LayerError
from pipelines.inputs.shapes.layer_columns import Attribute, read_columns
from pipelines.inputs.shapes.layer_table import LAYER_KINDS, LayerKind
from pipelines.inputs.shapes.shape_repair import flat_shapes
from pipelines.inputs.site_faults import fault_lines
from pipelines.inputs.site_sections import Section, StreetSides, Year, within
from terrain.kept import kept

HOUSE = LayerKind(
    "house",
    ("point",),
    (Attribute("floor", "length", math.nan), Attribute("above_ground", "length", math.nan, least=0.0, most=10.0)),
)
"""The lowest sill, where somebody placed it: its level in the raster's datum, and how high it is above the ground."""
TRACED_KINDS = {
    key: kind for key, kind in LAYER_KINDS.items() if key not in ("parcel", "swales") and not key.startswith("layout.")
} | {"house": HOUSE}
"""Tables that such a file may fill."""
MOST_BYTES, MOST_FEATURES, MOST_LETTERS = 20_000_000, 5_000, 500
SHOWN_FAULTS = 5
_UNION_PARTS = ("constrained-str", "bool", "int", "float")

Value = Annotated[str, Field(max_length=MOST_LETTERS)] | bool | int | float | None


class TracedAnswers(Section):
    """What a form would ask; each goes to its key of the site file."""

    foundation: Literal["slab", "crawl", "basement"] | None = None
    floor: Annotated[float, within("house.floor")] | None = None
    footing_depth: Annotated[float, within("house.footing_depth")] | None = None
    built: Year | None = None
    soil_group: Literal["A", "B", "C", "D", "A/D", "B/D", "C/D"] | None = None
    gate: Annotated[float, within("layout.gate")] | None = None
    pipe: Annotated[str, Field(min_length=1, max_length=60)] | None = None
    street_side: StreetSides | None = None


PLACES = {
    "foundation": ("house", "foundation"), "floor": ("house", "floor"), "footing_depth": ("house", "footing_depth"),
    "built": ("house", "built"), "soil_group": ("soil", "group"), "gate": ("layout", "gate"),
    "pipe": ("layout", "pipe"), "street_side": ("parcel", "street_side"),
}  # fmt: skip
"""Table and key of the site file that an answer goes to."""


class TracedShape(BaseModel):
    """A geometry; its coordinates are read by shapely."""

    type: Literal["Point", "LineString", "Polygon", "MultiPoint", "MultiLineString", "MultiPolygon"]
    coordinates: list[Any]


class TracedFeature(BaseModel):
    """A feature: an id that messages name it by, a shape, and a table with its columns."""

    model_config = ConfigDict(allow_inf_nan=False)

    type: Literal["Feature"]
    id: Annotated[int, Field(ge=0, lt=2**53)] | None = None
    geometry: TracedShape
    properties: dict[str, Value]


@dataclass(frozen=True, slots=True, eq=False)
class TracedFile:
    """What a traced file holds.

    Attributes
    ----------
    path : Path
        The file.
    tables : dict of GeoDataFrame
        By table, in longitude and latitude, with the columns of its kind.
    replaces : tuple of str
        Tables that it takes the place of, those of which it holds nothing included.
    answers : dict
        By the keys of `PLACES`, as written.
    """

    path: Path
    tables: dict[str, gpd.GeoDataFrame]
    replaces: tuple[str, ...]
    answers: dict[str, Any]


def read_traced(path: Path) -> TracedFile:
    """Read and check a traced file: all faults at once, each by its feature."""
    return _checked(path, _read_json(path, f"[traced] {path.name}"))


@kept
def _checked(path: Path, content: Any) -> TracedFile:
    where = f"[traced] {path.name}"
    features = content.get("features") if isinstance(content, dict) else None
    if not isinstance(content, dict) or content.get("type") != "FeatureCollection" or not isinstance(features, list):
        raise LayerError(f"{where}: it is no GeoJSON FeatureCollection; give a file that `lotshed trace`'s page saved")
    if len(features) > MOST_FEATURES:
        raise LayerError(
            f"{where}: it holds {len(features):,} features, and one lot's drawing may hold {MOST_FEATURES:,}; "
            "keep what lies on and around the lot"
        )
    faults: list[str] = []
    by_table: dict[str, list[tuple[str, TracedFeature]]] = {}
    seen: set[int] = set()
    for position, raw in enumerate(features):
        name = _name(position, raw)
        feature, found = _read_feature(raw, name)
        if feature is None or found:
            faults += found
            continue
        if feature.id is not None and feature.id in seen:
            faults.append(f"{name}: another feature has the same id; give each its own")
        seen.add(-1 if feature.id is None else feature.id)
        by_table.setdefault(str(feature.properties["table"]), []).append((name, feature))
    tables: dict[str, gpd.GeoDataFrame] = {}
    for table, rows in by_table.items():
        try:
            tables[table] = _table(table, rows)
        except LayerError as error:
            faults.append(str(error))
    replaces, answers = content.get("replaces", []), content.get("answers", {})
    faults += [*_replaces_faults(replaces), *_answer_faults(answers)]
    if faults:
        more = [f"and {len(faults) - SHOWN_FAULTS} more"] if len(faults) > SHOWN_FAULTS else []
        raise LayerError(f"{where}: " + "; ".join(faults[:SHOWN_FAULTS] + more))
    return TracedFile(path, tables, tuple(dict.fromkeys([*replaces, *tables])), answers)


def _read_json(path: Path, where: str) -> Any:
    try:
        if not path.is_file():
            raise InputFileError(f"{where}: it is no file (looked for {path}); save it from `lotshed trace`'s page")
        if path.stat().st_size > MOST_BYTES:
            raise InputFileError(
                f"{where}: it has {path.stat().st_size:,} bytes, and may have {MOST_BYTES:,}; give one lot's drawing"
            )
        return json.loads(path.read_bytes().decode("utf-8-sig"), parse_constant=_refuse_constant)
    except OSError as error:
        if isinstance(error, InputFileError):
            raise
        raise InputFileError(f"{where}: it cannot be read: {error.strerror}") from None
    except (ValueError, RecursionError) as error:
        told = "it is nested too deep" if isinstance(error, RecursionError) else str(error)[:120]
        raise LayerError(
            f"{where}: it is no GeoJSON ({told}); give a file that `lotshed trace`'s page saved"
        ) from None


def _refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is no number of JSON")


def _name(position: int, raw: Any) -> str:
    named = raw.get("id") if isinstance(raw, dict) else None
    return f"feature {named}" if isinstance(named, int) else f"feature at place {position + 1}"


def _read_feature(raw: Any, name: str) -> tuple[TracedFeature | None, list[str]]:
    try:
        feature = TracedFeature.model_validate(raw)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        key = ".".join(str(part) for part in first["loc"] if part not in _UNION_PARTS)
        return None, [f"{name}: {key + ': ' if key else ''}{first['msg'].lower()}"]
    table = feature.properties.get("table")
    if table not in TRACED_KINDS:
        unknown_table = f'it belongs to the unknown table "{str(table)[:60]}"'
        what = "its properties have no table" if table is None else unknown_table
        return None, [f"{name}: {what}; it may be {', '.join(TRACED_KINDS)}"]
    known = [column.inside for column in TRACED_KINDS[str(table)].columns]
    unknown = [key for key in feature.properties if key not in ("table", *known)]
    return feature, [f"{name}, of {table}: {_unknown(key, known)}" for key in unknown]


def _unknown(key: str, known: list[str]) -> str:
    near = difflib.get_close_matches(key, known, n=1)
    hint = f'did you mean "{near[0]}"?' if near else f"known are {', '.join(known) or 'none'}"
    return f'unknown property "{key[:60]}"; {hint}'


def _table(table: str, rows: list[tuple[str, TracedFeature]]) -> gpd.GeoDataFrame:
    """Features of one table, their shapes and columns checked as any layer's are."""
    kind, names = TRACED_KINDS[table], [name.removeprefix("feature ") for name, _ in rows]
    shapes = [_shape(feature, f"{name}, of {table}") for name, feature in rows]
    flat_shapes(shapes, np.array(names, dtype=object), kind.shapes, table)
    columns = {
        column.inside: [feature.properties.get(column.inside) for _, feature in rows]
        for column in kind.columns
        if any(column.inside in feature.properties for _, feature in rows)
    }
    frame = gpd.GeoDataFrame({"id": names, **columns}, geometry=shapes)
    return read_columns(frame, kind.columns, table)


def _shape(feature: TracedFeature, name: str) -> Any:
    try:
        shape = shapely.from_geojson(feature.geometry.model_dump_json())
    except (GEOSException, ValueError):
        raise LayerError(f"{name}: its coordinates make no {feature.geometry.type}; draw it again") from None
    if shape is None or shape.is_empty:
        raise LayerError(f"{name}: it has no coordinates; draw it again")
    west, south, east, north = shape.bounds
    if not (west >= -180.0 and east <= 180.0 and south >= -90.0 and north <= 90.0):
        raise LayerError(f"{name}: its coordinates are no longitudes and latitudes, as RFC 7946 wants them")
    if feature.geometry.type.endswith("Polygon") and not shape.is_valid:
        raise LayerError(f"{name}: its outline is no plain one ({shapely.is_valid_reason(shape)}); draw it again")
    if feature.geometry.type.endswith("LineString") and shape.length == 0.0:
        raise LayerError(f"{name}: its line has no length; draw it again")
    return shape


def _replaces_faults(replaces: Any) -> Iterator[str]:
    if not isinstance(replaces, list):
        yield "replaces must be a list of tables"
        return
    for each in replaces:
        if each not in TRACED_KINDS:
            yield f'replaces names the unknown table "{str(each)[:60]}"; it may be {", ".join(TRACED_KINDS)}'


def _answer_faults(answers: Any) -> list[str]:
    if not isinstance(answers, dict):
        return ["answers must be a table of answers by name"]
    try:
        TracedAnswers.model_validate(answers)
    except ValidationError as error:
        return [f"answers: {line}" for line in fault_lines(error, TracedAnswers)]
    return []
