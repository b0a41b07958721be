"""Which digs are told as deep, by the depths of 29 CFR 1926.651(c)(2) and 1926.652(a)(1): 4 ft and 5 ft."""

from types import SimpleNamespace

import pytest

from pipelines.deliverables.words.say import say
from pipelines.inputs.rules import load_rules
from pipelines.layout.ways.deep_trenches import deep_trenches
from terrain.reason import reason

FOOT = 0.3048


def digs(run: float, drain: float, pit: float) -> tuple:
    return (
        [SimpleNamespace(id="run-1", deepest=run * FOOT)],
        [SimpleNamespace(id="drain-1", depth=drain * FOOT)],
        [SimpleNamespace(id="sump-1", ground_elevation=100.0, bottom_elevation=100.0 - pit * FOOT)],
    )


@pytest.mark.parametrize(
    ("depths", "told", "protected"),
    [
        ((3.9, 3.9, 3.9), (), False),
        ((4.1, 3.9, 3.9), ("run-1",), False),
        ((3.9, 4.1, 3.9), ("drain-1",), False),
        ((3.9, 4.1, 5.1), ("drain-1", "sump-1"), True),
    ],
)
def test_runs_drains_and_pits_are_told_from_four_feet(depths: tuple, told: tuple, protected: bool) -> None:
    found = deep_trenches(*digs(*depths), load_rules())
    assert [each["digs"] for each in found] == ([told] if told else [])
    assert all(each["protected"] == protected for each in found)


def test_a_small_lack_of_fall_is_never_told_as_none() -> None:
    # a centimetre decides a line on flat ground
    assert "0.03 ft" in say(reason("short_of_fall", short=0.01), "us")
    assert "0.01 m" in say(reason("short_of_fall", short=0.01), "si")
