"""Least digging that gives a swale the slope it needs between points that must stay."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_matrix, vstack

from pipelines.inputs.rules import Rules
from pipelines.layout.swale.remedies.recut_section import RecutSection
from terrain.arrays import FloatArray
from terrain.errors import GeometryError
from terrain.reason import Reason, reason

_GAP = 1e-6
_ROUNDS = 60


@dataclass(frozen=True, slots=True)
class LevelLimit:
    """What a bottom must keep at one station.

    Attributes
    ----------
    station : float
        Along the swale. [m]
    lowest, highest : float
        Of the new bottom; equal where it is fixed. [m]
    why : Reason
        What it is: a culvert's invert, a gas line, the lower end.
    """

    station: float
    lowest: float
    highest: float
    why: Reason


Binding = tuple[Reason, float]
"""What limits a bottom, and its station. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class Recut:
    """A re-cut bottom, one row a station.

    Attributes
    ----------
    station, ground, bottom : (n,) float ndarray
        Along the swale, lowest ground now, new bottom. [m]
    area, volume : (n,) float ndarray
        Dug at each station, and from the upper end to each. [m2], [m3]
    filled : float
        Put back into lows. [m3]
    slope : float
        Least slope of the new bottom; less than asked for where that could not be had. [-]
    as_asked : bool
        Has the slope that was asked for.
    gap : float
        How far the volume may lie above the least there is, as a share of it. [-]
    binding : tuple of (Reason, float)
        What kept the slope from being steeper, above and below, and its station; empty where it is as asked for. [m]
    """

    station: FloatArray
    ground: FloatArray
    bottom: FloatArray
    area: FloatArray
    volume: FloatArray
    filled: float
    slope: float
    as_asked: bool
    gap: float
    binding: tuple[Binding, ...]

    @property
    def cut(self) -> FloatArray:
        """Depth dug at the bottom, negative where it is filled. [m]"""
        return self.ground - self.bottom

    @property
    def total(self) -> float:
        """All that is dug. [m3]"""
        return float(self.volume[-1])


@dataclass(frozen=True, slots=True)
class NoRecut:
    """Why digging alone drains a stretch by no slope at all.

    Attributes
    ----------
    upper, lower : (Reason, float)
        What keeps the bottom low above, and what keeps it high below, and its station. [m]
    rise : float
        From the one to the other. [m]
    """

    upper: Binding
    lower: Binding
    rise: float


def plan_recut(
    sections: Sequence[RecutSection], limits: Sequence[LevelLimit], rules: Rules
) -> Recut | NoRecut:
    """Re-cut a stretch of swale with the least digging.

    The area dug at a station is a convex function of the new bottom there, and limits and slopes are linear, so
    the least is found by tangents: a linear program, to which tangents are added where it landed until its own
    bound and what its answer really takes agree. Volumes are by average end areas.

    References
    ----------
    .. [1] J. E. Kelley, "The cutting-plane method for solving convex programs", J. SIAM 8(4), 1960, pp. 703-712.
    """
    if len(sections) < 2:
        raise GeometryError("a re-cut needs two stations or more: set a smaller spacing or draw the swale longer")
    station = np.array([section.station for section in sections])
    lowest, highest, why_low, why_high = _bounds(sections, limits, rules)
    slope, conflict = _steepest(station, lowest, highest, rules["swale_slope"].likely)
    if slope is None:
        assert conflict is not None
        upper, lower = conflict
        return NoRecut(why_high[upper], why_low[lower], float(lowest[lower] - highest[upper]))
    # filling a low with what is dug costs little beside digging; without any cost it would not be least
    fill_cost = rules["swale_fill_cost"].likely
    bottom, bound = _least(sections, station, lowest, highest, slope, fill_cost)
    lengths = _lengths(station)
    area = np.array([section.dug(level) for section, level in zip(sections, bottom, strict=True)])
    filled = np.array([section.filled(level) for section, level in zip(sections, bottom, strict=True)])
    cost = float(lengths @ (area + fill_cost * filled))
    pieces = np.concatenate([[0.0], (area[1:] + area[:-1]) / 2.0 * np.diff(station)])
    binding = () if conflict is None else (why_high[conflict[0]], why_low[conflict[1]])
    return Recut(
        station,
        np.array([section.ground for section in sections]),
        bottom,
        area,
        np.cumsum(pieces),
        float(lengths @ filled),
        slope,
        conflict is None,
        max(cost - bound, 0.0) / max(cost, 1e-9),
        binding,
    )


def _bounds(
    sections: Sequence[RecutSection], limits: Sequence[LevelLimit], rules: Rules
) -> tuple[FloatArray, FloatArray, list[Binding], list[Binding]]:
    """Lowest and highest bottom at each station, and what sets each."""
    max_depth, max_top_width = rules["swale_max_depth"].likely, rules["swale_max_top_width"].likely
    station = np.array([section.station for section in sections])
    lowest = np.empty(len(sections))
    highest = np.array([section.ground + rules["swale_fill"].likely for section in sections])
    why_low: list[Binding] = []
    why_high: list[Binding] = []
    for index, section in enumerate(sections):
        deep, wide = section.bank - max_depth, section.lowest_for_width(max_top_width)
        lowest[index] = max(deep, wide)
        what = reason("swale_limit_depth") if deep >= wide else reason("swale_limit_top_width")
        why_low.append((what, section.station))
        why_high.append((reason("swale_limit_low_ground"), section.station))
    for limit in limits:
        index = int(np.argmin(np.abs(station - limit.station)))
        why = (limit.why, float(station[index]))
        # a fixed level holds even where the ground or the rules would have it otherwise
        fixed = limit.lowest == limit.highest
        if fixed or limit.lowest > lowest[index]:
            lowest[index], why_low[index] = limit.lowest, why
        if fixed or limit.highest < highest[index]:
            highest[index], why_high[index] = limit.highest, why
    # ground already deeper or wider than allowed is left as it is
    lowest = np.minimum(lowest, np.maximum(highest, [section.ground for section in sections]))
    return np.minimum(lowest, highest), highest, why_low, why_high


def _steepest(
    station: FloatArray, lowest: FloatArray, highest: FloatArray, wanted: float
) -> tuple[float | None, tuple[int, int] | None]:
    """The slope wanted, or the steepest there is and the two stations between which it binds; None below level."""
    run = station[None, :] - station[:, None]
    later = run > 0.0
    fall = np.where(later, (highest[:, None] - lowest[None, :]) / np.where(later, run, 1.0), np.inf)
    tightest = int(np.argmin(fall))
    upper, lower = divmod(tightest, len(station))
    slope = float(fall[upper, lower])
    if slope >= wanted:
        return wanted, None
    return (slope if slope >= 0.0 else None), (upper, lower)


def _lengths(station: FloatArray) -> FloatArray:
    """Length of swale that each station stands for."""
    lengths = np.zeros(len(station))
    lengths[1:] += np.diff(station) / 2.0
    lengths[:-1] += np.diff(station) / 2.0
    return lengths


def _least(
    sections: Sequence[RecutSection],
    station: FloatArray,
    lowest: FloatArray,
    highest: FloatArray,
    slope: float,
    fill_cost: float,
) -> tuple[FloatArray, float]:
    """Bottom of least cost, and a bound that no bottom costs less than."""
    count = len(sections)
    lengths = _lengths(station)
    # unknowns: the bottom below its highest, then the cost of each station
    tangents: list[tuple[int, float, float]] = []
    for index, section in enumerate(sections):
        for level in np.linspace(lowest[index], highest[index], 5 if highest[index] > lowest[index] else 1):
            tangents.append((index, *section.tangent(float(level), fill_cost)))
    falls = coo_matrix(
        (
            np.concatenate([np.ones(count - 1), -np.ones(count - 1)]),
            (np.tile(np.arange(count - 1), 2), np.concatenate([np.arange(1, count), np.arange(count - 1)])),
        ),
        shape=(count - 1, 2 * count),
    )
    # a hair's breadth lets a bottom that just fits pass the solver
    drops = -slope * np.diff(station) + 1e-9
    bounds = [(float(low), float(high)) for low, high in zip(lowest, highest, strict=True)] + [(0.0, None)] * count
    best, best_cost, bound = highest, np.inf, 0.0
    for _ in range(_ROUNDS):
        rows = np.arange(len(tangents))
        which = np.array([index for index, _, _ in tangents])
        slopes = np.array([gradient for _, _, gradient in tangents])
        offsets = np.array([value for _, value, _ in tangents])
        cuts = coo_matrix(
            (np.concatenate([slopes, -np.ones(len(rows))]), (np.tile(rows, 2), np.concatenate([which, count + which]))),
            shape=(len(rows), 2 * count),
        )
        found = linprog(
            np.concatenate([np.zeros(count), lengths]),
            A_ub=vstack([cuts, falls]).tocsr(),
            b_ub=np.concatenate([-offsets, drops]),
            bounds=bounds,
        )
        if found.x is None:
            raise GeometryError(f"the re-cut could not be solved ({found.message}); give other limits")
        bottom = np.clip(found.x[:count], lowest, highest)
        cost = float(
            sum(
                length * section.cost(float(level), fill_cost)
                for length, section, level in zip(lengths, sections, bottom, strict=True)
            )
        )
        bound = max(bound, float(found.fun))
        if cost < best_cost:
            best, best_cost = bottom, cost
        if best_cost - bound <= _GAP * max(best_cost, 1e-6):
            break
        for index, section in enumerate(sections):
            tangents.append((index, *section.tangent(float(bottom[index]), fill_cost)))
    return best, bound
