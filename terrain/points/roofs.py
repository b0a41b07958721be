"""Roofs among points: by their class, else by standing above the ground and being flat."""

import numpy as np
from scipy import ndimage
from shapely import Polygon

from terrain.points.cells import density_where_any, fit_planes, sampled, window_grid
from terrain.points.ground_raster import PointGround
from terrain.points.outlines import outlines_of
from terrain.reading.points_window import BUILDING, GROUND, VEGETATION, WATER, PointCloud

_LEAST_CLASSED, _LEAST_FOUND = 8.0, 15.0
_STANDS = 2.0
# what points of a roof scatter about its plane, ridges and shingles included, and its steepest slope: 60 degrees
_MOST_RMS, _STEEPEST = 0.15, 1.75
_LEAST_POINTS = 6.0


def roofs_by_class(cloud: PointCloud, ground: PointGround) -> list[Polygon]:
    """Outlines of the building class; none where the producer did not use it."""
    return outlines_of(cloud.of(cloud.kind == BUILDING), ground.grid.frame, least_area=_LEAST_CLASSED)


def roofs_standing(cloud: PointCloud, ground: PointGround) -> list[Polygon]:
    """Outlines of what stands 2 m above the ground and is planar, of points that nobody classed as ground, water or
    vegetation.
    """
    frame = ground.grid.frame
    candidates = cloud.of(cloud.last & ~np.isin(cloud.kind, (GROUND, WATER, *VEGETATION)))
    above = candidates.z + candidates.base - sampled(ground.elevation, candidates, ground.grid)
    standing = candidates.of(above > _STANDS)
    if standing.kind.size < _LEAST_POINTS:
        return []
    spacing = 1.0 / float(np.sqrt(density_where_any(standing, frame)))
    grid = window_grid(standing, frame, max(0.8, 1.4 * spacing))
    fit = fit_planes(standing, grid, with_neighbours=True)
    flat = (fit.points >= _LEAST_POINTS) & (fit.rms <= _MOST_RMS) & (fit.slope <= _STEEPEST)
    # beside a ridge or an eave one of the windows that hold the cell lies in one plane
    beside_flat = ndimage.binary_dilation(flat, np.ones((3, 3)))
    # alone, a few level leaves are no roof
    solid = ndimage.binary_opening(beside_flat, np.ones((3, 3)))
    planar = standing.of(sampled(solid.astype(np.float64), standing, grid) > 0.5)
    return outlines_of(planar, frame, least_area=_LEAST_FOUND)
