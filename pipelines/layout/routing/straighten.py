"""Trees of lines on the grid made straight: few bends, fittings that exist, junctions where they cost least."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import permutations

import numpy as np

from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.kernels.laying import Tube
from pipelines.layout.routing.kernels.straight import heading_of
from pipelines.layout.routing.pipe_layer import ANY_ANGLE, CannotLay, Laid, PipeLayer, bend_list, without_repeats
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutedLine, RouteSpec
from pipelines.layout.routing.trace import GridRun
from pipelines.layout.routing.tree_shape import (
    TreeShape,
    TreeValues,
    crossed_weight,
    cut_at,
    first_crossing,
    improved,
)
from terrain.arrays import FloatArray

MOST_JOINED = 3
"""How often one line of a tree is joined to another that it crosses."""


def straighten(
    field: RouteField,
    runs: Sequence[GridRun],
    collectors: Sequence[Collector],
    outfalls: Sequence[OutfallTarget],
    spec: RouteSpec,
) -> tuple[tuple[RoutedLine, ...], frozenset[int]]:
    """Make the runs of a forest straight wherever that is cheaper.

    From the outfall upstream each run keeps those of its points between which it can go straight for the least
    money, with bends that fittings make and, at a junction, a turn that they make too. Bends and junctions are then
    moved as long as that saves money. Last, inverts are laid from the collectors downstream: as high as they can lie,
    in as few straight grades as cost little depth.
    """
    layer = PipeLayer(field, spec)
    lines: list[RoutedLine] = []
    left: set[int] = set()
    for root in (run for run in runs if run.into is None):
        tree = [run for run in runs if _root(run) is root]
        try:
            lines += _straight_tree(layer, tree, collectors, outfalls[root.outfall], len(lines))
        except CannotLay:
            left |= set(root.serves)
    return tuple(lines), frozenset(left)


def own_line(
    layer: PipeLayer, collector: Collector, outfall: OutfallTarget, pipe: int, way: FloatArray, name: str
) -> RoutedLine | None:
    """A line that one collector has for itself."""
    run = GridRun((0,), pipe, 0, None, 0, np.zeros(0, dtype=np.int64), np.array([collector.invert]))
    tube = layer.tube(pipe, outfall)
    for tolerance in (layer.spec.joint_angle, ANY_ANGLE):
        shape = layer.shorten(way, tube, collector.invert, tube.end_level, float("nan"), tolerance)
        if len(shape):
            try:
                laid = layer.lay(shape, tube, collector.invert, tube.end_level, taper=layer.spec.taper_length)
            except CannotLay:
                continue
            return _routed(layer, run, laid, [], {id(run): name}, [collector], outfall)
    return None


def _root(run: GridRun) -> GridRun:
    while run.into is not None:
        run = run.into
    return run


def _straight_tree(
    layer: PipeLayer, runs: list[GridRun], collectors: Sequence[Collector], outfall: OutfallTarget, already: int
) -> list[RoutedLine]:
    tubes = [layer.tube(run.pipe, outfall) for run in runs]
    paths = [_path(layer, run, collectors, outfall) for run in runs]
    tree = TreeShape(layer, runs, tubes, collectors)
    found: list[tuple[TreeShape, TreeValues]] = []
    for tolerance in (ANY_ANGLE, layer.spec.joint_angle, None):
        try:
            start = tree.values(_shorter(layer, runs, tubes, paths, collectors, tolerance))
        except CannotLay:
            continue
        # the paths themselves only where nothing straighter can be laid
        if tolerance is not None or not found:
            moved = improved(tree, start)
            found += [(tree, moved), (tree, start), *_joined_where_crossed(tree, moved, collectors, outfall)]
    for shaped, values in sorted(found, key=_tangled_first):
        try:
            laid = _lay_tree(layer, shaped.runs, shaped.tubes, values.shapes, values.inverts, collectors)
            kept, laid = _without_empty(shaped.runs, laid)
        except CannotLay:
            continue
        names = {id(run): f"run-{already + k + 1}" for k, run in enumerate(kept)}
        return [_routed(layer, run, line, [other for other in kept if other.into is run], names, collectors, outfall)
                for run, line in zip(kept, laid, strict=True)]
    raise CannotLay


def _tangled_first(each: tuple[TreeShape, TreeValues]) -> tuple[int, bool, float]:
    tree, values = each
    return tree.tangled(values.shapes), values.off > 1e-6, crossed_weight(tree, values)


def _joined_where_crossed(
    tree: TreeShape, values: TreeValues, collectors: Sequence[Collector], outfall: OutfallTarget
) -> Iterator[tuple[TreeShape, TreeValues]]:
    """The tree with one line that crosses another joined to it there, again until none does."""
    for _ in range(MOST_JOINED):
        best: tuple[TreeShape, TreeValues] | None = None
        for m, n in permutations(range(len(tree.runs)), 2) if tree.tangled(values.shapes) else ():
            place = None if m in tree.downstream(n) else first_crossing(values.shapes[m], values.shapes[n])
            if place is None:
                continue
            runs, shapes = _joined(tree, values.shapes, m, n, place, collectors)
            joined = TreeShape(tree.layer, runs, [tree.layer.tube(run.pipe, outfall) for run in runs], collectors)
            try:
                tried = joined, improved(joined, joined.values(shapes))
            except CannotLay:
                continue
            best = tried if best is None else min(best, tried, key=_tangled_first)
        if best is None:
            return
        yield best
        tree, values = best


def _joined(
    tree: TreeShape, shapes: list[FloatArray], m: int, n: int, place: FloatArray, collectors: Sequence[Collector]
) -> tuple[list[GridRun], list[FloatArray]]:
    """Runs and shapes of a tree whose run m joins its run n at a place on both. [m]"""
    lines, into, d, k = dict(enumerate(shapes)), dict(enumerate(tree.into)), len(shapes), tree.into[m]
    lines[m] = cut_at(shapes[m], place)[0]
    lines[n], lines[d] = cut_at(shapes[n], place)
    into[d] = into[n]
    into[m] = into[n] = d
    old = dict(enumerate(tree.runs)) | {d: replace(tree.runs[n], start=None)}
    rest = [i for i in lines if into[i] == k]
    # of two lines that met at a junction one is left, which goes on
    if k >= 0 and old[k].start is None and len(rest) == 1:
        lines[rest[0]] = np.vstack([lines[rest[0]][:-1], lines.pop(k)])
        into[rest[0]] = into.pop(k)
    order: list[int] = []
    waiting = [i for i in lines if into[i] < 0]
    while waiting:
        order.append(waiting.pop())
        waiting += [i for i in lines if into[i] == order[-1]]
    serves: dict[int, tuple[int, ...]] = {}
    pipes: dict[int, int] = {}
    for i in reversed(order):
        inflows, own = [j for j in lines if into[j] == i], old[i].start
        serves[i] = tuple(sorted({each for j in inflows for each in serves[j]} | ({own} if own is not None else set())))
        flow = sum(collectors[each].flow for each in serves[i])
        pipes[i] = max([old[i].pipe, tree.layer.spec.pipe_for(flow), *(pipes[j] for j in inflows)])
    made: dict[int, GridRun] = {}
    for i in order:
        made[i] = replace(old[i], serves=serves[i], pipe=pipes[i], into=made.get(into[i]))
    return [made[i] for i in reversed(order)], [lines[i] for i in reversed(order)]


def _without_empty(runs: list[GridRun], laid: list[Laid]) -> tuple[list[GridRun], list[Laid]]:
    """Runs without those that join others and have no length: what they join begins at their collector."""
    starts: dict[int, int] = {}
    empty: set[int] = set()
    for run, line in zip(runs, laid, strict=True):
        if run.into is not None and np.ptp(line.xy, axis=0).max() < 1e-6:
            empty.add(id(run))
            start = starts.get(id(run), run.start)
            if start is not None:
                if run.into.start is not None or id(run.into) in starts:
                    raise CannotLay
                starts[id(run.into)] = start
    became: dict[int, GridRun] = {}
    for run in reversed(runs):
        into = None if run.into is None else became[id(run.into)]
        if id(run) in empty and into is not None:
            became[id(run)] = into
        else:
            became[id(run)] = replace(run, into=into, start=starts.get(id(run), run.start))
    kept = [k for k, run in enumerate(runs) if id(run) not in empty]
    return [became[id(runs[k])] for k in kept], [laid[k] for k in kept]


def _shorter(
    layer: PipeLayer, runs: list[GridRun], tubes: list[Tube], paths: list[FloatArray], collectors: Sequence[Collector],
    tolerance: float | None,
) -> list[FloatArray]:
    """Straightened shapes of the runs, their paths where that fails or no tolerance is given."""
    shapes: list[FloatArray] = list(paths)
    needs = [0.0] * len(runs)  # lowest inverts that the runs can begin with
    for k in range(len(runs) - 1, -1, -1):
        run, tube, path = runs[k], tubes[k], paths[k]
        end_level, heading = tube.end_level, float("nan")
        if run.into is not None:
            m = next(m for m in range(len(runs)) if runs[m] is run.into)
            through = passes_through(run.into, collectors)
            end_level = needs[m] + (layer.spec.basin_drop if through else 0.0)
            heading = heading if through else heading_of(*shapes[m][0], *shapes[m][1])
        begins = float(run.inverts[0])
        if run.start is not None and _stands_aside(layer, run, collectors):  # the search counts from the cell's centre
            begins += tube.slope * float(np.hypot(*(path[1] - path[0])))
        if tolerance is not None:
            shape = layer.shorten(path, tube, begins, end_level, heading, tolerance, from_place=run.start is not None)
            shapes[k] = shape if len(shape) else path
        needs[k] = layer.needed(shapes[k], tube, begins, end_level)
    return shapes


def _lay_tree(
    layer: PipeLayer, runs: list[GridRun], tubes: list[Tube], shapes: list[FloatArray], inverts: list[float],
    collectors: Sequence[Collector],
) -> list[Laid]:
    """Lay the runs of a tree; `inverts` are the highest they can begin with."""
    needs, ends = [0.0] * len(runs), [0.0] * len(runs)
    for k in range(len(runs) - 1, -1, -1):
        into = runs[k].into
        ends[k] = tubes[k].end_level
        if into is not None:
            lost = layer.spec.basin_drop if passes_through(into, collectors) else 0.0
            ends[k] = next(needs[m] for m in range(len(runs)) if runs[m] is into) + lost
        needs[k] = layer.needed(shapes[k], tubes[k], inverts[k], ends[k])
    laid: list[Laid] = []
    for k, run in enumerate(runs):
        lost = layer.spec.basin_drop if passes_through(run, collectors) else 0.0
        arriving = [float(laid[m].inverts[-1]) - lost for m in range(k) if runs[m].into is run]
        taper = layer.spec.taper_length if run.into is None else 0.0
        laid.append(layer.lay(shapes[k], tubes[k], min([inverts[k], *arriving]), ends[k], taper=taper))
    return laid


def passes_through(run: GridRun, collectors: Sequence[Collector]) -> bool:
    """Whether the runs that flow into a run do so in a basin."""
    return run.start is not None and collectors[run.start].through


def _stands_aside(layer: PipeLayer, run: GridRun, collectors: Sequence[Collector]) -> bool:
    """Whether a run's collector lies off the centre of its first cell."""
    columns = layer.field.grid.shape[1]
    x, y = layer.field.grid.centres(run.cells[0] // columns, run.cells[0] % columns)
    point = collectors[run.start or 0].point
    return bool(np.hypot(point.x - x, point.y - y) > 1e-6)


def _path(layer: PipeLayer, run: GridRun, collectors: Sequence[Collector], outfall: OutfallTarget) -> FloatArray:
    """A run's points on the grid, with the true places of its ends."""
    columns = layer.field.grid.shape[1]
    x, y = layer.field.grid.centres(run.cells // columns, run.cells % columns)
    points = [(float(a), float(b)) for a, b in zip(x, y, strict=True)]
    if run.start is not None:
        points.insert(0, (collectors[run.start].point.x, collectors[run.start].point.y))
    if run.into is None:
        points.append((outfall.point.x, outfall.point.y))
    elif run.into.start is not None:
        points.append((collectors[run.into.start].point.x, collectors[run.into.start].point.y))
    chosen = without_repeats(np.array(points))
    return chosen if len(chosen) > 1 else np.vstack([chosen, chosen])


def _routed(
    layer: PipeLayer, run: GridRun, laid: Laid, inflows: list[GridRun], names: dict[int, str],
    collectors: Sequence[Collector], outfall: OutfallTarget,
) -> RoutedLine:
    cost = laid.cost
    if run.into is None:
        to_id = outfall.id
        cost += outfall.cost
    elif run.into.start is not None and collectors[run.into.start].through:
        to_id = collectors[run.into.start].id
    else:
        to_id = names[id(run.into)]
    if not passes_through(run, collectors):
        cost += max(0, len(inflows) - (run.start is None)) * layer.spec.junction
    crossings, permit, assumed, near_line = layer.meets(laid.xy)
    return RoutedLine(
        id=names[id(run)],
        from_id=collectors[run.start].id if run.start is not None else names[id(inflows[0])],
        to_id=to_id, serves=tuple(collectors[i].id for i in run.serves), pipe=run.pipe, xy=laid.xy,
        inverts=laid.inverts, ground=np.array([layer.ground_at(x, y) for x, y in laid.xy]), cost=cost,
        flow=sum(collectors[i].flow for i in run.serves), crossings=crossings, permit=permit, assumed=assumed,
        near_line=near_line, fittings=tuple(bend_list(laid.xy)),
    )
