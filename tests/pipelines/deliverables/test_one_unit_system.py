"""Readers see the units they asked for and no others, except in nominal sizes and quoted law."""

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest

# not the number of an id, run-1, nor one of so many, 1 in 3
NUMBER = r"(?<![\w.])(?<!\w-)(?:\d[\d,./-]*)?\d"
US = r"ft|in|yd|[fy][td][23²³]|gpm|cfs|gal|hp|tons?|ft/s|in/h|feet|foot|inch(?:es)?"
SI = r"m|cm|mm|m[23²³]|l|l/s|m/s|mm/h|m3/s|kW|kg|lit(?:re|er)s?|met(?:re|er)s?"
OTHERS = {"si": re.compile(rf"{NUMBER} ?(?:{US})(?![\w/]| \d)"), "us": re.compile(rf"{NUMBER} ?(?:{SI})(?![\w/])")}
SIZE = r"\d+(?:-\d/\d)?(?: x \d+)? in"
THING = (
    r"(?:SDR|sch|D2729|grate|basin|perforated|smooth|corrugated|pipe|cleanout|elbow|tee|wye|sump|channel|stone|bend)"
)
NOMINAL = re.compile(
    rf"{SIZE}(?=,? {THING})"
    rf"|(?:basin|grate|cleanout|elbow|bend|tee|wye|valve|hole|pipe|sump|drain|fitting|splash pad),? (?:of )?{SIZE}"
    rf"|(?<=^run-)[^:]*: {SIZE}$"
    rf"|^{SIZE}$|{SIZE}(?:; {SIZE})+|\"grate\": \"{SIZE}\"|trench of 12 x 18 in|above it {SIZE}"
)
LAW = "OSHA"


def foreign(text: str, units: str) -> Iterator[str]:
    """Lines that hold a unit of the other system."""
    for line in dict.fromkeys(text.splitlines()):
        if LAW not in line and OTHERS[units].search(NOMINAL.sub("", line.strip())):
            yield line.strip()


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("name", ["lot_02", "lot_11", "swale"])
@pytest.mark.parametrize("where", ["terminal", "page", "layers", "summary"])
def test_no_unit_of_the_other_system(
    where: str, name: str, units: str, handed_over: Callable[[str, str], Any]
) -> None:
    text = getattr(handed_over(name, units), where)
    if where == "terminal":
        text = re.sub(r"\n {4}", " ", text)
    found = list(foreign(text, "si" if where == "summary" else units))
    assert not found, "\n".join(found)


@pytest.mark.parametrize("line", ["1.36 ft of fall", "5.5 in deep", "821 ft²", "12 gpm", "12,173 ft2 of lawn"])
def test_us_units_are_found(line: str) -> None:
    assert list(foreign(line, "si")) == [line]
    assert list(foreign(line, "us")) == []


@pytest.mark.parametrize("line", ["0.41 m of fall", "14.0 cm deep", "76 m²", "0.8 l/s", "1,131 m2 of lawn"])
def test_si_units_are_found(line: str) -> None:
    assert list(foreign(line, "us")) == [line]
    assert list(foreign(line, "si")) == []


@pytest.mark.parametrize(
    "line",
    [
        "79 m of 6 in SDR-35", "1-1/2 in sch 40", "12 in", "12 in; 15 in; 18 in", "an 18 in grate", "catch basin, 9 in",
        "from 4 ft (OSHA)",
    ],
)
def test_nominal_sizes_and_law_stay(line: str) -> None:
    assert list(foreign(line, "si")) == []
