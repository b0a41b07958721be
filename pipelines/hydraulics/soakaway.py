"""Soakaway: storage against infiltration, only where the soil was tested on site."""

from dataclasses import dataclass
from typing import Literal

from pipelines.hydraulics.limits import require_fraction, require_not_negative, require_positive
from terrain.unit_table import FOOT

SAFETY_FACTOR = 2.0
"""On the tested rate. [-]"""

ABOVE_WATER_TABLE = 3 * FOOT
"""Least height of its bottom over saturated soil, 3 ft. [m]"""

LONGEST_DRY_TIME = 48 * 3600.0
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
    """Whether a soakaway takes a storm.

    Attributes
    ----------
    verdict : str
        works, too small, too slow, too near water, or not assessed.
    why : str
        In a sentence.
    storage, soaked, inflow : float or None
        What its voids hold, what soaks during the storm, what arrives; None where not assessed. [m3]
    dry_time : float or None
        From full to empty. [s]
    """

    verdict: Literal["works", "too small", "too slow", "too near water", "not assessed"]
    why: str
    storage: float | None = None
    soaked: float | None = None
    inflow: float | None = None
    dry_time: float | None = None


def assess_soakaway(
    soakaway: Soakaway,
    inflow_volume: float,
    storm_duration: float,
    *,
    tested_rate: float | None,
    water_table_below_ground: float | None,
    safety_factor: float = SAFETY_FACTOR,
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
        return SoakawayResult("not assessed", "no rate was tested on site at its depth; a soil map is no test")
    if water_table_below_ground is None:
        return SoakawayResult("not assessed", "the seasonal high water table is not known")
    require_not_negative(tested_rate=tested_rate, water_table_below_ground=water_table_below_ground)
    rate = tested_rate / safety_factor
    area = soakaway.length * soakaway.width
    storage = soakaway.porosity * area * soakaway.depth
    soaked = min(rate * area * storm_duration, inflow_volume)
    dry_time = soakaway.porosity * soakaway.depth / rate if rate > 0 else float("inf")
    measured = (storage, soaked, inflow_volume, dry_time)
    clear = water_table_below_ground - soakaway.bottom_below_ground
    if clear < ABOVE_WATER_TABLE:
        why = f"its bottom stands {clear:.2f} m over high water, it must be {ABOVE_WATER_TABLE:.2f} m"
        return SoakawayResult("too near water", why, *measured)
    if inflow_volume > storage + soaked:
        why = f"{inflow_volume:.2f} m3 arrive, it holds {storage:.2f} and soaks {soaked:.2f} meanwhile"
        return SoakawayResult("too small", why, *measured)
    if dry_time > LONGEST_DRY_TIME:
        why = f"it takes {dry_time / 3600:.0f} h to empty, it must be dry in {LONGEST_DRY_TIME / 3600:.0f}"
        return SoakawayResult("too slow", why, *measured)
    return SoakawayResult("works", f"it holds the storm and is dry {dry_time / 3600:.0f} h after", *measured)
