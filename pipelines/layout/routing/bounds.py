"""What lines must cost at least: cheapest trees of cells when bends do not count and inverts are at their highest."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import chain

import numpy as np

from pipelines.layout.routing.graph import SearchGround
from pipelines.layout.routing.kernels.forest_state import (
    CROSSING,
    DIG,
    END_COST,
    GROUND,
    NEED,
    SURFACE,
    highest_inverts,
)
from pipelines.layout.routing.kernels.relax import spread_costs
from pipelines.layout.routing.spec import RoutePipe, RouteSpec
from terrain.arrays import FloatArray, IntArray

MOST_APART = 5


@dataclass(frozen=True, slots=True, eq=False)
class Bounds:
    """Lower bounds of the cost of lines.

    Attributes
    ----------
    gathered : (2**k, cells) float ndarray
        To gather each set of collectors, as bits, at each cell. [money]
    left : (rows, cells * ways) float ndarray
        From each cell by each way out, for a line that carries one set and has still to gather another. [money]
    row_of : (2**k, 2**k) int ndarray
        Row of `left` for the set carried and the set still to gather, -1 where they overlap.
    tree : (2**k,) float ndarray
        Of each set's tree with its outlet; infinite for none. [money]
    costs : tuple of (cells, ways) float ndarray
        By set, what each step costs at least. [money]
    meet : (cells,) float ndarray
        What it costs to join lines at a cell. [money]
    """

    gathered: FloatArray
    left: FloatArray
    row_of: IntArray
    tree: FloatArray
    costs: tuple[FloatArray, ...]
    meet: FloatArray


def lower_bounds(
    search: SearchGround,
    cells: Sequence[int],
    inverts: Sequence[float],
    basins: Sequence[int],
    pipes: Sequence[Sequence[RoutePipe]],
    spec: RouteSpec,
) -> Bounds:
    """Lower bounds for all sets of some collectors, given the pipes that a line of each set, as bits, may have.

    Notes
    -----
    Dreyfus and Wagner's recursion over sets [1]_, on costs that no line of a set can undercut: along a step its
    trench is as shallow as the highest inverts that the set's collectors allow, its pipe the cheapest that takes their
    flow. With more than a few collectors one cost holds for all sets.

    References
    ----------
    .. [1] Dreyfus, S. E., and Wagner, R. A., "The Steiner problem in graphs", Networks 1, 195-207, 1971,
       doi:10.1002/net.3230010302.
    """
    k, count = len(cells), search.cell_onward.shape[0]
    costs = _set_costs(search, cells, inverts, pipes, spec)
    meet = np.full(count, spec.junction)
    meet[list(basins)] = 0.0
    gathered = np.full((1 << k, count), np.inf)
    for mask in range(1, 1 << k):
        start = np.full(count, np.inf)
        if mask.bit_count() == 1:
            start[cells[mask.bit_length() - 1]] = 0.0
        part = (mask - 1) & mask
        while part > mask ^ part:
            np.minimum(start, gathered[part] + gathered[mask ^ part] + meet, out=start)
            part = (part - 1) & mask
        gathered[mask] = spread_costs(search.cell_onward, costs[mask], start, backward=False)
    rows = _left(search, costs, gathered, meet)
    tree = np.array([np.inf, *(np.min(gathered[mask] + rows[_key(costs, mask, 0)]) for mask in range(1, 1 << k))])
    left, row_of = _left_by_way(search, costs, gathered + meet, rows)
    return Bounds(gathered, left, row_of, tree, tuple(costs), meet)


def _key(costs: list[FloatArray], carried: int, missing: int) -> tuple[int, int]:
    """Under what a pair of sets is kept: one set stands for all that are carried where their costs are one."""
    return (0 if costs[0] is costs[-1] else carried), missing


def _pairs(costs: list[FloatArray]) -> list[tuple[int, int]]:
    """Sets carried and missing, in an order in which more carried and fewer missing come first."""
    sets = len(costs)
    carried = [0] if costs[0] is costs[-1] else range(sets - 1, 0, -1)
    return [(c, m) for c in carried for m in range(sets) if not c & m]


def _parts(missing: int) -> list[int]:
    return [part for part in range(1, missing + 1) if part & missing == part]


def _left(
    search: SearchGround, costs: list[FloatArray], gathered: FloatArray, meet: FloatArray
) -> dict[tuple[int, int], FloatArray]:
    """What is left to pay from each cell, by set carried and set missing. [money]"""
    graph = search.graph
    ends = np.full(gathered.shape[1], np.inf)
    for node in search.end_nodes:
        ends[graph.cell[node]] = min(ends[graph.cell[node]], graph.node[node, END_COST])
    rows: dict[tuple[int, int], FloatArray] = {}
    for carried, missing in _pairs(costs):
        start = ends.copy() if missing == 0 else np.full_like(ends, np.inf)
        for part in _parts(missing):
            row = rows[_key(costs, carried | part, missing ^ part)]
            np.minimum(start, gathered[part] + row + meet, out=start)
        rows[carried, missing] = spread_costs(search.cell_onward, costs[carried], start, backward=True)
    return rows


def _left_by_way(
    search: SearchGround, costs: list[FloatArray], joined: FloatArray, rows: dict[tuple[int, int], FloatArray]
) -> tuple[FloatArray, IntArray]:
    """The same for lines about to leave a cell one way: a step, or others that come in first and leave with it."""
    sets = len(costs)
    row_of = np.full((sets, sets), -1)
    left = np.empty((len(rows), search.cell_onward.size))
    for k, (carried, missing) in enumerate(_pairs(costs)):
        onward = costs[carried] + np.append(rows[carried, missing], np.inf)[search.cell_onward]
        for part in _parts(missing):
            after = left[row_of[_key(costs, carried | part, missing ^ part)]].reshape(onward.shape)
            np.minimum(onward, joined[part][:, None] + after, out=onward)
        left[k] = onward.ravel()
        row_of[carried, missing] = k
    if costs[0] is costs[-1]:
        row_of[:] = row_of[0]
    return left, row_of


def _set_costs(
    search: SearchGround, cells: Sequence[int], inverts: Sequence[float], pipes: Sequence[Sequence[RoutePipe]],
    spec: RouteSpec,
) -> list[FloatArray]:
    """By set, what each step costs at least; (cells, ways) each. [money]"""
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

    k, sets = len(cells), 1 << len(cells)
    if k > MOST_APART or k == 1:
        every = list(chain.from_iterable(pipes))
        return [costs(np.max([reached(j, every) for j in range(k)], axis=0), every)] * sets
    found = [np.zeros(0)]
    for mask in range(1, sets):
        passed = list(chain.from_iterable(pipes[part] for part in _parts(mask)))
        highest = np.min([reached(j, passed) for j in range(k) if mask >> j & 1], axis=0)
        found.append(costs(highest, pipes[mask]))
    return found
