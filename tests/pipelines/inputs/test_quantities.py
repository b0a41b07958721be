"""Quantities as people write them, and back."""

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.deliverables.words.quantities import format_quantity
from pipelines.inputs.errors import QuantityError
from pipelines.inputs.quantity import parse_length, parse_quantity, read_quantity
from terrain.unit_table import RULE_UNITS, UNITS, si_factor, units_of

# Exact by definition: NIST Special Publication 811 (2008), appendix B.8 and B.9, except the year, which stays a year.
NIST = {
    "ft": 0.3048, "in": 0.0254, "ft2": 9.290304e-2, "ft3": 2.831685e-2, "yd3": 7.645549e-1, "gal": 3.785412e-3,
    "gpm": 6.309020e-5, "cfs": 2.831685e-2, "in/h": 7.055556e-6, "hp": 7.456999e2, "ton": 9.071847e2, "h": 3600.0,
    "d": 86400.0, "min": 60.0,
}  # fmt: skip


@pytest.mark.parametrize("unit", NIST)
def test_units_against_the_national_institute(unit):
    assert si_factor(unit) == pytest.approx(NIST[unit], rel=1e-6)


def test_the_closed_list_is_closed():
    listed = "m cm mm ft in m2 ft2 m3 ft3 yd3 gal gpm cfs l/s m3/s in/h mm/h s min h d yr hp kW ton %"
    assert " ".join(UNITS) == listed


@pytest.mark.parametrize(
    "text, dimension, value",
    [
        ("10 cm", "length", 0.10),
        ("2 ft 6 in", "length", 0.762),
        ("2 ft 6-1/2 in", "length", 2 * 0.3048 + 6.5 * 0.0254),
        ("-2 ft 6 in", "length", -0.762),
        ("1-1/2 in", "length", 0.0381),
        ("3/4 in", "length", 0.01905),
        ("3in", "length", 0.0762),
        (" 1.5e2 mm ", "length", 0.15),
        ("+.5 m", "length", 0.5),
        ("101.2 ft", "length", 101.2 * 0.3048),
        ("1 %", "slope", 0.01),
        ("0.1 ft/10 ft", "slope", 0.01),
        ("1-1/2 in / 10 ft", "slope", 1.5 / 120),
        ("1 in/ 1m", "slope", 0.0254),
        ("5 gpm", "flow", 5 * 6.30901964e-05),
        ("3 l/s", "flow", 0.003),
        ("2 in/h", "rate", 2 * 0.0254 / 3600),
        ("20 min", "time", 1200.0),
        ("10 yr", "return_period", 10.0),
        ("1/2 hp", "power", 0.5 * 745.6998715822702),
        ("1.4 ton", "mass", 1270.058636),
        ("100 gal", "volume", 0.3785411784),
    ],
)
def test_what_may_be_written(text, dimension, value):
    assert parse_quantity(text, dimension, "key") == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    "text, dimension, message",
    [
        (3, "length", "the bare number 3 has no unit; write a length in m, cm, mm, ft or in, in quotes"),
        (2.5, "flow", "the bare number 2.5 has no unit; write a flow in gpm, cfs, l/s or m3/s"),
        ("12", "length", '"12" is not one number and one unit'),
        (True, "length", "True is no quantity"),
        (None, "length", "None is no quantity"),
        (["3 ft"], "length", "is no quantity"),
        ("", "length", '"" is not one number and one unit'),
        ("3,5 mm", "length", '"3,5 mm" is not one number and one unit'),
        ("1,200 ft2", "area", "is not one number and one unit"),
        ("9**9**9 m", "length", "is not one number and one unit"),
        ("1+1 ft", "length", "is not one number and one unit"),
        ("2*3 ft", "length", "is not one number and one unit"),
        ("2 ft 13 in", "length", "inches there are less than 12"),
        ("2.5 ft 6 in", "length", "is not one number and one unit"),
        ("6 in 2 ft", "length", "is not one number and one unit"),
        ("2 ft 6", "length", "is not one number and one unit"),
        ("2 m 6 cm", "length", "is not one number and one unit"),
        ("1/0 in", "length", "divides by zero"),
        ("1e999 m", "length", '"1e999 m" is not finite'),
        ("nan m", "length", "is not one number and one unit"),
        ("inf ft", "length", "is not one number and one unit"),
        ("10 FT", "length", 'unknown unit "FT"'),
        ("10 feet", "length", 'unknown unit "feet"'),
        ("10 gmp", "flow", 'unknown unit "gmp" (did you mean "gpm"?)'),
        ("10 gpm", "length", "is a flow, and this is a length; write it in m, cm, mm, ft or in"),
        ("10 ft", "flow", "is a length, and this is a flow"),
        ("10 ft2", "length", "is an area, and this is a length"),
        ("5 ft", "slope", 'is a length, and this is a slope; write it like "1 %" or "0.1 ft/10 ft"'),
        ("0.1/10", "slope", "is not one number and one unit"),
        ("0.1 ft/10", "slope", 'unknown unit "ft/10"'),
        ("1 gal/10 ft", "slope", "is no length over a length"),
        ("1 ft/0 ft", "slope", "divides by zero"),
        ("10 min", "return_period", "is a time, and this is a return period; write it in yr"),
        ("6 ft/s", "flow", 'unknown unit "ft/s"'),
        ("٣ ft", "length", "is not one number and one unit"),
        ("1" * 5000 + " ft", "length", "is too long for a quantity"),
    ],
)
def test_what_may_not(text, dimension, message):
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, dimension, "house.footing_depth")
    assert str(caught.value).startswith("house.footing_depth: ")
    assert message in str(caught.value)
    assert len(str(caught.value)) < 250


def test_parse_length_names_a_length():
    assert parse_length("2 ft 6 in") == pytest.approx(0.762)
    with pytest.raises(QuantityError, match=r"^length: "):
        parse_length("2 gpm")


@given(st.sampled_from(sorted(UNITS)), st.floats(-1e6, 1e6, allow_nan=False).map(lambda x: round(x, 6)))
def test_every_unit_reads_back(unit, number):
    value = read_quantity(f"{number!r} {unit}", UNITS[unit].dimension)
    assert value == pytest.approx(number * si_factor(unit), rel=1e-14, abs=1e-300)


@given(st.sampled_from(sorted(UNITS)), st.sampled_from(sorted({unit.dimension for unit in UNITS.values()})))
def test_a_unit_serves_its_own_dimension_only(unit, dimension):
    if UNITS[unit].dimension == dimension:
        assert math.isfinite(read_quantity(f"1 {unit}", dimension))
        assert unit in units_of(dimension)
    else:
        with pytest.raises(QuantityError):
            read_quantity(f"1 {unit}", dimension)


@given(st.text(max_size=40))
def test_any_text_is_a_number_or_one_message(text):
    for dimension in ("length", "slope", "flow"):
        # anything but a QuantityError would fail here
        with contextlib.suppress(QuantityError):
            assert math.isfinite(read_quantity(text, dimension))


@given(st.integers(0, 40), st.integers(0, 11), st.integers(1, 15))
def test_feet_inches_and_sixteenths(feet, inches, sixteenths):
    total = feet * 12 + inches + sixteenths / 16
    assert parse_length(f"{feet} ft {inches}-{sixteenths}/16 in") == pytest.approx(total * 0.0254, rel=1e-12)


def test_every_unit_of_the_rules_converts():
    assert all(si_factor(unit) > 0.0 for unit in RULE_UNITS)


@pytest.mark.parametrize(
    "value, kind, us, si",
    [
        (3.81, "length", "12.5 ft", "3.8 m"),
        (213.097, "level", "699.14 ft", "213.10 m"),
        (0.0508, "depth", "2.0 in", "5 cm"),
        (1130.93, "area", "12,173 ft2", "1,131 m2"),
        (1.5, "volume", "53 ft3", "1.5 m3"),
        (0.0031, "flow", "49 gpm", "3.1 l/s"),
        (0.05, "large_flow", "1.77 cfs", "50 l/s"),
        (3.528e-5, "rate", "5.00 in/h", "127 mm/h"),
        (0.0762, "rain", "3.00 in", "76 mm"),
        (1.83, "velocity", "6.0 ft/s", "1.83 m/s"),
        (0.01, "slope", "1.00 %", "1.00 %"),
        (10.0, "return_period", "10 yr", "10 yr"),
        (1200.0, "time", "20 min", "20 min"),
        (5 * 3600.0, "time", "5 h", "5 h"),
        (5 * 86400.0, "time", "5.0 d", "5.0 d"),
        (-0.0001, "length", "0.0 ft", "0.0 m"),
        (None, "length", "unknown", "unknown"),
        (math.nan, "flow", "unknown", "unknown"),
    ],
)
def test_quantities_for_people(value, kind, us, si):
    assert format_quantity(value, kind, "us") == us.replace("-0.0", "0.0")
    assert format_quantity(value, kind, "si") == si


@given(
    st.sampled_from(["length", "level", "depth", "flow", "slope"]), st.floats(0.0, 500.0), st.sampled_from(["us", "si"])
)
def test_what_is_written_for_people_reads_back_within_its_rounding(kind, value, units):
    text = format_quantity(value, kind, units)
    dimension = {"level": "length", "depth": "length"}.get(kind, kind)
    number, unit = text.replace(",", "").split()
    decimals = len(number.partition(".")[2])
    assert read_quantity(f"{number} {unit}", dimension) == pytest.approx(
        value, abs=0.5001 * 10.0**-decimals * si_factor(unit)
    )
