"""Quantities of the take-off in the units that the trade buys and digs in."""

from terrain.unit_table import Units, si_factor

_UNITS: dict[str, dict[Units, str]] = {
    "length": {"us": "ft", "si": "m"},
    "area": {"us": "ft2", "si": "m2"},
    "earth": {"us": "yd3", "si": "m3"},
    "weight": {"us": "ton", "si": "t"},
    "hours": {"us": "h", "si": "h"},
    "percent": {"us": "%", "si": "%"},
}


def in_trade_units(quantity: float, kind: str, units: Units) -> tuple[float, str]:
    """A quantity [SI] in the trade's unit, and that unit; what is counted stays as it is."""
    if kind not in _UNITS:
        return quantity, kind
    unit = _UNITS[kind][units]
    return quantity / si_factor(unit), unit
