"""The grid that a raster's heights are delivered on, from the file's own cells."""

from typing import Any

import numpy as np
from affine import Affine
from pyproj import CRS, Transformer

from terrain.grid import Frame, Grid
from terrain.metric_frame import moved_points

# a geographic raster may span a continent; ground beyond this of the lot is never asked for
_WARPED_REACH_DEGREES = 0.2


def apply_affine(transform: Affine, across: Any, down: Any) -> tuple[Any, Any]:
    """Where an affine transform takes points; spelt out, since releases of affine differ in how they write it."""
    return (
        transform.a * across + transform.b * down + transform.c,
        transform.d * across + transform.e * down + transform.f,
    )


def file_cell_size(transform: Affine, crs: CRS, frame: Frame, near: tuple[float, float]) -> tuple[float, float]:
    """True length of a cell's sides along the file's columns and rows, at the lot. [m]"""
    dx, dy = np.array([transform.a, transform.b]), np.array([transform.d, transform.e])
    if crs != frame.crs:
        x, y = Transformer.from_crs(CRS.from_epsg(4326), crs, always_xy=True).transform(*near)
        xs, ys = moved_points(crs, frame.crs, np.array([x, x + dx[0], x + dx[1]]), np.array([y, y + dy[0], y + dy[1]]))
        dx, dy = xs[1:] - xs[0], ys[1:] - ys[0]
    dx, dy = dx * frame.x_scale, dy * frame.y_scale
    width, height = np.hypot(dx, dy)
    return float(width), float(height)


def own_grid(transform: Affine, shape: tuple[int, int], frame: Frame) -> Grid:
    """The file's own cells, where they are north-up in the frame's CRS."""
    sx, sy = frame.x_scale, frame.y_scale
    return Grid(shape, transform.c * sx, transform.f * sy, transform.a * sx, -transform.e * sy, frame)


def north_up_grid(
    transform: Affine,
    shape: tuple[int, int],
    crs: CRS,
    frame: Frame,
    near: tuple[float, float],
    cell: tuple[float, float],
) -> Grid:
    """North-up cells over a file whose own are not; the file's own where it is only flipped or turned by a right
    angle.
    """
    rows, columns = shape
    quarter_turns = crs.is_projected and (transform.b == 0 == transform.d or transform.a == 0 == transform.e)
    along = np.linspace(0.0, 1.0, 21)
    zero, one = np.zeros_like(along), np.ones_like(along)
    x, y = apply_affine(
        transform,
        np.concatenate([along, along, zero, one]) * columns,
        np.concatenate([zero, one, along, along]) * rows,
    )
    if quarter_turns:
        width, height = cell if transform.b == 0 else cell[::-1]
    else:
        width = height = min(cell)
        if crs.is_geographic and x.min() <= near[0] <= x.max() and y.min() <= near[1] <= y.max():
            x = np.clip(x, near[0] - _WARPED_REACH_DEGREES, near[0] + _WARPED_REACH_DEGREES)
            y = np.clip(y, near[1] - _WARPED_REACH_DEGREES, near[1] + _WARPED_REACH_DEGREES)
    if crs != frame.crs:
        x, y = moved_points(crs, frame.crs, x, y)
    x, y = x[np.isfinite(x)] * frame.x_scale, y[np.isfinite(y)] * frame.y_scale
    left, top = float(x.min()), float(y.max())
    if not quarter_turns:
        left, top = float(np.floor(left / width) * width), float(np.ceil(top / height) * height)
    count = (int(np.ceil((top - y.min()) / height - 1e-6)), int(np.ceil((x.max() - left) / width - 1e-6)))
    return Grid(count, left, top, width, height, frame)
