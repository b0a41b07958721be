"""Flow paths: where water gathers into lines, from heads and confluences to the next, to a low spot, or out.

Inside a low spot a path runs down to the bottom and ends. What a full one lets over its sill is a line of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.flow.drainage import LEAVES, Drainage, drain_ground
from terrain.flow.low_spots import LowSpot
from terrain.ground import OPEN, OUTSIDE
from terrain.kernels.routing import accumulate

_AROUND = tuple((row, column) for row in (-1, 0, 1) for column in (-1, 0, 1) if row or column)


@dataclass(frozen=True, slots=True, eq=False)
class PathLine:
    """One line of gathered flow.

    Attributes
    ----------
    cells : (n,) int ndarray
        Flat indices downstream, two at least; the last is the confluence it joins, or where it ends.
    lower_end : int
        Flat index of its last own cell, before the confluence.
    contributing_area : float
        Ground that drains through its lower end; of a line that runs when a low spot is full, with that low spot's.
        [m2]
    fall : float
        From its upper end to its lower; of a line that runs when a low spot is full from where that spills. [m]
    when_full : bool
        Runs only when the low spot is full in which it begins.
    marked : bool
        Water of the cells that were marked runs in it.
    climb : float
        Most that it rises over lower ground that it came by, past the sill of a low spot that it begins in. [m]
    found : float or None
        Share of the grounds that lidar allows on which it runs there; None where that was not counted. [-]
    """

    cells: IntArray
    lower_end: int
    contributing_area: float
    fall: float
    when_full: bool
    marked: bool
    climb: float
    found: float | None = None


def find_flow_paths(
    drainage: Drainage, *, min_area: float, low_spots: Sequence[LowSpot] = (), marks: BoolArray | None = None
) -> tuple[PathLine, ...]:
    """Lines through the centres of cells that drain at least `min_area`.

    Parameters
    ----------
    drainage : Drainage
        Directions and accumulation.
    min_area : float
        Least contributing area of a cell on a path. [m2]
    low_spots : sequence of LowSpot
        In which a path ends until they are full.
    marks : (rows, cols) bool ndarray, optional
        Cells whose water is followed.

    Returns
    -------
    tuple of PathLine
        In the order of their first cells, those of full low spots last; none runs under a roof or through a barrier.
    """
    weights = np.zeros(drainage.target.size) if marks is None else marks.ravel().astype(np.float64)
    least = min_area * (1 - 1e-9)
    direct = drain_into(drainage, low_spots)
    level = np.where(np.isfinite(direct.filled), direct.filled, direct.ground.elevation).ravel()
    gathers = (drainage.ground.kind.ravel() == OPEN) & (direct.accumulation.ravel() >= least)
    marked = accumulate(direct.target, direct.order, weights) > 0.0
    heights, filled = drainage.ground.elevation.ravel(), drainage.filled.ravel()
    lines = []
    for cells, lower_end in _chains(direct.target, gathers):
        lines.append(
            PathLine(
                cells, lower_end, float(direct.accumulation.flat[lower_end]), float(level[cells[0]] - level[cells[-1]]),
                when_full=False, marked=bool(marked[lower_end]), climb=_climb(heights[cells]),
            )
        )
    marked = accumulate(drainage.target, drainage.order, weights) > 0.0
    for cells, lower_end in _overflows(drainage, direct, low_spots, gathers, least):
        sill = int(np.flatnonzero(filled[cells] >= filled[cells[0]])[-1])
        lines.append(
            PathLine(
                cells, lower_end, float(drainage.accumulation.flat[lower_end]),
                float(filled[cells[0]] - level[cells[-1]]),
                when_full=True, marked=bool(marked[lower_end]), climb=_climb(heights[cells[sill:]]),
            )
        )
    return tuple(lines)


def drain_into(drainage: Drainage, low_spots: Sequence[LowSpot]) -> Drainage:
    """The same ground where water stays at the bottom of each low spot, as it does until that is full."""
    if not low_spots:
        return drainage
    ground, bottoms = drainage.ground, np.unique([spot.bottom for spot in low_spots])
    kind = ground.kind.copy()
    kind.flat[bottoms] = OUTSIDE
    drained = drain_ground(replace(ground, kind=kind))
    target = drained.target.copy()
    target[bottoms] = LEAVES
    rows, columns = kind.shape
    for bottom in bottoms.tolist():
        row, column = divmod(bottom, columns)
        for down, right in _AROUND:
            beside = row + down, column + right
            if not (0 <= beside[0] < rows and 0 <= beside[1] < columns):
                continue
            cell = beside[0] * columns + beside[1]
            pinched = ground.kind[row, beside[1]] > OPEN and ground.kind[beside[0], column] > OPEN
            if kind.flat[cell] == OPEN and target[cell] == LEAVES and not pinched:
                target[cell] = bottom
    order = np.concatenate([bottoms, drained.order])
    every: FloatArray = np.zeros(target.size)
    every[order] = ground.grid.cell_area
    gathered = accumulate(target, order, every).reshape(kind.shape)
    return Drainage(ground, drained.filled, target, order, gathered)


def _climb(heights: FloatArray) -> float:
    return float(np.max(heights - np.minimum.accumulate(heights)))


def _chains(target: IntArray, gathers: BoolArray) -> list[tuple[IntArray, int]]:
    """Cells from each head or confluence to the next, and the last that are not another's too."""
    on_path = np.flatnonzero(gathers)
    after = target[on_path]
    joined = np.bincount(after[after >= 0], minlength=gathers.size)
    chains = []
    for start in on_path[joined[on_path] != 1].tolist():
        cells = [start]
        at = int(target[start])
        while at >= 0:
            cells.append(at)
            if joined[at] != 1:
                break
            at = int(target[at])
        if len(cells) > 1:
            chains.append((np.array(cells, dtype=np.int64), cells[-2] if joined[cells[-1]] > 1 else cells[-1]))
    return chains


def _overflows(
    drainage: Drainage, direct: Drainage, low_spots: Sequence[LowSpot], gathers: BoolArray, least: float
) -> list[tuple[IntArray, int]]:
    """From each bottom over the sill to a path, a line drawn before, the next bottom or out; with its lower end."""
    pond = _outermost(low_spots, gathers.size)
    found: list[tuple[IntArray, int]] = []
    taken: set[tuple[int, int]] = set()
    bottoms = {spot.bottom: _over_sill(drainage, pond, spot.bottom) for spot in _inner_first(low_spots)[::-1]}
    for bottom in sorted(bottoms, key=lambda cell: -bottoms[cell]):
        if bottoms[bottom] < least:
            break
        cells, at, lower_end, own = [bottom], bottom, bottom, pond[bottom]
        while True:
            other = pond[at] >= 0 and pond[at] != own
            step = int((direct if other else drainage).target[at])
            lower_end = lower_end if other else at
            if step < 0 or (at, step) in taken:
                break
            taken.add((at, step))
            cells.append(step)
            past_sill = pond[at] != own and pond[step] != own
            at = step
            if past_sill and gathers[at]:
                break
        if len(cells) > 1:
            found.append((np.array(cells, dtype=np.int64), lower_end))
    return found


def _over_sill(drainage: Drainage, pond: IntArray, bottom: int) -> float:
    """Ground that drains over the sill of the outermost low spot around a bottom. [m2]"""
    at = bottom
    while pond[at] == pond[bottom] and drainage.target[at] >= 0:
        at = int(drainage.target[at])
    return float(drainage.accumulation.flat[at])


def _outermost(low_spots: Sequence[LowSpot], size: int) -> IntArray:
    """Number of the outermost low spot that each cell lies in, -1 for none."""
    pond = np.full(size, -1, dtype=np.int64)
    for number, spot in enumerate(_inner_first(low_spots)):
        pond[spot.cells] = number
    return pond


def _inner_first(low_spots: Sequence[LowSpot]) -> list[LowSpot]:
    return sorted(low_spots, key=lambda spot: spot.cells.size)
