"""Points counted, summed and fitted by the cells they lie in."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.grid import Frame, Grid
from terrain.reading.points_window import PointCloud

# points are widened and binned so many at a time, which bounds the memory that this takes
_AT_A_TIME = 2_000_000
Terms = Callable[[FloatArray, FloatArray, FloatArray], tuple[FloatArray, ...]]


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
    held, *_ = sums_by_cell(cloud, grid, lambda x, y, z: ())
    return held.astype(np.int64)


def sums_by_cell(cloud: PointCloud, grid: Grid, terms: Terms) -> list[FloatArray]:
    """How many points lie in each cell, and the sums of what `terms` makes of their x, y and z."""
    size = grid.shape[0] * grid.shape[1]
    totals: list[FloatArray] = []
    for first in range(0, max(cloud.kind.size, 1), _AT_A_TIME):
        part = cloud.of(slice(first, first + _AT_A_TIME))
        cells = cell_of_points(part, grid)
        made = terms(*(each.astype(np.float64) for each in (part.x, part.y, part.z)))
        totals = totals or [np.zeros(size) for _ in range(len(made) + 1)]
        totals[0] += np.bincount(cells, minlength=size)
        for total, each in zip(totals[1:], made, strict=True):
            total += np.bincount(cells, weights=each, minlength=size)
    return [total.reshape(grid.shape) for total in totals]


def density_where_any(cloud: PointCloud, frame: Frame, cell: float = 3.0) -> float:
    """Points to a square metre of the cells that hold any, so that what has none does not thin them out. [1/m2]"""
    held = counted(cloud, window_grid(cloud, frame, cell))
    covered = int((held > 0).sum())
    return float(held.sum()) / (covered * cell**2) if covered else 0.0


def fit_planes(cloud: PointCloud, grid: Grid, *, with_neighbours: bool) -> PlaneFit:
    """Fit planes by least squares."""
    sums = sums_by_cell(cloud, grid, lambda x, y, z: (x, y, z, x * x, y * y, x * y, x * z, y * z, z * z))
    if with_neighbours:
        sums = [ndimage.convolve(each, np.ones((3, 3)), mode="constant") for each in sums]
    n = sums[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        mx, my, mz, xx, yy, xy, xz, yz, zz = (each / n for each in sums[1:])
        xx, yy, xy = xx - mx * mx, yy - my * my, xy - mx * my
        xz, yz, zz = xz - mx * mz, yz - my * mz, zz - mz * mz
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
