"""A depth alone, spread by the ratios of a type: every duration's depth, all of it, whatever the units."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydrology.errors import RainError
from pipelines.hydrology.rain.design_rain import rain_given
from pipelines.hydrology.rain.rain_types import rain_of_type, ratio_of, type_ratios
from pipelines.inputs.quantity import read_quantity

TYPES = ("I", "IA", "II", "III")
DEPTHS, KINDS = st.floats(0.005, 0.5), st.sampled_from(TYPES)
BLOCKS = st.integers(1, 576)


def spread(depth, duration, kind="II"):
    return rain_given(depth, duration, two_year_24h_depth=0.08, rain_type=kind)


def largest_depth(storm, count):
    fallen = storm.cumulative
    return (fallen[count:] - fallen[:-count]).max()


@given(DEPTHS, BLOCKS, KINDS)
def test_a_spread_rain_keeps_its_depth(depth, blocks, kind):
    storm = spread(depth, 300.0 * blocks, kind).storm
    assert storm.depth == pytest.approx(depth, rel=1e-9)
    assert storm.step * storm.depths.size == pytest.approx(storm.duration)
    assert (storm.depths > 0.0).all()


@given(DEPTHS, BLOCKS, KINDS, st.data())
def test_the_heaviest_rain_of_any_time_within_is_the_curve_s(depth, blocks, kind, data):
    """To 1 %: where a published curve bends upwards, blocks sorted by size hold a little more than it."""
    count = data.draw(st.integers(1, blocks))
    rain = spread(depth, 300.0 * blocks, kind)
    curve = depth * ratio_of(300.0 * count, kind) / ratio_of(300.0 * blocks, kind)
    held = largest_depth(rain.storm, count)
    assert curve * (1.0 - 1e-9) <= held <= curve * 1.01
    assert rain.intensity(300.0 * count) == pytest.approx(curve / (300.0 * count), rel=0.01)


@given(DEPTHS, st.floats(60.0, 172800.0), KINDS, st.floats(60.0, 172800.0), st.floats(1.0, 10.0))
def test_intensity_rises_as_time_shrinks_and_the_rain_falls_short_of_no_mean(depth, duration, kind, short, times):
    rain = spread(depth, duration, kind)
    assert rain.intensity(short) >= rain.intensity(short * times) * (1.0 - 1e-9)
    assert rain.intensity(short) >= depth / max(duration, short, 300.0) * (1.0 - 1e-9)


@given(DEPTHS, KINDS)
def test_past_its_end_no_more_falls(depth, kind):
    assert spread(depth, 3600.0, kind).intensity(7200.0) == pytest.approx(depth / 7200.0)


@pytest.mark.parametrize(
    ("us", "si"), [(("4 in", "24 h"), ("101.6 mm", "1440 min")), (("2 in", "1 h"), ("5.08 cm", "3600 s"))]
)
def test_units_are_no_part_of_the_answer(us, si):
    def rain(depth, duration):
        return spread(read_quantity(depth, "length"), read_quantity(duration, "time"))

    assert rain(*us).storm.depths == pytest.approx(rain(*si).storm.depths, rel=1e-12)
    assert rain(*us).intensity(420.0) == pytest.approx(rain(*si).intensity(420.0), rel=1e-12)


@given(DEPTHS, st.floats(0.1, 10.0), KINDS)
def test_twice_the_depth_is_twice_the_storm(depth, times, kind):
    one, other = spread(depth, 86400.0, kind), spread(times * depth, 86400.0, kind)
    assert other.storm.depths == pytest.approx(times * one.storm.depths, rel=1e-9)


def test_a_short_rain_holds_the_same_share_in_its_minutes_as_a_long_one():
    """5 minutes are 0.29 of the hour in both."""
    hour, day = rain_of_type(0.05, 3600.0, "II"), rain_of_type(0.05 / 0.4537, 86400.0, "II")
    assert hour.depths[0, 0] == pytest.approx(day.depths[0, 0], rel=1e-3)


def test_a_rain_shorter_than_five_minutes_is_even():
    rain = spread(0.01, 120.0)
    assert (rain.storm.depths.size, rain.intensity(60.0)) == (1, pytest.approx(0.01 / 120.0))


@pytest.mark.parametrize("kind", TYPES)
def test_ratios_rise_to_the_day(kind):
    durations, ratios = type_ratios(kind)
    assert (durations[0], durations[-1], ratios[-1]) == (300.0, 86400.0, 1.0)
    assert (np.diff(ratios) > 0.0).all()
    assert (np.diff(ratios / durations) < 0.0).all()
    assert ratio_of(172800.0, kind) > 1.0


def test_what_is_no_type_or_no_depth_is_refused():
    with pytest.raises(RainError, match="give one of I, IA, II, III"):
        rain_of_type(0.1, 3600.0, "IV")
    with pytest.raises(RainError, match="depth"):
        rain_of_type(-0.1, 3600.0, "II")
