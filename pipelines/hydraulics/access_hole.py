"""Energy that a basin or access hole needs to push its flow into the pipe that leaves it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, pi, radians, sqrt
from typing import Literal

from pipelines.hydraulics.constants import GRAVITY
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_not_negative, require_positive
from terrain.shown_text import quoted

ENTRANCE_LOSS = 0.2
"""Velocity heads lost into the outlet pipe where it controls. [-]"""

Floor = Literal["flat", "depressed"]
FLOOR_COEFFICIENTS: dict[Floor, float] = {"flat": -0.05, "depressed": 0.0}
"""Benching: a floor level with the outlet pipe, and one below it, as of a basin with a sump. [-]"""


@dataclass(frozen=True, slots=True)
class EnteringFlow:
    """Water that comes into an access hole.

    Attributes
    ----------
    flow : float
        [m3/s]
    drop : float
        Height of its invert, or of the grate it falls through, above the outlet pipe's invert. [m]
    angle : float
        Between its pipe and the outlet pipe, 180 straight through. [degree]
    """

    flow: float
    drop: float
    angle: float = 180.0


def discharge_intensity(flow: float, diameter: float) -> float:
    """Flow into a pipe over its size, without dimension.

    Parameters
    ----------
    flow : float
        [m3/s]
    diameter : float
        Of the pipe that leaves. [m]

    Returns
    -------
    float
        [-]

    Raises
    ------
    HydraulicsError
        If the flow is negative or the diameter not above zero.

    Notes
    -----
    DI = Q / (A (g D)^0.5).

    References
    ----------
    .. [1] FHWA, "Urban Drainage Design Manual", HEC-22, 3rd ed., 2009, eq. 7-17.
    """
    require_not_negative(flow=flow)
    require_positive(diameter=diameter)
    return flow / (pi * diameter**2 / 4 * sqrt(GRAVITY * diameter))


def entrance_energy(flow: float, diameter: float) -> float:
    """Energy above the outlet pipe's invert that its entrance asks for, submerged or not.

    Parameters
    ----------
    flow : float
        [m3/s]
    diameter : float
        Of the pipe that leaves. [m]

    Returns
    -------
    float
        The greater of orifice and weir. [m]

    Raises
    ------
    HydraulicsError
        If the flow is negative or the diameter not above zero.

    Notes
    -----
    D DI^2 submerged, 1.6 D DI^0.67 not; the tests behind it went to DI = 1.6.

    References
    ----------
    .. [1] FHWA, HEC-22, 3rd ed., 2009, eq. 7-18 and 7-19.
    """
    intensity = discharge_intensity(flow, diameter)
    return float(diameter * max(intensity**2, 1.6 * intensity**0.67))


def entrance_capacity(energy: float, diameter: float) -> float:
    """Flow that the entrance of the outlet pipe takes from a basin that stands at a level.

    Parameters
    ----------
    energy : float
        Height of the water above the outlet pipe's invert. [m]
    diameter : float
        Of the pipe that leaves. [m]

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    HydraulicsError
        If the energy is negative or the diameter not above zero.

    References
    ----------
    .. [1] FHWA, HEC-22, 3rd ed., 2009, eq. 7-18 and 7-19 solved for the flow.
    """
    require_not_negative(energy=energy)
    require_positive(diameter=diameter)
    over = energy / diameter
    intensity = min(sqrt(over), (over / 1.6) ** (1 / 0.67))
    return float(intensity * pi * diameter**2 / 4 * sqrt(GRAVITY * diameter))


def access_hole_energy(
    flow: float,
    diameter: float,
    *,
    outlet_energy: float,
    velocity_head: float,
    supercritical: bool,
    entering: Sequence[EnteringFlow] = (),
    floor: Floor = "depressed",
) -> float:
    """Energy in an access hole above its outlet pipe's invert.

    Parameters
    ----------
    flow, diameter : float
        Of the outlet pipe. [m3/s], [m]
    outlet_energy : float
        Energy in the upper end of the outlet pipe, above its invert. [m]
    velocity_head : float
        There. [m]
    supercritical : bool
        The outlet pipe's flow is shooting, so that only its entrance holds water back.
    entering : sequence of EnteringFlow, optional
        Pipes and grates that it comes from.
    floor : str, optional
        flat or depressed.

    Returns
    -------
    float
        Never below `outlet_energy`. [m]

    Raises
    ------
    HydraulicsError
        If a number is out of range or the floor unknown.

    Notes
    -----
    Eai = max(Ei + 0.2 V^2/2g, D DI^2, 1.6 D DI^0.67). Ea = Eai + (CB + Ctheta + CP)(Eai - Ei), the added part not below
    0. Ctheta = 4.5 (sum Qj / Qo) cos(theta/2) over pipes below the water, theta their flow-weighted angle.
    CP = sum(Qk hk) / Qo over what falls in, hk = (zk - Eai)/D, zk at most 10 D.

    References
    ----------
    .. [1] FHWA, HEC-22, 3rd ed., 2009, sec. 7.1.6.7, eq. 7-14 to 7-29 and Table 7-6.
    """
    require_not_negative(outlet_energy=outlet_energy, velocity_head=velocity_head)
    for each in entering:
        require_not_negative(entering_flow=each.flow, angle=each.angle)
    if floor not in FLOOR_COEFFICIENTS:
        raise HydraulicsError(f"floor is {quoted(floor)}: it may be {' or '.join(FLOOR_COEFFICIENTS)}")
    first = entrance_energy(flow, diameter)
    if not supercritical:
        first = max(first, outlet_energy + ENTRANCE_LOSS * velocity_head)
    if first <= outlet_energy or flow == 0:
        return outlet_energy
    joined = [each for each in entering if each.drop <= first]
    falling = [each for each in entering if each.drop > first]
    coefficient = FLOOR_COEFFICIENTS[floor]
    total = sum(each.flow for each in joined)
    if total > 0:
        angle = sum(each.flow * min(each.angle, 180.0) for each in joined) / total
        coefficient += 4.5 * total / flow * cos(radians(angle / 2))
    coefficient += sum(each.flow * (min(each.drop, 10 * diameter) - first) / diameter for each in falling) / flow
    return max(first + max(coefficient * (first - outlet_energy), 0.0), outlet_energy)
