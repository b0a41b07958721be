"""Soakaway: storage against infiltration, only where the soil was tested on site."""

from dataclasses import dataclass
from math import inf, isfinite
from typing import Literal

from pipelines.hydraulics.limits import require_fraction, require_not_negative, require_positive
from terrain.reason import Reason, reason
from terrain.unit_table import FOOT, HOUR

SAFETY_FACTOR = 2.0
"""On the tested rate. [-]"""

ABOVE_WATER_TABLE = 3 * FOOT
"""Least height of its bottom over saturated soil, 3 ft. [m]"""

LONGEST_DRY_TIME = 48 * HOUR
"""Empty again within two days. [s]"""


@dataclass(frozen=True, slots=True)
class Soakaway:
    """A pit or trench of stone that lets water into the soil.

    Attributes
    ----------
    length, width, depth : float
        Of the stone. [m]
    porosity : float
        Voids over whole volume. [-]
    bottom_below_ground : float
        [m]
    """

    length: float
    width: float
    depth: float
    porosity: float
    bottom_below_ground: float


@dataclass(frozen=True, slots=True)
class SoakawayResult:
    """Whether a soakaway takes a storm, and why."""

    verdict: Literal["works", "too small", "too slow", "too near water", "not assessed"]
    why: Reason


def assess_soakaway(
    soakaway: Soakaway,
    inflow_volume: float,
    storm_duration: float,
    *,
    tested_rate: float | None,
    water_table_below_ground: float | None,
    safety_factor: float = SAFETY_FACTOR,
    above_saturated: float = ABOVE_WATER_TABLE,
    dry_within: float = LONGEST_DRY_TIME,
) -> SoakawayResult:
    """Whether a soakaway holds and lets go what a storm brings.

    Parameters
    ----------
    soakaway : Soakaway
        Its size.
    inflow_volume : float
        That the storm brings. [m3]
    storm_duration : float
        [s]
    tested_rate : float or None
        Rate measured on site at its depth; a rate from a soil map is none. [m/s]
    water_table_below_ground : float or None
        Seasonal high water. [m]
    safety_factor : float, optional
        On the rate, 1 or more. [-]
    above_saturated : float, optional
        Least height of its bottom over high water. [m]
    dry_within : float, optional
        Time in which it must be empty again. [s]

    Returns
    -------
    SoakawayResult
        Not assessed where either is not known. [m3], [s]

    Raises
    ------
    HydraulicsError
        If a number is out of range.

    Notes
    -----
    It holds where inflow <= n V + f A t, A its bottom; it empties in n d / f. Its sides, which silt last but are wet
    only while it is full, are left out.

    References
    ----------
    .. [1] Stormwater Manager's Resource Center, infiltration criteria: porosity 0.40, dry in 48 h, 3 ft over saturated
       soil.
    """
    require_positive(length=soakaway.length, width=soakaway.width, depth=soakaway.depth)
    require_positive(porosity=soakaway.porosity, safety_factor=safety_factor)
    require_fraction(porosity=soakaway.porosity, share_of_the_tested_rate=1 / safety_factor)
    require_not_negative(inflow_volume=inflow_volume, storm_duration=storm_duration)
    require_not_negative(bottom_below_ground=soakaway.bottom_below_ground)
    if tested_rate is None:
        return SoakawayResult("not assessed", reason("soaking_rate_not_tested"))
    if water_table_below_ground is None:
        return SoakawayResult("not assessed", reason("water_table_unknown"))
    require_not_negative(tested_rate=tested_rate, water_table_below_ground=water_table_below_ground)
    rate = tested_rate / safety_factor
    area = soakaway.length * soakaway.width
    storage = soakaway.porosity * area * soakaway.depth
    soaked = min(rate * area * storm_duration, inflow_volume)
    dry_time = soakaway.porosity * soakaway.depth / rate if rate > 0 else inf
    clear = water_table_below_ground - soakaway.bottom_below_ground
    if clear < above_saturated:
        return SoakawayResult("too near water", reason("dry_well_near_water", clear=clear, least=above_saturated))
    if inflow_volume > storage + soaked:
        why = reason("dry_well_too_small", inflow=inflow_volume, storage=storage, soaked=soaked)
        return SoakawayResult("too small", why)
    if dry_time > dry_within:
        told = dry_time if isfinite(dry_time) else None
        return SoakawayResult("too slow", reason("dry_well_too_slow", dry_time=told, most=dry_within))
    why = reason("dry_well_works", inflow=inflow_volume, storage=storage, soaked=soaked, dry_time=dry_time)
    return SoakawayResult("works", why)
