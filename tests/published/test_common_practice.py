"""Facts of the trade: common practice, no source. They are not counted as published values."""

import pytest

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.hydraulics.pumping.lift import size_lift
from pipelines.hydraulics.pumping.pressure_line import RELIEF_HOLE, PressureLine, line_head
from pipelines.hydraulics.pumping.pump_curve import pump_curve
from pipelines.hydraulics.pumping.sump_basin import MOST_STARTS_PER_HOUR, sump_basin, worst_cycling
from pipelines.hydrology.surfaces import coefficient_range
from terrain.unit_table import FOOT, GALLON_PER_MINUTE, INCH, US_GALLON

GPM = GALLON_PER_MINUTE
LINE = find_pipe("1-1/2 in sch 40")


@pytest.fixture
def half_horse():
    return pump_curve([0.0, 90 * GPM], [28 * FOOT, 5 * FOOT])


@pytest.fixture
def common_lift(half_horse):
    return size_lift(
        half_horse, LINE, static_lift=3 * FOOT, length=100 * FOOT,
        fittings={"elbow_90": 3, "elbow_45": 2, "check_valve": 1},
    )


def test_what_a_half_horse_pump_moves_through_100_feet(common_lift):
    assert common_lift.operating_flow / GPM == pytest.approx(49.5, abs=0.5)
    parts = common_lift.static_lift + common_lift.friction_head + common_lift.minor_head
    assert parts == pytest.approx(common_lift.operating_head, rel=1e-12)


def test_its_two_points_or_ten_of_the_same_parabola_give_the_same(common_lift):
    flows = [q * GPM for q in range(0, 91, 10)]
    curve = pump_curve(flows, [(28 - 23 * (q / (90 * GPM)) ** 2) * FOOT for q in flows])
    same = size_lift(curve, LINE, static_lift=3 * FOOT, length=100 * FOOT,
                     fittings={"elbow_90": 3, "elbow_45": 2, "check_valve": 1})
    assert same.operating_flow == pytest.approx(common_lift.operating_flow, rel=1e-3)


def test_a_relief_hole_is_part_of_every_lift(common_lift):
    assert pytest.approx(3 / 16) == RELIEF_HOLE / INCH
    assert 1 < common_lift.relief_flow / GPM < 3


def test_a_line_of_120_feet_drains_12_7_gallons_back(half_horse):
    lift = size_lift(half_horse, LINE, static_lift=3 * FOOT, length=120 * FOOT, fittings={})
    assert lift.drain_back / US_GALLON == pytest.approx(12.7, abs=0.05)


def test_eight_inches_in_a_24_inch_basin_short_cycle():
    drawdown = sump_basin(24 * INCH, 30 * INCH).area * 8 * INCH
    assert drawdown / US_GALLON == pytest.approx(15.7, abs=0.05)
    assert worst_cycling(40 * GPM, drawdown).starts_per_hour == pytest.approx(38.2, abs=0.2)
    assert MOST_STARTS_PER_HOUR == 15


def test_total_head_of_the_common_line_by_hand():
    # 40 gpm, 8 ft static, 120 ft, three 90s, two 45s, a swing check and the exit: 149.79 ft, 13.297 + 0.6175 ft
    line = PressureLine(8 * FOOT, 120 * FOOT, LINE.inside, 150.0, {"elbow_90": 3, "elbow_45": 2, "check_valve": 1})
    assert line_head(line, 40 * GPM).total / FOOT == pytest.approx(21.915, abs=0.01)
    larger = PressureLine(8 * FOOT, 120 * FOOT, find_pipe("2 in sch 40").inside, 150.0, dict(line.fittings))
    assert line_head(larger, 40 * GPM).total / FOOT == pytest.approx(12.387, abs=0.01)


def test_gravel_that_is_driven_on_sheds_half_to_seven_tenths():
    found = coefficient_range("gravel", "B", 0.02)
    assert (found.low, found.high) == pytest.approx((0.50, 0.70))
