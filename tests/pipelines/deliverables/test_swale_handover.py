"""What a check of swales hands over keeps its promises."""

import csv
import html
import json
import re
import sqlite3
from contextlib import closing

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
from PIL import Image
from shapely import LineString

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.files.context_layers import CONTEXT
from pipelines.deliverables.files.layer_table import layers
from pipelines.deliverables.report.blocks import Facts, Items, Paragraph, plain
from pipelines.deliverables.report.swale_answer import caution_blocks, swale_answer_blocks
from pipelines.deliverables.report.text import blocks_as_text
from pipelines.deliverables.swale.handover import write_swales
from pipelines.deliverables.swale.layers import drawn_stretch
from pipelines.deliverables.words.say import say
from pipelines.swale import WhatIf, check_swale
from tests.quick_share import one_in

LAYERS = (
    "swales", "stations", "cross_sections", "reaches", "culverts", "suspected_culverts", "standing_water", "recut",
    "outlets", *CONTEXT,
)  # fmt: skip
TABLES = ("verdicts", "lot_inflows", "lot_sums", "cautions", "run_info")


def trapezoid(t):
    return np.clip((np.abs(t) - 0.5) / 2.5, 0.0, 0.5) + 0.02 * np.maximum(np.abs(t) - 1.75, 0.0)


def two_drives(x, y, z):
    for middle, crest in ((-20.0, 100.65), (25.0, 100.2)):
        fill = crest - np.maximum(np.abs(x - middle) - 1.5, 0.0) / 2.0
        z = np.where((np.abs(y) < 6.0) & (fill > z), fill, z)
    return z


@pytest.fixture(scope="module", params=one_in(2, ["si", "us"]))
def result(request, tmp_path_factory, write_swale_site):
    """A drive with a culvert, one without, an outlet, a what-if, in either unit system."""
    folder = tmp_path_factory.mktemp(request.param)
    path = write_swale_site(
        folder / "site", trapezoid, ground=two_drives, culverts=[([(-24.0, 0.0), (-16.0, 0.0)], 12.0)],
        outfalls=[((10.0, 0.5), "100.1 m")], units=request.param,
    )  # fmt: skip
    findings = check_swale(path, add_discharges=[WhatIf(0.01, 500_000.0, 3_300_000.0)])
    out = folder / "out"
    return findings, out, write_swales(findings, out), request.param


def test_every_file_is_there(result):
    _, out, written, _ = result
    assert sorted(written) == sorted(each.name for each in out.iterdir())
    assert {"swale.gpkg", "stations.csv", "summary.json", "swale-1_profile.png", "swale-1_sections.png"} <= set(written)


def test_every_layer_and_column_is_there_with_its_unit(result):
    _, out, _, units = result
    listed = dict(pyogrio.list_layers(out / "swale.gpkg"))
    for name in (*LAYERS, *TABLES):
        assert name in listed
        fields = set(pyogrio.read_info(out / "swale.gpkg", layer=name)["fields"])
        assert fields == {written for written, _ in layers()[name].written(units)}
    for name in LAYERS:
        info = pyogrio.read_info(out / "swale.gpkg", layer=name)
        assert info["crs"] == "EPSG:32617"
        assert info["geometry_type"].replace("2.5D ", "").replace(" Z", "") in layers()[name].geometry


def test_numbers_are_those_found(result):
    findings, out, _, units = result
    found = findings.swales[0]
    stations = gpd.read_file(out / "swale.gpkg", layer="stations")
    foot = 0.3048 if units == "us" else 1.0
    suffix = "ft" if units == "us" else "m"
    assert len(stations) == len(found.site.sections)
    np.testing.assert_allclose(stations[f"station_{suffix}"] * foot, found.site.station, atol=1e-6)
    np.testing.assert_allclose(stations[f"level_{suffix}"] * foot, found.levels.level, rtol=1e-9)
    np.testing.assert_allclose([point.z for point in stations.geometry], found.site.bottom, rtol=1e-9)
    sections = gpd.read_file(out / "swale.gpkg", layer="cross_sections")
    assert sorted(sections["id"]) == sorted(stations["id"])
    assert len(gpd.read_file(out / "swale.gpkg", layer="culverts")) == 1
    assert len(gpd.read_file(out / "swale.gpkg", layer="suspected_culverts")) == 1
    assert len(gpd.read_file(out / "swale.gpkg", layer="outlets")) == 2
    assert len(gpd.read_file(out / "swale.gpkg", layer="standing_water")) >= 1
    recut = gpd.read_file(out / "swale.gpkg", layer="recut")
    assert recut["needed"].dtype == bool
    verdicts = gpd.read_file(out / "swale.gpkg", layer="verdicts")
    assert len(verdicts) == len(found.reaches) + len(found.crossings) + len(found.outlets)
    assert set(verdicts["answer"]) <= {"takes_it", "short", "holds_water", "cannot_tell"}


def test_stations_csv_is_the_layer_with_places(result):
    _, out, _, units = result
    with (out / "stations.csv").open() as file:
        rows = list(csv.DictReader(file))
    stations = gpd.read_file(out / "swale.gpkg", layer="stations")
    assert [row["id"] for row in rows] == list(stations["id"])
    assert float(rows[3]["easting"]) == pytest.approx(stations.geometry.iloc[3].x, abs=1e-3)
    flow = "peak_flow_cfs" if units == "us" else "peak_flow_l_s"
    assert float(rows[3][flow]) == pytest.approx(stations[flow].iloc[3])


def test_summary_is_si_and_json(result):
    findings, out, _, _ = result
    summary = json.loads((out / "summary.json").read_text())
    (swale,) = summary["swales"]
    found = findings.swales[0]
    assert swale["length_m"] == pytest.approx(found.site.thalweg.length)
    assert swale["peak_flow_m3s"] == pytest.approx(float(found.flow.peak[-1]))
    assert swale["answer"] == found.answer
    assert len(swale["suspected_culverts"]) == 1
    assert any("maintaining authority" in caution for caution in summary["cautions"])
    assert summary["discharges"] == [
        {"id": "what-if 1", "flow_m3s": 0.01, "swale": "swale-1", "station_m": pytest.approx(60.0, abs=0.5)}
    ]


def test_run_info_names_inputs_and_rules(result):
    _, out, written, _ = result
    with closing(sqlite3.connect(out / "swale.gpkg")) as connection:
        rows = dict(connection.execute("SELECT key, value FROM run_info").fetchall())
    assert rows["outputs"] == ", ".join(written)
    assert len(rows["input.elevation.sha256"]) == 64
    assert "parameter.n_swale" in rows


# of the other unit system; the price list and law are no part of a swale's answer
OTHERS = {
    "us": r"\d (cm|mm|m|m2|m²|m3|m³|l/s|m/s|mm/h|m3/s)\b",
    "si": r"\d (in|ft|ft2|ft²|ft3|ft³|yd3|yd³|cfs|gpm|ft/s|in/h)\b",
}


def test_each_reader_meets_their_own_units_alone(result):
    findings, out, _, units = result
    texts = [blocks_as_text(swale_answer_blocks(findings), 100)]
    for name in LAYERS + TABLES:
        if name != "cautions":
            table = gpd.read_file(out / "swale.gpkg", layer=name)
            texts += [str(each) for column in table for each in table[column] if isinstance(each, str)]
    page = re.sub(r"<(script|style).*?</\1>", "", (out / "report.html").read_text(encoding="utf-8"), flags=re.DOTALL)
    page = html.unescape(re.sub(r"<[^>]+>", "", page))
    for caution in findings.cautions:
        page = page.replace(say(caution.text, units), "")
    for text in (*texts, page):
        # nominal sizes of culverts on offer stay as they are
        text = re.sub(r"\d+ in(?:; \d+ in)+", "", text)
        assert not re.search(OTHERS[units], text), re.search(f".{{0,60}}{OTHERS[units]}", text)


def test_the_terminal_says_what_the_page_says(result):
    findings, out, _, _ = result
    page = html.unescape(re.sub(r"<[^>]+>", "", (out / "report.html").read_text(encoding="utf-8")))
    blocks = (*swale_answer_blocks(findings), *caution_blocks(findings))
    plainly = str.maketrans("²³", "23")
    page = page.translate(plainly)
    told = " ".join(blocks_as_text(blocks, 100).split()).translate(plainly)
    lines = []
    for block in blocks:
        if isinstance(block, Paragraph):
            lines.append(block.words)
        elif isinstance(block, Items):
            lines += block.items
        elif isinstance(block, Facts):
            lines += [words for _, answers in block.rows for words in answers]
    assert len(lines) > 10
    for words in lines:
        assert plain(words) in page
        assert plain(words) in told


def test_pictures_are_pictures(result):
    _, out, _, _ = result
    for name in ("swale-1_profile.png", "swale-1_sections.png"):
        with Image.open(out / name) as picture:
            assert picture.format == "PNG"
            assert min(picture.size) > 400
            # more than one flat colour
            assert len(np.unique(np.asarray(picture.convert("L")))) > 5


def test_an_earlier_result_stays_without_overwrite(result):
    findings, out, _, _ = result
    before = (out / "summary.json").read_bytes()
    with pytest.raises(HandoverError, match="overwrite"):
        write_swales(findings, out)
    assert (out / "summary.json").read_bytes() == before


def test_two_writes_give_the_same_bytes(result, tmp_path, monkeypatch):
    monkeypatch.setenv("OGR_CURRENT_DATE", "2020-01-01T00:00:00.000Z")
    findings, out, written, _ = result
    write_swales(findings, tmp_path / "again")
    write_swales(findings, out, overwrite=True)
    for name in written:
        assert (tmp_path / "again" / name).read_bytes() == (out / name).read_bytes()


@pytest.mark.parametrize(
    ("start", "end", "drawn"), [(2.0, 7.0, (2.0, 7.0)), (4.0, 4.0, (4.0, 4.5)), (10.0, 10.0, (9.5, 10.0))]
)
def test_a_reach_of_one_section_is_drawn_as_a_line(start, end, drawn):
    line = drawn_stretch(LineString([(0.0, 0.0), (10.0, 0.0)]), start, end)
    assert list(line.coords) == [(drawn[0], 0.0), (drawn[1], 0.0)]
