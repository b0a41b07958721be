"""Paper for the site: pages counted, nothing printed over anything, plans to their scale, on every sample lot."""

import io
import re
from dataclasses import replace
from datetime import date
from functools import cache
from itertools import product
from xml.etree import ElementTree

import numpy as np
import pytest
from pypdf import PdfReader
from shapely import LineString, Point, affinity, box

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.findings.ties import WallCorner, structures_of, ties_of, wall_corners
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.report.figures.plan import plan_figure
from pipelines.deliverables.report.figures.profile import cover_told, profile_figure, profiles_of
from pipelines.deliverables.report.lot.map import lot_map
from pipelines.deliverables.report.lot.report import lot_report
from pipelines.deliverables.report.pdf import appendix_pdf, report_pdf
from pipelines.deliverables.words.quantities import format_quantity
from pipelines.hydraulics.pipe_catalogue import find_pipe
from tests.pipelines.deliverables.map_names import names_lying_on
from tests.pipelines.deliverables.pdf_text import overprinted, text_boxes
from tests.screened_samples import LOTS, screened

MADE_ON = date(2025, 3, 4).isoformat()
PX = 96.0 / 25.4
FEW = ("lot_01", "lot_10", "lot_11")
MANY = [name if name in FEW else pytest.param(name, marks=pytest.mark.thorough) for name in LOTS]
REST = [each for each in product(LOTS, ("us", "si")) if each != ("lot_11", "si") and each not in product(FEW, ("us",))]


@pytest.fixture(params=MANY)
def findings(request: pytest.FixtureRequest) -> Findings:
    return screened(request.param)


@cache
def printed(name: str, units: str) -> tuple[PdfReader, PdfReader]:
    findings = replace(screened(name), units=units)
    layers = lot_tables(findings, units)
    picture = lot_map(findings, layers, units)
    report = lot_report(findings, layers, units, picture)
    return tuple(PdfReader(io.BytesIO(made)) for made in (
        report_pdf(report, picture, made_on=MADE_ON), appendix_pdf(report, made_on=MADE_ON)))  # fmt: skip


@pytest.mark.parametrize(
    ("name", "units"),
    [*product(FEW, ("us",)), ("lot_11", "si"), *(pytest.param(*each, marks=pytest.mark.thorough) for each in REST)],
)
def test_pages_are_few(name: str, units: str) -> None:
    report, _ = printed(name, units)
    runs = len(screened(name).plan.pipe_runs)
    assert len(report.pages) <= 6 + max(-(-(runs - 3) // 3), 0)


@pytest.mark.parametrize("name", MANY)
def test_nothing_is_printed_over_anything(name: str) -> None:
    for reader in printed(name, "us"):
        for number, page in enumerate(reader.pages, start=1):
            assert not overprinted(page, reader), (name, number)


@pytest.mark.parametrize("name", MANY)
def test_no_page_stands_half_empty_before_another_sheet(name: str) -> None:
    report, _ = printed(name, "us")
    for page in report.pages[:-1]:
        body = [each for each in text_boxes(page, report) if each.bottom > 50.0]
        pictures = "/XObject" in page["/Resources"]
        # a drawing may end a page: the next did not fit
        assert min(each.bottom for each in body) < 0.52 * float(page.mediabox.height) or pictures


def test_no_name_on_the_map_lies_on_a_symbol_or_a_roof(findings: Findings) -> None:
    picture = lot_map(findings, lot_tables(findings, "us"), "us")
    count, over = names_lying_on(picture)
    assert count > 1
    assert over == []


@pytest.mark.parametrize("name", ["lot_01", "lot_11"])
def test_rules_and_hashes_are_in_the_appendix_alone(name: str) -> None:
    report, appendix = (" ".join(page.extract_text() for page in reader.pages) for reader in printed(name, "us"))
    digest = next(file.sha256 for file in screened(name).inputs)
    assert digest[:16] in appendix.replace("\u200b", "").replace("\n", "")
    assert digest[:16] not in report
    for title in ("Rules and defaults", "Sources of every method", "Stakes"):
        assert title in appendix
        assert title not in report
    for title in ("Crew", "Owner", "Reviewer", "Before you dig", "Order of work", "Take-off"):
        assert title in report


def test_a_plan_is_to_the_scale_it_states(findings: Findings) -> None:
    if not findings.plan.pipe_runs:
        pytest.skip("nothing is laid")
    for units, one in (("us", 0.3048), ("si", 1.0)):
        figure = plan_figure(findings, lot_map(findings, lot_tables(findings, units), units), units)
        told = re.search(r"1 in = (\d+) ft", figure.title) or re.search(r"1:(\d+)", figure.title)
        assert told
        scale = int(told[1]) * 12 if units == "us" else int(told[1])
        root = ElementTree.fromstring(figure.svg)
        wide = float(root.get("viewBox").split()[2]) / PX
        assert figure.wide == pytest.approx(wide, abs=0.1), "as wide on paper as it is drawn"
        bar = next(each for each in root.iter() if each.text and re.fullmatch(rf"\d+ {'ft' if units == 'us' else 'm'}",
                                                                              each.text))  # fmt: skip
        ground = float(bar.text.split()[0]) * one
        # its line stands before its words
        elements = list(root.iter())
        line = elements[elements.index(bar) - 1].get("d")
        across = [float(part.split()[0]) for part in re.split("[ML]", line) if part]
        drawn = (max(across) - min(across)) / PX / 1000.0
        assert drawn * scale == pytest.approx(ground, rel=0.01)


def test_cover_is_drawn_as_it_is_told(findings: Findings) -> None:
    for run in profiles_of(findings):
        figure = profile_figure(run, findings, "us")
        told = re.search(r"least cover (-?[\d.]+) in<", figure.svg)
        out = re.search(r"out of the ground by ([\d.]+) in<", figure.svg)
        assert not (told and out)
        cover = cover_told(run)
        if told:
            assert cover is not None
            assert float(told[1]) == pytest.approx(cover[1] / 0.0254, abs=0.06)
            points = np.array(run.line.coords)
            stations = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points[:, :2], axis=0).T))])
            pipe = find_pipe(run.pipe_key)
            over = np.interp(cover[0], stations, np.array(run.ground) - points[:, 2]) + pipe.wall - pipe.outside
            assert over > 0.0, "a pipe above the ground has no cover"
            assert format_quantity(float(over), "depth", "us") == f"{told[1]} in"


def test_every_segment_is_told_and_no_mean(findings: Findings) -> None:
    for run in profiles_of(findings):
        svg = profile_figure(run, findings, "us").svg
        assert "%" not in svg
        if run.kind == "gravity":
            texts = [each.text for each in ElementTree.fromstring(svg).iter() if each.text]
            for segment in run.segments:
                # between stakes inside it, to what the trade reads
                assert any(_near(text, segment.slope * 120.0) for text in texts), (run.id, segment)


def test_no_mean_slope_is_handed_over_for_a_broken_grade(findings: Findings) -> None:
    frame = lot_tables(findings, "us")["pipe_runs"]
    for run, slope, slopes in zip(findings.plan.pipe_runs, frame["slope_pct"], frame["slopes"], strict=True):
        if run.kind == "pressure" or len(run.segments) > 1:
            assert np.isnan(slope)
        else:
            assert slope == pytest.approx(100.0 * run.slope)
        assert run.kind == "pressure" or slopes.count("%") == max(len(run.segments), 1)


def _near(text: str, value: float) -> bool:
    return bool(re.fullmatch(r"-?[\d.]+", text)) and abs(float(text) - value) <= max(0.11, 0.03 * abs(value))


def test_ties_find_the_place_again() -> None:
    findings = screened("lot_02")
    assert not wall_corners(findings), "an outline that nobody said to be walls is the eaves'"
    walls = findings.roofs.assign(outline="walls")
    corners = wall_corners(replace(findings, roofs=walls))
    assert len(corners) >= 4
    for each in structures_of(findings):
        ties = ties_of(each.point, corners)
        assert ties is not None
        at = {corner.name: corner.point for corner in corners}
        (one, other) = (at[tie.corner] for tie in ties)
        rings = [one.buffer(ties[0].distance, 256).exterior, other.buffer(ties[1].distance, 256).exterior]
        met = rings[0].intersection(rings[1])
        assert met.distance(each.point) < 0.02
        assert max(tie.distance for tie in ties) <= 30.0
        for tie in ties:
            tape = LineString([at[tie.corner], each.point])
            assert tape.intersection(walls.geometry.union_all()).length < 0.5, "no tape goes through a house"


def test_a_house_measured_along_its_walls_gives_the_crew_ties() -> None:
    findings = screened("lot_01")
    corners = wall_corners(findings)
    assert [corner.name for corner in corners] == ["A", "B", "C", "D"], "of this lot's house and of no neighbor's"
    crew = " ".join(" ".join(page.extract_text() for page in printed("lot_01", "us")[0].pages).split())
    tied = {each.id: ties_of(each.point, corners) for each in structures_of(findings)}
    assert None not in tied.values()
    assert "locate on site" not in crew
    for ties in filter(None, tied.values()):
        assert all(f"{tie.distance / 0.3048:,.1f} ft {tie.origin}" in crew for tie in ties)
    for used in {tie.corner for ties in filter(None, tied.values()) for tie in ties}:
        corner = next(each for each in corners if each.name == used)
        assert findings.roofs.geometry.union_all().boundary.distance(corner.point) < 0.01


def test_beside_a_wall_a_place_is_told_along_it_and_off_it() -> None:
    # a house of 12 by 8 m turned by 30 degrees; both tapes to a place 0.3 m off the long wall are too flat
    turned = affinity.rotate(box(0.0, 0.0, 12.0, 8.0), 30.0, origin=(0.0, 0.0))
    findings = screened("lot_02")
    roofs = findings.roofs.iloc[:1].set_geometry([turned]).assign(outline="walls")
    parcel = findings.parcel.iloc[:1].set_geometry([turned.buffer(20.0)])
    corners = wall_corners(replace(findings, roofs=roofs, parcel=parcel))
    at = {corner.name: corner.point for corner in corners}
    for x, y in ((4.0, -0.3), (9.0, -0.3), (6.5, 8.4)):
        place = affinity.rotate(Point(x, y), 30.0, origin=(0.0, 0.0))
        along, off = ties_of(place, corners) or ()
        assert along.distance == pytest.approx(min(x, 12.0 - x))
        assert off.distance == pytest.approx(-y if y < 0.0 else y - 8.0)
        wall = LineString([at[along.corner], at[along.wall_to]])
        assert wall.interpolate(along.distance).distance(place) == pytest.approx(off.distance)
        assert off.origin == f"off wall {along.corner} to {along.wall_to}"
    # past the end of every wall, and in line with one, nothing is told along it
    assert ties_of(affinity.rotate(Point(-40.0, 0.2), 30.0, origin=(0.0, 0.0)), corners) is None


def test_corners_in_a_line_fix_nothing() -> None:
    along = tuple(WallCorner(name, Point(x, 0.0)) for name, x in (("A", 1.0), ("B", 2.0), ("C", 5.0)))
    assert ties_of(Point(0.0, 0.0), along) is None
    assert ties_of(Point(0.0, 0.0), (*along, WallCorner("D", Point(0.0, 3.0)))) is not None
