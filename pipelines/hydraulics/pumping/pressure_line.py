"""A line under pressure: Hazen-Williams friction, fittings by size, the velocity head lost at the exit."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi, sqrt

from pipelines.hydraulics.constants import GRAVITY
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_not_negative, require_positive
from terrain.shown_text import quoted
from terrain.unit_table import FOOT, INCH

SLOWEST_VELOCITY = 2 * FOOT
"""Below it silt stays in the line; sewer codes ask 2 to 3 ft/s. [m/s]"""

FASTEST_VELOCITY = 8 * FOOT
"""Upper end of the range that sewer codes give a force main, 8 ft/s. [m/s]"""

ABSURD_VELOCITY = 10 * FOOT
"""Not above 10 ft/s at the peak: Fair, Geyer and Okun, Table 14.9. [m/s]"""

RELIEF_HOLE = 3 / 16 * INCH
"""Hole between pump and check valve that lets air out, part of every lift; common practice, no source. [m]"""

LENGTH_OVER_DIAMETER = {"elbow_90": 30.0, "elbow_45": 16.0, "check_valve": 100.0}
"""Pipe that loses as much as a fitting, in diameters; a check valve is a swing check. [-]"""


@dataclass(frozen=True, slots=True)
class PressureLine:
    """What a pump pushes against.

    Attributes
    ----------
    static_lift : float
        From the pump-off level to the highest point of the line or its outlet, whichever is higher. [m]
    length, inside : float
        Of the pipe, and its inside diameter. [m]
    hazen_williams : float
        C. [-]
    fittings : mapping of str to int
        How many of each kind.
    """

    static_lift: float
    length: float
    inside: float
    hazen_williams: float
    fittings: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class LineHead:
    """Head that a line takes at a flow, in its parts. [m], [m/s]"""

    static: float
    friction: float
    fittings: float
    exit: float
    velocity: float

    @property
    def total(self) -> float:
        """[m]"""
        return self.static + self.friction + self.fittings + self.exit


def friction_hazen_williams(flow: float, length: float, inside: float, hazen_williams: float) -> float:
    """Head lost to friction in a full pipe.

    Parameters
    ----------
    flow : float
        [m3/s]
    length, inside : float
        [m]
    hazen_williams : float
        C, 150 for smooth plastic. [-]

    Returns
    -------
    float
        [m]

    Raises
    ------
    HydraulicsError
        If a number is negative or not finite, or the diameter or C not above zero.

    Notes
    -----
    h = 10.67 L Q^1.852 / (C^1.852 d^4.8704); in feet, gpm and inches 10.44. For water near 16 degrees Celsius in
    turbulent flow, pipes of 1 in and more.

    References
    ----------
    .. [1] Hazen and Williams, "Hydraulic Tables", 3rd ed., 1920; the SI constant 10.67 as in public glossaries.
    """
    require_not_negative(flow=flow, length=length)
    require_positive(inside=inside, hazen_williams=hazen_williams)
    return float(10.67 * length * (flow / hazen_williams) ** 1.852 / inside**4.8704)


def equivalent_length(fittings: Mapping[str, int], inside: float) -> float:
    """Length of pipe that loses as much as all fittings.

    Parameters
    ----------
    fittings : mapping of str to int
        How many of each kind; the exit is not among them.
    inside : float
        Inside diameter. [m]

    Returns
    -------
    float
        [m]

    Raises
    ------
    HydraulicsError
        If a fitting is unknown or its count negative.

    References
    ----------
    .. [1] 2018 International Residential Code, Appendix A, Table A.2.2, for the 90 degree elbow; Crane, "Flow of
       Fluids", TP-410, through an equivalent-length datasheet, for the rest.
    """
    require_positive(inside=inside)
    unknown = [kind for kind in fittings if kind not in LENGTH_OVER_DIAMETER]
    if unknown:
        raise HydraulicsError(
            f"fitting {quoted(unknown[0])} is not known: "
            f"known are {', '.join(LENGTH_OVER_DIAMETER)}; the exit counts always"
        )
    bad = [f"{count!r} of {kind}" for kind, count in fittings.items() if isinstance(count, bool) or count < 0]
    if bad:
        raise HydraulicsError(f"fittings are counted in whole numbers of 0 or above, here are {', '.join(bad)}")
    return sum(count * LENGTH_OVER_DIAMETER[kind] for kind, count in fittings.items()) * inside


def line_head(line: PressureLine, flow: float) -> LineHead:
    """Head that a line takes at a flow: lift, friction, fittings, exit.

    Parameters
    ----------
    line : PressureLine
        The line.
    flow : float
        [m3/s]

    Returns
    -------
    LineHead
        [m], [m/s]

    Raises
    ------
    HydraulicsError
        If a number of the line is out of range, a fitting unknown or its count negative.

    References
    ----------
    .. [1] Hazen and Williams, "Hydraulic Tables", 3rd ed., 1920.
    .. [2] Crane, "Flow of Fluids", TP-410: equivalent lengths, and one velocity head lost at the exit.
    """
    require_not_negative(static_lift=line.static_lift)
    friction, fittings = (
        friction_hazen_williams(flow, length, line.inside, line.hazen_williams)
        for length in (line.length, equivalent_length(line.fittings, line.inside))
    )
    velocity = flow / (pi * line.inside**2 / 4)
    return LineHead(line.static_lift, friction, fittings, velocity**2 / (2 * GRAVITY), velocity)


def relief_hole_flow(head: float, diameter: float = RELIEF_HOLE) -> float:
    """Water that the relief hole under the check valve sends back while the pump runs.

    Parameters
    ----------
    head : float
        Of the pump. [m]
    diameter : float, optional
        3/16 in by default. [m]

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    HydraulicsError
        If the head is negative or the diameter not above zero.

    Notes
    -----
    Sharp-edged orifice, Q = 0.61 A (2 g h)^0.5.

    References
    ----------
    .. [1] White, "Fluid Mechanics", ch. 6, sharp-edged orifice.
    """
    require_not_negative(head=head)
    require_positive(diameter=diameter)
    return 0.61 * pi * diameter**2 / 4 * sqrt(2 * GRAVITY * head)
