"""Ponds' hours against the water in the outfall: one that makes them miss their hours does not take the storm."""

from dataclasses import replace

import numpy as np
import pytest

from pipelines.deliverables.words.say import say
from pipelines.layout.cured import troubles_left
from pipelines.layout.outfall_hours import LotWithWorks, held_back, with_outfall_water
from pipelines.layout.quantities.quantities import Works
from pipelines.layout.swale.found_outfall import OutfallLook
from pipelines.layout.ways.way_values import Way
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from terrain.reason import reason

STEP = 60.0


@pytest.fixture(scope="module")
def lot(tmp_path_factory, made_lots):
    """A small lot that gravity drains, with its way."""
    stages = LotStages(open_lot(made_lots.write_small_lot(tmp_path_factory.mktemp("hours"))))
    planned = stages.planned
    assert planned.plan.pipe_runs
    assert not planned.plan.sumps
    way = Way(
        "gravity", True, works=Works(pipe_runs=planned.plan.pipe_runs), served=planned.served,
        capacities=planned.capacities,
    )
    run_on = LotWithWorks(
        stages.situation, stages.reckoning, planned.diagnosis, planned.built, planned.division
    )
    return run_on, run_on.storm(way.capacities, {}), way


def look(way: Way, level: float, hours: float, error: float = 0.05, **more) -> OutfallLook:
    """An outfall whose water stands at a level for some hours from the storm's beginning."""
    (outfall,) = set(way.served.values())
    low = min(run.invert_down for run in way.works.pipe_runs) - 1.0
    stage = np.full(96 * 60, low)
    stage[: int(hours * 60)] = level
    base = OutfallLook(outfall, None, "sure", reason("outfall_on_own_ground"), level, error, stage=stage, step=STEP)
    return replace(base, **more)


def rim_of(lot) -> float:
    return max(float(np.min(site.ground)) for site in lot[0].served.basins)


def test_a_free_outlet_changes_nothing(lot) -> None:
    run_on, free, way = lot
    low = look(way, min(run.invert_down for run in way.works.pipe_runs), 10.0)
    assert held_back(way.works.pipe_runs, way.served, [low]) == {}
    found = with_outfall_water(run_on, free, way, (low,))
    assert found.water is free
    assert found.looks == (low,)


@pytest.mark.parametrize(("hours", "state"), [(0.2, "sure"), (60.0, "no")])
def test_an_outfall_that_stands_over_the_grates_for_long_does_not_take_the_storm(lot, hours: float, state: str) -> None:
    run_on, free, way = lot
    rules = run_on.situation.rules
    # with a free outlet a pond keeps its hours
    left = troubles_left(run_on.found, run_on.served, run_on.division, free, rules)
    assert any(each.ended and each.trouble.spot is not None for each in left)
    (found,) = with_outfall_water(run_on, free, way, (look(way, rim_of(lot) + 0.5, hours),)).looks
    assert found.state == state
    if state == "no":
        assert found.why.code == "outfall_holds_back"
        assert "the line carries less" in say(found.why, "us")


def test_nobody_can_tell_within_the_lidars_error_or_above_a_suspected_culvert(lot) -> None:
    run_on, free, way = lot
    high = look(way, rim_of(lot) + 0.5, 60.0, error=5.0)
    (found,) = with_outfall_water(run_on, free, way, (high,)).looks
    assert found.state == "cannot_tell"


def test_the_longer_it_stands_the_longer_the_pond_does(lot) -> None:
    run_on, free, way = lot
    level = rim_of(lot) + 0.5
    stood = []
    for hours in (0.0, 2.0, 6.0, 12.0):
        water = with_outfall_water(run_on, free, way, (look(way, level, hours),)).water
        assert water.balance == pytest.approx(0.0, abs=1e-6 * water.rain)
        stood.append(max(pool.time_over(0.02) for pool in water.standing.values()))
    assert stood == sorted(stood)
    assert stood[-1] > stood[0] + 4.0 * 3600.0
