"""What screened lots let out, read back from their results: outlets, their flow, and the ground that is piped there.

`read_lot_results(folder, frame) -> tuple[LotResult, ...]` takes a lot's own folder or one that holds many.
"""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon

from pipelines.inputs.errors import InputFileError, LayerError
from pipelines.inputs.shapes.plain_files import refuse_no_plain_file
from pipelines.inputs.shapes.vector_file import first_line
from terrain.grid import Frame
from terrain.metric_frame import moved_shapes
from terrain.reading.gdal_guard import vector_options
from terrain.unit_table import si_factor

RESULT = "lot.gpkg"
_UNITS = {"m": "m", "ft": "ft", "in": "in", "gpm": "gpm", "cfs": "cfs", "l_s": "l/s"}
_WORKS = ("catch_basins", "french_drains", "channel_drains", "pipe_runs", "sumps")


@dataclass(frozen=True, slots=True)
class LotOutlet:
    """Where a lot lets water out.

    Attributes
    ----------
    flow : float
        Peak of its gravity runs, and what its pumps deliver. [m3/s]
    line : shapely LineString or None
        The last gravity run, z its invert, drawn downstream. [m]
    run_flow : float
        Peak of that run. [m3/s]
    """

    id: str
    kind: str
    point: Point
    flow: float
    pumped: bool
    line: LineString | None
    size: str
    run_flow: float


@dataclass(frozen=True, slots=True)
class LotResult:
    """A screened lot, named as its folder: where it lets water out, and its ground whose water is collected."""

    name: str
    folder: Path
    outlets: tuple[LotOutlet, ...]
    piped: tuple[Polygon | MultiPolygon, ...]


def read_lot_results(folder: Path, frame: Frame) -> tuple[LotResult, ...]:
    """Read every lot's result in a folder, itself or the folders in it, in the order of their names."""
    if (folder / RESULT).is_file():
        return (_read_lot(folder, frame),)
    found = sorted((each.parent for each in folder.glob(f"*/{RESULT}")), key=lambda each: _natural(each.name))
    if not found:
        raise InputFileError(
            f"{folder}: neither it nor a folder in it holds {RESULT}; give the --out folder of a screened lot, or "
            "the folder that holds several"
        )
    return tuple(_read_lot(each, frame) for each in found)


def _natural(name: str) -> list[tuple[int, str]]:
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", name) if part]


def _read_lot(folder: Path, frame: Frame) -> LotResult:
    path = folder / RESULT
    rows = {name: _rows(path, name, frame) for name in ("outfalls", "pipe_runs", "sub_catchments")}
    ids = {row["id"] for name in _WORKS for row in _rows(path, name, frame)}
    runs = rows["pipe_runs"]
    outlets = []
    for row in rows["outfalls"]:
        own = [run for run in runs if run["to_id"] == row["id"]]
        if not own:
            continue
        flow = sum(_number(run, "peak_flow") for run in own)
        gravity = [run for run in own if run["kind"] == "gravity"]
        last = max(gravity, key=lambda run: _number(run, "peak_flow"), default=None)
        outlets.append(
            LotOutlet(
                f"{folder.name}/{row['id']}",
                str(row["kind"]),
                shapely.get_point(row["shape"], 0) if row["shape"].geom_type == "LineString" else row["shape"],
                flow,
                len(gravity) < len(own),
                None if last is None else _in_metres(last["shape"], frame),
                "" if last is None else str(last["size"]),
                0.0 if last is None else _number(last, "peak_flow"),
            )
        )
    piped = tuple(row["shape"] for row in rows["sub_catchments"] if row["drains_to"] in ids)
    return LotResult(folder.name, folder, tuple(outlets), piped)


def _in_metres(line: LineString, frame: Frame) -> LineString:
    """Heights from the CRS's linear unit to metres."""
    return shapely.transform(line, lambda points: points * np.array([1.0, 1.0, frame.unit]), include_z=True)


def _number(row: dict[str, Any], name: str) -> float:
    """A number in SI, whichever unit its column is in; 0 where it is empty."""
    for column, value in row.items():
        unit = _UNITS.get(column.removeprefix(f"{name}_"))
        if column.startswith(f"{name}_") and unit is not None:
            return float(value) * si_factor(unit) if value is not None and np.isfinite(value) else 0.0
    raise LayerError(f"{RESULT}: a layer has no column {name} with a unit; make the result again with this version")


def _rows(path: Path, layer: str, frame: Frame) -> list[dict[str, Any]]:
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError

    try:
        refuse_no_plain_file(path, str(path))
        with vector_options():
            if layer not in pyogrio.list_layers(path.absolute())[:, 0]:
                return []
            table = pyogrio.read_dataframe(path.absolute(), layer=layer, use_arrow=False)
    except (InputFileError, DataSourceError, DataLayerError, ValueError) as error:
        raise InputFileError(f"{path}: it is no result of a lot ({first_line(error)}); screen the lot again") from None
    shapes = frame.from_map(moved_shapes(table.crs, frame.crs, table.geometry.to_numpy()))
    rows = table.drop(columns=table.geometry.name).to_dict("records")
    return [row | {"shape": shape} for row, shape in zip(rows, shapes, strict=True)]
