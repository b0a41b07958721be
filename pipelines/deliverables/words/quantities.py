"""Quantities written for people: the trade's unit, rounded as the trade reads it."""

import math

from terrain.unit_table import HOUR, MINUTE, Units, si_factor

# unit and decimals by kind and system; a decimal comma never, thousands apart from 1,000 up
_WRITTEN: dict[str, dict[Units, tuple[str, int]]] = {
    "length": {"us": ("ft", 1), "si": ("m", 1)},
    "long_length": {"us": ("ft", 0), "si": ("m", 0)},
    "level": {"us": ("ft", 2), "si": ("m", 2)},
    "depth": {"us": ("in", 1), "si": ("cm", 0)},
    "diameter": {"us": ("in", 2), "si": ("mm", 0)},
    "area": {"us": ("ft2", 0), "si": ("m2", 0)},
    "volume": {"us": ("ft3", 0), "si": ("m3", 1)},
    "water": {"us": ("gal", 0), "si": ("m3", 3)},
    "earth": {"us": ("yd3", 1), "si": ("m3", 1)},
    "flow": {"us": ("gpm", 0), "si": ("l/s", 1)},
    "large_flow": {"us": ("cfs", 2), "si": ("l/s", 0)},
    "rate": {"us": ("in/h", 2), "si": ("mm/h", 0)},
    "rain": {"us": ("in", 2), "si": ("mm", 0)},
    "velocity": {"us": ("ft/s", 1), "si": ("m/s", 2)},
    "slope": {"us": ("%", 2), "si": ("%", 2)},
    "return_period": {"us": ("yr", 0), "si": ("yr", 0)},
}
KINDS = (*_WRITTEN, "time", "money", "share", "count")
UNKNOWN = "unknown"
_MINUTES_UP_TO, _HOURS_UP_TO = 120.0 * MINUTE, 48.0 * HOUR


def format_quantity(value: float | None, kind: str, units: Units = "us") -> str:
    """A quantity as a person reads it; None and what is not finite are "unknown".

    Raises
    ------
    KeyError
        If the kind is none of `KINDS`.
    """
    if value is None or not math.isfinite(value):
        return UNKNOWN
    if kind == "money":
        return f"{round(value, -1 if abs(value) < 1000.0 else -2):,.0f}"
    if kind == "share":
        return f"{value:.0%}"
    if kind == "count":
        return f"{value:,.0f}"
    unit, decimals = _time_unit(value) if kind == "time" else _WRITTEN[kind][units]
    number = round(value / si_factor(unit), decimals) + 0.0
    return f"{number:,.{decimals}f} {unit}"


def _time_unit(seconds: float) -> tuple[str, int]:
    if abs(seconds) < _MINUTES_UP_TO:
        return "min", 0
    return ("h", 0) if abs(seconds) < _HOURS_UP_TO else ("d", 1)
