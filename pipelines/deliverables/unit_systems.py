"""From SI to the unit that a column's name carries."""

import math
from collections.abc import Iterable

import numpy as np

from terrain.arrays import FloatArray
from terrain.unit_table import Units, si_factor

DIGITS = 10


def unit_value(suffix: str) -> float:
    """What one of the unit in a column's name is in SI. [-]"""
    if not suffix:
        return 1.0
    return si_factor("%" if suffix == "pct" else suffix.replace("_", "/"))


def from_si(values: Iterable[float | None], suffix: str) -> FloatArray:
    """Values in the unit that a column's name carries. [unit]"""
    one = unit_value(suffix)
    return np.array([_rounded(value, one) for value in values], dtype=np.float64)


def unit_system(name: str) -> Units:
    """The unit system of a name from a site file."""
    if name == "us":
        return "us"
    if name == "si":
        return "si"
    raise ValueError(f"units are si or us, not {name!r}")


def _rounded(value: float | None, one: float) -> float:
    if value is None or not math.isfinite(value):
        return math.nan
    return float(f"{value / one:.{DIGITS}g}")
