"""The check finds what the sample street is made to show, and little that is not there."""

import importlib
import io
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pypdf import PdfReader

from pipelines.deliverables.report.pdf import appendix_pdf, report_pdf
from pipelines.deliverables.report.swale_report import swale_map, swale_report
from pipelines.deliverables.swale.handover import write_swales
from pipelines.deliverables.swale.layers import swale_tables
from pipelines.deliverables.words.say import say
from pipelines.inputs.rules import load_rules
from pipelines.inputs.site_ground import ground_of, open_site
from pipelines.layout.swale.site import culverts_by_swale, measure_swale
from pipelines.layout.swale.standing import standing_along
from pipelines.lot import screen_lot
from terrain.flow.drainage import drain_ground
from terrain.flow.low_spots import find_low_spots
from terrain.reading.surface import Surface, read_window
from tests.pipelines.deliverables.map_names import names_lying_on
from tests.pipelines.deliverables.pdf_text import overprinted, text_boxes
from tests.screened_samples import checked, screened

SAMPLE = Path(__file__).parents[2] / "sample_data"


@pytest.fixture(scope="module")
def street():
    """Findings of the sample street."""
    return checked("swale")


@pytest.fixture(scope="module")
def swales(street):
    """Findings by the names of the two swales."""
    return {found.site.name: found for found in street.swales}


def test_a_clean_reach_passes(swales):
    answers = [each.verdict.answer for each in swales["south swale"].reaches]
    # below the silted culvert, before the reach against the grade
    assert answers[1:3] == ["takes_it", "takes_it"]
    assert [each.verdict.answer for each in swales["north swale"].reaches].count("takes_it") >= 5


def test_the_one_reach_against_the_grade_is_found(swales):
    rising = [each for found in swales.values() for each in found.reaches if each.against_grade]
    (only,) = rising
    assert only.reach.id.startswith("reach-2.")
    assert only.verdict.answer == "holds_water"
    # made so: 0.20 m up from 138 m of the street, which is 12 m after the swale's beginning; its sharp low is
    # averaged over 3 m
    assert only.reach.adverse.start == pytest.approx(137.0, abs=4.0)
    assert 0.10 < only.reach.adverse.rise < 0.22
    at = only.reach.start + 5.0
    (pond,) = [each for each in swales["south swale"].ponds if each.sure and each.start < at < each.end]
    assert pond.deepest == pytest.approx(137.0, abs=5.0)
    assert pond.depth == pytest.approx(0.22, abs=0.04)


def test_what_is_to_be_dug_runs_off_and_is_no_more_than_that(swales):
    found = swales["south swale"]
    chain = [each for each in found.recut if each.needed]
    # the low above the buried culvert, and the ground below it that would dam it still
    assert [each.id for each in chain] == ["cut-2.5", "cut-2.6"]
    assert not any(each.needed for each in swales["north swale"].recut)
    bottom = found.site.bottom.copy()
    for each in chain:
        bottom[each.first : each.last + 1] = each.recut.bottom
    first = chain[0].first
    # nothing below the low stands over the bottom above it any more; a raster's rounding is 1 cm
    assert (bottom[first:] <= np.minimum.accumulate(bottom[first:]) + 0.011).all()
    as_it_is = found.site.bottom[first:]
    assert (as_it_is > np.minimum.accumulate(as_it_is) + 0.1).any()


def test_the_culvert_too_small_is_found(swales):
    worst = max(
        (each for found in swales.values() for each in found.crossings if each.crossing.given),
        key=lambda each: each.over / each.flow,
    )
    assert worst.crossing.diameter == pytest.approx(8 * 0.0254)
    assert worst.answer == "short"
    assert worst.over > 0.4 * worst.flow
    assert not any(each.over > 0.02 * each.flow for each in swales["north swale"].crossings)


def test_unlisted_culverts_are_suspected_where_they_are(swales):
    suspected = [each for found in swales.values() for each in found.crossings if not each.crossing.given]
    assert [each.crossing.id for each in suspected] == ["drive-2.1", "drive-2.8"]
    # the drives of lots 9 and 16, counted from the swale's beginning
    assert suspected[0].crossing.ridge.crest == pytest.approx(37.0, abs=3.0)
    assert suspected[1].crossing.ridge.crest == pytest.approx(235.0, abs=3.0)
    assert all(each.answer == "cannot_tell" for each in suspected)


def test_the_drowned_outlet_is_found(swales):
    outlets = [each for found in swales.values() for each in found.outlets]
    drowned = {each.outlet.id: each.outlet for each in outlets if each.tailwater.state == "always"}
    drives = [each.crossing for found in swales.values() for each in found.crossings]
    # that of lot 9, behind the silted culvert, and the one in the reach against the grade; the others lie at the head
    # of a drive's culvert, in its headwater
    assert {"outfall 9", "outfall 12"} <= set(drowned)
    assert len(drowned) <= 5
    for outlet in (drowned[name] for name in set(drowned) - {"outfall 9", "outfall 12"}):
        assert any(each.start - 1.0 <= outlet.station <= each.ridge.crest for each in drives)
    first = min((each for each in swales["south swale"].outlets), key=lambda each: each.outlet.station)
    assert first.outlet.id in drowned
    assert "suspected" in say(first.verdict.why, "us")


def test_flow_along_both_swales_keeps_its_water(swales):
    for found in swales.values():
        np.testing.assert_allclose(found.flow.volume, np.cumsum(found.flow.side), rtol=1e-9)


def test_a_re_cut_never_goes_below_the_lower_end_or_a_culvert(swales):
    for found in swales.values():
        for stretch in found.recut:
            if stretch.recut is None:
                assert stretch.why_not
                continue
            assert stretch.recut.gap < 1e-3
            if stretch.last == len(found.site.sections) - 1:
                assert stretch.recut.bottom[-1] >= found.site.bottom[-1] - 1e-9
            assert (np.diff(stretch.recut.bottom) <= 1e-6).all()


def _false_flags(seeds):
    """What is flagged on the clean swale over other errors of the lidar, and the length looked at. [m]"""
    sys.path.insert(0, str(SAMPLE))
    try:
        build = importlib.import_module("claywick_ground").build
    finally:
        sys.path.remove(str(SAMPLE))
    inputs = open_site(SAMPLE / "swale.toml", several_parcels=True)
    lines = [shapely.force_2d(line) for line in inputs.layers.swales.geometry]
    rules = load_rules()
    culverts = culverts_by_swale(lines, inputs.layers.culverts, rules)[0]
    whole = read_window(inputs.source, inputs.source.grid.bounds)
    flags, length = 0, 0.0
    for seed in seeds:
        heights = build(seed).astype(float)
        known = np.where(heights < -1000.0, np.nan, heights)
        surface = Surface(whole.grid, np.where(np.isnan(known), whole.elevation, known))
        ground = ground_of(surface, inputs.layers, inputs.site.rules)
        site = measure_swale(ground, surface, lines[0], culverts, id="swale-1", name="north swale", rules=rules)
        drainage = drain_ground(ground)
        spots = find_low_spots(drainage, rmse=inputs.rmse)
        plenty = np.full(len(site.sections), 1e6)
        ponds = standing_along(site, drainage, spots, plenty, rules=rules, soaking_rate=None)
        flags += sum(each.adverse is not None and each.adverse.sure for each in site.reaches)
        flags += sum(not each.given for each in site.crossings) + sum(pond.sure for pond in ponds)
        length += site.thalweg.length
    return flags, length


def test_another_error_of_the_lidar_flags_nothing_on_the_clean_swale():
    flags, length = _false_flags(range(1))
    assert flags <= length / 1000.0


@pytest.mark.thorough
def test_a_hundred_errors_of_the_lidar_flag_at_most_one_thing_a_kilometre_on_the_clean_swale():
    flags, length = _false_flags(range(100))
    assert flags <= length / 1000.0


def test_what_the_site_gave_lies_beside_what_was_found(street):
    tables = swale_tables(street)
    for name in ("roofs", "hardscape", "utilities", "right_of_way", "downspouts"):
        given = gpd.read_file(SAMPLE / "neighbourhood.gpkg", layer=name)
        assert 0 < len(tables[name]) <= len(given.explode())
        assert tables[name].crs == given.crs
    assert {"house", "porch", "deck", "carport"} == set(tables["roofs"]["part"]) - {None, ""}
    assert len(tables["site_culverts"]) == sum(
        each.crossing.given for found in street.swales for each in found.crossings
    )


def test_the_paper_says_first_what_a_reviewer_asks(street, swales):
    tables = swale_tables(street)
    report, picture = swale_report(street, tables), swale_map(street, tables)
    made = [PdfReader(io.BytesIO(each)) for each in (report_pdf(report, picture), appendix_pdf(report))]
    first, *sheets = (" ".join(page.extract_text().split()) for page in made[0].pages)
    assert len(sheets) == 3, "the answer, a sheet a swale, the maintaining authority"
    for found in swales.values():
        assert say(found.why, "us") in first
        for each in found.crossings:
            if each.answer != "takes_it" or not each.crossing.given:
                assert f"{each.crossing.id}:" in first
    for found, sheet in zip(street.swales, sheets, strict=False):
        assert found.site.name in sheet
        assert all(each.outlet.name in sheet for each in found.outlets)
        assert all(each.crossing.id in sheet for each in found.crossings)
    whole = " ".join(" ".join(page.extract_text().split()) for page in made[1].pages)
    for title in ("Reaches", "Sections, the worst of each reach", "Stations", "Rules and defaults"):
        assert title in whole
        assert title not in " ".join((first, *sheets))
    for reader in made:
        for number, page in enumerate(reader.pages, start=1):
            assert not overprinted(page, reader), number
    # no page stands half empty but the last
    for page in made[0].pages[:-1]:
        assert min(each.bottom for each in text_boxes(page, made[0]) if each.bottom > 50.0) < 0.4 * 792.0


def test_no_name_on_the_map_lies_on_a_symbol_or_a_roof(street):
    count, over = names_lying_on(swale_map(street, swale_tables(street)))
    assert count > 20
    assert over == []


def test_a_lot_reckons_with_the_water_that_the_check_found_at_its_outlet(street, tmp_path: Path) -> None:
    """An outlet of the swale's own layer as the outfall of a lot, as it is handed over."""
    write_swales(street, tmp_path / "swales")
    table = tmp_path / "swales" / "swale.gpkg"
    outlets = gpd.read_file(table, layer="outlets")
    deep = outlets[(outlets["above_outlet_in"] > 3.0) & outlets["id"].isin(["outfall 3", "outfall 6"])].iloc[0]
    number = int(deep["id"].split()[1])
    site = (SAMPLE / f"lot_{number:02}.toml").read_text(encoding="utf-8")
    for key in ("file", "table", "curve"):
        site = site.replace(f'{key} = "', f'{key} = "{SAMPLE}/')
    begin = site.index("[outfalls]")
    end = site.index("\n[", begin)
    outfalls = f'[outfalls]\nfile = "{table}"\nlayer = "outlets"\nwhere = "id = \'{deep["id"]}\'"\n'
    (tmp_path / "lot.toml").write_text(site[:begin] + outfalls + site[end:], encoding="utf-8")
    plan = screen_lot(tmp_path / "lot.toml", grounds=1).plan
    (used,) = [each for each in plan.outfalls if each.fall_to_spare is not None]
    assert used.highest_level == pytest.approx(deep["highest_level_ft"] * 0.3048)
    assert any("the line is sized for that" in say(line.why, "us") for line in plan.discharges)
    # with nothing given the lot looks at the swale itself, in its own storm of ten years, which stands higher
    (own,) = [each for each in screened(f"lot_{number:02}").plan.outfalls if each.verdict is not None]
    assert own.highest_level > used.highest_level
