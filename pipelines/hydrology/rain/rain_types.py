"""How much of a rain falls in its heaviest minutes, where no table says it: published ratios by type of rainfall."""

import math

import numpy as np

from pipelines.hydrology.errors import RainError
from pipelines.hydrology.rain.storms import NrcsType, nrcs_distribution
from pipelines.inputs.limits import require_positive
from pipelines.inputs.tables.rain_table import RainTable
from terrain.arrays import FloatArray
from terrain.unit_table import DAY, HOUR, MINUTE

PERIOD = 1.0
"""The one column of a rain whose return period is not known. [yr]"""

DEFAULT_TYPE: NrcsType = "II"
"""Where a site names none: the type of most of the contiguous United States."""

_OF_HALF_HOUR = {5.0: 0.37, 10.0: 0.57, 15.0: 0.72}
_OF_HOUR = 0.79
_HOURS = (0.5, 1.0, 2.0, 3.0, 6.0, 12.0, 24.0)


def type_ratios(kind: NrcsType) -> tuple[FloatArray, FloatArray]:
    """Share of the 24-hour depth that falls in shorter durations.

    Parameters
    ----------
    kind : str
        NRCS type: I, IA, II or III.

    Returns
    -------
    durations : (n,) float ndarray
        5 minutes to 24 hours. [s]
    ratios : (n,) float ndarray
        Rising to 1. [-]

    Raises
    ------
    RainError
        If the kind is not one of the four.

    Notes
    -----
    From 1 hour up, the most that the type's 24-hour distribution holds in any such time. Its ordinates, 0.1 to
    0.5 hours apart, are too coarse for the time of concentration of a lot: the half hour is 0.79 of the hour, or the
    distribution's own where that is less (types I and IA), and 5, 10 and 15 minutes are 0.37, 0.57 and 0.72 of it.

    References
    ----------
    .. [1] NRCS, National Engineering Handbook part 630, ch. 4, 2019: 24-hour distributions.
    .. [2] U.S. Weather Bureau, "Rainfall Frequency Atlas of the United States", Technical Paper 40, 1961, table 3
       and p. 5, from memory; NOAA Atlas 14 vol. 2 quotes 0.29, 0.45, 0.57 and 0.79 of the hour from it.
    """
    hours, fraction = nrcs_distribution(kind)
    fine = np.arange(241) / 10.0
    fallen = np.interp(fine, hours, fraction)
    half, *longer = (float((fallen[round(10 * h) :] - fallen[: fallen.size - round(10 * h)]).max()) for h in _HOURS)
    half = min(half, _OF_HOUR * longer[0])
    durations = [minutes * MINUTE for minutes in _OF_HALF_HOUR] + [hours * HOUR for hours in _HOURS]
    return np.array(durations), np.array([share * half for share in _OF_HALF_HOUR.values()] + [half, *longer])


def ratio_of(duration: float, kind: NrcsType) -> float:
    """Share of the 24-hour depth that falls in a duration.

    Parameters
    ----------
    duration : float
        Past 24 hours the share grows on as from 12 to 24. [s]
    kind : str
        NRCS type: I, IA, II or III.

    Returns
    -------
    float
        [-]

    Raises
    ------
    RainError
        If the duration is not finite and positive, or the kind is not one of the four.

    References
    ----------
    .. [1] As of `type_ratios`; straight on log paper between its durations, as `rain_depth`.
    """
    require_positive(RainError, duration=duration)
    durations, ratios = type_ratios(kind)
    if duration > DAY:
        return float((duration / DAY) ** (math.log(ratios[-1] / ratios[-2]) / math.log(2.0)))
    if duration < durations[0]:
        return float(ratios[0] * duration / durations[0])
    return math.exp(np.interp(math.log(duration), np.log(durations), np.log(ratios)))


def rain_of_type(depth: float, duration: float, kind: NrcsType) -> RainTable:
    """Depth of every shorter duration within a rain, by the ratios of a type.

    Parameters
    ----------
    depth : float
        Of the whole rain. [m]
    duration : float
        Of the whole rain. [s]
    kind : str
        NRCS type: I, IA, II or III.

    Returns
    -------
    RainTable
        One column, of no known return period; its last row is the rain itself. [m], [s]

    Raises
    ------
    RainError
        If a number is not finite and positive, or the kind is not one of the four.

    References
    ----------
    .. [1] As of `type_ratios`.
    """
    require_positive(RainError, depth=depth, duration=duration)
    knots, ratios = type_ratios(kind)
    shorter = knots < duration * (1.0 - 1e-9)
    depths = depth * np.append(ratios[shorter] / ratio_of(duration, kind), 1.0)
    return RainTable(
        np.append(knots[shorter], duration), np.array([PERIOD]), depths[:, None], "unknown", f"NRCS type {kind}"
    )
