"""An inlet's level that nobody gave, drawn through the verdict of a lot: never surer than all that it may be."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from shapely import Point, box

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.report.lot.map import lot_map
from pipelines.deliverables.words.say import say
from pipelines.inputs.rules import load_rules
from pipelines.lot import screen_lot

ROWS, COLUMNS, CELL = 120, 100, 0.5
MORE = '[rain]\ndepth = "75 mm"\nduration = "60 min"\n[house]\nfoundation = "slab"\n'
UNDER = load_rules()["outlet_under_inlet"]

Screen = Callable[..., Findings]


def ground(street: float) -> np.ndarray:
    """A plane that falls south to a street at a level, with a low in the lawn behind the house."""
    row, column = np.mgrid[0:ROWS, 0:COLUMNS]
    x, y = (column + 0.5) * CELL, (ROWS - row - 0.5) * CELL
    plane = np.where(y < 10.0, street + 0.02 * np.abs(y - 5.0), 100.0 + 0.01 * (y - 8.0))
    away = np.hypot(x - 25.0, y - 36.0)
    return np.where(away < 4.0, np.minimum(plane, plane[away < 4.0].min() - 0.2 * (1.0 - (away / 4.0) ** 2)), plane)


@pytest.fixture
def screen(make_lot) -> Screen:
    """Screens a lot above a street at a level, with one outfall, its level given or not. [m]"""

    def run(street: float, kind: str = "inlet", level: float | None = None, point: Point | None = None) -> Findings:
        outfall: dict[str, Any] = {"geometry": point or Point(36.25, 5.25), "kind": kind}
        if level is not None:
            outfall["level_m"] = level
        layers = {
            "parcel": [{"geometry": box(8.0, 10.0, 42.0, 50.0)}],
            "roofs": [{"geometry": box(18.0, 20.0, 32.0, 28.0)}],
            "right_of_way": [{"geometry": box(0.0, 0.0, 50.0, 10.0)}],
            "outfalls": [outfall],
        }
        folder = f"{kind} {street} {level}"
        return screen_lot(make_lot(ground(street), layers, more=MORE, folder=folder))

    return run


def chosen(found: Findings) -> str:
    (mode,) = [way.mode for way in found.plan.alternatives if way.chosen]
    return mode


@pytest.mark.parametrize(("street", "state"), [(99.95, "cannot_tell"), (99.3, "sure"), (101.8, "sure")])
def test_a_fall_is_sure_only_where_it_is_at_every_level_that_the_inlet_may_have(
    screen: Screen, street: float, state: str
) -> None:
    # the inlet's grate stands in the street; its invert lies 1 to 5 ft below that
    unknown = screen(street)
    assert unknown.plan.parts.fall.state == state
    grate = street + 0.005
    known = [screen(street, level=grate - depth) for depth in (UNDER.low, UNDER.likely, UNDER.high)]
    assert all(found.plan.parts.fall.state == "sure" for found in known)
    modes = {chosen(found) for found in known}
    assert (len(modes) == 1) == (state == "sure")
    if state == "sure":
        assert {chosen(unknown)} == modes
    else:
        assert modes == {"gravity", "pump"}
        told = say(unknown.plan.parts.fall.why, "si")
        assert "Nobody gave the level of outfall-1" in told
        assert "shot" in told
        # the shot that settles it is first on site
        assert any("the bottom of outfall-1" in say(check, "si") for check in unknown.plan.site_checks)


def test_a_level_is_verified_only_where_it_was_given(screen: Screen) -> None:
    (unknown,), (known,) = screen(99.3).plan.outfalls, screen(99.3, level=98.7).plan.outfalls
    assert (unknown.given, unknown.verified, known.verified) == (True, False, True)
    assert known.under == known.over == 0.0
    low, high = unknown.level - unknown.under, unknown.level + unknown.over
    assert high - low == pytest.approx(UNDER.high - UNDER.low)
    table = lot_tables(screen(99.3), "si")["outfalls"]
    assert float(table["level_low_m"].iloc[0]) == pytest.approx(low)
    assert float(table["level_high_m"].iloc[0]) == pytest.approx(high)


def test_a_ditch_drawn_on_its_bank_is_told_where_it_was_and_is(screen: Screen, make_lot) -> None:
    row, _ = np.mgrid[0:ROWS, 0:COLUMNS]
    y = (ROWS - row - 0.5) * CELL
    surface = np.where(y < 8.0, 98.8 + 0.4 * np.abs(y - 4.0), ground(100.0))
    layers = {
        "parcel": [{"geometry": box(8.0, 10.0, 42.0, 50.0)}],
        "roofs": [{"geometry": box(18.0, 20.0, 32.0, 28.0)}],
        "right_of_way": [{"geometry": box(0.0, 0.0, 50.0, 10.0)}],
        "outfalls": [{"geometry": Point(36.25, 6.25), "kind": "ditch"}],
    }
    found = screen_lot(make_lot(surface, layers, more=MORE))
    (outfall,) = found.plan.outfalls
    assert outfall.moved_from is not None
    # straight across to the bed, 2.25 m off
    assert outfall.point.distance(outfall.moved_from) == pytest.approx(2.25, abs=CELL)
    assert abs(outfall.point.x - outfall.moved_from.x) <= CELL
    assert any("drawn on the bank" in say(each, "us") for each in found.warnings)
    tables = lot_tables(found, "si")
    (line,) = tables["outfall_moves"].geometry
    assert float(tables["outfall_moves"]["distance_m"].iloc[0]) == pytest.approx(line.length)
    drawn = [layer for layer in lot_map(found, tables, "si").layers if layer.name == "outfall_moves"]
    assert len(drawn) == len(drawn[0].features) == 1
