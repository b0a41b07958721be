"""What would do where a culvert is too small, its price, its silt, what outlets are called: the same everywhere."""

import html
import json
import re

import geopandas as gpd
import numpy as np
import pytest

from pipelines.deliverables.report.swale_answer import swale_answer_blocks
from pipelines.deliverables.report.text import blocks_as_text
from pipelines.deliverables.swale.handover import write_swales
from pipelines.deliverables.words.say import say
from pipelines.hydraulics.channel.barrel import circular_barrel
from pipelines.hydraulics.channel.culvert import Culvert, culvert_flow
from pipelines.hydraulics.channel.culvert_sizes import culvert_sizes
from pipelines.inputs.errors import LayerError
from pipelines.inputs.tables.prices import default_prices
from pipelines.swale import WhatIf, check_swale
from tests.quick_share import one_in

INCH = 0.0254
CULVERT = [(-4.0, 0.0), (4.0, 0.0)]
UPSTREAM = (499_950.0, 3_300_000.0)


def trapezoid(t):
    return np.clip((np.abs(t) - 0.5) / 2.5, 0.0, 0.8) + 0.02 * np.maximum(np.abs(t) - 2.5, 0.0)


def drive_at(crest):
    def ground(x, y, z):
        fill = crest - np.maximum(np.abs(x) - 1.5, 0.0) / 2.0
        return np.where((np.abs(y) < 6.0) & (fill > z), fill, z)

    return ground


@pytest.fixture
def one_drive(write_swale_site, tmp_path):
    """A check of a swale with one drive, its culvert's attributes and what comes to it given; its folder."""

    def check(crest, inches, flow, *, units="us", outfalls=(), **attributes):
        site = write_swale_site(
            tmp_path / f"site{len(list(tmp_path.iterdir()))}", trapezoid, ground=drive_at(crest),
            culverts=[(CULVERT, inches)], units=units, outfalls=list(outfalls),
        )  # fmt: skip
        layers = {"culverts": attributes.pop("culvert", {}), "outfalls": attributes.pop("outfall", {})}
        for layer, given in layers.items():
            if given:
                table = gpd.read_file(site.parent / "site.gpkg", layer=layer)
                table.assign(**given).to_file(site.parent / "site.gpkg", layer=layer, driver="GPKG")
        return check_swale(site, add_discharges=[WhatIf(flow, *UPSTREAM)] if flow else ())

    return check


def headwater(culvert, inches, flow, tailwater):
    barrel = circular_barrel(inches * INCH)
    tried = Culvert(barrel, culvert.inlet, culvert.length, culvert.roughness, culvert.invert_up, culvert.invert_down)
    return culvert_flow(tried, flow, tailwater=tailwater).headwater


def test_the_size_that_would_do_is_the_least_that_keeps_the_drive_dry(one_drive):
    found = one_drive(101.0, 8.0, 0.1).swales[0]
    (drive,), (remedy,) = found.crossings, found.remedies
    culvert, brim = drive.crossing.drive.culvert, drive.crossing.ridge.lowest
    assert (drive.answer, remedy.barrels, remedy.raised) == ("short", 1, 0.0)
    sizes = [round(each.inside / INCH) for each in culvert_sizes()]
    carries = [headwater(culvert, inches, drive.flow, drive.tailwater) <= brim for inches in sizes]
    assert round(remedy.size.inside / INCH) == sizes[carries.index(True)]
    # pipe, two ends and the drive by the price list alone are less than the whole price
    prices, foot = default_prices(), culvert.length / 0.3048
    least = foot * prices[f"{remedy.size.key} culvert pipe"].likely + 2 * prices["culvert end section"].likely
    least += foot * (remedy.size.outside / 0.3048) * prices["drive reinstatement"].likely
    assert least < remedy.cost.likely < 6 * least
    assert remedy.cost.low < remedy.cost.likely < remedy.cost.high


def test_a_drive_with_little_room_gets_the_culverts_that_need_least_ground_over_them(one_drive):
    found = one_drive(100.6, 6.0, 0.15).swales[0]
    (drive,), (remedy,) = found.crossings, found.remedies
    culvert = drive.crossing.drive.culvert
    top = max(culvert.invert_up, culvert.invert_down) + (remedy.size.inside + remedy.size.outside) / 2.0
    assert remedy.barrels > 1
    assert drive.crossing.ridge.lowest + remedy.raised == pytest.approx(top + 12 * INCH)
    inches = remedy.size.inside / INCH
    assert headwater(culvert, inches, drive.flow / remedy.barrels, drive.tailwater) <= drive.crossing.ridge.lowest
    assert "of cover needs the drive" in say(remedy.why, "us")


def test_where_no_culvert_does_it_says_so_without_a_price(one_drive):
    found = one_drive(100.25, 6.0, 3.0).swales[0]
    (remedy,) = found.remedies
    assert (remedy.size, remedy.barrels, remedy.cost) == (None, 0, None)
    assert "no standard culvert up to 36 in" in say(remedy.why, "us")


def test_a_silted_culvert_that_would_carry_it_is_cleared(one_drive):
    found = one_drive(100.9, 15.0, 0.05, culvert={"silt_in": 11.0}).swales[0]
    (drive,), (remedy,) = found.crossings, found.remedies
    assert drive.answer == "short"
    assert drive.crossing.drive.culvert.barrel.silt == pytest.approx(11 * INCH)
    assert "11.0 in of silt lies in the culvert" in say(drive.why, "us")
    assert remedy.why.code == "swale_culvert_cleared"
    assert 0.0 < remedy.cost.low < remedy.cost.high < 5000.0


def test_a_given_invert_is_the_pipes_and_the_silt_lies_on_it(one_drive):
    given = {"silt_in": 2.0, "invert_up_m": 100.0, "invert_down_m": 99.95}
    culvert = one_drive(101.0, 15.0, 0.02, culvert=given).swales[0].crossings[0].crossing.drive.culvert
    assert (culvert.invert_up, culvert.invert_down) == pytest.approx((100.0 + 2 * INCH, 99.95 + 2 * INCH))


def test_silt_that_fills_a_culvert_is_refused_by_its_place(one_drive):
    with pytest.raises(LayerError, match=r"culvert 1: silt of 0\.4572 m fills its 0\.381 m"):
        one_drive(101.0, 15.0, 0.02, culvert={"silt_in": 18.0})


def test_the_raster_does_not_show_which_way_a_culvert_slopes(one_drive):
    uphill = {"invert_up_m": 100.0, "invert_down_m": 100.1}
    codes = [
        {each.code for each in one_drive(101.0, 15.0, 0.02, culvert=given).swales[0].crossings[0].warnings}
        for given in (uphill, {})
    ]
    assert "culvert_adverse" in codes[0]
    assert "culvert_adverse" not in codes[1]


@pytest.mark.parametrize("units", one_in(2, ["us", "si"]))
def test_drives_read_the_same_on_terminal_page_layers_and_json(one_drive, tmp_path, units):
    findings = one_drive(101.0, 8.0, 0.1, units=units, culvert={"silt_in": 1.0})
    write_swales(findings, tmp_path / "out")
    (drive,), (remedy,) = findings.swales[0].crossings, findings.swales[0].remedies
    terminal = " ".join(blocks_as_text(swale_answer_blocks(findings), 100).split())
    page = html.unescape(re.sub(r"<[^>]+>", "", (tmp_path / "out" / "report.html").read_text(encoding="utf-8")))
    row = gpd.read_file(tmp_path / "out" / "swale.gpkg", layer="culverts").iloc[0]
    (told,) = json.loads((tmp_path / "out" / "summary.json").read_text())["swales"][0]["culverts"]
    assert {each.code for each in drive.warnings} == {"culvert_small", "culvert_silted"}
    for each in drive.warnings:
        assert say(each, units) in terminal
        assert say(each, units) in page
        assert say(each, units) in row["warnings"]
        assert say(each, "si") in told["warnings"]
    assert say(remedy.why, units)[1:] in terminal
    assert say(remedy.why, units) in page
    assert row["remedy"] == say(remedy.why, units)
    assert told["remedy"]["cost"] == {"low": remedy.cost.low, "likely": remedy.cost.likely, "high": remedy.cost.high}
    foot = 0.3048 if units == "us" else 1.0
    level = row["headwater_ft" if units == "us" else "headwater_m"] * foot
    assert level == pytest.approx(told["headwater_m"]) == pytest.approx(drive.headwater)


@pytest.mark.parametrize("units", one_in(2, ["si", "us"]))
def test_a_suspected_culvert_reads_the_same_everywhere(write_swale_site, tmp_path, units):
    findings = check_swale(write_swale_site(tmp_path / "site", trapezoid, ground=drive_at(100.3), units=units))
    write_swales(findings, tmp_path / "out")
    (drive,) = findings.swales[0].crossings
    foot, unit = (0.3048, "ft") if units == "us" else (1.0, "m")
    row = gpd.read_file(tmp_path / "out" / "swale.gpkg", layer="suspected_culverts").iloc[0]
    (told,) = json.loads((tmp_path / "out" / "summary.json").read_text())["swales"][0]["suspected_culverts"]
    for name in ("station", "headwater", "drive_level"):
        assert row[f"{name}_{unit}"] * foot == pytest.approx(told[f"{name}_m"])
    assert told["headwater_m"] == pytest.approx(drive.headwater)
    page = html.unescape(re.sub(r"<[^>]+>", "", (tmp_path / "out" / "report.html").read_text(encoding="utf-8")))
    written = f"at {drive.headwater / foot:.2f} {unit}"
    for text in (" ".join(blocks_as_text(swale_answer_blocks(findings), 100).split()), page, row["why"]):
        assert say(drive.why, units) in text
        assert written in text
    assert findings.swales[0].remedies == (None,)


@pytest.mark.parametrize(
    ("given", "called"),
    one_in(3, [({"name": "Mill end"}, "Mill end"), ({"lot": 7}, "lot 7"), ({"address": "3 Sedge Way"}, "3 Sedge Way"),
               ({}, "outfall 1")]),
)  # fmt: skip
def test_an_outlet_is_called_as_its_lot(one_drive, tmp_path, given, called):
    findings = one_drive(101.0, 24.0, 0.02, outfalls=[((50.0, 0.5), "99 m")], outfall=given)
    named = {each.outlet.id: each.outlet.name for each in findings.swales[0].outlets}
    assert named == {"outfall 1": called, "what-if 1": "what-if 1"}
    write_swales(findings, tmp_path / "out")
    assert called.lower() in blocks_as_text(swale_answer_blocks(findings), 100).lower()
    assert called in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert called in set(gpd.read_file(tmp_path / "out" / "swale.gpkg", layer="outlets")["name"])
    assert called in set(gpd.read_file(tmp_path / "out" / "swale.gpkg", layer="verdicts")["name"])
    told = json.loads((tmp_path / "out" / "summary.json").read_text())["swales"][0]
    assert called in {each["name"] for each in told["outlets"]}
    assert called in {each["name"] for each in told["verdicts"]}
