"""Surfaces and soils: the stored tables, with table and row named, and what is looked up in them."""

import csv
import math
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from itertools import pairwise
from typing import Literal, get_args

from pipelines.hydrology.errors import SurfaceError
from pipelines.hydrology.sub_catchment import SurfaceShare
from pipelines.inputs.limits import require_not_negative, require_positive
from terrain.shown_text import quoted
from terrain.unit_table import INCH_PER_HOUR

SoilGroup = Literal["A", "B", "C", "D"]


@dataclass(frozen=True, slots=True)
class SurfaceKind:
    """One row of the curve-number table, whose numbers are for soil groups A to D, average runoff condition."""

    key: str
    impervious: bool
    curve_numbers: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class CoefficientRange:
    """Range of a rational coefficient in a printed table. [-]"""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class InfiltrationRate:
    """What a soil group takes in, and the publication that says so. [m/s]"""

    likely: float
    source: str


@lru_cache(maxsize=256)
def surface_of(name: str) -> SurfaceKind:
    """The surface a person means."""
    table = _surfaces()
    key = "_".join(name.replace(",", " ").replace("-", " ").lower().split())
    key = key if key in table else f"{key}_fair"
    if key not in table:
        raise SurfaceError(f"surface {quoted(name)} is not in the table: give one of {', '.join(table)}")
    return table[key]


def soil_group(group: str, *, compacted: bool = True) -> SoilGroup:
    """Soil group that a lot's runoff is reckoned with.

    Parameters
    ----------
    group : str
        Hydrologic soil group as mapped: A, B, C or D; of a dual group such as B/D the second, undrained one.
    compacted : bool
        Whether building the lot compacted the soil, which makes it one group worse.

    Returns
    -------
    str
        A, B, C or D.

    Raises
    ------
    SurfaceError
        If the group is not one of the four.

    References
    ----------
    .. [1] One group worse on compacted ground: "drop one class if compacted", Minnesota Stormwater Manual, design
       infiltration rates, January 2014; for curve numbers common practice, no source.
    """
    groups = get_args(SoilGroup)
    letter = group.strip().upper().rpartition("/")[2]
    if letter not in groups:
        raise SurfaceError(f"soil group {quoted(group)}: give A, B, C or D, or a dual group such as B/D")
    worse: SoilGroup = groups[min(groups.index(letter) + compacted, 3)]
    return worse


def curve_number(surface: str, group: str) -> float:
    """Curve number of a surface on a soil group, average runoff condition.

    Parameters
    ----------
    surface : str
        Key or words.
    group : str
        A, B, C or D, taken as it is.

    Returns
    -------
    float
        0 to 100. [-]

    Raises
    ------
    SurfaceError
        If the surface or the group is unknown.

    References
    ----------
    .. [1] NRCS, "Urban Hydrology for Small Watersheds", TR-55, 2nd ed., 1986, Tables 2-2a and 2-2c.
    """
    return surface_of(surface).curve_numbers[get_args(SoilGroup).index(soil_group(group, compacted=False))]


def coefficient_range(surface: str, group: str, slope: float) -> CoefficientRange:
    """Rational coefficient of a surface by soil and slope, as printed.

    Parameters
    ----------
    surface : str
        Key or words.
    group : str
        Soil group; A and B count as sandy, C and D as heavy soil.
    slope : float
        Of the ground. [-]

    Returns
    -------
    CoefficientRange
        Printed range. [-]

    Raises
    ------
    SurfaceError
        If the surface, group or slope is none the table knows.

    References
    ----------
    .. [1] ASCE values in Schwab et al., "Soil and Water Conservation Engineering", 4th ed.; the table by soil and
       slope agrees with University of Illinois, TSM 352. Which soil groups are sandy: common practice, no source.
    """
    require_not_negative(SurfaceError, slope=slope)
    key = surface_of(surface).key
    soil = "sandy" if soil_group(group, compacted=False) in ("A", "B") else "heavy"
    for kind, row_soil, slope_from, slope_to, printed in _coefficients():
        if key.partition("_")[0] == kind and row_soil in ("any", soil) and slope_from <= slope < slope_to:
            return printed
    raise SurfaceError(f"no rational coefficient for {quoted(surface)} on soil group {group} at {100 * slope:g} %")


def frequency_factor(return_period: float | None) -> float:
    """Factor on the rational coefficient in storms rarer than 10 years.

    Parameters
    ----------
    return_period : float or None
        None where unknown, which gives 1. [yr]

    Returns
    -------
    float
        1.00 to 10 years, 1.10 at 25, 1.20 at 50, 1.25 from 100; linear in log return period between. [-]

    Raises
    ------
    SurfaceError
        If the return period is not finite and positive.

    References
    ----------
    .. [1] FHWA, "Urban Drainage Design Manual", HEC-22, sec. 3.2.2, from memory.
    """
    if return_period is None:
        return 1.0
    require_positive(SurfaceError, return_period=return_period)
    printed = ((10.0, 1.0), (25.0, 1.1), (50.0, 1.2), (100.0, 1.25))
    if return_period <= printed[0][0]:
        return 1.0
    for (before, low), (after, high) in pairwise(printed):
        if return_period <= after:
            return low + (high - low) * math.log(return_period / before) / math.log(after / before)
    return printed[-1][1]


def runoff_coefficient(surface: str, group: str, slope: float, *, return_period: float | None = None) -> float:
    """Rational coefficient for design: the upper end of the printed range, times the frequency factor, at most 1.

    Parameters
    ----------
    surface : str
        Key or words.
    group : str
        Soil group, taken as it is.
    slope : float
        Of the ground. [-]
    return_period : float or None
        [yr]

    Returns
    -------
    float
        0 to 1. [-]

    Raises
    ------
    SurfaceError
        If the surface, group or slope is none the table knows.

    References
    ----------
    .. [1] As of `coefficient_range` and `frequency_factor`. The upper end: common practice on built lots, no source.
    """
    return min(1.0, coefficient_range(surface, group, slope).high * frequency_factor(return_period))


def surface_share(
    surface: str,
    area: float,
    group: str,
    *,
    slope: float = 0.02,
    return_period: float | None = None,
    connected: bool = True,
    compacted: bool = True,
) -> SurfaceShare:
    """One surface's share of a sub-catchment, with its numbers looked up."""
    require_not_negative(SurfaceError, area=area)
    row = surface_of(surface)
    worse = soil_group(group, compacted=compacted)
    coefficient = runoff_coefficient(row.key, worse, slope, return_period=return_period)
    number = curve_number(row.key, worse)
    return SurfaceShare(row.key, area, number, coefficient, row.impervious, connected or not row.impervious)


def infiltration_rate(group: str, *, compacted: bool = True) -> InfiltrationRate:
    """Rate at which water soaks into a soil, for design: the lower end of the range that is printed for its group.

    Parameters
    ----------
    group : str
        Hydrologic soil group.
    compacted : bool
        Whether to take the soil one group worse than mapped.

    Returns
    -------
    InfiltrationRate
        [m/s]

    Raises
    ------
    SurfaceError
        If the group is unknown.

    Notes
    -----
    Other published sets differ tenfold and more for group A: saturated conductivity (NRCS, National Engineering
    Handbook part 630, ch. 7, Table 7-1) lies above, the minimum rates of TR-55's Appendix A below.

    References
    ----------
    .. [1] Minnesota Stormwater Manual, design infiltration rates, January 2014 table.
    """
    return _infiltration()[soil_group(group, compacted=compacted)]


def _read(name: str) -> list[dict[str, str]]:
    text = files("pipelines.hydrology").joinpath(name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


@cache
def _surfaces() -> dict[str, SurfaceKind]:
    return {
        row["surface"]: SurfaceKind(
            row["surface"],
            row["impervious"] == "1",
            (float(row["group_a"]), float(row["group_b"]), float(row["group_c"]), float(row["group_d"])),
        )
        for row in _read("curve_numbers.csv")
    }


@cache
def _coefficients() -> list[tuple[str, str, float, float, CoefficientRange]]:
    return [
        (
            row["surface"],
            row["soil"],
            float(row["slope_from"]),
            float(row["slope_to"]),
            CoefficientRange(float(row["low"]), float(row["high"])),
        )
        for row in _read("runoff_coefficients.csv")
    ]


@cache
def _infiltration() -> dict[str, InfiltrationRate]:
    return {
        row["group"]: InfiltrationRate(float(row["likely_in_h"]) * INCH_PER_HOUR, row["source"])
        for row in _read("infiltration_rates.csv")
    }
