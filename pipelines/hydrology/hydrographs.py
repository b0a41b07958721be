"""Flow in time: unit hydrographs, convolution, the rational hydrograph, and their sums."""

from collections.abc import Iterable

import numpy as np

from pipelines.hydrology.errors import HydrographError
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.inputs.limits import require_not_negative, require_positive
from terrain.arrays import FloatArray
from terrain.unit_table import ACRE

NRCS_TIMES = np.concatenate([np.arange(21) / 10.0, np.arange(11, 21) / 5.0, [4.5, 5.0]])
"""Time over time to peak of the dimensionless unit hydrograph. [-]"""
NRCS_FLOWS = np.array(
    [0.000, 0.030, 0.100, 0.190, 0.310, 0.470, 0.660, 0.820, 0.930, 0.990, 1.000,
     0.990, 0.930, 0.860, 0.780, 0.680, 0.560, 0.460, 0.390, 0.330, 0.280,
     0.207, 0.147, 0.107, 0.077, 0.055, 0.040, 0.029, 0.021, 0.015, 0.011, 0.005, 0.000]
)
"""Flow over peak flow of the dimensionless unit hydrograph. [-]"""
RATIONAL_LIMIT = 200.0 * ACRE
"""Largest area the rational method is used for. [m2]"""


def time_to_peak_nrcs(time_of_concentration: float, step: float) -> float:
    """Time from the start of a burst of excess to the peak it makes.

    Parameters
    ----------
    time_of_concentration : float
        [s]
    step : float
        Length of the burst. [s]

    Returns
    -------
    float
        D / 2 + 0.6 tc. [s]

    Raises
    ------
    HydrographError
        If a number is not finite and positive.

    References
    ----------
    .. [1] NRCS, National Engineering Handbook part 630, ch. 16, 2007, eq. 16-7 and 16-9, from memory of the numbers.
    """
    require_positive(HydrographError, time_of_concentration=time_of_concentration, step=step)
    return 0.5 * step + 0.6 * time_of_concentration


def unit_hydrograph_nrcs(time_of_concentration: float, step: float) -> FloatArray:
    """NRCS dimensionless unit hydrograph of one burst of excess, scaled so that its volume is exactly that burst's.

    Parameters
    ----------
    time_of_concentration : float
        [s]
    step : float
        Length of the burst; about 0.133 tc or shorter. [s]

    Returns
    -------
    (m,) float ndarray
        Flow at 0, step, ... for one unit of volume: step times their sum is 1. [1/s]

    Raises
    ------
    HydrographError
        If the step is longer than a quarter of the time to peak, or a number is not finite and positive.

    Notes
    -----
    The printed ordinates enclose 1.3360 rather than 4/3, a peak factor of 483; here they are read at the step's
    times and divided by their own sum.

    References
    ----------
    .. [1] NRCS, National Engineering Handbook part 630, ch. 16, 2007, Table 16-1.
    """
    peak_time = time_to_peak_nrcs(time_of_concentration, step)
    if step > 0.25 * peak_time:
        raise HydrographError(
            f"a step of {step:g} s is longer than a quarter of the time to peak, {peak_time:g} s: "
            f"give {0.133 * time_of_concentration:.0f} s or less"
        )
    times = np.arange(int(np.ceil(5.0 * peak_time / step)) + 1) * step
    flows = np.interp(times / peak_time, NRCS_TIMES, NRCS_FLOWS)
    shape: FloatArray = flows / (flows.sum() * step)
    return shape


def runoff_hydrograph(excess: FloatArray, area: float, time_of_concentration: float, step: float) -> Hydrograph:
    """Hydrograph of a ground's rainfall excess.

    Parameters
    ----------
    excess : (n,) float ndarray
        Depth that runs off in each step. [m]
    area : float
        [m2]
    time_of_concentration : float
        [s]
    step : float
        [s]

    Returns
    -------
    Hydrograph
        Its volume is the excess times the area. [m3]

    Raises
    ------
    HydrographError
        If excess is negative or not finite, or a number means nothing.

    References
    ----------
    .. [1] NRCS, National Engineering Handbook part 630, ch. 16, 2007, composite flood hydrograph.
    .. [2] Chow, V. T., Maidment, D. R., Mays, L. W., "Applied Hydrology", 1988, eq. 7.4.1, discrete convolution.
    """
    require_not_negative(HydrographError, area=area)
    if excess.size == 0 or not (np.isfinite(excess).all() and (excess >= 0.0).all()):
        raise HydrographError("rainfall excess is empty, negative or not finite: give one depth of 0 or above a step")
    flow: FloatArray = np.asarray(np.convolve(excess, unit_hydrograph_nrcs(time_of_concentration, step)), np.float64)
    return Hydrograph(step, flow * area)


def rational_peak(coefficient: float, intensity: float, area: float) -> float:
    """Peak flow by the rational method.

    Parameters
    ----------
    coefficient : float
        [-]
    intensity : float
        Of rain as long as the time of concentration. [m/s]
    area : float
        At most 80 ha. [m2]

    Returns
    -------
    float
        Q = C i A. [m3/s]

    Raises
    ------
    HydrographError
        If a number is negative or not finite, or the area above 80 ha, where the method is not used.

    References
    ----------
    .. [1] FHWA, "Urban Drainage Design Manual", HEC-22, sec. 3.2.2, eq. 3-1; up to 200 acres.
    """
    require_not_negative(HydrographError, coefficient=coefficient, intensity=intensity, area=area)
    if area > RATIONAL_LIMIT:
        raise HydrographError(f"{area / 1e4:.0f} ha is more than the 80 ha the rational method is used for: divide it")
    return coefficient * intensity * area


def add_hydrographs(hydrographs: Iterable[Hydrograph]) -> Hydrograph:
    """Flow of several at one place: hydrographs add, peaks don't."""
    parts = list(hydrographs)
    if not parts:
        raise HydrographError("no hydrograph to add: give at least one")
    steps = {part.step for part in parts}
    if len(steps) > 1:
        raise HydrographError(f"hydrographs of steps {sorted(steps)} s can't be added: bring them to one step first")
    flow = np.zeros(max(part.flow.size for part in parts))
    for part in parts:
        flow[: part.flow.size] += part.flow
    return Hydrograph(parts[0].step, flow)
