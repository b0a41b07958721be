"""Works on the surface alone, on made lots whose answer is known by construction."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely import Point, box
from shapely.affinity import translate

from pipelines.layout.surface import surface_only
from pipelines.layout.surface.earthworks import swale_aside
from pipelines.lot import screen_lot
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from tests.pipelines.lot.conftest import CELL, EAST, NORTH, SAMPLES, write_lot

WIDE, HIGH = 40.0, 60.0
LOT = box(5.0, 8.0, 35.0, 45.0)
PATIO = box(16.0, 27.0, 24.0, 32.0)
RAIN = '[rain]\ndepth = "3 in"\nduration = "60 min"\n'
MORE = '[house]\nfoundation = "slab"\n\n[soil]\ngroup = "C"\n\n'


def places() -> tuple[np.ndarray, np.ndarray]:
    row, column = np.mgrid[0:round(HIGH / CELL), 0:round(WIDE / CELL)]
    return (column + 0.5) * CELL, HIGH - (row + 0.5) * CELL


def plane(slope: float, across: float = 0.005) -> np.ndarray:
    """Ground that falls south all the way and a little to the east, the house on a knoll that sheds water."""
    x, y = places()
    knoll = 0.6 * np.exp(-((x - 29.0) ** 2 + (y - 15.0) ** 2) / 30.0)
    return 100.0 + slope * y - across * x + knoll


def shapes(**more: list[dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    return {
        "parcel": [{"geometry": LOT}],
        "roofs": [{"geometry": box(26.0, 12.0, 32.0, 18.0)}],
        "hardscape": [{"geometry": PATIO, "kind": "patio", "protect": True}],
        "right_of_way": [{"geometry": box(0.0, 0.0, WIDE, 8.0)}],
        "outfalls": [{"geometry": Point(20.0, 4.0), "kind": "swale", "level_m": 90.0}],
        "complaints": [{"geometry": Point(20.0, 31.0), "what": "water runs over the patio"}],
    } | more


def screened(folder: Path, ground: np.ndarray, more: str = MORE, **layers: list[dict[str, Any]]) -> Any:
    return screen_lot(write_lot(folder, ground, shapes(**layers), more=more + RAIN))


def test_a_berm_alone_ends_what_runs_at_a_patio_on_a_plane(tmp_path: Path) -> None:
    findings = screened(tmp_path, plane(0.03))
    plan = findings.plan
    assert plan.surface is not None
    assert plan.surface.chosen
    assert plan.surface.state == "sure"
    assert [work.kind for work in plan.surface.works] == ["berm"]
    assert not plan.pipe_runs
    assert not plan.catch_basins
    (berm,) = plan.surface.works
    # between the patio and the ground above it, and within the lot
    assert PATIO.distance(_in_plan(berm.shape)) < 2.0
    assert PATIO.intersection(_in_plan(berm.shape)).area < 1e-6
    assert (plan.parts.cure.state, plan.parts.fall.state, plan.parts.verdict) == ("sure", "not_needed", "sure")
    # cheaper than any line
    priced = [way.likely for way in plan.alternatives if way.likely is not None]
    assert priced
    assert all(plan.surface.likely < each for each in priced)
    # no neighbor gets more: all that is turned aside leaves over the street's edge, and the balance closes
    for side, _, _, before, after in plan.surface.sends:
        assert side == "edge_s" or after <= before + 0.19
    balance = findings.balance
    assert balance.rain == pytest.approx(
        balance.infiltrated + balance.leaves + balance.stands + balance.collected, rel=1e-6
    )


def test_a_berm_that_would_send_water_onto_a_neighbor_is_not_proposed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # the ground falls east so much that what is turned aside leaves over the east edge
    ground = plane(0.03, across=0.012)
    # no edging is as low as that: else it ends what runs at the patio and sends nothing on
    no_edge = MORE + '[rules]\nraised_edge_most = "1 in"\n'
    plan = screened(tmp_path / "held", ground, no_edge).plan
    assert plan.surface is None or not plan.surface.chosen
    assert plan.pipe_runs
    # and it is that edge alone that speaks against it
    monkeypatch.setattr(surface_only, "side_gains", lambda *_: ())
    free = screened(tmp_path / "free", ground, no_edge).plan.surface
    assert free.chosen
    east = next(row for row in free.sends if row[0] == "edge_e")
    assert east[4] > 1.5 * east[3]


@pytest.mark.parametrize(("rule", "years"), [("", 2.0), ('neighbor_storms = ["25 yr", "100 yr"]\n', 25.0)])
def test_the_storms_of_the_rule_are_held_against_the_neighbors(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, rule: str, years: float
) -> None:
    folder = tmp_path / "lot"
    more = MORE + f'[rain]\ntable = "rain.csv"\nreturn_period = "10 yr"\n\n[rules]\nraised_edge_most = "1 in"\n{rule}'
    site = write_lot(folder, plane(0.03), shapes(), more=more)
    (folder / "rain.csv").write_text((SAMPLES / "rain.csv").read_text())
    rains: list[float] = []

    def gains_but_in_the_design_storm(before: Any, *_: Any) -> tuple[str, ...]:
        rains.append(before.rain)
        return ("edge_e",) if abs(before.rain - rains[0]) > 1e-6 * rains[0] else ()

    monkeypatch.setattr(surface_only, "side_gains", gains_but_in_the_design_storm)
    refused = screen_lot(site).plan.surface.refused
    assert (refused.code, refused["years"]) == ("surface_sends_on", years)


def test_a_deep_low_is_not_ended_by_the_surface(tmp_path: Path) -> None:
    x, y = places()
    bowl = 0.35 * np.exp(-((x - 20.0) ** 2 + (y - 29.5) ** 2) / 9.0)
    plan = screened(tmp_path, plane(0.01) - bowl).plan
    assert plan.catch_basins
    assert plan.surface is None or (plan.surface.state == "no" and plan.surface.left and not plan.surface.chosen)


@pytest.mark.parametrize("floor", [None, 101.2])
def test_soil_never_comes_nearer_to_the_floor_than_the_trade_keeps_it(tmp_path: Path, floor: float | None) -> None:
    # a house on a plane, a hollow of 12 cm along its upper wall
    x, y = places()
    house = box(14.0, 22.0, 24.0, 30.0)
    hollow = 0.12 * np.exp(-((y - 31.0) ** 2) / 1.0) * ((x > 13.0) & (x < 25.0))
    roof: dict[str, Any] = {"geometry": house} | ({} if floor is None else {"floor_m": floor})
    plan = screened(
        tmp_path, 100.0 + 0.02 * y - hollow, roofs=[roof],
        hardscape=[{"geometry": box(6.0, 9.0, 8.0, 11.0), "kind": "drive"}],
        complaints=[{"geometry": Point(19.0, 31.0), "what": "stands at the wall"}],
    ).plan
    assert plan.surface is not None
    soil = [work for work in plan.surface.works if work.kind == "regrade"]
    assert soil
    assert soil[0].why["known"] == (floor is not None)
    if floor is None:
        # nobody knows how high soil may come
        assert plan.surface.state != "sure"




OWN_SWALE = {"own_swale_bottom": "3 ft", "own_swale_side": "20 %"}
"""Rules of a swale of one's own, each with a value at which more is dug."""


@pytest.mark.parametrize("key", OWN_SWALE)
def test_a_wider_or_flatter_swale_takes_more_digging_and_never_raises_ground(tmp_path: Path, key: str) -> None:
    dug = []
    for number, rule in enumerate(("", f"[rules]\n{key} = \"{OWN_SWALE[key]}\"\n")):
        folder = tmp_path / str(number)
        stages = LotStages(open_lot(write_lot(folder, plane(0.02), shapes(), more=MORE + RAIN + rule)))
        lot = stages.situation
        way = np.array([[EAST + 10.0, NORTH + 40.0], [EAST + 10.0, NORTH + 14.0]])
        found = swale_aside(lot, lot.drainage.ground, way, np.array([100.55, 100.0]))
        assert found is not None
        assert (found.ground.elevation <= lot.drainage.ground.elevation).all()
        removed = (lot.drainage.ground.elevation - found.ground.elevation).sum() * CELL**2
        assert found.work.cut == pytest.approx(removed, rel=0.01)
        dug.append(found.work.cut)
    assert dug[1] > 1.1 * dug[0]


def _in_plan(shape: Any) -> Any:
    return translate(shape, -EAST, -NORTH)
