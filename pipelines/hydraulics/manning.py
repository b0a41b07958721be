"""Round pipe under gravity: Manning's formula full and partly full."""

from dataclasses import dataclass
from math import acos, pi, sin, sqrt

from scipy.optimize import brentq

from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_not_negative, require_positive
from terrain.unit_table import FOOT

DEEPEST_CARRYING_DEPTH = 0.9381812
"""Depth over diameter at which a round pipe with constant n carries most. [-]"""

LARGEST_FLOW_OVER_FULL = 1.075706
"""That flow over the flow of the full pipe. [-]"""

SELF_CLEANSING_VELOCITY = 2 * FOOT
"""Velocity flowing full that keeps a drain clean, 2 ft/s. [m/s]"""

FASTEST_VELOCITY = 10 * FOOT
"""Velocity above which a small drain wears and throws its joints, 10 ft/s; common practice, no source. [m/s]"""


@dataclass(frozen=True, slots=True)
class CircularSegment:
    """The wet part of a round pipe.

    Attributes
    ----------
    area, perimeter, top_width : float
        [m2], [m], [m]
    """

    area: float
    perimeter: float
    top_width: float

    @property
    def hydraulic_radius(self) -> float:
        """Area over wetted perimeter, 0 when dry. [m]"""
        return self.area / self.perimeter if self.perimeter > 0 else 0.0


@dataclass(frozen=True, slots=True)
class PipeFlow:
    """How a round pipe carries a flow.

    Attributes
    ----------
    depth, filled : float
        Normal depth, the lower of two, and that over the diameter; 1 when surcharged. [m], [-]
    velocity, full_velocity : float
        At that depth, and of the full pipe. [m/s]
    capacity : float
        Flow of the full pipe. [m3/s]
    roughness : float
        Manning's n that all of this rests on. [-]
    surcharged : bool
        More arrives than the pipe carries at any depth: it backs up.
    self_cleansing : bool
        The full pipe reaches the velocity that keeps it clean.
    warnings : tuple of str
        What a reader must know.
    """

    depth: float
    filled: float
    velocity: float
    full_velocity: float
    capacity: float
    roughness: float
    surcharged: bool
    self_cleansing: bool
    warnings: tuple[str, ...]


def velocity_manning(hydraulic_radius: float, slope: float, roughness: float) -> float:
    """Mean velocity of uniform flow.

    Parameters
    ----------
    hydraulic_radius : float
        Area over wetted perimeter. [m]
    slope : float
        Of the energy line; of the bed in uniform flow. [-]
    roughness : float
        Manning's n. [-]

    Returns
    -------
    float
        [m/s]

    Raises
    ------
    HydraulicsError
        If the radius or slope is negative, or n is not above zero.

    Notes
    -----
    V = (k/n) R^(2/3) S^(1/2) with k = 1 in metres, 1.486 in feet. For turbulent flow over a rough boundary.

    References
    ----------
    .. [1] NRCS, "Urban Hydrology for Small Watersheds", TR-55, 2nd ed., 1986, Worksheet 3.
    """
    require_not_negative(hydraulic_radius=hydraulic_radius, slope=slope)
    require_positive(roughness=roughness)
    return float(hydraulic_radius ** (2 / 3) * sqrt(slope) / roughness)


def circular_segment(depth: float, diameter: float) -> CircularSegment:
    """Area, wetted perimeter and top width of a round pipe filled to a depth.

    Parameters
    ----------
    depth : float
        Above the invert, at most the diameter. [m]
    diameter : float
        Inside. [m]

    Returns
    -------
    CircularSegment
        [m2], [m], [m]

    Raises
    ------
    HydraulicsError
        If the depth lies outside the pipe.

    Notes
    -----
    theta = 2 acos(1 - 2 y/D); A = D^2 (theta - sin theta)/8; P = D theta/2; T = D sin(theta/2).

    References
    ----------
    .. [1] White, "Fluid Mechanics", ch. 10, flow in a partly full circular pipe.
    """
    require_positive(diameter=diameter)
    require_not_negative(depth=depth)
    if depth > diameter * (1 + 1e-12):
        raise HydraulicsError(f"depth {depth} m lies above the crown of a pipe of {diameter} m inside diameter")
    theta = 2 * acos(1 - 2 * min(depth / diameter, 1.0))
    area = diameter**2 * (theta - sin(theta)) / 8
    return CircularSegment(max(area, 0.0), diameter * theta / 2, diameter * max(sin(theta / 2), 0.0))


def full_pipe_capacity(diameter: float, slope: float, roughness: float) -> float:
    """Flow of a full round pipe in uniform flow.

    Parameters
    ----------
    diameter : float
        Inside. [m]
    slope : float
        0 carries nothing. [-]
    roughness : float
        Manning's n. [-]

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    HydraulicsError
        If the diameter or n is not above zero, or the slope is negative.

    Notes
    -----
    Q = (0.3117/n) D^(8/3) S^(1/2), 0.4632 in feet.

    References
    ----------
    .. [1] FHWA, "Urban Drainage Design Manual", HEC-22, 3rd ed., ch. 7, full flow in a circular conduit.
    """
    require_positive(diameter=diameter)
    return pi * diameter**2 / 4 * velocity_manning(diameter / 4, slope, roughness)


def pipe_discharge(depth: float, diameter: float, slope: float, roughness: float) -> float:
    """Flow of a round pipe in uniform flow at a depth.

    Parameters
    ----------
    depth, diameter : float
        [m]
    slope, roughness : float
        [-]

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    HydraulicsError
        If the depth lies outside the pipe.

    References
    ----------
    .. [1] White, "Fluid Mechanics", ch. 10, flow in a partly full circular pipe.
    """
    wet = circular_segment(depth, diameter)
    return wet.area * velocity_manning(wet.hydraulic_radius, slope, roughness)


def pipe_flow(flow: float, diameter: float, slope: float, roughness: float) -> PipeFlow:
    """Depth, velocity and reserve of a round pipe that carries a flow.

    Between the full flow and 1.0757 times it two depths carry the same water; the lower one is given.

    Parameters
    ----------
    flow : float
        [m3/s]
    diameter : float
        Inside. [m]
    slope, roughness : float
        Slope above zero for any flow above zero. [-]

    Returns
    -------
    PipeFlow
        [m], [m/s], [m3/s]

    Raises
    ------
    HydraulicsError
        If a number is negative or not finite.

    References
    ----------
    .. [1] White, "Fluid Mechanics", ch. 10, eq. 10.20 and 10.21.
    """
    require_not_negative(flow=flow)
    capacity = full_pipe_capacity(diameter, slope, roughness)
    full_velocity = capacity / (pi * diameter**2 / 4)
    surcharged = flow > capacity * LARGEST_FLOW_OVER_FULL
    if surcharged:
        depth, velocity = diameter, flow / (pi * diameter**2 / 4)
    elif flow == 0:
        depth, velocity = 0.0, 0.0
    else:
        depth = _normal_depth(flow, diameter, slope, roughness)
        velocity = flow / circular_segment(depth, diameter).area
    cleansing = full_velocity >= SELF_CLEANSING_VELOCITY
    return PipeFlow(
        depth, depth / diameter, velocity, full_velocity, capacity, roughness, surcharged, cleansing,
        _flow_warnings(flow, capacity, velocity, cleansing, surcharged),
    )


def minimum_slope(diameter: float, roughness: float, velocity: float = SELF_CLEANSING_VELOCITY) -> float:
    """Slope at which a full round pipe reaches a velocity.

    Parameters
    ----------
    diameter : float
        Inside. [m]
    roughness : float
        Manning's n. [-]
    velocity : float, optional
        2 ft/s by default. [m/s]

    Returns
    -------
    float
        [-]

    Raises
    ------
    HydraulicsError
        If a number is not above zero.

    References
    ----------
    .. [1] Municipal sewer code in the Ten-States form: 2 ft/s flowing full at n = 0.013.
    """
    require_positive(diameter=diameter, roughness=roughness, velocity=velocity)
    return float((velocity * roughness / (diameter / 4) ** (2 / 3)) ** 2)


def _normal_depth(flow: float, diameter: float, slope: float, roughness: float) -> float:
    deepest = DEEPEST_CARRYING_DEPTH * diameter
    if flow >= pipe_discharge(deepest, diameter, slope, roughness):
        return deepest
    # the flow grows with depth all the way up to there, so the root is the lower of the two
    return float(brentq(lambda depth: pipe_discharge(depth, diameter, slope, roughness) - flow, 0.0, deepest,
                        xtol=1e-15, rtol=1e-13))


def _flow_warnings(flow: float, capacity: float, velocity: float, cleansing: bool, surcharged: bool) -> tuple[str, ...]:
    said = []
    if surcharged:
        said.append("more water than the pipe carries at any depth: it runs full and backs up")
    elif flow > capacity:
        said.append("carries this only while partly full; any disturbance fills it and it backs up")
    if not cleansing:
        said.append("flowing full it stays below 2 ft/s (0.61 m/s): silt settles, flush it")
    if velocity > FASTEST_VELOCITY:
        said.append("faster than 10 ft/s (3.0 m/s): hold the joints and protect the outlet")
    return tuple(said)
