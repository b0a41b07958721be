"""Quantities written for people: the trade's unit, rounded as the trade reads it."""

import math

from terrain.unit_table import CUBIC_YARD, FOOT, HOUR, MINUTE, Units, si_factor

# unit and decimals by kind and system; a decimal comma never, thousands apart from 1,000 up
_WRITTEN: dict[str, dict[Units, tuple[str, int]]] = {
    "length": {"us": ("ft", 1), "si": ("m", 1)},
    "long_length": {"us": ("ft", 0), "si": ("m", 0)},
    "level": {"us": ("ft", 2), "si": ("m", 2)},
    "depth": {"us": ("in", 1), "si": ("cm", 0)},
    "size": {"us": ("in", 0), "si": ("cm", 0)},
    "diameter": {"us": ("in", 2), "si": ("mm", 0)},
    "area": {"us": ("ft2", 0), "si": ("m2", 0)},
    "volume": {"us": ("ft3", 0), "si": ("m3", 1)},
    "water": {"us": ("gal", 0), "si": ("m3", 3)},
    "earth": {"us": ("yd3", 1), "si": ("m3", 1)},
    "little_earth": {"us": ("ft3", 0), "si": ("m3", 2)},
    "flow": {"us": ("gpm", 0), "si": ("l/s", 1)},
    "large_flow": {"us": ("cfs", 2), "si": ("l/s", 0)},
    "rate": {"us": ("in/h", 2), "si": ("mm/h", 0)},
    "rain": {"us": ("in", 2), "si": ("mm", 0)},
    "velocity": {"us": ("ft/s", 1), "si": ("m/s", 2)},
    "slope": {"us": ("%", 2), "si": ("%", 2)},
    "share": {"us": ("%", 0), "si": ("%", 0)},
    "return_period": {"us": ("yr", 0), "si": ("yr", 0)},
    "count": {"us": ("", 0), "si": ("", 0)},
    "amount": {"us": ("", 1), "si": ("", 1)},
    "coefficient": {"us": ("", 2), "si": ("", 2)},
}
KINDS = (*_WRITTEN, "time", "money")
UNKNOWN = "unknown"
BARROW = 3.0 * FOOT**3
"""Soil that a wheelbarrow takes; common practice, no source. [m3]"""
_TENTHS_UP_TO, _MINUTES_UP_TO, _HOURS_UP_TO = 10.0 * MINUTE, 120.0 * MINUTE, 48.0 * HOUR


def format_quantity(value: float | None, kind: str, units: Units = "us") -> str:
    """A quantity of one of `KINDS` as a person reads it; None and what is not finite are "unknown"."""
    return " ".join(part for part in written(value, kind, units) if part)


def written(value: float | None, kind: str, units: Units) -> tuple[str, str]:
    """Number and unit, each as a person reads it; no unit where there is none."""
    if value is None or not math.isfinite(value):
        return UNKNOWN, ""
    if kind == "money":
        return f"{_round_money(value):,.0f}", ""
    unit, decimals = _time_unit(value) if kind == "time" else _WRITTEN[kind][units]
    return f"{round(value / _one(unit), decimals) + 0.0:,.{decimals}f}", unit


def soil_words(volume: float, units: Units) -> str:
    """Soil that is brought: by barrow loads too where that is how it comes."""
    loads = max(math.ceil(round(volume / BARROW, 6)), 1)
    if volume >= CUBIC_YARD:
        return f"{format_quantity(volume, 'earth', units)} of soil"
    told = format_quantity(volume, "little_earth", units)
    return f"{told} of soil ({loads} barrow load{'s' if loads > 1 else ''})"


def unit_of(kind: str, units: Units) -> tuple[str, float, int]:
    """Unit of a kind, what one of it is in SI, and its decimals. [-]"""
    unit, decimals = _WRITTEN[kind][units]
    return unit, _one(unit), decimals


def _one(unit: str) -> float:
    return si_factor(unit) if unit else 1.0


def _round_money(value: float) -> float:
    """To the nearest 10 below 1,000 and 100 above; what is under 10 to the nearest 1, so that it is not for nothing."""
    return round(value, 0 if abs(value) < 10.0 else -1 if abs(value) < 1000.0 else -2) + 0.0


def _time_unit(seconds: float) -> tuple[str, int]:
    if abs(seconds) < _MINUTES_UP_TO:
        return "min", 1 if 0.0 < abs(seconds) < _TENTHS_UP_TO and seconds % MINUTE else 0
    return ("h", 0) if abs(seconds) < _HOURS_UP_TO else ("d", 1)
