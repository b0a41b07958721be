"""Water surface along a channel of measured sections, by the standard step from its lower end."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from pipelines.hydraulics.channel.drive_crossing import CrossingFlow, DriveCrossing, crossing_flow
from pipelines.hydraulics.channel.open_channel import CrossSection, WettedSection, wetted_section
from pipelines.hydraulics.channel.wet_kernel import wet_table
from pipelines.hydraulics.constants import GRAVITY
from pipelines.hydraulics.errors import HydraulicsError
from terrain.arrays import BoolArray, FloatArray
from terrain.kept import kept

# Heights at which each section is measured once, closer together near its bottom.
_LEVELS = 64
# Powers of depth that area, critical flow and conveyance of a triangle go with: their roots lie almost on straight
# lines between two heights, so that reading between them is as good as measuring.
_AREA, _CRITICAL, _CONVEYANCE = 1.0 / 2.0, 2.0 / 5.0, 3.0 / 8.0


@dataclass(frozen=True, slots=True, eq=False)
class Channel:
    """A channel as a row of sections, measured once for many flows; made by `make_channel`.

    Attributes
    ----------
    station : (n,) float ndarray
        Distance downstream of each section, increasing. [m]
    sections : tuple of CrossSection
        Downstream.
    levels : (n, k) float ndarray
        Heights at which each is measured. [m]
    area, critical, conveyance : (n, k) float ndarray
        Area, critical flow, and flow over the root of the slope at each height, as roots: to the power of 1/2, 2/5
        and 3/8, which go with depth. [-]
    """

    station: FloatArray
    sections: tuple[CrossSection, ...]
    levels: FloatArray
    area: FloatArray
    critical: FloatArray
    conveyance: FloatArray


@dataclass(frozen=True, slots=True)
class Downstream:
    """What holds the water at the lower end: a level, or normal flow on a slope, or a free fall.

    Attributes
    ----------
    level : float or None
        Known level; below the critical level the latter holds. [m]
    slope : float or None
        Of normal flow, where no level is known; None for a free fall, the critical level. [-]
    """

    level: float | None = None
    slope: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class WaterSurface:
    """Levels of one flow along a channel.

    Attributes
    ----------
    flow, level, velocity, froude : (n,) float ndarray
        At each section. [m3/s], [m], [m/s], [-]
    critical : (n,) bool ndarray
        Where the flow would shoot, or a drop frees it, and the critical level is given instead: the higher of two.
    crossings : dict of int to CrossingFlow
        Of each drive, by the section just above it.
    """

    flow: FloatArray
    level: FloatArray
    velocity: FloatArray
    froude: FloatArray
    critical: BoolArray
    crossings: dict[int, CrossingFlow]


def make_channel(station: Sequence[float] | FloatArray, sections: Sequence[CrossSection]) -> Channel:
    """Measure sections at many heights, once."""
    at = np.asarray(station, dtype=np.float64)
    if len(at) != len(sections) or len(at) == 0 or not np.all(np.diff(at) > 0):
        raise HydraulicsError(
            f"a channel needs one section at each station, stations increasing downstream; here are {len(at)} stations"
            f" and {len(sections)} sections"
        )
    shape = (len(at), _LEVELS)
    levels, area, critical, conveyance = (np.empty(shape) for _ in range(4))
    rising = np.linspace(0.0, 1.0, _LEVELS) ** 1.5
    for index, section in enumerate(sections):
        height = max(float(section.elevation.max()) - section.lowest, 0.1) * 1.5
        levels[index] = section.lowest + height * rising
        wet, width, perimeter, weighted = wet_table(
            section.station, section.elevation, section.roughness, levels[index]
        )
        # as of `wetted_section`, all heights together; what is dry has no width to divide by
        wetted = np.maximum(perimeter, np.finfo(np.float64).tiny)
        area[index] = wet
        critical[index] = wet * np.sqrt(GRAVITY * wet / np.where(width > 0.0, width, np.inf))
        roughness = np.where(perimeter > 0.0, (weighted / wetted) ** (2 / 3), np.inf)
        conveyance[index] = wet * (wet / wetted) ** (2 / 3) / roughness
    # behind a bank that is just passed the width jumps; a level is looked up as the lowest that carries the flow
    critical, conveyance = np.maximum.accumulate(critical, axis=1), np.maximum.accumulate(conveyance, axis=1)
    return Channel(at, tuple(sections), levels, area**_AREA, critical**_CRITICAL, conveyance**_CONVEYANCE)


def normal_levels(channel: Channel, flow: FloatArray, slope: FloatArray) -> FloatArray:
    """Levels of uniform flow at each section.

    Parameters
    ----------
    channel : Channel
        The channel.
    flow : (n,) float ndarray
        [m3/s]
    slope : (n,) float ndarray
        Of the bottom; not above zero where it is level or adverse. [-]

    Returns
    -------
    (n,) float ndarray
        NaN where the bottom does not fall. [m]

    References
    ----------
    .. [1] Chow, "Open-Channel Hydraulics", 1959, ch. 6.
    """
    found = np.full(len(channel.station), np.nan)
    for index in np.flatnonzero(slope > 0.0):
        found[index] = _normal_level(channel, int(index), float(flow[index]), float(slope[index]))
    return found


def capacity_at(channel: Channel, level: FloatArray, slope: FloatArray) -> FloatArray:
    """Uniform flow at given levels.

    Parameters
    ----------
    channel : Channel
        The channel.
    level : (n,) float ndarray
        One at each section. [m]
    slope : (n,) float ndarray
        Of the bottom; not above zero where it is level or adverse. [-]

    Returns
    -------
    (n,) float ndarray
        0 where the bottom does not fall or the section is dry. [m3/s]

    References
    ----------
    .. [1] Chow, "Open-Channel Hydraulics", 1959, ch. 6.
    """
    carried = [
        wetted_section(section, float(at)).conveyance for section, at in zip(channel.sections, level, strict=True)
    ]
    capacity: FloatArray = np.asarray(carried) * np.sqrt(np.maximum(slope, 0.0))
    return capacity


@kept
def water_surface(
    channel: Channel,
    flow: FloatArray,
    downstream: Downstream,
    *,
    crossings: Mapping[int, DriveCrossing] | None = None,
    contraction: float = 0.1,
    expansion: float = 0.3,
    energy_factor: float = 1.0,
) -> WaterSurface:
    """Levels of a flow along a channel, step by step upstream from what holds it at the lower end.

    Between two sections the energy lost is the friction slope of their mean flow at their mean conveyance times the
    distance, and a share of the change of velocity head. Where the energy at the lower section does not suffice for
    tranquil flow at the upper one, the upper one is set to its critical level, which lies above that of shooting
    flow. At a drive the level above it is what its culvert and the drive itself need to pass the flow.

    Parameters
    ----------
    channel : Channel
        The channel.
    flow : (n,) float ndarray
        At each section. [m3/s]
    downstream : Downstream
        What holds the water at the lower end.
    crossings : mapping of int to DriveCrossing, optional
        Drives, by the section just above each; the next section lies just below it.
    contraction, expansion : float
        Share of the change of velocity head that is lost. [-]
    energy_factor : float
        Energy coefficient alpha of the velocity head. [-]

    Returns
    -------
    WaterSurface
        [m3/s], [m], [m/s], [-]

    Raises
    ------
    HydraulicsError
        If a flow is negative or not finite, or a drive stands at the lowest section.

    Notes
    -----
    z1 + a V1^2/2g = z2 + a V2^2/2g + L ((Q1 + Q2)/(K1 + K2))^2 + C |a V2^2/2g - a V1^2/2g|, 1 above 2. The mean of the
    friction slopes instead is as good on a backwater, but far too steep just above a free fall, where a small flow
    would then stand higher than a large one. The shares C are common practice, no source.

    References
    ----------
    .. [1] Chow, "Open-Channel Hydraulics", 1959, sec. 10-4 and 10-5, eq. 10-46 to 10-51; the mean conveyance: USACE,
       "River Hydraulics", EM 1110-2-1416, 1993, ch. 6, from memory.
    """
    flow = np.asarray(flow, dtype=np.float64)
    crossings = crossings or {}
    count = len(channel.station)
    if flow.shape != (count,) or not np.all(np.isfinite(flow)) or (flow < 0.0).any():
        raise HydraulicsError(f"flows along the channel must be {count} finite numbers of 0 or above")
    if any(not 0 <= index < count - 1 for index in crossings):
        raise HydraulicsError("a drive must stand between two sections: it has none below it")
    level = np.empty(count)
    held = np.zeros(count, dtype=np.bool_)
    passed: dict[int, CrossingFlow] = {}
    level[-1], held[-1] = _start(channel, float(flow[-1]), downstream)
    losses = (contraction, expansion, energy_factor)
    for index in range(count - 2, -1, -1):
        lowest = _critical_level(channel, index, float(flow[index]))
        if index in crossings:
            passed[index] = crossing_flow(crossings[index], float(flow[index]), tailwater=float(level[index + 1]))
            level[index] = max(passed[index].headwater, lowest)
            held[index] = level[index] == lowest and flow[index] > 0.0
        else:
            level[index], held[index] = _step_up(channel, index, flow, float(level[index + 1]), lowest, losses)
    return _surface(channel, flow, level, held, passed)


def _start(channel: Channel, flow: float, downstream: Downstream) -> tuple[float, bool]:
    last = len(channel.station) - 1
    critical = _critical_level(channel, last, flow)
    level = critical
    if downstream.level is not None:
        level = max(downstream.level, critical)
    elif downstream.slope is not None and downstream.slope > 0.0:
        level = max(_normal_level(channel, last, flow, downstream.slope), critical)
    return level, level == critical and flow > 0.0


def _critical_flow(wet: WettedSection) -> float:
    return wet.area * float(np.sqrt(GRAVITY * wet.hydraulic_depth))


def _critical_level(channel: Channel, index: int, flow: float) -> float:
    section = channel.sections[index]
    return _look_up(
        channel, channel.critical[index], index, flow**_CRITICAL,
        lambda level: _critical_flow(wetted_section(section, level)) ** _CRITICAL,
    )  # fmt: skip


def _normal_level(channel: Channel, index: int, flow: float, slope: float) -> float:
    section = channel.sections[index]
    return _look_up(
        channel, channel.conveyance[index], index, (flow / float(np.sqrt(slope))) ** _CONVEYANCE,
        lambda level: wetted_section(section, level).conveyance ** _CONVEYANCE,
    )  # fmt: skip


def _look_up(
    channel: Channel, roots: FloatArray, index: int, wanted: float, measure: Callable[[float], float]
) -> float:
    """Lowest level at which a root reaches what is wanted; above the heights measured it is measured anew."""
    levels = channel.levels[index]
    if wanted <= 0.0:
        return channel.sections[index].lowest
    if wanted > roots[-1]:
        low, high = float(levels[-1]), float(levels[-1]) + 1.0
        while measure(high) < wanted:
            high += high - low
        return float(brentq(lambda level: measure(level) - wanted, low, high, xtol=1e-6))
    above = int(np.searchsorted(roots, wanted))
    rise = float(roots[above] - roots[above - 1])
    share = (wanted - float(roots[above - 1])) / rise if rise > 0.0 else 1.0
    return float(levels[above - 1] + share * (levels[above] - levels[above - 1]))


def _step_up(
    channel: Channel,
    index: int,
    flow: FloatArray,
    level_below: float,
    lowest: float,
    losses: tuple[float, float, float],
) -> tuple[float, bool]:
    contraction, expansion, alpha = losses
    length = float(channel.station[index + 1] - channel.station[index])
    head_below, conveyance_below = _energy(channel, index + 1, level_below, float(flow[index + 1]), alpha)
    both = float(flow[index] + flow[index + 1])
    if flow[index] <= 0.0:
        return max(lowest, level_below), False

    def spare(level: float) -> float:
        head, conveyance = _energy(channel, index, level, float(flow[index]), alpha)
        change = head_below - head
        share = expansion if change < 0.0 else contraction
        lost = length * (both / (conveyance + conveyance_below)) ** 2 + share * abs(change)
        return level + head - (level_below + head_below + lost)

    if spare(lowest) >= 0.0:
        return lowest, True
    low, high = lowest, max(level_below, lowest) + 0.05
    while spare(high) < 0.0:
        low, high = high, high + 2.0 * (high - lowest) + 0.05
    return float(brentq(spare, low, high, xtol=1e-6)), False


def _energy(channel: Channel, index: int, level: float, flow: float, alpha: float) -> tuple[float, float]:
    """Velocity head of a flow at a level, and the conveyance there."""
    levels = channel.levels[index]
    if level > levels[-1]:
        wet = wetted_section(channel.sections[index], level)
        area, conveyance = wet.area, wet.conveyance
    else:
        above = max(int(np.searchsorted(levels, level)), 1)
        share = float((level - levels[above - 1]) / (levels[above] - levels[above - 1]))
        area, conveyance = (
            float(roots[above - 1] + share * (roots[above] - roots[above - 1])) ** (1.0 / power)
            for roots, power in ((channel.area[index], _AREA), (channel.conveyance[index], _CONVEYANCE))
        )
    return alpha * (flow / area) ** 2 / (2.0 * GRAVITY) if flow > 0.0 else 0.0, conveyance


def _surface(
    channel: Channel, flow: FloatArray, level: FloatArray, held: BoolArray, passed: dict[int, CrossingFlow]
) -> WaterSurface:
    velocity, froude = np.zeros(len(flow)), np.zeros(len(flow))
    for index in np.flatnonzero(flow > 0.0):
        wet = wetted_section(channel.sections[index], float(level[index]))
        velocity[index] = flow[index] / wet.area
        froude[index] = velocity[index] / np.sqrt(GRAVITY * wet.hydraulic_depth)
    return WaterSurface(flow, level, velocity, froude, held, passed)
