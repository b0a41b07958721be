"""The inside of a round culvert, clean or partly silted."""

from dataclasses import dataclass
from functools import lru_cache

from scipy.optimize import brentq

from pipelines.hydraulics.channel.barrel_kernel import critical_in_barrel
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_not_negative, require_positive
from pipelines.hydraulics.manning import DEEPEST_CARRYING_DEPTH, circular_segment, velocity_manning


@dataclass(frozen=True, slots=True)
class Barrel:
    """A culvert barrel; made by `circular_barrel`.

    Attributes
    ----------
    diameter : float
        Clean and inside. [m]
    silt : float
        Depth of silt in its bottom. [m]
    """

    diameter: float
    silt: float = 0.0

    @property
    def rise(self) -> float:
        """Open height above the silt. [m]"""
        return self.diameter - self.silt

    @property
    def area(self) -> float:
        """Open area. [m2]"""
        return _full(self)[0]

    @property
    def hydraulic_radius(self) -> float:
        """Of the full open barrel. [m]"""
        return _full(self)[1]


@lru_cache(maxsize=4096)
def _full(barrel: Barrel) -> tuple[float, float]:
    """Open area, and hydraulic radius of the full barrel. [m2], [m]"""
    area = wet_area(barrel, barrel.rise)
    return area, area / wet_perimeter(barrel, barrel.rise)


def circular_barrel(diameter: float, silt: float = 0.0) -> Barrel:
    """Round barrel."""
    require_positive(diameter=diameter)
    require_not_negative(silt=silt)
    if silt >= diameter:
        raise HydraulicsError(f"silt of {silt} m fills a culvert {diameter} m high: it carries nothing")
    return Barrel(diameter, silt)


def wet_area(barrel: Barrel, depth: float) -> float:
    """Area of water that stands to a depth above the silt. [m2]"""
    silted = circular_segment(barrel.silt, barrel.diameter).area if barrel.silt > 0 else 0.0
    return circular_segment(depth + barrel.silt, barrel.diameter).area - silted


def wet_perimeter(barrel: Barrel, depth: float) -> float:
    """Length of wall, and of silt, that water of a depth above the silt touches. [m]"""
    wall = circular_segment(depth + barrel.silt, barrel.diameter).perimeter
    if barrel.silt == 0:
        return wall
    silted = circular_segment(barrel.silt, barrel.diameter)
    return wall - silted.perimeter + silted.top_width


def normal_depth(barrel: Barrel, flow: float, slope: float, roughness: float) -> float | None:
    """Depth above the silt of uniform flow, the lower of two.

    Parameters
    ----------
    barrel : Barrel
        The culvert.
    flow : float
        [m3/s]
    slope, roughness : float
        [-]

    Returns
    -------
    float or None
        None where the barrel does not carry the flow uniformly below its crown. [m]

    Raises
    ------
    HydraulicsError
        If a number is negative or n not above zero.

    References
    ----------
    .. [1] White, "Fluid Mechanics", ch. 10, flow in a partly full circular pipe.
    """
    require_not_negative(flow=flow, slope=slope)
    require_positive(roughness=roughness)
    if flow == 0:
        return 0.0

    def above(depth: float) -> float:
        area, perimeter = wet_area(barrel, depth), wet_perimeter(barrel, depth)
        return area * velocity_manning(area / perimeter, slope, roughness) - flow

    # it carries most a little below its crown
    low, high = 1e-9 * barrel.rise, DEEPEST_CARRYING_DEPTH * barrel.diameter - barrel.silt
    if high <= low or above(high) < 0:
        return None
    return low if above(low) >= 0 else float(brentq(above, low, high, xtol=1e-13, rtol=1e-12))


@lru_cache(maxsize=4096)
def critical_depth(barrel: Barrel, flow: float) -> float:
    """Depth above the silt at which a flow passes with least energy; the rise where it fills the barrel.

    Parameters
    ----------
    barrel : Barrel
        The culvert.
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
    if flow == 0:
        return 0.0

    return float(critical_in_barrel(barrel.diameter, barrel.silt, float(flow)))
