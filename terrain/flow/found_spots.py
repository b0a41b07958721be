"""On how many of the grounds that lidar allows a low spot is there."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from terrain.arrays import IntArray
from terrain.flow.drainage import Drainage
from terrain.flow.low_spots import LowSpot
from terrain.flow.on_grounds import flow_on_each
from terrain.lidar.grounds import PossibleGrounds

LEAST_SHARE = 0.5
"""A low spot is there where water stands half as deep over half of its ground. [-]"""


def found_on(
    spots: Sequence[LowSpot], drainage: Drainage, grounds: PossibleGrounds | None, *, called_from: float
) -> tuple[LowSpot, ...]:
    """Low spots with the share of grounds on which each is there; on a smaller one than is called they are within lidar
    error."""
    if grounds is None or not spots:
        return tuple(spots)
    inside = [_in_window(spot, drainage, grounds) for spot in spots]
    judged = [number for number, cells in enumerate(inside) if cells.size and not spots[number].enclosed]
    if not judged:
        return tuple(spots)
    cells = np.concatenate([inside[number] for number in judged])
    sizes = np.array([inside[number].size for number in judged])
    begins = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    depths = np.array([spots[number].depth for number in judged])
    there = np.zeros(len(judged))
    for flow in flow_on_each(drainage, grounds):
        under = flow.depth[cells]
        deep = np.maximum.reduceat(under, begins) >= LEAST_SHARE * depths
        there += deep & (np.add.reduceat((under > 0.0).astype(np.float64), begins) >= LEAST_SHARE * sizes)
    found = dict(zip(judged, (there / grounds.count).tolist(), strict=True))
    return tuple(
        replace(spot, found=found[number], within_lidar_error=found[number] < called_from) if number in found else spot
        for number, spot in enumerate(spots)
    )


def _in_window(spot: LowSpot, drainage: Drainage, grounds: PossibleGrounds) -> IntArray:
    """Its cells in the window, in the window's own order: what reaches beyond is judged by what lies in it."""
    rows, columns = grounds.window
    width = drainage.ground.grid.shape[1]
    row, column = spot.cells // width - rows.start, spot.cells % width - columns.start
    within = (row >= 0) & (row < rows.stop - rows.start) & (column >= 0) & (column < columns.stop - columns.start)
    cells: IntArray = row[within] * (columns.stop - columns.start) + column[within]
    return cells
