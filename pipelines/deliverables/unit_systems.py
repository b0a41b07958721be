"""From SI to the unit that a column's name carries."""

import math
from collections.abc import Iterable
from typing import Literal

import numpy as np

from terrain.arrays import FloatArray

UnitSystem = Literal["si", "us"]

FOOT = 0.3048
INCH = 0.0254
GALLON = 231 * INCH**3

# SI value of one unit, exact by definition (international foot, US gallon of 231 cubic inches)
SI_VALUE = {
    "m": 1.0,
    "mm": 0.001,
    "m2": 1.0,
    "m3": 1.0,
    "m_s": 1.0,
    "l_s": 0.001,
    "mm_h": 0.001 / 3600,
    "in": INCH,
    "ft": FOOT,
    "ft2": FOOT**2,
    "ft3": FOOT**3,
    "ft_s": FOOT,
    "cfs": FOOT**3,
    "gpm": GALLON / 60,
    "in_h": INCH / 3600,
    "min": 60.0,
    "h": 3600.0,
    "pct": 0.01,
    "": 1.0,
}

DIGITS = 10


def from_si(values: Iterable[float | None], unit: str) -> FloatArray:
    """Values in the unit that a column's name carries.

    Parameters
    ----------
    values : iterable of float or None
        In SI. [SI]
    unit : str
        A key of `SI_VALUE`.

    Returns
    -------
    (n,) float ndarray
        NaN where unknown or infinite; rounded to 10 digits, which hides what conversion adds. [unit]
    """
    factor = SI_VALUE[unit]
    return np.array([_rounded(value, factor) for value in values], dtype=np.float64)


def _rounded(value: float | None, factor: float) -> float:
    if value is None or not math.isfinite(value):
        return math.nan
    return float(f"{value / factor:.{DIGITS}g}")


def unit_system(name: str) -> UnitSystem:
    """The unit system of a name from a site file.

    Parameters
    ----------
    name : str
        si or us.

    Returns
    -------
    str
        The same.

    Raises
    ------
    ValueError
        If it is neither.
    """
    if name == "us":
        return "us"
    if name == "si":
        return "si"
    raise ValueError(f"units are si or us, not {name!r}")
