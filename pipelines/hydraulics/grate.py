"""Grate over a basin in a sag: weir while shallow, orifice when deep, the lesser in between."""

from dataclasses import dataclass
from math import inf, sqrt

from pipelines.hydraulics.constants import GRAVITY
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_fraction, require_not_negative, require_positive
from terrain.unit_table import FOOT, GALLON_PER_MINUTE, INCH

WEIR_COEFFICIENT = 3.0 * sqrt(FOOT)
"""3.0 ft^0.5/s, printed as 1.66 in SI. [m^0.5/s]"""

ORIFICE_COEFFICIENT = 0.67
"""[-]"""

SAG_CLOGGING = 0.5
"""Share of perimeter and opening taken as blocked. [-]"""


@dataclass(frozen=True, slots=True)
class Grate:
    """A grate by its outline and nominal size.

    Attributes
    ----------
    perimeter : float
        Along which water comes in; a side against a wall or curb is left out. [m]
    open_area : float
        Clear opening. [m2]
    most_flow : float
        Flow beyond which the trade takes the next size. [m3/s]
    """

    name: str
    perimeter: float
    open_area: float
    most_flow: float = inf


def weir_flow(depth: float, perimeter: float, coefficient: float = WEIR_COEFFICIENT) -> float:
    """Flow over the rim of a grate under shallow water.

    Parameters
    ----------
    depth : float
        Of water over the grate. [m]
    perimeter : float
        [m]
    coefficient : float, optional
        [m^0.5/s]

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    HydraulicsError
        If a number is negative or not finite.

    Notes
    -----
    Q = Cw P d^1.5, Cw = 3.0 in feet, 1.66 in metres.

    References
    ----------
    .. [1] TxDOT, "Hydraulic Design Manual", ch. 10 sec. 6, eq. 10-30.
    """
    require_not_negative(depth=depth, perimeter=perimeter, coefficient=coefficient)
    return float(coefficient * perimeter * depth**1.5)


def orifice_flow(depth: float, open_area: float, coefficient: float = ORIFICE_COEFFICIENT) -> float:
    """Flow through the openings of a submerged grate.

    Parameters
    ----------
    depth : float
        Of water over the grate. [m]
    open_area : float
        Clear opening. [m2]
    coefficient : float, optional
        [-]

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    HydraulicsError
        If a number is negative or not finite.

    Notes
    -----
    Q = C A (2 g d)^0.5 with C = 0.67.

    References
    ----------
    .. [1] TxDOT, "Hydraulic Design Manual", ch. 10 sec. 6, eq. 10-31.
    """
    require_not_negative(depth=depth, open_area=open_area, coefficient=coefficient)
    return coefficient * open_area * sqrt(2 * GRAVITY * depth)


def grate_capacity(grate: Grate, depth: float, *, clogging: float = SAG_CLOGGING) -> float:
    """Flow that a grate in a sag takes in under a depth of water.

    Taking the lesser of weir and orifice through the transition is on the safe side.

    Parameters
    ----------
    grate : Grate
        Its outline and opening.
    depth : float
        Of water over it. [m]
    clogging : float, optional
        Share of perimeter and opening that is blocked. [-]

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    HydraulicsError
        If the depth is negative or the clogging not a share.

    References
    ----------
    .. [1] TxDOT, "Hydraulic Design Manual", ch. 10 sec. 6, eq. 10-30 and 10-31.
    .. [2] Oregon DOT, "Hydraulics Manual", ch. 13 app. D, Table A: 50 % clogging in a sag.
    """
    require_fraction(clogging=clogging)
    left = 1 - clogging
    return min(weir_flow(depth, grate.perimeter * left), orifice_flow(depth, grate.open_area * left))


def ponding_depth(grate: Grate, flow: float, *, clogging: float = SAG_CLOGGING) -> float:
    """Depth of water over a grate that takes in a flow.

    Parameters
    ----------
    grate : Grate
        Its outline and opening.
    flow : float
        [m3/s]
    clogging : float, optional
        Share of perimeter and opening that is blocked, below 1. [-]

    Returns
    -------
    float
        [m]

    Raises
    ------
    HydraulicsError
        If the flow is negative or the grate is blocked altogether.

    References
    ----------
    .. [1] TxDOT, "Hydraulic Design Manual", ch. 10 sec. 6, eq. 10-30 and 10-31 solved for depth.
    """
    require_not_negative(flow=flow)
    require_fraction(clogging=clogging)
    if clogging == 1:
        raise HydraulicsError("clogging is 1: a grate that is blocked altogether takes nothing in")
    left = 1 - clogging
    as_weir = (flow / (WEIR_COEFFICIENT * grate.perimeter * left)) ** (2 / 3)
    as_orifice = (flow / (ORIFICE_COEFFICIENT * grate.open_area * left)) ** 2 / (2 * GRAVITY)
    return float(max(as_weir, as_orifice))


def basin_grates(
    most_9in: float = 25 * GALLON_PER_MINUTE, most_12in: float = 60 * GALLON_PER_MINUTE, *, open_share: float = 0.35
) -> tuple[Grate, ...]:
    """Square grates of the trade with the flow each is used to; common practice, no source. [m3/s], [-]"""
    require_positive(most_9in=most_9in, most_12in=most_12in)
    require_fraction(open_share=open_share)
    return tuple(
        Grate(f"{inches} in", 4 * inches * INCH, open_share * (inches * INCH) ** 2, most)
        for inches, most in ((9, most_9in), (12, most_12in), (18, inf))
    )


BASIN_GRATES = basin_grates()


def choose_grate(flow: float, ponding_allowed: float, *, clogging: float = SAG_CLOGGING,
                 sizes: tuple[Grate, ...] = BASIN_GRATES) -> Grate | None:
    """Smallest grate that takes a flow in without ponding more than is allowed.

    Parameters
    ----------
    flow : float
        [m3/s]
    ponding_allowed : float
        Depth over the grate before water reaches what must stay dry. [m]
    clogging : float, optional
        [-]
    sizes : tuple of Grate, optional
        Smallest first.

    Returns
    -------
    Grate or None
        None where not even the largest does: use several.

    Raises
    ------
    HydraulicsError
        If a number is out of range.

    References
    ----------
    .. [1] TxDOT, "Hydraulic Design Manual", ch. 10 sec. 6, eq. 10-30 and 10-31.
    """
    require_not_negative(flow=flow, ponding_allowed=ponding_allowed)
    for grate in sizes:
        if flow <= min(grate.most_flow, grate_capacity(grate, ponding_allowed, clogging=clogging)):
            return grate
    return None
