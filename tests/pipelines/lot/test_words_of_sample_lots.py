"""Every answer of the sample lots as it is read: no empty part, no nothing said as a number, nothing twice."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.deliverables.files.text_file import summary_text
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.summary import summary
from pipelines.deliverables.lot.written import answer_text
from pipelines.deliverables.report.blocks import Number
from pipelines.deliverables.report.lot.answer import proposed
from pipelines.deliverables.report.lot.columns import COLUMNS
from pipelines.deliverables.report.numbers import layer_table
from pipelines.lot import screen_lot
from tests.screened_samples import EVERY_LOT, SAMPLES, screened

FAULTS = {
    "an empty part": r", ,|,\.|: \.|\(\)| ,|\s;",
    "a number below 0 to spare": r"-\d[\d,.]* (ft|in|m|cm)( of fall)? to spare|to spare -|short (of \w+ )?by -",
    "what Python calls nothing": r"\b(nan|None|inf|NaN|True|False)\b",
    "two spaces": r"\S  +\S",
    "two stops": r"(?<!\.)\.\.(?!\.)|\?\.|\.;",
    "soil of no amount": r"\b0\.[01] (yd|m)[³3] of soil",
}


@pytest.fixture(params=EVERY_LOT)
def findings(request: pytest.FixtureRequest) -> Findings:
    return screened(request.param)


@pytest.mark.parametrize("units", ["us", "si"])
def test_an_answer_reads_as_sentences(findings: Findings, units: str) -> None:
    answer = answer_text(replace(findings, units=units), 100_000).splitlines()
    for line in answer:
        for what, fault in FAULTS.items():
            assert not re.search(fault, line.strip()), f"{what}: {line}"
        # a sentence of some length is told once in a line
        told = [each for each in re.split(r"(?<=[.;?]) ", line.strip(" -").lower()) if len(each) > 25]
        assert len(told) == len(set(told)), line
    lines = [line for line in answer if len(line) > 60]
    assert len(lines) == len(set(lines))


def test_nothing_is_proposed_for_no_flow(findings: Findings) -> None:
    for line in proposed(findings, lot_tables(findings, "us"), "us"):
        words = "".join(each.text if isinstance(each, Number) else each for each in line)
        assert not re.search(r"\b0 gpm", words), words


def test_a_provisional_basin_has_a_place_and_no_numbers(tmp_path: Path) -> None:
    for held in SAMPLES.iterdir():
        (tmp_path / held.name).symlink_to(held)
    site = tmp_path / "no_roofs.toml"
    site.write_text(re.sub(r"\[(roofs|downspouts)\]\n(.+\n)+", "", (SAMPLES / "lot_11.toml").read_text()))
    findings = screen_lot(site)
    basins = findings.plan.catch_basins
    assert basins
    assert all(basin.provisional for basin in basins)
    layers = lot_tables(findings, "us")
    table = layer_table(layers, "catch_basins", "us", COLUMNS["catch_basins"], title="Basins")
    assert table is not None
    heads = {column.head for column in table.columns}
    assert {"Basin", "Rim"} <= heads
    assert not {"Must take", "Takes", "Water over the grate", "Invert out"} & heads
    assert json.loads(summary_text(summary(findings)))["catch_basins"][0]["peak_flow_m3s"] is None
    answer = answer_text(findings, 100_000)
    assert "basin-1, a provisional catch basin. Provisional, since no roofs are given." in answer
    assert "basin-1, , " not in answer


def test_no_water_is_over_what_is_tolerated_for_longer_than_it_stands(findings: Findings) -> None:
    for water in findings.low_spots:
        if "why" not in water.why.values or (over := water.why["why"]["over"]) is None:
            continue
        stands = np.inf if water.hours_on_lot is None else 3600.0 * water.hours_on_lot
        time = over["time"] if over.code == "above_tolerated_for" else np.inf
        assert time <= stands, water.spot.id
