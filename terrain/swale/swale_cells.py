"""Which cells lie in a swale, and by which of its sections."""

import numpy as np
from scipy.spatial import cKDTree

from terrain.arrays import IntArray
from terrain.ground import OPEN, Ground
from terrain.kept import kept
from terrain.swale.sections import SwaleSection
from terrain.swale.thalweg import Thalweg


@kept
def swale_cells(ground: Ground, thalweg: Thalweg, sections: tuple[SwaleSection, ...]) -> IntArray:
    """Cells between the banks, by the first section at or below them."""
    grid = ground.grid
    labels = np.full(grid.shape, -1, dtype=np.int64)
    widest = max(max(-float(section.offsets[0]), float(section.offsets[-1])) for section in sections)
    rows, columns = _window(ground, thalweg, widest)
    if len(rows) == 0:
        return labels
    x, y = grid.centres(rows, columns)
    away, nearest = cKDTree(np.column_stack([thalweg.x, thalweg.y])).query(
        np.column_stack([x, y]), distance_upper_bound=widest + max(grid.cell_width, grid.cell_height)
    )
    close = np.isfinite(away)
    rows, columns, x, y, nearest = rows[close], columns[close], x[close], y[close], nearest[close]
    tx, ty = thalweg.tangents()
    dx, dy = x - thalweg.x[nearest], y - thalweg.y[nearest]
    along = dx * tx[nearest] + dy * ty[nearest]
    right = dx * ty[nearest] - dy * tx[nearest]
    at = thalweg.station[nearest] + along
    stations = np.array([section.station for section in sections])
    left_bank = np.interp(at, stations, [float(section.offsets[0]) for section in sections])
    right_bank = np.interp(at, stations, [float(section.offsets[-1]) for section in sections])
    half = max(grid.cell_width, grid.cell_height) / 2.0
    # the cells that the thalweg itself crosses always belong, however narrow the swale
    inside = (right >= np.minimum(left_bank, -half)) & (right <= np.maximum(right_bank, half))
    inside &= (at >= -half) & (at <= thalweg.length + half) & (ground.kind[rows, columns] == OPEN)
    labels[rows[inside], columns[inside]] = np.clip(
        np.searchsorted(stations, at[inside] - 1e-9), 0, len(sections) - 1
    )
    return labels


def _window(ground: Ground, thalweg: Thalweg, widest: float) -> tuple[IntArray, IntArray]:
    grid = ground.grid
    top, left = grid.cells(thalweg.x.min() - widest, thalweg.y.max() + widest)
    bottom, right = grid.cells(thalweg.x.max() + widest, thalweg.y.min() - widest)
    rows = np.arange(max(int(top), 0), min(int(bottom) + 1, grid.shape[0]))
    columns = np.arange(max(int(left), 0), min(int(right) + 1, grid.shape[1]))
    mesh = np.meshgrid(rows, columns, indexing="ij")
    return mesh[0].ravel(), mesh[1].ravel()
