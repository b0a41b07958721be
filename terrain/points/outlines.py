"""Points that stand together as outlines, squared up where they bear it out."""

import math

import numpy as np
import shapely
from rasterio.features import rasterize
from scipy import ndimage
from shapely import Polygon
from shapely.affinity import rotate, scale

from terrain.arrays import BoolArray, FloatArray
from terrain.flow.cells_to_polygons import label_polygons
from terrain.grid import Frame, Grid
from terrain.points.cells import counted, density_where_any, window_grid, within
from terrain.reading.points_window import PointCloud

_FINEST = 0.25
# how far apart points of one roof may lie, and how far beyond the outermost its edge lies, in spacings
_BRIDGED, _BEYOND = 1.5, 0.4
# parts narrower than this are no part of a house [m]
_NARROWEST = 1.5
_A_RECTANGLE, _MOST_CHANGED = 0.88, 0.12
_JOG = 0.6


def outlines_of(cloud: PointCloud, frame: Frame, *, least_area: float, square: bool = True) -> list[Polygon]:
    """Outlines of groups of points that cover at least an area [m2]."""
    if cloud.kind.size < 4:
        return []
    spacing = 1.0 / math.sqrt(density_where_any(cloud, frame))
    grid = window_grid(cloud, frame, max(_FINEST, spacing / 3.0))
    cell = grid.cell_width
    bridged = within(counted(cloud, grid) > 0, _BRIDGED * spacing, cell)
    covered = ~within(~bridged, (_BRIDGED - _BEYOND) * spacing, cell)
    covered = within(~within(~covered, _NARROWEST / 2.0, cell), _NARROWEST / 2.0, cell) & covered
    labels, count = ndimage.label(covered)
    sizes = np.bincount(labels.ravel(), minlength=count + 1) * grid.cell_area
    sizes[0] = 0.0
    kept = np.where(sizes >= least_area, np.arange(count + 1), -1)[labels]
    if (kept < 0).all():
        return []
    found = [_largest(shape) for shape in label_polygons(kept, grid).values()]
    if square:
        return [squared(shape) for shape in found]
    return [_largest(shape.simplify(cell)) for shape in found]


def squared(shape: Polygon) -> Polygon:
    """A shape with corners of right angles, where that changes little of it; else with its steps smoothed."""
    box = shapely.oriented_envelope(shape)
    if not isinstance(box, Polygon) or box.area == 0.0:
        return shape
    if shape.area / box.area >= _A_RECTANGLE:
        return _of_area(box, shape.area)
    (x0, y0), (x1, y1) = box.exterior.coords[:2]
    angle, middle = math.degrees(math.atan2(y1 - y0, x1 - x0)), shape.centroid
    upright = _rectilinear(rotate(shape, -angle, origin=middle))
    if upright is not None:
        turned = rotate(upright, angle, origin=middle)
        if turned.symmetric_difference(shape).area <= _MOST_CHANGED * shape.area:
            return _largest(turned)
    return _largest(shape.simplify(2.0 * _FINEST))


def _of_area(box: Polygon, area: float) -> Polygon:
    """A rectangle drawn in alike on all sides until it has an area [m2]."""
    corners = np.asarray(box.exterior.coords)[:3]
    long, short = (float(np.hypot(*(corners[at + 1] - corners[at]))) for at in (0, 1))
    inset = ((long + short) - math.sqrt((long + short) ** 2 - 4.0 * (long * short - area))) / 4.0
    angle = math.degrees(math.atan2(*(corners[1] - corners[0])[::-1]))
    upright = rotate(box, -angle, origin=box.centroid)
    drawn = scale(upright, 1.0 - 2.0 * inset / long, 1.0 - 2.0 * inset / short, origin=box.centroid)
    return _largest(rotate(drawn, angle, origin=box.centroid))


def _rectilinear(shape: Polygon) -> Polygon | None:
    """A shape along the axes, without parts and gaps narrower than a house's."""
    west, south, east, north = shape.bounds
    pad = 2.0 * _NARROWEST
    size = (int((north - south + 2 * pad) / _FINEST) + 1, int((east - west + 2 * pad) / _FINEST) + 1)
    grid = Grid(size, west - pad, north + pad, _FINEST, _FINEST, Frame(None, 1.0, 1.0, 1.0))  # type: ignore[arg-type]
    cells: BoolArray = rasterize([shape], out_shape=size, transform=grid.transform).astype(np.bool_)
    block = np.ones((round(_NARROWEST / _FINEST) + 1,) * 2, dtype=np.bool_)
    cells = ndimage.binary_opening(ndimage.binary_closing(cells, block), block)
    if not cells.any():
        return None
    found = _largest(label_polygons(np.where(cells, 0, -1), grid)[0])
    ring = _without_jogs(np.asarray(found.exterior.coords)[:-1], _JOG)
    drawn = Polygon(ring)
    return drawn if drawn.is_valid and drawn.area > 0.0 else None


def _without_jogs(ring: FloatArray, least: float) -> FloatArray:
    """A ring along the axes, whose edges shorter than `least` [m] are taken up by the two that they join."""
    corners = ring.copy()
    while len(corners) > 4:
        lengths = np.abs(np.roll(corners, -1, axis=0) - corners).sum(axis=1)
        at = int(np.argmin(lengths))
        if lengths[at] >= least:
            break
        n = len(corners)
        before, after, end = (at - 1) % n, (at + 2) % n, (at + 1) % n
        axis = int(np.argmax(np.abs(corners[end] - corners[at])))
        share = lengths[before] / (lengths[before] + lengths[end])
        line = share * corners[at, axis] + (1.0 - share) * corners[end, axis]
        corners[[before, at, end, after], axis] = line
        corners = np.delete(corners, [at, end], axis=0)
    return corners


def _largest(shape: shapely.Geometry) -> Polygon:
    """The largest part of a shape, without holes too small to be a court."""
    part = max((each for each in shapely.get_parts(shape) if isinstance(each, Polygon)), key=lambda each: each.area)
    return Polygon(part.exterior, [hole for hole in part.interiors if Polygon(hole).area > _NARROWEST * 4.0])
