"""The search held against one that tries every cell, direction and invert, and against plain enumeration.

The twin below knows nothing of the kernel: it writes out every state (cell, way out, invert on a 5 cm lattice) and
every step between two of them as an explicit graph, lets scipy find the cheapest ways in it, and tries every state as
the place of a junction (Dreyfus and Wagner, "The Steiner problem in graphs", Networks 1, 1971, written out in full).
"""

from itertools import product
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra
from shapely import LineString, Point

from pipelines.layout.routing.field import RouteField, field_from_arrays
from pipelines.layout.routing.search import search_grid
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutePipe, RouteSpec
from pipelines.layout.routing.steps import Crossing
from terrain.grid import Grid

STEP = 0.05
OFFSETS = [(0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0), (1, 1)]


class EveryState:
    """All states of one pipe on a field, and the cheapest ways among them."""

    def __init__(self, field: RouteField, spec: RouteSpec, pipe: RoutePipe, outfalls: list[OutfallTarget]) -> None:
        self.field, self.spec, self.pipe = field, spec, pipe
        rows, columns = field.grid.shape
        self.low = int(np.floor(np.nanmin(field.deepest) / STEP))
        self.levels = int(np.ceil(np.nanmax(field.ground) / STEP)) - self.low + 1
        self.count = rows * columns * 8 * self.levels
        self.invert = (self.low + np.arange(self.levels)) * STEP
        ends = {(int(r), int(c)): o for o in outfalls for r, c in [field.grid.cells(o.point.x, o.point.y)]}
        sources, targets, costs = [], [], []
        self.end = np.full(self.count, np.inf)
        for r, c in product(range(rows), range(columns)):
            for d in range(8):
                if not field.passable[r, c, 2 * d]:
                    continue
                to = r + OFFSETS[d][0], c + OFFSETS[d][1]
                z, w, price = self._step(r, c, d, to, None)
                for e in range(8):
                    turn = min((d - e) % 8, (e - d) % 8)
                    if turn <= 2 and field.passable[to][2 * e]:
                        sources.append(self.state(r, c, d, z))
                        targets.append(self.state(*to, e, w))
                        costs.append(price + turn * spec.bend_45)
                if to in ends:
                    z, _, price = self._step(r, c, d, to, ends[to])
                    np.minimum.at(self.end, self.state(r, c, d, z), price + ends[to].cost)
        entries = np.concatenate(sources), np.concatenate(targets)
        # two ways between the same states cannot be: the way out of a state is part of it
        self.graph = coo_matrix((np.concatenate(costs) + 1e-12, entries), shape=(self.count, self.count)).tocsr()

    def state(self, r: int, c: int, d: int, z: np.ndarray) -> np.ndarray:
        return ((r * self.field.grid.shape[1] + c) * 8 + d) * self.levels + z

    def _step(
        self, r: int, c: int, d: int, to: tuple[int, int], end: OutfallTarget | None
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """All pairs of inverts at the two ends of a step that a pipe may have, and what it then costs."""
        field, spec, pipe = self.field, self.spec, self.pipe
        length = float(field.step_lengths()[2 * d])
        around = [(r, c), to] + ([(r, to[1]), (to[0], c)] if d % 2 else [])
        below = pipe.wall + spec.bedding
        middle = np.mean([field.ground[a] for a in around]) - max(field.cover[a] for a in around) - pipe.crown
        cap = field.ground[to] - field.cover[to] - pipe.crown
        least = field.deepest[to] + below
        if end is not None:
            level = end.level + spec.dig_tolerance
            cap, middle = max(cap, level), max(middle, level + pipe.min_slope * length / 2)
            least = max(least, level)
        z, w = (a.ravel() for a in np.meshgrid(np.arange(self.levels), np.arange(self.levels), indexing="ij"))
        above, under = self.invert[z], self.invert[w]
        half = np.minimum(above - pipe.min_slope * length / 2, middle)
        fits = (under <= half - pipe.min_slope * length / 2 + 1e-9) & (under <= cap + 1e-9) & (under >= least - 1e-9)
        fits &= half - below >= np.mean([field.deepest[a] for a in around]) - 1e-9
        low, high = field.band_low[r, c, 2 * d], field.band_high[r, c, 2 * d]
        if low < high:
            fits &= (under >= high + pipe.wall - 1e-9) | (above <= low - pipe.crown + 1e-9)
        z, w, above, under = z[fits], w[fits], above[fits], under[fits]
        depth = 0.5 * (field.ground[r, c] - above + field.ground[to] - under) + below
        metre = pipe.cost + 0.5 * (field.surface_cost[r, c] + field.surface_cost[to])
        dig = 0.5 * (field.dig_factor[r, c] + field.dig_factor[to])
        metre = metre + dig * np.interp(depth, spec.trench_depths, spec.trench_costs)
        return z, w, length * metre + field.crossing_cost[r, c, 2 * d]

    def reach(self, first: np.ndarray) -> np.ndarray:
        """Least cost of every state, given what it costs to begin there."""
        begin = np.flatnonzero(np.isfinite(first))
        extra = coo_matrix((first[begin] + 1e-12, (np.zeros(begin.size, int), begin)), shape=(1, self.count)).tocsr()
        graph = coo_matrix(
            (np.concatenate([self.graph.data, extra.data]),
             (np.concatenate([self.graph.tocoo().row, np.full(extra.nnz, self.count)]),
              np.concatenate([self.graph.tocoo().col, extra.indices]))),
            shape=(self.count + 1, self.count + 1),
        ).tocsr()
        return np.minimum(dijkstra(graph, indices=self.count)[: self.count], np.inf)

    def start(self, collector: Collector) -> np.ndarray:
        first = np.full(self.count, np.inf)
        r, c = self.field.grid.cells(collector.point.x, collector.point.y)
        z = np.flatnonzero(self.invert <= collector.invert + 1e-9)
        for d in range(8):
            first[self.state(int(r), int(c), d, z)] = 0.0
        return first

    def dropped(self, cost: np.ndarray) -> np.ndarray:
        """Least cost of coming to each state at its invert or a higher one."""
        table = cost.reshape(-1, self.levels)[:, ::-1]
        return np.minimum.accumulate(table, axis=1)[:, ::-1].ravel()


def cheapest_forest(
    field: RouteField, spec: RouteSpec, collectors: list[Collector], outfalls: list[OutfallTarget]
) -> float:
    """Least cost of serving all collectors, every state tried as every junction."""
    masks = range(1, 1 << len(collectors))
    reach: dict[tuple[int, int], np.ndarray] = {}
    tree = dict.fromkeys(masks, np.inf)
    twins: dict[int, EveryState] = {}
    for mask in masks:
        flow = sum(c.flow for k, c in enumerate(collectors) if mask >> k & 1)
        for pipe in range(spec.pipe_for(flow), len(spec.pipes)):
            if pipe not in twins:
                twins[pipe] = EveryState(field, spec, spec.pipes[pipe], outfalls)
            twin = twins[pipe]
            first = np.full(twin.count, np.inf)
            if mask.bit_count() == 1:
                first = twin.start(collectors[mask.bit_length() - 1])
            for (part, a), (rest, b) in product(reach, reach):
                if part & rest == 0 and part | rest == mask and part > rest and max(a, b) <= pipe:
                    together = twin.dropped(reach[part, a]) + twin.dropped(reach[rest, b]) + spec.junction
                    first = np.minimum(first, _that_fit(twin, together))
            reach[mask, pipe] = twin.reach(first)
            tree[mask] = min(tree[mask], float(np.min(reach[mask, pipe] + twin.end)))
    whole = (1 << len(collectors)) - 1
    best = {0: 0.0}
    for mask in masks:
        best[mask] = min(tree[p] + best[mask ^ p] for p in masks if p & mask == p)
    return best[whole]


def _that_fit(twin: EveryState, cost: np.ndarray) -> np.ndarray:
    """Junctions only at inverts that the pipe below may have there."""
    field, pipe = twin.field, twin.pipe
    cap = (field.ground - field.cover - pipe.crown).reshape(-1, 1, 1)
    least = (field.deepest + pipe.wall + twin.spec.bedding).reshape(-1, 1, 1)
    fits = (twin.invert <= cap + 1e-9) & (twin.invert >= least - 1e-9)
    return np.where(np.broadcast_to(fits, (cap.size, 8, twin.levels)).ravel(), cost, np.inf)


def _case(
    seed: int, count: int, make_grid, rough
) -> tuple[RouteField, RouteSpec, list[Collector], list[OutfallTarget]]:
    """A 12 x 12 lot of 2 m cells: hills, paving, a house, a buried line, one to two outfalls."""
    rng = np.random.default_rng(seed)
    grid: Grid = make_grid(12, 12, 2.0)
    ground = np.round(rough(seed, (12, 12), 0.06, 0.05), 2)
    allowed = np.ones((12, 12), bool)
    r, c = rng.integers(3, 7, 2)
    allowed[r: r + 3, c: c + 3] = False
    surface = rng.choice([4.0, 10.0, 60.0], size=(12, 12), p=[0.7, 0.2, 0.1])
    x = 1000.0 + 2.0 * float(rng.integers(7, 10))
    pipe_line = Crossing("gas", "gas", LineString([(x, 1900.0), (x, 2100.0)]), 40.0,
                         float(ground.mean() - rng.uniform(0.3, 0.9)), 0.15)
    field = field_from_arrays(
        grid, ground, allowed, surface_cost=surface, cover=np.where(surface > 50.0, 0.35, 0.2), max_depth=1.1,
        crossings=(pipe_line,) if seed % 2 else (),
    )
    spec = RouteSpec(
        # by turns a large pipe that may lie flatter, and one that may not
        pipes=(RoutePipe("small", 0.107, 0.003, 0.02 + 0.01 * (seed % 3 == 0), 0.004, 9.0),
               RoutePipe("large", 0.16, 0.005, 0.02, 0.1, 14.0)),
        taper_length=0.0, junction=20.0, bend_45=8.0,
    )
    places = [(int(a), int(b)) for a, b in rng.permutation([(a, b) for a in range(12) for b in range(4)])
              if allowed[a, b]][:count]
    collectors = []
    for k, (a, b) in enumerate(places):
        px, py = grid.centres(a, b)
        collectors.append(Collector(f"c{k}", Point(px, py), float(ground[a, b]) - 0.35, 0.003))
    outfalls = []
    for k in range(1 + seed % 2):
        a, b = int(rng.integers(0, 12)), 11
        if any((a, b) == field.grid.cells(o.point.x, o.point.y) for o in outfalls):
            continue
        px, py = grid.centres(a, b)
        outfalls.append(OutfallTarget(f"o{k}", Point(px, py), float(ground[a, b]) - rng.uniform(0.55, 0.8), 30.0 * k))
    return field, spec, collectors, outfalls


def seeds(count: int, *, quick: tuple[int, ...]) -> list[Any]:
    """Cases, of which the quick suite tries some with a line to cross and some without, dear and cheap by turns."""
    return [pytest.param(seed, marks=() if seed in quick else pytest.mark.thorough) for seed in range(count)]


@pytest.mark.parametrize("seed", seeds(9, quick=(0, 1, 3, 4)))
@pytest.mark.parametrize("count", [1, 2])
def test_costs_no_more_than_trying_every_state(seed: int, count: int, route_grid, rough) -> None:
    field, spec, collectors, outfalls = _case(seed, count, route_grid, rough)
    found = search_grid(field, collectors, outfalls, spec, invert_step=STEP)
    for i, collector in enumerate(collectors):
        assert (i in found.unserved) == (cheapest_forest(field, spec, [collector], outfalls) == np.inf)
    served = [c for i, c in enumerate(collectors) if i not in found.unserved]
    best = cheapest_forest(field, spec, served, outfalls) if served else 0.0
    assert found.exact
    assert found.lower_bound == found.cost
    assert found.cost == pytest.approx(best, rel=1e-9)


@pytest.mark.parametrize("seed", seeds(4, quick=(0, 3)))
def test_three_collectors_cost_no_more_than_trying_every_state(seed: int, route_grid, rough) -> None:
    field, spec, collectors, outfalls = _case(seed, 3, route_grid, rough)
    found = search_grid(field, collectors, outfalls, spec, invert_step=STEP)
    served = [c for i, c in enumerate(collectors) if i not in found.unserved]
    best = cheapest_forest(field, spec, served, outfalls) if served else 0.0
    assert found.cost == pytest.approx(best, rel=1e-9)


@pytest.mark.parametrize("seed", [0, 3])
def test_four_collectors_stay_within_their_stated_gap(seed: int, route_grid, rough) -> None:
    field, spec, collectors, outfalls = _case(seed, 4, route_grid, rough)
    found = search_grid(field, collectors, outfalls, spec, invert_step=STEP)
    served = [c for i, c in enumerate(collectors) if i not in found.unserved]
    best = cheapest_forest(field, spec, served, outfalls)
    assert found.lower_bound <= best * (1.0 + 1e-9)
    assert found.cost == pytest.approx(best, rel=1e-9)


def _plain_paths(field: RouteField, spec: RouteSpec, collector: Collector, outfall: OutfallTarget) -> float:
    """Cheapest of all ways that visit no cell twice, each pipe as high as it can lie, over or under what it crosses."""
    pipe, below = spec.pipes[0], spec.pipes[0].wall + spec.bedding
    start = tuple(int(v) for v in field.grid.cells(collector.point.x, collector.point.y))
    end = tuple(int(v) for v in field.grid.cells(outfall.point.x, outfall.point.y))
    level, best = outfall.level + spec.dig_tolerance, np.inf

    def go(at: tuple[int, int], came: int | None, z: float, cost: float, seen: frozenset[tuple[int, int]]) -> None:
        nonlocal best
        if cost >= best:
            return
        for d, (dr, dc) in enumerate(OFFSETS):
            to = at[0] + dr, at[1] + dc
            turn = 0 if came is None else min((d - came) % 8, (came - d) % 8)
            if not field.passable[at][2 * d] or to in seen or turn > 2:
                continue
            length = float(np.hypot(dr, dc)) * field.grid.cell_width
            around = [at, to] + ([(at[0], to[1]), (to[0], at[1])] if d % 2 else [])
            middle = np.mean([field.ground[a] for a in around]) - max(field.cover[a] for a in around) - pipe.crown
            low, high = field.band_low[at][2 * d] - pipe.crown, field.band_high[at][2 * d] + pipe.wall
            for last in (False, True):
                if last and to != end:
                    continue
                cap = field.ground[to] - field.cover[to] - pipe.crown
                least = field.deepest[to] + below
                top = middle
                if last:
                    cap, top = max(cap, level), max(middle, level + pipe.min_slope * length / 2)
                    least = max(least, level)
                half = min(z - pipe.min_slope * length / 2, top)
                w = min(half - pipe.min_slope * length / 2, cap)
                over = w >= high - 1e-9 or not low < high
                if w < least - 1e-9 or half - below < np.mean([field.deepest[a] for a in around]) - 1e-9:
                    continue
                if not over and z > low + 1e-9:
                    continue
                depth = 0.5 * (field.ground[at] - z + field.ground[to] - w) + below
                metre = pipe.cost + 0.5 * (field.surface_cost[at] + field.surface_cost[to])
                metre += 0.5 * (field.dig_factor[at] + field.dig_factor[to]) * np.interp(
                    depth, spec.trench_depths, spec.trench_costs)
                total = cost + length * metre + field.crossing_cost[at][2 * d] + turn * spec.bend_45
                if last:
                    best = min(best, total + outfall.cost)
                else:
                    go(to, d, w, total, seen | {to})

    go(start, None, collector.invert, 0.0, frozenset([start]))
    return float(best)


@given(seed=st.integers(0, 10_000))
def test_any_height_costs_no_more_than_every_path(seed: int, route_grid, rough) -> None:
    rng = np.random.default_rng(seed)
    grid = route_grid(4, 5, 2.0)
    ground = rough(seed, (4, 5), 0.05, 0.06)
    allowed = rng.random((4, 5)) < 0.85
    allowed[0, 0] = allowed[3, 4] = True
    field = field_from_arrays(
        grid, ground, allowed, cover=0.2, max_depth=0.8, surface_cost=rng.uniform(3.0, 40.0, (4, 5)),
        dig_factor=rng.choice([1.0, 1.5], (4, 5)),
    )
    spec = RouteSpec(pipes=(RoutePipe("4", 0.107, 0.003, 0.012, 1.0, 9.0),), taper_length=0.0, bend_45=15.0)
    (x, y), (u, v) = grid.centres(0, 0), grid.centres(3, 4)
    collector = Collector("c", Point(x, y), float(ground[0, 0]) - 0.32)
    outfall = OutfallTarget("o", Point(u, v), float(ground[3, 4]) - rng.uniform(0.3, 0.6), 10.0)
    found = search_grid(field, [collector], [outfall], spec)
    best = _plain_paths(field, spec, collector, outfall)
    if found.unserved:
        assert best == np.inf
    else:
        assert found.cost == pytest.approx(best, rel=1e-9)
        lattice = search_grid(field, [collector], [outfall], spec, invert_step=STEP)
        assert lattice.unserved or lattice.cost >= found.cost - 1e-9
