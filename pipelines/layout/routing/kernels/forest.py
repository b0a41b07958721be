"""Compiled search for the cheapest forest of gravity lines, with the invert as part of the state."""

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from pipelines.layout.routing.kernels.forest_state import (
    BELOW,
    CROWN,
    DEEPEST,
    END_COST,
    END_LEVEL,
    EPSILON,
    HIGH,
    INVERT,
    LOSS,
    LOW,
    MERGE,
    NONE,
    OVER,
    START,
    STEP,
    THROUGH,
    highest_invert,
    lay_step,
    rounded_down,
)
from pipelines.layout.routing.kernels.heap import heap_drop_first, heap_push


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
        row = row_of[f, final ^ mask]
        if final & mask != mask or row < 0 or limit[final] == -np.inf:
            continue
        for way in range(allow.size):
            allow[way] = max(allow[way], limit[final] - left[row, way])
    for k in range(allow.size):
        if np.isfinite(allow[k]):
            allow[k] += EPSILON * (1.0 + abs(allow[k]))


class _Work(NamedTuple):
    """What a search writes into. A slot is (node, way out, over or under what the way crosses)."""

    ints: Any  # settled labels: node, way out, kind, label before, other label or collector, set and under, next
    floats: Any  # their inverts and costs [m], [money]
    head: Any  # (sets, slots) label settled last, the highest and dearest; `next` is cheaper and lower
    first: Any  # (sets + 1,) first settled label of each set
    wait_ints: Any  # labels of the set at hand that wait: slot, kind, label before, other
    wait_floats: Any  # their inverts and costs
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
def _offer(work: Any, tolerance: float, f: int, slot: int, way: int, z: float, cost: float,
           kind: int, before: int, other: int) -> None:
    """Let a label wait for its turn unless it is too dear, or one that is no dearer and no lower is known in its slot.

    `way` is its cell and way out in the arrays of bounds.
    """
    tried = work.tried[slot]
    if cost > work.allow[way] or (cost >= tried[1] and z <= tried[0]):
        return
    top = work.head[f, slot]
    if top >= 0 and z <= work.floats[top, 0] + tolerance:
        return
    if cost <= tried[1]:
        tried[0], tried[1] = z, cost
    k = work.counts[WAITING]
    if k == work.wait_ints.shape[0]:
        work.counts[FULL] = 1
        return
    ints, floats = work.wait_ints[k], work.wait_floats[k]
    ints[0], ints[1], ints[2], ints[3] = slot, kind, before, other
    floats[0], floats[1] = z, cost
    work.counts[WAITING] = k + 1
    work.counts[HEAPED] = heap_push(work.keys, work.items, work.counts[HEAPED], cost + work.to_go[way], k)


@njit(cache=True)
def _settle(work: Any, f: int, node: int, d: int, kind: int, before: int, other: int, under: int,
            z: float, cost: float) -> int:
    """Write a label down for good; returns its position."""
    k = work.counts[SETTLED]
    if k == work.ints.shape[0]:
        work.counts[FULL] = 1
        return int(k - 1)
    ints = work.ints[k]
    ints[0], ints[1], ints[2], ints[3], ints[4], ints[5], ints[6] = node, d, kind, before, other, 2 * f + under, -1
    work.floats[k, 0], work.floats[k, 1] = z, cost
    work.counts[SETTLED] = k + 1
    return int(k)


@njit(cache=True)
def _begin(graph: Any, sets: Any, work: Any, f: int, node: int, z: float, cost: float,
           kind: int, before: int, other: int) -> None:
    """Let a line leave a collector's node in any direction."""
    ways = graph.onward.shape[1]
    z = rounded_down(z, sets.rounding)
    if z >= graph.node[node, END_LEVEL] - EPSILON and cost + graph.node[node, END_COST] < work.totals[f]:
        work.final[f] = _settle(work, f, node, NONE, kind, before, other, OVER, z, cost)
        work.totals[f] = cost + graph.node[node, END_COST]
    cell = graph.cell[node]
    for d in range(ways):
        if graph.onward[node, d] < 0 and graph.entry[node, d] < 0:
            continue
        step = graph.step[cell, d]
        for under in range(2 if step[LOW] < step[HIGH] else 1):
            lies = z
            if under == 1:
                lies = rounded_down(min(z, step[LOW] - sets.pipe[f, CROWN]), sets.rounding)
            slot = (node * ways + d) * 2 + under
            _offer(work, sets.tolerance, f, slot, cell * ways + d, lies, cost, kind, before, other)


@njit(cache=True)
def _meet(graph: Any, sets: Any, work: Any, f: int, a: int, b: int) -> None:
    """Let lines of sets a and b go on as one where they would leave a node the same way."""
    ways = graph.onward.shape[1]
    pipe = sets.pipe[f]
    for one in range(work.first[a], work.first[a + 1]):
        node, d, under = work.ints[one, 0], work.ints[one, 1], work.ints[one, 5] % 2
        if d < 0:
            continue
        cell = graph.cell[node]
        cap = highest_invert(graph.node[node], pipe, 0.0)
        if under == 1:
            cap = min(cap, graph.step[cell, d, LOW] - pipe[CROWN])
        slot = (node * ways + d) * 2 + under
        other = work.head[b, slot]
        while other >= 0:
            # going down the chain labels get cheaper and lower: of those as high as `one` the last is enough
            after = work.ints[other, 6]
            if after < 0 or work.floats[after, 0] < work.floats[one, 0]:
                z, paid = min(work.floats[one, 0], work.floats[other, 0], cap), sets.junction
                for label in (one, other):
                    if work.ints[label, 2] == START or work.ints[label, 2] == THROUGH:  # the other comes into its place
                        owner = work.ints[label, 4]
                        z = min(z, work.floats[one + other - label, 0] - sets.collector[owner, LOSS])
                        if sets.basin[cell] == owner:
                            paid = 0.0
                z = rounded_down(z, sets.rounding)
                if z - pipe[BELOW] >= graph.node[node, DEEPEST] - EPSILON:
                    cost = work.floats[one, 1] + work.floats[other, 1] + paid
                    _offer(work, sets.tolerance, f, slot, cell * ways + d, z, cost, MERGE, one, other)
            other = after


@njit(cache=True)
def _arrive(graph: Any, sets: Any, work: Any, f: int, here: int, to: int, alone: bool) -> None:
    """Take the step of settled label `here` to a node and offer every way on from there."""
    ways = graph.onward.shape[1]
    node, d, under = work.ints[here, 0], work.ints[here, 1], work.ints[here, 5] % 2
    z, cost, pipe = work.floats[here, 0], work.floats[here, 1], sets.pipe[f]
    end, step_cost = lay_step(graph, pipe, sets.rounding, z, node, d, to, under, np.inf)
    if np.isnan(end):
        return
    reached, cell = cost + step_cost, graph.cell[to]
    if end >= graph.node[to, END_LEVEL] - EPSILON and reached + graph.node[to, END_COST] < work.totals[f]:
        work.final[f] = _settle(work, f, to, NONE, STEP, here, NONE, OVER, end, reached)
        work.totals[f] = reached + graph.node[to, END_COST]
    if sets.basin[cell] >= 0 and not alone:
        _pass_through(sets, work, f, here, to, sets.basin[cell], end, reached)
    for e in range(ways):
        paid = reached + graph.turn[d, e]
        way = cell * ways + e
        if paid > work.allow[way] or (graph.onward[to, e] < 0 and graph.entry[to, e] < 0):
            continue
        if alone and paid + work.to_go[way] >= work.totals[f]:
            continue
        slot, low, high = (to * ways + e) * 2, graph.step[cell, e, LOW], graph.step[cell, e, HIGH]
        if low >= high or end >= high:
            _offer(work, sets.tolerance, f, slot, way, end, paid, STEP, here, NONE)
        if low < high:
            lower = end
            if end > low - pipe[CROWN]:
                lower, again = lay_step(graph, pipe, sets.rounding, z, node, d, to, under, low - pipe[CROWN])
                paid += again - step_cost
            if not np.isnan(lower):
                _offer(work, sets.tolerance, f, slot + 1, way, lower, paid, STEP, here, NONE)


@njit(cache=True)
def _pass_through(sets: Any, work: Any, f: int, here: int, to: int, guest: int, end: float, reached: float) -> None:
    """Let a line that comes into a basin go on with the basin's water, once its set is searched."""
    mask = sets.mask[f]
    if mask >> guest & 1 == 1:
        return
    for choice in range(sets.position.shape[1]):
        onward = sets.position[mask | 1 << guest, choice]
        if onward < 0 or sets.size[onward] < sets.size[f]:
            continue
        k = work.counts[SEEDS]
        if k == work.seed_ints.shape[0]:
            work.counts[FULL] = 1
            return
        work.seed_ints[k] = to, here, guest, onward
        work.seed_floats[k] = min(end - sets.collector[guest, LOSS], sets.collector[guest, INVERT]), reached
        work.counts[SEEDS] = k + 1


@njit(cache=True)
def _start(graph: Any, sets: Any, work: Any, f: int, alone: bool) -> None:
    """Offer all labels from which lines of a set begin: its collector, basins passed, smaller sets that meet."""
    mask = sets.mask[f]
    for k in range(sets.start.shape[0]):
        node, j = sets.start[k, 0], sets.start[k, 1]
        if mask == 1 << j:
            _begin(graph, sets, work, f, node, sets.collector[j, INVERT], 0.0, START, NONE, j)
    for k in range(work.counts[SEEDS]):
        if work.seed_ints[k, 3] == f:
            _begin(graph, sets, work, f, work.seed_ints[k, 0], work.seed_floats[k, 0], work.seed_floats[k, 1],
                   THROUGH, work.seed_ints[k, 1], work.seed_ints[k, 2])
    part = (mask - 1) & mask
    while part > 0 and not alone:
        for a in sets.position[part]:
            for b in sets.position[mask ^ part]:
                # a pipe never gets smaller downstream
                if part > mask ^ part and min(a, b) >= 0 and max(sets.size[a], sets.size[b]) <= sets.size[f]:
                    _meet(graph, sets, work, f, a, b)
        part = (part - 1) & mask


@njit(cache=True)
def _search_set(graph: Any, sets: Any, work: Any, f: int, alone: bool, known: float) -> None:
    """Settle the labels of one set, the cheapest first; alone as long as they may cost less than what is known."""
    ways = graph.onward.shape[1]
    counts = work.counts
    work.tried[:, 0], work.tried[:, 1] = -np.inf, np.inf
    counts[WAITING], counts[HEAPED] = 0, 0
    _start(graph, sets, work, f, alone)
    while counts[HEAPED] > 0 and counts[FULL] == 0:
        label, key, most = work.items[0], work.keys[0], min(work.totals[f], known)
        counts[HEAPED] = heap_drop_first(work.keys, work.items, counts[HEAPED])
        if alone and key >= most:
            break
        slot, z, cost = work.wait_ints[label, 0], work.wait_floats[label, 0], work.wait_floats[label, 1]
        top = work.head[f, slot]
        if top >= 0 and z <= work.floats[top, 0] + sets.tolerance:
            continue
        node, d = slot // (2 * ways), slot // 2 % ways
        here = _settle(work, f, node, d, work.wait_ints[label, 1], work.wait_ints[label, 2],
                       work.wait_ints[label, 3], slot % 2, z, cost)
        work.ints[here, 6] = top
        work.head[f, slot] = here
        if graph.onward[node, d] >= 0:
            _arrive(graph, sets, work, f, here, graph.onward[node, d], alone)
        to = graph.entry[node, d]
        while to >= 0:
            _arrive(graph, sets, work, f, here, to, alone)
            to = graph.sibling[to]


@njit(cache=True, nogil=True)  # it takes seconds, in which an interrupt must come through
def search_forest(graph: Any, sets: Any, upper: Any, ceiling: Any, left: Any, row_of: Any, alone: bool,
                  room: int) -> Any:
    """Cheapest line of every set of collectors to an outfall, where `left` is to pay by each way out of each cell.

    For each set in turn, labels (node, way out, invert, cost) leave the collectors or the places where lines of two
    smaller sets meet, and are settled in order of cost. A pipe lies as high as it can: whatever a lower one can do,
    the higher one can do for no more, so of two labels with the same node and way out only those matter that are
    cheaper or higher, and inverts need no rounding. Where a step crosses something buried, passing over and passing
    under are kept apart.

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
    count, slots, exits = sets.mask.size, nodes * ways * 2, graph.step.shape[0] * ways
    work = _Work(
        np.empty((room, 7), np.int64), np.empty((room, 2)), np.full((count, slots), -1, np.int32),
        np.zeros(count + 1, np.int64),
        np.empty((room, 4), np.int64), np.empty((room, 2)), np.empty(room + 1), np.empty(room + 1, np.int64),
        np.empty((slots, 2)), np.empty((room, 4), np.int64), np.empty((room, 2)),
        np.full(count, -1), np.full(count, np.inf), np.empty(exits), np.full(exits, np.inf),
        np.zeros(5, np.int64),
    )
    for f in range(count):
        work.to_go[:] = np.inf
        if row_of[f, 0] >= 0:
            work.to_go[:] = left[row_of[f, 0]]
        if not alone:
            _allowances(sets, f, np.minimum(upper, ceiling), left, row_of, work.allow)
        _search_set(graph, sets, work, f, alone, upper[sets.mask[f]])
        if work.counts[FULL] == 1:
            break
        work.first[f + 1] = work.counts[SETTLED]
        upper[sets.mask[f]] = min(upper[sets.mask[f]], work.totals[f])
        _least_together(upper.size, upper)
    n = work.counts[SETTLED]
    return work.counts[FULL] == 1, work.ints[:n], work.floats[:n, 0], work.final, work.totals
