"""The cheapest forest of gravity lines along the steps of a grid."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from shapely import Point

from pipelines.layout.kernels.forest import MERGE, NEED, START, THROUGH, RouteSets, search_forest
from pipelines.layout.route_bounds import Bounds, lower_bounds
from pipelines.layout.route_field import RouteField
from pipelines.layout.route_graph import SearchGround, prepare_search
from pipelines.layout.route_sets import cheapest_partitions, parts_of, sets_to_search
from pipelines.layout.route_spec import Collector, OutfallTarget, RouteError, RouteSpec
from terrain.arrays import FloatArray, IntArray

EXACT_UP_TO = 5
MOST_TOGETHER = 8
NO_FALL = "no line from here keeps slope, cover and depth all the way to an outfall"
# how far above the lower bound a cheapest forest is looked for, one after the other
WIDER = (1.06, 1.16, 1.27, 1.4, 1.55, 1.8, 2.2)
# a dearer line must lie higher by this to be kept, in a first search and in the last [m]
ROUGH, FINE = 0.02, 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class GridRun:
    """A run on the grid, upstream end first.

    Attributes
    ----------
    serves : tuple of int
        Positions of the collectors whose water it carries.
    pipe : int
        Position of its pipe in the spec.
    start : int or None
        Collector that it leaves, None where it begins at a junction.
    into : GridRun or None
        Run that it joins, None at an outfall.
    outfall : int
        Position of the outfall that its water reaches in the end.
    cells : (n,) int ndarray
        Flat indices of its cells.
    inverts : (n,) float ndarray
        [m]
    """

    serves: tuple[int, ...]
    pipe: int
    start: int | None
    into: "GridRun | None"
    outfall: int
    cells: IntArray
    inverts: FloatArray


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
    unserved : dict of int to str
        Collectors without a gravity line, and why.
    """

    runs: tuple[GridRun, ...]
    cost: float
    lower_bound: float
    exact: bool
    unserved: dict[int, str]


@dataclass(frozen=True, slots=True, eq=False)
class _Task:
    search: SearchGround
    collectors: Sequence[Collector]
    cells: dict[int, int]  # flat index of each collector's cell
    inverts: dict[int, float]  # highest inverts at the cells' centres
    losses: dict[int, float]  # fall lost where another line comes into a collector's place
    outfalls: tuple[int, ...]  # positions of the outfalls that the search knows
    spec: RouteSpec
    invert_step: float
    least_pipe: dict[int, int]  # smallest pipe that each collector's line may have


def search_grid(
    field: RouteField,
    collectors: Sequence[Collector],
    outfalls: Sequence[OutfallTarget],
    spec: RouteSpec,
    *,
    directions: int = 16,
    invert_step: float = 0.0,
    exact_up_to: int = EXACT_UP_TO,
) -> GridForest:
    """Cheapest forest of gravity lines along the steps of a grid.

    Parameters
    ----------
    field : RouteField
        Where lines may be laid.
    collectors : sequence of Collector
        Where they begin.
    outfalls : sequence of OutfallTarget
        Where they may end.
    spec : RouteSpec
        Pipes and prices.
    directions : int
        8 or 16 ways out of a cell. [-]
    invert_step : float
        Inverts are multiples of it; 0 for any height. [m]
    exact_up_to : int
        Number of collectors up to which every way of joining them is searched; above it only those that keep
        neighbours together. [-]

    Returns
    -------
    GridForest

    Raises
    ------
    RouteError
        If ids are not unique, a number is not finite, or a parameter is out of range.

    Notes
    -----
    A pipe is laid as high as slope, cover and crossings let it: its cost never falls with depth. A branch that comes
    in higher than the trunk drops into it.
    """
    _check(collectors, outfalls, directions, invert_step)
    unserved: dict[int, str] = {}
    task = _task(field, collectors, outfalls, spec, directions, invert_step, unserved)
    if task is None:
        return GridForest((), 0.0, 0.0, True, unserved)
    alone = _serve_alone(task, unserved)
    groups = _groups(task, sorted(alone))
    answers = [_serve_together(task, group, alone, exact_up_to) for group in groups]
    return GridForest(
        runs=tuple(run for answer in answers for run in answer.runs),
        cost=sum(answer.cost for answer in answers),
        # more could be joined across groups, so only the largest single bound holds for all
        lower_bound=max((answer.lower_bound for answer in answers), default=0.0),
        exact=len(answers) <= 1 and all(answer.exact for answer in answers),
        unserved=unserved,
    )


def _check(
    collectors: Sequence[Collector], outfalls: Sequence[OutfallTarget], directions: int, invert_step: float
) -> None:
    faults = []
    ids = [c.id for c in collectors] + [o.id for o in outfalls]
    faults += [f"id {i!r} is used more than once" for i in sorted({i for i in ids if ids.count(i) > 1})]
    faults += [f"collector {c.id!r} has invert {c.invert} and flow {c.flow}: both must be finite, the flow 0 or more"
               for c in collectors if not (np.isfinite(c.invert) and np.isfinite(c.flow) and c.flow >= 0.0)]
    faults += [f"outfall {o.id!r} has level {o.level} and cost {o.cost}: both must be finite, the cost 0 or more"
               for o in outfalls if not (np.isfinite(o.level) and np.isfinite(o.cost) and o.cost >= 0.0)]
    if directions not in (8, 16):
        faults.append(f"directions is {directions}: take 8 or 16")
    if not (np.isfinite(invert_step) and invert_step >= 0.0):
        faults.append(f"invert_step is {invert_step}: take 0 or more")
    if faults:
        raise RouteError("routing: " + "; ".join(faults))


def _task(
    field: RouteField, collectors: Sequence[Collector], outfalls: Sequence[OutfallTarget], spec: RouteSpec,
    directions: int, invert_step: float, unserved: dict[int, str],
) -> _Task | None:
    columns = field.grid.shape[1]
    slope = max(pipe.min_slope for pipe in spec.pipes)
    cells: dict[int, int] = {}
    inverts: dict[int, float] = {}
    losses: dict[int, float] = {}
    for i, collector in enumerate(collectors):
        at = field.nearest_allowed(collector.point.x, collector.point.y)
        if at is None:
            unserved[i] = "no ground where a line may be laid lies within reach"
            continue
        cells[i] = at[0] * columns + at[1]
        aside = slope * _aside(field, collector.point, at)
        inverts[i] = collector.invert - aside
        losses[i] = 2.0 * aside + (spec.basin_drop if collector.through else 0.0)
    near = [field.nearest_allowed(o.point.x, o.point.y) for o in outfalls]
    found = {k: at for k, at in enumerate(near) if at is not None}
    if not found or not cells:
        unserved |= dict.fromkeys(cells, "no outfall lies beside ground where a line may be laid")
        return None
    asides = [_aside(field, outfalls[k].point, at) for k, at in found.items()]
    ends = [replace(outfalls[k], level=outfalls[k].level + slope * aside)
            for k, aside in zip(found, asides, strict=True)]
    search = prepare_search(field, ends, [r * columns + c for r, c in found.values()], asides, spec,
                            directions=directions)
    return _Task(search, collectors, cells, inverts, losses, tuple(found), spec, invert_step, dict.fromkeys(cells, 0))


def _aside(field: RouteField, point: Point, at: tuple[int, int]) -> float:
    """How far a point lies from the centre of the cell that stands for it. [m]"""
    x, y = field.grid.centres(*at)
    return float(np.hypot(point.x - x, point.y - y))


def _serve_alone(task: _Task, unserved: dict[int, str]) -> dict[int, float]:
    """Cost of each collector's own line, with a larger pipe where only its flatter slope gets there."""
    alone: dict[int, float] = {}
    for i, cell in task.cells.items():
        bounds = _bounds(task, [i])
        if not np.isfinite(bounds.tree[1]):
            level = np.isfinite(task.search.graph.node[cell, NEED])
            unserved[i] = NO_FALL if level else "no allowed way leads to an outfall"
            continue
        while True:
            found = _search(task, [i], [1], bounds, np.array([0.0, np.inf]), np.array([0.0, np.inf]), FINE,
                            alone=True)
            if np.isfinite(found.totals[0]):
                alone[i] = float(found.totals[0])
                break
            pipes = task.spec.pipes
            now = task.spec.pipe_for(task.collectors[i].flow, task.least_pipe[i])
            flatter = [k for k in range(now + 1, len(pipes)) if pipes[k].min_slope < pipes[now].min_slope]
            if not flatter:
                unserved[i] = NO_FALL
                break
            task.least_pipe[i] = flatter[0]
    return alone


def _groups(task: _Task, served: list[int]) -> list[list[int]]:
    """Collectors that are searched together: all, or neighbours where there are too many."""
    columns_of = np.array([[task.collectors[i].point.x, task.collectors[i].point.y] for i in served]).reshape(-1, 2)
    groups = []
    left = list(range(len(served)))
    while left:
        away = np.hypot(*(columns_of[left] - columns_of[left[0]]).T)
        near = [left[k] for k in np.argsort(away, kind="stable")[:MOST_TOGETHER]]
        groups.append(sorted(served[k] for k in near))
        left = [k for k in left if k not in near]
    return groups


def _serve_together(task: _Task, group: list[int], alone: dict[int, float], exact_up_to: int) -> GridForest:
    k = len(group)
    upper = np.array([sum(alone[i] for bit, i in enumerate(group) if mask >> bit & 1) for mask in range(1 << k)])
    bounds = _bounds(task, group)
    exact = k <= exact_up_to
    masks = sets_to_search(task.search, k, None if exact else bounds)
    least = cheapest_partitions(bounds.tree)[0]
    lower = float(least[-1])
    if k > 1:  # a rough search, wider and wider, so that the last one knows how little it has to look at
        for wider in WIDER:
            aim = lower * wider
            if aim >= upper[-1]:
                break
            best = _together(task, group, masks, bounds, upper, aim - least[::-1], ROUGH)[0]
            upper = np.minimum(upper, best)
    best, choice, found = _together(task, group, masks, bounds, upper, upper[-1] - least[::-1], FINE)
    final = {mask: int(label) for mask, label in zip(masks, found.final, strict=True)}
    runs = [run for part in parts_of(choice, len(best) - 1) for run in _trace(task, group, masks, found, final[part])]
    cost = float(best[-1])
    return GridForest(tuple(runs), cost, cost if exact else min(cost, lower), exact, {})


def _together(
    task: _Task, group: list[int], masks: list[int], bounds: Bounds, upper: FloatArray, ceiling: FloatArray,
    tolerance: float,
) -> tuple[FloatArray, IntArray, "_Found"]:
    """Search all sets where none costs more than its ceiling; cheapest partitions, and what was found."""
    found = _search(task, group, masks, bounds, upper, ceiling * (1.0 + 1e-7), tolerance,
                    alone=len(group) == 1)
    value = np.full(1 << len(group), np.inf)
    value[np.array(masks)] = found.totals
    return *cheapest_partitions(value), found


def _bounds(task: _Task, group: list[int]) -> Bounds:
    least = min(_pipe_of(task, group, 1 << bit) for bit in range(len(group)))
    return lower_bounds(
        task.search, [task.cells[i] for i in group], [task.inverts[i] for i in group],
        [task.cells[i] for i in group if task.collectors[i].through], task.spec.pipes[least:], task.spec,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    ints: IntArray
    inverts: FloatArray
    final: IntArray
    totals: FloatArray


def _search(
    task: _Task, group: list[int], masks: list[int], bounds: Bounds, upper: FloatArray, ceiling: FloatArray,
    tolerance: float, *, alone: bool,
) -> _Found:
    search, spec = task.search, task.spec
    nodes = [(node, bit) for bit, i in enumerate(group) for node in search.nodes_at(task.cells[i])]
    position = np.full(1 << len(group), -1)
    position[np.array(masks)] = np.arange(len(masks))
    basin = np.full(search.cell_onward.shape[0], -1)
    for bit, i in reversed(list(enumerate(group))):
        if task.collectors[i].through:
            basin[task.cells[i]] = bit
    pipes = [spec.pipes[_pipe_of(task, group, mask)] for mask in masks]
    sets = RouteSets(
        mask=np.array(masks), position=position,
        pipe=np.array([[p.min_slope, p.crown, p.wall, p.wall + spec.bedding, p.cost] for p in pipes]),
        start=np.array(nodes), collector=np.array([[task.inverts[i], task.losses[i]] for i in group]), basin=basin,
        junction=spec.junction, rounding=task.invert_step, tolerance=tolerance,
    )
    room = 1 << 18
    while True:
        full, ints, inverts, final, totals = search_forest(
            search.graph, sets, upper.copy(), ceiling, bounds.left, bounds.row_of[np.array(masks)], alone, room)
        if not full:
            return _Found(ints, inverts, final, totals)
        room *= 4


def _pipe_of(task: _Task, group: list[int], mask: int) -> int:
    members = [i for bit, i in enumerate(group) if mask >> bit & 1]
    flow = sum(task.collectors[i].flow for i in members)
    return task.spec.pipe_for(flow, max(task.least_pipe[i] for i in members))


def _trace(task: _Task, group: list[int], masks: list[int], found: _Found, final: int) -> list[GridRun]:
    """Runs of one tree from the label at its outfall, upstream runs first."""
    ints, inverts = found.ints, found.inverts
    cell = task.search.graph.cell
    outfall = task.outfalls[task.search.end_nodes[int(ints[final, 0])]]
    through = {bit for bit, i in enumerate(group) if task.collectors[i].through}
    runs: list[GridRun] = []
    # what waits: the label at which a run ends, the run it joins, and where it ends one step further on
    waiting: list[tuple[int, GridRun | None, list[tuple[int, float]]]] = [(final, None, [])]
    while waiting:
        label, into, tail = waiting.pop()
        mask = masks[int(ints[label, 5]) // 2]
        path = [*tail, (int(cell[ints[label, 0]]), float(inverts[label]))]
        while ints[label, 2] not in (START, MERGE, THROUGH):
            label = int(ints[label, 3])
            path.append((int(cell[ints[label, 0]]), float(inverts[label])))
        start, branches, passing = _beginning(ints, label, through)
        run = GridRun(
            serves=tuple(i for bit, i in enumerate(group) if mask >> bit & 1), pipe=_pipe_of(task, group, mask),
            start=None if start is None else group[start], into=into, outfall=outfall,
            cells=np.array([c for c, _ in reversed(path)]), inverts=np.array([z for _, z in reversed(path)]),
        )
        runs.append(run)
        here, lost = path[-1], 0.0 if start is None else task.losses[group[start]]
        waiting += [(branch, run, []) for branch in branches]
        waiting += [(branch, run, [(here[0], here[1] + lost)]) for branch in passing]
    return runs[::-1]


def _beginning(ints: IntArray, label: int, through: set[int]) -> tuple[int | None, list[int], list[int]]:
    """What a run begins with: its collector, if any, labels of runs that end there, and of those a step before it."""
    meeting: list[int] = []
    waiting = [label]
    while waiting:
        at = waiting.pop()
        if ints[at, 2] == MERGE:
            waiting += [int(ints[at, 3]), int(ints[at, 4])]
        else:
            meeting.append(at)
    # a basin at the place before any other collector there
    owners = [at for at in meeting if ints[at, 2] in (START, THROUGH)]
    owners.sort(key=lambda at: int(ints[at, 4]) not in through)
    owner = owners[0] if owners else -1
    passing = [int(ints[at, 3]) for at in meeting if ints[at, 2] == THROUGH]
    branches = [at for at in meeting if at != owner and ints[at, 2] != THROUGH]
    return (int(ints[owner, 4]) if owners else None), branches, passing
