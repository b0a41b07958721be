"""The pass back to the lots: the town's water takes the place of a lot's own look, and what it changes is told."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from pyproj import CRS
from shapely import Point, box

from pipelines.deliverables.findings.town import LotPlanned, LotRecord, LotRow
from pipelines.deliverables.findings.town_swales import OutletTold
from pipelines.layout.swale.found_outfall import GivenWater, OutfallLook, OutfallState, with_given_water
from pipelines.town.swales.tailwater import planned_again, water_key, water_of_town
from terrain.grid import Frame
from terrain.reason import reason

FEET = Frame(CRS.from_epsg(2277), 1200.0 / 3937.0, 1200.0 / 3937.0, 1200.0 / 3937.0)
PLANNED = LotPlanned("gravity", "drains", "sure", "sure", "sure", "sure", 1.0, 2.0, 3.0)


def look(state: OutfallState = "cannot_tell") -> OutfallLook:
    return OutfallLook("outfall-1", Point(30.0, 60.0), state, reason("outfall_unsure", outfall="outfall-1", dam=None),
                       level=10.0, stage=np.array([9.0, 10.0]), step=30.0)  # fmt: skip


def given(state: OutfallState, *, off: float = 0.0) -> GivenWater:
    place = FEET.to_map(Point(30.0 + off, 60.0))
    return GivenWater(place, np.array([9.5, 11.0, 9.0]), 30.0, 90.0, state, reason("swale_within_reach"))


def test_the_towns_water_is_found_by_its_place_on_a_map_in_feet() -> None:
    (then,) = with_given_water([look()], [given("sure")], FEET)
    assert then.level == 11.0
    assert then.stage.tolist() == [9.5, 11.0, 9.0]
    assert then.submerged == 90.0
    (same,) = with_given_water([look()], [given("sure", off=0.8)], FEET)
    assert same.level == 10.0


@pytest.mark.parametrize(
    ("own", "towns", "then"),
    [("sure", "no", "no"), ("no", "sure", "no"), ("cannot_tell", "sure", "cannot_tell"), ("sure", "sure", "sure")],
)
def test_of_two_states_the_weaker_stands(own: OutfallState, towns: OutfallState, then: OutfallState) -> None:
    (found,) = with_given_water([look(own)], [given(towns)], FEET)
    assert found.state == then
    assert (found.why.code == "outfall_with_all_water") == (then != own)


def swales(state: str = "part", answer: str = "short") -> Any:
    """What a town's run found of an outlet of lot 7 and of one that belongs to none."""
    told: Any = (state, 11.0, 0.2, 600.0, answer, reason("swale_within_reach"), np.array([1.0, 2.0]), 30.0)
    own, nobodys = (
        OutletTold(name, FEET.to_map(Point(x, 2.0)), *told) for name, x in (("7/outfall-1", 1.0), ("outfall 3", 5.0))
    )
    return SimpleNamespace(built=SimpleNamespace(swales=(SimpleNamespace(outlets=(own, nobodys)),)))


def record(lot: str, **told: Any) -> LotRecord:
    return LotRecord(LotRow(lot, f"Lot {lot}", told.pop("status", "done"), box(0, 0, 1, 1), **told))


def test_only_lots_whose_outlets_are_submerged_get_the_towns_water() -> None:
    water = water_of_town(swales())
    assert list(water) == ["7"]
    assert water["7"][0].state == "no"
    assert FEET.from_map(water["7"][0].point).distance(Point(1.0, 2.0)) < 1e-9
    assert water_of_town(swales(state="free")) == {}
    assert water_of_town(SimpleNamespace(built=None)) == {}  # type: ignore[arg-type]


def test_the_key_of_a_pass_goes_with_its_water() -> None:
    one, other = water_of_town(swales()), water_of_town(swales(answer="takes_it"))
    assert water_key(one) == water_key(water_of_town(swales()))
    assert water_key(one) != water_key(other)


def test_what_the_second_plan_changed_is_told_and_the_rest_stays() -> None:
    before = (record("7", planned=PLANNED), record("8", planned=PLANNED))
    again = {"7": record("7", planned=replace(PLANNED, mode="pump", outfall="no"))}
    told = planned_again(before, again, swales(), "si")
    assert told[1] is before[1]
    assert told[0].row.planned is again["7"].row.planned
    assert "20 cm" in told[0].row.tailwater
    assert "outfall-1" in told[0].row.tailwater
    assert "drains pumped, before by gravity" in told[0].row.tailwater
    assert "outfall takes it no, before sure" in told[0].row.tailwater
    stays = planned_again(before, {"7": record("7", planned=PLANNED)}, swales(), "si")
    assert "its verdict stays" in stays[0].row.tailwater


def test_a_lot_whose_second_pass_failed_keeps_its_first_answer_and_says_so() -> None:
    before = (record("7", planned=PLANNED),)
    failed = {"7": record("7", status="failed", message="it ran over its time")}
    told = planned_again(before, failed, swales(), "us")
    assert told[0].row.planned is PLANNED
    assert told[0].row.status == "done"
    assert "it ran over its time" in told[0].row.tailwater
