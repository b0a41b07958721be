"""What lines must cost at least: cheapest trees of cells when bends do not count and inverts are at their highest."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import chain

import numpy as np

from pipelines.layout.routing.graph import SearchGround
from pipelines.layout.routing.kernels.forest_state import (
    END_COST,
    EPSILON,
    GROUND,
    NEED,
    highest_inverts,
)
from pipelines.layout.routing.kernels.left import join_costs, least_step_costs, left_by_way, usable_loads
from pipelines.layout.routing.kernels.relax import spread_costs
from pipelines.layout.routing.spec import RoutePipe, RouteSpec
from terrain.arrays import BoolArray, FloatArray, IntArray

MOST_APART = 5
ANY = -1
"""Stands for the pipe of a load where all loads cost alike. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class Bounds:
    """Lower bounds of the cost of lines.

    A load is a set of collectors, as bits, in one of the pipes that take its flow; where there are more than a few
    collectors, in any of them.

    Attributes
    ----------
    loads : tuple of (int, int)
        Set and position of its pipe, by set, smaller pipes first.
    gathered : (loads, cells) float ndarray
        To gather each load's set at each cell. [money]
    pairs : tuple of (int, int)
        Load and set that is still to gather, of each row.
    rows : (rows, cells) float ndarray
        What is left to pay from each cell for such a pair. [money]
    row_of : (loads, 2**k) int ndarray
        Row of a load and a set still to gather, -1 where they overlap.
    tree : (2**k,) float ndarray
        Of each set's tree with its outlet; infinite for none. [money]
    costs : (loads or 1, cells, ways) float ndarray
        By load, what each step costs at least; one for all loads where they cost alike. [money]
    meet : (cells,) float ndarray
        What it costs to join lines at a cell. [money]
    onward : (cells, ways) int ndarray
        Cell that each step leads to, -1 where it is closed.
    """

    loads: tuple[tuple[int, int], ...]
    gathered: FloatArray
    pairs: tuple[tuple[int, int], ...]
    rows: FloatArray
    row_of: IntArray
    tree: FloatArray
    costs: FloatArray
    meet: FloatArray
    onward: IntArray

    def step_costs(self, mask: int) -> FloatArray:
        """What each step costs at least with a set, in any of its pipes; (cells, ways). [money]"""
        alike = [min(n, len(self.costs) - 1) for n in loads_of(self.loads, mask)]
        least: FloatArray = np.min(self.costs[alike], axis=0)
        return least

    def at(self, mask: int, pipe: int) -> int:
        """Position of the load of a set in a pipe."""
        alike = loads_of(self.loads, mask)
        return next((n for n in alike if self.loads[n][1] == pipe), alike[0])

    def least_gathered(self, mask: int) -> FloatArray:
        """To gather a set at each cell, in any of its pipes. [money]"""
        least: FloatArray = np.min(self.gathered[loads_of(self.loads, mask)], axis=0)
        return least

    def least_left(self, mask: int) -> FloatArray:
        """From each cell to an outfall for a set that is gathered there. [money]"""
        least: FloatArray = np.min(self.rows[self.row_of[loads_of(self.loads, mask), 0]], axis=0)
        return least

    def near(self, masks: Sequence[int], limit: FloatArray) -> "Near":
        """Cells that a forest of some sets can touch for which no more than a limit is paid for each set, and what is
        left to pay for lines about to leave them."""
        of_load, ends = np.array([mask for mask, _ in self.loads]), np.flatnonzero(np.isfinite(limit))
        load, final = (each.ravel() for each in np.meshgrid(np.arange(of_load.size), ends, indexing="ij"))
        fits = (final & of_load[load] == of_load[load]) & np.isin(of_load[load], masks)
        load, final = load[fits], final[fits]
        pairs = self.row_of[load, final ^ of_load[load]]
        most = limit[final] + EPSILON * (1.0 + np.abs(limit[final]))
        usable = usable_loads(self.gathered, self.rows, np.stack([load, pairs], axis=1), most)
        cells = np.flatnonzero(usable.any(axis=0))
        return Near(cells, *self._left(cells, usable[:, cells], np.unique(pairs)))

    def everywhere(self) -> "Near":
        """All cells, and what is left to pay there for what is gathered by lines that nothing joins."""
        cells = np.arange(self.meet.size)
        whole = np.array([row for row, (_, missing) in enumerate(self.pairs) if not missing])
        return Near(cells, *self._left(cells, np.zeros((len(self.loads), cells.size), dtype=np.bool_), whole))

    def _left(self, cells: IntArray, usable: BoolArray, wanted: IntArray) -> tuple[FloatArray, IntArray]:
        """What is left to pay, by row that is wanted, for lines about to leave some cells one way (a step, or others
        that come in first and leave with it), (rows, cells * ways), and the position of each row there. [money]"""
        place = np.full(len(self.pairs), -1)
        place[wanted] = np.arange(wanted.size)
        of_row, of_load = np.array([load for load, _ in self.pairs]), np.array([mask for mask, _ in self.loads])
        joins = _joins(self.loads, self.pairs)
        after = np.stack([joins[:, 1], joins[:, 2], self.row_of[joins[:, 2], joins[:, 3]]], axis=1)
        left = left_by_way(
            cells, np.ascontiguousarray(usable), self.onward, self.costs, np.minimum(of_row, len(self.costs) - 1),
            self.gathered, of_load, self.rows, self.meet,
            np.searchsorted(joins[:, 0], np.arange(len(self.pairs) + 1)), after, place, wanted.size,
        )
        return left, place


@dataclass(frozen=True, slots=True, eq=False)
class Near:
    """Cells that a search looks at.

    Attributes
    ----------
    cells : (near,) int ndarray
        Their flat indices.
    left : (places, near * ways) float ndarray
        What is left to pay by each way out of them. [money]
    place : (rows,) int ndarray
        Where each row of the bounds stands in `left`, -1 where it is not wanted.
    """

    cells: IntArray
    left: FloatArray
    place: IntArray


def lower_bounds(
    search: SearchGround,
    cells: Sequence[int],
    inverts: Sequence[float],
    basins: Sequence[int],
    pipes: Sequence[Sequence[int]],
    spec: RouteSpec,
    *,
    most: float = np.inf,
) -> Bounds:
    """Lower bounds for all sets of some collectors, given the positions of the pipes that a line of each may have.

    Infinite where they would be more than the `most` that is paid for all of them.

    Notes
    -----
    Dreyfus and Wagner's recursion over sets [1]_, on costs that no line of a set can undercut: along a step its
    trench is as shallow as the highest inverts that the set's collectors allow, and its pipe never gets smaller
    downstream. With more than a few collectors one cost holds for all sets.

    References
    ----------
    .. [1] Dreyfus, S. E., and Wagner, R. A., "The Steiner problem in graphs", Networks 1, 195-207, 1971,
       doi:10.1002/net.3230010302.
    """
    sets, count = 1 << len(cells), search.cell_onward.shape[0]
    apart = len(cells) <= MOST_APART
    loads = tuple((mask, pipe) for mask in range(1, sets) for pipe in (pipes[mask] if apart else (ANY,)))
    costs = _load_costs(search, cells, inverts, pipes, loads, spec)
    meet = np.full(count, spec.junction)
    meet[list(basins)] = 0.0
    gathered, splits = np.full((len(loads), count), np.inf), _splits(loads)
    least = gathered.copy()  # in a load's pipe or a smaller one
    for n, (mask, _) in enumerate(loads):
        start = np.full(count, np.inf)
        if mask.bit_count() == 1:
            start[cells[mask.bit_length() - 1]] = 0.0
        join_costs(start, least, least, splits[splits[:, 0] == n, 1:], meet)
        own = costs[min(n, len(costs) - 1)]
        gathered[n] = spread_costs(search.cell_onward, own, start, backward=False, most=most)
        least[n] = np.minimum(gathered[n], least[n - 1]) if n and loads[n - 1][0] == mask else gathered[n]
    pairs = _pairs(loads, sets)
    rows, row_of = _left(search, costs, least, meet, loads, pairs, sets, most)
    tree = np.full(sets, np.inf)
    for n, (mask, _) in enumerate(loads):
        tree[mask] = min(tree[mask], np.min(gathered[n] + rows[row_of[n, 0]]))
    return Bounds(loads, gathered, pairs, rows, row_of, tree, costs, meet, search.cell_onward)


def loads_of(loads: Sequence[tuple[int, int]], mask: int) -> list[int]:
    """Positions of a set's loads."""
    return [n for n, (own, _) in enumerate(loads) if own == mask]


def _up_to(loads: Sequence[tuple[int, int]], mask: int, largest: int) -> int | None:
    """Position of a set's load in the largest pipe up to one, None where it has only larger ones."""
    return next((n for n in reversed(loads_of(loads, mask)) if loads[n][1] <= largest), None)


def _joining(loads: Sequence[tuple[int, int]], load: int, missing: int) -> Iterator[tuple[int, int]]:
    """Sets of what is missing that may join a load, each with the load that goes on: no smaller a pipe."""
    mask, pipe = loads[load]
    for part in _parts(missing):
        # where all costs are one, any load stands for all
        yield from ((part, n) for n in loads_of(loads, part if pipe == ANY else mask | part) if loads[n][1] >= pipe)


@lru_cache(maxsize=32)
def _splits(loads: tuple[tuple[int, int], ...]) -> IntArray:
    """Two sets that gather to one, by load: the load, and the largest that comes in of each."""
    found = []
    for n, (mask, pipe) in enumerate(loads):
        for part in _parts(mask):
            if mask ^ part < part < mask:
                both = [_up_to(loads, each, pipe) for each in (part, mask ^ part)]
                found += [(n, *both)] if None not in both else []
    return np.array(found, dtype=np.int64).reshape(-1, 3)


@lru_cache(maxsize=32)
def _joins(loads: tuple[tuple[int, int], ...], pairs: tuple[tuple[int, int], ...]) -> IntArray:
    """Ways to join, by row: the row, the largest load that comes in, the load that goes on and what it still misses."""
    found = []
    for row, (load, missing) in enumerate(pairs):
        for part, joined in _joining(loads, load, missing):
            coming = _up_to(loads, part, loads[joined][1])
            if coming is not None:
                found.append((row, coming, joined, missing ^ part))
    return np.array(found, dtype=np.int64).reshape(-1, 4)


def _pairs(loads: Sequence[tuple[int, int]], sets: int) -> tuple[tuple[int, int], ...]:
    """Loads and missing sets, in an order in which more carried and fewer missing come first."""
    if loads[0][1] == ANY:
        return tuple((0, missing) for missing in range(sets))
    return tuple(
        (n, missing) for n in range(len(loads) - 1, -1, -1) for missing in range(sets) if not loads[n][0] & missing
    )


def _parts(missing: int) -> list[int]:
    return [part for part in range(1, missing + 1) if part & missing == part]


def _left(
    search: SearchGround, costs: FloatArray, least: FloatArray, meet: FloatArray,
    loads: tuple[tuple[int, int], ...], pairs: tuple[tuple[int, int], ...], sets: int,
    most: float,
) -> tuple[FloatArray, IntArray]:
    """What is left to pay from each cell, by pair, and the row of each load and set missing. [money]"""
    graph = search.graph
    ends = np.full(meet.size, np.inf)
    for node in search.end_nodes:
        ends[graph.cell[node]] = min(ends[graph.cell[node]], graph.node[node, END_COST])
    joins = _joins(loads, pairs)
    rows, row_of = np.empty((len(pairs), ends.size)), np.full((len(loads), sets), -1)
    for row, (load, missing) in enumerate(pairs):
        start = ends.copy() if missing == 0 else np.full_like(ends, np.inf)
        _, coming, joined, still = joins[joins[:, 0] == row].T
        joining = np.stack([coming, row_of[joined, still]], axis=1)
        join_costs(start, least, rows, joining, meet)
        own = costs[min(load, len(costs) - 1)]
        rows[row] = spread_costs(search.cell_onward, own, start, backward=True, most=most)
        row_of[slice(None) if loads[load][1] == ANY else load, missing] = row
    return rows, row_of


def _load_costs(
    search: SearchGround, cells: Sequence[int], inverts: Sequence[float], pipes: Sequence[Sequence[int]],
    loads: Sequence[tuple[int, int]], spec: RouteSpec,
) -> FloatArray:
    """By load, what each step costs at least, (loads, cells, ways); one where all cost alike. [money]"""
    graph = search.graph
    ground = graph.node[: search.cell_onward.shape[0], GROUND]

    @cache
    def reach(collector: int, slope: float, steepest: float, crown: float, wall: float) -> FloatArray:
        nodes = np.array(search.nodes_at(cells[collector]))
        best = highest_inverts(graph, nodes, inverts[collector], slope, steepest, crown, wall + spec.bedding)
        highest = np.full(ground.size, -np.inf)
        np.maximum.at(highest, graph.cell, best)
        return np.where(highest < graph.node[: ground.size, NEED] - 1e-6, -np.inf, highest)

    def reached(collector: int, passed: Sequence[RoutePipe]) -> FloatArray:
        """Highest inverts of a collector's water that came through some of these pipes. [m]"""
        slopes = [pipe.min_slope for pipe in passed]
        crown, wall = min(pipe.crown for pipe in passed), min(pipe.wall for pipe in passed)
        return reach(collector, min(slopes), max(slopes), crown, wall)

    def costs(highest: FloatArray, laid: Sequence[RoutePipe]) -> FloatArray:
        below = min(pipe.wall for pipe in laid) + spec.bedding
        depth = np.where(np.isfinite(highest), ground - highest, np.inf) + below
        price = min(pipe.cost for pipe in laid)
        total: FloatArray = least_step_costs(search.cell_onward, depth, graph.length, graph.step, graph.trench, price)
        return total

    if loads[0][1] == ANY:
        every = [spec.pipes[pipe] for pipe in sorted(set(chain.from_iterable(pipes)))]
        return costs(np.max([reached(j, every) for j in range(len(cells))], axis=0), every)[None]
    found = []
    for mask, pipe in loads:
        # a line that nothing joins keeps its pipe
        parts = _parts(mask) if mask.bit_count() > 1 else []
        passed = {pipe, *(each for part in parts for each in pipes[part] if each <= pipe)}
        by = [spec.pipes[each] for each in sorted(passed)]
        highest = np.min([reached(j, by) for j in range(len(cells)) if mask >> j & 1], axis=0)
        found.append(costs(highest, [spec.pipes[pipe]]))
    return np.array(found)
