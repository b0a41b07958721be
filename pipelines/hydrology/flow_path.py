"""Time of concentration along the flow path that the ground gives."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipelines.hydrology.errors import FlowPathError
from pipelines.hydrology.time_of_concentration import (
    FLAT,
    FLAT_ADDITION,
    LEAST_TIME,
    SHEET_LIMIT,
    shallow_velocity,
    sheet_flow_limit,
    sheet_flow_time,
    slope_on_flats,
    travel_surface,
)
from pipelines.inputs.limits import require_positive
from pipelines.inputs.rules import Rules
from terrain.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class TravelRules:
    """What travel time is reckoned by.

    Attributes
    ----------
    least_time : float
        Floor of a time of concentration. [s]
    sheet_limit : float
        Longest sheet flow. [m]
    flat_slope, flat_addition : float
        Ground up to the one counts as flat, and gets the other on top. [-]
    pond_depth : float
        A shallower dip along a path is a puddle or the lidar's noise; common practice, no source. [m]
    """

    least_time: float = LEAST_TIME
    sheet_limit: float = SHEET_LIMIT
    flat_slope: float = FLAT
    flat_addition: float = FLAT_ADDITION
    pond_depth: float = 0.05

    def slope(self, ground: float) -> float:
        """Slope that the time is reckoned with. [-]"""
        return slope_on_flats(ground, flat=self.flat_slope, addition=self.flat_addition)


PUBLISHED = TravelRules()


def travel_rules(rules: Rules) -> TravelRules:
    """What the rules of the trade say of travel time."""
    return TravelRules(
        least_time=rules["least_time_of_concentration"].likely,
        sheet_limit=rules["longest_sheet_flow"].likely,
        flat_slope=rules["flat_slope"].likely,
        flat_addition=rules["flat_slope_added"].likely,
        pond_depth=rules["pond_on_path"].likely,
    )


@dataclass(frozen=True, slots=True)
class Travel:
    """A flow path, ponds left out, and the time along it.

    Attributes
    ----------
    length, slope : float
        Its length, and fall over length. [m], [-]
    time_of_concentration : float
        [s]
    """

    length: float
    slope: float
    time_of_concentration: float


def along_path(
    distance: FloatArray,
    elevation: FloatArray,
    surfaces: Sequence[str],
    *,
    two_year_24h_depth: float,
    rules: TravelRules = PUBLISHED,
) -> Travel:
    """Time of concentration along a path: sheet flow, then shallow concentrated flow.

    Where the ground dips far enough below what lies further down, water stands, and takes no time.

    Parameters
    ----------
    distance : (n + 1,) float ndarray
        From the top of the path, not falling. [m]
    elevation : (n + 1,) float ndarray
        Ground along the path. [m]
    surfaces : sequence of str
        Surface of each of the n segments.
    two_year_24h_depth : float
        Rain of 24 hours and 2 years. [m]
    rules : TravelRules
        Its limits.

    Returns
    -------
    Travel
        The path and its time. [s]

    Raises
    ------
    FlowPathError
        If the arrays don't fit each other, or distances fall, or a number is not finite.
    SurfaceError
        If a surface is unknown.

    References
    ----------
    .. [1] NRCS, TR-55, 2nd ed., 1986, ch. 3; National Engineering Handbook part 630, ch. 15, 2010, velocity method.
    .. [2] That ponds are no part of the path: common practice, no source.
    """
    _check(distance, elevation, surfaces)
    require_positive(FlowPathError, two_year_24h_depth=two_year_24h_depth, least_time=rules.least_time)
    filled = np.maximum.accumulate(elevation[::-1])[::-1]
    ponded = _ponds(filled - elevation, rules.pond_depth)
    lengths = np.where(ponded, 0.0, np.diff(distance))
    falls = np.where(ponded, 0.0, -np.diff(filled))
    length = float(lengths.sum())
    sheet_length, time = _sheet(lengths, falls, surfaces, two_year_24h_depth, rules)
    rest = _past(lengths, sheet_length)
    for first, last in _runs(surfaces):
        run = float(rest[first:last].sum())
        whole = float(lengths[first:last].sum())
        if run <= 0.0:
            continue
        slope = rules.slope(float(falls[first:last].sum()) / whole)
        time += run / shallow_velocity(surfaces[first], slope)
    return Travel(
        length=length,
        slope=float(falls.sum()) / length if length > 0.0 else 0.0,
        time_of_concentration=max(time, rules.least_time),
    )


def _ponds(depth: FloatArray, least: float) -> BoolArray:
    """Segments through dips that are deep enough somewhere, from the depth at each point."""
    wet = depth > 0.0
    dip = np.cumsum(np.concatenate([[0], np.diff(wet.astype(np.int64)) == 1])) * wet - ~wet
    deep = np.zeros(int(dip.max()) + 2, dtype=np.bool_)
    np.logical_or.at(deep, dip[wet], depth[wet] >= least)
    pond = wet & deep[dip]
    through: BoolArray = pond[:-1] | pond[1:]
    return through


def _sheet(
    lengths: FloatArray, falls: FloatArray, surfaces: Sequence[str], two_year_24h_depth: float, rules: TravelRules
) -> tuple[float, float]:
    """Length and time of the sheet flow at the top of the path."""
    reach = min(rules.sheet_limit, float(lengths.sum()))
    if reach <= 0.0:
        return 0.0, 0.0
    slope, roughness = _mean_of_reach(lengths, falls, surfaces, reach)
    reach = min(reach, sheet_flow_limit(rules.slope(slope), roughness, longest=rules.sheet_limit))
    slope, roughness = _mean_of_reach(lengths, falls, surfaces, reach)
    return reach, sheet_flow_time(reach, rules.slope(slope), roughness, two_year_24h_depth)


def _mean_of_reach(
    lengths: FloatArray, falls: FloatArray, surfaces: Sequence[str], reach: float
) -> tuple[float, float]:
    """Slope of the ground and mean roughness of the top of a path."""
    within = lengths - _past(lengths, reach)
    share = np.divide(within, lengths, out=np.zeros_like(lengths), where=lengths > 0.0)
    roughness = sum(
        part * travel_surface(surface).sheet_roughness
        for part, surface in zip(within, surfaces, strict=True)
        if part > 0.0
    )
    return float((falls * share).sum()) / reach, float(roughness) / reach


def _past(lengths: FloatArray, reach: float) -> FloatArray:
    """The part of each segment that lies past a distance from the top."""
    ends = np.cumsum(lengths)
    return np.clip(ends - reach, 0.0, lengths)


def _runs(surfaces: Sequence[str]) -> list[tuple[int, int]]:
    """First and past-the-last index of each run of one surface."""
    edges = [0, *(k for k in range(1, len(surfaces)) if surfaces[k] != surfaces[k - 1]), len(surfaces)]
    return list(pairwise(edges))


def _check(distance: FloatArray, elevation: FloatArray, surfaces: Sequence[str]) -> None:
    count = len(surfaces)
    if count == 0 or distance.shape != (count + 1,) or elevation.shape != (count + 1,):
        raise FlowPathError(
            f"a flow path of {count} segments with {distance.size} distances and {elevation.size} elevations: "
            "give at least one segment, and one distance and elevation more than segments"
        )
    if not (np.isfinite(distance).all() and np.isfinite(elevation).all()):
        raise FlowPathError("a flow path holds a distance or elevation that is not finite: end it at known ground")
    if (np.diff(distance) < 0.0).any():
        raise FlowPathError("distances along a flow path fall: give them from its top downstream")
