"""Shots of a level on site: heights that were worked out, or the rod's readings as level_shots.csv takes them."""

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.inputs.errors import TableError
from pipelines.inputs.site_ranges import HIGHEST, LOWEST
from pipelines.inputs.tables.csv_table import CsvRow, CsvTable, one_of, read_csv_table
from pipelines.inputs.tables.rod_readings import ReadPoint, holds_readings, reduce_readings
from terrain.arrays import FloatArray
from terrain.grid import Frame
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


def read_level_shots(path: str | os.PathLike[str], frame: Frame, *, closure: float) -> LevelShots:
    """Read level shots: columns point, easting, northing, and height_m or height_ft, or backsight and foresight.

    With readings of a rod, rows stand in the order of reading; a turning point may have no place. What is read
    again may differ by `closure` [m].
    """
    table = read_csv_table(path, "level shots")
    for column in ("point", "easting", "northing"):
        one_of(table, (column,))
    for row in table.rows:
        if not row.texts["point"]:
            raise TableError(f"{table.where}: line {row.line}: the point has no name")
    if not holds_readings(table):
        height = one_of(table, tuple(_HEIGHTS))
        points = [ReadPoint(row, row.texts["point"], _height(table, row, height)) for row in table.rows]
        return _placed(table, points, frame)
    book = reduce_readings(table, closure=closure)
    placed = [each for each in book.points if each.row.texts["easting"] or each.row.texts["northing"]]
    if not placed:
        raise TableError(f"{table.where}: no point that was read has an easting and a northing; keep those handed over")
    return replace(_placed(table, placed, frame), own_datum=book.own_datum, warnings=book.warnings)


def _placed(table: CsvTable, points: Sequence[ReadPoint], frame: Frame) -> LevelShots:
    places = [_place(table, each.row) for each in points]
    seen: dict[object, int] = {}
    for each, place in zip(points, places, strict=True):
        for what, value in (("point", each.name), ("place", place)):
            if value in seen:
                raise TableError(
                    f"{table.where}: line {each.row.line}: the {what} {value} stands in line {seen[value]} too"
                )
            seen[value] = each.row.line
    x, y = np.array(places).T
    return LevelShots(
        where=table.where, points=tuple(each.name for each in points), x=x * frame.x_scale, y=y * frame.y_scale,
        heights=np.array([each.height for each in points]),
    )  # fmt: skip


def _place(table: CsvTable, row: CsvRow) -> tuple[float, float]:
    return table.number(row, "easting"), table.number(row, "northing")


def _height(table: CsvTable, row: CsvRow, column: str) -> float:
    one = si_factor(_HEIGHTS[column])
    height = table.number(row, column) * one
    if not LOWEST <= height <= HIGHEST:
        raise TableError(
            f"{table.where}: line {row.line}, column {column}: {quoted(row.texts[column])} is no height of land; it "
            f"may be from {LOWEST / one:,.0f} to {HIGHEST / one:,.0f} {_HEIGHTS[column]}"
        )
    return height
