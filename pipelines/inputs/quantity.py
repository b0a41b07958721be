"""Quantities as people write them: one finite number and one unit from a closed list.

`parse_quantity("2 ft 6 in", "length", "house.footing_depth")` gives SI; `format_quantity` goes back to words.
Dimensions are length [m], area [m2], volume [m3], flow [m3/s], rate [m/s], time [s], return_period [yr],
power [W], mass [kg] and slope [-].
"""

import difflib
import math
import re
from collections.abc import Mapping

from pipelines.inputs.errors import QuantityError
from terrain.shown_text import quoted
from terrain.unit_table import DIMENSIONS, UNITS, Unit, allowed_text, si_factor

_NUMBER = r"(?:\d+-\d{1,4}/\d{1,4}|\d{1,4}/\d{1,4}|(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)"
_UNIT = r"(?:1/)?[A-Za-z%][A-Za-z0-9/%]*"
# digits of other scripts are no digits here
_ONE = re.compile(rf"([+-]?)({_NUMBER})\s*({_UNIT})", re.ASCII)
_FEET_AND_INCHES = re.compile(rf"([+-]?)(\d+)\s*ft\s+({_NUMBER})\s*in", re.ASCII)
_SLOPE = re.compile(rf"([+-]?)({_NUMBER})\s*({_UNIT}?)\s*/\s*({_NUMBER})\s*({_UNIT})", re.ASCII)
_LONGEST = 60


def parse_quantity(text: object, dimension: str, key: str) -> float:
    """Read a quantity. [SI]"""
    try:
        return read_quantity(text, dimension)
    except QuantityError as error:
        raise QuantityError(f"{key}: {error}") from None


def parse_length(text: object, key: str = "length") -> float:
    """Read a length. [m]"""
    return parse_quantity(text, "length", key)


def read_quantity(text: object, dimension: str, units: Mapping[str, Unit] = UNITS) -> float:
    """Read a quantity whose key the caller names.

    Parameters
    ----------
    text : str
        As written.
    dimension : str
        What it must measure, a key of `DIMENSIONS`.
    units : mapping
        Units that may stand in it, by text.

    Returns
    -------
    float
        In the SI unit of the dimension; return periods in years. [SI]

    Raises
    ------
    QuantityError
        If it is no finite number with one allowed unit of that dimension; the message names no key.
    """
    name = DIMENSIONS[dimension][0]
    write = f"write {name} {allowed_text(dimension)}"
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise QuantityError(f"{quoted(text)} is no quantity; {write}")
    if isinstance(text, (int, float)):
        raise QuantityError(f"the bare number {quoted(text)} has no unit; {write}, in quotes")
    stripped = text.strip()
    if len(stripped) > _LONGEST:
        raise QuantityError(f"{quoted(text)} is too long for a quantity; {write}")
    value = _value(stripped, dimension, units)
    if not math.isfinite(value):
        raise QuantityError(f"{quoted(stripped)} is not finite; {write}")
    return value


def _value(text: str, dimension: str, units: Mapping[str, Unit]) -> float:
    name = DIMENSIONS[dimension][0]
    write = f"write {name} {allowed_text(dimension)}"
    both = _FEET_AND_INCHES.fullmatch(text)
    if both and dimension == "length":
        inches = _number(both[3], text)
        if inches >= 12.0:
            raise QuantityError(f"{quoted(text)} has {inches:g} in beside feet; inches there are less than 12")
        return _signed(both[1], int(both[2]) * si_factor("ft") + inches * si_factor("in"))
    slope = _SLOPE.fullmatch(text)
    if slope and dimension == "slope":
        return _slope(text, slope)
    one = _ONE.fullmatch(text)
    if one is None:
        raise QuantityError(f"{quoted(text)} is not one number and one unit; {write}")
    unit = units.get(one[3])
    if unit is None:
        near = difflib.get_close_matches(one[3], units, n=1, cutoff=0.5)
        hint = f' (did you mean "{near[0]}"?)' if near else ""
        raise QuantityError(f"{quoted(text)} has the unknown unit {quoted(one[3])}{hint}; {write}")
    if unit.dimension != dimension:
        got = DIMENSIONS[unit.dimension][0]
        raise QuantityError(f"{quoted(text)} is {got}, and this is {name}; write it {allowed_text(dimension)}")
    return _signed(one[1], _number(one[2], text) * si_factor(unit.text))


def _slope(text: str, parts: re.Match[str]) -> float:
    sign, rise, rise_unit, run, run_unit = parts.groups()
    for unit in (rise_unit, run_unit):
        if unit not in UNITS or UNITS[unit].dimension != "length":
            raise QuantityError(f'{quoted(text)} is no length over a length; write a slope {allowed_text("slope")}')
    length = _number(run, text) * si_factor(run_unit)
    if length == 0.0:
        raise QuantityError(f'{quoted(text)} divides by zero; write a slope {allowed_text("slope")}')
    return _signed(sign, _number(rise, text) * si_factor(rise_unit) / length)


def _number(digits: str, text: str) -> float:
    if "/" not in digits:
        return float(digits)
    whole, _, fraction = digits.rpartition("-")
    top, bottom = fraction.split("/")
    if int(bottom) == 0:
        raise QuantityError(f"{quoted(text)} divides by zero")
    return (int(whole) if whole else 0) + int(top) / int(bottom)


def _signed(sign: str, value: float) -> float:
    return -value if sign == "-" else value
