import csv
import io
import json
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipelines.deliverables.files.table_csv import csv_text
from pipelines.deliverables.files.text_file import summary_text
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.layers import lot_tables, runoff_table
from pipelines.deliverables.lot.summary import summary
from pipelines.layout.plan import Plan
from pipelines.layout.verdict_parts import NOTHING_NEEDED

# the keys that users script against
PROMISED = [
    "name", "version", "inputs", "study_area_m2", "parcel_area_m2", "run_on_area_m2", "passing_by_area_m2",
    "roof_area_m2", "low_spots", "catch_basins", "french_drains", "discharges", "warnings", "cautions",
]  # fmt: skip
LOW_SPOT = {"id", "on_parcel", "depth_m", "area_m2", "volume_m3", "spill_elevation_m", "within_lidar_error"}
DISCHARGE = {"mode", "verdict", "why", "fall_to_spare_m", "fall_error_m", "lift_m"}


def test_runoff_rows_are_consistent_with_the_rational_formula(findings: Findings) -> None:
    # source: Q [cfs] = 1.008 C i [in/h] A [acre], HDS and agency manuals; 1 acre in/h = 1.008333 cfs exactly computed
    table = runoff_table(findings.runoff, "us")
    expected = table["runoff_coefficient"] * table["intensity_in_h"] * table["area_ft2"] / 43_560 * 1.0083333333
    assert table["peak_flow_cfs"].to_numpy() == pytest.approx(expected.to_numpy(), rel=1e-8)
    # 1 cfs = 448.831 gpm
    assert (table["peak_flow_gpm"] / table["peak_flow_cfs"]).to_numpy() == pytest.approx(448.831, abs=5e-4)
    assert table["runoff_volume_ft3"].to_numpy() == pytest.approx(
        (table["runoff_depth_in"] / 12 * table["area_ft2"]).to_numpy(), rel=1e-8
    )


def test_unit_systems_say_the_same(findings: Findings) -> None:
    si, us = (lot_tables(findings, units) for units in ("si", "us"))
    assert si["runoff"]["intensity_mm_h"].tolist() == [150.0, 150.0]
    assert us["low_spots"]["depth_in"][0] == pytest.approx(0.1 / 0.0254, rel=1e-9)
    assert si["low_spots"]["depth_m"][0] == 0.1
    assert si["pipe_runs"]["filled_pct"].tolist()[0] == us["pipe_runs"]["filled_pct"].tolist()[0] == 40.0
    assert si["low_spots"]["stands_h"][0] == us["low_spots"]["stands_h"][0] == 26.0


def test_a_lot_without_works_has_every_layer_empty(findings_with: Callable[..., Findings]) -> None:
    bare = findings_with(plan=Plan("Nothing to build.", NOTHING_NEEDED), low_spots=(), flow_paths=(), runoff=(),
                         leaving=(), inputs=(), warnings=(), cautions=(), parameters=())  # fmt: skip
    tables = lot_tables(bare, "us")
    assert len(tables["parcel"]) == 1
    assert {name for name, table in tables.items() if len(table)} == {"parcel", "roofs", "hardscape", "run_info"}
    full = lot_tables(findings_with(), "us")
    assert {name: list(table.columns) for name, table in tables.items()} == {
        name: list(table.columns) for name, table in full.items()
    }
    assert csv_text(tables["runoff"]).count("\n") == 1


def test_run_info_names_inputs_rules_and_outputs(findings: Findings) -> None:
    table = lot_tables(findings, "us", outputs=["lot.gpkg", "runoff.csv"])["run_info"]
    rows = dict(zip(table["key"], table["value"], strict=True))
    assert rows["crs"] == "EPSG:2264"
    assert rows["input.elevation.sha256"] == "ab" * 32
    assert rows["parameter.cover"] == "12 in [CP]"
    assert rows["warning.1"].startswith("No soil")
    assert rows["outputs"] == "lot.gpkg, runoff.csv"
    assert len(rows) == len(table)


def test_ids_are_unique_across_layers(findings: Findings) -> None:
    tables = lot_tables(findings, "us")
    ids = [name for layer, table in tables.items() if "id" in table and layer != "cautions" for name in table["id"]]
    assert len(ids) == len(set(ids))


def test_summary_has_the_promised_keys_in_si(findings: Findings) -> None:
    content = json.loads(summary_text(summary(findings)))
    assert [key for key in content if key in PROMISED] == PROMISED
    assert set(content["low_spots"][0]) >= LOW_SPOT
    assert [set(line) >= DISCHARGE for line in content["discharges"]] == [True, True]
    assert content["parcel_area_m2"] == 600.0
    assert content["low_spots"][0]["before"]["stands_h"] == 26.0
    assert content["low_spots"][0]["after"] == {"depth_m": 0.0, "volume_m3": 0.0, "spilled_m3": 0.0, "stands_h": None}
    assert [line["mode"] for line in content["discharges"]] == ["gravity", "pump"]


def test_summary_never_says_nan(findings: Findings) -> None:
    odd = replace(findings, studied_area=math.nan, run_on_area=math.inf, roof_area=np.float64(3.5), name=np.str_("x"))
    text = summary_text(summary(odd))
    content = json.loads(text, parse_constant=lambda word: pytest.fail(word))
    assert (content["study_area_m2"], content["run_on_area_m2"], content["roof_area_m2"]) == (None, None, 3.5)


def test_summary_survives_a_name_that_is_no_valid_text(findings: Findings) -> None:
    text = summary_text(summary(replace(findings, name="\udcff")))
    assert json.loads(text.encode("utf-8", "backslashreplace"))["name"] == "\udcff"


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", "\r=", " +"])
def test_text_that_a_spreadsheet_would_run_is_quoted(start: str) -> None:
    text = csv_text(pd.DataFrame({"id": [f"{start}1+1"], "depth_in": [-2.5]}))
    ((name, depth),) = list(csv.reader(io.StringIO(text, newline="")))[1:]
    assert name == f"'{start.strip()}1+1"
    assert depth == "-2.5"


def test_csv_cells_read_back_as_written(findings: Findings) -> None:
    table = runoff_table(findings.runoff, "us")
    rows = list(csv.DictReader(io.StringIO(csv_text(table))))
    for row, (_, expected) in zip(rows, table.iterrows(), strict=True):
        for name, cell in row.items():
            assert cell == expected[name] if isinstance(expected[name], str) else float(cell) == expected[name]


def test_unknown_cells_are_empty() -> None:
    flags = pd.array([None, True, False])
    table = pd.DataFrame({"a": [math.nan, math.inf, 1.0], "b": [None, "x, y", 'q"'], "c": flags})
    assert csv_text(table) == 'a,b,c\n,,\n,"x, y",True\n1,"q""",False\n'
