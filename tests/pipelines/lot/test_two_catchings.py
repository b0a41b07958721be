"""A trench with basins at its lows and the basin alone: both laid out, priced and told, one proposed."""

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely import Point, box
from shapely.affinity import translate

from pipelines.deliverables.findings.lot import Findings
from pipelines.layout.quantities.take_off import total_cost
from pipelines.lot import screen_lot
from tests.pipelines.lot.conftest import CELL, EAST, NORTH, SAMPLES, SMALL_LAYERS, SMALL_MORE, small_ground, write_lot
from tests.screened_samples import screened

PATIO = box(11.2, 19.2, 18.8, 21.8)
LAYERS = SMALL_LAYERS | {
    "hardscape": [{"kind": "patio", "protect": True, "geometry": PATIO}],
    "complaints": [{"what": "stands on the patio", "geometry": Point(15.1, 20.5)}],
}


@cache
def planned(extra: str) -> Findings:
    """The small lot with its patio in a flat hollow, and with what a trench may cost over a basin cut into it."""
    with TemporaryDirectory() as folder:
        more = SMALL_MORE + f'\n[rules]\ntrench_extra = "{extra}"\n'
        return screen_lot(write_lot(Path(folder) / "lot", sunken(), LAYERS, more=more))


def sunken() -> np.ndarray:
    """A level 8 in below the lawn that reaches 3 ft past the patio, lowest in the patio's middle by an inch."""
    ground = small_ground()
    rows, columns = np.indices(ground.shape)
    x, y = (columns + 0.5) * CELL, 30.0 - (rows + 0.5) * CELL
    away = shapely.distance(PATIO, shapely.points(x, y))
    middle = np.hypot(x - 15.0, y - 20.5)
    floor = 100.36 + 0.025 * np.minimum(middle / 3.0, 1.0) + 0.3 * np.maximum(away - 0.9, 0.0)
    return np.minimum(ground, floor)


def test_each_siting_is_told_at_the_price_of_the_plan_that_it_makes() -> None:
    with_stone, without = planned("400 %"), planned("0 %")
    told = {each.kind: each for each in with_stone.plan.caught_by}
    assert told.keys() == {"trench", "basin"}
    assert (told["trench"].chosen, told["basin"].chosen) == (True, False)
    assert [each.kind for each in without.plan.caught_by if each.chosen] == ["basin"]
    assert with_stone.plan.french_drains
    assert not without.plan.french_drains
    for found, kind in ((with_stone, "trench"), (without, "basin")):
        assert told[kind].likely == pytest.approx(total_cost(found.plan.take_off).likely)
        assert told[kind].ended == (found.plan.parts.cure.state == "sure")
    # stone is not free
    assert told["trench"].likely > told["basin"].likely
    assert told["trench"].length == pytest.approx(sum(drain.length for drain in with_stone.plan.french_drains))


def test_a_trench_lies_beside_the_paving_and_falls_into_the_basin_at_its_low() -> None:
    found = planned("400 %")
    (roof,) = [row["geometry"] for row in LAYERS["roofs"]]
    patio, walls = (translate(shape, EAST, NORTH) for shape in (PATIO, roof))
    basins = {basin.id: basin for basin in found.plan.catch_basins}
    fed = [drain for drain in found.plan.french_drains if drain.drains_to in basins]
    assert fed
    for drain in fed:
        basin, line = basins[drain.drains_to], shapely.force_2d(drain.line)
        stone = shapely.buffer(line, drain.width / 2, cap_style="flat")
        assert shapely.area(shapely.intersection(stone, patio)) == pytest.approx(0.0, abs=1e-6)
        # no saw cut: neither stone nor basin stands in the patio
        assert not shapely.intersects(patio, basin.point)
        # a footing's plane at 45 degrees, from a 12 in footing to the bottom of a 3 ft trench (rules of the trade)
        assert shapely.distance(stone, walls) >= 0.6 - 1e-6
        inverts = np.array([z for _, _, z in drain.line.coords])
        assert (np.diff(inverts) <= 1e-9).all()
        assert inverts[-1] > basin.invert_elevation
        assert shapely.distance(shapely.Point(line.coords[-1]), basin.point) < 0.5


def test_the_sunken_patio_gets_stone_along_its_edge_with_basins_led_to_a_lift() -> None:
    plan = screened("lot_11").plan
    (sump,) = plan.sumps
    taken = {sump.id, *(basin.id for basin in plan.catch_basins)}
    stone = [drain for drain in plan.french_drains if drain.why.code == "trench_in_pond"]
    assert stone
    assert {drain.drains_to for drain in stone} <= taken
    trench, basin = plan.caught_by
    assert (trench.kind, trench.chosen) == ("trench", True)
    # what stands drains in time, but more comes through the pond than may run over the patio
    assert (trench.ended, trench.passes) == (False, True)
    assert basin.kind == "basin"
    assert basin.likely < trench.likely
    # every downspout stands above the swale: none of them is lifted
    (pumped,) = [each for each in plan.discharges if each.mode == "pump"]
    assert not any(name.startswith("downspout") for name in pumped.serves)


def test_a_drive_that_falls_to_a_garage_gets_a_grated_channel_before_the_door() -> None:
    plan = screened("garage_lot").plan
    (channel,) = plan.channel_drains
    (complaint,) = gpd.read_file(SAMPLES / "garage_lot.gpkg", layer="complaints").geometry
    (drive,) = gpd.read_file(SAMPLES / "garage_lot.gpkg", layer="hardscape").geometry
    # across the paving, before the door
    assert shapely.covers(shapely.buffer(drive, 0.01), channel.line)
    assert shapely.distance(channel.line, complaint) < 1.5
    assert not plan.french_drains
    # on the likeliest ground, and on most of the others
    cure = plan.parts.cure.why
    assert cure.code == "cure_on_grounds"
    assert cure["holds"] > 0.5 * cure["grounds"]


def test_a_basin_that_the_site_gives_stands_where_it_is_given(tmp_path: Path) -> None:
    given = Point(14.0, 21.0)
    more = f"{SMALL_MORE}\n[layout]\nbasins = [[{EAST + given.x}, {NORTH + given.y}]]\n"
    plan = screen_lot(write_lot(tmp_path / "lot", small_ground(), SMALL_LAYERS, more=more)).plan
    (basin,) = plan.catch_basins
    assert basin.point.distance(translate(given, EAST, NORTH)) < 1e-6
    assert not plan.french_drains
