"""Defaults of the trade that a code, a standard or a specification prints, against what it prints."""

import pytest

from pipelines.inputs.rules import load_rules
from terrain.unit_table import FOOT, INCH

OSHA = "29 CFR 1926 Subpart P, Excavations"
IRC = "International Residential Code, drainage of foundations and lots"
GRADING = "municipal grading codes, lots and their swales"
LIDAR = "USGS Lidar Base Specification"


@pytest.mark.published(source=OSHA, where="651(c)(2), 651(j)(2), 652(a)(1)", memory=False, worked=False)
@pytest.mark.parametrize(("key", "feet"), [("depth_egress", 4), ("spoil_offset", 2), ("depth_protection", 5)])
def test_a_trench_s_way_out_spoil_and_protection(key, feet):
    assert load_rules()[key].likely == pytest.approx(feet * FOOT)


@pytest.mark.published(source=IRC, where="R401.3 and R405.1", memory=True, worked=False)
@pytest.mark.parametrize(
    ("key", "inches"), [("regrade_fall", 6), ("regrade_reach", 120), ("stone_under_pipe", 2), ("stone_over_pipe", 6)]
)
def test_ground_at_a_wall_and_stone_round_a_drain(key, inches):
    assert load_rules()[key].likely == pytest.approx(inches * INCH)


@pytest.mark.published(source=LIDAR, where="quality levels 0, 2 and 3: vertical accuracy", memory=True, worked=False)
def test_accuracy_of_lidar_by_quality_level():
    rule = load_rules()["lidar_rmse"]
    assert (rule.low, rule.likely, rule.high) == pytest.approx((0.05, 0.10, 0.20))


@pytest.mark.published(source=LIDAR, where="quality level 2: 2 pulses a square metre", memory=True, worked=False)
def test_spacing_of_lidar_s_pulses(rounds_to):
    assert load_rules()["cells_trusted"].likely == pytest.approx(0.71)
    # printed is the side of the square that each pulse has
    assert rounds_to(2.0**-0.5, "0.71")


@pytest.mark.published(source=GRADING, where="swale of a side yard; side yard of 3:1", memory=False, worked=False)
@pytest.mark.parametrize(("key", "fall", "over"), [("swale_slope", 1, 100), ("swale_side_slope", 1, 3)])
def test_least_slope_and_steepest_side_of_a_swale(key, fall, over):
    assert load_rules()[key].likely == pytest.approx(fall / over, rel=2e-3)
