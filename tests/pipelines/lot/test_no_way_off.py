"""A lot that no line leaves: what bars the way is named once, with what would open it, on lots made to be so barred."""

import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from shapely import Point, box

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.report.lot.map import lot_map
from pipelines.deliverables.words.say import say
from pipelines.lot import screen_lot
from terrain.reason import Reason

ROWS, COLUMNS, CELL = 120, 100, 0.5
MORE = '[rain]\ndepth = "75 mm"\nduration = "60 min"\n[house]\nfoundation = "slab"\n'
LOT, HOUSE, STREET = box(8.0, 10.0, 42.0, 50.0), box(18.0, 20.0, 32.0, 28.0), box(0.0, 0.0, 50.0, 10.0)
SWALE = {"geometry": Point(36.25, 5.25), "kind": "swale"}
BESIDE = {"geometry": Point(45.25, 30.25), "kind": "ditch"}

Screen = Callable[..., Findings]


def ground(pit: float = 0.2) -> np.ndarray:
    """A plane that falls south to a swale 1 m deep, with a low in the lawn behind the house."""
    row, column = np.mgrid[0:ROWS, 0:COLUMNS]
    x, y = (column + 0.5) * CELL, (ROWS - row - 0.5) * CELL
    plane = 100.0 + 0.01 * (y - 8.0)
    plane = np.where(y < 8.0, np.maximum(100.0 - 0.5 * (8.0 - y), 99.0), plane)
    plane = np.where(y < 4.0, 99.0 + 0.25 * (4.0 - y), plane)
    away = np.hypot(x - 25.0, y - 36.0)
    return np.where(away < 4.0, np.minimum(plane, plane[away < 4.0].min() - pit * (1.0 - (away / 4.0) ** 2)), plane)


def shapes(**changed: list[dict[str, Any]] | None) -> dict[str, list[dict[str, Any]]]:
    """A lot that drains to a swale in the street, with what is changed of it; None leaves a table out."""
    rows = {
        "parcel": [{"geometry": LOT}], "roofs": [{"geometry": HOUSE}], "right_of_way": [{"geometry": STREET}],
        "outfalls": [SWALE],
    }  # fmt: skip
    return {name: each for name, each in (rows | changed).items() if each is not None}


@pytest.fixture
def screen(make_lot) -> Screen:
    """Screens a made lot of these shapes."""

    def run(layers, surface=None, more: str = "") -> Findings:
        return screen_lot(make_lot(ground() if surface is None else surface, layers, more=MORE + more))

    return run


def codes(fact: object) -> list[Reason]:
    """Every fact in a fact, itself first."""
    if isinstance(fact, tuple):
        return [each for part in fact for each in codes(part)]
    if not isinstance(fact, Reason):
        return []
    return [fact, *(each for _, value in fact.values for each in codes(value))]


def roofs(*boxes: Any) -> list[dict[str, Any]]:
    return [{"geometry": each} for each in boxes]


# a house over the whole width, one that leaves a side yard of 1 m, of which 0.6 m is kept off, a roof on the strip
ACROSS, NARROW, ON_STRIP = box(8.0, 20.0, 42.0, 28.0), box(9.0, 20.0, 41.0, 28.0), box(43.0, 25.0, 44.5, 36.0)
SEPTIC = {"geometry": box(7.0, 12.0, 43.0, 15.0), "kind": "septic field", "setback_m": 1.0, "crossing": "never"}

CASES = {
    "an outfall beside the lot, the right of way elsewhere": (
        {"outfalls": [BESIDE]}, ["barred_way"], "no", "[right_of_way]"),
    "no right of way known, a roof on the straight strip": (
        {"outfalls": [BESIDE], "right_of_way": None, "roofs": roofs(HOUSE, ON_STRIP)},
        ["barred_way"], "cannot_tell", "[right_of_way]"),
    "a house from line to line": ({"roofs": roofs(ACROSS)}, ["barred_by houses"], "no", "[outfalls]"),
    "a house from line to line, no right of way known": (
        {"roofs": roofs(ACROSS), "right_of_way": None}, ["barred_by houses"], "cannot_tell", "[outfalls]"),
    "a side yard narrower than the offset": (
        {"roofs": roofs(NARROW)}, ["barred_setback"], "no", "least_line_offset"),
    "a septic field across the lot": ({"keep_out": [SEPTIC]}, ["barred_crossing"], "no", "[keep_out]"),
    "a septic field, and the outfall in no right of way": (
        {"keep_out": [SEPTIC], "right_of_way": [{"geometry": box(0.0, 0.0, 12.0, 10.0)}]},
        ["barred_way", "barred_crossing"], "no", "[keep_out]"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_what_bars_the_way_is_named_with_what_would_open_it(screen: Screen, case: str) -> None:
    changed, bars, state, opens = CASES[case]
    plan = screen(shapes(**changed)).plan
    assert not plan.pipe_runs
    told = [
        f"{each.code} {each['bar']}" if each.code == "barred_by" else each.code
        for each in codes(plan.parts.fall.why)
        if each.code.startswith("barred")
    ]
    assert told == bars
    assert plan.parts.fall.state == plan.parts.cure.state == plan.parts.verdict == state
    assert opens in say(plan.parts.fall.why, "us")


@pytest.mark.parametrize(
    ("case", "more"),
    [
        ("a side yard narrower than the offset", '[rules]\nleast_line_offset = "0.05 m"\n'),
        ("a house from line to line", None),
        ("a septic field across the lot", None),
    ],
)
def test_what_is_said_to_open_a_way_opens_it(screen: Screen, case: str, more: str | None) -> None:
    changed = dict(CASES[case][0])
    if "house" in case:
        changed["outfalls"] = [{"geometry": Point(25.25, 53.25), "kind": "inlet"}]
        changed["right_of_way"] = [{"geometry": box(0.0, 50.0, 50.0, 60.0)}]
    if "septic" in case:
        changed["keep_out"] = [SEPTIC | {"crossing": "careful"}]
    assert screen(shapes(**changed), more=more or "").plan.pipe_runs


def test_one_reason_for_many_outfalls_and_collectors_is_said_once(screen: Screen) -> None:
    beside = [BESIDE, BESIDE | {"geometry": Point(45.25, 40.25)}, BESIDE | {"geometry": Point(45.25, 20.25)}]
    plan = screen(shapes(outfalls=beside)).plan
    text = " ".join(
        say(each, "us")
        for each in (plan.verdict, *(part.why for _, part in plan.parts.named), *(d.why for d in plan.discharges))
    )
    assert text.count("No line reaches outfall-1, outfall-2 and outfall-3") == 1
    clauses = [each.strip() for each in re.split(r"[.;:]\s", say(plan.parts.fall.why, "us"))]
    assert len(clauses) == len(set(clauses))
    for way in plan.alternatives:
        assert say(way.depends_on, "us").count("no outfall lies beside") == 0


def test_water_that_leaves_over_the_edge_is_not_said_to_stay(screen: Screen) -> None:
    findings = screen(shapes(outfalls=[BESIDE]))
    leaving = {place: peak for place, peak, *_ in findings.leaving}
    assert leaving["edge_s"] > 0.01
    (over,) = [each for each in codes(findings.plan.verdict) if each.code == "leaves_over_edge"]
    assert (over["side"], over["flow"]) == ("edge_s", leaving["edge_s"])
    told = say(findings.plan.verdict, "us")
    assert "leaves over the south edge, as today" in told
    assert "the water stays" not in told
    (line,) = findings.plan.discharges
    assert "leaves over the south edge" in say(line.why, "us")


@pytest.mark.parametrize("pit", [0.2, 0.0])
def test_a_given_outfall_stays_drawn_whatever_is_built(screen: Screen, pit: float) -> None:
    # no line reaches it; without the low in the lawn and with a house that nothing runs at, none is wanted
    higher = {"roofs": roofs(box(18.0, 40.0, 32.0, 48.0))} if not pit else {}
    findings = screen(shapes(outfalls=[BESIDE], **higher), ground(pit))
    tables = lot_tables(findings, "us")
    assert not findings.plan.pipe_runs
    assert list(tables["outfalls"]["id"]) == ["outfall-1"]
    drawn = [layer for layer in lot_map(findings, tables, "us").layers if layer.name == "outfalls"]
    assert [feature.id for layer in drawn for feature in layer.features] == ["outfall-1"]
    west, south, east, north = lot_map(findings, tables, "us").view
    point = findings.plan.outfalls[0].point
    assert west < point.x < east
    assert south < point.y < north


@pytest.mark.parametrize("apart", [0.0, 1e-8, 1e-4, 0.05])
def test_a_street_that_two_maps_draw_a_hair_off_the_lot_is_no_bar(screen: Screen, apart: float) -> None:
    found = screen(shapes(right_of_way=[{"geometry": box(0.0, 0.0, 50.0, 10.0 - apart)}]))
    assert [line.mode for line in found.plan.discharges] == ["gravity"]
