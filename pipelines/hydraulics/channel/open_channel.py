"""Open channel of any measured cross-section: what it carries at a level, and at what level it carries a flow."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.optimize import brentq

from pipelines.hydraulics.constants import GRAVITY, UNIT_WEIGHT_OF_WATER
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_finite, require_not_negative, require_positive
from pipelines.hydraulics.manning import velocity_manning
from terrain.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class CrossSection:
    """A measured section, looking downstream; made by `cross_section`.

    Attributes
    ----------
    station : (n,) float ndarray
        Distance across, never falling. [m]
    elevation : (n,) float ndarray
        Ground at each. [m]
    roughness : (n - 1,) float ndarray
        Manning's n between neighbouring points. [-]
    """

    station: FloatArray
    elevation: FloatArray
    roughness: FloatArray

    @property
    def lowest(self) -> float:
        """[m]"""
        return float(self.elevation.min())

    @property
    def lower_bank(self) -> float:
        """Level at which water leaves it, the lower of the highest points on either side of the lowest. [m]"""
        bottom = int(self.elevation.argmin())
        return float(min(self.elevation[: bottom + 1].max(), self.elevation[bottom:].max()))


@dataclass(frozen=True, slots=True)
class WettedSection:
    """The part of a section that holds water.

    Attributes
    ----------
    stage, area, perimeter, top_width : float
        [m], [m2], [m], [m]
    roughness : float
        Composite Manning's n. [-]
    overtopped : bool
        The level stands above the lower bank; water is held in by upright walls that are not there.
    """

    stage: float
    area: float
    perimeter: float
    top_width: float
    roughness: float
    overtopped: bool

    @property
    def hydraulic_radius(self) -> float:
        """[m]"""
        return self.area / self.perimeter if self.perimeter > 0 else 0.0

    @property
    def hydraulic_depth(self) -> float:
        """Area over top width. [m]"""
        return self.area / self.top_width if self.top_width > 0 else 0.0

    @property
    def conveyance(self) -> float:
        """Flow over the root of the slope. [m3/s]"""
        return self.area * velocity_manning(self.hydraulic_radius, 1.0, self.roughness) if self.area > 0 else 0.0


@dataclass(frozen=True, slots=True)
class ChannelFlow:
    """A flow in a channel at a level.

    Attributes
    ----------
    flow, stage, depth, velocity : float
        Depth above the lowest point. [m3/s], [m], [m], [m/s]
    froude : float
        Above 1 the flow is shooting. [-]
    shear : float
        Greatest on the bed: unit weight times depth times slope. [Pa]
    wetted : WettedSection
        The section at that level.
    """

    flow: float
    stage: float
    depth: float
    velocity: float
    froude: float
    shear: float
    wetted: WettedSection


def cross_section(
    station: Sequence[float] | FloatArray,
    elevation: Sequence[float] | FloatArray,
    roughness: float | Sequence[float] | FloatArray,
) -> CrossSection:
    """Section from points across."""
    x = np.array(station, dtype=np.float64)
    z = np.array(elevation, dtype=np.float64)
    if x.ndim != 1 or x.shape != z.shape or x.size < 3:
        raise HydraulicsError(f"a section needs three points or more, here are {x.size} stations and {z.size} heights")
    n = np.array(np.broadcast_to(np.asarray(roughness, dtype=np.float64), (x.size - 1,)))
    faults = [f"point {i + 1} is at {x[i]}, {z[i]}, not finite" for i in range(x.size) if not np.isfinite(x[i] + z[i])]
    faults += [f"station of point {i + 2} falls back" for i in range(x.size - 1) if x[i + 1] < x[i]]
    faults += [f"n after point {i + 1} is {n[i]}" for i in range(n.size) if not (np.isfinite(n[i]) and n[i] > 0)]
    if faults:
        raise HydraulicsError("cross-section: " + "; ".join(faults))
    return CrossSection(x, z, n)


def trapezoid_section(bottom_width: float, side_slope: float, depth: float, roughness: float) -> CrossSection:
    """Trapezoid with its bottom at elevation 0; a triangle with no bottom width, a rectangle with side slope 0."""
    require_not_negative(bottom_width=bottom_width, side_slope=side_slope)
    require_positive(depth=depth)
    if bottom_width == 0 and side_slope == 0:
        raise HydraulicsError("bottom width and side slope are both 0: that is no channel")
    run = side_slope * depth
    return cross_section([0.0, run, run + bottom_width, 2 * run + bottom_width], [depth, 0.0, 0.0, depth], roughness)


def wetted_section(section: CrossSection, stage: float) -> WettedSection:
    """Area, perimeter, top width and composite roughness of a section filled to a level.

    Only ground in one piece with the lowest point is wet: a low place behind a bank stays dry until the bank is passed.
    Above an end of the section water is held by an upright wall there, which counts as wetted; `overtopped` says so.

    Parameters
    ----------
    section : CrossSection
        The section.
    stage : float
        Level of the water. [m]

    Returns
    -------
    WettedSection
        [m2], [m], [m]

    Raises
    ------
    HydraulicsError
        If the level is not finite.

    Notes
    -----
    Composite n by Horton and Einstein: n = (sum(P_i n_i^1.5) / sum(P_i))^(2/3).

    References
    ----------
    .. [1] USACE Coastal and Hydraulics Laboratory, text on composite roughness, eq. 2-26.
    """
    require_finite(stage=stage)
    dry = WettedSection(stage, 0.0, 0.0, 0.0, float(section.roughness[0]), False)
    if stage <= section.lowest:
        return dry
    left, right = _wet_points(section, stage)
    x, z, n = section.station, section.elevation, section.roughness
    first, last = max(left - 1, 0), min(right + 1, x.size - 1)
    depth_a = np.maximum(stage - z[first:last], 0.0)
    depth_b = np.maximum(stage - z[first + 1 : last + 1], 0.0)
    run = np.diff(x[first : last + 1])
    rise = np.abs(np.diff(z[first : last + 1]))
    # a segment that leaves the water is wet over the share of its rise that lies below the level
    wet = np.where(rise > 0, np.abs(depth_a - depth_b) / np.where(rise > 0, rise, 1.0), 1.0)
    perimeters = wet * np.hypot(run, rise)
    weighted = float((perimeters * n[first:last] ** 1.5).sum())
    walls = [(stage - z[end], n[segment]) for end, segment in ((0, 0), (x.size - 1, -1)) if left <= end <= right]
    perimeter = float(perimeters.sum()) + float(sum(height for height, _ in walls))
    weighted += float(sum(height * rough**1.5 for height, rough in walls))
    return WettedSection(
        stage,
        float((wet * run * (depth_a + depth_b) / 2).sum()),
        perimeter,
        float((wet * run).sum()),
        (weighted / perimeter) ** (2 / 3),
        stage > section.lower_bank,
    )


def channel_discharge(section: CrossSection, stage: float, slope: float) -> float:
    """Uniform flow at a level: the capacity to that level.

    Parameters
    ----------
    section : CrossSection
        The section.
    stage : float
        [m]
    slope : float
        Of the bed; 0 carries nothing. [-]

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    HydraulicsError
        If the slope is negative, an adverse grade, or the level not finite.

    References
    ----------
    .. [1] Chow, "Open-Channel Hydraulics", 1959, ch. 6.
    """
    if slope < 0:
        raise HydraulicsError(f"slope is {slope}: on an adverse grade there is no uniform flow, use the standard step")
    require_not_negative(slope=slope)
    return wetted_section(section, stage).conveyance * sqrt(slope)


def normal_stage(section: CrossSection, flow: float, slope: float) -> float:
    """Level at which a channel carries a flow uniformly.

    Parameters
    ----------
    section : CrossSection
        The section.
    flow : float
        [m3/s]
    slope : float
        Above zero. [-]

    Returns
    -------
    float
        The lowest such level; above the lower bank where the section is too small. [m]

    Raises
    ------
    HydraulicsError
        If the flow is negative or the slope not above zero.

    References
    ----------
    .. [1] Chow, "Open-Channel Hydraulics", 1959, ch. 6.
    """
    require_not_negative(flow=flow)
    require_positive(slope=slope)
    return _lowest_root(section, lambda stage: channel_discharge(section, stage, slope) - flow)


def critical_stage(section: CrossSection, flow: float) -> float:
    """Level at which a flow passes a section with least energy.

    Parameters
    ----------
    section : CrossSection
        The section.
    flow : float
        [m3/s]

    Returns
    -------
    float
        [m]

    Raises
    ------
    HydraulicsError
        If the flow is negative.

    Notes
    -----
    Q^2 T = g A^3.

    References
    ----------
    .. [1] Chow, "Open-Channel Hydraulics", 1959, ch. 4.
    """
    require_not_negative(flow=flow)

    def above(stage: float) -> float:
        wet = wetted_section(section, stage)
        return wet.area * sqrt(GRAVITY * wet.hydraulic_depth) - flow

    return _lowest_root(section, above)


def channel_flow(section: CrossSection, flow: float, slope: float, stage: float | None = None) -> ChannelFlow:
    """Velocity, Froude number and shear of a flow at a level, the normal one unless another is given.

    Parameters
    ----------
    section : CrossSection
        The section.
    flow : float
        [m3/s]
    slope : float
        Of the energy line. [-]
    stage : float, optional
        [m]

    Returns
    -------
    ChannelFlow
        [m3/s], [m], [m/s], [Pa]

    Raises
    ------
    HydraulicsError
        If a number is out of range, or a flow is set at a level where the section is dry.

    Notes
    -----
    F = V / (g A/T)^0.5; shear = unit weight x depth x slope.

    References
    ----------
    .. [1] Chow, "Open-Channel Hydraulics", 1959; FHWA, HEC-15, 3rd ed., 2005, for the shear.
    """
    require_not_negative(flow=flow, slope=slope)
    level = normal_stage(section, flow, slope) if stage is None else stage
    wet = wetted_section(section, level)
    if flow > 0 and wet.area == 0:
        raise HydraulicsError(
            f"the section is dry at {level} m and cannot carry {flow} m3/s: its lowest point is {section.lowest} m"
        )
    velocity = flow / wet.area if flow > 0 else 0.0
    depth = max(level - section.lowest, 0.0)
    froude = velocity / sqrt(GRAVITY * wet.hydraulic_depth) if flow > 0 else 0.0
    return ChannelFlow(flow, level, depth, velocity, froude, UNIT_WEIGHT_OF_WATER * depth * slope, wet)


def _wet_points(section: CrossSection, stage: float) -> tuple[int, int]:
    """First and last of the points under water that are in one piece with the lowest."""
    below = section.elevation < stage
    left = right = int(section.elevation.argmin())
    while left > 0 and below[left - 1]:
        left -= 1
    while right < below.size - 1 and below[right + 1]:
        right += 1
    return left, right


def _lowest_root(section: CrossSection, excess: Callable[[float], float]) -> float:
    """Lowest level at which a quantity that is below zero for a dry section reaches zero."""
    low = section.lowest
    if excess(low) >= 0:
        return low
    # what a section carries jumps where water passes a bank, so look between each two of its heights in turn
    for height in np.unique(section.elevation)[1:]:
        just_above, just_below = float(np.nextafter(low, np.inf)), float(np.nextafter(height, -np.inf))
        if excess(just_above) >= 0:
            return just_above
        if excess(just_below) >= 0:
            return _root(excess, just_above, just_below)
        low = float(height)
    just_above = float(np.nextafter(low, np.inf))
    if excess(just_above) >= 0:
        return just_above
    step = max(low - section.lowest, 1e-3)
    while excess(low + step) < 0:
        step *= 2
    return _root(excess, just_above, low + step)


def _root(excess: Callable[[float], float], low: float, high: float) -> float:
    return float(brentq(excess, low, high, xtol=1e-12, rtol=1e-13))
