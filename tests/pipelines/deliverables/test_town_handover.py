"""What a town hands over: the same lots in every file, texts of strangers as text, a page that asks for nothing."""

import csv
import io
import json
import re
import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
from pyproj import CRS
from shapely import Point, box

from pipelines.deliverables.files.layer_table import make_layer
from pipelines.deliverables.findings.lot import Caution
from pipelines.deliverables.findings.town import (
    LotDischarge,
    LotPlanned,
    LotRecord,
    LotRow,
    RunOnLink,
    TownFindings,
)
from pipelines.deliverables.town.answer import town_text
from pipelines.deliverables.town.handover import write_town
from pipelines.deliverables.town.page import town_page
from pipelines.layout.quantities.cautions import swale_cautions

UTM = CRS.from_epsg(32616)
WHEN = date(2025, 3, 4)
EVIL = "</script><img src=x onerror=alert(1)>"


def lot(number: int, **told: Any) -> LotRecord:
    """A lot of 20 by 30 m in a row of them, with one low spot."""
    west = 500_000.0 + 20.0 * number
    name = told.pop("name", f"Lot {number}")
    planned = told.pop("planned", None)
    row = LotRow(str(number), name, told.pop("status", "done"), box(west, 3_500_000.0, west + 20.0, 3_500_030.0),
                 area=600.0, need=told.pop("need", 10.0 * number), need_why="water stands by the house",
                 longest=3.0, deepest=0.1, street="Alder Row" if number < 3 else "Birch Row", planned=planned,
                 **told)  # fmt: skip
    spot = make_layer(
        "low_spots", "us", crs=UTM, geometry=[box(west + 5.0, 3_500_005.0, west + 9.0, 3_500_009.0)],
        **{name: [None] for name in SPOT} | {"id": ["low-1"], "on_parcel": [True], "within_lidar_error": [False],
                                             "depth": [0.1], "enclosed": [False]},
    )  # fmt: skip
    links = (RunOnLink("1", str(number), "edge_w", 50.0, 0.001, 2.0, Point(west, 3_500_010.0)),) if number > 1 else ()
    return LotRecord(row, links, layers={"low_spots": spot} if row.status == "done" else {})


SPOT = (
    "id", "contained_in", "on_parcel", "enclosed", "depth", "area", "volume", "spill_elevation", "stands",
    "within_lidar_error", "rank", "why", "stands_after", "storm_depth", "storm_depth_after", "storm_volume",
    "storm_volume_after", "spilled", "spilled_after", "depth_on_lot", "depth_on_lot_after", "area_on_lot",
    "volume_on_lot", "stands_on_lot", "stands_on_lot_after", "found_pct",
)  # fmt: skip
PIPED = LotPlanned("gravity", "Water stands at the patio. It drains by gravity. Likely cost 5,000.", "sure", "sure",
                   "cannot_tell", "sure", 3000.0, 5000.0, 9000.0,
                   (LotDischarge("outfall-1", "gravity", "sure", 0.3, None, 0.002),))  # fmt: skip


def town(**changed: Any) -> TownFindings:
    records = (lot(1, planned=PIPED), lot(2), lot(3, name=EVIL, need=80.0),
               lot(4, status="failed", message="the raster ends there", need=None))  # fmt: skip
    told: dict[str, Any] = {
        "name": "Alder Town", "version": "1", "units": "us", "crs": UTM, "depth": "plan", "grounds": 1,
        "records": records, "swales": None, "return_period": 10.0, "storm_depth": 0.1, "warnings": (),
        "cautions": tuple(Caution(name, text) for name, text in swale_cautions()),
    }  # fmt: skip
    return TownFindings(**told | changed)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    pytest.importorskip("pyarrow", reason="pyarrow comes with the extra `town`")
    place = tmp_path_factory.mktemp("town") / "out"
    write_town(town(), place, made_on=WHEN)
    return place


def test_every_file_holds_the_same_lots(folder: Path) -> None:
    layer = gpd.read_file(folder / "town.gpkg", layer="lots")
    assert list(layer["id"]) == ["1", "2", "3", "4"]
    rows = list(csv.DictReader(io.StringIO((folder / "lots.csv").read_text(encoding="utf-8"))))
    parquet = gpd.read_parquet(folder / "parquet" / "lots.parquet")
    for got in (rows, parquet.to_dict("records")):
        assert [row["id"] for row in got] == ["1", "2", "3", "4"]
    assert list(layer["status"]) == ["done", "done", "done", "failed"]
    assert [float(row["cost_likely"] or 0) for row in rows] == [5000.0, 0.0, 0.0, 0.0]
    assert parquet.crs == layer.crs == UTM
    assert parquet.geometry.geom_equals_exact(layer.geometry, 1e-6).all()
    # 0.1 m are 3.94 in, 600 m2 are 6,458 ft2
    assert float(rows[0]["deepest_in"]) == pytest.approx(3.94, abs=0.005)
    assert float(rows[0]["area_ft2"]) == pytest.approx(6458.0, abs=0.5)
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    assert summary["lots"]["failed"] == 1
    assert summary["not_finished"][0]["message"] == "the raster ends there"


def test_layers_of_lots_tell_their_lot_and_whom_water_comes_from(folder: Path) -> None:
    spots = gpd.read_file(folder / "town.gpkg", layer="low_spots")
    assert sorted(spots["lot"]) == ["1", "2", "3"]
    links = gpd.read_file(folder / "town.gpkg", layer="run_on_links")
    assert set(zip(links["from_lot"], links["to_lot"], strict=True)) == {("1", "2"), ("1", "3"), ("1", "4")}
    lines = links.geometry
    # drawn from the middle of the giver to the middle of the taker
    first = lines.iloc[0].coords[0]
    assert Point(first).within(box(500_020.0, 3_500_000.0, 500_040.0, 3_500_030.0))


def test_every_layer_is_there_and_described_though_it_be_empty(folder: Path) -> None:
    with closing(sqlite3.connect(folder / "town.gpkg")) as connection:
        told = dict(connection.execute("SELECT table_name, count(*) FROM gpkg_data_columns GROUP BY 1").fetchall())
        outputs = dict(connection.execute("SELECT key, value FROM run_info").fetchall())["outputs"].split(", ")
        assert connection.execute("SELECT count(*) FROM layer_styles WHERE f_table_name = 'lots'").fetchone() == (1,)
    for name in ("lots", "low_spots", "pipe_runs", "run_on_links", "full_places", "outlet_rises", "runoff",
                 "sent_to_swale", "street_balance", "lot_discharges"):  # fmt: skip
        assert told[name] > 0, name
        assert (folder / "parquet" / f"{name}.parquet").is_file()
    assert sorted(outputs) == sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*.*"))


def test_a_resumed_run_hands_over_the_same_and_over_its_own_result(folder: Path, tmp_path: Path) -> None:
    write_town(town(), tmp_path / "again", made_on=WHEN)
    for name in ("lots.csv", "runoff.csv", "summary.json", "town.html"):
        assert (tmp_path / "again" / name).read_bytes() == (folder / name).read_bytes()
    write_town(town(), tmp_path / "again", made_on=WHEN, overwrite=True)


def test_names_of_strangers_are_text_on_the_page() -> None:
    page = town_page(town(), made_on="2025-03-04")
    assert "<img" not in page
    data = json.loads(re.search(r'id="town-data">(.*?)</script>', page, re.DOTALL).group(1))  # type: ignore[union-attr]
    assert data["lots"][2]["name"].startswith("</script>")
    assert "http:" not in page.replace("http://www.w3.org", "")
    assert "https:" not in page


def test_outlines_on_the_page_are_the_lots_to_a_decimetre() -> None:
    page = town_page(town())
    data = json.loads(re.search(r'id="town-data">(.*?)</script>', page, re.DOTALL).group(1))  # type: ignore[union-attr]
    for each in data["lots"]:
        (steps,) = each["shape"]
        x, y, wide, high = steps[0], steps[1], 0, 0
        corners = [(x, y)]
        for at in range(2, len(steps), 2):
            x, y = x + steps[at], y + steps[at + 1]
            corners.append((x, y))
        wide = max(x for x, _ in corners) - min(x for x, _ in corners)
        high = max(y for _, y in corners) - min(y for _, y in corners)
        assert wide == pytest.approx(200, abs=1)
        assert high == pytest.approx(300, abs=1)


def test_the_terminal_names_what_a_reviewer_asks_first() -> None:
    text = town_text(town(), 80, "out", ["town.html", "lots.csv"])
    assert "3 of 4 lots finished; 1 failed" in text.replace("\n           ", " ")
    assert "town.html" in text
    assert "5,000" in text
    assert max(map(len, text.splitlines())) <= 80


def test_roofs_and_roads_of_the_sheet_lie_under_the_lots() -> None:
    """Of two roofs the one that is a mile off is left out."""
    roofs = gpd.GeoDataFrame(
        geometry=[box(500_025.0, 3_500_005.0, 500_035.0, 3_500_015.0), box(502_000.0, 0.0, 502_010.0, 9.0)], crs=UTM
    )
    roads = gpd.GeoDataFrame(geometry=[box(500_000.0, 3_499_980.0, 500_200.0, 3_499_999.9)], crs=UTM)
    page = town_page(town(roofs=roofs, roads=roads))
    data = json.loads(re.search(r'id="town-data">(.*?)</script>', page, re.DOTALL).group(1))  # type: ignore[union-attr]
    assert [(each["name"], len(each["features"])) for each in data["under"]] == [("right_of_way", 1), ("roofs", 1)]
    assert 'data-layer="right_of_way" checked' in page
    assert 'data-layer="roofs" checked' in page
    assert 'data-layer="roofs"' not in town_page(town())
