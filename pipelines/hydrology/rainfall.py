"""Depth, intensity and return period of rain from a table, never past its edges."""

import math
from dataclasses import dataclass

import numpy as np

from pipelines.hydrology.errors import RainError
from pipelines.inputs.limits import require_positive
from pipelines.inputs.tables.rain_table import RainTable, Series
from terrain.arrays import FloatArray

# a duration read from text and one computed may differ in the last bits
_ROUND_OFF = 1e-9


@dataclass(frozen=True, slots=True)
class ReturnPeriod:
    """How rare a rain was.

    Attributes
    ----------
    years : float or None
        None where the table does not say. [yr]
    beyond_table, below_table : bool
        Deeper than the table's last column, or shallower than its first.
    """

    years: float | None
    beyond_table: bool
    below_table: bool


def rain_depth(table: RainTable, duration: float, return_period: float, *, series: Series = "unknown") -> float:
    """Depth of rain of a duration and return period.

    Parameters
    ----------
    table : RainTable
        Depths by duration and return period.
    duration : float
        [s]
    return_period : float
        [yr]
    series : str
        Series the return period is meant in; where it and the table's are known and differ, the return period
        is converted first.

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
    years = _in_series(return_period, series, table.series)
    first, last = float(table.return_periods[0]), float(table.return_periods[-1])
    if not first * (1.0 - _ROUND_OFF) <= years <= last * (1.0 + _ROUND_OFF):
        raise RainError(
            f"return period {return_period:g} yr lies outside {table_name(table)}, which holds {first:g} to {last:g} "
            "yr: ask for one of these, or give a table that reaches further"
        )
    depths = depths_of_duration(table, duration)
    return float(np.interp(math.log(years), np.log(table.return_periods), depths))


def rain_intensity(table: RainTable, duration: float, return_period: float, *, series: Series = "unknown") -> float:
    """Mean intensity of rain of a duration and return period.

    Parameters
    ----------
    table : RainTable
        Depths by duration and return period.
    duration : float
        [s]
    return_period : float
        [yr]
    series : str
        Series the return period is meant in.

    Returns
    -------
    float
        Intensity, the depth over the duration. [m/s]

    Raises
    ------
    RainError
        If the duration or return period lies outside the table.

    References
    ----------
    .. [1] FHWA, "Urban Drainage Design Manual", HEC-22, sec. 3.2.2.
    """
    return rain_depth(table, duration, return_period, series=series) / duration


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
    if not first * (1.0 - _ROUND_OFF) <= duration <= last * (1.0 + _ROUND_OFF):
        raise RainError(
            f"duration {duration_text(duration)} lies outside {table_name(table)}, which holds {duration_text(first)} "
            f"to {duration_text(last)}: ask for a duration in that range, or give a table that reaches further"
        )
    at = min(max(duration, first), last)
    if at in table.durations:
        # a tabulated depth comes back bit for bit
        row: FloatArray = table.depths[int(np.searchsorted(table.durations, at))].copy()
        return row
    log_durations = np.log(table.durations)
    return np.array([math.exp(np.interp(math.log(at), log_durations, np.log(column))) for column in table.depths.T])


def return_period_of(table: RainTable, depth: float, duration: float) -> ReturnPeriod:
    """Return period of a rain that was measured.

    Parameters
    ----------
    table : RainTable
        Depths by duration and return period.
    depth : float
        [m]
    duration : float
        [s]

    Returns
    -------
    ReturnPeriod
        In the table's own series, or that the rain is beyond or below the table.

    Raises
    ------
    RainError
        If the duration lies outside the table, or the depth is not positive.

    References
    ----------
    .. [1] As of `rain_depth`, read the other way.
    """
    require_positive(RainError, depth=depth)
    depths = depths_of_duration(table, duration)
    if depth < depths[0] * (1.0 - _ROUND_OFF):
        return ReturnPeriod(None, beyond_table=False, below_table=True)
    if depth > depths[-1] * (1.0 + _ROUND_OFF):
        return ReturnPeriod(None, beyond_table=True, below_table=False)
    # where neighbouring columns hold the same depth, the rarer of them is not claimed
    rising = np.concatenate([[True], np.diff(depths) > 0.0])
    log_years = np.interp(depth, depths[rising], np.log(table.return_periods[rising]))
    return ReturnPeriod(math.exp(float(log_years)), beyond_table=False, below_table=False)


def partial_duration_return_period_langbein(annual_maximum_years: float) -> float:
    """Return period in the partial-duration series of a rain known by its return period in the annual-maximum one.

    Parameters
    ----------
    annual_maximum_years : float
        Above 1. [yr]

    Returns
    -------
    float
        1 / ln(T / (T - 1)). [yr]

    Raises
    ------
    RainError
        If the return period is not above 1 year, where the annual-maximum series says nothing.

    References
    ----------
    .. [1] Langbein, W. B., "Annual floods and the partial-duration flood series", Transactions of the American
       Geophysical Union 30(6), 1949, 879-881, from memory.
    """
    if not (math.isfinite(annual_maximum_years) and annual_maximum_years > 1.0):
        raise RainError(
            f"return period {annual_maximum_years} yr in the annual-maximum series: give a finite number above 1 yr"
        )
    return -1.0 / math.log1p(-1.0 / annual_maximum_years)


def annual_maximum_return_period_langbein(partial_duration_years: float) -> float:
    """Return period in the annual-maximum series of a rain known by its return period in the partial-duration one.

    Parameters
    ----------
    partial_duration_years : float
        [yr]

    Returns
    -------
    float
        1 / (1 - exp(-1 / T)). [yr]

    Raises
    ------
    RainError
        If the return period is not finite and positive.

    References
    ----------
    .. [1] Langbein, W. B., "Annual floods and the partial-duration flood series", Transactions of the American
       Geophysical Union 30(6), 1949, 879-881, from memory.
    """
    require_positive(RainError, return_period=partial_duration_years)
    return -1.0 / math.expm1(-1.0 / partial_duration_years)


def duration_text(duration: float) -> str:
    """A duration as people say it."""
    if duration < 7200.0:
        return f"{duration / 60.0:g} min"
    return f"{duration / 3600.0:g} h" if duration < 259200.0 else f"{duration / 86400.0:g} d"


def table_name(table: RainTable) -> str:
    """What a message calls a rain table: its source up to the first semicolon."""
    return table.source.partition(";")[0]


def _in_series(years: float, meant: Series, held: Series) -> float:
    if meant == held or "unknown" in (meant, held):
        return years
    if held == "annual_maximum":
        return annual_maximum_return_period_langbein(years)
    return partial_duration_return_period_langbein(years)
