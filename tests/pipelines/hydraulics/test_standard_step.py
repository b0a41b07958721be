"""The standard step on channels whose answer is known otherwise."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from pipelines.hydraulics.channel.barrel import circular_barrel
from pipelines.hydraulics.channel.culvert import Culvert, culvert_flow, culvert_inlet
from pipelines.hydraulics.channel.drive_crossing import DriveCrossing
from pipelines.hydraulics.channel.open_channel import CrossSection, cross_section
from pipelines.hydraulics.channel.standard_step import (
    Downstream,
    capacity_at,
    make_channel,
    normal_levels,
    water_surface,
)
from pipelines.hydraulics.errors import HydraulicsError


def trapezoid(bottom_width, side_slope, depth, roughness):
    """With its bottom at elevation 0."""
    run = side_slope * depth
    return cross_section([0.0, run, run + bottom_width, 2 * run + bottom_width], [depth, 0.0, 0.0, depth], roughness)


def normal_depth(bottom_width, side, roughness, flow, slope):
    def spare(depth):
        area, perimeter = (bottom_width + side * depth) * depth, bottom_width + 2 * depth * (1 + side**2) ** 0.5
        return area ** (5 / 3) / perimeter ** (2 / 3) * slope**0.5 / roughness - flow

    return brentq(spare, 1e-6, 10.0)


def critical_depth(bottom_width, side, flow):
    def spare(depth):
        return 9.80665 * ((bottom_width + side * depth) * depth) ** 3 - flow**2 * (bottom_width + 2 * side * depth)

    return brentq(spare, 1e-6, 10.0)


def _prism(bottom_width=0.6, side_slope=3.0, roughness=0.035, slope=0.01, length=100.0, spacing=5.0, height=0.6):
    stations = np.arange(0.0, length + spacing / 2, spacing)
    shape = trapezoid(bottom_width, side_slope, height, roughness)
    sections = [
        CrossSection(shape.station, shape.elevation + slope * (length - at), shape.roughness) for at in stations
    ]
    return make_channel(stations, sections)


def _bottom(channel):
    return np.array([section.lowest for section in channel.sections])


def test_uniform_flow_stays_uniform():
    channel = _prism()
    flow = np.full(len(channel.station), 0.1)
    surface = water_surface(channel, flow, Downstream(slope=0.01))
    depth = normal_depth(0.6, 3.0, 0.035, 0.1, 0.01)
    np.testing.assert_allclose(surface.level - _bottom(channel), depth, atol=1e-4)
    np.testing.assert_allclose(normal_levels(channel, flow, np.full(len(flow), 0.01)), surface.level, atol=1e-4)
    np.testing.assert_allclose(capacity_at(channel, surface.level, np.full(len(flow), 0.01)), 0.1, rtol=2e-3)


def test_backwater_agrees_with_the_differential_equation():
    channel = _prism(slope=0.002, length=200.0, spacing=2.0)
    flow = 0.15
    start = 0.55

    def grade(x, depth):
        depth = depth[0]
        area, top = (0.6 + 3 * depth) * depth, 0.6 + 6 * depth
        perimeter = 0.6 + 2 * depth * np.sqrt(10.0)
        friction = (flow * 0.035 / (area * (area / perimeter) ** (2 / 3))) ** 2
        return -(0.002 - friction) / (1 - flow**2 * top / 9.80665 / area**3)

    exact = solve_ivp(grade, (0.0, 200.0), [start], rtol=1e-9, dense_output=True)
    flows = np.full(len(channel.station), flow)
    surface = water_surface(channel, flows, Downstream(level=start), contraction=0.0, expansion=0.0)
    depths = surface.level - _bottom(channel)
    np.testing.assert_allclose(depths[::-1], exact.sol(channel.station)[0], atol=2e-4)


@pytest.mark.parametrize("wide_below", [True, False])
def test_a_change_of_width_loses_its_share_of_the_velocity_head(wide_below):
    """Energy above less energy below, by a rectangle's own geometry, is friction and the share of Chow's sec. 10-4."""
    widths, flow, roughness, length = ((1.0, 3.0) if wide_below else (3.0, 1.0)), 1.2, 0.03, 10.0
    sections = [cross_section([0.0, 0.0, width, width], [2.0, 0.0, 0.0, 2.0], roughness) for width in widths]
    surface = water_surface(make_channel(np.array([0.0, length]), sections), np.full(2, flow), Downstream(level=0.9))
    depth, width = surface.level, np.array(widths)
    head = (flow / (width * depth)) ** 2 / (2 * 9.80665)
    conveyance = (width * depth) ** (5 / 3) / (width + 2 * depth) ** (2 / 3) / roughness
    friction = length * (2 * flow / conveyance.sum()) ** 2
    lost = (depth + head)[0] - (depth + head)[1] - friction
    assert abs(head[1] - head[0]) > 0.02
    assert lost == pytest.approx((0.3 if wide_below else 0.1) * abs(head[1] - head[0]), abs=2e-4)


def test_shooting_flow_is_given_its_critical_level():
    channel = _prism(slope=0.08, roughness=0.02)
    surface = water_surface(channel, np.full(len(channel.station), 0.2), Downstream(slope=0.08))
    critical = critical_depth(0.6, 3.0, 0.2)
    assert surface.critical.all()
    np.testing.assert_allclose(surface.level - _bottom(channel), critical, atol=1e-4)
    np.testing.assert_allclose(surface.froude, 1.0, atol=1e-3)


def test_a_free_fall_is_critical_and_draws_down():
    channel = _prism(slope=0.002)
    surface = water_surface(channel, np.full(len(channel.station), 0.1), Downstream())
    depths = surface.level - _bottom(channel)
    assert depths[-1] == pytest.approx(critical_depth(0.6, 3.0, 0.1), abs=1e-4)
    assert (np.diff(depths) < 1e-9).all()


def test_still_water_is_level_behind_a_hump():
    channel = _prism()
    sections = list(channel.sections)
    hump = sections[10]
    sections[10] = CrossSection(hump.station, hump.elevation + 0.3, hump.roughness)
    raised = make_channel(channel.station, sections)
    surface = water_surface(raised, np.full(len(channel.station), 1e-6), Downstream(slope=0.01))
    # the bottom falls 5 cm between sections, so six of them lie under the hump's level
    np.testing.assert_allclose(surface.level[5:11], sections[10].lowest, atol=2e-3)


def test_a_culvert_holds_the_water_above_it_at_its_headwater():
    channel = _prism(slope=0.005, length=100.0, height=1.2)
    bottom = _bottom(channel)
    culvert = Culvert(
        circular_barrel(0.381), culvert_inlet("metal_projecting"), 5.0, 0.024, float(bottom[10]), float(bottom[11])
    )
    drive = DriveCrossing(culvert, np.array([0.0, 6.0]), np.array([bottom[10] + 1.1, bottom[10] + 1.1]))
    flow = np.full(len(channel.station), 0.12)
    surface = water_surface(channel, flow, Downstream(slope=0.005), crossings={10: drive})
    published = culvert_flow(culvert, 0.12, tailwater=float(surface.level[11]))
    assert surface.level[10] == pytest.approx(published.headwater, abs=1e-9)
    assert surface.crossings[10].through == pytest.approx(0.12)
    assert surface.level[10] > surface.level[11] + 0.1
    without = water_surface(channel, flow, Downstream(slope=0.005))
    assert (surface.level[:11] >= without.level[:11] - 1e-9).all()
    np.testing.assert_allclose(surface.level[11:], without.level[11:])


def test_a_drive_without_a_culvert_is_a_weir():
    channel = _prism(slope=0.005, height=1.2)
    crest = _bottom(channel)[10] + 0.4
    drive = DriveCrossing(None, np.array([0.0, 4.0]), np.array([crest, crest]))
    surface = water_surface(channel, np.full(len(channel.station), 0.1), Downstream(slope=0.005), crossings={10: drive})
    head = (0.1 / (drive.coefficient * 4.0)) ** (2 / 3)
    assert surface.level[10] == pytest.approx(crest + head, abs=1e-5)
    assert surface.crossings[10].governs == "weir"


@given(st.floats(0.001, 0.6), st.floats(1.01, 3.0), st.floats(0.0, 0.5))
def test_more_flow_never_lowers_a_level(flow, factor, tail):
    channel = _prism(slope=0.004, length=60.0, height=0.5)
    bottom = _bottom(channel)
    culvert = Culvert(
        circular_barrel(0.3), culvert_inlet("metal_projecting"), 5.0, 0.024, float(bottom[5]), float(bottom[6])
    )
    drive = DriveCrossing(culvert, np.array([0.0, 5.0]), np.array([bottom[5] + 0.45, bottom[5] + 0.5]))
    level = float(bottom[-1]) + tail
    flows = np.full(len(bottom), flow)
    less = water_surface(channel, flows, Downstream(level=level), crossings={5: drive})
    more = water_surface(channel, flows * factor, Downstream(level=level), crossings={5: drive})
    assert (more.level >= less.level - 1e-5).all()


def test_a_flow_that_grows_downstream():
    channel = _prism()
    flow = np.linspace(0.0, 0.2, len(channel.station))
    surface = water_surface(channel, flow, Downstream(slope=0.01))
    assert surface.velocity[0] == 0.0
    assert (np.diff(surface.level - _bottom(channel))[2:] > -1e-3).all()


def test_bad_input_is_told():
    channel = _prism()
    count = len(channel.station)
    with pytest.raises(HydraulicsError, match=f"must be {count} finite numbers"):
        water_surface(channel, np.full(count, -1.0), Downstream())
    drive = DriveCrossing(None, np.array([0.0, 1.0]), np.array([1.0, 1.0]))
    with pytest.raises(HydraulicsError, match="between two sections"):
        water_surface(channel, np.ones(count), Downstream(), crossings={count - 1: drive})
    with pytest.raises(HydraulicsError, match="one section at each station"):
        make_channel([0.0, 0.0], channel.sections[:2])
