"""Works on the surface together with pipes, on a made lot: a berm takes the hill's water, a small basin the patio's."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely import Point

from pipelines.deliverables.lot.layers import lot_tables
from pipelines.layout.surface import with_pipes as soil
from pipelines.layout.surface.with_pipes import with_pipes
from pipelines.lot import screen_lot
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from tests.pipelines.lot.conftest import CELL, write_lot
from tests.pipelines.lot.test_surface_works import MORE, PATIO, RAIN, WIDE, shapes

HIGH = 140.0
"""A hillside of 100 m above a patio with a low of its own. [m]"""
SWALE = [{"geometry": Point(20.0, 4.0), "kind": "swale", "level_m": 99.4}]
GALLON_PER_MINUTE = 6.309e-5
WITH_PIPES = {"surface_less_flow": "95 %", "surface_saving": "60 %"}
"""Rules of both together, each with a value at which pipes alone are proposed where they end as much."""
TRENCH = '\n[rules]\nsiting_less_left = "0 %"\n'
"""Any less that runs on is worth a trench, so that pipes alone have one."""


def hillside() -> np.ndarray:
    row, column = np.mgrid[0:round(HIGH / CELL), 0:round(WIDE / CELL)]
    x, y = (column + 0.5) * CELL, HIGH - (row + 0.5) * CELL
    knoll = 0.6 * np.exp(-((x - 29.0) ** 2 + (y - 15.0) ** 2) / 30.0)
    return 100.0 + 0.02 * y - 0.005 * x + knoll - 0.12 * np.exp(-((x - 20.0) ** 2 + (y - 29.5) ** 2) / 4.0)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_lot(tmp_path_factory.mktemp("lot"), hillside(), shapes(outfalls=SWALE), more=MORE + RAIN)


@pytest.fixture(scope="module")
def trench(site: Path) -> Path:
    changed = site.with_name("trench.toml")
    changed.write_text(site.read_text() + TRENCH)
    return changed


@pytest.fixture(scope="module")
def both(trench: Path) -> Any:
    return screen_lot(trench)


@pytest.fixture(scope="module")
def alone(trench: Path) -> Any:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(soil, "with_pipes", lambda *given: (None, None))
        return screen_lot(trench)


def test_a_berm_and_a_small_basin_cost_less_than_a_trench(both: Any, alone: Any) -> None:
    plan, other = both.plan, alone.plan
    assert plan.surface.with_pipes.chosen
    assert plan.surface.proposed
    assert not plan.surface.chosen
    assert [work.kind for work in plan.surface.works] == ["berm"]
    # the berm turns aside what comes over 8 m of patio from 100 m of hill: the patio's own rain is a few gpm, as
    # 40 m2 x 76 mm/h is 13 gpm, less what the hollow stores
    carried = sum(run.peak_flow for run in plan.pipe_runs if run.from_id.startswith("basin"))
    assert carried < 13.0 * GALLON_PER_MINUTE
    assert PATIO.area * 0.0762 / 3600.0 == pytest.approx(13.4 * GALLON_PER_MINUTE, rel=0.01)
    most = sum(run.peak_flow for run in other.pipe_runs if run.from_id.startswith(("basin", "drain")))
    assert most > 3.0 * carried
    cost, dearer = (sum(line.likely for line in each.take_off) for each in (plan, other))
    assert cost < 0.95 * dearer
    assert plan.surface.with_pipes.likely == pytest.approx(cost)
    assert plan.surface.with_pipes.pipes_alone == pytest.approx(dearer)
    # a trench of stone takes an eighth of what the hill sends over the edge, which the berm turns aside
    assert (plan.parts.cure.state, other.parts.cure.state) == ("sure", "no")
    (running,) = other.parts.cure.why["left"]
    (past,) = other.parts.cure.why["past"]
    (drain,) = other.french_drains
    assert past["takes"] == pytest.approx(drain.peak_flow)
    (onto,) = (each["flow"] for each in past["reaches"])
    assert onto == pytest.approx(past["comes"] - past["takes"])
    assert onto <= running["flow"] < 1.01 * onto


def test_the_take_off_holds_soil_and_pipe_and_the_crew_comes_once(both: Any, alone: Any) -> None:
    amounts = {line.item: line.quantity for line in both.plan.take_off}
    assert len(amounts) == len(both.plan.take_off)
    (berm,) = both.plan.surface.works
    assert amounts["topsoil in place"] == pytest.approx(berm.fill)
    assert amounts["seed and straw"] == pytest.approx(berm.area)
    assert amounts["mobilisation"] == 1.0
    assert any(item.endswith("SDR-35 pipe") for item in amounts)
    assert "topsoil in place" not in {line.item for line in alone.plan.take_off}
    assert lot_tables(both, "si")["surface_works"]["proposed"].all()
    assert not lot_tables(alone, "si")["surface_works"]["proposed"].any()


def test_the_storms_are_run_on_the_lot_with_its_berm(both: Any, alone: Any) -> None:
    balance = both.balance
    assert balance.rain == pytest.approx(
        balance.infiltrated + balance.leaves + balance.stands + balance.collected, rel=1e-6
    )
    # what the berm keeps from the pipe leaves over the ground instead
    assert balance.collected < 0.5 * alone.balance.collected
    assert balance.leaves > alone.balance.leaves
    (row,) = [each for each in both.edges if each.kind == "paving" and each.storm.design]
    # the hollow fills to its rim either way; with both it drains within the 2 h that are tolerated, and a film is left
    assert row.depth_after <= row.depth
    assert row.time_after < 2.0 * 3600.0 < row.time


@pytest.mark.parametrize("key", [None, *WITH_PIPES])
def test_where_pipes_alone_end_as_much_what_both_spare_decides(
    trench: Path, key: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    changed = trench.with_name(f"{key}.toml")
    changed.write_text(trench.read_text() + ("" if key is None else f'{key} = "{WITH_PIPES[key]}"\n'))

    def ended(inputs: Any, found: Any, laid: Any, *rest: Any) -> Any:
        # as if the trench ended all
        return with_pipes(inputs, found, replace(laid, left=()), *rest)

    monkeypatch.setattr(soil, "with_pipes", ended)
    plan = LotStages(open_lot(changed)).planned.plan
    assert plan.surface.proposed == (key is None)
    told = plan.surface.with_pipes
    assert (told.likely is None) == (key == "surface_less_flow")
    assert told.pipes_alone is not None


def test_both_are_proposed_where_they_end_more_whatever_they_cost(site: Path, both: Any) -> None:
    plan = LotStages(open_lot(site)).planned.plan
    told = plan.surface.with_pipes
    assert told.chosen
    assert plan.surface.proposed
    # a basin alone leaves the hill's water on the patio, and a trench an eighth less of it at far more
    assert told.likely > told.pipes_alone
    assert told.pipes_alone < 0.8 * both.plan.surface.with_pipes.pipes_alone
    assert told.left == ()


def test_nobody_is_sure_of_a_cure_where_the_window_stopped_short_of_the_hill(site: Path) -> None:
    changed = site.with_name("short.toml")
    changed.write_text(site.read_text() + "\n[rules]\nlargest_window = 10000\n")
    plan = LotStages(open_lot(changed)).planned.plan
    assert (plan.parts.cure.state, plan.parts.cure.why.code) == ("cannot_tell", "looked_no_farther")
    assert plan.parts.verdict == "cannot_tell"


def test_pipes_that_would_let_water_stand_higher_than_today_are_not_proposed(site: Path) -> None:
    stages = LotStages(open_lot(site))
    standing = stages.diagnosis.water.standing
    # as if hardly any water stood today
    standing.update({name: replace(pool, depth=0.0) for name, pool in standing.items()})
    plan = stages.planned.plan
    assert plan.surface.with_pipes.why.code == "surface_stands_deeper"
    assert not plan.surface.proposed
