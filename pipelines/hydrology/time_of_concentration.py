"""How long water takes: travel times by published formula, each of one kind of flow."""

import csv
import math
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from pipelines.hydrology.errors import FlowPathError
from pipelines.hydrology.surfaces import surface_of
from pipelines.inputs.limits import require_not_negative, require_positive

FOOT = 0.3048
LEAST_TIME = 300.0
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
    sheet_row, shallow_row : str
        Rows of the two tables.
    """

    sheet_roughness: float
    shallow_velocity: float
    sheet_row: str
    shallow_row: str


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
    feet, inches = length / FOOT, two_year_24h_depth / 0.0254
    return 3600.0 * 0.007 * math.pow(roughness * feet, 0.8) / (math.sqrt(inches) * math.pow(slope, 0.4))


def sheet_flow_limit(slope: float, roughness: float) -> float:
    """Longest sheet flow before water gathers.

    Parameters
    ----------
    slope : float
        [-]
    roughness : float
        Manning's n of sheet flow. [-]

    Returns
    -------
    float
        100 s^0.5 / n in feet, at most 100 ft. [m]

    Raises
    ------
    FlowPathError
        If a number is not finite and positive.

    References
    ----------
    .. [1] NRCS, National Engineering Handbook part 630, ch. 15, 2010, eq. 15-9, after McCuen and Spiess 1995; the
       limit of 100 ft after Merkel 2001. TR-55 of 1986 allowed 300 ft.
    """
    require_positive(FlowPathError, slope=slope, roughness=roughness)
    return min(100.0 * math.sqrt(slope) / roughness * FOOT, SHEET_LIMIT)


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


def channel_velocity_manning(hydraulic_radius: float, slope: float, roughness: float) -> float:
    """Velocity in a channel, for travel time.

    Parameters
    ----------
    hydraulic_radius : float
        Area over wetted perimeter at bank-full. [m]
    slope : float
        [-]
    roughness : float
        Manning's n of the channel. [-]

    Returns
    -------
    float
        [m/s]

    Raises
    ------
    FlowPathError
        If a number is not finite, or the slope is negative, or another is not positive.

    References
    ----------
    .. [1] NRCS, TR-55, 2nd ed., 1986, eq. 3-4 and Worksheet 3, with the factor 1 of metric units.
    """
    require_positive(FlowPathError, hydraulic_radius=hydraulic_radius, roughness=roughness)
    require_not_negative(FlowPathError, slope=slope)
    return math.pow(hydraulic_radius, 2.0 / 3.0) * math.sqrt(slope) / roughness


def slope_on_flats(slope: float) -> float:
    """Slope for travel time, raised where the ground is all but flat.

    Parameters
    ----------
    slope : float
        Of the ground; a rise counts as 0. [-]

    Returns
    -------
    float
        Slope plus 0.0005 up to 0.002; from there 0.0025 until the ground is steeper than that. [-]

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
    return max(ground, min(ground, FLAT) + FLAT_ADDITION)


def time_of_concentration_kirpich(length: float, slope: float) -> float:
    """Time of concentration of a small channelised rural basin.

    Parameters
    ----------
    length : float
        Of the longest path. [m]
    slope : float
        Fall over length, a fraction. [-]

    Returns
    -------
    float
        [s]

    Raises
    ------
    FlowPathError
        If a number is not finite and positive.

    Notes
    -----
    tc = 0.0078 L^0.770 S^-0.385, in minutes and feet.

    References
    ----------
    .. [1] Kirpich, Z. P., "Time of concentration of small agricultural watersheds", Civil Engineering 10(6), 1940, 362;
       TxDOT, "Hydraulic Design Manual", ch. 4 sec. 11, eq. 4-15.
    """
    require_positive(FlowPathError, length=length, slope=slope)
    return 60.0 * 0.0078 * math.pow(length / FOOT, 0.770) * math.pow(slope, -0.385)


def time_of_concentration_faa(length: float, slope: float, coefficient: float) -> float:
    """Time of concentration by the airport drainage formula.

    Parameters
    ----------
    length : float
        Of the longest path. [m]
    slope : float
        Fall over length, a fraction (the formula as printed takes percent). [-]
    coefficient : float
        Rational coefficient, 0 to 1. [-]

    Returns
    -------
    float
        [s]

    Raises
    ------
    FlowPathError
        If the length or slope is not positive, or the coefficient not from 0 to 1.

    Notes
    -----
    t = 1.8 (1.1 - C) L^0.5 / S^(1/3), in minutes, feet and percent.

    References
    ----------
    .. [1] FAA, "Airport Drainage", Advisory Circular 150/5320-5, as printed in an engineering tutorial of 2009.
    """
    require_positive(FlowPathError, length=length, slope=slope)
    if not 0.0 <= coefficient <= 1.0:
        raise FlowPathError(f"rational coefficient is {coefficient}: give one from 0 to 1")
    return 60.0 * 1.8 * (1.1 - coefficient) * math.sqrt(length / FOOT) / math.cbrt(100.0 * slope)


@cache
def _travel_surfaces() -> dict[str, TravelSurface]:
    text = files("pipelines.hydrology").joinpath("travel_surfaces.csv").read_text(encoding="utf-8")
    return {
        row["surface"]: TravelSurface(
            float(row["sheet_n"]), float(row["shallow_ft_s"]) * FOOT, row["sheet_row"], row["shallow_row"]
        )
        for row in csv.DictReader(text.splitlines())
    }
