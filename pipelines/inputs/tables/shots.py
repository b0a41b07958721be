"""Shots of a level on site: shots.csv."""

import os
from dataclasses import dataclass

import numpy as np

from pipelines.inputs.errors import TableError
from pipelines.inputs.site_ranges import HIGHEST, LOWEST
from pipelines.inputs.tables.csv_table import CsvRow, CsvTable, one_of, read_csv_table
from terrain.arrays import FloatArray
from terrain.grid import Frame
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
    """

    where: str
    points: tuple[str, ...]
    x: FloatArray
    y: FloatArray
    heights: FloatArray


def read_level_shots(path: str | os.PathLike[str], frame: Frame) -> LevelShots:
    """Read shots.csv: columns point, easting, northing, and height_m or height_ft."""
    table = read_csv_table(path, "level shots")
    for column in ("point", "easting", "northing"):
        one_of(table, (column,))
    height = one_of(table, tuple(_HEIGHTS))
    seen: dict[object, int] = {}
    for row in table.rows:
        place = (table.number(row, "easting"), table.number(row, "northing"))
        for what, value in (("point", row.texts["point"]), ("place", place)):
            if value == "":
                raise TableError(f"{table.where}: line {row.line}: the point has no name")
            if value in seen:
                raise TableError(f"{table.where}: line {row.line}: the {what} {value} stands in line {seen[value]} too")
            seen[value] = row.line
    return LevelShots(
        where=table.where,
        points=tuple(row.texts["point"] for row in table.rows),
        x=np.array([table.number(row, "easting") for row in table.rows]) * frame.x_scale,
        y=np.array([table.number(row, "northing") for row in table.rows]) * frame.y_scale,
        heights=np.array([_height(table, row, height) for row in table.rows]),
    )


def _height(table: CsvTable, row: CsvRow, column: str) -> float:
    one = si_factor(_HEIGHTS[column])
    height = table.number(row, column) * one
    if not LOWEST <= height <= HIGHEST:
        raise TableError(
            f"{table.where}: line {row.line}, column {column}: {quoted(row.texts[column])} is no height of land; it "
            f"may be from {LOWEST / one:,.0f} to {HIGHEST / one:,.0f} {_HEIGHTS[column]}"
        )
    return height
