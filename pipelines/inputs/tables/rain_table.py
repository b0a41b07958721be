"""Rain depth by duration and return period, as a table that was read."""

from dataclasses import dataclass
from typing import Literal

from terrain.arrays import FloatArray

Series = Literal["partial_duration", "annual_maximum", "unknown"]


@dataclass(frozen=True, slots=True, eq=False)
class RainTable:
    """Point rainfall: depth by duration and return period.

    Attributes
    ----------
    durations : (n,) float ndarray
        Increasing. [s]
    return_periods : (m,) float ndarray
        Increasing. [yr]
    depths : (n, m) float ndarray
        Positive; not falling with duration or return period. [m]
    source : str
        Where it comes from, with volume and version where the file gives them.
    """

    durations: FloatArray
    return_periods: FloatArray
    depths: FloatArray
    series: Series
    source: str
