"""What lines must cost at least: cheapest trees of cells when bends do not count and inverts are at their highest."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import chain

import numpy as np

from pipelines.layout.routing.graph import SearchGround
from pipelines.layout.routing.kernels.forest_state import (
    CROSSING,
    DIG,
    END_COST,
    EPSILON,
    GROUND,
    NEED,
    SURFACE,
    highest_inverts,
)
from pipelines.layout.routing.kernels.relax import spread_costs
from pipelines.layout.routing.spec import RoutePipe, RouteSpec
from terrain.arrays import FloatArray, IntArray

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
    costs : tuple of (cells, ways) float ndarray
        By load, what each step costs at least. [money]
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
    costs: tuple[FloatArray, ...]
    meet: FloatArray
    onward: IntArray

    def at(self, mask: int, pipe: int) -> int:
        """Position of the load of a set in a pipe."""
        alike = loads_of(self.loads, mask)
        return next((n for n in alike if self.loads[n][1] == pipe), alike[0])

    def least_gathered(self, mask: int) -> FloatArray:
        """To gather a set at each cell, in any of its pipes. [money]"""
        return _gathered_in(self.loads, self.gathered, mask, None)

    def least_left(self, mask: int) -> FloatArray:
        """From each cell to an outfall for a set that is gathered there. [money]"""
        least: FloatArray = np.min(self.rows[self.row_of[loads_of(self.loads, mask), 0]], axis=0)
        return least

    def near(self, limit: FloatArray) -> IntArray:
        """Cells that a forest for which no more than a limit is paid for each set can touch."""
        touched = np.zeros(self.meet.size, dtype=np.bool_)
        for n, (mask, _) in enumerate(self.loads):
            for final in range(mask, limit.size):
                if final & mask == mask and np.isfinite(limit[final]):
                    most = limit[final] + EPSILON * (1.0 + abs(limit[final]))
                    touched |= self.gathered[n] + self.rows[self.row_of[n, final ^ mask]] <= most
        return np.flatnonzero(touched)

    def left_by_way(self, near: IntArray, *, alone: bool) -> FloatArray:
        """What is left to pay, by row, for lines about to leave some cells one way, (rows, near * ways): a step, or
        others that come in first and leave with it; alone only of what is gathered. [money]"""
        left = np.full((len(self.pairs), near.size * self.onward.shape[1]), np.inf)
        for row, (load, missing) in enumerate(self.pairs):
            if alone and missing:
                continue
            onward = self.costs[load][near] + np.append(self.rows[row], np.inf)[self.onward[near]]
            for part, joined in _joining(self.loads, load, missing):
                after = left[self.row_of[joined, missing ^ part]].reshape(onward.shape)
                comes = _gathered_in(self.loads, self.gathered[:, near], part, self.loads[joined][1]) + self.meet[near]
                np.minimum(onward, comes[:, None] + after, out=onward)
            left[row] = onward.ravel()
        return left


def lower_bounds(
    search: SearchGround,
    cells: Sequence[int],
    inverts: Sequence[float],
    basins: Sequence[int],
    pipes: Sequence[Sequence[int]],
    spec: RouteSpec,
) -> Bounds:
    """Lower bounds for all sets of some collectors, given the positions of the pipes that a line of each may have.

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
    gathered = np.full((len(loads), count), np.inf)
    for n, (mask, pipe) in enumerate(loads):
        start = np.full(count, np.inf)
        if mask.bit_count() == 1:
            start[cells[mask.bit_length() - 1]] = 0.0
        for part in _parts(mask):
            if mask ^ part < part < mask:
                both = (_gathered_in(loads, gathered, each, pipe) for each in (part, mask ^ part))
                np.minimum(start, sum(both) + meet, out=start)
        gathered[n] = spread_costs(search.cell_onward, costs[n], start, backward=False, most=np.inf)
    pairs = _pairs(loads, sets)
    rows, row_of = _left(search, costs, gathered, meet, loads, pairs, sets)
    tree = np.full(sets, np.inf)
    for n, (mask, _) in enumerate(loads):
        tree[mask] = min(tree[mask], np.min(gathered[n] + rows[row_of[n, 0]]))
    return Bounds(loads, gathered, pairs, rows, row_of, tree, costs, meet, search.cell_onward)


def loads_of(loads: Sequence[tuple[int, int]], mask: int) -> list[int]:
    """Positions of a set's loads."""
    return [n for n, (own, _) in enumerate(loads) if own == mask]


def _gathered_in(
    loads: Sequence[tuple[int, int]], gathered: FloatArray, mask: int, largest: int | None
) -> FloatArray:
    """To gather a set at each cell in pipes up to one, or any. [money]"""
    fit = [n for n in loads_of(loads, mask) if largest is None or loads[n][1] <= largest]
    return np.min(gathered[fit], axis=0) if fit else np.full(gathered.shape[1], np.inf)


def _joining(loads: Sequence[tuple[int, int]], load: int, missing: int) -> Iterator[tuple[int, int]]:
    """Sets of what is missing that may join a load, each with the load that goes on: no smaller a pipe."""
    mask, pipe = loads[load]
    for part in _parts(missing):
        # where all costs are one, any load stands for all
        yield from ((part, n) for n in loads_of(loads, part if pipe == ANY else mask | part) if loads[n][1] >= pipe)


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
    search: SearchGround, costs: Sequence[FloatArray], gathered: FloatArray, meet: FloatArray,
    loads: Sequence[tuple[int, int]], pairs: Sequence[tuple[int, int]], sets: int,
) -> tuple[FloatArray, IntArray]:
    """What is left to pay from each cell, by pair, and the row of each load and set missing. [money]"""
    graph = search.graph
    ends = np.full(gathered.shape[1], np.inf)
    for node in search.end_nodes:
        ends[graph.cell[node]] = min(ends[graph.cell[node]], graph.node[node, END_COST])
    rows, row_of = np.empty((len(pairs), ends.size)), np.full((len(loads), sets), -1)
    for row, (load, missing) in enumerate(pairs):
        start = ends.copy() if missing == 0 else np.full_like(ends, np.inf)
        for part, joined in _joining(loads, load, missing):
            comes = _gathered_in(loads, gathered, part, loads[joined][1])
            np.minimum(start, comes + rows[row_of[joined, missing ^ part]] + meet, out=start)
        rows[row] = spread_costs(search.cell_onward, costs[load], start, backward=True, most=np.inf)
        row_of[slice(None) if loads[load][1] == ANY else load, missing] = row
    return rows, row_of


def _load_costs(
    search: SearchGround, cells: Sequence[int], inverts: Sequence[float], pipes: Sequence[Sequence[int]],
    loads: Sequence[tuple[int, int]], spec: RouteSpec,
) -> tuple[FloatArray, ...]:
    """By load, what each step costs at least; (cells, ways) each. [money]"""
    graph = search.graph
    ground = graph.node[: search.cell_onward.shape[0], GROUND]

    @cache
    def reach(collector: int, slope: float, steepest: float, crown: float) -> FloatArray:
        nodes = np.array(search.nodes_at(cells[collector]))
        best = highest_inverts(graph, nodes, inverts[collector], slope, steepest, crown)
        highest = np.full(ground.size, -np.inf)
        np.maximum.at(highest, graph.cell, best)
        return np.where(highest < graph.node[: ground.size, NEED] - 1e-6, -np.inf, highest)

    def reached(collector: int, passed: Sequence[RoutePipe]) -> FloatArray:
        """Highest inverts of a collector's water that came through some of these pipes. [m]"""
        slopes = [pipe.min_slope for pipe in passed]
        return reach(collector, min(slopes), max(slopes), min(pipe.crown for pipe in passed))

    def costs(highest: FloatArray, laid: Sequence[RoutePipe]) -> FloatArray:
        depth = np.where(np.isfinite(highest), ground - highest, np.inf)
        pair = 0.5 * (depth[:, None] + np.append(depth, np.inf)[search.cell_onward])
        pair += min(pipe.wall for pipe in laid) + spec.bedding
        trench = np.interp(pair, spec.trench_depths, spec.trench_costs)
        metre = min(pipe.cost for pipe in laid) + graph.step[..., SURFACE] + graph.step[..., DIG] * trench
        total: FloatArray = np.where(np.isfinite(pair), graph.length * metre + graph.step[..., CROSSING], np.inf)
        return total

    if loads[0][1] == ANY:
        every = [spec.pipes[pipe] for pipe in sorted(set(chain.from_iterable(pipes)))]
        return (costs(np.max([reached(j, every) for j in range(len(cells))], axis=0), every),) * len(loads)
    found = []
    for mask, pipe in loads:
        passed = {each for part in _parts(mask) for each in pipes[part] if each <= pipe}
        by = [spec.pipes[each] for each in sorted(passed)]
        highest = np.min([reached(j, by) for j in range(len(cells)) if mask >> j & 1], axis=0)
        found.append(costs(highest, [spec.pipes[pipe]]))
    return tuple(found)
