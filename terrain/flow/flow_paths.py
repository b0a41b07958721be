"""Flow paths: where water gathers into lines, from heads and confluences to the next confluence or way out."""

from dataclasses import dataclass

import numpy as np

from terrain.arrays import IntArray
from terrain.flow.drainage import Drainage
from terrain.ground import OPEN


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
        Ground that drains through its lower end. [m2]
    """

    cells: IntArray
    lower_end: int
    contributing_area: float


def find_flow_paths(drainage: Drainage, *, min_area: float) -> tuple[PathLine, ...]:
    """Lines through the centres of cells that drain at least `min_area`.

    Parameters
    ----------
    drainage : Drainage
        Directions and accumulation.
    min_area : float
        Least contributing area of a cell on a path. [m2]

    Returns
    -------
    tuple of PathLine
        In the order of their first cells; none runs under a roof or through a barrier.
    """
    open_ground = drainage.ground.kind.ravel() == OPEN
    gathers = open_ground & (drainage.accumulation.ravel() >= min_area * (1 - 1e-9))
    on_path = np.flatnonzero(gathers)
    after = drainage.target[on_path]
    joined = np.bincount(after[after >= 0], minlength=gathers.size)
    starts = on_path[joined[on_path] != 1]
    lines = []
    for start in starts.tolist():
        cells = [start]
        at = int(drainage.target[start])
        while at >= 0:
            cells.append(at)
            if joined[at] != 1:
                break
            at = int(drainage.target[at])
        if len(cells) < 2:
            continue
        last = cells[-1]
        lower_end = cells[-2] if joined[last] > 1 else last
        lines.append(PathLine(np.array(cells, dtype=np.int64), lower_end, float(drainage.accumulation.flat[lower_end])))
    return tuple(lines)
