"""What a quantity of a site file may be, by its key: least and greatest, far beyond any lot and finite."""

from typing import Final

from pipelines.inputs.errors import QuantityError
from pipelines.inputs.quantity import read_quantity
from terrain.shown_text import quoted

LOWEST: Final = -500.0
HIGHEST: Final = 9000.0
"""Heights of dry land lie between the Dead Sea's shore and Everest's top (from memory), in any common datum. [m]"""
_LAND = (f"{LOWEST:g} m", f"{HIGHEST:g} m")

SLACK: Final = 1e-9
"""Of a range's end, which may be written in another unit. [-]"""

SITE_RANGES: Final[dict[str, tuple[str, str, str]]] = {
    "elevation.rmse": ("length", "1 mm", "10 m"),
    "house.floor": ("length", *_LAND),
    "house.footing_depth": ("length", "1 cm", "30 m"),
    "rain.depth": ("length", "0.1 mm", "100 m"),
    "rain.duration": ("time", "1 s", "30 d"),
    "rain.return_period": ("return_period", "0.01 yr", "1000000 yr"),
    "soil.tested_rate": ("rate", "0.001 mm/h", "100000 mm/h"),
    "soil.water_table": ("length", "1 mm", "1000 m"),
    "layout.slope": ("slope", "0.001 %", "99.9 %"),
    "layout.cover": ("length", "1 mm", "30 m"),
    "layout.gate": ("length", "1 cm", "1000 m"),
    "layout.keep_dry": ("return_period", "0.01 yr", "1000000 yr"),
    "swales.spacing": ("length", "10 cm", "1000 m"),
    "swales.freeboard": ("length", "0 m", "30 m"),
    "swales.downstream_level": ("length", *_LAND),
    "swales.max_depth": ("length", "1 cm", "30 m"),
    "swales.max_top_width": ("length", "1 cm", "1000 m"),
    "swales.side_slope": ("slope", "0.1 %", "10000 %"),
    "swales.bottom_width": ("length", "0 m", "1000 m"),
}


def quantity_in_range(value: object, key: str) -> float:
    """A quantity of a site file, within its key's range. [SI]"""
    dimension, least, most = SITE_RANGES[key]
    number = read_quantity(value, dimension)
    low, high = read_quantity(least, dimension), read_quantity(most, dimension)
    if number <= 0.0 < low:
        raise QuantityError(f"{quoted(value)} must be more than zero")
    if number < 0.0 == low:
        raise QuantityError(f"{quoted(value)} must not be negative")
    if not low - SLACK * abs(low) <= number <= high + SLACK * abs(high):
        raise QuantityError(f"{quoted(value)} is out of range; it may be from {least} to {most}")
    return number
