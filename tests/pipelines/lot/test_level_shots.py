"""The level shots that are asked for: none where nothing is in doubt, else those that the fall hangs on, in order."""

import csv
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely import Point, box

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.written import lot_files
from pipelines.deliverables.report.lot.map import lot_map
from pipelines.deliverables.words.say import say, say_all
from pipelines.lot import findings_of
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages

ROWS, COLUMNS, CELL = 120, 100, 0.5
EAST, NORTH = 500_000.0, 4_400_000.0
RAIN = '[rain]\ndepth = "75 mm"\nduration = "60 min"\ndistribution = "constant"\n'
SHAPES: dict[str, list[dict[str, Any]]] = {
    "parcel": [{"geometry": box(10.0, 10.0, 40.0, 50.0)}],
    "roofs": [{"geometry": box(12.0, 32.0, 24.0, 42.0), "foundation": "slab"}],
    "hardscape": [{"geometry": box(22.0, 22.0, 30.0, 30.0), "kind": "patio", "protect": True}],
    "right_of_way": [{"geometry": box(0.0, 0.0, 50.0, 10.0)}],
    "outfalls": [{"geometry": Point(26.25, 5.25), "kind": "swale"}],
    "complaints": [{"geometry": Point(26.25, 26.25), "what": "water on the patio", "where": "patio"}],
}


def with_patio(bottom: float) -> np.ndarray:
    """A patio that lies 15 cm low on flat ground, and a swale in the street whose bottom is at so much. [m]"""
    row, column = np.indices((ROWS, COLUMNS), dtype=float)
    x, y = (column + 0.5) * CELL, (ROWS - row - 0.5) * CELL
    ground = 100.0 + 0.001 * np.abs(x - 26.0) + 0.001 * y
    ground = np.where((np.abs(x - 26.0) < 4.0) & (np.abs(y - 26.0) < 4.0), ground - 0.15, ground)
    return np.where(y < 8.0, np.maximum(ground - 0.3 * (8.0 - y), bottom), ground)


@pytest.fixture
def screened(make_lot: Callable[..., Any]) -> Callable[..., Findings]:
    def run(bottom: float, rmse: str, *, levels: Path | None = None) -> Findings:
        site = make_lot(with_patio(bottom), SHAPES, more=RAIN, cell=CELL)
        text = site.read_text(encoding="utf-8")
        text = text.replace('rmse = "2 cm"', f'rmse = "{rmse}"').replace("grounds = 1\n", "grounds = 100\n")
        text += "" if levels is None else f'[levels]\nfile = "{levels}"\n'
        site.write_text(text, encoding="utf-8")
        return findings_of(LotStages(open_lot(site)))

    return run


def share_with_fall(found: Findings) -> float:
    (line,) = found.plan.discharges
    return float(np.mean(np.array(line.on_grounds) >= 0.0))


def test_where_the_fall_is_clear_no_shot_is_asked_for(screened: Callable[..., Findings]) -> None:
    found = screened(98.0, "2 cm")
    assert found.plan.parts.fall.state == "sure"
    assert found.plan.level_shots == ()
    assert lot_tables(found, "us")["level_shots"].empty
    assert "level_shots.csv" not in lot_files(found, made_on=date(2025, 1, 1))


def test_a_fall_in_doubt_asks_for_the_shots_that_it_hangs_on(screened: Callable[..., Findings], tmp_path) -> None:
    plans = (screened(bottom, "12 cm") for bottom in (99.2, 99.15, 99.1, 99.05))
    found, odds = next((each, odds) for each in plans if 0.1 < (odds := share_with_fall(each)) < 0.9)
    plan = found.plan
    first, *others = plan.level_shots
    assert first.doubt_after is None
    assert others
    assert all(each.doubt_after < each.doubt_before for each in others)
    assert others[0].doubt_before == pytest.approx(min(odds, 1.0 - odds))
    # a fall has two ends, or binds where the line has least cover
    assert any(each.what.code in ("shot_bottom", "shot_line") for each in plan.level_shots[:2])
    # they head the site checks, and say what they are worth
    head = say(plan.site_checks[0], "us")
    assert head.startswith("Level shots that would settle most, in this order: shot-1, ")
    assert f"falls from {100 * others[0].doubt_before:.0f} to {100 * others[0].doubt_after:.0f} of 100" in head
    assert not any(each.startswith("Level shots that decide") for each in say_all(plan.site_checks, "us"))
    layer = lot_tables(found, "us")["level_shots"]
    assert list(layer["id"]) == [f"shot-{order}" for order in range(1, len(plan.level_shots) + 1)]
    marks = {each.name: each for each in lot_map(found, lot_tables(found, "us"), "us").layers}["level_shots"]
    assert [each.label for each in marks.features] == list(layer["id"])
    # what the crew writes in
    lot_files(found, made_on=date(2025, 1, 1))["level_shots.csv"](tmp_path / "shots.csv")
    rows = list(csv.DictReader((tmp_path / "shots.csv").read_text(encoding="utf-8").splitlines()))
    assert list(rows[0]) == ["point", "what", "easting", "northing", "backsight_ft", "foresight_ft"]
    for row, shape in zip(rows, layer.geometry, strict=True):
        assert (float(row["easting"]), float(row["northing"])) == pytest.approx((shape.x, shape.y), abs=1e-3)
        assert row["backsight_ft"] == row["foresight_ft"] == ""


def test_what_the_crew_wrote_in_is_read_back_and_settles_the_fall(
    screened: Callable[..., Findings], tmp_path: Path
) -> None:
    bottom, found = next(
        (low, each) for low in (99.2, 99.15, 99.1, 99.05) if (each := screened(low, "12 cm")).plan.level_shots
    )
    lot_files(found, made_on=date(2025, 1, 1))["level_shots.csv"](tmp_path / "level_shots.csv")
    book = tmp_path / "level_shots.csv"
    rows = list(csv.DictReader(book.read_text(encoding="utf-8").splitlines()))
    heights, instrument, foot = with_patio(bottom), 101.5, 0.3048
    rows.append(dict(rows[0]))
    for position, row in enumerate(rows):
        x, y = float(row["easting"]) - EAST, float(row["northing"]) - NORTH
        reading = (instrument - heights[int(ROWS - y / CELL), int(x / CELL)]) / foot
        row["foresight_ft" if position else "backsight_ft"] = f"{reading:.2f}"
    with book.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    again = screened(bottom, "12 cm", levels=book)
    assert "Level shots: shot-1, read again, closes within 0.00 ft." in say_all(again.warnings, "us")
    # the readings hang on the raster, so that heights stay in its datum
    assert np.nanmedian(np.abs(again.ground - found.ground)) < 0.03
    assert again.benchmark is not None
    assert again.benchmark.name["point"] == "shot-1"
    (before,), (after,) = found.plan.discharges, again.plan.discharges
    spread = [float(np.std(each.on_grounds)) for each in (before, after)]
    assert spread[1] < 0.7 * spread[0]
