"""Shots of a level on site: they shift the ground as a whole and override it near each shot."""

from dataclasses import dataclass, replace

import numpy as np

from terrain.arrays import FloatArray
from terrain.errors import GroundError
from terrain.reading.surface import Surface


@dataclass(frozen=True, slots=True, eq=False)
class ShotFit:
    """How shots and raster agree.

    Attributes
    ----------
    shift : float
        Median of shot less raster, added everywhere. [m]
    residuals : (n,) float ndarray
        Shot less shifted raster at each shot, before bending. [m]
    """

    surface: Surface
    shift: float
    residuals: FloatArray


def rebase_on_shots(
    surface: Surface, x: FloatArray, y: FloatArray, heights: FloatArray, *, reach: float = 8.0
) -> ShotFit:
    """Bring lidar ground to a level's shots.

    The shots' own datum wins: the median difference shifts the whole raster, so that a benchmark of the
    crew's choosing works as well as a national datum. What is left at each shot bends the ground near it,
    by inverse squared distance among the shots, fading to nothing at `reach`. A cell that holds a shot takes its
    height; one that holds several, their mean.

    References
    ----------
    .. [1] D. Shepard, "A two-dimensional interpolation function for irregularly-spaced data", Proc. 23rd ACM
       National Conference, 1968, pp. 517-524, DOI 10.1145/800186.810616 (inverse distance weighting).
    """
    grid = surface.grid
    rows, columns = grid.cells(x, y)
    inside = (rows >= 0) & (rows < grid.shape[0]) & (columns >= 0) & (columns < grid.shape[1])
    known = inside.copy()
    known[inside] = np.isfinite(surface.elevation[rows[inside], columns[inside]])
    if not known.any():
        raise GroundError(
            f"none of the {len(heights)} level shots lies on known ground of the raster window; "
            "give easting and northing in the map's CRS, on or near the lot"
        )
    raster = surface.elevation[rows[known], columns[known]]
    difference = heights[known] - raster
    shift = float(np.median(difference))
    residuals = difference - shift
    elevation = surface.elevation + shift + _bend(surface, x[known], y[known], residuals, reach)
    return ShotFit(replace(surface, elevation=elevation), shift, residuals)


def _bend(surface: Surface, x: FloatArray, y: FloatArray, residuals: FloatArray, reach: float) -> FloatArray:
    grid = surface.grid
    _, cell_y = grid.centres(np.arange(grid.shape[0]), np.zeros(grid.shape[0]))
    cell_x, _ = grid.centres(np.zeros(grid.shape[1]), np.arange(grid.shape[1]))
    weight_sum = np.zeros(grid.shape)
    weighted = np.zeros(grid.shape)
    fade = np.zeros(grid.shape)
    floor = 0.25 * grid.cell_area
    for shot_x, shot_y, residual in zip(x, y, residuals, strict=True):
        squared = (cell_x[None, :] - shot_x) ** 2 + (cell_y[:, None] - shot_y) ** 2
        weight = 1.0 / np.maximum(squared, floor)
        weight_sum += weight
        weighted += weight * residual
        fade = np.maximum(fade, np.clip(1.0 - np.sqrt(squared) / reach, 0.0, 1.0))
    bent: FloatArray = fade * weighted / weight_sum
    # a cell that holds shots is what they say, whatever others nearby say
    rows, columns = grid.cells(x, y)
    count = np.zeros(grid.shape)
    told = np.zeros(grid.shape)
    np.add.at(count, (rows, columns), 1.0)
    np.add.at(told, (rows, columns), residuals)
    return np.where(count > 0.0, told / np.maximum(count, 1.0), bent)
