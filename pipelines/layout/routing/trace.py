"""From the labels of a search to runs between collectors, junctions and outfalls."""

from dataclasses import dataclass, replace

import numpy as np

from pipelines.layout.routing.kernels.forest_state import MERGE, START, THROUGH
from pipelines.layout.routing.task import Found, SearchTask
from terrain.arrays import FloatArray, IntArray


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


def trace_tree(task: SearchTask, group: list[int], found: Found, final: int) -> list[GridRun]:
    """Runs of one tree."""
    ints, inverts = found.ints, found.inverts
    cell = task.search.graph.cell
    outfall = task.outfalls[task.search.end_nodes[int(ints[final, 0])]]
    through = {bit for bit, i in enumerate(group) if task.collectors[i].through}
    runs: list[GridRun] = []
    # what waits: the label at which a run ends, the run it joins, and where it ends one step further on
    waiting: list[tuple[int, GridRun | None, list[tuple[int, float]]]] = [(final, None, [])]
    while waiting:
        label, into, tail = waiting.pop()
        carried = int(ints[label, 5]) // 2
        mask = int(found.masks[carried])
        path = [*tail, (int(cell[ints[label, 0]]), float(inverts[label]))]
        while ints[label, 2] not in (START, MERGE, THROUGH):
            label = int(ints[label, 3])
            path.append((int(cell[ints[label, 0]]), float(inverts[label])))
        start, branches, passing = _beginning(ints, label, through)
        run = GridRun(
            serves=tuple(i for bit, i in enumerate(group) if mask >> bit & 1), pipe=int(found.pipes[carried]),
            start=None if start is None else group[start], into=into, outfall=outfall,
            cells=np.array([c for c, _ in reversed(path)]), inverts=np.array([z for _, z in reversed(path)]),
        )
        runs.append(run)
        if start is not None and branches and start not in through and task.asides[group[start]] > 1e-6:
            # others join it where it comes to its first cell, not back where it stands
            run = _with_stub(task, group[start], runs)
        here, lost = path[-1], 0.0 if start is None else task.losses[group[start]]
        waiting += [(branch, run, []) for branch in branches]
        waiting += [(branch, run, [(here[0], here[1] + lost)]) for branch in passing]
    return runs[::-1]


def _with_stub(task: SearchTask, collector: int, runs: list[GridRun]) -> GridRun:
    """Part the last run into a stub from its collector and the rest, which is told."""
    whole = runs.pop()
    rest = replace(whole, start=None)
    stub = replace(
        whole, serves=(collector,), pipe=min(task.spec.pipe_for(task.collectors[collector].flow), whole.pipe),
        into=rest, cells=whole.cells[:1], inverts=whole.inverts[:1],
    )
    runs += [rest, stub]
    return rest


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
