"""The verdict in parts: the weakest needed part speaks for all of them."""

import itertools
from dataclasses import replace
from types import SimpleNamespace

import pytest
from shapely import Point

from pipelines.layout.cured import TroubleLeft, told_balances
from pipelines.layout.diagnosis.troubles import Trouble
from pipelines.layout.parts import WEAKEST_FIRST, Part, Parts
from pipelines.layout.plan import Discharge, Outfall
from pipelines.layout.verdict_parts import (
    NOTHING_NEEDED,
    as_far_as_looked,
    as_far_as_outfall,
    cure_part,
    look_of,
    looked_no_farther,
    outfall_part,
    with_works,
)
from terrain.reason import Reason, reason

NAMES = ("cause", "fall", "outfall", "cure")
PLACE = reason("place_lawn")


@pytest.mark.parametrize("states", list(itertools.product(WEAKEST_FIRST, repeat=4)))
def test_the_weakest_needed_part_is_the_verdict(states: tuple[str, ...]) -> None:
    parts = Parts(*(Part(state, name) for state, name in zip(states, NAMES, strict=True)))
    needed = [(name, state) for name, state in zip(NAMES, states, strict=True) if state != "not_needed"]
    for worst in ("no", "cannot_tell"):
        if any(state == worst for _, state in needed):
            assert parts.verdict == worst
            assert parts.weakest[0] == next(name for name, state in needed if state == worst)
            return
    assert parts.verdict == "sure"
    # no part can be sure of what is not needed, and one that is needed is told before those that are not
    assert parts.weakest[1].state == ("sure" if needed else "not_needed")


def test_making_one_part_weaker_never_makes_the_verdict_surer() -> None:
    rank = WEAKEST_FIRST.index
    for states in itertools.product(("no", "cannot_tell", "sure"), repeat=4):
        parts = Parts(*(Part(state, "") for state in states))
        for name in NAMES:
            weaker = replace(parts, **{name: Part("no", "")})
            assert rank(weaker.verdict) <= rank(parts.verdict)


@pytest.mark.parametrize("code", ["window_stopped", "window_unsettled", "window_look_stopped"])
def test_no_cure_is_sure_where_water_may_come_from_beyond_what_was_looked_at(code: str) -> None:
    beyond = looked_no_farther((reason("raster_of_roofs_and_trees"), reason(code), "as written"))
    assert beyond is not None
    assert beyond["banks"] == (code == "window_look_stopped")
    for state in WEAKEST_FIRST:
        parts = Parts(*(Part(state, name) for name in NAMES))
        looked = as_far_as_looked(parts, beyond)
        # what is not sure already keeps its own reason, and no other part is touched
        open_now = state in ("sure", "not_needed")
        assert looked.cure == (Part("cannot_tell", beyond) if open_now else parts.cure)
        assert (looked.cause, looked.fall, looked.outfall) == (parts.cause, parts.fall, parts.outfall)
        assert as_far_as_looked(parts, looked_no_farther(("as written",))) is parts


def trouble(name: str = "place_lawn") -> Trouble:
    return Trouble("standing", reason(name), reason("x"), None, None)


def test_nobody_is_sure_where_water_passes_through_a_pond_at_an_edge_beyond_what_may_run_there() -> None:
    passes = TroubleLeft(trouble(), through=(reason("spills_onto", spot="low-1", onto=0.01),))
    assert cure_part([TroubleLeft(trouble()), passes]).state == "cannot_tell"
    assert cure_part([TroubleLeft(trouble(), flow=0.0011, most=0.001), passes]).state == "no"


@pytest.mark.parametrize(
    ("left", "ended"),
    [
        (TroubleLeft(trouble(), depth=0.05, limit=0.05, over=9e9, longest=0.0), True),
        (TroubleLeft(trouble(), depth=0.06, limit=0.05, over=7200.0, longest=7200.0), True),
        (TroubleLeft(trouble(), depth=0.06, limit=0.05, over=7260.0, longest=7200.0), False),
        (TroubleLeft(trouble(), depth=0.06, limit=0.05, over=float("inf"), longest=7200.0), False),
        (TroubleLeft(trouble(), flow=0.001, most=0.001), True),
        (TroubleLeft(trouble(), flow=0.0011, most=0.001), False),
    ],
)
def test_a_trouble_is_ended_within_its_depth_or_its_time_and_its_flow(left: TroubleLeft, ended: bool) -> None:
    assert left.ended is ended
    assert cure_part([left]).state == ("sure" if ended else "no")
    # one that stays spoils those that end
    fine = TroubleLeft(trouble())
    assert cure_part([fine, left]).state == ("sure" if ended else "no")


def lets_by(onto: float, on: float = 0.03) -> Reason:
    return reason("lets_by", works="basin-1", comes=0.05, takes=0.015, held=0.005, on=on, onto=onto)


def test_what_works_let_by_is_told_once_with_all_that_it_may_reach() -> None:
    house, patio, lawn = (TroubleLeft(trouble(name), **some) for name, some in (
        ("place_named", {"through": (lets_by(0.02),)}), ("place_lawn", {"past": (lets_by(0.025),)}),
        ("place_lawn", {"past": (reason("spills_onto", spot="low-3", onto=0.01),)}),
    ))  # fmt: skip
    works, spot = told_balances([house, patio, lawn])
    assert (works["works"], works["comes"]) == ("basin-1", works["takes"] + works["held"] + works["on"])
    assert [each["flow"] for each in works["may"]] == [0.02]
    assert [each["flow"] for each in works["reaches"]] == [0.025]
    # water that goes past two places may be the same
    assert works["aside"] is None
    assert (spot["spot"], [each["flow"] for each in spot["reaches"]]) == ("low-3", [0.01])
    (alone,) = told_balances([house])
    assert alone["aside"] == pytest.approx(0.01)


def outfall(name: str, verdict: str | None) -> Outfall:
    return Outfall(name, "swale", Point(0.0, 0.0), True, 10.0, 0.1, 0.05, verdict, "")


def test_an_outfall_that_nobody_looked_at_cannot_be_told_and_one_that_no_line_uses_does_not_count() -> None:
    used, idle = outfall("outfall-1-2", "sure"), outfall("outfall-2", None)
    assert outfall_part([used, idle], {}).state == "cannot_tell"
    looks = {"outfall-1": Part("sure", "seen"), "outfall-2": Part("no", "a pond")}
    # a place of an outfall that was given as a line goes by the line's look
    assert look_of("outfall-1-2", looks) is looks["outfall-1"]
    assert outfall_part([used, idle], looks).state == "sure"
    assert outfall_part([used, outfall("outfall-2", "sure")], looks).state == "no"


@pytest.mark.parametrize(("fall", "look", "told"), [
    ("sure", "sure", "sure"), ("sure", "cannot_tell", "cannot_tell"), ("cannot_tell", "sure", "cannot_tell"),
    ("cannot_tell", "no", "no"), ("no", "cannot_tell", "no"),
])  # fmt: skip
def test_a_discharge_is_as_sure_as_the_weakest_of_its_fall_and_its_outfall(fall: str, look: str, told: str) -> None:
    line = Discharge(("basin-1",), "outfall-1", "gravity", fall, "the fall", 0.1, 0.05, None)
    (found,) = as_far_as_outfall([line], {"outfall-1": Part(look, "the outfall")})
    assert found.verdict == told
    assert replace(found, verdict=fall, why="the fall") == line


@pytest.mark.parametrize("look", ["sure", "cannot_tell", "no"])
def test_a_cure_holds_only_if_the_outfall_takes_the_water(look: str) -> None:
    line = Discharge(("basin-1",), "outfall-1", "gravity", "sure", "the fall.", 0.1, 0.05, None)
    way = SimpleNamespace(discharges=(line,), outfalls=(outfall("outfall-1", "sure"),))
    looks, under = {"outfall-1": Part(look, "the water")}, reason("fall_held_under", outfall="outfall-1", fails=12.0)
    parts = with_works(Part("sure", "rain"), way, looks, [TroubleLeft(trouble())], under if look != "sure" else None)
    assert (parts.fall.state, parts.cure.state) == ("sure", "sure")
    if look == "sure":
        assert (parts.fall.only, parts.cure.only) == (None, None)
    else:
        assert parts.cure.only["others"] == ("outfall",)
        assert (parts.fall.only["outfall"], parts.fall.only["fails"]) == ("outfall-1", 12.0)
        assert parts.fall.why["parts"] == ("the fall.", under)


def test_where_nothing_is_needed_the_answer_is_sure() -> None:
    assert NOTHING_NEEDED.verdict == "sure"
