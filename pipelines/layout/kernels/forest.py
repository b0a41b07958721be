"""Compiled search for the cheapest forest of gravity lines, with the invert as part of the state."""

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from pipelines.layout.kernels.heap import heap_drop_first, heap_push

EPSILON = 1e-9
START, STEP, MERGE, THROUGH = range(4)


class RouteGraph(NamedTuple):
    """Nodes and steps of a search. A node is a cell, or a cell of the end taper of one outfall.

    Arrays of nodes are (nodes,), arrays of steps (cells, ways) or, where said, (nodes, ways).
    """

    cell: Any  # flat index of the node's cell
    onward: Any  # (nodes, ways) node that each step leads to in the same layer, -1 closed
    entry: Any  # (nodes, ways) first taper node that each step leads to, -1 none
    sibling: Any  # next taper node of the same cell, -1 none
    ground: Any  # [m]
    top: Any  # highest crown: ground less cover [m]
    deepest: Any  # lowest bottom of a trench [m]
    taper_level: Any  # lowest invert at the taper's outfall, -inf elsewhere [m]
    taper_way: Any  # way from a taper node to its outfall [m]
    end_level: Any  # lowest invert at an outfall's own node, inf elsewhere [m]
    end_cost: Any  # of the outlet [money]
    need: Any  # (cells,) no lower invert can still reach an outfall [m]
    length: Any  # (ways,) of a step [m]
    turn: Any  # (ways, ways) cost of a bend, infinite where it is too sharp [money]
    surface: Any  # [money/m]
    dig: Any  # factor on the trench [-]
    crossing: Any  # [money]
    low: Any  # no part of a pipe between low and high along a step; low > high where nothing is crossed [m]
    high: Any
    middle_top: Any  # highest crown and lowest trench bottom half-way along a step [m]
    middle_deepest: Any
    trench_depth: Any  # table of the trench's cost by depth [m], [money/m]
    trench_cost: Any


class RouteSets(NamedTuple):
    """Sets of collectors that a line may carry, small ones first, and the pipe of each."""

    mask: Any  # (sets,) bits of its collectors
    position: Any  # (2**k,) position of a mask in `mask`, -1 where it is not searched
    slope: Any  # [-]
    crown: Any  # outside diameter less wall [m]
    wall: Any  # [m]
    below: Any  # wall and bedding [m]
    pipe: Any  # [money/m]
    start_node: Any  # (starts,) nodes of the collectors
    start_collector: Any  # (starts,)
    invert: Any  # (k,) highest inverts [m]
    basin: Any  # (cells,) collector whose basin lines may pass, -1 none
    loss: Any  # (k,) fall lost where another line comes into a collector's place [m]
    junction: float
    step: float  # of the inverts; 0 for any height [m]
    tolerance: float  # a dearer label must lie higher by more than this to count [m]


@njit(cache=True)
def trench_price(depths: Any, costs: Any, depth: float) -> float:
    """Cost of a metre of trench [money/m], linear in the table and on its last slope beyond it."""
    if depth <= depths[0]:
        return float(costs[0])
    last = depths.size - 1
    k = 1
    while k < last and depth > depths[k]:
        k += 1
    share = (depth - depths[k - 1]) / (depths[k] - depths[k - 1])
    return float(costs[k - 1] + share * (costs[k] - costs[k - 1]))


@njit(cache=True)
def _lowered(z: float, step: float) -> float:
    return z if step <= 0.0 else np.floor(z / step + 1e-6) * step


@njit(cache=True)
def _highest(graph: Any, sets: Any, f: int, node: int) -> float:
    """Highest invert that set f's pipe may have at a node."""
    cap = graph.top[node] - sets.crown[f]
    if graph.taper_level[node] > -np.inf:
        cap = max(cap, graph.taper_level[node] + sets.slope[f] * graph.taper_way[node])
    return float(cap)


@njit(cache=True)
def _lay(graph: Any, sets: Any, f: int, z: float, node: int, d: int, to: int, under: int, limit: float) -> Any:
    """Lay one step as high as it can lie; returns the invert at its end, NaN where it cannot, and its cost."""
    cell = graph.cell[node]
    half = 0.5 * sets.slope[f] * graph.length[d]
    cap = graph.middle_top[cell, d] - sets.crown[f]
    if graph.taper_level[to] > -np.inf:
        cap = max(cap, graph.taper_level[to] + sets.slope[f] * (graph.taper_way[to] + 0.5 * graph.length[d]))
    at = min(z - half, cap)
    if at - sets.below[f] < graph.middle_deepest[cell, d] - EPSILON:
        return np.nan, 0.0
    end = _lowered(min(at - half, _highest(graph, sets, f, to), limit), sets.step)
    if end - sets.below[f] < graph.deepest[to] - EPSILON or end < graph.need[graph.cell[to]] - EPSILON:
        return np.nan, 0.0
    if graph.low[cell, d] < graph.high[cell, d]:
        if under == 0 and end < graph.high[cell, d] + sets.wall[f] - EPSILON:
            return np.nan, 0.0
        if under == 1 and z > graph.low[cell, d] - sets.crown[f] + EPSILON:
            return np.nan, 0.0
    depth = 0.5 * (graph.ground[node] - z + graph.ground[to] - end) + sets.below[f]
    metre = sets.pipe[f] + graph.surface[cell, d]
    metre += graph.dig[cell, d] * trench_price(graph.trench_depth, graph.trench_cost, depth)
    return end, graph.length[d] * metre + graph.crossing[cell, d]


@njit(cache=True)
def _least_together(mask_count: int, upper: Any) -> None:
    """Let no set's bound exceed the sum of its parts' bounds."""
    for mask in range(1, mask_count):
        part = (mask - 1) & mask
        while part > 0:
            total = upper[part] + upper[mask ^ part]
            if total < upper[mask]:
                upper[mask] = total
            part = (part - 1) & mask


@njit(cache=True)
def _allowances(sets: Any, f: int, limit: Any, left: Any, row_of: Any, allow: Any) -> None:
    """Most that a line of a set may have cost by each way out of each cell and still be part of a forest worth having.

    It ends in some final set, for which no more than its limit need be paid; what is left to pay is at least the
    cheapest tree from here to an outfall that gathers the collectors still missing.
    """
    mask = sets.mask[f]
    allow[:] = -np.inf
    for final in range(limit.size):
        if final & mask != mask:
            continue
        row = left[row_of[f, final ^ mask]]
        for k in range(allow.size):
            most = limit[final] - row[k]
            if most > allow[k]:
                allow[k] = most
    for k in range(allow.size):
        if np.isfinite(allow[k]):
            allow[k] += EPSILON * (1.0 + abs(allow[k]))


class _Work(NamedTuple):
    """What a search writes into. A slot is (node, way out, over or under what the way crosses)."""

    ints: Any  # settled labels: node, way out, kind, label before, other label or collector, set and under
    inverts: Any  # [m]
    costs: Any  # [money]
    chain: Any  # next settled label of the same slot: cheaper and lower
    head: Any  # (sets, slots) settled last, the highest and dearest
    first: Any  # (sets + 1,) first settled label of each set
    wait_ints: Any  # labels of the set at hand that wait: slot, kind, label before, other
    wait_floats: Any  # invert and cost
    keys: Any  # heap of the waiting
    items: Any
    tried: Any  # (slots, 2) invert and cost of a good waiting label
    seed_ints: Any  # lines that come into a basin: node, label before, collector, set
    seed_floats: Any
    final: Any
    totals: Any
    to_go: Any  # (cells * ways,) what the set at hand still costs at least to an outfall [money]
    allow: Any  # (cells * ways,) most that its line may have cost [money]
    counts: Any  # settled, waiting, in the heap, seeds, whether the room was too small


SETTLED, WAITING, HEAPED, SEEDS, FULL = range(5)


@njit(cache=True)
def _offer(graph: Any, sets: Any, work: Any, f: int, slot: int, z: float, cost: float,
           kind: int, before: int, other: int) -> None:
    """Let a label wait for its turn unless one that is no dearer and no lower is known in its slot."""
    tried, counts = work.tried, work.counts
    ways = graph.onward.shape[1]
    way = graph.cell[slot // (2 * ways)] * ways + slot // 2 % ways
    if cost > work.allow[way] or (cost >= tried[slot, 1] and z <= tried[slot, 0]):
        return
    top = work.head[f, slot]
    if top >= 0 and z <= work.inverts[top] + sets.tolerance:
        return
    if cost <= tried[slot, 1]:
        tried[slot, 0], tried[slot, 1] = z, cost
    k = counts[WAITING]
    if k == work.wait_ints.shape[0]:
        counts[FULL] = 1
        return
    work.wait_ints[k] = slot, kind, before, other
    work.wait_floats[k] = z, cost
    counts[WAITING] = k + 1
    heap_push(work.keys, work.items, counts[HEAPED], cost + work.to_go[way], k)
    counts[HEAPED] += 1


@njit(cache=True)
def _settle(work: Any, f: int, node: int, d: int, kind: int, before: int, other: int, under: int,
            z: float, cost: float) -> int:
    """Write a label down for good; returns its position."""
    k = work.counts[SETTLED]
    if k == work.inverts.size:
        work.counts[FULL] = 1
        return int(k - 1)
    work.ints[k] = node, d, kind, before, other, 2 * f + under
    work.inverts[k], work.costs[k] = z, cost
    work.counts[SETTLED] = k + 1
    return int(k)


@njit(cache=True)
def _begin(graph: Any, sets: Any, work: Any, f: int, node: int, z: float, cost: float,
           kind: int, before: int, other: int) -> None:
    """Let a line leave a collector's node in any direction."""
    ways = graph.onward.shape[1]
    z = _lowered(z, sets.step)
    if z >= graph.end_level[node] - EPSILON and cost + graph.end_cost[node] < work.totals[f]:
        work.final[f] = _settle(work, f, node, -1, kind, before, other, 0, z, cost)
        work.totals[f] = cost + graph.end_cost[node]
    cell = graph.cell[node]
    for d in range(ways):
        if graph.onward[node, d] < 0 and graph.entry[node, d] < 0:
            continue
        slot = (node * ways + d) * 2
        _offer(graph, sets, work, f, slot, z, cost, kind, before, other)
        if graph.low[cell, d] < graph.high[cell, d]:
            lower = _lowered(min(z, graph.low[cell, d] - sets.crown[f]), sets.step)
            _offer(graph, sets, work, f, slot + 1, lower, cost, kind, before, other)


@njit(cache=True)
def _meet(graph: Any, sets: Any, work: Any, f: int, a: int, b: int) -> None:
    """Let lines of sets a and b go on as one where they would leave a node the same way."""
    ways = graph.onward.shape[1]
    inverts, costs = work.inverts, work.costs
    for one in range(work.first[a], work.first[a + 1]):
        node, d = work.ints[one, 0], work.ints[one, 1]
        if d < 0:
            continue
        cap = _highest(graph, sets, f, node)
        slot = (node * ways + d) * 2 + work.ints[one, 5] % 2
        other = work.head[b, slot]
        while other >= 0:
            # going down the chain labels get cheaper and lower: of those as high as `one` the last is enough
            after = work.chain[other]
            if after < 0 or inverts[after] < inverts[one]:
                z, paid = min(inverts[one], inverts[other], cap), sets.junction
                for label in (one, other):
                    if work.ints[label, 2] == START or work.ints[label, 2] == THROUGH:  # the other comes into its place
                        owner = work.ints[label, 4]
                        z = min(z, inverts[one + other - label] - sets.loss[owner])
                        if sets.basin[graph.cell[node]] == owner:
                            paid = 0.0
                if slot % 2 == 1:
                    z = min(z, graph.low[graph.cell[node], d] - sets.crown[f])
                z, cost = _lowered(z, sets.step), costs[one] + costs[other] + paid
                if z - sets.below[f] >= graph.deepest[node] - EPSILON:
                    _offer(graph, sets, work, f, slot, z, cost, MERGE, one, other)
            other = after


@njit(cache=True)
def _arrive(graph: Any, sets: Any, work: Any, f: int, here: int, to: int, alone: bool) -> None:
    """Take the step of settled label `here` to a node and offer every way on from there."""
    ways = graph.onward.shape[1]
    node, d, under = work.ints[here, 0], work.ints[here, 1], work.ints[here, 5] % 2
    z, cost, mask = work.inverts[here], work.costs[here], sets.mask[f]
    end, step_cost = _lay(graph, sets, f, z, node, d, to, under, np.inf)
    reached = cost + step_cost
    if np.isnan(end):
        return
    if end >= graph.end_level[to] - EPSILON and reached + graph.end_cost[to] < work.totals[f]:
        work.final[f] = _settle(work, f, to, -1, STEP, here, -1, 0, end, reached)
        work.totals[f] = reached + graph.end_cost[to]
    cell = graph.cell[to]
    guest = sets.basin[cell]
    if guest >= 0 and not alone and mask >> guest & 1 == 0 and sets.position[mask | 1 << guest] >= 0:
        k = work.counts[SEEDS]
        if k == work.seed_ints.shape[0]:
            work.counts[FULL] = 1
            return
        work.seed_ints[k] = to, here, guest, sets.position[mask | 1 << guest]
        work.seed_floats[k] = min(end - sets.loss[guest], sets.invert[guest]), reached
        work.counts[SEEDS] = k + 1
    for e in range(ways):
        bend = graph.turn[d, e]
        if bend == np.inf or (graph.onward[to, e] < 0 and graph.entry[to, e] < 0):
            continue
        if alone and reached + bend + work.to_go[cell * ways + e] >= work.totals[f]:
            continue
        slot = (to * ways + e) * 2
        crosses = graph.low[cell, e] < graph.high[cell, e]
        low = graph.low[cell, e] - sets.crown[f]
        if not crosses or end >= graph.high[cell, e]:
            _offer(graph, sets, work, f, slot, end, reached + bend, STEP, here, -1)
        if crosses and end <= low:
            _offer(graph, sets, work, f, slot + 1, end, reached + bend, STEP, here, -1)
        elif crosses:
            lower, again = _lay(graph, sets, f, z, node, d, to, under, low)
            if not np.isnan(lower):
                _offer(graph, sets, work, f, slot + 1, lower, cost + again + bend, STEP, here, -1)


@njit(cache=True)
def _start(graph: Any, sets: Any, work: Any, f: int, alone: bool) -> None:
    """Offer all labels from which lines of a set begin: its collector, basins passed, smaller sets that meet."""
    mask = sets.mask[f]
    for k in range(sets.start_node.size):
        j = sets.start_collector[k]
        if mask == 1 << j:
            _begin(graph, sets, work, f, sets.start_node[k], sets.invert[j], 0.0, START, -1, j)
    for k in range(work.counts[SEEDS]):
        if work.seed_ints[k, 3] == f:
            _begin(graph, sets, work, f, work.seed_ints[k, 0], work.seed_floats[k, 0], work.seed_floats[k, 1],
                   THROUGH, work.seed_ints[k, 1], work.seed_ints[k, 2])
    part = (mask - 1) & mask
    while part > 0 and not alone:
        a, b = sets.position[part], sets.position[mask ^ part]
        if part > mask ^ part and a >= 0 and b >= 0:
            _meet(graph, sets, work, f, a, b)
        part = (part - 1) & mask


@njit(cache=True)
def _search_set(graph: Any, sets: Any, work: Any, f: int, alone: bool) -> None:
    """Settle the labels of one set, the cheapest first."""
    ways = graph.onward.shape[1]
    counts = work.counts
    work.tried[:, 0], work.tried[:, 1] = -np.inf, np.inf
    counts[WAITING], counts[HEAPED] = 0, 0
    _start(graph, sets, work, f, alone)
    while counts[HEAPED] > 0 and counts[FULL] == 0:
        label, key = work.items[0], work.keys[0]
        counts[HEAPED] = heap_drop_first(work.keys, work.items, counts[HEAPED])
        if alone and key >= work.totals[f]:
            break
        slot, z, cost = work.wait_ints[label, 0], work.wait_floats[label, 0], work.wait_floats[label, 1]
        top = work.head[f, slot]
        if top >= 0 and z <= work.inverts[top] + sets.tolerance:
            continue
        node, d = slot // (2 * ways), slot // 2 % ways
        here = _settle(work, f, node, d, work.wait_ints[label, 1], work.wait_ints[label, 2],
                       work.wait_ints[label, 3], slot % 2, z, cost)
        work.chain[here] = top
        work.head[f, slot] = here
        if graph.onward[node, d] >= 0:
            _arrive(graph, sets, work, f, here, graph.onward[node, d], alone)
        to = graph.entry[node, d]
        while to >= 0:
            _arrive(graph, sets, work, f, here, to, alone)
            to = graph.sibling[to]


@njit(cache=True)
def search_forest(graph: Any, sets: Any, upper: Any, ceiling: Any, left: Any, row_of: Any, alone: bool,
                  room: int) -> Any:
    """Cheapest line of every set of collectors to an outfall.

    For each set in turn, labels (node, way out, invert, cost) leave the collectors or the places where lines of two
    smaller sets meet, and are settled in order of cost. A pipe lies as high as it can: whatever a lower one can do,
    the higher one can do for no more, so of two labels with the same node and way out only those matter that are
    cheaper or higher, and inverts need no rounding. Where a step crosses something buried, passing over and passing
    under are kept apart.

    Parameters
    ----------
    graph : RouteGraph
    sets : RouteSets
    upper : (2**k,) float ndarray
        A cost at which each set can be served, infinite where none is known; bettered in place. [money]
    ceiling : (2**k,) float ndarray
        Lines of a set that cost more are not looked for. [money]
    left : (rows, cells * ways) float ndarray
        Lower bounds of what is still to pay, by the way out of each cell. [money]
    row_of : (sets, 2**k) int ndarray
        Row of `left` for a set's line and the collectors that it has still to gather.
    alone : bool
        Whether no lines will be joined, so that only the way to an outfall counts.
    room : int
        Labels to keep space for.

    Returns
    -------
    full : bool
        Whether the room was too small; the rest is then worthless.
    ints : (labels, 6) int ndarray
        Of each settled label: node, way out, kind, label before it, the other label or collector, set and under.
    inverts, costs : (labels,) float ndarray
        [m], [money]
    final : (sets,) int ndarray
        Label at which each set's cheapest line ends, -1 where there is none.
    totals : (sets,) float ndarray
        Cost of those lines with their outlets, infinite where there is none. [money]

    References
    ----------
    .. [1] Dreyfus, S. E., and Wagner, R. A., "The Steiner problem in graphs", Networks 1, 195-207, 1971,
       doi:10.1002/net.3230010302.
    .. [2] Martins, E. Q. V., "On a multicriteria shortest path problem", European Journal of Operational Research
       16, 236-245, 1984, doi:10.1016/0377-2217(84)90077-8.
    .. [3] Hougardy, S., Silvanus, J., and Vygen, J., "Dijkstra meets Steiner: a fast exact goal-oriented Steiner tree
       algorithm", Mathematical Programming Computation 9, 135-202, 2017, doi:10.1007/s12532-016-0110-1.
    """
    nodes, ways = graph.onward.shape
    count, slots = sets.mask.size, nodes * ways * 2
    work = _Work(
        np.empty((room, 6), np.int64), np.empty(room), np.empty(room), np.full(room, -1),
        np.full((count, slots), -1), np.zeros(count + 1, np.int64),
        np.empty((room, 4), np.int64), np.empty((room, 2)), np.empty(room + 1), np.empty(room + 1, np.int64),
        np.empty((slots, 2)), np.empty((room, 4), np.int64), np.empty((room, 2)),
        np.full(count, -1), np.full(count, np.inf), np.empty(left.shape[1]), np.full(left.shape[1], np.inf),
        np.zeros(5, np.int64),
    )
    for f in range(count):
        work.to_go[:] = left[row_of[f, 0]]
        if not alone:
            _allowances(sets, f, np.minimum(upper, ceiling), left, row_of, work.allow)
        _search_set(graph, sets, work, f, alone)
        if work.counts[FULL] == 1:
            break
        work.first[f + 1] = work.counts[SETTLED]
        upper[sets.mask[f]] = min(upper[sets.mask[f]], work.totals[f])
        _least_together(upper.size, upper)
    n = work.counts[SETTLED]
    return work.counts[FULL] == 1, work.ints[:n], work.inverts[:n], work.costs[:n], work.final, work.totals


@njit(cache=True)
def highest_inverts(graph: Any, starts: Any, invert: float, slope: float, steepest: float, crown: float) -> Any:
    """Highest invert that a line from a collector can have at each node, whatever its way; -inf where none leads.

    Parameters
    ----------
    graph : RouteGraph
    starts : (n,) int ndarray
        Nodes of the collector.
    invert : float
        At the collector. [m]
    slope, steepest : float
        Least and greatest of the pipes' slopes; the latter sets how high an end taper may lie. [-]
    crown : float
        Least height of a pipe's top above its invert. [m]

    Returns
    -------
    (nodes,) float ndarray
        [m]
    """
    nodes, ways = graph.onward.shape
    best = np.full(nodes, -np.inf)
    done = np.zeros(nodes, np.bool_)
    keys, items, size = np.empty(256), np.empty(256, np.int64), 0
    for node in starts:
        best[node] = invert
        keys, items, size = heap_push(keys, items, size, -invert, node)
    while size > 0:
        node = items[0]
        size = heap_drop_first(keys, items, size)
        if done[node]:
            continue
        done[node] = True
        for d in range(ways):
            to, second = graph.onward[node, d], graph.entry[node, d]
            while to >= 0 or second >= 0:
                if to < 0:
                    to = second
                    second = graph.sibling[second]
                cap = graph.top[to] - crown
                if graph.taper_level[to] > -np.inf:
                    cap = max(cap, graph.taper_level[to] + steepest * graph.taper_way[to])
                z = min(best[node] - slope * graph.length[d], cap)
                if z > best[to] and not done[to]:
                    best[to] = z
                    keys, items, size = heap_push(keys, items, size, -z, to)
                to = -1
    return best
