"""The report as people use it: looked at, tapped, measured on, slid through storms, by mouse, touch and keys."""

import csv
import io
import itertools
import json
import re
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from pipelines.deliverables.words.say import sentence
from tests.quick_share import one_in

FOOT, INCH = 0.3048, 0.0254
SAMPLES = Path(__file__).parents[2] / "sample_data"
REPORTS = ("drained_lot", "pumped_lot", "swales")
LOOKED_AT = (("drained_lot", 1280), ("pumped_lot", 360), ("swales", 1280))
"""Each report in the quick suite on one screen; on every one in the long profile."""


def row_of(folder: Any, layer: str, name: str) -> dict[str, Any]:
    with closing(sqlite3.connect(folder / "lot.gpkg")) as connection:
        connection.row_factory = sqlite3.Row
        return dict(connection.execute(f'SELECT * FROM "{layer}" WHERE id = ?', (name,)).fetchone())


def number_in(text: str) -> float:
    found = re.search(r"-?[\d,]+(\.\d+)?", text)
    assert found is not None, text
    return float(found.group().replace(",", ""))


@pytest.mark.parametrize("width", [360, 1400])
def test_opens_without_a_word_and_asks_for_nothing(pumped_lot: Any, opened: Any, width: int) -> None:
    watched = opened(pumped_lot.page, width=width)
    assert watched.said == []
    assert [each for each in watched.asked if not each.startswith(("file:", "data:"))] == []
    # nothing sticks out to the side
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= width
    assert watched.page.locator(".verdict .what").inner_text() == sentence(pumped_lot.findings.plan.verdict, "us")


def test_swales_open_without_a_word(swales: Any, opened: Any) -> None:
    watched = opened(swales.page, width=360)
    assert watched.said == []
    assert [each for each in watched.asked if not each.startswith(("file:", "data:"))] == []
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= 360
    for swale in swales.summary["swales"]:
        assert swale["name"] in watched.page.locator("#answer").inner_text()
        assert watched.page.locator(f"#profile-{swale['id']} svg").count() == 1


def test_layers_are_switched_off_and_on(pumped_lot: Any, opened: Any) -> None:
    page = opened(pumped_lot.page).page
    for box in page.locator("[data-toggle]").all():
        name = box.get_attribute("data-toggle")
        layer = page.locator(f"#layer-{name}")
        seen = layer.get_attribute("display") != "none"
        assert box.is_checked() == seen
        box.click()
        assert (layer.get_attribute("display") != "none") == (not seen)
        box.click()
        assert (layer.get_attribute("display") != "none") == seen


@pytest.mark.parametrize("touch", [False, True])
def test_a_tap_on_a_basin_shows_its_numbers(pumped_lot: Any, opened: Any, touch: bool) -> None:
    page = opened(pumped_lot.page, width=360 if touch else 1400, touch=touch).page
    basin = pumped_lot.summary["catch_basins"][0]
    # bare of what may stand on it
    for name in ("sumps", "fittings", "pipe_runs", "outfalls", "level_shots"):
        box = page.locator(f'[data-toggle="{name}"]')
        if box.count():
            box.click()
    page.locator("#map-pane").scroll_into_view_if_needed()
    box = page.locator(f'#layer-catch_basins [data-id="{basin["id"]}"] .symbol').bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    if touch:
        page.touchscreen.tap(x, y)
    else:
        page.mouse.click(x, y)
    assert basin["id"] in page.locator("#picked-title").inner_text()
    shown = dict(zip(page.locator("#picked dt").all_inner_texts(), page.locator("#picked dd").all_inner_texts(),
                     strict=True))  # fmt: skip
    row = row_of(pumped_lot.folder, "catch_basins", basin["id"])
    assert number_in(shown["Must take"]) == round(row["peak_flow_gpm"])
    assert number_in(shown["Rim"]) == pytest.approx(row["ground_elevation_ft"], abs=0.005)
    assert number_in(shown["Rim"]) == pytest.approx(basin["ground_elevation_m"] / FOOT, abs=0.005)
    assert shown["Grate"] == basin["grate"]


@pytest.mark.parametrize(
    ("which", "width", "height", "most"),
    [
        pytest.param(which, *screen, marks=() if (which, screen[0]) in LOOKED_AT else pytest.mark.thorough)
        for which in REPORTS for screen in ((1280, 900, 700), (360, 740, 500))
    ],
)  # fmt: skip
def test_the_answer_and_the_map_are_on_the_first_screen(
    which: str, width: int, height: int, most: int, opened: Any, request: pytest.FixtureRequest
) -> None:
    handed = request.getfixturevalue(which)
    page = opened(handed.page, width=width, height=height).page
    assert page.locator("#map-pane").bounding_box()["y"] < most
    lead = page.locator(".lead").inner_text()
    assert lead.endswith(".")
    assert not re.search(r"[.?!] [A-Z]", lead), lead
    states = [part.get_attribute("class") for part in page.locator(".parts li").all()]
    if handed.findings is None:
        assert len(states) == len(handed.summary["swales"])
    else:
        assert states == [part["state"] for part in handed.summary["parts"].values()]
    # a word and a mark, not a colour alone
    marks = {state: page.locator(f".parts .{state} .sign").first.inner_text() for state in set(states)}
    assert len(set(marks.values())) == len(marks)


def test_the_table_says_what_summary_says(pumped_lot: Any, opened: Any) -> None:
    page = opened(pumped_lot.page).page
    assert "the design storm" in page.locator("#storm-name").inner_text()
    told = {spot["id"]: spot for spot in pumped_lot.summary["low_spots"]}
    rows = page.locator("#storm-table tbody tr").all()
    assert rows
    for row in rows:
        spot = told[row.locator("th").inner_text()]
        for cell, when in zip(row.locator("data").all()[1:], ("before", "after"), strict=True):
            assert float(cell.get_attribute("value")) == pytest.approx(spot[when]["depth_m"], rel=1e-12)
            assert number_in(cell.inner_text()) == pytest.approx(spot[when]["depth_m"] / INCH, abs=0.0501)


def choose(page: Any, *, hour: float | None = None, when: str = "before", water: str = "water_depth") -> None:
    if hour is not None:
        page.locator("#hour").fill(str(told_by(page)["hours"].index(hour)))
    page.locator(f'[name="when"][value="{when}"]').click()
    page.locator(f'[name="water"][value="{water}"]').click()


def told_by(page: Any) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(page.locator("#map-data").text_content())
    return told


def pixels(page: Any) -> Any:
    return np.asarray(Image.open(io.BytesIO(page.locator("#map-pane").screenshot())).convert("RGB"), dtype=int)


@pytest.mark.parametrize("which", ["drained_lot", "pumped_lot"])
def test_the_map_shows_what_the_improvements_do(which: str, opened: Any, request: pytest.FixtureRequest) -> None:
    page = opened(request.getfixturevalue(which).page, width=1280).page
    seen = {}
    for water in ("water_depth", "water_hours"):
        for when in ("before", "after"):
            choose(page, hour=6.0 if water == "water_depth" else None, when=when, water=water)
            assert page.locator("#hour").is_disabled() == (water == "water_hours")
            seen[water, when] = pixels(page)
        changed = np.abs(seen[water, "before"] - seen[water, "after"]).max(axis=-1) > 16
        assert np.count_nonzero(changed) > 1000


@pytest.mark.parametrize("which", ["drained_lot", "pumped_lot"])
def test_no_spot_is_shallower_in_a_heavier_storm(which: str, opened: Any, request: pytest.FixtureRequest) -> None:
    told = told_by(opened(request.getfixturevalue(which).page).page)
    assert len(told["storms"]) > 1
    for lighter, heavier in itertools.pairwise(told["storms"]):
        assert lighter["ponds"].keys() == heavier["ponds"].keys()
        for name, pond in lighter["ponds"].items():
            more = heavier["ponds"][name]
            assert np.all(np.array(more["deepest"]) >= np.array(pond["deepest"]) - 1e-9)
            # a millimetre for the rounding
            assert np.all(np.array(more["course"]) >= np.array(pond["course"]) - 1), (heavier["name"], name)


def test_an_hour_is_what_was_routed(pumped_lot: Any, opened: Any) -> None:
    page = opened(pumped_lot.page).page
    design = next(storm for storm in pumped_lot.findings.storms if storm.design)
    for hour in (6.0, 12.5, 30.0):
        for when in ("before", "after"):
            choose(page, hour=hour, when=when)
            assert page.locator("#hour-name").inner_text().startswith(f"{hour:g} h after the rain began")
            for row in page.locator("#storm-table tbody tr").all():
                course = next(each for each in design.courses if each.id == row.locator("th").inner_text())
                depths = course.depth if when == "before" else course.depth_after
                told = float(row.locator("data").first.get_attribute("value"))
                assert told == pytest.approx(np.interp(hour, course.hours, depths), abs=0.0006)


def test_other_storms_stand_shallower_or_deeper(made_lot: Any, opened: Any) -> None:
    watched = opened(made_lot.as_uri())
    page, slider = watched.page, watched.page.locator("#storm")
    assert watched.said == []
    # how the water goes in time is not known of this lot
    assert page.locator("#hour").count() == 0
    water = []
    for at, (name, before, after) in enumerate((("2-year", 0.04, 0.0), ("10-year", 0.1, 0.0), ("100-year", 0.1, 0.06))):
        slider.fill(str(at))
        assert name in page.locator("#storm-name").inner_text()
        for when in ("before", "after"):
            page.locator(f'[name="when"][value="{when}"]').click()
            water.append(page.locator("#water").get_attribute("href"))
        told = page.locator("#storm-table tbody data").evaluate_all("cells => cells.map(cell => Number(cell.value))")
        assert told == [before, after]
    assert all(each.startswith("data:image/png") for each in water)
    # dry is dry whatever the storm, and each class of depth is another picture
    assert water[1] == water[3]
    assert water[2] == water[4]
    assert water[0] == water[5]
    assert len(set(water)) == 3


LYING = """() => {
  const seen = (element) => element.closest('.layer').getAttribute('display') !== 'none';
  const boxes = (elements) => elements.map((element) => { const box = element.getBoundingClientRect();
    return [element.textContent, box.left, box.top, box.right, box.bottom]; });
  return {labels: boxes([...document.querySelectorAll('.label[visibility=visible]')]),
          symbols: boxes([...document.querySelectorAll('svg.map .symbol')].filter(seen))};
}"""
# asked of the browser's own fill, at five by three places of each name; a name that has no other room may stand there
ON_ROOFS = """() => {
  const roofs = [...document.querySelectorAll('#layer-roofs path')], shares = [0.02, 0.25, 0.5, 0.75, 0.98];
  return [...document.querySelectorAll('.label[visibility=visible][data-small]')].filter((label) => {
    const box = label.getBoundingClientRect();
    return roofs.some((roof) => { const back = roof.getScreenCTM().inverse();
      return shares.some((u) => [0.1, 0.5, 0.9].some((v) => roof.isPointInFill(
        new DOMPoint(box.left + u * box.width, box.top + v * box.height).matrixTransform(back)))); });
  }).map((label) => label.textContent);
}"""


def covering(page: Any) -> tuple[int, list[tuple[str, str]]]:
    """How many names stand on the map, and which of them cover a symbol or each other by more than a pixel."""
    found = page.evaluate(LYING)
    labels, symbols = found["labels"], found["symbols"]
    pairs = [*itertools.product(labels, symbols), *itertools.combinations(labels, 2)]
    over = [
        (one[0], other[0])
        for one, other in pairs
        if all(min(one[at + 2], other[at + 2]) - max(one[at], other[at]) > 1.0 for at in (1, 2))
    ]
    return len(labels), over


@pytest.mark.parametrize(
    ("which", "width", "height"),
    [
        pytest.param(which, *screen, marks=() if (which, screen[0]) in LOOKED_AT else pytest.mark.thorough)
        for which in REPORTS for screen in ((1280, 900), (768, 1024), (360, 740))
    ],
)  # fmt: skip
def test_no_name_lies_on_a_symbol(
    which: str, width: int, height: int, opened: Any, request: pytest.FixtureRequest
) -> None:
    page = opened(request.getfixturevalue(which).page, width=width, height=height).page
    for press in ("#see-lot", "#see-all", "#see-lot", "#zoom-in", "#zoom-in"):
        page.locator(press).click()
        count, over = covering(page)
        assert count > 0
        assert over == []
        assert page.evaluate(ON_ROOFS) == []


@pytest.mark.thorough
@pytest.mark.parametrize("site", sorted(path.stem for path in SAMPLES.glob("lot_??.toml")))
def test_no_name_lies_on_a_symbol_of_any_sample(site: str, opened: Any, screened: Any, tmp_path: Path) -> None:
    page = opened(screened(site, tmp_path / site).page, width=1280).page
    count, over = covering(page)
    assert count > 0
    assert over == []


def test_pipes_say_where_they_run_how_wide_and_how_steep(pumped_lot: Any, opened: Any) -> None:
    page = opened(pumped_lot.page).page
    told = page.locator('.label[data-for="pipe_runs"]').all_text_contents()
    for run in pumped_lot.findings.plan.pipe_runs:
        assert run.id in told
        for level in (run.invert_up, run.invert_down):
            assert f"inv {level / FOOT:,.2f} ft" in told
        for segment in run.segments if run.kind == "gravity" else ():
            assert any(text.startswith(run.size) and text.endswith(f"{100 * segment.slope:.2f} %") for text in told)
        arrows = page.locator(f'#layer-pipe_runs [data-id="{run.id}"] .still path').count()
        assert arrows >= 1


def test_the_map_shows_all_that_was_given(pumped_lot: Any, opened: Any) -> None:
    page = opened(pumped_lot.page).page
    for name, table in pumped_lot.findings.given.items():
        layer = page.locator(f"#layer-{'site_culverts' if name == 'culverts' else name}")
        assert layer.count() == (1 if len(table) else 0), name
    assert page.locator("#layer-complaints .symbol").count() > 0
    assert page.locator("#layer-utilities path").count() > 0


@pytest.mark.parametrize("which", ["drained_lot", "pumped_lot"])
def test_a_tap_shows_its_numbers_on_a_small_screen(
    which: str, opened: Any, request: pytest.FixtureRequest
) -> None:
    handed = request.getfixturevalue(which)
    page = opened(handed.page, width=360, height=740, touch=True).page
    page.evaluate("window.scrollTo(0, document.querySelector('#map-pane').offsetTop - 60)")
    page.locator("#see-lot").click()
    for basin in (*handed.summary["catch_basins"], {"id": handed.findings.plan.outfalls[0].id}):
        page.evaluate("document.querySelector('#map-pane').scrollIntoView({block: 'center', behavior: 'instant'})")
        box = page.locator(f'.layer [data-id="{basin["id"]}"] .symbol').bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.touchscreen.tap(x, y)
        shown = page.locator("#picked").bounding_box()
        assert shown["y"] >= 0
        assert shown["y"] + shown["height"] <= 740 + 0.5
        assert shown["x"] + shown["width"] <= 360 + 0.5
        assert page.locator("#picked dd").count() > 0
        # and not over what was tapped
        assert not shown["y"] <= y <= shown["y"] + shown["height"]
        page.locator("#unpick").click()
        assert page.evaluate("getComputedStyle(document.querySelector('#picked')).position") != "fixed"


def test_pointer_reads_the_ground_and_a_distance_falls(pumped_lot: Any, opened: Any) -> None:
    page = opened(pumped_lot.page).page
    pane = page.locator("#map-pane")
    pane.scroll_into_view_if_needed()
    box = pane.bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.6)
    assert re.fullmatch(r"E [\d.]+ +N [\d.]+ +· +ground [\d.,]+ ft", page.locator("#map-place").inner_text())
    page.locator("#measure").click()
    pane.scroll_into_view_if_needed()
    box = pane.bounding_box()
    y = box["y"] + box["height"] * 0.6
    bar = page.locator("#map-scale span").bounding_box()["width"]
    page.mouse.click(box["x"] + 100, y)
    page.mouse.click(box["x"] + 100 + bar, y)
    text = page.locator("#map-place").inner_text()
    assert re.match(r"Distance [\d.,]+ ft, (falls|rises) [\d.]+ ft \([\d.]+ %\)", text)
    # as long as the scale bar says
    assert number_in(text) == pytest.approx(number_in(page.locator("#map-scale span").inner_text()), rel=0.02)


def test_wheel_buttons_and_keys_move_the_map(pumped_lot: Any, opened: Any) -> None:
    page = opened(pumped_lot.page).page
    svg, pane = page.locator("svg.map"), page.locator("#map-pane")
    pane.scroll_into_view_if_needed()
    views = [svg.get_attribute("viewBox")]

    def changed() -> bool:
        views.append(svg.get_attribute("viewBox"))
        return views[-1] != views[-2]

    pane.hover()
    page.mouse.wheel(0, -240)
    assert changed()
    page.locator("#zoom-out").click()
    assert changed()
    pane.focus()
    for key in ("ArrowLeft", "ArrowDown", "+", "-"):
        page.keyboard.press(key)
        assert changed()
    page.locator("#see-all").click()
    assert changed()
    page.locator("#see-lot").click()
    assert changed()


def test_keys_reach_everything(pumped_lot: Any, opened: Any) -> None:
    page = opened(pumped_lot.page).page
    wanted = set(page.evaluate(
        "[...document.querySelectorAll('a[href],button,select,input,[tabindex=\"0\"]')]"
        ".filter(e=>e.offsetParent!==null||e.classList.contains('skip'))"
        ".filter(e=>e.type!=='radio'||e.checked).map((e,n)=>(e.dataset.stop=n,String(n)))"
    ))  # fmt: skip
    reached = set()
    for _ in range(len(wanted) + 5):
        page.keyboard.press("Tab")
        at = page.evaluate("document.activeElement.dataset.stop")
        if at is not None:
            reached.add(at)
    assert wanted <= reached
    # a feature is found and read without a pointer
    basin = pumped_lot.summary["catch_basins"][0]["id"]
    page.locator("#find").select_option(basin)
    assert basin in page.locator("#picked-title").inner_text()


def test_tables_sort_and_save(pumped_lot: Any, opened: Any) -> None:
    page = opened(pumped_lot.page).page
    table = page.locator('[data-table="take_off"]')
    head = table.locator("th", has_text="Likely")
    head.locator("button").click()
    values = [float(each) for each in table.locator("tbody tr td:nth-child(5) data").evaluate_all(
        "cells => cells.map(cell => cell.value)")]  # fmt: skip
    assert values == sorted(values)
    assert head.get_attribute("aria-sort") == "ascending"
    with page.expect_download() as saved:
        table.locator("button", has_text="CSV").click()
    text = saved.value.path().read_text(encoding="utf-8-sig")
    rows = list(csv.reader(io.StringIO(text)))
    assert saved.value.suggested_filename == "take_off.csv"
    assert len(rows) == len(values) + 2  # a head and the totals
    assert not [cell for row in rows for cell in row if cell.startswith(("=", "+", "@"))]


@pytest.mark.parametrize(("which", "width"), one_in(3, itertools.product(("pumped_lot", "swales"), (360, 1400))))
def test_nothing_keeps_people_out(which: str, width: int, opened: Any, request: pytest.FixtureRequest) -> None:
    # source: axe-core's rules for WCAG 2.1 A and AA
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
    # a page whose policy lets nothing in lets axe in only where the browser is told to
    handed = request.getfixturevalue(which)
    page = opened(handed.page, width=width).page
    found = axe.Axe().run(page).response["violations"]
    serious = [(each["id"], [node["html"][:120] for node in each["nodes"][:3]]) for each in found
               if each["impact"] in ("serious", "critical")]  # fmt: skip
    assert serious == []


def test_prints_one_sheet(pumped_lot: Any, opened: Any) -> None:
    page = opened(pumped_lot.page).page
    page.evaluate("() => { window.print = () => { window.seen = document.body.dataset.print + ' ' "
                  "+ document.querySelector('.printing').id } }")  # fmt: skip
    page.locator('[data-print="owner"]').click()
    assert page.evaluate("window.seen") == "owner owner"
    assert page.evaluate("document.body.dataset.print") is None
