"""Basins that take what runs through their pond, where to drain what stands in time leaves trouble."""

from pathlib import Path

import pytest

from pipelines.deliverables.words.say import say
from pipelines.inputs.rules import load_rules
from pipelines.layout.catching.design_flows import run_with_works
from pipelines.layout.cured import troubles_left
from pipelines.layout.sizes import PARTS, flows_that_catch, not_ended
from pipelines.layout.two_catchings import with_flows
from pipelines.lot import findings_of, screen_lot
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from tests.pipelines.lot.conftest import write_small_lot


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_small_lot(tmp_path_factory.mktemp("catching"))


@pytest.fixture(scope="module")
def stages(site: Path) -> LotStages:
    return LotStages(open_lot(site))


def test_it_is_no_more_than_comes_and_ends_what_the_least_does_not(stages: LotStages) -> None:
    inputs, found = stages.inputs, stages.diagnosis
    catching, division, ways = with_flows(inputs, found, stages.sited.catching, stages.way_ground)
    least = ways.flows
    more = flows_that_catch(inputs.situation, inputs.reckoning, found, catching, division, least, None)
    assert more is not None

    def run(flows: dict[str, float]) -> tuple[int, dict[str, float]]:
        water = run_with_works(inputs.situation, inputs.reckoning, found, catching, division, flows)
        left = troubles_left(found, catching, division, water, inputs.situation.rules)
        return not_ended(left), {basin.id: water.arriving[basin.id].peak for basin in catching.basins}

    (before, comes), (after, _) = run(least.flows), run(more.flows)
    assert after < before
    (name,) = more.caught
    assert least.flows[name] < more.flows[name] <= comes[name]
    # a part less would do, and two parts less would not
    part = (comes[name] - least.flows[name]) / PARTS
    assert run(more.flows | {name: more.flows[name] - part})[0] == after
    if more.flows[name] - 2.0 * part > least.flows[name]:
        assert run(more.flows | {name: more.flows[name] - 2.0 * part})[0] > after


def test_both_sizes_are_told_and_the_larger_is_built_where_it_is_not_far_dearer(site: Path, stages: LotStages) -> None:
    larger = findings_of(stages)
    held = site.with_name("held.toml")
    held.write_text(f'{site.read_text()}\n[rules]\ncatches_extra = "0 %"\n')
    smaller = screen_lot(held)
    for found, catches in ((larger, True), (smaller, False)):
        (built,) = [size for size in found.plan.sizes if size.chosen]
        assert built.catches == catches
        assert built.likely == pytest.approx(sum(line.likely for line in found.plan.take_off))
        assert {size.catches for size in found.plan.sizes} == {True, False}
    (one,), (other,) = larger.plan.catch_basins, smaller.plan.catch_basins
    assert one.peak_flow > other.peak_flow
    assert one.peak_flow <= one.capacity
    assert "what runs to it in the design storm" in say(one.why, "us")
    assert "the hollow stores the rest" in say(other.why, "us")
    prices = {size.catches: size.likely for size in larger.plan.sizes}
    assert prices[True] <= (1.0 + load_rules()["catches_extra"].likely) * prices[False]
