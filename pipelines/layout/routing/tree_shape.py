"""One tree of lines as shapes that can be moved: what it costs, and moves that make it cheaper."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point

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
FLUSH = 0.02
"""Lines nearer to each other than this, for longer than this, lie in one another. [m]"""
AT_END = 0.05
"""Lines that meet this near to an end of one of them are joined there. [m]"""
IN_BASIN = 0.25
"""A line that comes nearer to the middle of a basin runs through it. [m]"""
NEAR_BASIN = 2.0
"""A junction no farther from a basin whose line joins there is tried in the basin. [m]"""
TANGLE_COST = 1500.0
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

    def downstream(self, k: int) -> list[int]:
        """Runs that a run's water passes, its own among them."""
        return [k, *(self.downstream(self.into[k]) if self.into[k] >= 0 else [])]

    def tangled(self, shapes: list[FloatArray]) -> int:
        """How often lines cross or lie in one another, or run through a basin that is not theirs."""
        return tangles(shapes) + sum(
            self._passes(shape, shapes[k][0])
            for k in range(len(shapes)) if self.through[k]
            for m, shape in enumerate(shapes) if m not in (k, self.into[k], *self.inflows[k])
        )

    @staticmethod
    def _passes(shape: FloatArray, place: FloatArray) -> bool:
        return bool(shapely.dwithin(LineString(shape), shapely.points(place), IN_BASIN))

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


def crossed_weight(tree: TreeShape, values: TreeValues) -> float:
    """Weight of a tree's shapes, what they are off and where lines cross counted. [money]"""
    return values.weight(OFF_COSTS[0]) + TANGLE_COST * tree.tangled(values.shapes)


def _improved(tree: TreeShape, start: TreeValues, off_cost: float) -> TreeValues:
    best, least = start, start.weight(off_cost) + TANGLE_COST * tree.tangled(start.shapes)
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
                    weight = tried.weight(off_cost) + TANGLE_COST * tree.tangled(shapes)
                    if weight < least - 1e-6:
                        best, least = tried, weight
            if least > before - 0.05:
                break
    return best


def first_crossing(one: FloatArray, other: FloatArray) -> FloatArray | None:
    """Where a line first meets another, but near an end of either; None where it does not. [m]"""
    lines = LineString(one), LineString(other)
    met = shapely.get_coordinates(shapely.intersection(*lines))
    ends = np.vstack([one[[0, -1]], other[[0, -1]]])
    met = met[np.hypot(*(met[:, None, :] - ends).transpose(2, 0, 1)).min(axis=1) > AT_END] if len(met) else met
    if not len(met):
        return None
    first: FloatArray = met[int(np.argmin(shapely.line_locate_point(lines[0], shapely.points(met))))]
    return first


def cut_at(shape: FloatArray, place: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A line up to a place on it, and on from there. [m]"""
    line = LineString(shape)
    at, cut = shapely.line_locate_point(line, shapely.points(shape)), shapely.line_locate_point(line, Point(*place))
    at[0], at[-1] = 0.0, line.length
    return np.vstack([shape[at < cut - FLUSH], place]), np.vstack([place, shape[at > cut + FLUSH]])


def tangles(shapes: list[FloatArray]) -> int:
    """How often lines of a tree cross each other or lie in one another; those that meet at an end do not."""
    own = np.concatenate([np.full(len(shape) - 1, k) for k, shape in enumerate(shapes)])
    a, b = (np.vstack([shape[s] for shape in shapes]) for s in (slice(None, -1), slice(1, None)))
    lengths = np.hypot(*(b - a).T)
    (dx, dy) = ((b - a) / np.maximum(lengths, 1e-9)[:, None]).T

    def off(point: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Of every point beside each piece, and along it. [m]"""
        away = point[None, :, :] - a[:, None, :]
        return dx[:, None] * away[..., 1] - dy[:, None] * away[..., 0], (
            dx[:, None] * away[..., 0] + dy[:, None] * away[..., 1]
        )

    (side_a, along_a), (side_b, along_b) = off(a), off(b)
    apart = (np.abs(side_a) > 1e-6) & (np.abs(side_b) > 1e-6) & (side_a * side_b < 0.0)
    beside = (np.abs(side_a) < FLUSH) & (np.abs(side_b) < FLUSH)
    shared = np.minimum(np.maximum(along_a, along_b), lengths[:, None]) - np.maximum(np.minimum(along_a, along_b), 0.0)
    lies_in = beside & (shared > FLUSH)
    # a bend that touches another line, but near that line's own ends
    bend = np.concatenate([np.arange(len(shape) - 1) > 0 for shape in shapes])
    touches = bend & (np.abs(side_a) < FLUSH) & (along_a > -FLUSH) & (along_a < lengths[:, None] + FLUSH)
    ends = np.array([shape[[0, -1]] for shape in shapes])[own]
    touches &= np.hypot(*(ends[:, :, None, :] - a).transpose(3, 1, 0, 2)).min(axis=0) > AT_END
    met = apart & apart.T | lies_in | lies_in.T | touches | touches.T
    return int(np.count_nonzero(np.triu(met & (own[:, None] != own[None, :]))))


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
    for m in tree.inflows[k] if i == 0 else []:
        if tree.through[m] and float(np.hypot(*(shapes[m][0] - shapes[k][0]))) <= NEAR_BASIN:
            yield _joined_at(tree, shapes, k, shapes[m][0])
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


def _joined_at(tree: TreeShape, shapes: list[FloatArray], k: int, place: FloatArray) -> list[FloatArray]:
    """Shapes of a tree whose junction is put to a place, an inflow that begins there without length. [m]"""
    moved = list(shapes)
    moved[k] = np.vstack([place, shapes[k][1:]])
    for m in tree.inflows[k]:
        begins_there = float(np.hypot(*(shapes[m][0] - place))) < 1e-9
        moved[m] = np.vstack([place, place]) if begins_there else np.vstack([shapes[m][:-1], place])
    return moved
