"""Lots of a town: each as `lotshed screen` finds it, kept and read again, and failing alone."""

from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from numpy.testing import assert_array_equal

from pipelines.deliverables.findings.town import LotRecord
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.town.partitions import Partitions
from pipelines.deliverables.town.record_text import made, plain
from pipelines.inputs.town_file import read_town_file
from pipelines.lot import findings_of
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from pipelines.town.alone import Limits, try_alone
from pipelines.town.dealing import Deal
from pipelines.town.job import LotTask, TownJob, do_lot, screen_lot_of
from pipelines.town.keys import asked_key
from pipelines.town.lot_answer import answer_lot
from pipelines.town.town_lots import find_lots, neighbors_of
from terrain.errors import GroundError
from terrain.reading.mosaic import mosaic_text

SAMPLE = Path(__file__).parents[3] / "sample_data"
TOWN = SAMPLE / "town.toml"


@pytest.fixture(scope="module")
def town():
    return read_town_file(TOWN, mosaic=Path("unused.vrt"))


@pytest.fixture(scope="module")
def lots(town):
    return {lot.name: lot for lot in find_lots(town.site).lots}


@pytest.fixture(scope="module")
def record(town, lots):
    return do_lot(TownJob(town.site, "ground", False, "key"), LotTask(lots["Lot 7"], 1))


def own_site(place: Path, lot: str, outfalls: str) -> Path:
    """The town's file as a person writes it for one lot."""
    text = TOWN.read_text().replace('name = "Claywick Hills"\n', "")
    for key in ("file", "table", "curve"):
        text = text.replace(f'{key} = "', f'{key} = "{SAMPLE}/')
    text = text.replace('layer = "parcels"', f'layer = "parcels"\nwhere = "fid = {lot}"')
    text = text.replace('layer = "outfalls"', f'layer = "outfalls"\nwhere = "{outfalls}"')
    before, _, after = text.partition("[swales]")
    place.write_text(before + "[roofs]" + after.partition("[roofs]")[2])
    return place


@pytest.mark.parametrize("name", ["Lot 7", "Lot 14", "Lot 17"])
def test_a_lot_on_shared_ground_is_what_a_screen_of_it_finds(town, lots, tmp_path, name):
    lot = lots[name]
    job = TownJob(town.site, "ground", False, "key")
    record = do_lot(job, LotTask(lot, 1))
    shapes = gpd.read_file(SAMPLE / "neighbourhood.gpkg", layer="outfalls", fid_as_index=True)
    near = shapes[shapes.distance(lot.parcel) <= town.site.rules["outfall_reach"].likely]
    numbers = ", ".join(str(each) for each in near.index) or "-1"
    where = f"fid IN ({numbers})" if len(near) else "fid > 0"
    stages = LotStages(open_lot(own_site(tmp_path / "lot.toml", lot.id, where), grounds=1))
    alone = answer_lot(stages, lot.id, "ground", neighbors_of(town.site, stages.situation.grid)).record
    assert record.row.status == "done"
    alone = replace(alone, row=replace(alone.row, seconds=record.row.seconds, inputs_key=record.row.inputs_key))
    assert plain(replace(record, reads=())) == plain(alone)


def test_a_record_is_read_as_it_was_written(record, tmp_path):
    again = made(LotRecord, plain(record))
    assert again.row == record.row
    assert again.links == record.links
    for one, other in zip(again.outflows, record.outflows, strict=True):
        assert_array_equal(one.flow, other.flow)
        assert (one.id, one.place, one.storm, one.step) == (other.id, other.place, other.storm, other.step)
    for name, table in record.layers.items():
        pd.testing.assert_frame_equal(
            pd.DataFrame(again.layers[name]), pd.DataFrame(table).reset_index(drop=True), check_column_type=False
        )
    kept = Partitions(tmp_path / "town.lots")
    kept.prepare()
    kept.write(record, "a" * 64, "b" * 64, gpd.GeoSeries([record.row.parcel], crs=32617).crs)
    assert kept.finished() == {kept.place(record.row.lot, "a" * 64, "b" * 64).name}
    assert kept.read(record.row.lot, "a" * 64, "b" * 64).row == record.row
    opened = gpd.read_parquet(kept.place(record.row.lot, "a" * 64, "b" * 64))
    assert opened["need"].iloc[0] == record.row.need


def test_what_a_cut_short_write_leaves_is_cleared_away(tmp_path):
    kept = Partitions(tmp_path / "town.lots")
    kept.prepare()
    left = kept.folder / "lots" / ".half.part"
    left.write_bytes(b"half")
    kept.note({"lot": "7", "how": "worker"})
    with kept.attempts.open("a") as file:
        file.write('{"lot": "8", "ho')
    kept.prepare()
    assert not left.exists()
    assert not kept.finished()
    assert [line["lot"] for line in kept.noted()] == ["7"]


def test_a_fault_of_one_lot_is_its_row(town, lots):
    odd = town.site.model_copy(update={"rain": town.site.rain.model_copy(update={"table": Path("nowhere.csv")})})
    found = do_lot(TownJob(odd, "ground", False, "odd"), LotTask(lots["Lot 7"], 1))
    assert found.row.status == "failed"
    assert "nowhere.csv" in found.row.message
    assert found.row.parcel == lots["Lot 7"].parcel


def test_a_lot_that_takes_too_long_by_itself_is_ended(town, lots):
    job = TownJob(town.site, "ground", False, "key")
    record, message = try_alone(job, LotTask(lots["Lot 7"], 1), Limits(time=0.2))
    assert record is None
    assert "longer" in message


def test_every_lot_is_dealt_once_and_a_lost_workers_lots_come_back(lots):
    tasks = [LotTask(lot, 1) for lot in lots.values()]
    deal = Deal(tasks, 2)
    first = [deal.next("one").lot.id for _ in range(3)]
    second = [deal.next("two").lot.id for _ in range(3)]
    deal.drop("one")
    rest = []
    while (task := deal.next("two")) is not None:
        rest.append(task.lot.id)
    assert sorted([*first, *second, *rest]) == sorted(task.lot.id for task in tasks)


def test_keys_change_with_what_is_asked_and_not_with_which_lots(town):
    site = town.site
    key = asked_key(site, "ground", 1)
    assert asked_key(site, "plan", 1) != key
    assert asked_key(site, "ground", 20) != key
    less = site.model_copy(update={"parcel": site.parcel.model_copy(update={"where": "lot < 4"})})
    assert asked_key(less, "ground", 1) == key


def test_tiles_read_as_one_raster(tmp_path):
    import numpy as np
    import rasterio
    from affine import Affine

    heights = np.arange(48, dtype="float32").reshape(6, 8)
    paths = []
    for number, columns in enumerate((slice(0, 5), slice(5, 8))):
        path = tmp_path / f"tile{number}.tif"
        part = heights[:, columns]
        with rasterio.open(
            path, "w", driver="GTiff", width=part.shape[1], height=6, count=1, dtype="float32", crs=32617,
            transform=Affine(1, 0, 700000 + columns.start, 0, -1, 3300006), nodata=-9999,
        ) as file:  # fmt: skip
            file.write(part, 1)
        paths.append(path)
    mosaic = tmp_path / "mosaic.vrt"
    mosaic.write_text(mosaic_text(paths))
    with rasterio.open(mosaic) as file:
        assert_array_equal(file.read(1), heights)
        assert file.nodata == -9999
    with rasterio.open(tmp_path / "coarse.tif", "w", driver="GTiff", width=3, height=3, count=1, dtype="float32",
                       crs=32617, transform=Affine(2, 0, 700000, 0, -2, 3300006), nodata=-9999) as file:  # fmt: skip
        file.write(np.zeros((3, 3), dtype="float32"), 1)
    with pytest.raises(GroundError, match="cell size"):
        mosaic_text([*paths, tmp_path / "coarse.tif"])


@pytest.mark.thorough
def test_at_the_depth_plan_each_layer_equals_a_screens(town, lots):
    job = TownJob(town.site, "plan", False, "plan")
    answer = screen_lot_of(job, LotTask(lots["Lot 7"], 5))
    assert answer.findings is not None
    tables = lot_tables(answer.findings, "us")
    assert set(answer.record.layers) <= set(tables)


def test_findings_stay_as_they_are_without_the_kernels_peer(tmp_path):
    stages = [LotStages(open_lot(SAMPLE / "lot_10.toml", grounds=1), beside_pysheds=each) for each in (True, False)]
    one, other = (each.drainage for each in stages)
    assert_array_equal(one.filled, other.filled)
    assert_array_equal(one.accumulation, other.accumulation)
    assert findings_of(stages[0]).plan.verdict == findings_of(stages[1]).plan.verdict


def test_a_lot_holds_as_long_as_what_it_read_is_the_same(town, lots, record, tmp_path):
    """A change far off leaves it, one beside it does not."""
    again = replace(LotTask(lots["Lot 7"], 1), known=record.reads)
    job = TownJob(town.site, "ground", False, "again")
    assert {read.key for read in record.reads} >= {"elevation", "parcel", "roofs", "downspouts"}
    assert do_lot(job, again) is None
    roofs = gpd.read_file(town.site.roofs.file, layer=town.site.roofs.layer, fid_as_index=True)
    number = roofs.distance(lots["Lot 7"].parcel).idxmin()
    for name, off in (("far", 400.0), ("near", 0.2)):
        moved = roofs.loc[[number]].set_geometry(roofs.loc[[number]].translate(off, 0.0))
        moved.index = moved.index if name == "near" else roofs.index[-1:] + 1
        edited = pd.concat([roofs.drop(moved.index, errors="ignore"), moved]).rename_axis("fid")
        edited.to_file(tmp_path / f"{name}.gpkg", layer="roofs")
        table = town.site.roofs.model_copy(update={"file": tmp_path / f"{name}.gpkg", "layer": "roofs"})
        held = do_lot(TownJob(town.site.model_copy(update={"roofs": table}), "ground", False, name), again)
        assert (held is None) == (name == "far")
