"""Depth, intensity and return period of rain from a table, never past its edges."""

import math
from functools import lru_cache

import numpy as np

from pipelines.hydrology.errors import RainError
from pipelines.inputs.limits import require_positive
from pipelines.inputs.tables.rain_table import RainTable
from terrain.arrays import FloatArray
from terrain.unit_table import DAY, HOUR, MINUTE

# a duration read from text and one computed may differ in the last bits
ROUND_OFF = 1e-9


def rain_depth(table: RainTable, duration: float, return_period: float) -> float:
    """Depth of rain of a duration and return period.

    Parameters
    ----------
    table : RainTable
        Depths by duration and return period.
    duration : float
        [s]
    return_period : float
        [yr]

    Returns
    -------
    float
        Depth. [m]

    Raises
    ------
    RainError
        If the duration or return period lies outside the table; the message says its range.

    Notes
    -----
    Log depth is linear in log duration between rows, and depth is linear in log return period between columns.

    References
    ----------
    .. [1] Common practice for depth-duration-frequency tables; the straight line on log-log paper between
       tabulated durations and on semi-log paper between return periods follows U.S. Weather Bureau, "Rainfall
       Frequency Atlas of the United States", Technical Paper 40, 1961, from memory.
    """
    require_positive(RainError, return_period=return_period)
    first, last = float(table.return_periods[0]), float(table.return_periods[-1])
    if not first * (1.0 - ROUND_OFF) <= return_period <= last * (1.0 + ROUND_OFF):
        raise RainError(
            f"return period {return_period:g} yr lies outside {table_name(table)}, which holds {first:g} to {last:g} "
            "yr: ask for one of these, or give a table that reaches further"
        )
    depths = depths_of_duration(table, duration)
    return float(np.interp(math.log(return_period), np.log(table.return_periods), depths))


def rain_depths(table: RainTable, durations: FloatArray, return_period: float) -> FloatArray:
    """Depth of rain of each of many durations, the same as of one by one.

    Parameters
    ----------
    table : RainTable
        Depths by duration and return period.
    durations : (n,) float ndarray
        [s]
    return_period : float
        [yr]

    Returns
    -------
    (n,) float ndarray
        Depths. [m]

    Raises
    ------
    RainError
        If a duration or the return period lies outside the table; the message says its range.

    References
    ----------
    .. [1] As of `rain_depth`.
    """
    first, last = float(table.durations[0]), float(table.durations[-1])
    inside = (durations >= first * (1.0 - ROUND_OFF)) & (durations <= last * (1.0 + ROUND_OFF))
    for at in (0, *np.flatnonzero(~inside)[:1]):
        rain_depth(table, float(durations[at]), return_period)
    log_durations, log_depths = _logs(table)
    at = np.clip(durations, first, last)
    logs = [math.log(each) for each in at.tolist()]
    depths = np.array([[math.exp(each) for each in np.interp(logs, log_durations, column)] for column in log_depths]).T
    told = np.isin(at, table.durations)
    depths[told] = table.depths[np.searchsorted(table.durations, at[told])]
    years, periods = math.log(return_period), np.log(table.return_periods)
    return np.array([np.interp(years, periods, row) for row in depths])


def depths_of_duration(table: RainTable, duration: float) -> FloatArray:
    """Depth of one duration at each of the table's return periods.

    Parameters
    ----------
    table : RainTable
        Depths by duration and return period.
    duration : float
        [s]

    Returns
    -------
    (m,) float ndarray
        One a return period. [m]

    Raises
    ------
    RainError
        If the duration lies outside the table; the message says its range.

    References
    ----------
    .. [1] As of `rain_depth`.
    """
    require_positive(RainError, duration=duration)
    first, last = float(table.durations[0]), float(table.durations[-1])
    if not first * (1.0 - ROUND_OFF) <= duration <= last * (1.0 + ROUND_OFF):
        raise RainError(
            f"duration {duration_text(duration)} lies outside {table_name(table)}, which holds {duration_text(first)} "
            f"to {duration_text(last)}: ask for a duration in that range, or give a table that reaches further"
        )
    at = min(max(duration, first), last)
    if at in table.durations:
        # a tabulated depth comes back bit for bit
        row: FloatArray = table.depths[int(np.searchsorted(table.durations, at))].copy()
        return row
    log_durations, log_depths = _logs(table)
    return np.array([math.exp(np.interp(math.log(at), log_durations, column)) for column in log_depths])


@lru_cache(maxsize=16)
def _logs(table: RainTable) -> tuple[FloatArray, tuple[FloatArray, ...]]:
    """Logarithms of a table's durations, and of its depths at each return period."""
    return np.log(table.durations), tuple(np.log(column) for column in table.depths.T)


def duration_text(duration: float) -> str:
    """A duration as a message says it."""
    if duration < 2.0 * HOUR:
        return f"{duration / MINUTE:g} min"
    return f"{duration / HOUR:g} h" if duration < 3.0 * DAY else f"{duration / DAY:g} d"


def table_name(table: RainTable) -> str:
    """What a message calls a rain table: its source up to the first semicolon."""
    return table.source.partition(";")[0]
