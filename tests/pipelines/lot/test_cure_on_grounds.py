"""Works on the grounds that lidar allows: counted as the storm that is run on the likeliest, never more with less."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.deliverables.words.say import say
from pipelines.layout.catching.design_flows import run_with_works
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.cure_on_grounds import WorksOnGrounds
from pipelines.layout.cured import troubles_left
from pipelines.layout.diagnosis.diagnose import Diagnosis
from pipelines.layout.diagnosis.division import Division
from pipelines.layout.diagnosis.possible_troubles import soaks_on_lot
from pipelines.layout.diagnosis.protected import arriving_on_grounds
from pipelines.layout.parts import Part
from pipelines.layout.sizes import flows_that_catch, not_ended, share_ended
from pipelines.layout.two_catchings import with_flows
from pipelines.layout.verdict_parts import cure_on_grounds, cure_part
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from terrain.kernels.routing import met_on_way
from tests.pipelines.lot.conftest import SAMPLES, write_small_lot
from tests.quick_share import one_in

MUCH = 1.0
"""More than any storm brings to a small lot. [m3/s]"""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_small_lot(tmp_path_factory.mktemp("on_grounds"))


@pytest.fixture(scope="module")
def stages(site: Path) -> LotStages:
    return LotStages(open_lot(site, grounds=20))


@pytest.fixture(scope="module")
def wrong(stages: LotStages) -> Diagnosis:
    """What a basin at the patio can end."""
    found = stages.diagnosis
    return replace(found, troubles=tuple(each for each in found.troubles if each.name["name"] == "patio"))


@pytest.fixture(scope="module")
def sited(stages: LotStages):
    return with_flows(stages.inputs, stages.diagnosis, stages.sited.catching, stages.way_ground)


def counted(stages: LotStages, found: Diagnosis, sited, above: np.ndarray | None = None) -> WorksOnGrounds:
    """The siting on the lot's grounds, or on those that lie so much above the likeliest."""
    catching, division, ways = sited
    return on_grounds(stages, found, catching, division, ways.flows.flows, above)


def on_grounds(
    stages: LotStages, found: Diagnosis, catching: Catching, division: Division, flows: Mapping[str, float],
    above: np.ndarray | None,
) -> WorksOnGrounds:
    situation = stages.situation
    if above is not None:
        grounds = replace(situation.grounds, above=above)
        edges = arriving_on_grounds(situation.edges, situation.drainage, grounds)
        named = {(edge.kind, edge.name): edge for edge in edges}
        found = replace(found, troubles=tuple(
            each if each.edge is None else replace(each, edge=named[each.edge.kind, each.edge.name])
            for each in found.troubles
        ))  # fmt: skip
        situation = replace(situation, grounds=grounds, edges=edges)
    water = run_with_works(situation, stages.reckoning, found, catching, division, flows)
    works = WorksOnGrounds.of(situation, found, catching, water, soaks=soaks_on_lot(situation, stages.reckoning))
    assert works is not None
    return works


@pytest.fixture(scope="module")
def works(stages: LotStages, wrong: Diagnosis, sited) -> WorksOnGrounds:
    return counted(stages, wrong, sited)


def left_by_the_storm(stages: LotStages, found: Diagnosis, sited, flows: Mapping[str, float]) -> int:
    catching, division, _ = sited
    water = run_with_works(stages.situation, stages.reckoning, found, catching, division, flows)
    return not_ended(troubles_left(found, catching, division, water, stages.situation.rules))


def test_on_the_likeliest_ground_it_agrees_with_the_storm(stages: LotStages, wrong: Diagnosis, sited) -> None:
    same = np.zeros((2, *stages.situation.grounds.above.shape[1:]), dtype=np.float32)
    works = counted(stages, wrong, sited, same)
    assert not works.ended({}).any()
    assert left_by_the_storm(stages, wrong, sited, {})
    assert works.ended(dict.fromkeys(works.ids, MUCH)).all()
    # the least that ends it by either is the same but for what the peak of a pond's spill is flattened
    steps = [dict.fromkeys(works.ids, flow) for flow in np.linspace(0.0002, 0.006, 30)]
    by_storm = next(n for n, flows in enumerate(steps) if not left_by_the_storm(stages, wrong, sited, flows))
    by_count = next(n for n, flows in enumerate(steps) if works.ended(flows).all())
    assert abs(by_storm - by_count) <= 2


@pytest.mark.parametrize("name", one_in(4, ["lot_13", "lot_07", "lot_09", "lot_15"]))
def test_what_a_lot_s_plan_ends_it_ends_where_all_grounds_are_the_likeliest(name: str) -> None:
    stages = LotStages(open_lot(SAMPLES / f"{name}.toml", grounds=2))
    planned = stages.planned
    assert planned.plan.parts.cure.why.code == "cure_on_grounds"
    same = np.zeros_like(stages.situation.grounds.above)
    works = on_grounds(stages, stages.diagnosis, planned.built, planned.division, planned.capacities, same)
    assert works.ended(planned.capacities).all()
    assert not works.ended({}).any()


def test_a_ground_that_is_lifted_as_a_whole_changes_nothing(stages: LotStages, wrong: Diagnosis, sited) -> None:
    above = stages.situation.grounds.above
    works, lifted = counted(stages, wrong, sited, above), counted(stages, wrong, sited, above + np.float32(0.25))
    flows = dict.fromkeys(works.ids, 0.002)
    assert np.array_equal(works.ended(flows), lifted.ended(flows))
    assert works.comes_on(0.9) == pytest.approx(lifted.comes_on(0.9))


@given(data=st.data())
def test_works_that_take_more_end_it_wherever_those_do_that_take_less(works: WorksOnGrounds, data) -> None:
    flow = st.floats(0.0, 0.03)
    less = {name: data.draw(flow) for name in works.ids}
    more = {name: each + data.draw(flow) for name, each in less.items()}
    assert not np.any(works.ended(less) & ~works.ended(more))


def test_without_works_water_runs_as_it_arrives(stages: LotStages, wrong: Diagnosis, works: WorksOnGrounds) -> None:
    edges = [each.edge for each in wrong.troubles if each.edge is not None]
    unit = sum(row.hydrograph.peak for row in stages.water.runoff) / sum(row.area for row in stages.water.runoff)
    for number, ground in enumerate(works.grounds):
        runs = [float(edge.flow.sum()) for edge in ground.edges]
        assert runs == pytest.approx([edge.on_grounds[number] * unit for edge in edges], rel=0.05, abs=1e-9)


def test_larger_works_are_sought_for_what_comes_on_most_grounds(
    stages: LotStages, wrong: Diagnosis, sited, works: WorksOnGrounds
) -> None:
    catching, division, ways = sited
    found = flows_that_catch(stages.situation, stages.reckoning, wrong, catching, division, ways.flows, works)
    assert found is not None
    often, comes = works.comes_on(0.9), ways.flows.short
    for name, least in ways.flows.flows.items():
        assert least <= found.flows[name] <= least + max(often.get(name, 0.0), comes.get(name, 0.0))
    few, many = ways.flows.flows, found.flows
    assert left_by_the_storm(stages, wrong, sited, many) <= left_by_the_storm(stages, wrong, sited, few)
    assert share_ended(works, many) > share_ended(works, few)


@pytest.mark.parametrize("holds, state", [(100, "sure"), (90, "sure"), (89, "cannot_tell"), (0, "cannot_tell")])
def test_a_cure_is_sure_on_nine_of_ten_grounds_alone(holds: int, state: str) -> None:
    ended = np.arange(100) < holds
    cure = cure_on_grounds(cure_part(()), ended)
    assert (cure.state, cure.why["holds"], cure.why["grounds"]) == (state, holds, 100)
    assert f"on {holds} of the 100 grounds" in say(cure.why, "us")
    left = Part("no", "it leaves 40 gpm")
    assert cure_on_grounds(left, ended) is left


@pytest.mark.parametrize("seed", range(3))
def test_cells_that_are_met_are_those_a_graph_reaches(seed: int) -> None:
    rng = np.random.default_rng(seed)
    target = np.array([rng.integers(-1, cell) if cell else -1 for cell in range(200)])
    cells = rng.choice(200, 12, replace=False)
    graph = nx.DiGraph([(cell, int(after)) for cell, after in enumerate(target) if after >= 0])
    graph.add_nodes_from(range(200))
    met = met_on_way(target, cells)
    for row, cell in enumerate(cells.tolist()):
        reached = nx.descendants(graph, cell) | {cell}
        assert {int(each) for each in cells[met[row]]} == reached & set(cells.tolist())
