"""How long water takes: travel times by published formula, each of one kind of flow."""

import csv
import math
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files

from pipelines.hydrology.errors import FlowPathError
from pipelines.hydrology.surfaces import surface_of
from pipelines.inputs.limits import require_not_negative, require_positive
from terrain.unit_table import FOOT, HOUR, INCH, MINUTE

LEAST_TIME = 5.0 * MINUTE
"""Floor of a time of concentration. [s]"""
SHEET_LIMIT = 100.0 * FOOT
"""Longest sheet flow. [m]"""
FLAT = 0.002
FLAT_ADDITION = 0.0005


@dataclass(frozen=True, slots=True)
class TravelSurface:
    """How a surface slows water.

    Attributes
    ----------
    sheet_roughness : float
        Manning's n of sheet flow, about 0.1 ft deep; never to be used for a channel. [-]
    shallow_velocity : float
        Velocity of shallow concentrated flow on a slope of 1. [m/s]
    """

    sheet_roughness: float
    shallow_velocity: float


@lru_cache(maxsize=256)
def travel_surface(surface: str) -> TravelSurface:
    """Roughness and velocity of a surface.

    Parameters
    ----------
    surface : str
        Key or words.

    Returns
    -------
    TravelSurface
        Roughness [-] and velocity at a slope of 1. [m/s]

    Raises
    ------
    SurfaceError
        If the surface is unknown.

    References
    ----------
    .. [1] Sheet flow: NRCS, TR-55, 2nd ed., 1986, Table 3-1, and National Engineering Handbook part 630, ch. 15,
       2010, Table 15-1.
    .. [2] Shallow concentrated flow: National Engineering Handbook part 630, ch. 15, 2010, Table 15-3.
    """
    return _travel_surfaces()[surface_of(surface).key]


def sheet_flow_time(length: float, slope: float, roughness: float, two_year_24h_depth: float) -> float:
    """Travel time of sheet flow.

    Parameters
    ----------
    length : float
        At most what `sheet_flow_limit` allows. [m]
    slope : float
        [-]
    roughness : float
        Manning's n of sheet flow. [-]
    two_year_24h_depth : float
        Rain of 24 hours and 2 years. [m]

    Returns
    -------
    float
        [s]

    Raises
    ------
    FlowPathError
        If a number is not finite, or the length is negative, or another is not positive.

    Notes
    -----
    Tt = 0.007 (n L)^0.8 / (P2^0.5 s^0.4), in hours, feet and inches.

    References
    ----------
    .. [1] NRCS, "Urban Hydrology for Small Watersheds", TR-55, 2nd ed., 1986, eq. 3-3 and Worksheet 3.
    """
    require_not_negative(FlowPathError, length=length)
    require_positive(FlowPathError, slope=slope, roughness=roughness, two_year_24h_depth=two_year_24h_depth)
    feet, inches = length / FOOT, two_year_24h_depth / INCH
    return HOUR * 0.007 * math.pow(roughness * feet, 0.8) / (math.sqrt(inches) * math.pow(slope, 0.4))


def sheet_flow_limit(slope: float, roughness: float, *, longest: float = SHEET_LIMIT) -> float:
    """Longest sheet flow before water gathers.

    Parameters
    ----------
    slope : float
        [-]
    roughness : float
        Manning's n of sheet flow. [-]
    longest : float
        However smooth and steep the ground. [m]

    Returns
    -------
    float
        100 s^0.5 / n in feet, at most the longest. [m]

    Raises
    ------
    FlowPathError
        If a number is not finite and positive.

    References
    ----------
    .. [1] NRCS, National Engineering Handbook part 630, ch. 15, 2010, eq. 15-9, after McCuen and Spiess 1995; the
       limit of 100 ft after Merkel 2001. TR-55 of 1986 allowed 300 ft.
    """
    require_positive(FlowPathError, slope=slope, roughness=roughness, longest=longest)
    return min(100.0 * math.sqrt(slope) / roughness * FOOT, longest)


def shallow_velocity(surface: str, slope: float) -> float:
    """Velocity of shallow concentrated flow.

    Parameters
    ----------
    surface : str
        Key or words.
    slope : float
        [-]

    Returns
    -------
    float
        V = k s^0.5. [m/s]

    Raises
    ------
    SurfaceError
        If the surface is unknown.
    FlowPathError
        If the slope is negative or not finite.

    References
    ----------
    .. [1] NRCS, National Engineering Handbook part 630, ch. 15, 2010, Table 15-3; TR-55, 2nd ed., 1986, fig. 3-1
       and Appendix F.
    """
    require_not_negative(FlowPathError, slope=slope)
    return travel_surface(surface).shallow_velocity * math.sqrt(slope)


def slope_on_flats(slope: float, *, flat: float = FLAT, addition: float = FLAT_ADDITION) -> float:
    """Slope for travel time, raised where the ground is all but flat.

    Parameters
    ----------
    slope : float
        Of the ground; a rise counts as 0. [-]
    flat : float
        Ground up to this slope is flat. [-]
    addition : float
        What is added on flat ground. [-]

    Returns
    -------
    float
        Slope plus the addition where flat; from there both together until the ground is steeper than that. [-]

    Raises
    ------
    FlowPathError
        If the slope is not finite.

    References
    ----------
    .. [1] TxDOT, "Hydraulic Design Manual", ch. 4 sec. 11, low-slope guidance, from memory.
    """
    if not math.isfinite(slope):
        raise FlowPathError(f"slope is {slope}: give a finite number")
    ground = max(slope, 0.0)
    return max(ground, min(ground, flat) + addition)


@cache
def _travel_surfaces() -> dict[str, TravelSurface]:
    text = files("pipelines.hydrology").joinpath("travel_surfaces.csv").read_text(encoding="utf-8")
    return {
        row["surface"]: TravelSurface(float(row["sheet_n"]), float(row["shallow_ft_s"]) * FOOT)
        for row in csv.DictReader(text.splitlines())
    }
