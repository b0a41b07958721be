"""Time of concentration along a path: sheet flow first, ponds left out, flats not endless."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydrology.errors import FlowPathError, SurfaceError
from pipelines.hydrology.flow_path import TravelRules, along_path, travel_rules
from pipelines.hydrology.time_of_concentration import (
    LEAST_TIME,
    SHEET_LIMIT,
    shallow_velocity,
    sheet_flow_limit,
    sheet_flow_time,
    slope_on_flats,
)
from pipelines.inputs.rules import load_rules, read_overrides

RAIN = 0.09


def plane(length, slope, surface="lawn_fair", cells=60):
    distance = np.linspace(0.0, length, cells + 1)
    return distance, 10.0 - slope * distance, [surface] * cells


def test_a_plane_is_sheet_flow_and_then_shallow_flow():
    travel = along_path(*plane(100.0, 0.02), two_year_24h_depth=RAIN)
    sheet = sheet_flow_limit(0.02, 0.24)
    time = sheet_flow_time(sheet, 0.02, 0.24, RAIN) + (100.0 - sheet) / shallow_velocity("lawn_fair", 0.02)
    assert travel.time_of_concentration == pytest.approx(time, rel=1e-9)
    assert (travel.length, travel.slope) == (pytest.approx(100.0), pytest.approx(0.02))


@given(st.floats(1.0, 300.0), st.floats(0.0, 0.3), st.sampled_from(["paved", "lawn_fair", "woods_good"]))
def test_time_stays_in_bounds(length, slope, surface):
    travel = along_path(*plane(length, slope, surface), two_year_24h_depth=RAIN)
    assert travel.length == pytest.approx(length, rel=1e-9)
    assert LEAST_TIME <= travel.time_of_concentration < np.inf


@given(st.floats(10.0, 200.0), st.floats(10.0, 200.0), st.floats(0.0, 0.2))
def test_a_longer_path_takes_longer(first, second, slope):
    short, long = sorted((first, second))
    times = [along_path(*plane(x, slope), two_year_24h_depth=RAIN).time_of_concentration for x in (short, long)]
    assert times[0] <= times[1] * (1 + 1e-9)


@given(st.floats(0.0, 0.2), st.floats(0.0, 0.2))
def test_flat_addition_keeps_the_order_of_slopes(first, second):
    low, high = sorted((first, second))
    assert slope_on_flats(low) <= slope_on_flats(high)
    assert slope_on_flats(low) >= 0.0005


def test_level_ground_has_a_finite_time():
    travel = along_path(*plane(50.0, 0.0), two_year_24h_depth=RAIN)
    assert travel.time_of_concentration < 4 * 3600.0
    assert travel.slope == 0.0


def test_a_pond_on_the_path_takes_no_time():
    distance, height, surfaces = plane(60.0, 0.02)
    dipped = height.copy()
    dipped[20:40] -= 1.0
    travel = along_path(distance, dipped, surfaces, two_year_24h_depth=RAIN)
    # the dip's two shores are slopes; between its floor and the rim that holds it up stands water
    assert travel.length < 41.0
    undipped = along_path(distance, height, surfaces, two_year_24h_depth=RAIN)
    assert travel.time_of_concentration < undipped.time_of_concentration


def test_the_lidar_s_noise_is_no_pond():
    distance, height, surfaces = plane(60.0, 0.01)
    noisy = height + np.random.default_rng(1).uniform(-0.02, 0.02, height.size)
    travel = along_path(distance, noisy, surfaces, two_year_24h_depth=RAIN)
    assert travel.length == pytest.approx(60.0)
    smooth = along_path(distance, height, surfaces, two_year_24h_depth=RAIN)
    assert travel.time_of_concentration == pytest.approx(smooth.time_of_concentration, rel=0.1)


def test_paving_is_quicker_than_grass():
    paved, grass = (along_path(*plane(80.0, 0.02, s), two_year_24h_depth=RAIN) for s in ("paved", "lawn"))
    assert paved.time_of_concentration < grass.time_of_concentration


def test_paths_that_mean_nothing_are_refused():
    distance, height, surfaces = plane(60.0, 0.02)
    with pytest.raises(FlowPathError, match="one distance and elevation more than segments"):
        along_path(distance[:-1], height, surfaces, two_year_24h_depth=RAIN)
    with pytest.raises(FlowPathError, match="distances along a flow path fall"):
        along_path(distance[::-1].copy(), height, surfaces, two_year_24h_depth=RAIN)
    height[7] = np.nan
    with pytest.raises(FlowPathError, match="not finite"):
        along_path(distance, height, surfaces, two_year_24h_depth=RAIN)
    with pytest.raises(SurfaceError, match='"moss"'):
        along_path(*plane(60.0, 0.02, "moss"), two_year_24h_depth=RAIN)
    with pytest.raises(FlowPathError, match="two year 24h depth is 0"):
        along_path(*plane(60.0, 0.02), two_year_24h_depth=0.0)


@given(st.floats(1.0, 500.0), st.floats(1e-4, 0.5), st.floats(1e-4, 0.5))
def test_steeper_is_quicker(length, first, second):
    gentle, steep = sorted((first, second))
    assert sheet_flow_time(length, steep, 0.24, RAIN) <= sheet_flow_time(length, gentle, 0.24, RAIN)
    assert shallow_velocity("lawn", steep) >= shallow_velocity("lawn", gentle)


def test_rules_of_the_trade_are_the_published_ones_and_move_the_time():
    assert travel_rules(load_rules()) == TravelRules()
    own = travel_rules(load_rules().with_overrides(read_overrides({"longest_sheet_flow": "300 ft"})))
    smooth = along_path(*plane(100.0, 0.05, "paved"), two_year_24h_depth=RAIN, rules=replace(own, least_time=1.0))
    sheet = sheet_flow_limit(0.05, 0.011, longest=3 * SHEET_LIMIT)
    assert sheet > SHEET_LIMIT
    time = sheet_flow_time(sheet, 0.05, 0.011, RAIN) + (100.0 - sheet) / shallow_velocity("paved", 0.05)
    assert smooth.time_of_concentration == pytest.approx(time, rel=1e-6)
    patient = travel_rules(load_rules().with_overrides(read_overrides({"least_time_of_concentration": "10 min"})))
    assert along_path(*plane(5.0, 0.05), two_year_24h_depth=RAIN, rules=patient).time_of_concentration == 600.0
