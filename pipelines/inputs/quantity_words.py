"""Quantities written for people: the trade's unit, rounded as the trade reads it."""

import math

from terrain.unit_table import Units, si_factor

# unit and decimals by kind and system; a decimal comma never, thousands apart from 1,000 up
_WRITTEN: dict[str, dict[str, tuple[str, int]]] = {
    "length": {"us": ("ft", 1), "si": ("m", 1)},
    "level": {"us": ("ft", 2), "si": ("m", 2)},
    "depth": {"us": ("in", 1), "si": ("cm", 0)},
    "area": {"us": ("ft2", 0), "si": ("m2", 0)},
    "volume": {"us": ("ft3", 0), "si": ("m3", 1)},
    "flow": {"us": ("gpm", 0), "si": ("l/s", 1)},
    "large_flow": {"us": ("cfs", 2), "si": ("m3/s", 3)},
    "rate": {"us": ("in/h", 2), "si": ("mm/h", 0)},
    "rain": {"us": ("in", 2), "si": ("mm", 0)},
    "velocity": {"us": ("ft/s", 1), "si": ("m/s", 2)},
    "slope": {"us": ("%", 2), "si": ("%", 2)},
    "return_period": {"us": ("yr", 0), "si": ("yr", 0)},
}
_SHORT, _LONG = 120.0 * 60.0, 72.0 * 3600.0


def format_quantity(value: float | None, kind: str, units: Units = "us") -> str:
    """A quantity as a person reads it."""
    if value is None or not math.isfinite(value):
        return "unknown"
    unit, decimals = _time_unit(value) if kind == "time" else _WRITTEN[kind][units]
    number = round(value / si_factor(unit), decimals) + 0.0
    return f"{number:,.{decimals}f} {unit}"


def _time_unit(seconds: float) -> tuple[str, int]:
    if abs(seconds) < _SHORT:
        return "min", 0
    return ("h", 1) if abs(seconds) < _LONG else ("d", 1)
