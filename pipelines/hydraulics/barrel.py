"""The inside of a culvert: round or box, clean or partly silted."""

from dataclasses import dataclass
from math import pi, sqrt
from typing import Literal

from scipy.optimize import brentq

from pipelines.hydraulics.constants import GRAVITY
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_not_negative, require_positive
from pipelines.hydraulics.manning import circular_segment


@dataclass(frozen=True, slots=True)
class Barrel:
    """A culvert barrel; made by `circular_barrel` or `box_barrel`.

    Attributes
    ----------
    shape : str
        circular or box.
    span, height : float
        Clean inside width and height; both the diameter where it is round. [m]
    silt : float
        Depth of silt in its bottom. [m]
    """

    shape: Literal["circular", "box"]
    span: float
    height: float
    silt: float = 0.0

    @property
    def rise(self) -> float:
        """Open height above the silt. [m]"""
        return self.height - self.silt

    @property
    def area(self) -> float:
        """Open area. [m2]"""
        return wet_area(self, self.rise)

    @property
    def hydraulic_radius(self) -> float:
        """Of the full open barrel. [m]"""
        if self.shape == "box":
            return self.area / (2 * (self.span + self.rise))
        silted = circular_segment(self.silt, self.span)
        return self.area / (pi * self.span - silted.perimeter + silted.top_width)


def circular_barrel(diameter: float, silt: float = 0.0) -> Barrel:
    """Round barrel.

    Parameters
    ----------
    diameter, silt : float
        Inside diameter, and depth of silt in it. [m]

    Returns
    -------
    Barrel
        [m]

    Raises
    ------
    HydraulicsError
        If the diameter is not above zero, or the silt fills it.
    """
    return _barrel("circular", diameter, diameter, silt)


def box_barrel(span: float, height: float, silt: float = 0.0) -> Barrel:
    """Box barrel.

    Parameters
    ----------
    span, height, silt : float
        Inside width and height, and depth of silt in it. [m]

    Returns
    -------
    Barrel
        [m]

    Raises
    ------
    HydraulicsError
        If a width or height is not above zero, or the silt fills it.
    """
    return _barrel("box", span, height, silt)


def wet_area(barrel: Barrel, depth: float) -> float:
    """Area of water that stands to a depth above the silt.

    Parameters
    ----------
    barrel : Barrel
        The culvert.
    depth : float
        [m]

    Returns
    -------
    float
        [m2]

    Raises
    ------
    HydraulicsError
        If the depth is negative or above the crown.
    """
    if barrel.shape == "box":
        require_not_negative(depth=depth)
        return barrel.span * depth
    silted = circular_segment(barrel.silt, barrel.span).area if barrel.silt > 0 else 0.0
    return circular_segment(depth + barrel.silt, barrel.span).area - silted


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

    def above(depth: float) -> float:
        width = barrel.span
        if barrel.shape == "circular":
            width = circular_segment(depth + barrel.silt, barrel.span).top_width
        area = wet_area(barrel, depth)
        return area * sqrt(GRAVITY * area / width) - flow

    low, high = 1e-9 * barrel.rise, (1 - 1e-9) * barrel.rise
    if above(high) <= 0:
        return barrel.rise
    if above(low) >= 0:
        return low
    return float(brentq(above, low, high, xtol=1e-13, rtol=1e-12))


def _barrel(shape: Literal["circular", "box"], span: float, height: float, silt: float) -> Barrel:
    require_positive(span=span, height=height)
    require_not_negative(silt=silt)
    if silt >= height:
        raise HydraulicsError(f"silt of {silt} m fills a culvert {height} m high: it carries nothing")
    return Barrel(shape, span, height, silt)
