"""A run after another in one process, with what was kept of it, answers as a run of its own: whatever was changed."""

import os

import geopandas as gpd
import pytest
import rasterio

from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.summary import summary
from pipelines.deliverables.unit_systems import unit_system
from pipelines.lot import screen_lot
from terrain.kept import keeping


def _answer(site):
    found = screen_lot(site)
    tables = lot_tables(found, unit_system(found.units))
    return repr(summary(found)), {name: table.to_csv() for name, table in tables.items() if name != "run_info"}


def _raised(folder):
    """One cell of the lot's ground 5 cm higher, in a file of the same size and time."""
    path = folder / "ground.tif"
    before = path.stat()
    with rasterio.open(path, "r+") as file:
        heights = file.read(1)
        heights[heights.shape[0] // 2, heights.shape[1] // 4] += 0.05
        file.write(heights, 1)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def _moved_patio(folder):
    patio = gpd.read_file(folder / "shapes.gpkg", layer="hardscape", engine="pyogrio")
    patio.geometry = patio.translate(-0.5, -0.25)
    patio.to_file(folder / "shapes.gpkg", layer="hardscape", engine="pyogrio")


def _other_rule(folder):
    site = folder / "site.toml"
    site.write_text(site.read_text() + '\n[rules]\npipe_wall_offset = "4 ft"\n')


@pytest.mark.parametrize("change", [_raised, _moved_patio, _other_rule, lambda folder: None])
def test_a_change_is_seen_and_the_rest_stays(tmp_path, made_lots, change):
    site = made_lots.write_lot(
        tmp_path, made_lots.small_ground(), made_lots.SMALL_LAYERS, more=made_lots.SMALL_MORE
    )
    with keeping():
        before = _answer(site)
        change(tmp_path)
        after = _answer(site)
    assert after == _answer(site)
    assert (after == before) == (change.__name__ == "<lambda>")
