"""Cells of a surface raster as points over the ground of another."""

import numpy as np

from terrain.points.ground_raster import PointGround
from terrain.reading.points_window import PointCloud
from terrain.reading.surface import Surface


def cells_as_points(surface: Surface, ground: Surface) -> tuple[PointCloud, PointGround]:
    """Known cells of a surface that lie over the ground's, each as the last return of a class that nobody gave."""
    west, south, east, north = ground.grid.bounds
    rows, columns = np.nonzero(np.isfinite(surface.elevation))
    x, y = surface.grid.centres(rows, columns)
    inside = (x >= west) & (x < east) & (y > south) & (y <= north)
    z = surface.elevation[rows, columns][inside]
    base = float(np.floor(np.median(z))) if z.size else 0.0
    cloud = PointCloud(
        (x[inside] - west).astype(np.float32), (y[inside] - south).astype(np.float32), (z - base).astype(np.float32),
        np.ones(z.size, dtype=np.uint8), np.ones(z.size, dtype=np.bool_), ground.grid.bounds, base,
    )  # fmt: skip
    known = np.isfinite(ground.elevation)
    return cloud, PointGround(ground.grid, ground.elevation, known, ground.grid.cell_width)
