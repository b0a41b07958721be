"""What the search for gravity lines runs on, and the laying of one step."""

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from pipelines.layout.routing.kernels.heap import heap_drop_first, heap_push

EPSILON = 1e-9
# what a label is: a beginning at a collector, a step, lines that meet, a line that goes on through a basin; numpy's
# own integers, since a function is compiled anew for each Python literal that it is called with
START, STEP, MERGE, THROUGH = (np.int64(kind) for kind in range(4))
NONE, OVER = np.int64(-1), np.int64(0)
# columns of RouteGraph.node: [m] but for END_COST [money]; no invert below NEED can still reach an outfall
GROUND, TOP, DEEPEST, TAPER_LEVEL, TAPER_WAY, END_LEVEL, END_COST, NEED = range(8)
# columns of RouteGraph.step: [money/m], [-], [money], [m]; no part of a pipe lies between LOW and HIGH if LOW is less
SURFACE, DIG, CROSSING, LOW, HIGH, MIDDLE_TOP, MIDDLE_DEEPEST = range(7)
# columns of RouteSets.pipe: [-], [m], [m], [m], [money/m]
SLOPE, CROWN, WALL, BELOW, PRICE = range(5)
# columns of RouteSets.collector: [m]
INVERT, LOSS = range(2)


class RouteGraph(NamedTuple):
    """Nodes and steps of a search. A node is a cell, or a cell of the end taper of one outfall."""

    cell: Any  # (nodes,) flat index of the node's cell
    onward: Any  # (nodes, ways) node that each step leads to in the same layer, -1 closed
    entry: Any  # (nodes, ways) first taper node that each step leads to, -1 none
    sibling: Any  # (nodes,) next taper node of the same cell, -1 none
    node: Any  # (nodes, 8) ground, highest crown, lowest bottom of a trench, and what an outfall asks for
    step: Any  # (cells, ways, 7) prices, what is crossed, and what the ground asks for half-way
    length: Any  # (ways,) of a step [m]
    turn: Any  # (ways, ways) cost of a bend, infinite where it is too sharp [money]
    trench: Any  # (2, n) table of depth and the trench's cost [m], [money/m]


class RouteSets(NamedTuple):
    """Sets of collectors that a line may carry, small ones first, and the pipe of each."""

    mask: Any  # (sets,) bits of its collectors
    size: Any  # (sets,) rank of its pipe, larger ones later
    position: Any  # (2**k, choices) positions of a mask in `mask`, one for each pipe it may have, -1 for none
    pipe: Any  # (sets, 5) least slope, top above the invert, wall, wall and bedding, price
    start: Any  # (starts, 2) nodes of the collectors, and which
    collector: Any  # (k, 2) highest inverts, and fall lost where another line comes into a collector's place
    basin: Any  # (cells,) collector whose basin lines may pass, -1 none
    junction: float  # [money]
    rounding: float  # inverts are multiples of it; 0 for any height [m]
    tolerance: float  # a dearer label must lie higher by more than this to count [m]


@njit(cache=True)
def trench_price(trench: Any, depth: float) -> float:
    """Cost of a metre of trench [money/m], linear in the table and on its last slope beyond it."""
    if depth <= trench[0, 0]:
        return float(trench[1, 0])
    last = trench.shape[1] - 1
    k = 1
    while k < last and depth > trench[0, k]:
        k += 1
    share = (depth - trench[0, k - 1]) / (trench[0, k] - trench[0, k - 1])
    return float(trench[1, k - 1] + share * (trench[1, k] - trench[1, k - 1]))


@njit(cache=True)
def rounded_down(z: float, step: float) -> float:
    return z if step <= 0.0 else np.floor(z / step + 1e-6) * step


@njit(cache=True)
def highest_invert(node: Any, pipe: Any, way: float) -> float:
    """Highest invert that a pipe may have at a node, or `way` metres before one in a taper."""
    cap = node[TOP] - pipe[CROWN]
    if node[TAPER_LEVEL] > -np.inf:
        cap = max(cap, node[TAPER_LEVEL] + pipe[SLOPE] * (node[TAPER_WAY] + way))
    return float(cap)


@njit(cache=True)
def lay_step(graph: Any, pipe: Any, rounding: float, z: float, node: int, d: int, to: int, under: int,
         limit: float) -> Any:
    """Lay one step as high as it can lie; returns the invert at its end, NaN where it cannot, and its cost."""
    begin, end, step = graph.node[node], graph.node[to], graph.step[graph.cell[node], d]
    half = 0.5 * graph.length[d]
    cap = step[MIDDLE_TOP] - pipe[CROWN]
    if end[TAPER_LEVEL] > -np.inf:
        cap = max(cap, end[TAPER_LEVEL] + pipe[SLOPE] * (end[TAPER_WAY] + half))
    at = min(z - pipe[SLOPE] * half, cap)
    if at - pipe[BELOW] < step[MIDDLE_DEEPEST] - EPSILON:
        return np.nan, 0.0
    low = rounded_down(min(at - pipe[SLOPE] * half, highest_invert(end, pipe, 0.0), limit), rounding)
    if low - pipe[BELOW] < end[DEEPEST] - EPSILON or low < end[NEED] - EPSILON:
        return np.nan, 0.0
    if step[LOW] < step[HIGH]:
        if under == 0 and low < step[HIGH] + pipe[WALL] - EPSILON:
            return np.nan, 0.0
        if under == 1 and z > step[LOW] - pipe[CROWN] + EPSILON:
            return np.nan, 0.0
    depth = 0.5 * (begin[GROUND] - z + end[GROUND] - low) + pipe[BELOW]
    metre = pipe[PRICE] + step[SURFACE] + step[DIG] * trench_price(graph.trench, depth)
    return low, graph.length[d] * metre + step[CROSSING]


@njit(cache=True)
def highest_inverts(graph: Any, starts: Any, invert: float, slope: float, steepest: float, crown: float,
                    below: float) -> Any:
    """Highest invert that a line from a collector can have at each node, whatever its way; -inf where none leads.

    It leads nowhere through ground in which even its highest trench, so far below the invert, would be too deep.
    """
    nodes, ways = graph.onward.shape
    best = np.full(nodes, -np.inf)
    done = np.zeros(nodes, np.bool_)
    room = 2 * nodes * ways + starts.size
    keys, items, size = np.empty(room), np.empty(room, np.int64), np.int64(0)
    for node in starts:
        best[node] = invert
        size = heap_push(keys, items, size, -invert, node)
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
                cap, half = graph.node[to, TOP] - crown, 0.5 * graph.length[d]
                middle = graph.step[graph.cell[node], d, MIDDLE_TOP] - crown
                if graph.node[to, TAPER_LEVEL] > -np.inf:
                    level, way = graph.node[to, TAPER_LEVEL], graph.node[to, TAPER_WAY]
                    cap = max(cap, level + steepest * way)
                    middle = max(middle, level + steepest * (way + half))
                middle = min(best[node] - slope * half, middle)
                z = min(middle - slope * half, cap)
                too_deep = middle - below < graph.step[graph.cell[node], d, MIDDLE_DEEPEST] - EPSILON
                too_deep = too_deep or z - below < graph.node[to, DEEPEST] - EPSILON
                if z > best[to] and not done[to] and not too_deep:
                    best[to] = z
                    size = heap_push(keys, items, size, -z, to)
                to = -1
    return best
