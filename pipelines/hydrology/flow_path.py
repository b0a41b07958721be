"""Time of concentration along the flow path that the ground gives."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipelines.hydrology.errors import FlowPathError
from pipelines.hydrology.time_of_concentration import (
    LEAST_TIME,
    SHEET_LIMIT,
    channel_velocity_manning,
    sheet_flow_limit,
    sheet_flow_time,
    slope_on_flats,
    travel_surface,
)
from pipelines.inputs.limits import require_positive
from terrain.arrays import BoolArray, FloatArray

POND_DEPTH = 0.05
"""A shallower dip along a path is a puddle or the lidar's noise. Common practice, no source. [m]"""
CHANNEL = "channel"
"""Surface key of a segment that runs in a channel."""


@dataclass(frozen=True, slots=True)
class Travel:
    """Where the time along a flow path goes.

    Attributes
    ----------
    length, slope : float
        Of the whole path, ponds excluded: metres, and fall over length. [m], [-]
    ponded_length : float
        Of the path through ponds, which takes no time here. [m]
    sheet_length, sheet_time : float
        [m], [s]
    shallow_length, shallow_time : float
        [m], [s]
    channel_length, channel_time : float
        [m], [s]
    time_of_concentration : float
        Their sum, at least the floor. [s]
    """

    length: float
    slope: float
    ponded_length: float
    sheet_length: float
    sheet_time: float
    shallow_length: float
    shallow_time: float
    channel_length: float
    channel_time: float
    time_of_concentration: float


def along_path(
    distance: FloatArray,
    elevation: FloatArray,
    surfaces: Sequence[str],
    *,
    two_year_24h_depth: float,
    ponded: BoolArray | None = None,
    channel_radius: float = 0.15,
    channel_roughness: float = 0.05,
    least_time: float = LEAST_TIME,
) -> Travel:
    """Time of concentration along a path: sheet flow, then shallow concentrated or channel flow.

    Parameters
    ----------
    distance : (n + 1,) float ndarray
        From the top of the path, not falling. [m]
    elevation : (n + 1,) float ndarray
        Ground along the path. [m]
    surfaces : sequence of str
        Surface of each of the n segments; `channel` where it runs in a channel.
    two_year_24h_depth : float
        Rain of 24 hours and 2 years. [m]
    ponded : (n,) bool ndarray or None
        Segments under standing water. None finds them: where the ground dips 5 cm or more below what lies further down.
    channel_radius, channel_roughness : float
        Hydraulic radius [m] and Manning's n [-] of channels, by default of a small grassed swale.
    least_time : float
        Floor of the answer. [s]

    Returns
    -------
    Travel
        The time [s] and its parts.

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
    _check(distance, elevation, surfaces, ponded)
    require_positive(FlowPathError, two_year_24h_depth=two_year_24h_depth, least_time=least_time)
    filled = np.maximum.accumulate(elevation[::-1])[::-1]
    if ponded is None:
        ponded = _ponds(filled - elevation)
    lengths = np.where(ponded, 0.0, np.diff(distance))
    falls = np.where(ponded, 0.0, -np.diff(filled))
    length = float(lengths.sum())
    sheet_length, sheet_time = _sheet(lengths, falls, surfaces, two_year_24h_depth)
    rest = _past(lengths, sheet_length)
    in_channel = np.array([surface == CHANNEL for surface in surfaces], dtype=bool)
    shallow_time = channel_time = 0.0
    for first, last in _runs(surfaces):
        run = float(rest[first:last].sum())
        whole = float(lengths[first:last].sum())
        if run <= 0.0:
            continue
        slope = slope_on_flats(float(falls[first:last].sum()) / whole)
        if in_channel[first]:
            channel_time += run / channel_velocity_manning(channel_radius, slope, channel_roughness)
        else:
            shallow_time += run / (travel_surface(surfaces[first]).shallow_velocity * slope**0.5)
    total = sheet_time + shallow_time + channel_time
    return Travel(
        length=length,
        slope=float(falls.sum()) / length if length > 0.0 else 0.0,
        ponded_length=float(distance[-1] - distance[0]) - length,
        sheet_length=sheet_length,
        sheet_time=sheet_time,
        shallow_length=float(rest[~in_channel].sum()),
        shallow_time=shallow_time,
        channel_length=float(rest[in_channel].sum()),
        channel_time=channel_time,
        time_of_concentration=max(total, least_time),
    )


def _ponds(depth: FloatArray) -> BoolArray:
    """Segments through dips that are deep enough somewhere, from the depth at each point."""
    wet = depth > 0.0
    dip = np.cumsum(np.concatenate([[0], np.diff(wet.astype(np.int64)) == 1])) * wet - ~wet
    deep = np.zeros(int(dip.max()) + 2, dtype=np.bool_)
    np.logical_or.at(deep, dip[wet], depth[wet] >= POND_DEPTH)
    pond = wet & deep[dip]
    through: BoolArray = pond[:-1] | pond[1:]
    return through


def _sheet(
    lengths: FloatArray, falls: FloatArray, surfaces: Sequence[str], two_year_24h_depth: float
) -> tuple[float, float]:
    """Length and time of the sheet flow at the top of the path, which ends where a channel begins."""
    stop = next((k for k, surface in enumerate(surfaces) if surface == CHANNEL), len(surfaces))
    reach = min(SHEET_LIMIT, float(lengths[:stop].sum()))
    if reach <= 0.0:
        return 0.0, 0.0
    slope, roughness = _mean_of_reach(lengths, falls, surfaces, reach)
    reach = min(reach, sheet_flow_limit(slope, roughness))
    slope, roughness = _mean_of_reach(lengths, falls, surfaces, reach)
    return reach, sheet_flow_time(reach, slope, roughness, two_year_24h_depth)


def _mean_of_reach(
    lengths: FloatArray, falls: FloatArray, surfaces: Sequence[str], reach: float
) -> tuple[float, float]:
    within = lengths - _past(lengths, reach)
    share = np.divide(within, lengths, out=np.zeros_like(lengths), where=lengths > 0.0)
    roughness = sum(
        part * travel_surface(surface).sheet_roughness
        for part, surface in zip(within, surfaces, strict=True)
        if part > 0.0
    )
    return slope_on_flats(float((falls * share).sum()) / reach), float(roughness) / reach


def _past(lengths: FloatArray, reach: float) -> FloatArray:
    """The part of each segment that lies past a distance from the top."""
    ends = np.cumsum(lengths)
    return np.clip(ends - reach, 0.0, lengths)


def _runs(surfaces: Sequence[str]) -> list[tuple[int, int]]:
    """First and past-the-last index of each run of one surface."""
    edges = [0, *(k for k in range(1, len(surfaces)) if surfaces[k] != surfaces[k - 1]), len(surfaces)]
    return list(pairwise(edges))


def _check(distance: FloatArray, elevation: FloatArray, surfaces: Sequence[str], ponded: BoolArray | None) -> None:
    count = len(surfaces)
    if count == 0 or distance.shape != (count + 1,) or elevation.shape != (count + 1,):
        raise FlowPathError(
            f"a flow path of {count} segments with {distance.size} distances and {elevation.size} elevations: "
            "give at least one segment, and one distance and elevation more than segments"
        )
    if ponded is not None and ponded.shape != (count,):
        raise FlowPathError(f"{ponded.size} ponded marks for {count} segments of a flow path: give one a segment")
    if not (np.isfinite(distance).all() and np.isfinite(elevation).all()):
        raise FlowPathError("a flow path holds a distance or elevation that is not finite: end it at known ground")
    if (np.diff(distance) < 0.0).any():
        raise FlowPathError("distances along a flow path fall: give them from its top downstream")
