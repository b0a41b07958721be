"""Every number of the report is the one that is handed over, rounded; what a user wrote does nothing but show."""

import json
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipelines.deliverables.files.text_file import summary_text
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.stakeout import stakeout_table
from pipelines.deliverables.lot.summary import summary
from pipelines.deliverables.lot.written import lot_files
from pipelines.deliverables.swale.handover import write_swales
from pipelines.deliverables.swale.layers import swale_tables
from pipelines.deliverables.unit_systems import unit_system, unit_value
from terrain.unit_table import RULE_UNITS, si_factor
from tests.pipelines.deliverables.conftest import make_findings
from tests.screened_samples import checked

SAMPLES = Path(__file__).parents[3] / "sample_data"
MADE_ON = date(2025, 3, 4)


@dataclass
class Told:
    """A number as the page shows it."""

    text: str
    source: str
    value: str | None
    unit: str


class Page(HTMLParser):
    """The numbers, the scripts and the visible text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.told: list[Told] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self._inside: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.tags.append((tag, found))
        self._inside.append(tag)
        if tag == "data":
            self.told.append(Told("", found.get("data-from") or "", found.get("value"), found.get("data-unit") or ""))

    def handle_endtag(self, tag: str) -> None:
        while self._inside and self._inside.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if self._inside and self._inside[-1] in ("script", "style"):
            return
        self.words.append(data)
        if "data" in self._inside:
            self.told[-1].text += data


def page_of(findings: Findings, folder: Path) -> str:
    path = folder / "report.html"
    lot_files(findings, made_on=MADE_ON)["report.html"](path)
    return path.read_text(encoding="utf-8")


@dataclass
class Handed:
    """What is handed over beside a page: layers, stakes, and what scripts read."""

    layers: dict[str, pd.DataFrame]
    stakes: pd.DataFrame
    summary: Any


def handed_over_with(findings: Findings) -> Handed:
    units = unit_system(findings.units)
    told = json.loads(summary_text(summary(findings)))
    return Handed(lot_tables(findings, units), stakeout_table(findings, units), told)


def looked_up(source: str, handed: Handed) -> float | None:
    """The number at a source, in SI, read from what is handed over."""
    kind, *rest = source.split("|")
    if kind == "summary":
        at = handed.summary
        for key in rest:
            at = at[int(key)] if isinstance(at, list) else at[key]
        return at
    if kind == "sum":
        layer, column, *which = rest
        frame = handed.layers[layer]
        if which:
            frame = frame[frame[which[0]].astype(str) == which[1]]
        return float(frame[column].sum()) * unit_of(column)
    column, row = rest[-1], "|".join(rest[:-1])
    frame = handed.stakes if kind == "stakeout" else handed.layers[kind]
    if kind == "take_off":
        value = frame[column].iloc[int(row)]
    else:
        key = next(name for name in ("id", "sub_catchment", "place", "point") if name in frame)
        value = frame.loc[frame[key] == row, column].iloc[0]
    return None if pd.isna(value) else float(value) * unit_of(column)


def unit_of(column: str) -> float:
    if column == "minutes_without_power":  # a layer's name that cannot change
        return 60.0
    suffixes = [*(unit.replace("/", "_") for unit in RULE_UNITS), "pct"]
    fitting = [suffix for suffix in suffixes if column.endswith(f"_{suffix}")]
    return unit_value(max(fitting, key=len)) if fitting else 1.0


def shown_value(told: Told) -> tuple[float, float]:
    """A shown number in SI, and half of its last digit."""
    found = re.match(r"-?[\d,]+(\.\d+)?", told.text)
    assert found is not None, told
    decimals = len((found.group(1) or ".")[1:])
    unit = told.unit.translate(str.maketrans("²³", "23"))
    one = si_factor(unit) if unit else 1.0
    value = float(found.group().replace(",", ""))
    last = 10.0**-decimals
    if any(part in told.source for part in ("|cost_", "|low", "|likely", "|high")):
        # money: to the nearest 10 below 1,000 and 100 above
        last = 1.0 if value < 10.0 else 10.0 if value < 1000.0 else 100.0
    return value * one, 0.5 * last * one


@pytest.mark.parametrize("units", ["us", "si"])
def test_every_number_is_the_one_that_is_handed_over(
    units: str, findings_with: Callable[..., Findings], tmp_path: Path
) -> None:
    findings = findings_with(units=units)
    handed = handed_over_with(findings)
    told = [each for each in Page(page_of(findings, tmp_path)).told if each.source]
    assert len(told) > 100
    for each in told:
        expected = looked_up(each.source, handed)
        if expected is None:
            assert each.text in ("unknown", "–")
            continue
        assert each.value is not None, each
        assert float(each.value) == pytest.approx(expected, rel=1e-8, abs=1e-12), each
        value, half = shown_value(each)
        assert abs(value - expected) <= half * (1.0 + 1e-6), each


def test_numbers_without_a_source_are_none(findings: Findings, tmp_path: Path) -> None:
    # the slider's and the map's own numbers are written by the page; all that Python writes says where it is from
    assert all(each.source for each in Page(page_of(findings, tmp_path)).told)


def test_answer_sheets_and_date(findings: Findings, tmp_path: Path) -> None:
    words = " ".join(" ".join(Page(page_of(findings, tmp_path)).words).split())
    assert findings.plan.verdict in words
    assert "2025-03-04" in words
    for asked in ("Where does the water come from?", "Where does it stand", "How sure is that?"):
        assert asked in words
    for sheet in ("Crew", "Owner", "Reviewer", "Before you dig", "Hose test", "What to look after", "Photograph"):
        assert sheet in words
    for caution in findings.cautions:
        assert caution.text in words
    assert "None" not in words
    assert "nan" not in words.split()


def test_a_lot_without_works_has_no_crew_and_no_empty_section(
    findings_with: Callable[..., Findings], findings: Findings, tmp_path: Path
) -> None:
    bare = replace(
        findings.plan, catch_basins=(), french_drains=(), pipe_runs=(), sumps=(), outfalls=(), fittings=(),
        take_off=(), discharges=(), alternatives=(), cures=(),
    )  # fmt: skip
    text = page_of(findings_with(plan=bare, low_spots=(), flow_paths=()), tmp_path)
    page = Page(text)
    assert 'id="crew"' not in text
    assert not re.search(r"<(ul|ol|tbody|dl)[^>]*>\s*</\1>", re.sub(r'<dl id="picked-rows"></dl>', "", text))
    assert "Nothing to build." in " ".join(page.words)


HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "' onload='alert(1)",
    "\u202egnp.exe\u202c right to left",
    "=HYPERLINK(\"http://example.invalid\")",
    "{{ 7 * 7 }}",
    "#panic() $x$ *bold* \\ `raw`",
    "]]></svg><script>alert(1)</script>",
    "\x01\x0b\x7f\ufffe control",
    "x" * 10_000,
]


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The page of the made-up lot."""
    return page_of(make_findings(), tmp_path_factory.mktemp("clean"))


@pytest.mark.parametrize("name", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_names_do_nothing_but_show(
    name: str, findings_with: Callable[..., Findings], findings: Findings, clean: str, tmp_path: Path
) -> None:
    plan = replace(
        findings.plan,
        catch_basins=tuple(replace(each, why=name) for each in findings.plan.catch_basins),
        pipe_runs=tuple(replace(each, crossings=(name,)) for each in findings.plan.pipe_runs),
    )
    files = tuple(replace(each, file=name) for each in findings.inputs)
    text = page_of(findings_with(name=name, plan=plan, inputs=files, warnings=(name,)), tmp_path)
    page, other = Page(text), Page(clean)
    for tag in ("script", "img", "style", "image", "meta", "iframe"):
        assert [found for found, _ in page.tags].count(tag) == [found for found, _ in other.tags].count(tag)
    assert not [each for _, each in page.tags if any(str(attribute).startswith("on") for attribute in each)]
    assert "\u202e" not in text
    assert len(text) < len(clean) + 200_000
    lot_files(findings_with(name=name, plan=plan, inputs=files, warnings=(name,)), made_on=MADE_ON)["report.pdf"](
        tmp_path / "report.pdf"
    )
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF")


def test_nothing_is_fetched_and_nothing_else_may_run(findings: Findings, tmp_path: Path) -> None:
    text = page_of(findings, tmp_path)
    assert len(text.encode()) < 3_000_000
    for tag, attributes in Page(text).tags:
        for attribute in ("src", "href", "data", "action"):
            target = attributes.get(attribute)
            assert target is None or target.startswith(("#", "data:image/png;base64,")), (tag, target)
        assert "style" not in attributes
    (policy,) = re.findall(r'Content-Security-Policy" content="([^"]+)"', text)
    assert policy.startswith("default-src &#39;none&#39;")
    assert "unsafe" not in policy
    assert "http:" not in text.replace("http://www.w3.org/2000/svg", "")


def test_two_pages_of_one_day_are_the_same(findings: Findings, tmp_path: Path) -> None:
    assert page_of(findings, tmp_path) == page_of(findings, tmp_path)


def test_every_number_of_the_swales_report(tmp_path: Path) -> None:
    findings = checked("swale")
    write_swales(findings, tmp_path / "out", made_on=MADE_ON)
    layers = swale_tables(findings)
    told_by = json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))
    text = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert len(text.encode()) < 3_000_000
    told = [each for each in Page(text).told if each.source]
    assert len(told) > 500
    for each in told:
        kind, *rest = each.source.split("|")
        if kind == "summary":
            expected: Any = told_by
            for key in rest:
                expected = expected[int(key)] if isinstance(expected, list) else expected[key]
        else:
            frame = layers[kind]
            value = frame.loc[frame["id"] == rest[0], rest[1]].iloc[0]
            expected = None if pd.isna(value) else float(value) * unit_of(rest[1])
        if expected is None:
            assert each.text == "–"
            continue
        value, half = shown_value(each)
        assert abs(value - expected) <= half * (1.0 + 1e-6), each
