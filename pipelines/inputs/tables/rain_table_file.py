"""Rain tables as files: our own rain.csv, and the national agency's table of a point as published.

`read_rain_table(path) -> RainTable` tells the two apart by what they say.
"""

import os
import re
from pathlib import Path

import numpy as np

from pipelines.inputs.errors import TableError
from pipelines.inputs.tables.agency_rain import is_agency_text, read_agency_text
from pipelines.inputs.tables.csv_table import CsvTable, one_of, read_text, refuse_too_long, table_of_text
from pipelines.inputs.tables.rain_checks import checked_rain_table
from pipelines.inputs.tables.rain_table import RainTable
from terrain.unit_table import MINUTE, si_factor

_COLUMN = re.compile(r"depth_(in|mm)_(\d+(?:\.\d+)?)yr")


def read_rain_table(path: str | os.PathLike[str]) -> RainTable:
    """Read a rain table."""
    where = f"rain table {Path(path).name}"
    text = read_text(path, "rain table")
    refuse_too_long(text.splitlines(), where)
    if is_agency_text(text):
        return read_agency_text(text, where)
    return _own_table(table_of_text(text, where))


def _own_table(table: CsvTable) -> RainTable:
    one_of(table, ("duration_min",))
    depths = {}
    for column in table.columns:
        match = _COLUMN.fullmatch(column)
        if match:
            depths[column] = (match[1], float(match[2]))
        elif column != "duration_min":
            raise TableError(
                f"{table.where}: column {column} is not known; columns are duration_min and depth_in_2yr, "
                "depth_in_10yr and so on, or depth_mm_2yr and so on"
            )
    units = {unit for unit, _ in depths.values()}
    if len(units) != 1:
        found = "no column of depths" if not units else "columns in inches and in millimetres"
        raise TableError(f"{table.where} has {found}; give depth_in_2yr and so on, or depth_mm_2yr and so on")
    unit = units.pop()
    values = [[table.number(row, column) * si_factor(unit) for column in depths] for row in table.rows]
    return checked_rain_table(
        durations=np.array([table.number(row, "duration_min") for row in table.rows]) * MINUTE,
        return_periods=np.array([years for _, years in depths.values()]),
        depths=np.array(values, dtype=np.float64),
        series="unknown",
        source="; ".join((Path(table.where.removeprefix("rain table ")).name, *table.comments)),
        where=table.where,
        unit=unit,
        rows=[f"line {row.line}" for row in table.rows],
        columns=list(depths),
    )
