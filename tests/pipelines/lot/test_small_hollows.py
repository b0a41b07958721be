"""Small hollows of a lawn, on made ground: topped up where they are what is wrong, however little soil that takes."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from shapely import Point

from pipelines.deliverables.words.say import say
from pipelines.layout.surface import surface_only
from pipelines.layout.surface import with_pipes as soil
from pipelines.layout.surface.earthworks import filled
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from terrain.reason import reason
from terrain.unit_table import FOOT
from tests.pipelines.lot.conftest import write_lot
from tests.pipelines.lot.test_surface_works import MORE, RAIN, places, plane, shapes

LEAST = 0.2
"""Soil under which moving it is no work of its own, by the trade's table. [m3]"""
SWALE = [{"geometry": Point(20.0, 4.0), "kind": "swale", "level_m": 98.0}]
PUDDLE = 0.16
"""How deep the lawn's hollow is under its plane. [m]"""


def dent(x: float, y: float, deep: float, wide: float) -> np.ndarray:
    across, up = places()
    return np.asarray(deep * np.exp(-((across - x) ** 2 + (up - y) ** 2) / wide))


def lawn_hollow() -> np.ndarray:
    """South of the patio and clear of the house, under a metre across."""
    return dent(13.25, 20.25, PUDDLE, 0.6)


def wet_patio() -> np.ndarray:
    """A hollow at the patio as well, which no barrow fills."""
    return np.asarray(plane(0.01) - lawn_hollow() - dent(20.0, 29.5, 0.35, 9.0))


def planned(folder: Path, ground: np.ndarray, more: str = "", **layers: Any) -> Any:
    kept = {name: rows for name, rows in shapes(outfalls=SWALE, **layers).items() if rows}
    return LotStages(open_lot(write_lot(folder, ground, kept, more=MORE + RAIN + more)))


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A lot with no trouble but the hollow: a gentle plane that nothing crosses the patio on."""
    ground = plane(0.01) - lawn_hollow()
    return planned(tmp_path_factory.mktemp("lot"), ground, hardscape=[], complaints=[])


@pytest.fixture(scope="module")
def with_patio(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The same hollow on a lot whose patio holds water that pipes must drain."""
    return planned(tmp_path_factory.mktemp("lot"), wet_patio())


def test_a_hollow_that_is_all_that_is_wrong_is_topped_up_and_priced(alone: Any) -> None:
    (trouble,) = alone.diagnosis.troubles
    plan = alone.planned.plan
    spot = trouble.spot.spot
    assert spot.volume < LEAST
    (work,) = plan.surface.works
    assert (work.kind, plan.surface.chosen, plan.surface.state) == ("fill", True, "sure")
    # the soil is the hollow's own volume
    assert work.fill == pytest.approx(spot.volume, rel=0.01)
    assert work.height == pytest.approx(spot.depth, rel=0.01)
    assert (plan.parts.cure.state, plan.parts.verdict) == ("sure", "sure")
    lines = {line.item: line for line in plan.take_off}
    assert lines["topsoil in place"].quantity == pytest.approx(work.fill)
    assert lines["topsoil in place"].likely > 0.0
    assert lines["labour, soil"].likely > 0.0
    assert sum(line.likely for line in plan.take_off) == pytest.approx(plan.surface.likely)
    # a wheelbarrow takes some 3 ft3, common practice
    loads = int(np.ceil(work.fill / (3.0 * FOOT**3)))
    assert f"of soil ({loads} barrow load" in say(work.why, "us")
    assert f"{work.fill:.2f} m3 of soil ({loads} barrow load" in say(work.why, "si")


def test_the_topped_up_hollow_is_gone_and_its_run_off_balances(with_patio: Any) -> None:
    low = next(each.spot for each in with_patio.diagnosis.troubles if each.name.code == "place_lawn"
               and each.spot.spot.volume < LEAST)  # fmt: skip
    lot = with_patio.planned
    plan = lot.plan
    assert plan.pipe_runs
    assert plan.surface.with_pipes.chosen
    fill = next(work for work in plan.surface.works if work.kind == "fill")
    assert fill.fill == pytest.approx(low.spot.volume, rel=0.01)
    # its soil is on the same take-off as the pipes
    assert {"topsoil in place", "seed and straw"} <= {line.item for line in plan.take_off}
    # nothing stands there, on the ground or in the storm
    ground = lot.reshaped.situation
    assert not any(np.isin(spot.cells, low.spot.cells).any() for spot in ground.counted_spots)
    before, after = with_patio.diagnosis.water, lot.water
    assert before.standing[low.spot.id].depth > 0.05
    assert after.standing[low.spot.id].depth == 0.0
    assert after.rain == pytest.approx(before.rain, rel=1e-9)
    for water in (before, after):
        assert abs(water.balance) < 1e-6 * water.rain


def test_what_the_hollow_held_leaves_over_the_ground(alone: Any) -> None:
    (trouble,) = alone.diagnosis.troubles
    before, after = alone.diagnosis.water, alone.planned.water
    pool = before.standing[trouble.spot.spot.id]
    held = pool.infiltrated + pool.final_volume
    assert held > 0.5 * trouble.spot.spot.volume
    assert after.left - before.left == pytest.approx(held, rel=0.2)
    assert sum(each.volume for each in after.leaving.values()) == pytest.approx(after.left, rel=1e-6)
    assert abs(after.balance) < 1e-6 * after.rain


def test_it_is_topped_up_beside_pipes_where_other_soil_works_are_in_doubt(
    with_patio: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert {work.kind for work in with_patio.planned.plan.surface.works} == {"fill", "berm"}
    # as if the berm stood less high than lidar can tell: no smaller pipes rest on it
    monkeypatch.setattr(soil, "in_doubt", lambda lot, _: any(work.kind == "berm" for work in lot.works))
    plan = planned(tmp_path, wet_patio()).planned.plan
    assert [work.kind for work in plan.surface.works] == ["fill"]
    assert plan.surface.with_pipes.chosen
    assert not any(left.code == "left_standing" for left in plan.surface.with_pipes.left)


def test_soil_that_would_send_water_onto_a_neighbor_is_not_brought(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(surface_only, "side_gains", lambda *_: ("edge_e",))
    plan = planned(tmp_path, plane(0.01) - lawn_hollow(), hardscape=[], complaints=[]).planned.plan
    assert plan.surface is None
    assert plan.parts.cure.state != "sure"


def test_a_barrow_or_two_beside_paving_are_still_no_work(with_patio: Any) -> None:
    lot = with_patio.situation
    low = next(each for each in with_patio.diagnosis.troubles if each.spot is not None
               and each.spot.spot.volume < LEAST)  # fmt: skip
    assert filled(lot, lot.drainage.ground, low) is not None
    beside = replace(low, spot=replace(low.spot, place="paving"))
    assert filled(lot, lot.drainage.ground, beside) is None


def test_the_patio_s_own_low_is_told_and_priced_as_relaying_not_as_soil(with_patio: Any) -> None:
    found = with_patio.diagnosis
    patio = next(each for each in found.troubles if each.spot is not None and each.spot.place == "paving")
    work = SimpleNamespace(kind="fill", why=reason("surface_fill", place=patio.name, beside=True))
    (told,) = surface_only._relaid(with_patio.inputs, found, [work])
    assert told["area"] == patio.spot.area_under(found.water.standing[patio.spot.spot.id].depth)
    # 14 a square foot, common practice, with overhead and profit of 35 % and a contingency of 15 %
    assert told["area"] > 20.0
    assert told["likely"] == pytest.approx(told["area"] / FOOT**2 * 14.0 * 1.35 * 1.15)
    assert told["low"] < told["likely"] < told["high"]
    text = say(told, "us")
    assert "Poured concrete cannot be relaid" in text
    assert "soil (" not in text
    # soil that lies in lawn alone asks for no paving
    lawn = SimpleNamespace(kind="fill", why=reason("surface_fill", place=patio.name, beside=False))
    assert not list(surface_only._relaid(with_patio.inputs, found, [lawn]))
