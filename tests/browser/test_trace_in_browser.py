"""The page to trace on as people use it: a lot drawn from nothing by mouse, touch and keys, saved and screened."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from pyproj import CRS, Transformer

from pipelines.inputs.site_ground import open_site
from pipelines.lot import screen_lot
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from pipelines.tracing.page import trace_page

SAMPLES = Path(__file__).parents[2] / "sample_data"
ROOF = [(10.2, 11.2), (19.8, 11.2), (19.8, 17.8), (10.2, 17.8)]
PATIO = [(11.2, 19.2), (18.8, 19.2), (18.8, 23.8), (11.2, 23.8)]
STREET = [(0.3, 0.3), (29.7, 0.3), (29.7, 4.0), (0.3, 4.0)]
SWALE, WET, SPOUT = (15.0, 1.6), (15.1, 22.1), (10.2, 11.2)


@pytest.fixture(scope="module")
def bare_site(bare_lot: Callable[[Path], Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    site = bare_lot(tmp_path_factory.mktemp("bare"))
    (site.parent / "trace.html").write_text(trace_page(site), encoding="utf-8")
    return site


@pytest.fixture
def tracing(bare_site: Path, opened: Any) -> Callable[..., Any]:
    def start(**options: Any) -> Any:
        return opened((bare_site.parent / "trace.html").as_uri(), **options)

    return start


def pixel(page: Any, place: tuple[float, float]) -> tuple[float, float]:
    """Where a place of the page's metres is on the screen."""
    x, y = page.evaluate("place => map.getPixelFromCoordinate(place)", list(place))
    box = page.locator("#trace-map .ol-viewport").bounding_box()
    return box["x"] + x, box["y"] + y


def until(page: Any, holds: str, *, most: float = 20.0) -> None:
    """Wait for what the page's own policy forbids a test to wait for in the page."""
    for _ in range(int(most / 0.05)):
        if page.evaluate(holds):
            return
        page.wait_for_timeout(50)
    raise AssertionError(holds)


def draw_by(page: Any, tap: Callable[[float, float], None], thing: str, places: list[tuple[float, float]]) -> None:
    page.locator(f'[data-thing="{thing}"]').click()
    page.evaluate("document.getElementById('trace-map').scrollIntoView({block: 'start', behavior: 'instant'})")
    page.wait_for_timeout(60)
    for place in places:
        page.wait_for_timeout(30)
        tap(*pixel(page, place))
    if len(places) > 1:
        page.locator("#trace-finish").click()
    page.wait_for_timeout(30)


def draw_lot(page: Any, tap: Callable[[float, float], None]) -> None:
    page.locator("#see-all").click()
    page.evaluate("map.renderSync()")
    draw_by(page, tap, "roof", ROOF)
    draw_by(page, tap, "patio", PATIO)
    draw_by(page, tap, "street", STREET)
    draw_by(page, tap, "downspout", [SPOUT])
    page.locator("#one-goes_to").select_option("lawn")
    draw_by(page, tap, "outfall", [SWALE])
    draw_by(page, tap, "complaint", [WET])
    page.locator("#one-what").fill("stands on the patio <script>alert(1)</script>")
    page.locator("#one-where").select_option("patio")
    page.locator("#one-depth").fill("2.5")
    page.locator("#one-depth").blur()
    page.locator("#ask-foundation").select_option("slab")
    page.locator("#ask-soil_group").select_option("B")


def saved(page: Any, folder: Path) -> dict[str, Any]:
    with page.expect_download() as waiting:
        page.locator("#trace-save").click()
    assert waiting.value.suggested_filename == "traced.geojson"
    waiting.value.save_as(folder / "traced.geojson")
    found: dict[str, Any] = json.loads((folder / "traced.geojson").read_text(encoding="utf-8"))
    return found


def hand_in(bare_site: Path, folder: Path) -> Path:
    """The bare site with the traced file that lies in a folder."""
    place = folder / "site.toml"
    text = bare_site.read_text(encoding="utf-8").replace('file = "', f'file = "{bare_site.parent}/')
    place.write_text(text + '\n[traced]\nfile = "traced.geojson"\n', encoding="utf-8")
    return place


def check_drawn(site: Path, bare_site: Path) -> None:
    """What was drawn is where it was meant, within a pixel or what it snapped to, and can be screened."""
    opened = open_site(site)
    west, south, _, _ = open_site(bare_site).source.grid.bounds
    layers = opened.layers
    for shapes, drawn in ((layers.roofs, ROOF), (layers.hardscape, PATIO), (layers.right_of_way, STREET)):
        meant = shapely.Polygon([(west + x, south + y) for x, y in drawn])
        assert len(shapes) == 1
        assert shapes.geometry[0].symmetric_difference(meant).area < 0.03 * meant.area
    assert layers.hardscape["protect"].tolist() == [True]
    assert layers.downspouts["goes_to"].tolist() == ["lawn"]
    assert layers.complaints["depth_m"].tolist() == [pytest.approx(2.5 * 0.0254, abs=1e-5)]
    assert layers.complaints["where"].tolist() == ["patio"]
    assert layers.outfalls["kind"].tolist() == ["swale"]
    assert (opened.site.house.foundation, opened.site.soil.group) == ("slab", "B")
    findings = screen_lot(site, grounds=1)
    assert [each.mode for each in findings.plan.discharges] == ["gravity"]
    assert findings.plan.catch_basins or findings.plan.french_drains


@pytest.mark.parametrize("touch", [False, True])
def test_a_lot_is_traced_from_nothing(touch: bool, tracing: Any, bare_site: Path, tmp_path: Path) -> None:
    watched = tracing(width=360 if touch else 1280, height=740 if touch else 800, touch=touch)
    page = watched.page
    draw_lot(page, page.touchscreen.tap if touch else page.mouse.click)
    content = saved(page, tmp_path)
    assert sorted(content["replaces"]) == sorted({each["properties"]["table"] for each in content["features"]})
    site = hand_in(bare_site, tmp_path)
    check_drawn(site, bare_site)
    assert watched.said == []
    assert [each for each in watched.asked if not each.startswith(("file:", "data:", "blob:"))] == []
    # opened again, the file is the same, and text that looks like a script is text
    again = tracing(width=1280)
    again.page.locator("#trace-open").set_input_files(tmp_path / "traced.geojson")
    until(again.page, "state.shapes.length === 6")
    folder = tmp_path / "again"
    folder.mkdir()
    assert saved(again.page, folder)["features"] == content["features"]
    again.page.locator("#pick").select_option(label="Where it is wet, no. 6")
    assert again.page.locator("#one-what").input_value().endswith("<script>alert(1)</script>")
    assert again.said == []


def walk(page: Any, place: tuple[float, float]) -> None:
    """Move the map under the cross by the arrow keys alone until the place lies there."""
    for _ in range(200):
        x, y, size = page.evaluate("[...view.getCenter(), view.getResolution()]")
        east, north = (place[0] - x) / size, (place[1] - y) / size
        if max(abs(east), abs(north)) <= 1.01:
            return
        far, up = max(abs(east), abs(north)), abs(north) > abs(east)
        key = ("ArrowUp" if north > 0 else "ArrowDown") if up else ("ArrowRight" if east > 0 else "ArrowLeft")
        page.keyboard.press(key if far > 14 else f"Shift+{key}")
    raise AssertionError(f"the cross never came to {place}")


def tab_to(page: Any, name: str) -> None:
    """Put the focus on an element by Tab alone, forwards or backwards."""
    for _ in range(120):
        if page.evaluate("document.activeElement.id || document.activeElement.dataset.thing || ''") == name:
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"no Tab leads to {name}")


def key_shape(page: Any, thing: str, places: list[tuple[float, float]]) -> None:
    tab_to(page, thing)
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "trace-map"
    for place in places:
        walk(page, place)
        page.keyboard.press("Enter")
    if len(places) > 1:
        page.keyboard.press("Enter")


def test_a_lot_is_traced_by_keys_alone(tracing: Any, bare_site: Path, tmp_path: Path) -> None:
    watched = tracing(width=1280, height=800)
    page = watched.page
    key_shape(page, "roof", ROOF)
    key_shape(page, "patio", PATIO)
    assert "ft\u00b2" in page.locator("#trace-says").inner_text()
    key_shape(page, "street", STREET)
    key_shape(page, "downspout", [SPOUT])
    tab_to(page, "one-goes_to")
    page.keyboard.type("onto the l")
    key_shape(page, "outfall", [SWALE])
    key_shape(page, "complaint", [WET])
    tab_to(page, "one-what")
    page.keyboard.type("stands on the patio")
    page.keyboard.press("Tab")
    page.keyboard.type("patio")
    tab_to(page, "one-depth")
    page.keyboard.type("2.5")
    tab_to(page, "ask-foundation")
    page.keyboard.type("a slab")
    tab_to(page, "ask-soil_group")
    page.keyboard.type("loam")
    tab_to(page, "trace-save")
    with page.expect_download() as waiting:
        page.keyboard.press("Enter")
    waiting.value.save_as(tmp_path / "traced.geojson")
    check_drawn(hand_in(bare_site, tmp_path), bare_site)
    assert watched.said == []


def test_undo_redo_keep_and_start_again(tracing: Any) -> None:
    watched = tracing(width=1280, height=800)
    page = watched.page
    page.locator("#see-all").click()
    draw_by(page, page.mouse.click, "roof", ROOF)
    # one corner is taken back, and one removed
    page.locator('[data-thing="patio"]').click()
    for place in (PATIO[0], PATIO[1], (14.0, 28.0)):
        page.mouse.click(*pixel(page, place))
    page.locator("#trace-back").click()
    for place in PATIO[2:]:
        page.mouse.click(*pixel(page, place))
    page.locator("#trace-finish").click()
    count = "state.shapes.length"
    assert page.evaluate("state.shapes[1].at[0].length") == 5
    page.locator("#chosen-remove").click()
    assert page.evaluate(count) == 1
    page.keyboard.press("Control+z")
    assert page.evaluate(count) == 2
    page.keyboard.press("Control+y")
    assert page.evaluate(count) == 1
    page.locator("#trace-undo").click()
    page.reload()
    until(page, count + " === 2")
    assert "is back" in page.locator("#trace-says").inner_text()
    page.locator("#trace-again").click()
    assert page.evaluate(count) == 0
    page.locator("#trace-undo").click()
    assert page.evaluate(count) == 2
    # an outline that crosses itself is not taken
    draw_by(page, page.mouse.click, "drive", [(2.0, 6.0), (8.0, 9.0), (8.0, 6.0), (2.0, 9.0)])
    assert page.evaluate(count) == 2
    assert "crosses itself" in page.locator("#trace-says").inner_text()
    assert watched.said == []


def test_a_corner_is_dragged_and_snaps_and_is_moved_by_keys(tracing: Any) -> None:
    page = tracing(width=1280, height=800).page
    page.locator("#see-all").click()
    draw_by(page, page.mouse.click, "roof", ROOF)
    draw_by(page, page.mouse.click, "drive", [(6.0, 6.0), (8.5, 6.0), (8.5, 11.0), (6.0, 11.0)])
    # near the roof's corner it takes the corner itself
    x, y = pixel(page, (8.5, 11.0))
    page.mouse.move(x, y)
    page.mouse.down()
    x, y = pixel(page, ROOF[0])
    page.mouse.move(x - 5, y + 4, steps=6)
    page.mouse.up()
    roof, drive = page.evaluate("state.shapes.map(shape => shape.at[0])")
    assert drive[2] == pytest.approx(roof[0], abs=1e-9)
    page.locator("#corner").select_option("3")
    page.evaluate("view.setCenter([7.5, 13.5])")
    page.locator("#corner-move").click()
    assert page.evaluate("state.shapes[1].at[0][3]") == pytest.approx([7.5, 13.5])
    page.locator("#corner").select_option("0")
    page.locator("#corner-remove").click()
    ring = page.evaluate("state.shapes[1].at[0]")
    assert len(ring) == 4
    assert ring[0] == ring[-1]


def test_a_sill_is_told_as_a_level(tracing: Any, tmp_path: Path) -> None:
    page = tracing(width=1280, height=800).page
    page.locator("#see-all").click()
    draw_by(page, page.mouse.click, "sill", [(14.0, 10.8)])
    page.locator("#one-above_ground").fill("6")
    page.locator("#one-above_ground").blur()
    shape = page.evaluate("state.shapes[0]")
    ground = page.evaluate("place => ground_at(place)", shape["at"])
    assert 99.0 < ground < 102.0
    assert shape["props"]["floor_m"] == pytest.approx(ground + 6 * 0.0254, abs=1e-3)
    page.locator("#one-above_ground").fill("six")
    page.locator("#one-above_ground").blur()
    assert page.locator("#one-above_ground").get_attribute("aria-invalid") == "true"
    assert "is no number" in page.locator("#trace-says").inner_text()
    assert page.evaluate("state.shapes[0].props.above_ground_m") == pytest.approx(6 * 0.0254, abs=1e-5)


def test_the_page_moves_places_as_pyproj_does(tracing: Any, bare_site: Path) -> None:
    page = tracing(width=1280).page
    opened = open_site(bare_site)
    west, south, east, north = opened.source.grid.bounds
    places = np.random.default_rng(5).uniform((0.0, 0.0), (east - west, north - south), (200, 2))
    told = np.array(page.evaluate("places => places.map(on_globe)", places.tolist()))
    back = Transformer.from_crs(CRS("OGC:CRS84"), opened.source.grid.frame.crs, always_xy=True)
    x, y = back.transform(told[:, 0], told[:, 1])
    assert np.hypot(x - west - places[:, 0], y - south - places[:, 1]).max() < 0.01
    again = np.array(page.evaluate("places => places.map(on_plane)", told.tolist()))
    assert np.hypot(*(again - places).T).max() < 0.01


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("not JSON", "it is no GeoJSON"),
        ('{"type": "Feature"}', "no GeoJSON FeatureCollection"),
        ('{"type": "FeatureCollection", "features": [{"id": 3, "properties": {"table": "moat"}}]}',
         "feature 3 belongs to no table"),
        ('{"type": "FeatureCollection", "features": [{"id": 3, "type": "Feature", "geometry": {"type": "Point", '
         '"coordinates": ["a", null]}, "properties": {"table": "downspouts"}}]}', "feature 3 has coordinates"),
    ],
)  # fmt: skip
def test_a_wrong_file_is_told_and_changes_nothing(content: str, said: str, tracing: Any, tmp_path: Path) -> None:
    watched = tracing(width=1280)
    (tmp_path / "traced.geojson").write_text(content)
    watched.page.locator("#trace-open").set_input_files(tmp_path / "traced.geojson")
    until(watched.page, "document.getElementById('trace-says').textContent.includes(\"can't be opened\")")
    assert said in watched.page.locator("#trace-says").inner_text()
    assert watched.page.evaluate("state.shapes.length") == 0
    assert watched.said == []


@pytest.mark.parametrize("how", ["mouse", "touch", "keys"])
def test_the_side_of_the_street_is_tapped_or_ticked(how: str, tracing: Any, bare_site: Path, tmp_path: Path) -> None:
    watched = tracing(width=360 if how == "touch" else 1280, height=740, touch=how == "touch")
    page = watched.page
    south, west = (15.0, 4.0), (5.2, 15.0)
    if how == "keys":
        page.locator("#trace-map").focus()
        walk(page, south)
        page.keyboard.press("Enter")
        tab_to(page, "ask-side-west")
        page.keyboard.press("Space")
        tab_to(page, "ask-side-west")
        page.keyboard.press("Space")
    else:
        tap = page.mouse.click if how == "mouse" else page.touchscreen.tap
        page.evaluate("document.getElementById('trace-map').scrollIntoView({block: 'start', behavior: 'instant'})")
        for place in (west, south, west):
            page.wait_for_timeout(60)
            tap(*pixel(page, place))
        page.wait_for_timeout(60)
    assert "not on the west" in page.locator("#trace-says").inner_text()
    assert page.locator("#ask-side-south").is_checked()
    content = saved(page, tmp_path)
    assert content["answers"] == {"street_side": ["south"]}
    site = hand_in(bare_site, tmp_path)
    frontage = open_site(site).layers.frontage
    assert (frontage.state, frontage.sides) == ("said", ("south",))
    assert shapely.distance(frontage.edges[0].line, open_site(site).layers.parcel) == 0.0
    assert watched.said == []


def test_soil_is_drawn_beside_what_the_rest_is_like(tracing: Any, bare_site: Path, tmp_path: Path) -> None:
    watched = tracing(width=1280, height=800)
    page = watched.page
    page.locator("#see-all").click()
    page.locator("#ask-soil_group").select_option("B")
    draw_by(page, page.mouse.click, "soil", [(5.5, 18.0), (24.0, 18.0), (24.0, 25.0), (5.5, 25.0)])
    page.locator("#one-group").select_option("d")
    saved(page, tmp_path)
    opened = open_site(hand_in(bare_site, tmp_path))
    assert opened.site.soil.group == "B"
    assert list(opened.layers.soils["group"]) == ["D"]
    # each soil runs off by itself
    surfaces = LotStages(open_lot(opened.site.path, grounds=1)).reckoning.surfaces
    x, y = opened.layers.soils.geometry[0].centroid.coords[0]
    row, column = surfaces.grid.cells(x, y)
    assert (surfaces.group[row, column], surfaces.group[-9, column]) == (3, 1)
    assert watched.said == []


@pytest.mark.parametrize("width", [360, 1280])
def test_nothing_keeps_people_out(width: int, tracing: Any) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed")
    page = tracing(width=width, height=740).page
    draw_by(page, page.mouse.click, "roof", ROOF)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    found = axe.Axe().run(page).response["violations"]
    assert [(each["id"], [node["html"][:120] for node in each["nodes"][:3]]) for each in found] == []


def test_what_a_site_gives_is_drawn_and_stays_unless_corrected(opened: Any, tmp_path: Path) -> None:
    (tmp_path / "trace.html").write_text(trace_page(SAMPLES / "lot_11.toml"), encoding="utf-8")
    watched = opened((tmp_path / "trace.html").as_uri(), width=1280, height=800)
    page = watched.page
    before = page.evaluate("state.shapes")
    assert {shape["table"] for shape in before} >= {"roofs", "hardscape", "utilities", "downspouts", "soil"}
    assert saved(page, tmp_path)["features"] == []
    downspouts = [shape for shape in before if shape["table"] == "downspouts"]
    page.evaluate("id => choose(id)", downspouts[0]["id"])
    page.locator("#one-goes_to").select_option("pipe_to_street")
    assert "downspouts" in page.locator("#replaces").inner_text()
    content = saved(page, tmp_path)
    assert content["replaces"] == ["downspouts"]
    assert len(content["features"]) == len(downspouts)
    assert [each["properties"].get("goes_to") for each in content["features"]].count("pipe_to_street") == 1
    assert watched.said == []
