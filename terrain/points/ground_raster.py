"""Ground points as a raster: linear interpolation in their triangulation."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import Delaunay, QhullError

from terrain.arrays import BoolArray, FloatArray
from terrain.errors import GroundError
from terrain.grid import Frame, Grid
from terrain.kernels.triangles import fill_triangles
from terrain.points.cells import counted, density_where_any, sums_by_cell, window_grid, within
from terrain.reading.points_window import GROUND, WATER, PointCloud

# cells are of a size that producers of rasters use; each holds about one ground point
_CELLS = ((0.35, 0.25), (0.8, 0.5))
_COARSEST = 1.0
_MOST_CELLS = 4_000_000
_MOST_CORNERS = 1_000_000
_SPACINGS = 3.0
_LEAST_POINTS = 100


@dataclass(frozen=True, slots=True, eq=False)
class PointGround:
    """Ground from points.

    Attributes
    ----------
    elevation : (rows, cols) float ndarray
        Wherever the triangulation reaches, also far from any ground point; NaN elsewhere. [m]
    near : (rows, cols) bool ndarray
        Cells within three spacings of a ground point.
    spacing : float
        Of ground points where there are any. [m]
    """

    grid: Grid
    elevation: FloatArray
    near: BoolArray
    spacing: float

    def known(self, roofed: BoolArray) -> FloatArray:
        """Heights near ground points and under roofs, where they span from wall to wall; NaN elsewhere. [m]"""
        return np.where(self.near | roofed, self.elevation, np.nan)


def ground_of_points(cloud: PointCloud, frame: Frame, names: str) -> PointGround:
    """Triangulate ground and water, thinned to the mean of each cell where they stand closer than cells do."""
    chosen = (cloud.kind == GROUND) | (cloud.kind == WATER)
    ground = cloud.of(chosen)
    if int((ground.kind == GROUND).sum()) < _LEAST_POINTS:
        held = ", ".join(f"{kind} ({n:,})" for kind, n in enumerate(np.bincount(cloud.kind)) if n)
        raise GroundError(
            f"{names}: around the parcel fewer than {_LEAST_POINTS} of its {cloud.kind.size:,} points are classed as "
            f"ground (class 2 of the LAS specification); its classes there are {held}; give a classified tile, or "
            "the agency's ground raster in its place"
        )
    spacing = 1.0 / float(np.sqrt(density_where_any(ground, frame)))
    west, south, east, north = cloud.bounds
    area = (east - west) * (north - south)
    cell = next((size for limit, size in _CELLS if spacing <= limit), _COARSEST)
    while area / cell**2 > _MOST_CELLS:
        cell *= 2.0
    grid = window_grid(cloud, frame, cell)
    fine = window_grid(cloud, frame, max(cell, float(np.sqrt(area / _MOST_CORNERS))))
    x, y, z = _means(ground, fine)
    near = within(counted(ground, grid) > 0, max(_SPACINGS * spacing, cell), cell)
    # the triangulation takes the memory that these points took
    del ground, chosen
    elevation = np.full(grid.shape, np.nan)
    try:
        triangles = Delaunay(np.column_stack([x, y])).simplices.astype(np.int64)
    except QhullError:
        raise GroundError(f"{names}: its ground points around the parcel lie in one line; it is damaged") from None
    across, down = (x - (grid.left - west)) / cell - 0.5, ((grid.top - south) - y) / cell - 0.5
    fill_triangles(across, down, z, triangles, elevation)
    return PointGround(grid, elevation + cloud.base, near, spacing)


def _means(cloud: PointCloud, grid: Grid) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean place and height of the points of each cell that holds any."""
    n, *sums = sums_by_cell(cloud, grid, lambda x, y, z: (x, y, z))
    held = n > 0
    x, y, z = (each[held] / n[held] for each in sums)
    return x, y, z
