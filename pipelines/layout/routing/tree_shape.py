"""One tree of lines as shapes that can be moved: what it costs, and moves that make it cheaper."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point

from pipelines.layout.routing.kernels.laying import Tube
from pipelines.layout.routing.kernels.moving import (
    AT_END,
    FLUSH,
    INVERT,
    TANGLE_COST,
    Branches,
    Shapes,
    improve,
    tangled,
    value_tree,
)
from pipelines.layout.routing.pipe_layer import CannotLay, PipeLayer
from pipelines.layout.routing.spec import Collector
from pipelines.layout.routing.trace import GridRun
from terrain.arrays import FloatArray

REACHES = (3.2, 1.6, 0.8, 0.4, 0.2)
"""How far bends and junctions are moved, one after the other, in cells. [-]"""
SEGMENTS = 1 << 12
"""Places for segments that were laid already; of two that fall on one place the latter stays. [-]"""
OFF_COSTS = (30.0, 600.0)
"""What a degree off a fitting's angle is held to cost while lines are moved, at first and where some stay. [money]"""


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
        self._kept = np.full((SEGMENTS, 10), np.nan)
        place = {id(run): k for k, run in enumerate(runs)}
        self.into = [place[id(run.into)] if run.into is not None else -1 for run in runs]
        own = [None if run.start is None else collectors[run.start] for run in runs]
        self._own = np.array([np.nan if each is None else each.invert for each in own])
        self._through = np.array([each is not None and each.through for each in own])

    def values(self, shapes: list[FloatArray]) -> TreeValues:
        """What given shapes cost."""
        runs = len(shapes)
        told = np.empty((runs, 5))
        cost, off = value_tree(
            self._kernel_tree(shapes), filled_up(shapes), np.ones(runs, dtype=np.bool_), np.empty((runs, 5)), told,
            0.0, np.inf,
        )
        if not np.isfinite(cost):
            raise CannotLay
        return TreeValues(shapes, told[:, INVERT].tolist(), cost, off)

    def downstream(self, k: int) -> list[int]:
        """Runs that a run's water passes, its own among them."""
        return [k, *(self.downstream(self.into[k]) if self.into[k] >= 0 else [])]

    def tangled(self, shapes: list[FloatArray]) -> int:
        """How often lines cross or lie in one another, or run through a basin that is not theirs."""
        return int(tangled(self._kernel_tree(shapes), filled_up(shapes)))

    def moved(self, shapes: list[FloatArray], off_cost: float) -> TreeValues:
        """Shapes with bends and junctions moved, and bends left out, as long as that makes the tree cheaper."""
        cell = min(self.layer.field.grid.cell_width, self.layer.field.grid.cell_height)
        turns = np.arange(8) * (np.pi / 4.0)
        steps = np.array(REACHES)[:, None, None] * cell * np.column_stack([np.cos(turns), np.sin(turns)])
        found = improve(self._kernel_tree(shapes), filled_up(shapes), steps, off_cost)
        return self.values([np.column_stack([x[:n], y[:n]]) for x, y, n in zip(*found, strict=True)])

    def _kernel_tree(self, shapes: list[FloatArray]) -> Branches:
        layer, into = self.layer, np.array(self.into)
        stubs = np.zeros((len(shapes), 2))
        for k, shape in enumerate(shapes):
            # a line that joins another on its way has no place at its end, and ends there wherever that is moved
            stubs[k, 0] = 0.0 if np.isnan(self._own[k]) else layer.stub(shape[0])
            stubs[k, 1] = layer.stub(shape[-1]) if into[k] < 0 or self._through[into[k]] else 0.0
        return Branches(layer.bed, layer.field.walls, layer.field.hits, layer.bends, layer.spec.joint_angle,
                        layer.spec.basin_drop, np.array(self.tubes, dtype=float), into, self._own, self._through, stubs,
                        self._kept)


def improved(tree: TreeShape, start: TreeValues) -> TreeValues:
    """Move bends and junctions, and leave bends out, as long as that makes a tree cheaper."""
    best = tree.moved(start.shapes, OFF_COSTS[0])
    return tree.moved(best.shapes, OFF_COSTS[1]) if best.off > 1e-6 else best


def crossed_weight(tree: TreeShape, values: TreeValues) -> float:
    """Weight of a tree's shapes, what they are off and where lines cross counted. [money]"""
    return values.weight(OFF_COSTS[0]) + TANGLE_COST * tree.tangled(values.shapes)


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


def filled_up(shapes: list[FloatArray]) -> Shapes:
    """Shapes as the kernels take them."""
    count = np.array([len(shape) for shape in shapes])
    xy = np.zeros((2, len(shapes), count.max()))
    for k, shape in enumerate(shapes):
        xy[:, k, : count[k]] = shape.T
    return Shapes(xy[0], xy[1], count)
