"""Lots whose swale takes the storm below their outlets: the verdict is sure, but where more passes through the pond on
a patio than may run there, and nothing is submerged."""

from pathlib import Path

import pytest
from shapely import Point

from pipelines.lot import screen_lot
from pipelines.swale import check_swale
from tests.quick_share import one_in

SAMPLE = Path(__file__).parents[3] / "sample_data"


@pytest.fixture(scope="module")
def swale():
    """The swale, checked in the ten-year storm."""
    (found,) = check_swale(SAMPLE / "ember_lane.toml").swales
    return found


def test_the_swale_takes_its_ten_year_storm(swale):
    assert swale.answer == "takes_it"
    assert {each.verdict.answer for each in swale.reaches} == {"takes_it"}
    assert [each.answer for each in swale.crossings] == ["takes_it"] * 3
    assert all(each.over == 0.0 for each in swale.crossings)
    assert not [each for each in swale.ponds if each.sure]
    assert {each.tailwater.state for each in swale.outlets} == {"free"}


@pytest.mark.parametrize(("number", "cure"), one_in(2, [(1, "cannot_tell"), (2, "sure"), (3, "sure")]))
def test_what_is_sure_with_an_outlet_above_the_swale_s_water(swale, number, cure):
    found = screen_lot(SAMPLE / f"ember_lane_{number}.toml")
    states = {name: part.state for name, part in found.plan.parts.named}
    assert states == {"cause": "sure", "fall": "sure", "outfall": "sure", "cure": cure}
    (look,) = found.outfall_looks
    (used,) = [each for each in found.plan.outfalls if each.fall_to_spare is not None]
    assert (look.state, look.submerged) == ("sure", 0.0)
    assert look.level < used.level
    # its whole catchment is counted: the low line is followed along the way of the water, as the drawn one is
    here = min(swale.outlets, key=lambda each: look.point.distance(Point(each.outlet.x, each.outlet.y)))
    assert look.level == pytest.approx(here.tailwater.highest, abs=0.05)
    # flow grows by steps where water enters, which may lie between the outlet and a section of either line
    section, peak = swale.site.section_below(here.outlet.station), swale.flow.peak
    assert 0.9 * peak[max(section - 1, 0)] <= look.flow <= 1.1 * peak[section + 1]
