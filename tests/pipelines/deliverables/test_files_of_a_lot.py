"""The files beside the layers: a raster in the site's units, numbers at the digits they are worth, what was given."""

import csv
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from shapely import LineString, Point, box

from pipelines.deliverables.files.context_layers import context_layers
from pipelines.deliverables.files.layer_table import rounded
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.handover import write_lot
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.written import lot_files, report_page
from pipelines.inputs.under_picture import UnderPicture
from terrain.raster import Raster
from terrain.unit_table import Units

FOOT, FOOT_US = 0.3048, 1200 / 3937


@pytest.mark.parametrize(("units", "one"), [("us", FOOT), ("si", 1.0)])
def test_fall_to_spare_is_in_the_units_of_the_site_and_says_so(
    tmp_path: Path, findings: Findings, units: Units, one: float
) -> None:
    values = np.full(findings.grid.shape, 0.4572)
    values[0, 0] = np.nan
    spare = Raster(findings.grid, values, "m", "fall to spare")
    odds = Raster(findings.grid, np.where(np.isnan(values), np.nan, 83.0), "%", "share of grounds")
    told = replace(findings, units=units, fall_to_spare=spare, odds_of_fall=odds)
    write = lot_files(told, made_on=date(2025, 3, 4))
    write["fall_to_spare.tif"](tmp_path / "fall_to_spare.tif")
    with rasterio.open(tmp_path / "fall_to_spare.tif") as file:
        read, share = file.read(masked=True)
        assert file.units == ("ft" if units == "us" else "m", "%")
    assert share.count() == values.size - 1
    assert share.min() == share.max() == 83.0
    assert read.count() == values.size - 1
    assert np.all(read.compressed() == pytest.approx(0.4572 / one, abs=0.0005))


def test_a_picture_lies_under_the_map_and_over_the_shade(findings: Findings) -> None:
    noise = np.random.default_rng(5).integers(0, 256, (900, 900, 3), dtype=np.uint8)
    plain = report_page(findings, made_on=date(2025, 3, 4))
    page = report_page(replace(findings, picture=UnderPicture(noise, findings.grid.bounds)), made_on=date(2025, 3, 4))
    assert "data:image/jpeg" not in plain
    assert page.count("data:image/jpeg;base64,") == 1
    assert page.index('id="layer-ground"') < page.index('id="layer-picture"') < page.index('id="layer-contours"')
    assert 'data-toggle="picture"' in page
    assert len(page) - len(plain) < 1_000_000


def test_runoff_is_rounded_to_what_it_is_worth(tmp_path: Path, findings: Findings) -> None:
    write_lot(findings, tmp_path / "out")
    rows = list(csv.DictReader((tmp_path / "out" / "runoff.csv").read_text(encoding="utf-8").splitlines()))
    exact = lot_tables(findings, "us")["runoff"]
    layer = gpd.read_file(tmp_path / "out" / "lot.gpkg", layer="runoff")
    assert rows
    for at, row in enumerate(rows):
        for name, text in row.items():
            if name in ("sub_catchment", "drains_to"):
                continue
            assert len(text.partition(".")[2]) <= 3, (name, text)
            assert float(text) == pytest.approx(float(exact[name].iloc[at]), rel=0.02, abs=0.5), name
            assert float(text) == layer[name].iloc[at]


def test_what_cannot_be_rounded_stays(findings: Findings) -> None:
    for name, table in lot_tables(findings, "us").items():
        told: Any = rounded(name, table, "us")
        assert list(told.columns) == list(table.columns)
        assert len(told) == len(table)


def test_what_was_given_becomes_layers() -> None:
    given = {
        "utilities": gpd.GeoDataFrame(
            {"id": ["1"], "kind": ["gas"], "crossing": ["careful"], "depth_m": [FOOT]},
            geometry=[LineString([(0, 0), (9, 0)])],
        ),
        "keep_out": gpd.GeoDataFrame(
            {"id": ["1", "2", "3"], "kind": ["septic field", "old oak tree", "grave"], "setback_m": [3.0, 2.0, np.nan],
             "crossing": ["never"] * 3, "note": [""] * 3},
            geometry=[box(0, 0, 4, 4), Point(20, 0), LineString([(30, 0), (40, 0)])],
        ),
        "complaints": gpd.GeoDataFrame(
            {"id": ["1"], "what": ["patio under water"], "date": ["2024-04-18"], "depth_m": [0.0508], "hours": [6.0],
             "where": ["patio"], "season": ["in_rain"]}, geometry=[Point(1, 1)],
        ),
    }  # fmt: skip
    made = context_layers(given, "us")
    assert made["utilities"]["depth_ft"].tolist() == [1.0]
    assert made["complaints"]["depth_in"].tolist() == [2.0]
    assert made["complaints"]["hours_h"].tolist() == [6.0]
    assert made["keep_out_marks"]["class"].tolist() == ["septic", "tree", "other"]
    # the setback is counted in: a square of 4 m with 3 m around it, rounded at its corners
    assert made["keep_out"].geometry.area[0] == pytest.approx(16 + 4 * 4 * 3 + np.pi * 9, rel=0.01)
    assert made["keep_out"].geometry.area.min() > 0.0
    assert all(len(table) == 0 for name, table in made.items()
               if name in ("right_of_way", "barriers", "site_culverts", "downspouts"))  # fmt: skip
