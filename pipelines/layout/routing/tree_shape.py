"""One tree of lines as shapes that can be moved: what it costs, and moves that make it cheaper."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.layout.routing.kernels.laying import Tube
from pipelines.layout.routing.kernels.straight import heading_of
from pipelines.layout.routing.pipe_layer import CannotLay, PipeLayer
from pipelines.layout.routing.spec import Collector
from pipelines.layout.routing.trace import GridRun
from terrain.arrays import FloatArray

REACHES = (3.2, 1.6, 0.8, 0.4, 0.2)
"""How far bends and junctions are moved, one after the other, in cells. [-]"""
MOST_ROUNDS = 3
OFF_COSTS = (30.0, 600.0)
"""What a degree off a fitting's angle is held to cost while lines are moved, at first and where some stay. [money]"""


TANGLE_COST = 150.0
"""What it is held to cost where two lines of a tree cross. [money]"""


@dataclass(frozen=True, slots=True, eq=False)
class TreeValues:
    """Shapes of a tree's runs and what follows from them.

    Attributes
    ----------
    shapes : list of (n, 2) float ndarray
        Vertices of each run. [m]
    inverts : list of float
        Highest invert that each run can begin with. [m]
    cost : float
        Of all runs at their highest, junctions and outlet left out. [money]
    off : float
        Degrees by which bends are off what fittings and joints make, summed. [degrees]
    """

    shapes: list[FloatArray]
    inverts: list[float]
    cost: float
    off: float

    def weight(self, off_cost: float) -> float:
        """Cost with so much for each degree that is off. [money]"""
        return self.cost + off_cost * self.off


class TreeShape:
    """A tree of runs, upstream runs before those they join.

    Parameters
    ----------
    layer : PipeLayer
        Field and prices.
    runs : list of GridRun
        The runs.
    tubes : list of Tube
        Their pipes.
    collectors : sequence of Collector
        Where they begin.
    """

    def __init__(
        self, layer: PipeLayer, runs: list[GridRun], tubes: list[Tube], collectors: Sequence[Collector]
    ) -> None:
        self.layer, self.runs, self.tubes = layer, runs, tubes
        place = {id(run): k for k, run in enumerate(runs)}
        self.into = [place[id(run.into)] if run.into is not None else -1 for run in runs]
        self.inflows = [[m for m in range(len(runs)) if self.into[m] == k] for k in range(len(runs))]
        self.own = [None if run.start is None else collectors[run.start].invert for run in runs]
        self.through = [run.start is not None and collectors[run.start].through for run in runs]
        self._known: dict[tuple[int, bytes, float, float], tuple[float, float, float]] = {}

    def values(self, shapes: list[FloatArray]) -> TreeValues:
        """What given shapes cost."""
        inverts: list[float] = []
        ends: list[float] = []
        cost, off = 0.0, 0.0
        for k, shape in enumerate(shapes):
            lost = self.layer.spec.basin_drop if self.through[k] else 0.0
            invert = min([ends[m] - lost for m in self.inflows[k]], default=np.inf)
            own = self.own[k]
            # a larger pipe than those that meet needs its own cover
            invert = min(invert, own if own is not None else self.layer.highest(shape[0], self.tubes[k]))
            paid, end, turned = self._value(k, shape, invert, self._heading_out(k, shapes))
            if not np.isfinite(paid):
                raise CannotLay
            inverts.append(invert)
            ends.append(end)
            cost, off = cost + paid, off + turned
        if ends[-1] < self.tubes[-1].end_level - 1e-7:
            raise CannotLay
        return TreeValues(shapes, inverts, cost, off)

    def _heading_out(self, k: int, shapes: list[FloatArray]) -> float:
        m = self.into[k]
        if m < 0 or self.through[m]:
            return float("nan")
        return float(heading_of(*shapes[m][0], *shapes[m][1]))

    def _value(self, k: int, shape: FloatArray, invert: float, heading: float) -> tuple[float, float, float]:
        key = (k, shape.tobytes(), invert, -999.0 if np.isnan(heading) else heading)
        if key not in self._known:
            self._known[key] = self.layer.value(
                shape, self.tubes[k], invert, heading, from_place=self.own[k] is not None
            )
        return self._known[key]


def improved(tree: TreeShape, start: TreeValues) -> TreeValues:
    """Move bends and junctions, and leave bends out, as long as that makes a tree cheaper."""
    best = _improved(tree, start, OFF_COSTS[0])
    return _improved(tree, best, OFF_COSTS[1]) if best.off > 1e-6 else best


def crossed_weight(values: TreeValues) -> float:
    """Weight of a tree's shapes, what they are off and where lines cross counted. [money]"""
    return values.weight(OFF_COSTS[0]) + TANGLE_COST * _tangles(values.shapes)


def _improved(tree: TreeShape, start: TreeValues, off_cost: float) -> TreeValues:
    best, least = start, start.weight(off_cost) + TANGLE_COST * _tangles(start.shapes)
    cell = min(tree.layer.field.grid.cell_width, tree.layer.field.grid.cell_height)
    for reach in REACHES:
        for _ in range(MOST_ROUNDS):
            before = least
            for place in _movable(tree, best.shapes):
                for shapes in _moves(tree, best.shapes, place, reach * cell):
                    try:
                        tried = tree.values(shapes)
                    except CannotLay:
                        continue
                    if tried.weight(off_cost) >= least - 1e-6:
                        continue
                    weight = tried.weight(off_cost) + TANGLE_COST * _tangles(shapes)
                    if weight < least - 1e-6:
                        best, least = tried, weight
            if least > before - 0.05:
                break
    return best


def _tangles(shapes: list[FloatArray]) -> int:
    """How often lines of a tree cross each other; those that meet at an end do not."""
    own = np.concatenate([np.full(len(shape) - 1, k) for k, shape in enumerate(shapes)])
    a, b = (np.vstack([shape[s] for shape in shapes]) for s in (slice(None, -1), slice(1, None)))

    def sides(begin: FloatArray, end: FloatArray, point: FloatArray) -> FloatArray:
        (dx, dy), away = (end - begin).T, point[None, :, :] - begin[:, None, :]
        side: FloatArray = dx[:, None] * away[..., 1] - dy[:, None] * away[..., 0]
        return np.where(np.abs(side) < 1e-6, 0.0, np.sign(side))

    apart = sides(a, b, a) * sides(a, b, b) < 0.0
    return int(np.count_nonzero(np.triu(apart & apart.T & (own[:, None] != own[None, :]))))


def _movable(tree: TreeShape, shapes: list[FloatArray]) -> list[tuple[int, int]]:
    """Run and vertex of each bend, and of each junction as the beginning of the run below it."""
    bends = [(k, i) for k, shape in enumerate(shapes) for i in range(1, len(shape) - 1)]
    return bends + [(k, 0) for k in range(len(shapes)) if tree.own[k] is None]


def _moves(
    tree: TreeShape, shapes: list[FloatArray], place: tuple[int, int], reach: float
) -> Iterator[list[FloatArray]]:
    k, i = place
    if i >= len(shapes[k]) - 1:  # a bend before it was left out
        return
    if i > 0:
        yield [np.delete(shape, i, axis=0) if m == k else shape for m, shape in enumerate(shapes)]
    for turn in np.arange(8) * (np.pi / 4.0):
        step = reach * np.array([np.cos(turn), np.sin(turn)])
        moved = list(shapes)
        moved[k] = shapes[k].copy()
        moved[k][i] += step
        inflows = tree.inflows[k] if i == 0 else []
        for m in inflows:
            moved[m] = shapes[m].copy()
            moved[m][-1] += step
        yield moved
        for m in inflows:  # a branch may come straight to a junction's new place
            if len(moved[m]) > 2:
                yield [shape[[0, -1]] if n == m else shape for n, shape in enumerate(moved)]
