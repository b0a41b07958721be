"""With all clogged or the power out, the higher of pond and outfall water is held against the sill."""

import numpy as np
import pytest
from shapely import Point, box

from pipelines.deliverables.words.say import say
from pipelines.lot import screen_lot
from terrain.reason import Reason

ROWS, COLUMNS, CELL = 120, 100, 0.5
FLOOR = 100.6
MORE = f'[rain]\ndepth = "75 mm"\nduration = "60 min"\n[house]\nfoundation = "slab"\nfloor = "{FLOOR} m"\n'


def ground() -> np.ndarray:
    """A plane that falls south to a swale 1 m deep, with a low in the lawn behind the house."""
    row, column = np.mgrid[0:ROWS, 0:COLUMNS]
    x, y = (column + 0.5) * CELL, (ROWS - row - 0.5) * CELL
    plane = 100.0 + 0.01 * (y - 8.0)
    plane = np.where(y < 8.0, np.maximum(100.0 - 0.5 * (8.0 - y), 99.0), plane)
    plane = np.where(y < 4.0, 99.0 + 0.25 * (4.0 - y), plane)
    away = np.hypot(x - 25.0, y - 36.0)
    return np.where(away < 4.0, np.minimum(plane, plane[away < 4.0].min() - 0.2 * (1.0 - (away / 4.0) ** 2)), plane)


@pytest.fixture
def told(make_lot):
    """What is said of the heaviest storm where somebody gave the outfall's high water. [m]"""

    def run(high_water: float | None):
        outfall = {"geometry": Point(36.25, 5.25), "kind": "swale"}
        if high_water is not None:
            outfall["highest_level_m"] = high_water
        layers = {
            "parcel": [{"geometry": box(8.0, 10.0, 42.0, 50.0)}],
            "roofs": [{"geometry": box(18.0, 20.0, 32.0, 28.0)}],
            "right_of_way": [{"geometry": box(0.0, 0.0, 50.0, 10.0)}],
            "outfalls": [outfall],
        }
        found = screen_lot(make_lot(ground(), layers, more=MORE, folder=f"lot {high_water}"))
        codes = ("clogged", "outfall_at_sill")
        facts = [each for each in found.warnings if isinstance(each, Reason) and each.code in codes]
        return facts, found.outfall_looks[0]

    return run


def test_the_higher_of_both_is_held_against_the_sill(told) -> None:
    (alone,), look = told(None)
    pond = FLOOR - alone["room"]
    # the swale stands lower than the pond: nothing changes
    assert look.heaviest is not None
    assert look.heaviest < pond
    assert alone["outfall"] is None
    (backed,), look = told(pond + 0.4)
    assert look.heaviest == pytest.approx(pond + 0.4)
    assert FLOOR - backed["room"] == pytest.approx(pond + 0.4)
    assert backed["depth"] == pytest.approx(alone["depth"] + 0.4)
    assert backed["outfall"] == "outfall-1"
    assert "the water of outfall-1 then reaches higher than the pond" in say(backed, "us")
    assert (alone["near"], backed["near"]) == (False, True)


def test_water_that_reaches_no_place_but_the_sill_is_told_of(told) -> None:
    (fact, *_), look = told(FLOOR + 0.1)
    assert look.heaviest == pytest.approx(FLOOR + 0.1)
    assert FLOOR - fact["room"] == pytest.approx(FLOOR + 0.1)
    assert "above the sill" in say(fact, "us")
