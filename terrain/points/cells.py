"""Points counted, summed and fitted by the cells they lie in."""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.grid import Frame, Grid
from terrain.reading.points_window import Float32Array, PointCloud


@dataclass(frozen=True, slots=True, eq=False)
class PlaneFit:
    """A plane through the points of each cell, or of it and its eight neighbours.

    Attributes
    ----------
    points : (rows, cols) float ndarray
        How many it was fitted to. [-]
    rms : (rows, cols) float ndarray
        What they scatter about it, for three degrees of freedom; infinite where three points do not make a plane. [m]
    slope : (rows, cols) float ndarray
        [-]
    """

    points: FloatArray
    rms: FloatArray
    slope: FloatArray


def window_grid(cloud: PointCloud, frame: Frame, cell: float) -> Grid:
    """Square cells over a window of points, their corners at whole cells of the metric plane."""
    west, south, east, north = cloud.bounds
    left, top = np.floor(west / cell + 1e-9) * cell, np.ceil(north / cell - 1e-9) * cell
    rows, columns = int(np.ceil((top - south) / cell - 1e-9)), int(np.ceil((east - left) / cell - 1e-9))
    return Grid((rows, columns), float(left), float(top), cell, cell, frame)


def cell_of_points(cloud: PointCloud, grid: Grid) -> IntArray:
    """Flat cell of each point."""
    west, south, _, _ = cloud.bounds
    rows = ((grid.top - south - cloud.y.astype(np.float64)) / grid.cell_height).astype(np.int64)
    columns = ((west - grid.left + cloud.x.astype(np.float64)) / grid.cell_width).astype(np.int64)
    # half a millimetre of round-off may take a point over the window's edge
    held: IntArray = np.clip(rows, 0, grid.shape[0] - 1) * grid.shape[1] + np.clip(columns, 0, grid.shape[1] - 1)
    return held


def counted(cloud: PointCloud, grid: Grid) -> IntArray:
    """Points in each cell."""
    rows, columns = grid.shape
    return np.bincount(cell_of_points(cloud, grid), minlength=rows * columns).reshape(grid.shape)


def density_where_any(cloud: PointCloud, frame: Frame, cell: float = 3.0) -> float:
    """Points to a square metre of the cells that hold any, so that what has none does not thin them out. [1/m2]"""
    held = counted(cloud, window_grid(cloud, frame, cell))
    covered = int((held > 0).sum())
    return float(held.sum()) / (covered * cell**2) if covered else 0.0


def fit_planes(cloud: PointCloud, grid: Grid, *, with_neighbours: bool) -> PlaneFit:
    """Fit planes by least squares."""
    cells = cell_of_points(cloud, grid)
    size = grid.shape[0] * grid.shape[1]

    def summed(values: FloatArray | None) -> FloatArray:
        total: FloatArray = np.bincount(cells, weights=values, minlength=size).astype(np.float64).reshape(grid.shape)
        if with_neighbours:
            total = ndimage.convolve(total, np.ones((3, 3)), mode="constant")
        return total

    x, y, z = (_wide(each) for each in (cloud.x, cloud.y, cloud.z))
    n = summed(None)
    with np.errstate(divide="ignore", invalid="ignore"):
        mx, my, mz = summed(x) / n, summed(y) / n, summed(z) / n
        xx, yy, xy = summed(x * x) / n - mx * mx, summed(y * y) / n - my * my, summed(x * y) / n - mx * my
        xz, yz, zz = summed(x * z) / n - mx * mz, summed(y * z) / n - my * mz, summed(z * z) / n - mz * mz
        determinant = xx * yy - xy * xy
        east = (xz * yy - yz * xy) / determinant
        north = (yz * xx - xz * xy) / determinant
        variance = np.maximum(zz - east * xz - north * yz, 0.0) * n / (n - 3.0)
    # points on one line make no plane
    fitted = (n > 3.5) & (determinant > 1e-3 * grid.cell_area**2)
    rms = np.sqrt(np.where(fitted, variance, np.inf))
    return PlaneFit(n, rms, np.where(fitted, np.hypot(east, north), np.inf))


def sampled(raster: FloatArray, cloud: PointCloud, grid: Grid) -> FloatArray:
    """What a raster holds at each point's cell."""
    values: FloatArray = raster.ravel()[cell_of_points(cloud, grid)]
    return values


def within(mask: BoolArray, distance: float, cell: float) -> BoolArray:
    """Cells within a distance [m] of those of a mask."""
    if not mask.any():
        return np.zeros_like(mask)
    near: BoolArray = ndimage.distance_transform_edt(~mask, sampling=cell) <= distance
    return near


def _wide(values: Float32Array) -> FloatArray:
    return values.astype(np.float64)
