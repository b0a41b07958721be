"""The water's ways on each of the grounds that lidar allows, over the window that they cover."""

from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from terrain.arrays import FloatArray, IntArray
from terrain.flow.drainage import Drainage
from terrain.ground import BARRIER, OPEN, ROOF, Ground
from terrain.kernels.flood import flood
from terrain.lidar.grounds import PossibleGrounds

MOST_KEPT, _BYTES = 384 * 2**20, 8
"""Bytes of the flows on all grounds that are kept at the most, and of those of one cell on one, packed. [-]"""


class Flow(NamedTuple):
    """Of each cell: depth of full low spots [m], the cell that it drains to, ground that drains through it [m2]."""

    depth: FloatArray
    target: IntArray
    area: FloatArray


def flow_on_best(drainage: Drainage, grounds: PossibleGrounds) -> Flow:
    """The same of the best estimate, cut to the window as the others are."""
    ground = drainage.ground
    return _flow(ground, grounds, ground.elevation[grounds.window], _receivers(ground, grounds))


def flow_on_each(drainage: Drainage, grounds: PossibleGrounds) -> Iterable[Flow]:
    """Of each ground in turn; of the last that were asked for they are kept, unless they are too many."""
    if grounds.above.size * _BYTES > MOST_KEPT:
        return _flows(drainage, grounds)
    return (packed.flow(drainage.ground.grid.cell_area) for packed in _kept_flows(drainage, grounds))


@lru_cache(maxsize=1)
def _kept_flows(drainage: Drainage, grounds: PossibleGrounds) -> tuple["_Packed", ...]:
    cell_area = drainage.ground.grid.cell_area
    return tuple(_Packed.of(flow, cell_area) for flow in _flows(drainage, grounds))


class _Narrow(NamedTuple):
    """Whole numbers of which most are small: these in few bytes, and where the others are."""

    small: NDArray[np.int16]
    at: IntArray
    large: IntArray

    @classmethod
    def of(cls, values: IntArray) -> "_Narrow":
        at = np.flatnonzero(np.abs(values) > np.iinfo(np.int16).max)
        return cls(values.astype(np.int16), at, values[at])

    @property
    def values(self) -> IntArray:
        values = self.small.astype(np.int64)
        values[self.at] = self.large
        return values


class _Packed(NamedTuple):
    """A flow in few bytes: depths where there are some, steps to the cells that take the water, counts of cells."""

    wet: NDArray[np.int32]
    depth: FloatArray
    step: _Narrow
    cells: _Narrow

    @classmethod
    def of(cls, flow: Flow, cell_area: float) -> "_Packed":
        wet = np.flatnonzero(flow.depth).astype(np.int32)
        step = flow.target - np.arange(flow.target.size)
        return cls(wet, flow.depth[wet], _Narrow.of(step), _Narrow.of(np.rint(flow.area / cell_area).astype(np.int64)))

    def flow(self, cell_area: float) -> Flow:
        step, depth = self.step.values, np.zeros(self.step.small.size)
        depth[self.wet] = self.depth
        return Flow(depth, step + np.arange(step.size), self.cells.values.astype(np.float64) * cell_area)


def _flows(drainage: Drainage, grounds: PossibleGrounds) -> Iterator[Flow]:
    ground = drainage.ground
    elevation, receiver = ground.elevation[grounds.window], _receivers(ground, grounds)
    for above in grounds.above:
        yield _flow(ground, grounds, elevation + above, receiver)


def _flow(ground: Ground, grounds: PossibleGrounds, heights: FloatArray, receiver: IntArray) -> Flow:
    kind, grid = np.ascontiguousarray(ground.kind[grounds.window]), ground.grid
    filled, target, _, cells = flood(
        np.ascontiguousarray(heights), kind, receiver, grid.cell_width, grid.cell_height
    )
    depth = np.where(np.isfinite(filled), filled - heights, 0.0)
    return Flow(depth.ravel(), target, cells.ravel() * grid.cell_area)


def _receivers(ground: Ground, grounds: PossibleGrounds) -> IntArray:
    """Where walls send their water, as cells of the window; some open cell where that lies outside it."""
    rows, columns = grounds.window
    kind, width = ground.kind[grounds.window], columns.stop - columns.start
    whole = ground.receiver[grounds.window]
    row, column = whole // ground.grid.shape[1] - rows.start, whole % ground.grid.shape[1] - columns.start
    inside = (whole >= 0) & (row >= 0) & (row < rows.stop - rows.start) & (column >= 0) & (column < width)
    open_cells = np.flatnonzero(kind.ravel() == OPEN)
    other = open_cells[0] if open_cells.size else -1
    walls = (kind == ROOF) | (kind == BARRIER)
    return np.where(inside, row * width + column, np.where(walls, other, -1)).astype(np.int64)
