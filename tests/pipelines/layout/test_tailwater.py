"""Tailwater at an outlet and the line behind it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.deliverables.words.say import say
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.inputs.rules import load_rules
from pipelines.layout.swale.tailwater import GravityLine, line_under_tailwater, tailwater_at
from pipelines.layout.swale.verdict import SwaleState, judge_swale
from terrain.reason import reason
from terrain.unit_table import HOUR

RULES = load_rules()
FLOW = np.array([0.0, 1.0, 2.0, 3.0, 2.0, 1.0, 0.0])


def test_free_part_and_always():
    level = 10.0 + 0.1 * FLOW
    assert tailwater_at(level, FLOW, 60.0, 10.35, RULES).state == "free"
    part = tailwater_at(level, FLOW, 60.0, 10.15, RULES)
    assert (part.state, part.share, part.submerged) == ("part", 0.6, 180.0)
    assert part.above == pytest.approx(0.15)
    assert tailwater_at(level, FLOW, 60.0, 9.9, RULES).state == "always"


def test_still_water_drowns_an_outlet_without_any_flow():
    still = tailwater_at(np.full(4, 10.2), np.zeros(4), 60.0, 10.1, RULES)
    assert (still.state, still.share) == ("always", 1.0)


def test_levels_and_flows_of_other_lengths_are_told():
    with pytest.raises(HydraulicsError, match="3 levels and 7 flows"):
        tailwater_at(np.zeros(3), FLOW, 60.0, 0.0, RULES)


LINE = GravityLine(
    diameter=0.1016, length=30.0, roughness=0.012, invert_up=10.3, invert_down=10.0, rim=10.8, flow=0.006
)


def test_tailwater_takes_capacity_and_lifts_the_water_behind():
    free = line_under_tailwater(LINE, 9.0)
    drowned = line_under_tailwater(LINE, 10.5)
    assert free.lost == 0.0
    assert drowned.level_up > free.level_up
    assert drowned.capacity < free.capacity == free.capacity_free
    # full pipe: the capacity goes with the root of the head that is left
    head_free, head_drowned = 10.8 - 10.1016, 10.8 - 10.5
    assert drowned.capacity / free.capacity == pytest.approx(np.sqrt(head_drowned / head_free))
    assert line_under_tailwater(LINE, 10.9).capacity == 0.0
    assert line_under_tailwater(LINE, 10.9).surcharges


def test_the_line_by_hand():
    # R = D/4, H = (1.5 + 19.63 n^2 L / R^(4/3)) V^2 / 2g
    speed = 0.006 / (np.pi * 0.1016**2 / 4)
    loss = (1.5 + 19.63 * 0.012**2 * 30.0 / (0.1016 / 4) ** (4 / 3)) * speed**2 / (2 * 9.80665)
    assert line_under_tailwater(LINE, 10.5).level_up == pytest.approx(10.5 + loss, abs=1e-3)


@given(st.floats(9.0, 11.0), st.floats(0.0, 1.0))
def test_more_tailwater_never_helps(tailwater, more):
    low, high = line_under_tailwater(LINE, tailwater), line_under_tailwater(LINE, tailwater + more)
    assert high.level_up >= low.level_up
    assert high.capacity <= low.capacity


SUSPECTED = reason("swale_culvert_suspected_below", station=30.0, depth=0.4)


@pytest.mark.parametrize(
    ("state", "answer", "says"),
    [
        (SwaleState(0.3, 0.15, 0.04, 0.0), "takes_it", "45 cm below the lower bank (15 cm required)"),
        (SwaleState(0.02, 0.15, 0.04, 0.0), "cannot_tell", "could decide it either way"),
        (SwaleState(-0.2, 0.15, 0.04, 0.01), "cannot_tell", "5 cm above the lower bank (at least 15 cm below it"),
        (SwaleState(-0.5, 0.15, 0.04, 0.05), "short", "35 cm above the lower bank, more than"),
        (SwaleState(0.3, 0.15, 0.04, 0.0, 0.2, 40 * HOUR, True), "holds_water", "20 cm deep for about 40 h"),
        (SwaleState(0.3, 0.15, 0.04, 0.0, 0.2, 40 * HOUR, False), "takes_it", "below"),
        (SwaleState(0.3, 0.15, 0.04, 0.0, 0.2, 6 * HOUR, True), "takes_it", "below"),
        (SwaleState(-0.5, 0, 0.04, 0, suspected=SUSPECTED), "cannot_tell", "suspected at station 30.0 m"),
    ],
)
def test_verdicts(state, answer, says):
    verdict = judge_swale(state, RULES)
    assert verdict.answer == answer
    assert says in say(verdict.why, "si")
    assert say(verdict.measure, "si")


def test_a_hidden_bottom_errs_to_one_side():
    # short by less than the grass may hide is not told as short; takes it by as much is told as takes it
    assert judge_swale(SwaleState(-0.06, 0.0, 0.02, 0.0), RULES).answer == "cannot_tell"
    assert judge_swale(SwaleState(0.06, 0.0, 0.02, 0.0), RULES).answer == "takes_it"
