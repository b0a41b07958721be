"""Sums and names in a lot's answer: areas that add up, a pond told once, nothing negative to spare."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.report.blocks import Number
from pipelines.deliverables.report.lot.answer import _sources, _ways, discharge_words, standing_words
from pipelines.deliverables.words.say import say
from terrain.reason import reason


def text(words) -> str:
    return "".join(each.text if isinstance(each, Number) else str(each) for each in words)


def test_lot_and_run_on_add_up_to_the_drainage_area_with_what_is_left_out(
    findings_with: Callable[..., Findings],
) -> None:
    whole = findings_with()
    assert whole.studied_area == whole.parcel_area + whole.run_on_area
    assert "left out" not in text(next(_sources(whole, "si")))
    holed = findings_with(parcel_area=whole.parcel_area + 50.0)
    told = text(next(_sources(holed, "si")))
    assert "the lot 650 m2 (50 m2 of it has no known ground and is left out)" in told
    assert 650.0 - 50.0 + holed.run_on_area == holed.studied_area


def test_a_pond_within_a_pond_is_told_with_it(findings_with: Callable[..., Findings]) -> None:
    (outer,) = findings_with().low_spots
    inner = replace(outer, spot=replace(outer.spot, id="low-9", contained_in=outer.spot.id), rank=2)
    apart = replace(outer, spot=replace(outer.spot, id="low-9"), rank=2)
    for second, lines in ((inner, 1), (apart, 2)):
        findings = findings_with(low_spots=(outer, second))
        told = [text(each) for each in standing_words(findings, lot_tables(findings, "us"), "us")]
        assert len([each for each in told if each.startswith("low-")]) == lines
        assert not any("more, shallower" in each for each in told)


@pytest.mark.parametrize(("margin", "words"), [(0.05, "0.05 m to spare"), (-0.11, "0.11 m short")])
def test_what_is_short_is_not_said_to_be_to_spare(margin: float, words: str) -> None:
    told = say(reason(
        "fall_told", spare=-0.2, margin=margin, error=0.05, name="basin-1", outfall="outfall-1", sure=False,
    ), "si")  # fmt: skip
    assert words in told
    assert " -" not in told


def test_a_way_or_a_line_that_falls_short_is_short_of_fall(findings_with: Callable[..., Findings]) -> None:
    findings = findings_with()
    short = replace(findings.plan.discharges[0], mode="gravity", verdict="cannot_tell", fall_to_spare=-0.11)
    assert "(short of fall by 11 cm" in text(discharge_words(short, 0, "si"))
    ways = tuple(replace(way, mode="gravity", possible=True, fall_to_spare=-0.11) for way in findings.plan.alternatives)
    told = [text(each) for each in _ways(findings_with(plan=replace(findings.plan, alternatives=ways)), "si")]
    assert any("; short of fall by 11 cm" in each for each in told)
    assert not any("to spare -" in each for each in told)


@pytest.mark.parametrize(
    ("spare", "margin", "ends"),
    [(0.1, 0.1, ": it may be short."), (-0.1, 0.02, ": it may be short."), (-0.02, -0.02, ": it may be enough.")],
)
def test_what_lidar_leaves_open_is_told_from_the_side_that_it_lies_on(spare: float, margin: float, ends: str) -> None:
    told = say(reason(
        "fall_told", spare=spare, margin=margin, error=0.06, name="basin-1", outfall="outfall-1", sure=False,
    ), "si")  # fmt: skip
    assert told.endswith(ends)
    assert ("by those it is laid at" in told) == (spare < 0.0 and margin != spare)
