"""Open channels: exact sections, which way they move, limits, refusals."""

from math import hypot, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydraulics.channel.open_channel import cross_section, wetted_section
from pipelines.hydraulics.channel.permissible_velocity import grass_covers, permissible_velocity
from pipelines.hydraulics.channel.standard_step import (
    Downstream,
    capacity_at,
    make_channel,
    normal_levels,
    water_surface,
)
from pipelines.hydraulics.errors import HydraulicsError

WIDTHS = st.floats(0.0, 5.0)
SIDES = st.floats(0.5, 8.0)
SHARES = st.floats(0.05, 1.0)


def trapezoid(bottom_width, side_slope, depth, roughness):
    """With its bottom at elevation 0."""
    run = side_slope * depth
    return cross_section([0.0, run, run + bottom_width, 2 * run + bottom_width], [depth, 0.0, 0.0, depth], roughness)


def normal_level(section, flow, slope):
    return normal_levels(make_channel([0.0], [section]), np.array([flow]), np.array([slope]))[0]


def capacity(section, level, slope):
    return capacity_at(make_channel([0.0], [section]), np.array([level]), np.array([slope]))[0]


def at_a_free_fall(section, flow):
    return water_surface(make_channel([0.0], [section]), np.array([flow]), Downstream())


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
    wet = wetted_section(trapezoid(width, side, 1.0, 0.03), share * depth)
    y = share * depth
    assert wet.area == pytest.approx((width + side * y) * y)
    assert wet.perimeter == pytest.approx(width + 2 * y * hypot(1, side))
    assert wet.top_width == pytest.approx(width + 2 * side * y)
    assert wet.roughness == pytest.approx(0.03)


def test_a_rectangle_has_upright_walls():
    wet = wetted_section(trapezoid(2.0, 0.0, 1.0, 0.03), 0.5)
    assert (wet.area, wet.perimeter, wet.top_width) == (pytest.approx(1.0), pytest.approx(3.0), pytest.approx(2.0))


def test_ground_behind_a_bank_stays_dry_until_the_bank_is_passed():
    section = cross_section([0, 2, 4, 6, 8], [1, 0, 0.5, 0.1, 1], 0.03)
    assert wetted_section(section, 0.5).area == pytest.approx(0.5 * (1 + 2) * 0.5)
    passed = wetted_section(section, 0.5 + 1e-9)
    assert passed.area > 1.5 * wetted_section(section, 0.5).area


def test_above_its_ends_a_section_holds_water_by_walls():
    wet = wetted_section(trapezoid(1.0, 1.0, 0.5, 0.03), 0.8)
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
def test_more_flow_stands_higher_and_more_slope_lower(section, flow, slope):
    level = normal_level(section, flow, slope)
    assert normal_level(section, 1.2 * flow, slope) >= level
    assert normal_level(section, flow, 1.2 * slope) <= level


@given(measured_sections(), st.floats(0.001, 3.0), st.floats(0.0005, 0.1))
def test_normal_level_carries_the_flow_and_is_the_lowest_that_does(section, flow, slope):
    """Between the heights at which a section is measured once, or above them all."""
    channel = make_channel([0.0], [section])
    level = normal_level(section, flow, slope)
    heights = channel.levels[0]
    above = next((height for height in heights if height >= level), level + 1e-5)
    assert capacity(section, above, slope) >= flow * (1 - 1e-9)
    assert all(capacity(section, height, slope) < flow for height in heights[heights < level])


@given(WIDTHS, SIDES, st.floats(0.005, 2.0))
def test_a_flow_falls_freely_at_the_depth_where_its_froude_number_is_one(width, side, depth):
    area, top = (width + side * depth) * depth, width + 2 * side * depth
    flow = area * sqrt(9.80665 * area / top)
    # levels are read between heights measured once, closer together near the bottom: to two millimetres
    assert at_a_free_fall(trapezoid(width, side, 3.0, 0.03), flow).level[0] == pytest.approx(depth, abs=2e-3)


def test_critical_depth_of_a_rectangle():
    level = at_a_free_fall(trapezoid(2.0, 0.0, 3.0, 0.03), 2.0).level[0]
    assert level == pytest.approx((1.0 / 9.80665) ** (1 / 3), rel=1e-3)


def test_dry_level_and_no_flow():
    section = trapezoid(1.0, 2.0, 1.0, 0.03)
    assert wetted_section(section, -0.1).area == 0.0
    assert wetted_section(section, 0.0).conveyance == 0.0
    assert capacity(section, 0.5, -0.01) == 0.0
    assert normal_level(section, 0.0, 0.01) == 0.0
    still = at_a_free_fall(section, 0.0)
    assert (still.level[0], still.velocity[0], still.froude[0]) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("call, says", [
    (lambda: cross_section([0, 1], [1, 0], 0.03), "three points or more, here are 2 stations"),
    (lambda: cross_section([0, 2, 1], [1, 0, 1], 0.03), "station of point 3 falls back"),
    (lambda: cross_section([0, 1, 2], [1, float("nan"), 1], 0.03), "point 2 is at 1.0, nan, not finite"),
    (lambda: cross_section([0, 1, 2], [1, 0, 1], [0.03, -0.03]), "n after point 2 is -0.03"),
    (lambda: wetted_section(trapezoid(1, 1, 1, 0.03), float("nan")), "stage is nan"),
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


def plainly_wet(section, stage):
    """Area, perimeter, top width and n to the power of 1.5 along the perimeter, as arrays over its segments."""
    x, z, n = section.station, section.elevation, section.roughness
    below, left = z < stage, int(z.argmin())
    right = left
    while left > 0 and below[left - 1]:
        left -= 1
    while right < z.size - 1 and below[right + 1]:
        right += 1
    part = slice(max(left - 1, 0), min(right + 1, z.size - 1))
    run, rise = np.diff(x)[part], np.abs(np.diff(z))[part]
    depth_a, depth_b = np.maximum(stage - z[:-1], 0.0)[part], np.maximum(stage - z[1:], 0.0)[part]
    wet = np.where(rise > 0.0, np.abs(depth_a - depth_b) / np.where(rise > 0.0, rise, 1.0), 1.0)
    walls = [(stage - z[end], n[end]) for end in (0, -1) if (left == 0 if end == 0 else right == z.size - 1)]
    lengths = wet * np.hypot(run, rise)
    return (
        (wet * run * (depth_a + depth_b)).sum() / 2.0, lengths.sum() + sum(height for height, _ in walls),
        (wet * run).sum(), (lengths * n[part] ** 1.5).sum() + sum(height * rough**1.5 for height, rough in walls),
    )  # fmt: skip


@given(measured_sections(), st.floats(0.01, 2.5))
def test_the_compiled_wet_part_is_the_plain_one(section, depth):
    wet = wetted_section(section, section.lowest + depth)
    area, perimeter, top_width, weighted = plainly_wet(section, section.lowest + depth)
    assert (wet.area, wet.perimeter, wet.top_width) == pytest.approx((area, perimeter, top_width), rel=1e-12)
    assert wet.roughness == pytest.approx((weighted / perimeter) ** (2 / 3), rel=1e-12)
