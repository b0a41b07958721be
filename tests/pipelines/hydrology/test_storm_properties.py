"""Design storms: they hold their depth, whatever their step."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydrology.errors import RainError
from pipelines.hydrology.rain.storms import (
    constant_storm,
    nested_storm,
    nrcs_distribution,
    nrcs_storm,
    refined,
)
from pipelines.inputs.tables.rain_table import RainTable

TABLE = RainTable(
    np.array([300.0, 900.0, 3600.0, 21600.0, 86400.0]),
    np.array([2.0, 10.0]),
    np.array([[8, 12], [15, 22], [28, 42], [45, 66], [62, 90]]) / 1000.0,
    "unknown",
    "invented",
)


def largest_depth(storm, duration):
    """Most rain in any run of steps of a duration."""
    count = round(duration / storm.step)
    fallen = storm.cumulative
    return (fallen[count:] - fallen[:-count]).max()


@given(st.floats(0.001, 0.3), st.floats(60.0, 9000.0), st.sampled_from([7.0, 30.0, 60.0, 300.0]))
def test_constant_rain_holds_its_depth(depth, duration, step):
    storm = constant_storm(depth, duration, step=step)
    assert storm.depth == pytest.approx(depth, rel=1e-12)
    assert storm.depths.size == int(np.ceil(duration / step - 1e-9))
    assert storm.depths.max() / step <= depth / duration * (1 + 1e-9)


@given(st.sampled_from(["I", "IA", "II", "III"]), st.sampled_from([30.0, 60.0, 360.0, 3600.0]))
def test_nrcs_storm_holds_its_depth(kind, step):
    storm = nrcs_storm(0.1, kind, step=step)
    assert storm.depth == pytest.approx(0.1, rel=1e-12)
    assert (storm.depths > 0.0).all()


@pytest.mark.parametrize("kind", ["I", "IA", "II", "III"])
def test_distribution_runs_from_nothing_to_all(kind):
    hours, fraction = nrcs_distribution(kind)
    assert (hours[0], hours[-1], fraction[0], fraction[-1]) == (0.0, 24.0, 0.0, 1.0)
    assert (np.diff(fraction) > 0.0).all()


@pytest.mark.parametrize("years", [2.0, 5.0, 10.0])
def test_nested_storm_holds_the_table_s_depths(years):
    storm = nested_storm(TABLE, years)
    assert storm.depths.size == 288
    assert int(storm.depths.argmax()) == 143
    for duration in TABLE.durations:
        column = np.interp(np.log(years), np.log(TABLE.return_periods), np.arange(2))
        depth = np.interp(column, [0, 1], TABLE.depths[TABLE.durations == duration][0])
        assert largest_depth(storm, duration) == pytest.approx(depth, rel=1e-9)


@given(st.sampled_from([7.0, 30.0, 45.0, 300.0, 1000.0]), st.floats(100.0, 5000.0))
def test_other_steps_hold_the_same_rain(step, duration):
    storm = constant_storm(0.05, duration, step=60.0)
    finer = refined(storm, step)
    assert finer.depth == pytest.approx(0.05, rel=1e-12)
    times = np.arange(finer.depths.size + 1) * step
    assert finer.cumulative == pytest.approx(0.05 * np.minimum(times / duration, 1.0), rel=1e-9, abs=1e-15)


def test_storm_the_table_cannot_make_is_refused():
    with pytest.raises(RainError, match="give a step that divides the duration"):
        nested_storm(TABLE, 10.0, step=7000.0)
    with pytest.raises(RainError, match="lies outside invented"):
        nested_storm(TABLE, 10.0, step=60.0)
    with pytest.raises(RainError, match="give one of I, IA, II, III"):
        nrcs_storm(0.1, "IV")
    with pytest.raises(RainError, match="does not divide 24 h"):
        nrcs_storm(0.1, "II", step=7.0)
