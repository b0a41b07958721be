"""Rain from a table: never past its edges, monotone, and a measured rain finds its return period again."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydrology.errors import RainError
from pipelines.hydrology.rain.rainfall import (
    depths_of_duration,
    rain_depth,
    rain_depths,
)
from pipelines.hydrology.storm_question import which_storm
from pipelines.inputs.tables.rain_table import RainTable


def table(series="partial_duration", **changes):
    """Invented: depth grows with the square root of duration and with the logarithm of return period."""
    durations = changes.get("durations", np.array([300.0, 600.0, 1800.0, 3600.0, 86400.0]))
    years = changes.get("years", np.array([1.0, 2.0, 10.0, 100.0]))
    depths = 0.002 * np.sqrt(durations / 60.0)[:, None] * (1.0 + 0.4 * np.log(years))[None, :]
    return RainTable(durations, years, depths, series, "rain.csv")


INSIDE = st.floats(300.0, 86400.0)
YEARS = st.floats(1.0, 100.0)


@given(INSIDE, INSIDE, YEARS)
def test_depth_rises_and_intensity_falls_with_duration(first, second, years):
    short, long = sorted((first, second))
    assert rain_depth(table(), short, years) <= rain_depth(table(), long, years) * (1 + 1e-12)
    assert rain_depth(table(), short, years) / short >= rain_depth(table(), long, years) / long * (1 - 1e-12)


@given(INSIDE, YEARS, YEARS)
def test_depth_rises_with_return_period(duration, first, second):
    low, high = sorted((first, second))
    assert rain_depth(table(), duration, low) <= rain_depth(table(), duration, high) * (1 + 1e-12)


@given(INSIDE, YEARS)
def test_a_rain_of_the_table_finds_its_return_period(duration, years):
    found = which_storm(table(), rain_depth(table(), duration, years), duration)
    assert found.return_period == pytest.approx(years, rel=1e-9)
    assert (found.beyond_table, found.below_table) == (False, False)


@given(st.lists(st.one_of(INSIDE, st.sampled_from([300.0, 1800.0, 86400.0])), min_size=1), YEARS)
def test_many_durations_are_told_as_each_by_itself(durations, years):
    one_by_one = [rain_depth(table(), duration, years) for duration in durations]
    assert rain_depths(table(), np.array(durations), years).tolist() == one_by_one


def test_of_many_durations_the_first_outside_is_told():
    with pytest.raises(RainError, match="duration 48 h"):
        rain_depths(table(), np.array([600.0, 172800.0, 240.0]), 10.0)


def test_entries_come_back_bit_for_bit():
    rain = table()
    for row, duration in enumerate(rain.durations):
        assert np.array_equal(depths_of_duration(rain, duration), rain.depths[row])
        for column, years in enumerate(rain.return_periods):
            assert rain_depth(rain, duration, years) == rain.depths[row, column]


def test_neither_duration_nor_return_period_is_extrapolated():
    with pytest.raises(RainError, match=r"duration 4 min lies outside rain.csv, which holds 5 min to 24 h"):
        rain_depth(table(), 240.0, 10.0)
    with pytest.raises(RainError, match="duration 48 h"):
        rain_depth(table(), 172800.0, 10.0)
    with pytest.raises(RainError, match=r"return period 500 yr lies outside rain.csv, which holds 1 to 100 yr"):
        rain_depth(table(), 600.0, 500.0)


def test_duration_of_round_off_past_the_edge_is_still_the_edge():
    assert rain_depth(table(), 300.0 * (1 - 1e-12), 10.0) == table().depths[0, 2]


def test_rain_beyond_and_below_the_table():
    deep = which_storm(table(), 1.0, 600.0)
    assert (deep.return_period, deep.beyond_table, deep.below_table) == (None, True, False)
    light = which_storm(table(), 0.0001, 600.0)
    assert (light.return_period, light.beyond_table, light.below_table) == (None, False, True)


def test_the_rarer_of_two_columns_of_one_depth_is_not_claimed():
    depths = np.array([[1.0, 2.0, 2.0], [2.0, 3.0, 3.0]])
    rain = RainTable(np.array([300.0, 600.0]), np.array([1.0, 2.0, 5.0]), depths, "unknown", "x")
    assert which_storm(rain, 2.0, 300.0).return_period == pytest.approx(2.0)


@pytest.mark.parametrize("depth, duration", [(0.0, 600.0), (-1.0, 600.0), (np.nan, 600.0), (0.01, np.inf), (0.01, 0.0)])
def test_rain_that_means_nothing_is_refused(depth, duration):
    with pytest.raises(RainError, match="give a finite number above 0"):
        which_storm(table(), depth, duration)
