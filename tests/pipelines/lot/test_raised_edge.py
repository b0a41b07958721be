"""The edge of a patio raised against water that runs over it, on made lots whose answer is known by construction."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely import box

from pipelines.layout.surface import raised_edge, surface_only
from pipelines.layout.surface.raised_edge import edge_raised
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from tests.pipelines.lot.conftest import CELL, write_lot
from tests.pipelines.lot.test_surface_works import MORE, PATIO, RAIN, places, plane, screened, shapes

PAVED_ABOVE = [
    {"geometry": PATIO, "kind": "patio", "protect": True},
    {"geometry": box(12.0, 32.0, 28.0, 37.0), "kind": "drive", "protect": False},
]
"""A patio with a drive on its upper side: no berm can stand there."""
INCH = 0.0254
RAISED_EDGE = {
    "raised_edge_freeboard": "4 in", "raised_edge_most": "3.2 in", "raised_edge_overlap": "2 m",
    "edging_rate": "1 ft/h",
}
"""Rules of a raised edge, each with a value that changes it."""


def staged(folder: Path, ground: np.ndarray, more: str = "", **layers: list[dict[str, Any]]) -> LotStages:
    site = write_lot(folder, ground, shapes(**{"hardscape": PAVED_ABOVE} | layers), more=MORE + RAIN + more)
    return LotStages(open_lot(site))


def test_a_raised_edge_alone_ends_what_runs_over_a_drive_at_a_patio(tmp_path: Path) -> None:
    findings = screened(tmp_path, plane(0.03), hardscape=PAVED_ABOVE)
    plan = findings.plan
    assert plan.surface.chosen
    assert [work.kind for work in plan.surface.works] == ["raised edge"]
    assert (plan.surface.state, plan.parts.cure.state) == ("sure", "sure")
    assert not plan.pipe_runs
    (edge,) = plan.surface.works
    # along the 8 m of upper side and a meter past either end at the most; the plane holds no pond, but for the fall
    # over a cell
    assert 8.0 < edge.length <= 10.0
    assert 3.0 * INCH <= edge.height <= 3.0 * INCH + 0.03 * 2.0 * CELL
    priced = [way.likely for way in plan.alternatives if way.likely is not None]
    assert priced
    assert all(plan.surface.likely < each for each in priced)
    # it is bought by length, laid by the hour, and takes no soil
    lines = {line.item: line for line in plan.take_off}
    assert lines["raised edging"].quantity == pytest.approx(edge.length)
    assert lines["labour, edging"].quantity == pytest.approx(edge.length / (5.0 * 0.3048) * 3600.0)
    assert "topsoil in place" not in lines
    balance = findings.balance
    assert balance.rain == pytest.approx(
        balance.infiltrated + balance.leaves + balance.stands + balance.collected, rel=1e-6
    )


def test_an_edge_is_raised_beside_the_paving_alone_and_as_high_as_its_pond_asks(tmp_path: Path) -> None:
    x, _ = places()
    # a trough towards the middle of the patio: water spills around the ends, 5 m from the middle and 0.009 x 5 m higher
    lot = staged(tmp_path, plane(0.03, 0.0) + 0.009 * np.abs(x - 20.0)).situation
    shaped = edge_raised(lot, lot.drainage.ground, "patio")
    assert shaped is not None
    more = shaped.ground.elevation - lot.drainage.ground.elevation
    rows, columns = np.nonzero(more > 1e-9)
    east, north = (columns + 0.5) * CELL, 60.0 - (rows + 0.5) * CELL
    assert (np.abs(north - 32.25) < 1.0).all()
    assert not ((east > 16.0) & (east < 24.0) & (north < 32.0)).any()
    assert np.allclose(more[rows, columns], shaped.work.height)
    assert shaped.work.height == pytest.approx(3.0 * INCH + 0.009 * 5.0, abs=0.015)


def test_an_edge_that_would_hold_water_back_onto_a_neighbor_is_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    x, _ = places()
    trough = plane(0.03, 0.0) + 0.009 * np.abs(x - 20.0)
    near = [{"geometry": box(5.0, 8.0, 35.0, 33.7)}]
    wide, narrow = (
        staged(tmp_path / name, trough, **layers).situation
        for name, layers in (("wide", {}), ("narrow", {"parcel": near}))
    )
    assert edge_raised(wide, wide.drainage.ground, "patio") is not None
    assert edge_raised(narrow, narrow.drainage.ground, "patio") is None
    # and it is the neighbor alone that speaks against it
    monkeypatch.setattr(raised_edge, "BACKED_UP", 1.0)
    assert edge_raised(narrow, narrow.drainage.ground, "patio") is not None


def test_an_edge_that_would_send_water_onto_a_neighbor_is_not_proposed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    x, _ = places()
    # beside the patio's east end the ground falls away to the lot's east line
    ground = plane(0.03) - 0.04 * np.clip(x - 24.5, 0.0, None)
    plan = staged(tmp_path / "held", ground).planned.plan
    assert plan.surface is None or not plan.surface.proposed
    monkeypatch.setattr(surface_only, "side_gains", lambda *_: ())
    free = staged(tmp_path / "free", ground).planned.plan.surface
    assert free.works
    east = next(row for row in free.sends if row[0] == "edge_e")
    assert east[4] > 1.01 * east[3]


def test_an_edge_whose_freeboard_is_less_than_the_lidars_error_is_not_sure(tmp_path: Path) -> None:
    site = write_lot(tmp_path, plane(0.03), shapes(hardscape=PAVED_ABOVE), more=MORE + RAIN)
    site.write_text(site.read_text().replace('rmse = "2 cm"', 'rmse = "8 cm"'))
    surface = LotStages(open_lot(site)).planned.plan.surface
    assert surface.state == "cannot_tell"
    assert not surface.chosen


@pytest.mark.parametrize("key", RAISED_EDGE)
def test_a_rule_of_a_raised_edge_acts(tmp_path: Path, key: str) -> None:
    told = []
    for number, rule in enumerate(("", f'[rules]\n{key} = "{RAISED_EDGE[key]}"\n')):
        surface = staged(tmp_path / str(number), plane(0.03), rule).planned.plan.surface
        edges = [] if surface is None else [work for work in surface.works if work.kind == "raised edge"]
        told.append([(work.height, work.length, surface.likely) for work in edges])
    (before,), after = told
    if key == "raised_edge_most":
        assert not after
        return
    (now,) = after
    moved = {"raised_edge_freeboard": (INCH, 0.0), "raised_edge_overlap": (0.0, 2.0), "edging_rate": (0.0, 0.0)}[key]
    assert now[0] - before[0] == pytest.approx(moved[0], abs=1e-6)
    assert now[1] - before[1] == pytest.approx(moved[1], abs=0.6)
    assert now[2] == pytest.approx(before[2]) if key == "raised_edge_freeboard" else now[2] > before[2]
