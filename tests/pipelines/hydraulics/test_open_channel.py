"""Open channels: exact sections, which way they move, limits, refusals."""

from math import hypot, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydraulics.channel.open_channel import (
    channel_discharge,
    channel_flow,
    critical_stage,
    cross_section,
    normal_stage,
    trapezoid_section,
    wetted_section,
)
from pipelines.hydraulics.channel.permissible_velocity import grass_covers, permissible_velocity
from pipelines.hydraulics.errors import HydraulicsError

WIDTHS = st.floats(0.0, 5.0)
SIDES = st.floats(0.5, 8.0)
SHARES = st.floats(0.05, 1.0)


@st.composite
def measured_sections(draw):
    """A channel with banks, as measured: a low point with ground that rises and falls away from it."""
    count = draw(st.integers(3, 9))
    steps = draw(st.lists(st.floats(0.1, 2.0), min_size=count - 1, max_size=count - 1))
    heights = draw(st.lists(st.floats(0.0, 1.5), min_size=count, max_size=count))
    heights[count // 2] = -0.5
    roughness = draw(st.lists(st.floats(0.01, 0.1), min_size=count - 1, max_size=count - 1))
    return cross_section(np.concatenate([[0.0], np.cumsum(steps)]), heights, roughness)


@given(WIDTHS, SIDES, SHARES)
def test_a_trapezoid_is_exact(width, side, share):
    depth = 0.8
    wet = wetted_section(trapezoid_section(width, side, 1.0, 0.03), share * depth)
    y = share * depth
    assert wet.area == pytest.approx((width + side * y) * y)
    assert wet.perimeter == pytest.approx(width + 2 * y * hypot(1, side))
    assert wet.top_width == pytest.approx(width + 2 * side * y)
    assert wet.roughness == pytest.approx(0.03)


def test_a_rectangle_has_upright_walls():
    wet = wetted_section(trapezoid_section(2.0, 0.0, 1.0, 0.03), 0.5)
    assert (wet.area, wet.perimeter, wet.top_width) == (pytest.approx(1.0), pytest.approx(3.0), pytest.approx(2.0))


def test_ground_behind_a_bank_stays_dry_until_the_bank_is_passed():
    section = cross_section([0, 2, 4, 6, 8], [1, 0, 0.5, 0.1, 1], 0.03)
    assert wetted_section(section, 0.5).area == pytest.approx(0.5 * (1 + 2) * 0.5)
    assert not wetted_section(section, 0.5).overtopped
    passed = wetted_section(section, 0.5 + 1e-9)
    assert passed.area > 1.5 * wetted_section(section, 0.5).area


def test_above_its_ends_a_section_holds_water_by_walls_and_says_so():
    wet = wetted_section(trapezoid_section(1.0, 1.0, 0.5, 0.03), 0.8)
    assert wet.overtopped
    assert wet.area == pytest.approx(0.75 + 0.3 * 2.0)
    assert wet.perimeter == pytest.approx(1.0 + 2 * 0.5 * sqrt(2) + 2 * 0.3)


@given(measured_sections(), st.floats(0.01, 2.5))
def test_composite_roughness_lies_between_the_least_and_the_most(section, rise):
    wet = wetted_section(section, section.lowest + rise)
    assert section.roughness.min() * (1 - 1e-9) <= wet.roughness <= section.roughness.max() * (1 + 1e-9)


@given(measured_sections(), st.floats(0.01, 2.0), st.floats(0.001, 0.5))
def test_area_and_width_never_fall_with_the_level(section, rise, more):
    low, high = (wetted_section(section, section.lowest + depth) for depth in (rise, rise + more))
    assert high.area > low.area
    assert high.perimeter >= low.perimeter


@given(measured_sections(), st.floats(0.001, 3.0), st.floats(0.0005, 0.1))
def test_normal_level_carries_the_flow_and_is_the_lowest_that_does(section, flow, slope):
    level = normal_stage(section, flow, slope)
    # where water passes a bank the section carries more at once, so the level may carry more than the flow, not less
    assert channel_discharge(section, level * (1 + 1e-9) + 1e-9, slope) >= flow * (1 - 1e-6)
    below = [channel_discharge(section, section.lowest + (level - section.lowest) * share, slope)
             for share in (0.2, 0.5, 0.9, 0.999)]
    assert all(carried < flow for carried in below)


@given(measured_sections(), st.floats(0.001, 3.0), st.floats(0.0005, 0.1))
def test_more_flow_stands_higher_and_more_slope_lower(section, flow, slope):
    level = normal_stage(section, flow, slope)
    assert normal_stage(section, 1.2 * flow, slope) >= level
    assert normal_stage(section, flow, 1.2 * slope) <= level


@given(WIDTHS.filter(lambda width: width > 0.1), SIDES, st.floats(0.01, 5.0))
def test_at_critical_depth_the_froude_number_is_one(width, side, flow):
    section = trapezoid_section(width, side, 3.0, 0.03)
    assert channel_flow(section, flow, 0.01, critical_stage(section, flow)).froude == pytest.approx(1.0, rel=1e-6)


def test_critical_depth_of_a_rectangle():
    assert critical_stage(trapezoid_section(2.0, 0.0, 3.0, 0.03), 2.0) == pytest.approx((1.0 / 9.80665) ** (1 / 3))


def test_dry_level_and_no_flow():
    section = trapezoid_section(1.0, 2.0, 1.0, 0.03)
    assert wetted_section(section, -0.1).area == 0.0
    assert wetted_section(section, 0.0).conveyance == 0.0
    assert channel_discharge(section, 0.5, 0.0) == 0.0
    assert normal_stage(section, 0.0, 0.01) == 0.0
    assert critical_stage(section, 0.0) == 0.0
    still = channel_flow(section, 0.0, 0.01)
    assert (still.velocity, still.froude, still.shear) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("call, says", [
    (lambda: cross_section([0, 1], [1, 0], 0.03), "three points or more, here are 2 stations"),
    (lambda: cross_section([0, 2, 1], [1, 0, 1], 0.03), "station of point 3 falls back"),
    (lambda: cross_section([0, 1, 2], [1, float("nan"), 1], 0.03), "point 2 is at 1.0, nan, not finite"),
    (lambda: cross_section([0, 1, 2], [1, 0, 1], [0.03, -0.03]), "n after point 2 is -0.03"),
    (lambda: trapezoid_section(0.0, 0.0, 1.0, 0.03), "no channel"),
    (lambda: channel_discharge(trapezoid_section(1, 1, 1, 0.03), 0.5, -0.01), "adverse grade"),
    (lambda: channel_discharge(trapezoid_section(1, 1, 1, 0.03), float("nan"), 0.01), "stage is nan"),
    (lambda: normal_stage(trapezoid_section(1, 1, 1, 0.03), 1.0, 0.0), "slope is 0.0"),
    (lambda: normal_stage(trapezoid_section(1, 1, 1, 0.03), -1.0, 0.01), "flow is -1.0"),
    (lambda: channel_flow(trapezoid_section(1, 1, 1, 0.03), 1.0, 0.01, -0.5), "the section is dry"),
    (lambda: permissible_velocity("moss", 0.01, erodible=True), "it has bermudagrass"),
    (lambda: permissible_velocity("bermudagrass", -0.01, erodible=True), "slope is -0.01"),
])
def test_bad_input_is_refused_by_name(call, says):
    with pytest.raises(HydraulicsError, match=says):
        call()


@pytest.mark.parametrize("cover", grass_covers())
def test_permissible_velocity_never_rises_with_slope_and_erodible_soil_stands_less(cover):
    firm, loose = ([permissible_velocity(cover, s, erodible=e) or 0.0 for s in (0.0, 0.05, 0.0501, 0.1, 0.1001, 0.3)]
                   for e in (False, True))
    assert firm == sorted(firm, reverse=True)
    assert all(weak < strong or strong == 0.0 for weak, strong in zip(loose, firm, strict=True))
