"""Every unit factor against a general library's own list of units."""

import re
from decimal import Decimal

import pint
import pytest

from terrain.unit_table import DIMENSIONS, RULE_UNITS, si_factor

NAMES = {
    "m": "meter", "cm": "centimeter", "mm": "millimeter", "ft": "foot", "in": "inch", "yd": "yard", "l": "liter",
    "gal": "US_liquid_gallon", "gpm": "US_liquid_gallon / minute", "cfs": "foot ** 3 / second", "s": "second",
    "min": "minute", "h": "hour", "d": "day", "yr": "year", "hp": "horsepower", "kW": "kilowatt", "ton": "short_ton",
    "t": "metric_ton", "kg": "kilogram", "%": "percent", "1": "1",
}  # fmt: skip


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry:
    return pint.UnitRegistry(non_int_type=Decimal)


@pytest.mark.parametrize("text", RULE_UNITS)
def test_a_factor_is_that_of_pint(text: str, registry: pint.UnitRegistry) -> None:
    """In decimals, so that both are the same to the last bit."""
    parts = [re.fullmatch(r"([a-zA-Z%]+|1)([23]?)", part) for part in text.split("/")]
    over, *under = [registry(NAMES[part[1]]) ** int(part[2] or 1) for part in parts if part]
    one = over / under[0] if under else registry.Quantity(Decimal(1), "") * over
    assert si_factor(text) == float(one.to(DIMENSIONS[RULE_UNITS[text].dimension][1]).magnitude)
