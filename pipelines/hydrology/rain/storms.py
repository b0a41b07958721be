"""Design storms: a depth of rain and how it falls in time."""

from dataclasses import dataclass, replace
from functools import cache, lru_cache
from importlib.resources import files
from typing import Literal, get_args

import numpy as np

from pipelines.hydrology.errors import RainError
from pipelines.hydrology.rain.rainfall import duration_text, rain_depths
from pipelines.inputs.limits import require_positive
from pipelines.inputs.tables.rain_table import RainTable
from terrain.arrays import FloatArray
from terrain.reason import Reason, reason
from terrain.shown_text import quoted
from terrain.unit_table import DAY, HOUR, MINUTE

NrcsType = Literal["I", "IA", "II", "III"]
Distribution = Literal["nested", "constant", "I", "IA", "II", "III"]
"""How rain falls in time; constant is for one depth and duration alone."""


@dataclass(frozen=True, slots=True, eq=False)
class DesignStorm:
    """Rain in equal steps, constant within each.

    Attributes
    ----------
    distribution : str
        How it falls in time.
    step : float
        [s]
    depths : (n,) float ndarray
        Rain of each step. [m]
    duration : float
        [s]
    return_period : float or None
        None where it is not known. [yr]
    rain_type : str or None
        NRCS type whose ratios a nested storm is made of, where no table was given.
    """

    distribution: Distribution
    step: float
    depths: FloatArray
    duration: float
    return_period: float | None = None
    rain_type: NrcsType | None = None

    @property
    def depth(self) -> float:
        """All its rain. [m]"""
        return float(self.depths.sum())

    @property
    def name(self) -> Reason:
        """What it is called."""
        if self.distribution == "constant":
            return reason("storm_constant", depth=self.depth, duration=self.duration)
        if self.rain_type is not None:
            return reason("storm_nested_by_type", depth=self.depth, duration=self.duration, type=self.rain_type)
        if self.distribution == "nested":
            return reason("storm_nested", return_period=self.return_period, duration=self.duration)
        if self.return_period is None:
            return reason("storm_nrcs_of_depth", depth=self.depth, duration=self.duration, type=self.distribution)
        return reason(
            "storm_nrcs", return_period=self.return_period, duration=self.duration, type=self.distribution
        )

    @property
    def cumulative(self) -> FloatArray:
        """Rain fallen at the times 0, step, 2 step, ... [m]"""
        return np.concatenate([[0.0], np.cumsum(self.depths)])


def constant_storm(depth: float, duration: float, *, step: float = MINUTE) -> DesignStorm:
    """Rain of one intensity.

    Parameters
    ----------
    depth : float
        [m]
    duration : float
        [s]
    step : float
        Its last step may be partly dry. [s]

    Returns
    -------
    DesignStorm
        Its depths add up to `depth`. [m]

    Raises
    ------
    RainError
        If a number is not finite and positive.

    References
    ----------
    .. [1] The rain of the rational method: FHWA, "Urban Drainage Design Manual", HEC-22, sec. 3.2.2.
    """
    require_positive(RainError, depth=depth, duration=duration, step=step)
    edges = np.arange(0.0, duration + step, step)
    fallen = depth * np.minimum(edges / duration, 1.0)
    return DesignStorm("constant", step, np.diff(fallen)[: _steps(duration, step)], duration)


@lru_cache(maxsize=64)
def nested_storm(
    table: RainTable, return_period: float, *, duration: float = DAY, step: float | None = None
) -> DesignStorm:
    """Storm that holds the table's depth of every duration at once, by alternating blocks.

    Parameters
    ----------
    table : RainTable
        Depths by duration and return period.
    return_period : float
        [yr]
    duration : float
        Of the whole storm. [s]
    step : float or None
        Length of a block, not shorter than the table's shortest duration, which None takes. [s]

    Returns
    -------
    DesignStorm
        The largest total of any k neighbouring blocks is the table's depth of k steps; a little more where the table's
        own intensities don't fall steadily. [m], [s]

    Raises
    ------
    RainError
        If the table does not reach from the step to the duration, or the step does not divide the duration.

    Notes
    -----
    Increments of the depth-duration curve sorted by size, the largest at the centre, the next ones alternately
    after and before it.

    References
    ----------
    .. [1] Chow, V. T., Maidment, D. R., Mays, L. W., "Applied Hydrology", 1988, sec. 14.4, from memory.
    .. [2] NRCS, National Engineering Handbook part 630, ch. 4, 2019, sec. 630.0403, nested storms.
    """
    block = float(table.durations[0]) if step is None else step
    require_positive(RainError, duration=duration, step=block)
    count = round(duration / block)
    if count < 1 or abs(count * block - duration) > 1e-6 * duration:
        raise RainError(
            f"a nested storm of {duration_text(duration)} in steps of {duration_text(block)}: "
            "give a step that divides the duration"
        )
    ends = np.array([(k + 1) * block for k in range(count)])
    fallen = np.concatenate([[0.0], rain_depths(table, ends, return_period)])
    blocks = np.sort(np.diff(fallen))[::-1]
    return DesignStorm("nested", block, _alternating(blocks), duration, return_period)


def nrcs_storm(
    depth: float, kind: NrcsType, *, step: float = 0.1 * HOUR, return_period: float | None = None
) -> DesignStorm:
    """24-hour storm by an NRCS distribution.

    Parameters
    ----------
    depth : float
        Of 24 hours. [m]
    kind : str
        Distribution: I, IA, II or III.
    step : float
        One that divides 24 hours. [s]
    return_period : float or None
        Where known. [yr]

    Returns
    -------
    DesignStorm
        Its depths add up to `depth`. [m]

    Raises
    ------
    RainError
        If the kind is not one of the four, or the step does not divide 24 hours.

    References
    ----------
    .. [1] NRCS, National Engineering Handbook part 630, ch. 4, 2019; the 0.1-hour ordinates of types I, II and III
       and the 0.5-hour ordinates of type IA.
    """
    require_positive(RainError, depth=depth, step=step)
    count = round(DAY / step)
    if abs(count * step - DAY) > 1e-6 * DAY:
        raise RainError(f"step {step:g} s does not divide 24 h: give one that does")
    hours, fraction = nrcs_distribution(kind)
    fallen = depth * np.interp(np.arange(count + 1) * step / HOUR, hours, fraction)
    return DesignStorm(kind, step, np.diff(fallen), DAY, return_period)


def nrcs_distribution(kind: NrcsType) -> tuple[FloatArray, FloatArray]:
    """Ordinates of an NRCS 24-hour rainfall distribution.

    Parameters
    ----------
    kind : str
        I, IA, II or III.

    Returns
    -------
    hours : (n,) float ndarray
        0 to 24. [h]
    fraction : (n,) float ndarray
        Of the 24-hour depth that has fallen by then, 0 to 1. [-]

    Raises
    ------
    RainError
        If the kind is not one of the four.

    References
    ----------
    .. [1] NRCS, National Engineering Handbook part 630, ch. 4, 2019, as reproduced in public copies of the
       0.1-hour tables.
    """
    if kind not in get_args(NrcsType):
        raise RainError(f"NRCS distribution {quoted(kind)}: give one of {', '.join(get_args(NrcsType))}")
    table = _distributions()
    column = table[:, 1 + get_args(NrcsType).index(kind)]
    known = np.isfinite(column)
    return table[known, 0], column[known]


@lru_cache(maxsize=64)
def refined(storm: DesignStorm, step: float) -> DesignStorm:
    """The same rain in other steps, its intensity constant within each of the storm's own."""
    require_positive(RainError, step=step)
    fallen = storm.cumulative
    times = np.arange(fallen.size) * storm.step
    # only a storm whose last step is partly dry ends before its last edge
    times[-1] = min(times[-1], max(storm.duration, times[-2]))
    edges = np.arange(_steps(times[-1], step) + 1) * step
    return replace(storm, step=step, depths=np.diff(np.interp(edges, times, fallen)))


def _steps(duration: float, step: float) -> int:
    return max(1, int(np.ceil(duration / step - 1e-9)))


def _alternating(blocks: FloatArray) -> FloatArray:
    """Sorted blocks around the centre: the largest, then one after it, one before it, and so on."""
    count = blocks.size
    centre = (count - 1) // 2
    offsets = (np.arange(count) + 1) // 2
    signs = np.where(np.arange(count) % 2 == 1, 1, -1)
    order = centre + signs * offsets
    placed = np.empty(count)
    placed[order] = blocks
    return placed


@cache
def _distributions() -> FloatArray:
    text = files("pipelines.hydrology").joinpath("rainfall_distributions.csv").read_text(encoding="utf-8")
    table = np.genfromtxt(text.splitlines(), delimiter=",", skip_header=1, filling_values=np.nan)
    table.flags.writeable = False
    return np.asarray(table, dtype=np.float64)
