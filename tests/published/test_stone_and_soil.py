"""Stone trenches and soakaways, against ordinances and an infiltration manual."""

import pytest

ORDINANCE = "Stormwater ordinance, example sizing for infiltration trenches"
SMRC = "Stormwater Manager's Resource Center, infiltration criteria"


def test_what_manuals_call_a_void_ratio_of_0_40_is_a_porosity():
    # the Minnesota manual calls 0.4 of No. 57 a void ratio; stone of 2.65 weighs 99 lb/ft3 if that is its porosity,
    # as tables give crushed stone, and 118 if it were a true void ratio
    def weight(porosity):
        return 2.65 * 62.4 * (1 - porosity)

    true_void_ratio = 0.40
    assert weight(0.40) == pytest.approx(99.2, abs=0.1)
    assert weight(true_void_ratio / (1 + true_void_ratio)) > 115
