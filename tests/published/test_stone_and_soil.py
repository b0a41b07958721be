"""Stone and the soil under it, against an ordinance and an infiltration manual."""

import pytest

from pipelines.hydraulics.soakaway import LONGEST_DRY_TIME, Soakaway, assess_soakaway
from pipelines.hydrology.surfaces import infiltration_rate
from terrain.unit_table import FOOT, HOUR, INCH_PER_HOUR

ORDINANCE = "Stormwater ordinance, example sizing for infiltration trenches"
MINNESOTA = "Minnesota Stormwater Manual"
SMRC = "Stormwater Manager's Resource Center, infiltration criteria"


def assessed(length, width, depth, inflow, rate=0.6 * INCH_PER_HOUR):
    """Of stone with 40 % voids, far from water, whose storm is over at once."""
    pit = Soakaway(length * FOOT, width * FOOT, depth * FOOT, 0.40, (depth + 1.0) * FOOT)
    return assess_soakaway(
        pit, inflow * FOOT**3, 0.0, tested_rate=rate, water_table_below_ground=(depth + 5.0) * FOOT, dry_within=1e9
    )


@pytest.mark.published(source=ORDINANCE, where="step 2: 140 ft3 at 40 % voids need 350 ft3", memory=False, worked=True)
def test_volume_of_stone_that_holds_a_storm():
    assert assessed(350, 1, 1, 140).why["storage"] / FOOT**3 == pytest.approx(140, rel=1e-9)


@pytest.mark.published(source=ORDINANCE, where="step 3: 3 ft x 6 ft x 20 ft", memory=False, worked=True)
def test_trench_of_the_ordinance_holds_its_storm():
    # its length, 19.5 ft, is rounded up to 20
    assert assessed(20, 6, 3, 140).verdict == "works"
    assert assessed(20, 6, 3, 1.05 * 140).verdict == "too small"


@pytest.mark.published(source=SMRC, where="empty in 48 h", memory=False, worked=False)
def test_dry_within_two_days():
    # at 0.3 in/h, half of the rate tested, and 40 % voids 3 ft of stone is the most
    assert assessed(10, 3, 3, 1).why["dry_time"] == pytest.approx(LONGEST_DRY_TIME)


@pytest.mark.parametrize("rate, hours", [(0.3, 24.0), (0.06, 120.0)])
def test_time_to_empty_by_hand(rate, hours):
    # 1.5 ft of stone at 40 % voids: n d / f
    assert assessed(10, 3, 1.5, 1, 2.0 * rate * INCH_PER_HOUR).why["dry_time"] / HOUR == pytest.approx(hours)


@pytest.mark.published(
    source=MINNESOTA, where="design infiltration rates, January 2014 table", memory=False, worked=False
)
@pytest.mark.parametrize("group, rate", [("A", 0.8), ("B", 0.3), ("C", 0.2), ("D", 0.06)])
def test_design_infiltration_by_soil_group(group, rate):
    # the lower of what is printed for the soils of a group: A 0.8 and 1.63, B 0.3 and 0.45 in/h
    assert infiltration_rate(group, compacted=False).likely == pytest.approx(rate * INCH_PER_HOUR, rel=1e-9)
