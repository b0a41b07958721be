"""How far off a fall between two cells may be, which is less than two heights taken alone would say."""

from typing import overload

import numpy as np

from terrain.arrays import FloatArray
from terrain.errors import GroundError

SHARED_VARIANCE = 0.35
"""Share of a height's error variance that is one bias over a whole lot. Common practice, no source. [-]"""
NOISE_LENGTH = 10.0
"""Distance over which the rest of the error forgets itself by a factor e. Common practice, no source. [m]"""


@overload
def fall_error(
    rmse: float, distance: float, *, shared_variance: float = ..., noise_length: float = ...
) -> float: ...
@overload
def fall_error(
    rmse: float, distance: FloatArray, *, shared_variance: float = ..., noise_length: float = ...
) -> FloatArray: ...
def fall_error(
    rmse: float,
    distance: float | FloatArray,
    *,
    shared_variance: float = SHARED_VARIANCE,
    noise_length: float = NOISE_LENGTH,
) -> float | FloatArray:
    """Standard error of the fall between two places of one lidar surface. [m]

    Notes
    -----
    With a height's error as the sum of a bias of variance b s^2 and an exponentially correlated part of variance
    (1 - b) s^2, the variance of a difference over d is 2 (1 - b) s^2 (1 - exp(-d / L)), twice the semivariogram of the
    exponential model [1]_.

    References
    ----------
    .. [1] Cressie, "Statistics for Spatial Data", Wiley, 1993, section 2.3 (exponential semivariogram).
    """
    if not 0.0 <= shared_variance <= 1.0:
        raise GroundError(f"lidar_shared_variance is {shared_variance:g}: give a share from 0 to 1")
    spread = np.sqrt(2.0 * (1.0 - shared_variance) * -np.expm1(-np.asarray(distance, dtype=np.float64) / noise_length))
    return rmse * spread if np.ndim(distance) else float(rmse * spread)
