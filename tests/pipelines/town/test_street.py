"""The sample street's swales with the water of its lots, held against the swale check and the lots' own runs."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
from shapely.ops import substring

from pipelines.deliverables.findings.town import LotOutletLine, LotPlanned, LotRecord, LotRow, Outflow
from pipelines.deliverables.findings.town_swales import SwalesRecord, TownSwales
from pipelines.deliverables.town.record_text import made, plain
from pipelines.inputs.site_ground import open_site
from pipelines.layout.swale.case import culverts_beside, swales_of
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from pipelines.town.lot_flows import links_of, outflows_of, outlets_of, piped_of
from pipelines.town.swales import street as street_module
from pipelines.town.swales.answer import failed_swales, swales_record
from pipelines.town.swales.cut_ground import Box
from pipelines.town.swales.street import route_street
from pipelines.town.swales.task import SwalesTask
from terrain.reason import Reason
from tests.screened_samples import checked

SAMPLES = Path(__file__).parents[3] / "sample_data"
PLANNED = LotPlanned("gravity", "drains", "sure", "sure", "sure", "sure", 1.0, 2.0, 3.0)


def parcels() -> gpd.GeoDataFrame:
    table = gpd.read_file(SAMPLES / "neighbourhood.gpkg", layer="parcels")
    return table.assign(lot=table["lot"].astype(str))


@pytest.fixture(scope="module")
def seventh() -> LotStages:
    return LotStages(open_lot(SAMPLES / "lot_07.toml", grounds=1))


@pytest.fixture(scope="module")
def street(seventh: LotStages) -> TownSwales:
    """Lot 7 with its improvements, the others as parcels alone."""
    records = []
    for row in parcels().itertuples():
        if row.lot == "7":
            answer = LotRow("7", "Lot 7", "done", row.geometry, planned=PLANNED)
            flows = outflows_of(seventh, "7", planned=True)
            records.append(LotRecord(answer, (), flows, outlets_of(seventh), piped_of(seventh)))
        else:
            records.append(LotRecord(LotRow(row.lot, f"Lot {row.lot}", "done", row.geometry)))
    routed = route_street(open_site(SAMPLES / "swale.toml", several_parcels=True), records, router=kept)
    assert routed is not None
    return routed


def kept(tasks: Iterator[SwalesTask], count: int) -> Iterator[SwalesRecord]:
    """Each group's record as it comes back from disk."""
    for task in tasks:
        record = made(SwalesRecord, json.loads(json.dumps(plain(swales_record(task)))))
        assert record.status == "done", record.message
        yield record


def test_run_on_by_giver_and_side_tiles_all_of_it(seventh: LotStages) -> None:
    links = links_of(seventh, "7", seventh.frame.from_map(parcels()))
    lot = seventh.situation
    run_on = float((lot.studied & ~lot.on_parcel).sum()) * lot.grid.cell_area
    assert sum(each.area for each in links) == pytest.approx(run_on)
    assert {each.from_lot for each in links} <= {"", *parcels()["lot"]} - {"7"}
    ran_off = sum(row.hydrograph.volume for row in seventh.water.runoff if row.run_on)
    assert sum(each.volume for each in links) == pytest.approx(ran_off, rel=1e-9)


def test_what_leaves_a_lot_is_what_its_own_run_let_out(seventh: LotStages) -> None:
    flows = outflows_of(seventh, "7", planned=True)
    design = seventh.reckoning.rain.return_period
    volume = {built: sum(float(each.flow.sum()) * each.step for each in flows
                         if each.built is built and each.storm == design and not each.id.startswith("past-"))
              for built in (False, True)}  # fmt: skip
    assert volume[False] == pytest.approx(seventh.water.left)
    after = seventh.planned.water
    assert volume[True] == pytest.approx(after.left + after.collected)


def test_the_balance_closes_in_every_storm_and_case(street: TownSwales) -> None:
    assert {(each.swale, each.built) for each in street.balances} == {
        ("swale-1", False), ("swale-2", False), ("swale-1", True), ("swale-2", True)
    }  # fmt: skip
    assert max(each.left_over for each in street.balances) < 1e-9


def test_as_the_lots_are_they_and_the_road_send_what_the_swale_check_has_come(street: TownSwales) -> None:
    alone = checked("swale")
    for found in alone.swales:
        balance = next(
            each for each in street.balances
            if each.swale == found.site.id and each.storm == alone.return_period and not each.built
        )  # fmt: skip
        assert balance.sent == pytest.approx(float(found.flow.side.sum()), rel=1e-6)
        # low spots on the way hold some of it back
        assert balance.arrives <= float(found.flow.volume[-1]) * (1.0 + 1e-9)


def test_what_lots_send_adds_up_to_the_balance(street: TownSwales) -> None:
    design = street.balances[0].storm
    for balance in street.balances:
        if balance.storm != design:
            continue
        own = [each for each in street.sent if each.swale == balance.swale]
        lots = sum(each.surface_built if balance.built else each.surface for each in own if each.lot)
        assert lots == pytest.approx(balance.lots_surface)
        if balance.built:
            assert sum(each.works for each in own) == pytest.approx(balance.lots_works)


def test_pipes_of_one_lot_change_the_swale_below_its_outlet_alone(street: TownSwales) -> None:
    rises = {each.outlet: each for each in street.rises}
    own = next(each for each in street.rises if each.lot == "7")
    assert own.swale == "swale-1"
    others = [each.rise for each in rises.values() if each.swale == "swale-2"]
    assert others
    assert max(map(abs, others)) == 0.0
    works = [each for each in street.balances if each.built and each.swale == "swale-1"]
    assert min(each.lots_works for each in works) > 0.0


def test_a_large_discharge_lifts_the_swale_and_makes_it_full_at_its_lot(street: TownSwales) -> None:
    swale = street.now.swales[0]
    place = swale.line.interpolate(0.5, normalized=True)
    records = [LotRecord(LotRow(row.lot, f"Lot {row.lot}", "done", row.geometry)) for row in parcels().itertuples()]
    design = street.balances[0].storm
    flow = np.full(2880, 1.0)
    records[0] = LotRecord(
        LotRow("1", "Lot 1", "done", records[0].row.parcel, planned=PLANNED), (),
        (Outflow("1", "out", "works", True, place, design, 30.0, flow),),
        (LotOutletLine("out", "swale", place, 1.0, True, None, "", 0.0),),
    )  # fmt: skip
    routed: Any = route_street(open_site(SAMPLES / "swale.toml", several_parcels=True), records)
    rise = next(each for each in routed.rises if each.lot == "1")
    assert rise.rise > 0.2
    full = [each for each in routed.full if each.built and each.storm == design and each.swale == swale.id]
    assert full
    assert max(each.over for each in full) > 0.2
    assert any(each.station_from - 10.0 <= swale.line.project(place) <= each.station_to + 10.0 for each in full)
    assert max(each.left_over for each in routed.balances) < 1e-9


def bare() -> list[LotRecord]:
    return [LotRecord(LotRow(row.lot, f"Lot {row.lot}", "done", row.geometry)) for row in parcels().itertuples()]


def test_swales_that_fail_are_rows_and_the_others_go_on() -> None:
    def router(tasks: Iterator[SwalesTask], count: int) -> Iterator[SwalesRecord]:
        for task in tasks:
            lost = replace(task, spots=()) if task.id == "swale-1" else task
            yield failed_swales(task, "set aside", aside=True) if task.id == "swale-2" else swales_record(lost)

    opened = swales_of(open_site(SAMPLES / "swale.toml", several_parcels=True), culverts_beside)
    short = substring(opened.lines[0], 0.0, 1.0)
    opened = replace(
        opened, lines=[*opened.lines, short], names=[*opened.names, "short swale"],
        culverts=[*opened.culverts, opened.culverts[0][:0]],
    )  # fmt: skip
    routed: Any = route_street(opened, bare(), router=router)
    assert [each.status for each in routed.now.swales] == ["failed", "set_aside", "failed"]
    table = routed.tables["swales"]
    assert list(table["id"]) == ["swale-1", "swale-2", "swale-3"]
    assert table["message"][0].startswith("a defect of lotshed: ValueError")
    assert table["message"][1] == "set aside"
    assert "shorter than" in table["message"][2]
    assert any(isinstance(each, Reason) and each.code == "town_swales_failed" for each in routed.now.warnings)
    assert table["answer"].isna().all()
    assert len(routed.tables["stations"]) == 0


def test_a_swale_on_the_ground_that_drains_to_it_is_the_one_on_all_ground(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[list[Any]] = []

    def router(tasks: Iterator[SwalesTask], count: int) -> Iterator[SwalesRecord]:
        several = list(tasks)
        keys = [task.key("asked") for task in several]
        assert len(set(keys)) == len(keys)
        told.append([plain(replace(swales_record(task), seconds=0.0)) for task in several])
        cells.append([task.case.ground.elevation.size for task in several])
        return (failed_swales(task, "not wanted") for task in several)

    cells: list[list[int]] = []
    opened = open_site(SAMPLES / "swale.toml", several_parcels=True)
    route_street(opened, bare(), router=router)
    monkeypatch.setattr(
        street_module, "_boxes",
        lambda street, groups: [Box(0, 0, *street.seeds.shape) for _ in groups],
    )  # fmt: skip
    route_street(opened, bare(), router=router)
    assert told[0] == told[1]
    assert max(cells[0]) < min(cells[1])
