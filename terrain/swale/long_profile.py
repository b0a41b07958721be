"""What a swale's long profile shows: where it runs against the grade, and what dams it."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d, minimum_filter1d, uniform_filter1d

from terrain.arrays import FloatArray
from terrain.lidar_error import NOISE_LENGTH, SHARED_VARIANCE, fall_error
from terrain.swale.thalweg import Thalweg

SIGMAS = 1.28
"""Standard errors that a rise must exceed; leaves one in ten wrong, of errors that are normal. [-]"""
STEEPNESS = 0.04
"""Height over half the length of a drive's fill, at least. Common practice, no source. [-]"""


@dataclass(frozen=True, slots=True)
class Adverse:
    """A stretch of swale whose bottom rises downstream.

    Attributes
    ----------
    start, end : float
        Stations of its lowest and its highest point. [m]
    rise : float
        Between them. [m]
    error : float
        Standard error of that rise. [m]
    sure : bool
        Not within lidar error.
    """

    start: float
    end: float
    rise: float
    error: float
    sure: bool


@dataclass(frozen=True, slots=True)
class Dam:
    """A short hump across a swale, with a low just above it.

    Attributes
    ----------
    start, crest, end : float
        Stations where it leaves the bottom, is highest, and comes back to it. [m]
    low : float
        Station of the low above it. [m]
    height : float
        Of its crest above that low. [m]
    error : float
        Standard error of that height. [m]
    sure : bool
        Not within lidar error.
    """

    start: float
    crest: float
    end: float
    low: float
    height: float
    error: float
    sure: bool


@dataclass(frozen=True, slots=True, eq=False)
class LongProfile:
    """The bottom of a swale along its length.

    Attributes
    ----------
    station, bottom : (n,) float ndarray
        The bottom, averaged a little along the swale. [m]
    without_dams : (n,) float ndarray
        The same with what is shorter than a drive's fill taken out. [m]
    """

    station: FloatArray
    bottom: FloatArray
    without_dams: FloatArray
    adverse: tuple[Adverse, ...]
    dams: tuple[Dam, ...]


def read_profile(
    thalweg: Thalweg,
    *,
    rmse: float = 0.10,
    averaged_over: float = 3.0,
    longest_dam: float = 15.0,
    least_rise: float = 0.05,
    steepness: float = STEEPNESS,
    sigmas: float = SIGMAS,
    shared_variance: float = SHARED_VARIANCE,
    noise_length: float = NOISE_LENGTH,
) -> LongProfile:
    """Find where a swale runs against the grade, and humps across it that may hide a culvert.

    A hump is what an opening of the profile takes out, where its sides are steep: ground that stands above what
    lies within `longest_dam` along the swale. What rises downstream apart from humps is a stretch against the grade.

    References
    ----------
    .. [1] P. Soille, "Morphological Image Analysis", 2nd ed., Springer, 2003, sec. 4.5 (top-hat by opening).
    """
    step = float(thalweg.station[1])
    cells = max(round(averaged_over / step), 1)
    bottom = _averaged(thalweg.bottom, cells)
    opened = _opened(bottom, max(round(longest_dam / step), 1))
    humps = _humps(thalweg.station, bottom - opened, least_rise, steepness)
    level = bottom.copy()
    for first, last in humps:
        level[first : last + 1] = opened[first : last + 1]

    def error(length: float) -> float:
        return fall_error(rmse, length, shared_variance=shared_variance, noise_length=noise_length)

    dams = _dams(thalweg.station, bottom, humps, longest_dam, least_rise, error, sigmas)
    adverse = _adverse(thalweg.station, level, least_rise, error, sigmas)
    return LongProfile(thalweg.station, bottom, level, adverse, dams)


def fill_downstream(bottom: FloatArray) -> FloatArray:
    """Level to which still water fills a profile that drains at its lower end. [m]"""
    level: FloatArray = np.maximum.accumulate(bottom[::-1])[::-1]
    return level


def _averaged(values: FloatArray, cells: int) -> FloatArray:
    """Moving average that leaves a straight line as it is, up to its ends."""
    cells = min(cells, len(values))
    if cells < 2:
        return values
    trend = np.linspace(values[0], values[-1], len(values))
    averaged: FloatArray = uniform_filter1d(values - trend, cells | 1, mode="nearest") + trend
    return averaged


def _opened(values: FloatArray, cells: int) -> FloatArray:
    """Opening; past each end the ground goes on as it lies, so that a hump at the very end stays."""
    if len(values) < 2:
        return values
    lowest = minimum_filter1d(values, cells | 1, mode="nearest")
    opened: FloatArray = np.minimum(maximum_filter1d(lowest, cells | 1, mode="nearest"), values)
    return opened


def _adverse(
    station: FloatArray, bottom: FloatArray, least_rise: float, error: Callable[[float], float], sigmas: float
) -> tuple[Adverse, ...]:
    level = fill_downstream(bottom)
    found = []
    for first, last in _runs(level > bottom + 1e-9):
        crest = min(last + 1, len(bottom) - 1)
        low = first + int(np.argmin(bottom[first : last + 1]))
        rise = float(bottom[crest] - bottom[low])
        spread = error(float(station[crest] - station[low]))
        if rise >= least_rise:
            found.append(Adverse(float(station[low]), float(station[crest]), rise, spread, rise > sigmas * spread))
    return tuple(found)


def _humps(
    station: FloatArray, above: FloatArray, least_rise: float, steepness: float
) -> list[tuple[int, int]]:
    """First and last position of what stands out high and steep enough to be a drive's fill."""
    found = []
    for first, last in _runs(above > least_rise / 2.0):
        half_length = max(float(station[last] - station[first]) / 2.0, float(station[1]))
        height = float(above[first : last + 1].max())
        if height >= least_rise and height >= steepness * half_length:
            found.append((first, last))
    return found


def _dams(
    station: FloatArray,
    bottom: FloatArray,
    humps: list[tuple[int, int]],
    longest: float,
    least_rise: float,
    error: Callable[[float], float],
    sigmas: float,
) -> tuple[Dam, ...]:
    found = []
    for first, last in humps:
        crest = first + int(np.argmax(bottom[first : last + 1]))
        near = np.flatnonzero((station >= station[crest] - longest) & (station <= station[crest]))
        low = int(near[np.argmin(bottom[near])])
        height = float(bottom[crest] - bottom[low])
        if height < least_rise:
            continue
        spread = error(float(station[crest] - station[low]))
        start, top, end, foot = (float(station[each]) for each in (first, crest, last, low))
        found.append(Dam(start, top, end, foot, height, spread, height > sigmas * spread))
    return tuple(found)


def _runs(flags: np.ndarray) -> list[tuple[int, int]]:
    """First and last position of each run of true values."""
    padded = np.concatenate([[False], flags, [False]]).astype(np.int64)
    change = np.diff(padded)
    return list(zip(np.flatnonzero(change == 1).tolist(), (np.flatnonzero(change == -1) - 1).tolist(), strict=True))
