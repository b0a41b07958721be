"""On how many of the grounds that lidar allows a line of flow runs where it is drawn."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.ndimage import maximum_filter

from terrain.flow.drainage import Drainage
from terrain.flow.flow_paths import PathLine
from terrain.flow.on_grounds import flow_on_best, flow_on_each
from terrain.lidar.grounds import PossibleGrounds

BESIDE = 1.0
"""A line that runs this near runs at the same place, and in the cell beside at least. [m]"""
LEAST_SHARE = 0.5
"""A line is there where half as much ground drains along half of it. [-]"""


def found_paths(paths: Sequence[PathLine], drainage: Drainage, grounds: PossibleGrounds | None) -> tuple[PathLine, ...]:
    """Lines of flow with the share of grounds on which each runs; none of a line that lies under water or far off."""
    if grounds is None or not paths:
        return tuple(paths)
    grid, (rows, columns) = drainage.ground.grid, grounds.window
    shape = rows.stop - rows.start, columns.stop - columns.start
    reach = [2 * max(1, round(BESIDE / size)) + 1 for size in (grid.cell_height, grid.cell_width)]
    best = flow_on_best(drainage, grounds)
    judged, inside = [], []
    for number, path in enumerate(paths):
        # its last cell is another's where it ends at a confluence
        row, column = np.divmod(path.cells[:-1], grid.shape[1])
        row, column = row - rows.start, column - columns.start
        within = (row >= 0) & (row < shape[0]) & (column >= 0) & (column < shape[1])
        cells = row[within] * shape[1] + column[within]
        cells = cells[best.depth[cells] <= 0.0]
        if cells.size:
            judged.append(number)
            inside.append(cells)
    if not judged:
        return tuple(paths)
    sizes, every = np.array([each.size for each in inside]), np.concatenate(inside)
    begins = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    # what spills over from low spots above runs in it too, but is not what makes it
    own = np.repeat([paths[number].contributing_area for number in judged], sizes)
    least, there = LEAST_SHARE * np.minimum(best.area[every], own), np.zeros(len(judged))
    for flow in flow_on_each(drainage, grounds):
        runs = maximum_filter(flow.area.reshape(shape), size=reach, mode="constant").ravel()[every] >= least
        there += np.add.reduceat(runs.astype(np.float64), begins) >= LEAST_SHARE * sizes
    found = dict(zip(judged, (there / grounds.count).tolist(), strict=True))
    return tuple(replace(path, found=found.get(number)) for number, path in enumerate(paths))
