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


@dataclass(frozen=True, slots=True)
class CircularSegment:
    """The wet part of a round pipe. [m2], [m], [m]"""

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
    filled, velocity : float
        Normal depth over the diameter, the lower of two, and velocity there; 1 where more arrives than the pipe
        carries at any depth. [-], [m/s]
    capacity : float
        Flow of the full pipe. [m3/s]
    self_cleansing : bool
        The full pipe reaches the velocity that keeps it clean.
    """

    filled: float
    velocity: float
    capacity: float
    self_cleansing: bool


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


def pipe_flow(
    flow: float,
    diameter: float,
    slope: float,
    roughness: float,
    *,
    cleansing_velocity: float = SELF_CLEANSING_VELOCITY,
) -> PipeFlow:
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
    cleansing_velocity : float, optional
        Of the full pipe, that keeps it clean; 2 ft/s by default. [m/s]

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
    .. [2] Municipal sewer code in the Ten-States form: 2 ft/s flowing full.
    """
    require_not_negative(flow=flow)
    capacity = full_pipe_capacity(diameter, slope, roughness)
    area = pi * diameter**2 / 4
    if flow == 0:
        filled, velocity = 0.0, 0.0
    elif flow > capacity * LARGEST_FLOW_OVER_FULL:
        filled, velocity = 1.0, flow / area
    else:
        depth = _normal_depth(flow, diameter, slope, roughness)
        filled, velocity = depth / diameter, flow / circular_segment(depth, diameter).area
    return PipeFlow(filled, velocity, capacity, capacity / area >= cleansing_velocity)


def _normal_depth(flow: float, diameter: float, slope: float, roughness: float) -> float:
    deepest = DEEPEST_CARRYING_DEPTH * diameter
    if flow >= pipe_discharge(deepest, diameter, slope, roughness):
        return deepest
    # the flow grows with depth all the way up to there, so the root is the lower of the two
    return float(brentq(lambda depth: pipe_discharge(depth, diameter, slope, roughness) - flow, 0.0, deepest,
                        xtol=1e-15, rtol=1e-13))
