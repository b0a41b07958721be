"""The cheapest forest of gravity lines along the steps of a grid."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple, TypeAlias

import numpy as np

from pipelines.layout.routing.bounds import Bounds
from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.kernels.forest_state import NEED
from pipelines.layout.routing.sets import cheapest_partitions, chosen_sets, sets_of_tree, sets_to_search
from pipelines.layout.routing.spec import Collector, OutfallTarget, RouteError, RouteSpec, SearchEffort
from pipelines.layout.routing.task import Found, SearchTask, make_task, search_sets
from pipelines.layout.routing.trace import GridRun, trace_tree
from terrain.arrays import FloatArray, IntArray
from terrain.reason import Reason, reason

EXACT_UP_TO = 5
MOST_TOGETHER = 8
WIDER: tuple[float, ...] = (1.06, 1.16, 1.27, 1.4, 1.55, 1.8, 2.2)
"""How far above the lower bound a cheap forest is looked for, one after the other. [-]"""
ROUGHER, ROUGH, FINE = 0.05, 0.02, 1e-9
"""A dearer line must lie higher by this to be kept: where not all sets are searched, in a first search, in the last.
[m]"""
COARSER = (FINE, ROUGH, 0.1, 0.5)
"""The same of a collector's own line, one after the other as long as a search is given up. [m]"""
Answer: TypeAlias = tuple[FloatArray, IntArray, Found]
"""Cheapest partitions of every set, their choices, and what was found."""
NO_FALL = reason("no_fall_for_line")


class _OwnLine(NamedTuple):
    """A collector's own line: what was found, what none costs less than, and whether it is the cheapest."""

    answer: Answer
    lower_bound: float
    exact: bool


@dataclass(frozen=True, slots=True, eq=False)
class GridForest:
    """The cheapest forest on the grid.

    Attributes
    ----------
    runs : tuple of GridRun
        Upstream runs before those they join.
    cost, lower_bound : float
        What it costs, and what no forest on the grid can cost less than. [money]
    exact : bool
        Whether no forest on the grid costs less.
    unserved : dict of int to Reason
        Collectors without a gravity line, and why.
    """

    runs: tuple[GridRun, ...]
    cost: float
    lower_bound: float
    exact: bool
    unserved: dict[int, Reason]


def search_grid(
    field: RouteField,
    collectors: Sequence[Collector],
    outfalls: Sequence[OutfallTarget],
    spec: RouteSpec,
    *,
    invert_step: float = 0.0,
    effort: SearchEffort | None = None,
) -> GridForest:
    """Cheapest forest of gravity lines along the steps of a grid.

    Notes
    -----
    A pipe is laid as high as slope, cover and crossings let it: its cost never falls with depth. A branch that comes
    in higher than the trunk drops into it. Once the effort is spent each line is laid by itself.
    """
    _check(collectors, outfalls, invert_step)
    unserved: dict[int, Reason] = {}
    effort = SearchEffort() if effort is None else effort
    task = make_task(field, collectors, outfalls, spec, invert_step, unserved, effort)
    if task is None:
        return GridForest((), 0.0, 0.0, True, unserved)
    alone = _serve_alone(task, unserved)
    groups = _groups(task, sorted(alone))
    answers = [_own(task, group[0], alone[group[0]]) if len(group) == 1 else _serve_together(task, group, alone)
               for group in groups]
    return replace(_each_by_itself(answers), unserved=unserved)


def _each_by_itself(answers: Sequence[GridForest]) -> GridForest:
    """Forests beside each other, which may join."""
    return GridForest(
        runs=tuple(run for answer in answers for run in answer.runs),
        cost=sum(answer.cost for answer in answers),
        # more could be joined across them, so only the largest single bound holds for all
        lower_bound=max((answer.lower_bound for answer in answers), default=0.0),
        exact=len(answers) <= 1 and all(answer.exact for answer in answers),
        unserved={},
    )


def _check(collectors: Sequence[Collector], outfalls: Sequence[OutfallTarget], invert_step: float) -> None:
    faults = []
    ids = [c.id for c in collectors] + [o.id for o in outfalls]
    faults += [f"id {i!r} is used more than once" for i, times in sorted(Counter(ids).items()) if times > 1]
    faults += [f"collector {c.id!r} has invert {c.invert} and flow {c.flow}: both must be finite, the flow 0 or more"
               for c in collectors if not (np.isfinite(c.invert) and np.isfinite(c.flow) and c.flow >= 0.0)]
    faults += [f"outfall {o.id!r} has level {o.level} and cost {o.cost}: both must be finite, the cost 0 or more"
               for o in outfalls if not (np.isfinite(o.level) and np.isfinite(o.cost) and o.cost >= 0.0)]
    if not (np.isfinite(invert_step) and invert_step >= 0.0):
        faults.append(f"invert_step is {invert_step}: take 0 or more")
    if faults:
        raise RouteError("routing: " + "; ".join(faults))


def _serve_alone(task: SearchTask, unserved: dict[int, Reason]) -> dict[int, _OwnLine]:
    """Each collector's own line, of those that have one."""
    alone: dict[int, _OwnLine] = {}
    for i, cell in task.cells.items():
        bounds = task.bounds([i])
        if np.isfinite(bounds.tree[1]) and task.falls(i):
            answer, exact = _apart(task, [i], bounds)
            if np.isfinite(answer[0][-1]):
                alone[i] = _OwnLine(answer, float(bounds.tree[1]), exact)
        if i not in alone:
            reached = np.isfinite(task.search.graph.node[cell, NEED])
            unserved[i] = NO_FALL if reached else reason("no_way_for_line")
    return alone


def _apart(task: SearchTask, group: list[int], bounds: Bounds) -> tuple[Answer, bool]:
    """Lines that don't join, as exact as can be had without looking at more than is wanted; whether they are exact."""
    masks, free = [1 << bit for bit in range(len(group))], np.full(1 << len(group), np.inf)
    free[0] = 0.0
    for tolerance in COARSER:
        found = search_sets(task, group, masks, bounds, free, free, tolerance, alone=True)
        if found is not None:
            break
    else:
        # the cheapest line alone by each way out of each cell, which always ends
        nodes, ways = task.search.graph.onward.shape
        room = 2 * len(group) * nodes * ways * (ways + 1)
        found = search_sets(task, group, masks, bounds, free, free, np.inf, alone=True, most=room)
        assert found is not None
    return _answer(found, len(group)), tolerance == FINE


def _groups(task: SearchTask, served: list[int]) -> list[list[int]]:
    """Collectors that are searched together: all, or neighbours where there are too many."""
    places = np.array([[task.collectors[i].point.x, task.collectors[i].point.y] for i in served]).reshape(-1, 2)
    groups = []
    left = list(range(len(served)))
    while left:
        away = np.hypot(*(places[left] - places[left[0]]).T)
        near = [left[k] for k in np.argsort(away, kind="stable")[:MOST_TOGETHER]]
        groups.append(sorted(served[k] for k in near))
        left = [k for k in left if k not in near]
    return groups


def _own(task: SearchTask, i: int, own: _OwnLine) -> GridForest:
    return _traced(task, [i], own.answer, own.lower_bound, exact=own.exact)


def _serve_together(task: SearchTask, group: list[int], alone: dict[int, _OwnLine]) -> GridForest:
    if not task.effort.left:
        task.effort.cut_short = True
        return _each_by_itself([_own(task, i, alone[i]) for i in group])
    k = len(group)
    upper = np.array([sum(float(alone[i].answer[0][-1]) for bit, i in enumerate(group) if mask >> bit & 1)
                      for mask in range(1 << k)])
    bounds = task.bounds(group, float(upper[-1]))
    # a tree may cost what is left of a limit after the least that all the others cost
    others = cheapest_partitions(bounds.tree)[0][::-1]
    # where a line by itself takes more than is wanted, all sets would too
    all_sets = all(alone[i].exact for i in group)
    answer: Answer | None = None
    exact, wider = False, (*WIDER, np.inf)
    if k <= EXACT_UP_TO and all_sets:
        answer, exact, wider = _cheapest_of_all(task, group, bounds, upper, others)
    if answer is None:
        answer = _cheapest_of_some(task, group, bounds, upper, others, wider)
    return _traced(task, group, answer, float(others[0]), exact=exact)


def _traced(task: SearchTask, group: list[int], answer: Answer, lower_bound: float, *, exact: bool) -> GridForest:
    best, choice, found = answer
    runs = [run for part in chosen_sets(choice, len(best) - 1)
            for run in trace_tree(task, group, found, int(found.final[found.best(part)]))]
    cost = float(best[-1])
    return GridForest(tuple(runs), cost, cost if exact else min(cost, lower_bound), exact, {})


def _cheapest_of_all(
    task: SearchTask, group: list[int], bounds: Bounds, upper: FloatArray, others: FloatArray
) -> tuple[Answer | None, bool, tuple[float, ...]]:
    """The cheapest forest there is and True; where that takes too long a cheap one that joins any of them, or None
    with how far above the lower bound there may be one.

    Rough, wider and wider, so that the last search knows how little it has to look at.
    """
    masks, lower, rough = sets_to_search(task.search, len(group), None), float(others[0]), None
    for number, wider in enumerate(WIDER):
        if lower * wider >= upper[-1]:
            break
        tried = _together(task, group, masks, bounds, upper, lower * wider - others, ROUGH)
        if tried is None:
            return None, False, (*WIDER[number:], np.inf)
        upper = np.minimum(upper, tried[0])
        if upper[-1] <= lower * wider:
            rough = tried
            break
    fine = _together(task, group, masks, bounds, upper, upper[-1] - others, FINE)
    return (rough, False, (*WIDER, np.inf)) if fine is None else (fine, True, ())


def _cheapest_of_some(
    task: SearchTask, group: list[int], bounds: Bounds, upper: FloatArray, others: FloatArray,
    widths: tuple[float, ...],
) -> Answer:
    """A cheap forest: joined as the tree behind the lower bound joins them, and otherwise where few ways are left."""
    masks, lower = sets_of_tree(task.search, bounds), float(others[0])
    answer = None
    for wider in widths:
        limit = min(lower * wider, float(upper[-1]))
        answer = _together(task, group, masks, bounds, upper, limit - others, ROUGH)
        if answer is None or answer[0][-1] <= limit * (1.0 + 1e-6):
            break
    if answer is not None and answer[0][-1] > upper[-1] * (1.0 + 1e-6):  # it may miss what is known to be there
        answer = _together(task, group, masks, bounds, upper, upper[-1] - others, FINE)
    if answer is None:
        answer = _together(task, group, masks, bounds, upper, upper[-1] - others, COARSER[-1])
        if answer is None or answer[0][-1] > upper[-1] * (1.0 + 1e-6):
            return _apart(task, group, bounds)[0]
    upper = np.minimum(upper, answer[0])
    masks = sets_to_search(task.search, len(group), bounds)
    better = _together(task, group, masks, bounds, upper, upper[-1] - others, ROUGHER)
    return better if better is not None and better[0][-1] < answer[0][-1] else answer


def _together(
    task: SearchTask, group: list[int], masks: list[int], bounds: Bounds, upper: FloatArray, ceiling: FloatArray,
    tolerance: float,
) -> Answer | None:
    """Search all sets where none costs more than its ceiling; cheapest partitions, and what was found.

    None where that takes more labels than are wanted.
    """
    found = search_sets(task, group, masks, bounds, upper, ceiling * (1.0 + 1e-7), tolerance, alone=False)
    return None if found is None else _answer(found, len(group))


def _answer(found: Found, count: int) -> Answer:
    value = np.full(1 << count, np.inf)
    np.minimum.at(value, found.masks, found.totals)
    return *cheapest_partitions(value), found
