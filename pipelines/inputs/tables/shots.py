"""Shots of a level on site: heights that were worked out, or the rod's readings as level_shots.csv takes them."""

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from pyproj import CRS

from pipelines.inputs.errors import TableError
from pipelines.inputs.shapes.point_table import LONGITUDE, columns_of_place, place_of
from pipelines.inputs.site_ranges import HIGHEST, LOWEST
from pipelines.inputs.tables.csv_table import CsvRow, CsvTable, one_of, read_csv_table
from pipelines.inputs.tables.rod_readings import ReadPoint, holds_readings, reduce_readings
from terrain.arrays import FloatArray
from terrain.grid import Frame
from terrain.metric_frame import moved_points
from terrain.reason import Reason
from terrain.shown_text import quoted
from terrain.unit_table import si_factor

_HEIGHTS = {"height_m": "m", "height_ft": "ft"}


@dataclass(frozen=True, slots=True, eq=False)
class LevelShots:
    """Heights read with a level.

    Attributes
    ----------
    where : str
        What they are and their file, for messages.
    x, y : (n,) float ndarray
        Place in the metric frame. [m]
    heights : (n,) float ndarray
        Above the crew's datum. [m]
    own_datum : bool
        That is only the point that was read first.
    """

    where: str
    points: tuple[str, ...]
    x: FloatArray
    y: FloatArray
    heights: FloatArray
    own_datum: bool = False
    warnings: tuple[Reason, ...] = ()


def read_level_shots(
    path: str | os.PathLike[str], frame: Frame, *, closure: float, crs: str | None = None
) -> LevelShots:
    """Read level shots: columns point, easting, northing, and height_m or height_ft, or backsight and foresight.

    Places may be lon and lat too, or in another CRS than the map's. With readings of a rod, rows stand in the order of
    reading; a turning point may have no place. What is read again may differ by `closure` [m].
    """
    table = read_csv_table(path, "level shots")
    one_of(table, ("point",))
    columns = _columns(table, frame, crs)
    for row in table.rows:
        if not row.texts["point"]:
            raise TableError(f"{table.where}: line {row.line}: the point has no name")
    if not holds_readings(table):
        height = one_of(table, tuple(_HEIGHTS))
        points = [ReadPoint(row, row.texts["point"], _height(table, row, height)) for row in table.rows]
        return _placed(table, points, frame, columns)
    book = reduce_readings(table, closure=closure)
    placed = [each for each in book.points if each.row.texts[columns[0]] or each.row.texts[columns[1]]]
    if not placed:
        raise TableError(
            f"{table.where}: no point that was read has a {columns[0]} and a {columns[1]}; keep those handed over"
        )
    return replace(_placed(table, placed, frame, columns), own_datum=book.own_datum, warnings=book.warnings)


def _columns(table: CsvTable, frame: Frame, crs: str | None) -> tuple[str, str, CRS]:
    """The columns of a place and their CRS: easting and northing are the map's where nobody says otherwise."""
    if crs is None and not any(name in table.columns for name in LONGITUDE):
        for column in ("easting", "northing"):
            one_of(table, (column,))
        return "easting", "northing", frame.crs
    return columns_of_place(table, crs, table.where)


def _placed(table: CsvTable, points: Sequence[ReadPoint], frame: Frame, columns: tuple[str, str, CRS]) -> LevelShots:
    across, along, crs = columns
    places = [_place(table, each.row, across, along) for each in points]
    seen: dict[object, int] = {}
    for each, place in zip(points, places, strict=True):
        for what, value in (("point", each.name), ("place", place)):
            if value in seen:
                raise TableError(
                    f"{table.where}: line {each.row.line}: the {what} {value} stands in line {seen[value]} too"
                )
            seen[value] = each.row.line
    x, y = np.array(places).T
    if crs != frame.crs:
        x, y = moved_points(crs, frame.crs, x, y)
        for each in np.flatnonzero(~(np.isfinite(x) & np.isfinite(y))):
            raise TableError(
                f'{table.where}: line {points[each].row.line}: its place means nothing in "{crs.name}"; check crs'
            )
    return LevelShots(
        where=table.where, points=tuple(each.name for each in points), x=x * frame.x_scale, y=y * frame.y_scale,
        heights=np.array([each.height for each in points]),
    )  # fmt: skip


def _place(table: CsvTable, row: CsvRow, across: str, along: str) -> tuple[float, float]:
    place = place_of(table, row, across, along)
    # an empty cell beside others is told as no number
    return place if place is not None else (table.number(row, across), table.number(row, along))


def _height(table: CsvTable, row: CsvRow, column: str) -> float:
    one = si_factor(_HEIGHTS[column])
    height = table.number(row, column) * one
    if not LOWEST <= height <= HIGHEST:
        raise TableError(
            f"{table.where}: line {row.line}, column {column}: {quoted(row.texts[column])} is no height of land; it "
            f"may be from {LOWEST / one:,.0f} to {HIGHEST / one:,.0f} {_HEIGHTS[column]}"
        )
    return height
