"""On how many of the grounds that lidar allows a low spot is there."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from terrain.flow.drainage import Drainage
from terrain.flow.low_spots import LowSpot
from terrain.flow.on_grounds import flow_on_each
from terrain.lidar.grounds import PossibleGrounds

LEAST_SHARE = 0.5
"""A low spot is there where water stands half as deep over half of its ground; it is within lidar error where that is
so on less than half of the grounds. [-]"""


def found_on(
    spots: Sequence[LowSpot], drainage: Drainage, grounds: PossibleGrounds | None
) -> tuple[LowSpot, ...]:
    """Low spots with the share of grounds on which each is there, which says whether it is within lidar error."""
    if grounds is None or not spots:
        return tuple(spots)
    rows, columns = grounds.window
    width = drainage.ground.grid.shape[1]
    inside = []
    for spot in spots:
        row, column = spot.cells // width - rows.start, spot.cells % width - columns.start
        # what reaches beyond the window is judged by what lies in it
        within = (row >= 0) & (row < rows.stop - rows.start) & (column >= 0) & (column < columns.stop - columns.start)
        inside.append(row[within] * (columns.stop - columns.start) + column[within])
    there = np.zeros(len(spots))
    for flow in flow_on_each(drainage, grounds):
        for number, (spot, cells) in enumerate(zip(spots, inside, strict=True)):
            under = flow.depth[cells]
            there[number] += bool(
                cells.size
                and under.max() >= LEAST_SHARE * spot.depth
                and np.count_nonzero(under > 0.0) >= LEAST_SHARE * cells.size
            )
    return tuple(
        spot if spot.enclosed or not cells.size
        else replace(spot, found=share, within_lidar_error=bool(share < LEAST_SHARE))
        for spot, cells, share in zip(spots, inside, (there / grounds.count).tolist(), strict=True)
    )

