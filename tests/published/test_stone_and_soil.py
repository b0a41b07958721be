"""Stone trenches and soakaways, against ordinances and an infiltration manual."""

import pytest

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.hydraulics.soakaway import LONGEST_DRY_TIME, Soakaway, assess_soakaway
from pipelines.hydraulics.stone_trench import StoneTrench, deepest_stone, drain_down_time, trench_storage
from terrain.unit_table import FOOT, INCH, INCH_PER_HOUR, US_GALLON

ORDINANCE = "Stormwater ordinance, example sizing for infiltration trenches"
SMRC = "Stormwater Manager's Resource Center, infiltration criteria"


@pytest.mark.published(source=ORDINANCE, where="step 2: 140 ft3 at 40 % voids need 350 ft3", memory=False, worked=True)
def test_volume_of_stone_that_holds_a_storm():
    trench = StoneTrench(350 * FOOT, FOOT, FOOT, None, 0.0, "grade", porosity=0.40)
    assert trench_storage(trench) / FOOT**3 == pytest.approx(140, rel=1e-9)


@pytest.mark.published(source=ORDINANCE, where="step 3: 3 ft x 6 ft x 20 ft", memory=False, worked=True)
def test_trench_of_the_ordinance_holds_its_storm():
    trench = StoneTrench(20 * FOOT, 6 * FOOT, 3 * FOOT, None, 0.0, "grade", porosity=0.40)
    # its length, 19.5 ft, is rounded up to 20
    assert 140 <= trench_storage(trench) / FOOT**3 < 1.05 * 140


@pytest.mark.published(source=SMRC, where="empty in 48 h", memory=False, worked=False)
def test_dry_within_two_days():
    # at 0.3 in/h and 40 % voids 3 ft of stone is the most
    assert deepest_stone(LONGEST_DRY_TIME, 0.40, 0.3 * INCH_PER_HOUR) == pytest.approx(3 * FOOT)
    pit = Soakaway(3.0, 1.0, 3 * FOOT, 0.40, 4 * FOOT)
    result = assess_soakaway(pit, 0.5, 3600.0, tested_rate=0.6 * INCH_PER_HOUR, water_table_below_ground=8 * FOOT)
    assert result.dry_time == pytest.approx(LONGEST_DRY_TIME)


@pytest.mark.parametrize("rate, hours", [(0.3, 24.0), (0.06, 120.0)])
def test_time_to_empty_by_hand(rate, hours):
    # 1.5 ft of stone at 40 % voids: n d / f
    assert drain_down_time(1.5 * FOOT, 0.40, rate * INCH_PER_HOUR) / 3600 == pytest.approx(hours)


@pytest.mark.parametrize("porosity, gallons", [(0.35, 434.8), (0.40, 487.3)])
def test_storage_of_a_french_drain_by_hand(porosity, gallons):
    # 1.0 x 1.5 x 100 ft with 4 in pipe of 4.215 in outside and 4.065 in inside
    pipe = find_pipe("4 in D2729 perforated")
    trench = StoneTrench(100 * FOOT, FOOT, 1.5 * FOOT, pipe, 0.01, "soil", porosity=porosity)
    assert trench_storage(trench) / US_GALLON == pytest.approx(gallons, abs=0.1)
    assert pipe.outside / INCH == pytest.approx(4.215)


def test_what_manuals_call_a_void_ratio_of_0_40_is_a_porosity():
    # the Minnesota manual calls 0.4 of No. 57 a void ratio; stone of 2.65 weighs 99 lb/ft3 if that is its porosity,
    # as tables give crushed stone, and 118 if it were a true void ratio
    def weight(porosity):
        return 2.65 * 62.4 * (1 - porosity)

    true_void_ratio = 0.40
    assert weight(0.40) == pytest.approx(99.2, abs=0.1)
    assert weight(true_void_ratio / (1 + true_void_ratio)) > 115
