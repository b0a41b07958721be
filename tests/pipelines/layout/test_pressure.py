"""Pressure lines and sump places: cheapest by a general library's search, and by trying every place."""

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, box

from pipelines.layout.routing.field import field_from_arrays
from pipelines.layout.routing.graph import cell_steps, turn_costs
from pipelines.layout.routing.kernels.relax import bent_ways, spread_costs
from pipelines.layout.routing.pressure import route_pressure
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutePipe, RouteSpec
from pipelines.layout.routing.steps import STEPS, Crossing
from pipelines.layout.ways.sump_sites import site_sumps


@pytest.fixture(scope="module")
def spec(four_inch: RoutePipe) -> RouteSpec:
    return RouteSpec(pipes=(four_inch,))


@pytest.fixture(scope="module")
def discharge() -> RoutePipe:
    """1-1/2 in schedule 40: outside 1.900 in, wall 0.145 in (ASTM D1785, from memory)."""
    return RoutePipe("1-1/2 in", 0.04826, 0.00368, 0.0, 1.0, 5.0)


def test_it_runs_straight_and_uphill_under_its_cover(route_grid, spec, discharge) -> None:
    _, c = np.indices((15, 31))
    field = field_from_arrays(route_grid(15, 31), 100.0 + 0.03 * c, cover=0.2)
    outfall = OutfallTarget("ditch", Point(1030.5, 1992.5), 101.2)
    line = route_pressure(field, Point(1000.5, 1992.5), outfall, discharge, spec, cover=0.4)
    assert line.length == pytest.approx(30.0)
    assert line.fittings == ()
    np.testing.assert_allclose(line.ground[:-1] - line.inverts[:-1], 0.4 + discharge.crown, atol=0.051)
    assert line.inverts[-1] == 101.2


def test_it_goes_round_a_house_and_pays_for_paving_only_where_that_is_cheaper(route_grid, spec, discharge) -> None:
    surface = np.full((21, 31), 5.0)
    surface[:, 14:16] = 100.0
    surface[2:4, 14:16] = 5.0
    field = field_from_arrays(route_grid(21, 31), np.full((21, 31), 100.0), surface_cost=surface,
                              barred=box(1018.0, 1985.0, 1024.0, 1995.0))
    outfall = OutfallTarget("ditch", Point(1030.5, 1989.5), 100.0)
    line = route_pressure(field, Point(1002.5, 1989.5), outfall, discharge, spec)
    at_paving = np.interp(1015.0, line.xy[:, 0], line.xy[:, 1])
    assert 1996.0 <= at_paving <= 1998.0  # through the gap in the paving
    assert not shapely.intersects(box(1018.0, 1985.0, 1024.0, 1995.0), LineString(line.xy))


def test_it_dives_under_a_gas_line_in_its_way(route_grid, spec, discharge) -> None:
    gas = Crossing("gas", "gas", LineString([(1015.2, 1900), (1015.2, 2100)]), 50.0, 99.55, 0.15)
    field = field_from_arrays(route_grid(15, 31), np.full((15, 31), 100.0), crossings=(gas,))
    outfall = OutfallTarget("ditch", Point(1030.5, 1992.5), 100.1)
    line = route_pressure(field, Point(1000.5, 1992.5), outfall, discharge, spec)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line.xy, axis=0).T))])
    assert np.interp(14.7, along, line.inverts) + discharge.crown <= 99.4 + 1e-9
    assert line.crossings == ("gas",)


def test_no_way_is_no_line(route_grid, spec, discharge) -> None:
    field = field_from_arrays(route_grid(9, 9), np.full((9, 9), 100.0), barred=box(1004.0, 1990.0, 1005.0, 2001.0))
    outfall = OutfallTarget("ditch", Point(1008.5, 1995.5), 100.0)
    assert route_pressure(field, Point(1000.5, 1995.5), outfall, discharge, spec) is None


@given(seed=st.integers(0, 10_000))
def test_cheapest_ways_equal_those_of_a_general_library(seed: int, route_grid, spec) -> None:
    """Dijkstra's search of networkx over (cell, last step) beside our own."""
    rng = np.random.default_rng(seed)
    rows, columns = 6, 7
    allowed = rng.random((rows, columns)) < 0.8
    allowed[0, 0] = True
    field = field_from_arrays(route_grid(rows, columns), np.full((rows, columns), 100.0), allowed)
    onward, turn = cell_steps(field), turn_costs(spec, 16)
    costs = np.where(onward >= 0, rng.uniform(1.0, 9.0, onward.shape), np.inf)
    best, _ = bent_ways(onward, costs, turn, 0, backward=False)
    graph = nx.DiGraph()
    for cell in range(rows * columns):
        for d in range(len(STEPS)):
            to = onward[cell, d]
            if to < 0:
                continue
            if cell == 0:
                graph.add_edge("start", (to, d), weight=costs[cell, d])
            for e in range(len(STEPS)):
                if np.isfinite(turn[e, d]) and onward[cell, (e + 8) % 16] >= 0:
                    graph.add_edge((cell, e), (to, d), weight=costs[cell, d] + turn[e, d])
    known = nx.single_source_dijkstra_path_length(graph, "start") if "start" in graph else {}
    for cell in range(1, rows * columns):
        least = min((v for k, v in known.items() if k != "start" and k[0] == cell), default=np.inf)
        assert best[cell].min() == pytest.approx(least)
    start = np.full(rows * columns, np.inf)
    start[0] = 0.0
    flat = nx.DiGraph()
    flat.add_node(0)
    for cell in range(rows * columns):
        for d in range(len(STEPS)):
            to = int(onward[cell, d])
            if to >= 0:
                known_weight = flat.get_edge_data(cell, to, {"weight": np.inf})["weight"]
                flat.add_edge(cell, to, weight=min(known_weight, costs[cell, d]))
    lengths = nx.single_source_dijkstra_path_length(flat, 0)
    reached = spread_costs(onward, costs, start, backward=False, most=np.inf)
    for cell in range(rows * columns):
        assert reached[cell] == pytest.approx(lengths.get(cell, np.inf))


def test_the_low_basin_itself_becomes_the_sump_where_it_may(route_grid, spec, discharge) -> None:
    """A bowl: the lift is the outlet's level less what the sump takes in at."""
    r, c = np.indices((21, 21))
    field = field_from_arrays(route_grid(21, 21), 99.0 + 0.004 * ((r - 10) ** 2 + (c - 10) ** 2), cover=0.2)
    basin = Collector("basin", Point(1010.5, 1989.5), 98.6)
    outfall = OutfallTarget("ditch", Point(1020.5, 1989.5), 99.4)
    sites, unserved = site_sumps(field, [basin], outfall, spec, discharge, np.ones((21, 21), bool), deepest_inlet=0.6)
    assert unserved == ()
    (site,) = sites
    assert site.point.distance(basin.point) < 1e-9
    assert site.inflows == ()
    assert site.serves == ("basin",)
    assert outfall.level - site.inlet == pytest.approx(0.8)
    assert site.cost == pytest.approx(site.pressure.cost)


def test_what_ran_through_the_basin_that_becomes_the_sump_ends_in_the_sump(route_grid, spec, discharge) -> None:
    r, c = np.indices((21, 21))
    field = field_from_arrays(route_grid(21, 21), 99.0 + 0.004 * ((r - 10) ** 2 + (c - 10) ** 2), cover=0.2)
    low = Collector("low", Point(1010.5, 1989.5), 98.6, through=True)
    high = Collector("high", Point(1004.5, 1989.5), 98.9, through=True)
    outfall = OutfallTarget("ditch", Point(1020.5, 1989.5), 99.4)
    sites, unserved = site_sumps(
        field, [low, high], outfall, spec, discharge, np.ones((21, 21), bool), deepest_inlet=0.6, sump_cost=1e4
    )
    assert unserved == ()
    (site,) = sites
    assert site.point.distance(low.point) < 1e-9
    assert set(site.serves) == {"low", "high"}
    assert [(line.from_id, line.to_id) for line in site.inflows] == [("high", "sump-1")]


def test_lines_that_meet_where_the_sump_stands_end_in_the_sump(route_grid, spec, discharge) -> None:
    r, c = np.indices((21, 21))
    field = field_from_arrays(route_grid(21, 21), 99.0 + 0.004 * ((r - 10) ** 2 + (c - 10) ** 2), cover=0.2)
    basins = [Collector(f"basin-{k}", Point(x, 1989.5), 98.7, 0.0005) for k, x in enumerate((1003.5, 1017.5))]
    middle = np.zeros((21, 21), bool)
    middle[10, 10] = True
    outfall = OutfallTarget("ditch", Point(1010.5, 1998.5), 99.8)
    sites, unserved = site_sumps(
        field, basins, outfall, spec, discharge, middle, deepest_inlet=0.9, sump_cost=1e4
    )
    assert unserved == ()
    (site,) = sites
    assert set(site.serves) == {"basin-0", "basin-1"}
    assert sorted((line.from_id, line.to_id) for line in site.inflows) == [
        ("basin-0", "sump-1"), ("basin-1", "sump-1")
    ]
    assert site.inlet == min(line.inverts[-1] for line in site.inflows)


@pytest.mark.parametrize("power", [None, Point(1001.0, 1999.0)])
def test_a_sump_stands_where_lines_and_power_together_cost_least(route_grid, spec, discharge, power) -> None:
    """Every place tried on its own costs no less than the one chosen, grid against grid."""
    ground = np.full((9, 12), 100.0)
    field = field_from_arrays(route_grid(9, 12), ground, cover=0.2, surface_cost=5.0)
    places = np.zeros((9, 12), bool)
    places[2:7:2, 2:9:3] = True
    basins = [Collector("a", Point(1001.5, 1998.5), 99.6), Collector("b", Point(1001.5, 1992.5), 99.6)]
    outfall = OutfallTarget("ditch", Point(1011.5, 1995.5), 100.0)
    options = {"deepest_inlet": 0.6, "sump_cost": 1500.0, "power": power, "power_cost": 40.0}
    (best,), _ = site_sumps(field, basins, outfall, spec, discharge, places, **options)
    costs = {}
    for r, c in zip(*np.nonzero(places), strict=True):
        only = np.zeros_like(places)
        only[r, c] = True
        (site,), _ = site_sumps(field, basins, outfall, spec, discharge, only, **options)
        costs[int(r), int(c)] = site.cost
    # lines are straightened after the place was chosen on the grid
    assert best.cost <= min(costs.values()) * 1.05
    assert set(best.serves) == {"a", "b"}
    assert all(line.to_id in {"sump-1", *(other.id for other in best.inflows)} for line in best.inflows)


def test_no_place_is_said(route_grid, spec, discharge) -> None:
    field = field_from_arrays(route_grid(9, 12), np.full((9, 12), 100.0))
    basin = Collector("a", Point(1001.5, 1998.5), 99.6)
    sites, unserved = site_sumps(field, [basin], OutfallTarget("o", Point(1011.5, 1995.5), 100.0), spec, discharge,
                                 np.zeros((9, 12), bool), deepest_inlet=0.6)
    assert sites == ()
    assert unserved == ("a",)
