"""A lot's answer is one: every number that the terminal says is on the page in the same words."""

import re
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.written import report_page
from pipelines.deliverables.report.lot.brief import brief_entries
from tests.screened_samples import screened

UNITS = "ft²|ft³|ft|in|yd3|gpm|cfs|m²|m³|m|cm|mm|l/s|h|d|min|%"
NUMBER = re.compile(rf"(?<![\w.,-])-?\d[\d,]*(?:\.\d+)?(?: (?:{UNITS})(?![\w/]))?")


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("name", ["lot_02", "lot_11"])
def test_every_number_on_the_terminal_is_on_the_page(
    name: str, units: str, handed_over: Callable[[str, str], Any]
) -> None:
    said = handed_over(name, units)
    on_page = " ".join(said.page.split())
    found = NUMBER.findall(" ".join(said.terminal.split()))
    assert len(found) > 30
    missing = [number for number in found if number not in on_page]
    assert not missing, missing


def test_numbers_are_read_whole() -> None:
    text = "low-2: 5.5 in deep over up to 821 ft², for 4.6 d; likely 3,700. In 2 h."
    assert NUMBER.findall(text) == ["5.5 in", "821 ft²", "4.6 d", "3,700", "2 h"]


def test_a_cure_that_is_left_open_is_told_with_its_count_at_a_glance_and_on_the_page() -> None:
    findings = screened("lot_13")
    cure = findings.plan.parts.cure
    assert (cure.state, cure.why.code) == ("cannot_tell", "cure_on_grounds")
    told = f"(it does on {cure.why['holds']} of {cure.why['grounds']} grounds)"
    entries = brief_entries(findings, lot_tables(findings, "us"), "us")
    assert [" ".join(each.told).count(told) for each in entries if each.name == "Verdict"] == [1]
    assert told in " ".join(report_page(findings, made_on=date(2026, 1, 2)).split())
