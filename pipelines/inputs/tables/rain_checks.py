"""What any table of rain must hold: more rain in longer and in rarer storms."""

from collections.abc import Sequence

import numpy as np

from pipelines.inputs.errors import TableError
from pipelines.inputs.tables.rain_table import RainTable, Series
from terrain.arrays import FloatArray
from terrain.unit_table import HOUR, si_factor

# the wettest sixty days on record brought some 12 m (from memory)
_MOST_DEPTH = 15.0
_DURATIONS = 60.0, 100.0 * 24.0 * HOUR, "1 min to 100 d"
"""What agencies publish, 5 min to 60 d, lies well within. [s]"""
_RETURN_PERIODS = 0.01, 1e6, "0.01 to 1,000,000 years"


def checked_rain_table(
    durations: FloatArray,
    return_periods: FloatArray,
    depths: FloatArray,
    series: Series,
    source: str,
    *,
    where: str,
    unit: str,
    rows: Sequence[str],
    columns: Sequence[str],
    rounding: FloatArray | None = None,
) -> RainTable:
    """Sort a table by duration and return period and refuse what no rain does, in words of the unit that it is in."""
    one = si_factor(unit)
    for name, values, labels, (least, most, told) in (
        ("duration", durations, rows, _DURATIONS), ("return period", return_periods, columns, _RETURN_PERIODS)
    ):  # fmt: skip
        for position, value in enumerate(values):
            if not np.isfinite(value) or value <= 0.0:
                raise TableError(f"{where}: {labels[position]}: the {name} is not more than zero")
            if not least - 1e-9 <= value <= most:
                raise TableError(f"{where}: {labels[position]}: the {name} is out of range; it may be from {told}")
            if value in values[:position]:
                raise TableError(f"{where}: {labels[position]}: the {name} stands in the table twice")
    by_row, by_column = np.argsort(durations), np.argsort(return_periods)
    ordered = depths[np.ix_(by_row, by_column)]
    slack = np.zeros(ordered.shape) if rounding is None else rounding[np.ix_(by_row, by_column)]
    row_names, column_names = [rows[each] for each in by_row], [columns[each] for each in by_column]
    for row, column in zip(*np.nonzero(~((ordered > 0.0) & (ordered < _MOST_DEPTH))), strict=True):
        raise TableError(
            f"{where}: {row_names[row]}, column {column_names[column]}: a depth of "
            f"{ordered[row, column] / one:,.4g} {unit} is no rain; depths are more than zero and less than "
            f"{_MOST_DEPTH / one:,.4g} {unit}"
        )
    for axis, what in ((0, "duration"), (1, "return period")):
        falls = np.diff(ordered, axis=axis) < -(_after(slack, axis) + _before(slack, axis)) - 1e-12
        for row, column in zip(*np.nonzero(falls), strict=True):
            at = (row + 1, column) if axis == 0 else (row, column + 1)
            raise TableError(
                f"{where}: {row_names[at[0]]}, column {column_names[at[1]]}: the depth falls as the {what} grows, from "
                f"{ordered[row, column] / one:,.4g} to {ordered[at] / one:,.4g} {unit}; a longer or rarer storm "
                "never brings less"
            )
        ordered = np.maximum.accumulate(ordered, axis=axis)
    return RainTable(durations[by_row], return_periods[by_column], ordered, series, source)


def _after(values: FloatArray, axis: int) -> FloatArray:
    return values[1:] if axis == 0 else values[:, 1:]


def _before(values: FloatArray, axis: int) -> FloatArray:
    return values[:-1] if axis == 0 else values[:, :-1]
