"""What any table of rain must hold: more rain in longer and in rarer storms."""

from collections.abc import Sequence

import numpy as np

from pipelines.inputs.errors import TableError
from pipelines.inputs.tables.rain_table import RainTable, Series
from terrain.arrays import FloatArray
from terrain.unit_table import si_factor

# the wettest sixty days on record brought some 12 m (from memory)
_MOST_DEPTH = 15.0


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
    for name, values, labels in (("duration", durations, rows), ("return period", return_periods, columns)):
        for position, value in enumerate(values):
            if not np.isfinite(value) or value <= 0.0:
                raise TableError(f"{where}: {labels[position]}: the {name} is not more than zero")
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
