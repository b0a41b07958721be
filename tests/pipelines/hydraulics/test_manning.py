"""Round pipe under gravity: limits, which way it moves, and a general library as reference."""

from math import pi, sqrt

import pytest
from fluids.open_flow import V_Manning
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point, box

from pipelines.hydraulics.channel.barrel import circular_barrel, critical_depth, normal_depth, wet_area, wet_perimeter
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.manning import (
    LARGEST_FLOW_OVER_FULL,
    circular_segment,
    full_pipe_capacity,
    pipe_discharge,
    pipe_flow,
    velocity_manning,
)

DIAMETERS = st.floats(0.05, 2.0)
SLOPES = st.floats(1e-4, 0.2)
ROUGHNESS = st.floats(0.009, 0.03)


@given(st.floats(0.001, 3.0), SLOPES, ROUGHNESS)
def test_velocity_is_the_library_s(radius, slope, roughness):
    assert velocity_manning(radius, slope, roughness) == pytest.approx(V_Manning(radius, slope, roughness), rel=1e-12)


@given(DIAMETERS, st.floats(0.0, 1.0))
def test_segment_and_its_complement_fill_the_pipe(diameter, filled):
    below, above = (circular_segment(share * diameter, diameter) for share in (filled, 1 - filled))
    assert below.area + above.area == pytest.approx(pi * diameter**2 / 4)
    assert below.perimeter + above.perimeter == pytest.approx(pi * diameter)
    assert below.top_width == pytest.approx(above.top_width, abs=1e-6 * diameter)


def test_dry_and_full():
    dry, full = circular_segment(0.0, 0.1), circular_segment(0.1, 0.1)
    assert (dry.area, dry.perimeter, dry.hydraulic_radius) == (0.0, 0.0, 0.0)
    assert full.area == pytest.approx(pi * 0.1**2 / 4)
    assert pipe_discharge(0.0, 0.1, 0.01, 0.012) == 0.0
    assert pipe_discharge(0.1, 0.1, 0.01, 0.012) == pytest.approx(full_pipe_capacity(0.1, 0.01, 0.012))


def test_level_pipe_carries_nothing():
    assert full_pipe_capacity(0.1, 0.0, 0.012) == 0.0
    assert pipe_flow(0.001, 0.1, 0.0, 0.012).filled == 1.0
    assert pipe_flow(0.0, 0.1, 0.0, 0.012).filled < 1.0


@given(DIAMETERS, SLOPES, ROUGHNESS, st.floats(0.001, 1.0757))
def test_depth_carries_the_flow_and_is_the_lower_of_two(diameter, slope, roughness, share):
    flow = share * full_pipe_capacity(diameter, slope, roughness)
    found = pipe_flow(flow, diameter, slope, roughness)
    assert pipe_discharge(found.filled * diameter, diameter, slope, roughness) == pytest.approx(flow, rel=1e-5)
    assert found.filled <= 0.9382


@pytest.mark.parametrize("share, filled", [(0.99, False), (1.03, False), (1.08, True)])
def test_a_pipe_that_carries_less_than_arrives_is_full(share, filled):
    found = pipe_flow(share * full_pipe_capacity(0.1, 0.02, 0.012), 0.1, 0.02, 0.012)
    assert (found.filled == 1.0) == filled
    assert filled or found.filled < 0.94


def test_the_full_flow_stands_at_0_8196_of_the_diameter():
    assert pipe_flow(full_pipe_capacity(1.0, 0.01, 0.012), 1.0, 0.01, 0.012).filled == pytest.approx(0.81963, abs=1e-5)
    assert pytest.approx(1.0757, abs=1e-4) == LARGEST_FLOW_OVER_FULL


@given(DIAMETERS, SLOPES, ROUGHNESS)
def test_capacity_grows_with_size_and_slope_and_falls_with_roughness(diameter, slope, roughness):
    capacity = full_pipe_capacity(diameter, slope, roughness)
    assert full_pipe_capacity(1.1 * diameter, slope, roughness) > capacity
    assert full_pipe_capacity(diameter, 1.1 * slope, roughness) > capacity
    assert full_pipe_capacity(diameter, slope, 1.1 * roughness) < capacity


@given(DIAMETERS, SLOPES, ROUGHNESS, st.floats(0.01, 1.07))
def test_a_clean_round_barrel_is_a_pipe(diameter, slope, roughness, share):
    flow = share * full_pipe_capacity(diameter, slope, roughness)
    depth = normal_depth(circular_barrel(diameter), flow, slope, roughness)
    assert depth == pytest.approx(pipe_flow(flow, diameter, slope, roughness).filled * diameter, rel=1e-4)


@given(st.floats(0.2, 2.0), st.floats(0.0, 0.9), st.floats(0.01, 0.95))
def test_critical_depth_of_a_silted_barrel_has_least_energy(diameter, silted, filled):
    barrel = circular_barrel(diameter, silted * diameter)
    depth = filled * barrel.rise
    area = wet_area(barrel, depth)
    width = circular_segment(depth + barrel.silt, diameter).top_width
    flow = (9.80665 * area**3 / width) ** 0.5
    assert critical_depth(barrel, flow) == pytest.approx(depth, rel=1e-6)


@pytest.mark.parametrize("arguments, says", [
    ((-0.1, 0.1, 0.01, 0.012), "flow is -0.1"),
    ((float("nan"), 0.1, 0.01, 0.012), "flow is nan"),
    ((0.01, 0.0, 0.01, 0.012), "diameter is 0.0"),
    ((0.01, 0.1, -0.01, 0.012), "slope is -0.01"),
    ((0.01, 0.1, float("inf"), 0.012), "slope is inf"),
    ((0.01, 0.1, 0.01, 0.0), "roughness is 0.0"),
])
def test_bad_numbers_are_refused_by_name(arguments, says):
    with pytest.raises(HydraulicsError, match=says):
        pipe_flow(*arguments)


def test_water_above_the_crown_is_refused():
    with pytest.raises(HydraulicsError, match="above the crown"):
        circular_segment(0.2, 0.1)


def test_silt_to_the_crown_is_refused():
    with pytest.raises(HydraulicsError, match="carries nothing"):
        circular_barrel(0.3, 0.3)


@given(st.floats(0.05, 0.9), st.floats(0.02, 0.98))
def test_wetted_shape_of_a_silted_barrel_by_a_polygon(silted, filled):
    """Area and perimeter against the circle drawn with many corners and cut at the silt and at the water."""
    barrel = circular_barrel(1.0, silted)
    depth = filled * barrel.rise
    circle = Point(0.0, 0.5).buffer(0.5, quad_segs=4000)
    water = circle.intersection(box(-1.0, silted, 1.0, silted + depth))
    surface = 2.0 * sqrt(0.25 - (silted + depth - 0.5) ** 2)
    assert wet_area(barrel, depth) == pytest.approx(water.area, rel=1e-4, abs=1e-7)
    assert wet_perimeter(barrel, depth) == pytest.approx(water.length - surface, rel=1e-3)
