"""Lifts: operating point, breakdown, cycling, and what they say when they cannot."""

from itertools import pairwise
from math import isinf, pi

import pytest
from fluids.friction import friction_factor
from hypothesis import assume, given
from hypothesis import strategies as st

from pipelines.hydraulics.errors import HydraulicsError, PumpTooWeakError
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.hydraulics.pumping.lift import size_lift
from pipelines.hydraulics.pumping.lift_limits import LiftLimits, velocity_warnings
from pipelines.hydraulics.pumping.pressure_line import (
    friction_hazen_williams,
    relief_hole_flow,
)
from pipelines.hydraulics.pumping.pump_curve import head_at, pump_curve
from pipelines.hydraulics.pumping.sump_basin import (
    YARD_LEVELS,
    FloatLevels,
    cycle_volume_needed,
    cycling_at,
    sump_basin,
    worst_cycling,
)
from terrain.unit_table import FOOT, GALLON_PER_MINUTE, INCH

GPM = GALLON_PER_MINUTE
SCH_40 = find_pipe("1-1/2 in sch 40")
FITTINGS = {"elbow_90": 3, "elbow_45": 2, "check_valve": 1}


@pytest.fixture
def curve():
    return pump_curve([0.0, 45 * GPM, 90 * GPM], [28 * FOOT, 22.25 * FOOT, 5 * FOOT])


def codes(found):
    return {each.code for each in found.warnings}


def lift(curve, **changes):
    settings = {"static_lift": 3 * FOOT, "length": 100 * FOOT, "fittings": FITTINGS} | changes
    return size_lift(curve, settings.pop("pipe", SCH_40), **settings)


def test_three_points_of_a_parabola_give_the_parabola(curve):
    assert curve.between == "power"
    assert head_at(curve, 60 * GPM) / FOOT == pytest.approx(28 - 23 * (60 / 90) ** 2, rel=1e-12)


@given(st.lists(st.floats(0.01, 1.0), min_size=4, max_size=9), st.lists(st.floats(0.05, 2.0), min_size=9, max_size=9))
def test_a_curve_falls_between_its_points_and_passes_through_them(steps, drops):
    flows, heads = [0.0], [20.0]
    for step, drop in zip(steps, drops, strict=False):
        flows.append(flows[-1] + step * 1e-3)
        heads.append(heads[-1] - drop)
    made = pump_curve(flows, heads)
    assert [head_at(made, flow) for flow in flows] == pytest.approx(heads)
    read = [head_at(made, min(flows[-1] * i / 60, flows[-1])) for i in range(61)]
    assert all(later <= earlier + 1e-12 for earlier, later in pairwise(read))


@pytest.mark.parametrize("flow, head, says", [
    ([0, 1e-3], [5], "2 flows and 1 heads"),
    ([0], [5], "at least two points"),
    ([0, 1e-3, 1e-3], [9, 8, 7], "flow of point 3 is the same as of point 2"),
    ([0, 2e-3, 1e-3], [9, 8, 7], "flow of point 3 is below that of point 2"),
    ([0, 1e-3, 2e-3], [9, 9, 7], "head of point 2 is not below that of point 1"),
    ([0, -1e-3], [9, 8], "flow of point 2 is -0.001"),
    ([0, 1e-3], [9, float("nan")], "head of point 2 is nan"),
])
def test_bad_curves_are_refused_by_point(flow, head, says):
    with pytest.raises(HydraulicsError, match=says):
        pump_curve(flow, head)


def test_a_curve_is_not_read_past_its_ends(curve):
    with pytest.raises(HydraulicsError, match="not read past its ends"):
        head_at(curve, 91 * GPM)


@given(st.floats(2, 10), st.sampled_from(["1-1/4 in sch 40", "1-1/2 in sch 40", "2 in sch 40"]))
def test_friction_agrees_with_darcy_in_a_smooth_pipe(feet_per_second, name):
    # C = 150 stands for smooth plastic near 16 degrees Celsius; in pipe this small it reads a tenth low at 2 ft/s
    inside = find_pipe(name).inside
    velocity = feet_per_second * FOOT
    factor = friction_factor(velocity * inside / 1.12e-6, eD=0.0)
    darcy = factor / inside * velocity**2 / (2 * 9.80665)
    flow = velocity * pi * inside**2 / 4
    assert friction_hazen_williams(flow, 1.0, inside, 150.0) == pytest.approx(darcy, rel=0.11)


@given(st.floats(1, 25), st.floats(20, 300), st.sampled_from(["1-1/4 in sch 40", "1-1/2 in sch 40", "2 in sch 40"]))
def test_parts_add_up_and_the_pump_makes_them(static_ft, length_ft, name):
    made = pump_curve([0.0, 90 * GPM], [28 * FOOT, 5 * FOOT])
    found = lift(made, static_lift=static_ft * FOOT, length=length_ft * FOOT, pipe=find_pipe(name), alternatives=0)
    assert found.static_lift + found.friction_head + found.minor_head == pytest.approx(found.operating_head, rel=1e-12)
    assume(not found.past_curve_end)
    assert head_at(made, found.operating_flow) == pytest.approx(found.operating_head, rel=1e-9)
    assert found.jet_height == pytest.approx(found.velocity**2 / (2 * 9.80665))


def test_more_lift_or_length_or_elbows_move_less_and_a_larger_pipe_more(curve):
    base = lift(curve)
    assert lift(curve, static_lift=6 * FOOT).operating_flow < base.operating_flow
    assert lift(curve, length=150 * FOOT).operating_flow < base.operating_flow
    assert lift(curve, fittings=FITTINGS | {"elbow_90": 6}).operating_flow < base.operating_flow
    assert [other.pipe_key for other in base.alternatives] == ["2 in sch 40", "3 in sch 40"]
    assert base.operating_flow < base.alternatives[0].operating_flow < base.alternatives[1].operating_flow
    assert (base.inside, base.hazen_williams) == (pytest.approx(1.610 * INCH), 150.0)


def test_a_pump_that_cannot_reach_says_so(curve):
    with pytest.raises(PumpTooWeakError, match="static lift") as refused:
        lift(curve, static_lift=28 * FOOT)
    assert (refused.value.fact["head"], refused.value.fact["lift"]) == pytest.approx((28 * FOOT, 28 * FOOT))


def test_a_curve_read_past_its_end_says_so():
    short = pump_curve([0.0, 10 * GPM, 20 * GPM, 30 * GPM], [28 * FOOT, 27 * FOOT, 25 * FOOT, 22 * FOOT])
    found = lift(short)
    assert found.past_curve_end
    assert found.operating_flow == pytest.approx(30 * GPM)
    assert "pump_past_its_curve" in codes(found)
    assert found.static_lift + found.friction_head + found.minor_head == pytest.approx(found.operating_head)


def test_a_curve_that_starts_too_late_says_so():
    late = pump_curve([60 * GPM, 70 * GPM, 80 * GPM], [20 * FOOT, 15 * FOOT, 8 * FOOT])
    with pytest.raises(HydraulicsError, match="before the first point"):
        lift(late)


def test_absurd_velocity_says_so():
    strong = pump_curve([0.0, 120 * GPM], [90 * FOOT, 20 * FOOT])
    assert "line_velocity_absurd" in codes(lift(strong))


def test_inflow_over_capacity_and_minutes_without_power(curve):
    basin = sump_basin(24 * INCH, 36 * INCH)
    found = lift(curve, inflow=60 * GPM, basin=basin)
    assert found.excess_inflow == pytest.approx(60 * GPM - found.delivered_flow)
    assert "more_than_the_pump_moves" in codes(found)
    # 16 in from pump on at 20 in to the rim at 36 in
    assert found.minutes_without_power == pytest.approx(basin.area * 16 * INCH / (60 * GPM) / 60)
    assert "sump_without_power" in codes(found)
    dry = lift(curve, inflow=0.0, basin=basin)
    assert isinf(dry.minutes_without_power)
    assert dry.excess_inflow == 0.0


def test_short_cycling_names_the_basin_that_would_not(curve):
    basin = sump_basin(24 * INCH, 30 * INCH)
    found = lift(curve, inflow=35 * GPM, basin=basin)
    assert found.starts_per_hour > 15
    assert "pump_short_cycles" in codes(found)
    width = (found.cycle_volume_needed / (pi / 4 * (basin.levels.on - basin.levels.off))) ** 0.5
    assert lift(curve, basin=sump_basin(width, 30 * INCH)).starts_per_hour == pytest.approx(15.0)


def test_the_most_starts_that_may_be_are_no_short_cycling(curve):
    basin = sump_basin(24 * INCH, 30 * INCH)
    most = lift(curve, basin=basin).starts_per_hour
    assert "pump_short_cycles" not in codes(lift(curve, basin=basin, limits=LiftLimits(starts_per_hour=most)))
    fewer = LiftLimits(starts_per_hour=most * (1 - 1e-9))
    assert "pump_short_cycles" in codes(lift(curve, basin=basin, limits=fewer))


def test_no_basin_no_starts(curve):
    found = lift(curve)
    assert (found.starts_per_hour, found.minutes_without_power, found.cycle_volume) == (None, None, None)


def simulate_cycle(inflow, pump, volume, drain_back, step=0.01):
    """Seconds from one pump start to the next, level by level."""
    held, time = volume, 0.0
    while held > 0:
        held += (inflow - pump) * step
        time += step
    held += drain_back
    while held < volume:
        held += inflow * step
        time += step
    return time


@pytest.mark.parametrize("inflow, drain_back", [(10, 0.0), (20, 5.0), (30, 12.0)])
def test_cycle_time_by_simulation(inflow, drain_back):
    gallon = GPM * 60
    found = cycling_at(inflow * GPM, 40 * GPM, 20 * gallon, drain_back * gallon)
    simulated = simulate_cycle(inflow * GPM, 40 * GPM, 20 * gallon, drain_back * gallon)
    assert 3600 / found.starts_per_hour == pytest.approx(simulated, rel=2e-3)


@given(st.floats(5, 80), st.floats(5, 200), st.floats(0, 0.95), st.floats(0.02, 0.98))
def test_no_inflow_makes_more_starts_than_the_worst(pump, gallons, share, inflow):
    volume, back = gallons * GPM * 60, share * gallons * GPM * 60
    worst = worst_cycling(pump * GPM, volume, back)
    there = cycling_at(inflow * pump * GPM, pump * GPM, volume, back)
    assert there.starts_per_hour <= worst.starts_per_hour * (1 + 1e-9)


@given(st.floats(5, 80), st.floats(1, 60), st.floats(0, 40))
def test_volume_needed_keeps_to_the_limit(pump, starts, back_gallons):
    back = back_gallons * GPM * 60
    volume = cycle_volume_needed(pump * GPM, starts, back)
    assert worst_cycling(pump * GPM, volume, back).starts_per_hour <= starts * (1 + 1e-9)
    assert volume >= 1.5 * back
    assert cycle_volume_needed(pump * GPM, starts, back + 1e-3) >= volume


def test_a_line_that_refills_the_basin_chases_its_pump():
    found = worst_cycling(40 * GPM, 10 * GPM * 60, 12 * GPM * 60)
    assert found.rest == 0.0
    assert found.starts_per_hour == pytest.approx(3600 / (12 / 40 * 60))


def test_no_inflow_no_starts():
    assert cycling_at(0.0, 40 * GPM, 0.1).starts_per_hour == 0


def test_float_levels_of_the_trade():
    levels = sump_basin(24 * INCH, 36 * INCH).levels
    inches = [level / INCH for level in (levels.off, levels.on, levels.alarm, levels.inlet)]
    assert inches == pytest.approx([8, 20, 23, 24])


@pytest.mark.parametrize("depth, levels, says", [
    (16 * INCH, YARD_LEVELS, "take a deeper basin"),
    (24 * INCH, FloatLevels(0.3, 0.2, 0.4, 0.5), "above the one before"),
    (24 * INCH, FloatLevels(-0.1, 0.2, 0.4, 0.5), "pump off level is -0.1"),
    (float("nan"), YARD_LEVELS, "depth is nan"),
])
def test_bad_basins_are_refused(depth, levels, says):
    with pytest.raises(HydraulicsError, match=says):
        sump_basin(24 * INCH, depth, levels)


def test_relief_hole_grows_with_head():
    assert 0 == relief_hole_flow(0.0) < relief_hole_flow(3.0) < relief_hole_flow(6.0)


@pytest.mark.parametrize("changes, says", [
    ({"length": 0.0}, "length is 0.0"),
    ({"static_lift": -1.0}, "static lift is -1.0"),
    ({"inflow": float("inf")}, "inflow is inf"),
    ({"fittings": {"elbow_60": 1}}, '"elbow_60" is not known: known are elbow_90'),
    ({"fittings": {"elbow_90": -1}}, "-1 of elbow_90"),
    ({"fittings": {"exit": 1}}, "the exit counts always"),
    ({"pipe": find_pipe("4 in SDR-35")}, "no pressure pipe"),
])
def test_bad_lines_are_refused_by_name(curve, changes, says):
    with pytest.raises(HydraulicsError, match=says):
        lift(curve, **changes)


@pytest.mark.parametrize("feet_per_second, code", [
    (1.0, "line_velocity_slow"), (5.0, None), (9.0, "line_velocity_fast"), (14.0, "line_velocity_absurd")])
def test_limits_of_velocity(feet_per_second, code):
    said = velocity_warnings(feet_per_second * FOOT, LiftLimits())
    assert [each.code for each in said] == ([code] if code else [])


@given(st.floats(1, 20), st.floats(20, 300), st.sampled_from(["1-1/4 in sch 40", "1-1/2 in sch 40", "2 in sch 40"]))
def test_delivered_is_under_the_curve_no_less_in_a_larger_line_and_twice_with_two_pumps(static_ft, length_ft, name):
    made = pump_curve([0.0, 90 * GPM], [28 * FOOT, 5 * FOOT])
    settings = {"static_lift": static_ft * FOOT, "length": length_ft * FOOT, "pipe": find_pipe(name)}
    one, two = lift(made, **settings), lift(made, **settings, pumps=2)
    assert one.delivered_flow == pytest.approx(one.operating_flow - one.relief_flow)
    # at the head that the line takes the pump moves no more than its curve says
    assert head_at(made, one.delivered_flow) >= one.operating_head * (1 - 1e-9)
    grown = [one, *one.alternatives]
    assert all(larger.delivered_flow >= smaller.delivered_flow for smaller, larger in pairwise(grown))
    assert two.delivered_flow == pytest.approx(2 * one.delivered_flow, rel=1e-12)
    assert (two.operating_flow, two.velocity) == (one.operating_flow, one.velocity)


def test_a_relief_hole_that_takes_all_is_a_pump_too_weak(curve):
    with pytest.raises(PumpTooWeakError):
        lift(curve, limits=LiftLimits(relief_hole=0.1))
