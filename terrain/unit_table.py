"""The closed list of units that people may write, and the dimension of each."""

import functools
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final, Literal

Units = Literal["us", "si"]
"""What leaves Python is in one of these."""

INCH: Final = 0.0254
FOOT: Final = 0.3048
US_SURVEY_FOOT: Final = 1200.0 / 3937.0
"""[m]"""
ACRE: Final = 43560.0 * FOOT**2
"""[m2]"""
US_GALLON: Final = 231.0 * INCH**3
CUBIC_YARD: Final = 27.0 * FOOT**3
"""[m3]"""
MINUTE: Final = 60.0
HOUR: Final = 3600.0
DAY: Final = 86400.0
"""[s]"""
GALLON_PER_MINUTE: Final = US_GALLON / MINUTE
CUBIC_FOOT_PER_SECOND: Final = FOOT**3
"""[m3/s]"""
INCH_PER_HOUR: Final = INCH / HOUR
MILLIMETRE_PER_HOUR: Final = 0.001 / HOUR
"""[m/s]"""
POUND: Final = 0.45359237
SHORT_TON: Final = 2000.0 * POUND
"""[kg]"""


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as people write it.

    Attributes
    ----------
    text : str
        As written.
    dimension : str
        What it measures: a key of `DIMENSIONS`.
    pint_name : str
        What pint calls it.
    """

    text: str
    dimension: str
    pint_name: str


_ROWS = (
    ("m", "length", "meter"),
    ("cm", "length", "centimeter"),
    ("mm", "length", "millimeter"),
    ("ft", "length", "foot"),
    ("in", "length", "inch"),
    ("m2", "area", "meter ** 2"),
    ("ft2", "area", "foot ** 2"),
    ("m3", "volume", "meter ** 3"),
    ("ft3", "volume", "foot ** 3"),
    ("yd3", "volume", "yard ** 3"),
    ("gal", "volume", "US_liquid_gallon"),
    ("gpm", "flow", "US_liquid_gallon / minute"),
    ("cfs", "flow", "foot ** 3 / second"),
    ("l/s", "flow", "liter / second"),
    ("m3/s", "flow", "meter ** 3 / second"),
    ("in/h", "rate", "inch / hour"),
    ("mm/h", "rate", "millimeter / hour"),
    ("s", "time", "second"),
    ("min", "time", "minute"),
    ("h", "time", "hour"),
    ("d", "time", "day"),
    ("yr", "return_period", "year"),
    ("hp", "power", "horsepower"),
    ("kW", "power", "kilowatt"),
    ("ton", "mass", "short_ton"),
    ("%", "slope", "percent"),
)
# beyond the closed list: units of rules of the trade, read in [rules] only, and of the take-off, written only
_RULE_ROWS = (
    ("1", "number", "dimensionless"),
    ("ft/s", "velocity", "foot / second"),
    ("m/s", "velocity", "meter / second"),
    ("ft/h", "length_rate", "foot / hour"),
    ("m/h", "length_rate", "meter / hour"),
    ("ft2/h", "area_rate", "foot ** 2 / hour"),
    ("m2/h", "area_rate", "meter ** 2 / hour"),
    ("yd3/h", "volume_rate", "yard ** 3 / hour"),
    ("m3/h", "volume_rate", "meter ** 3 / hour"),
    ("ton/h", "mass_rate", "short_ton / hour"),
    ("kg/h", "mass_rate", "kilogram / hour"),
    ("ton/yd3", "density", "short_ton / yard ** 3"),
    ("kg/m3", "density", "kilogram / meter ** 3"),
    ("1/h", "frequency", "1 / hour"),
    ("ft/in", "clearance", "foot / inch"),
    ("m/cm", "clearance", "meter / centimeter"),
    ("t", "mass", "metric_ton"),
)
UNITS = {text: Unit(text, dimension, pint_name) for text, dimension, pint_name in _ROWS}
RULE_UNITS = UNITS | {text: Unit(text, dimension, pint_name) for text, dimension, pint_name in _RULE_ROWS}

_DEFINITIONS = """
milli- = 1e-3
centi- = 1e-2
deci- = 1e-1
kilo- = 1e3
meter = [length]
second = [time]
gram = [mass]
percent = 0.01
minute = 60 * second
hour = 60 * minute
day = 24 * hour
year = 365.25 * day
yard = 0.9144 * meter
foot = yard / 3
inch = yard / 36
liter = decimeter ** 3
US_liquid_gallon = 231 * inch ** 3
pound = 0.45359237 * kilogram
short_ton = 2000 * pound
metric_ton = 1000 * kilogram
watt = kilogram * meter ** 2 / second ** 3
horsepower = 550 * foot * pound * 9.80665 * meter / second ** 3
"""
"""The units above as pint's own list defines them."""

DIMENSIONS = {
    "length": ("a length", "meter"),
    "area": ("an area", "meter ** 2"),
    "volume": ("a volume", "meter ** 3"),
    "flow": ("a flow", "meter ** 3 / second"),
    "rate": ("a rate of rain or soaking", "meter / second"),
    "time": ("a time", "second"),
    "return_period": ("a return period", "year"),
    "power": ("a power", "watt"),
    "mass": ("a weight", "kilogram"),
    "slope": ("a slope", "dimensionless"),
    "number": ("a number", "dimensionless"),
    "velocity": ("a velocity", "meter / second"),
    "length_rate": ("a length in an hour", "meter / second"),
    "area_rate": ("an area in an hour", "meter ** 2 / second"),
    "volume_rate": ("a volume in an hour", "meter ** 3 / second"),
    "mass_rate": ("a weight in an hour", "kilogram / second"),
    "density": ("a weight by volume", "kilogram / meter ** 3"),
    "frequency": ("a count in an hour", "1 / second"),
    "clearance": ("a distance for each inch", "dimensionless"),
}


def units_of(dimension: str) -> tuple[str, ...]:
    """Units that people may write for a dimension."""
    return tuple(unit.text for unit in RULE_UNITS.values() if unit.dimension == dimension)


def allowed_text(dimension: str) -> str:
    """The units allowed for a dimension as a person reads them, with an example where the form is not plain."""
    if dimension == "slope":
        return 'like "1 %" or "0.1 ft/10 ft"'
    units = units_of(dimension)
    if len(units) == 1:
        return f"in {units[0]}"
    return f"in {', '.join(units[:-1])} or {units[-1]}"


@functools.cache
def si_factor(text: str) -> float:
    """What one of a unit is in the SI unit of its dimension; a return period stays in years. [-]

    References
    ----------
    .. [1] A. Thompson, B. N. Taylor, "Guide for the Use of the International System of Units", NIST Special
       Publication 811, 2008, appendix B.8, DOI 10.6028/NIST.SP.811e2008; pint multiplies.
    """
    unit = RULE_UNITS[text]
    # in decimals, so that an inch is 0.0254 m to the last bit
    one = _registry().Quantity(Decimal(1), unit.pint_name)
    return float(one.to(DIMENSIONS[unit.dimension][1]).magnitude)


@functools.cache
def _registry() -> Any:
    # pint takes a quarter of a second to import, which only those who convert should pay
    import pint

    # nor is its own list of a thousand units read
    registry = pint.UnitRegistry(None, non_int_type=Decimal)
    registry.load_definitions(_DEFINITIONS.strip().splitlines())
    return registry
