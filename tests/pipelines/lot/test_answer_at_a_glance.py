"""What the terminal prints by default: 25 lines of 80 columns on every sample, in the report's words and numbers."""

import re
from dataclasses import replace
from functools import cache

import pytest
from jinja2 import meta

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.written import answer_text, brief_text
from pipelines.deliverables.report.lot.brief import brief_entries
from pipelines.deliverables.report.text import Entry, entries_as_text
from pipelines.deliverables.words.quantities import format_quantity
from pipelines.deliverables.words.say import environment, say, sentences, short_forms
from terrain.reason import Reason
from tests.screened_samples import EVERY_LOT, screened

FILES = ["lot.gpkg", "runoff.csv", "summary.json", "report.html", "report.pdf", "stakeout.csv", "profiles.csv"]
UNITS = "ft²|yd³|ft|in|gpm|m²|m³|m|cm|l/s|h|d|min"
NUMBER = re.compile(rf"(?<![\w.,-])\d[\d,]*(?:\.\d+)?(?: (?:{UNITS})(?![\w/]))?")
CHECK = re.compile(r"\b[123]\. ")


@pytest.fixture(params=EVERY_LOT)
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def findings(name: str) -> Findings:
    return screened(name)


@pytest.fixture
def text(name: str) -> str:
    return text_of(name)


def entries(findings: Findings) -> tuple[Entry, ...]:
    return brief_entries(findings, lot_tables(findings, "us"), "us")


def glance(findings: Findings, width: int) -> list[str]:
    return brief_text(findings, width, "out-lot", FILES).splitlines()


@cache
def text_of(name: str) -> str:
    """What a terminal of 80 columns says of a lot, as one line."""
    return " ".join(" ".join(glance(screened(name), 80)).split())


@pytest.mark.parametrize("units", ["us", "si"])
def test_it_fits_a_terminal(findings: Findings, units: str) -> None:
    findings = replace(findings, units=units)
    for width in (80, 120):
        lines = glance(findings, width)
        assert len(lines) <= 25, lines
        assert max(map(len, lines)) <= width
    narrow = glance(findings, 60)
    assert max(map(len, narrow)) <= 60
    assert len(narrow) <= 25 * 80 // 60
    far = brief_text(findings, 80, f"/home/{'someone/' * 8}out-lot", FILES).splitlines()
    assert len(far) <= 25, far


def test_it_tells_each_part_once(findings: Findings) -> None:
    lines = glance(findings, 80)
    names = [line[:11].strip() for line in lines[1:] if line[:11].strip()]
    assert len(names) == len(set(names))
    assert {"Wrong", "Verdict", "Files", "Caution"} <= set(names)
    assert names[-1] == "Caution"
    assert lines[-1].startswith("Caution"), "one line of caution"
    plan, text = findings.plan, " ".join(" ".join(lines).split())
    if plan.pipe_runs:
        assert {"Build", "Drains to", "Cost", "Permits", "Check"} <= set(names)
        assert "trench up to" in text
        assert all(outfall in text for outfall in {line.outfall for line in plan.discharges if line.outfall})
        assert "Call for marks before you dig" in text
    assert text.count("Check ") == bool(plan.site_checks)
    assert all(f"{at}. " in text for at in range(1, min(2, len(plan.site_checks)) + 1))


def test_every_number_is_in_the_whole_answer(findings: Findings) -> None:
    whole = " ".join(answer_text(findings, 100_000).split())
    lines = brief_text(findings, 100_000, "out-lot", FILES).splitlines()
    told = [line for line in lines[1:] if not line.startswith(("Files", "Caution"))]
    found = [number for line in told for number in NUMBER.findall(CHECK.sub("", re.sub(r"And \d+ more", "", line)))]
    assert not [number for number in found if number not in whole]


def test_what_comes_to_works_is_caught_held_back_or_goes_on(findings: Findings, text: str) -> None:
    why = findings.plan.parts.cure.why
    values = dict(why.values) if isinstance(why, Reason) else {}
    balances = values.get("past", ()) if why.code == "cure_leaves" else values.get("runs", ())
    for each in (each for each in balances if each.code == "balance_of_works"):
        # beside the hydrographs themselves
        flow = next(row for row in findings.hydrographs if row.id == each["works"])
        assert (each["comes"], each["takes"]) == pytest.approx((flow.arrives.peak, flow.taken.peak), rel=1e-9)
        assert each["comes"] == pytest.approx(each["takes"] + each["held"] + each["on"], rel=1e-9)
        gone = [to["flow"] for to in (*each["reaches"], *each["may"])]
        assert all(0.0 < part <= each["on"] * (1.0 + 1e-9) for part in gone)
        assert f"{each['works']} catches {format_quantity(each['takes'], 'flow', 'us')} of " in text


def test_what_the_improvements_leave_is_told_among_what_is_wrong(findings: Findings) -> None:
    why = findings.plan.parts.cure.why
    if why.code == "cure_leaves":
        (wrong,) = (entry for entry in entries(findings) if entry.name == "Wrong")
        assert all(say(left["place"], "us") in " ".join(wrong.told[:2]) for left in why["left"])


def test_what_another_part_leaves_open_is_told_with_what_is_sure(findings: Findings, text: str) -> None:
    parts = findings.plan.parts
    if parts.cure.state == "sure" and parts.outfall.state == "cannot_tell":
        assert "ends the trouble: sure if the outfall takes it" in text
        assert ("lies as lidar most likely shows it" in text) == (parts.cure.why.code != "cure_on_grounds")
    ponds = {each.id for each in findings.plan.outfalls if each.kind == "pond"}
    if parts.fall.state == "sure" and ponds & {line.outfall for line in findings.plan.discharges}:
        (only,) = (parts.fall.only,)
        assert only is not None
        assert f"sure while {only['outfall']} stays under {format_quantity(only['fails'], 'level', 'us')}" in text
        told = parts.fall.why["parts"][-1]
        basins = {each.id: each for each in findings.plan.catch_basins}
        # a full line loses head, so that its water comes up before the pond stands at the grate
        if told["name"] in basins:
            assert told["taken"] < only["fails"] < basins[told["name"]].ground_elevation


def test_nothing_is_asked_that_the_answer_knows(findings: Findings, text: str) -> None:
    plan = findings.plan
    codes = [each.code for each in plan.site_checks]
    if plan.parts.cause.state == "sure":
        assert "check_with_hose" not in codes
    if plan.parts.cause.why.code == "rain_explains_it":
        assert all(say(seen, "us") in text for seen in plan.parts.cause.why["seen"])
    # what may be ground water is looked for before anything is built against surface water
    moved = plan.surface is not None and plan.surface.proposed
    built = bool(plan.pipe_runs or plan.catch_basins or moved)
    doubt = built and "check_hole_for_ground_water" in codes and plan.parts.cause.state == "cannot_tell"
    assert ("First a test hole" in text) == doubt
    levels = [each["again"] for each in plan.site_checks if each.code == "check_levels"]
    assert not levels or levels == [findings.levels_given]


def test_a_short_form_tells_the_same_fact_in_fewer_words() -> None:
    for code, short in short_forms().items():
        full = sentences()[code]
        told, known = (meta.find_undeclared_variables(environment("us").parse(text)) for text in (short, full))
        assert told <= known, code
        assert len(short) < len(full), code


def test_the_longest_gives_up_its_last() -> None:
    long = Entry("Build", tuple(f"Sentence number {number} of a long list." for number in range(90)))
    lines = entries_as_text("A lot", (Entry("Wrong", ("Water stands.",)), long, Entry("Cost", ("10.", "20."))), 80)
    assert len(lines.splitlines()) <= 25
    assert "Water stands." in lines
    assert "20." in lines
    assert re.search(r"And \d+ more: --full\.", " ".join(lines.split()))
