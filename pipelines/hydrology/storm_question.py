"""Which storm was that: a measured depth and duration held against a rain table."""

import math
from dataclasses import dataclass

import numpy as np

from pipelines.hydrology.errors import RainError
from pipelines.hydrology.rain.rainfall import ROUND_OFF, depths_of_duration
from pipelines.inputs.limits import require_positive
from pipelines.inputs.tables.rain_table import RainTable
from terrain.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class StormAnswer:
    """What a table says of a rain.

    Attributes
    ----------
    depth, duration, intensity : float
        [m], [s], [m/s]
    return_period : float or None
        None where the rain is beyond or below the table. [yr]
    beyond_table, below_table : bool
        Deeper than the table's last column, or shallower than its first.
    return_periods, depths : (m,) float ndarray
        The table's return periods, and the depth of the same duration at each. [yr], [m]
    series, source : str
        Of the table.
    """

    depth: float
    duration: float
    intensity: float
    return_period: float | None
    beyond_table: bool
    below_table: bool
    return_periods: FloatArray
    depths: FloatArray
    series: str
    source: str


def which_storm(table: RainTable, depth: float, duration: float) -> StormAnswer:
    """Intensity and return period of a rain that was measured.

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
    StormAnswer
        Intensity [m/s], return period [yr] in the table's own series, and what the table holds for the duration.

    Raises
    ------
    RainError
        If the depth is not positive, or the table does not hold the duration; the message says its range.

    References
    ----------
    .. [1] As of `pipelines.hydrology.rain.rainfall.rain_depth`, read the other way.
    """
    require_positive(RainError, depth=depth)
    depths = depths_of_duration(table, duration)
    below = bool(depth < depths[0] * (1.0 - ROUND_OFF))
    beyond = not below and bool(depth > depths[-1] * (1.0 + ROUND_OFF))
    # where neighbouring columns hold the same depth, the rarer of them is not claimed
    rising = np.concatenate([[True], np.diff(depths) > 0.0])
    log_years = float(np.interp(depth, depths[rising], np.log(table.return_periods[rising])))
    return StormAnswer(
        depth=depth,
        duration=duration,
        intensity=depth / duration,
        return_period=None if below or beyond else math.exp(log_years),
        beyond_table=beyond,
        below_table=below,
        return_periods=table.return_periods,
        depths=depths,
        series=table.series,
        source=table.source,
    )
