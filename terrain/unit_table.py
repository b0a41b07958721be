"""The closed list of units that people may write, and the dimension of each."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

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
    one : float
        What one of it is in the SI unit of its dimension; a return period stays in years. [-]
    """

    text: str
    dimension: str
    one: float


# exact, so that an inch is 0.0254 m to the last bit
_CM, _MM, _IN = Fraction("0.01"), Fraction("0.001"), Fraction("0.0254")
_FT, _YD, _GAL = 12 * _IN, 36 * _IN, 231 * _IN**3
_MIN, _H = Fraction(60), Fraction(3600)
_LB = Fraction("0.45359237")
_TON, _HP = 2000 * _LB, 550 * _FT * _LB * Fraction("9.80665")

_ROWS = (
    ("m", "length", 1),
    ("cm", "length", _CM),
    ("mm", "length", _MM),
    ("ft", "length", _FT),
    ("in", "length", _IN),
    ("m2", "area", 1),
    ("ft2", "area", _FT**2),
    ("m3", "volume", 1),
    ("ft3", "volume", _FT**3),
    ("yd3", "volume", _YD**3),
    ("gal", "volume", _GAL),
    ("gpm", "flow", _GAL / _MIN),
    ("cfs", "flow", _FT**3),
    ("l/s", "flow", _MM),
    ("m3/s", "flow", 1),
    ("in/h", "rate", _IN / _H),
    ("mm/h", "rate", _MM / _H),
    ("s", "time", 1),
    ("min", "time", _MIN),
    ("h", "time", _H),
    ("d", "time", 24 * _H),
    ("yr", "return_period", 1),
    ("hp", "power", _HP),
    ("kW", "power", 1000),
    ("ton", "mass", _TON),
    ("%", "slope", _CM),
)
# beyond the closed list: units of rules of the trade, read in [rules] only, and of the take-off, written only
_RULE_ROWS = (
    ("1", "number", 1),
    ("ft/s", "velocity", _FT),
    ("m/s", "velocity", 1),
    ("ft/h", "length_rate", _FT / _H),
    ("m/h", "length_rate", 1 / _H),
    ("ft2/h", "area_rate", _FT**2 / _H),
    ("m2/h", "area_rate", 1 / _H),
    ("yd3/h", "volume_rate", _YD**3 / _H),
    ("m3/h", "volume_rate", 1 / _H),
    ("ton/h", "mass_rate", _TON / _H),
    ("kg/h", "mass_rate", 1 / _H),
    ("ton/yd3", "density", _TON / _YD**3),
    ("kg/m3", "density", 1),
    ("1/h", "frequency", 1 / _H),
    ("ft/in", "clearance", _FT / _IN),
    ("m/cm", "clearance", Fraction(1, _CM)),
    ("t", "mass", 1000),
)
UNITS = {text: Unit(text, dimension, float(one)) for text, dimension, one in _ROWS}
RULE_UNITS = UNITS | {text: Unit(text, dimension, float(one)) for text, dimension, one in _RULE_ROWS}

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


def si_factor(text: str) -> float:
    """What one of a unit is in the SI unit of its dimension; a return period stays in years. [-]

    References
    ----------
    .. [1] A. Thompson, B. N. Taylor, "Guide for the Use of the International System of Units", NIST Special
       Publication 811, 2008, appendix B.8, DOI 10.6028/NIST.SP.811e2008.
    """
    return RULE_UNITS[text].one
