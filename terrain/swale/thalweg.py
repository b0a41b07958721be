"""Thalweg: the line of lowest ground that the raster shows along a drawn swale."""

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.ndimage import correlate1d
from shapely import LineString

from terrain.arrays import FloatArray, IntArray
from terrain.errors import GeometryError
from terrain.ground import Ground
from terrain.reading.surface import Surface
from terrain.sampling import sample_bilinear

# Cost of leaving the direction of the drawn line, and of leaving the line, in metres of height: small beside
# what a bank rises within a cell, so that they decide only where the bottom is flat.
_TURN_COST = 0.05
_AWAY_COST = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Thalweg:
    """The bottom of a swale, downstream.

    Attributes
    ----------
    line : shapely LineString
        Along the bottom, drawn downstream; z is the ground. [m]
    station : (n,) float ndarray
        Distance along it from its upper end. [m]
    x, y : (n,) float ndarray
        Easting and northing. [m]
    bottom : (n,) float ndarray
        Lowest ground within a cell to either side. [m]
    shift : (n,) float ndarray
        Distance from the drawn line, positive to the left of it, looking downstream. [m]
    turned : bool
        The line was drawn upstream.
    fall : float
        Of the straight line fitted to the bottom, from end to end. [m]
    at_reach : float
        Share of the line where the lowest ground lay at the edge of what was searched. [-]
    """

    line: LineString
    station: FloatArray
    x: FloatArray
    y: FloatArray
    bottom: FloatArray
    shift: FloatArray
    turned: bool
    fall: float
    at_reach: float

    @property
    def length(self) -> float:
        """Length of the line. [m]"""
        return float(self.station[-1])

    @property
    def grade(self) -> float:
        """Slope of the straight line fitted to the bottom, positive downstream. [-]"""
        return self.fall / self.length

    def tangents(self) -> tuple[FloatArray, FloatArray]:
        """Unit vector downstream at each station."""
        return _tangents(self.x, self.y)


def snap_thalweg(
    surface: Surface | Ground, drawn: LineString, *, reach: float = 3.0, smoothing: float = 3.0
) -> Thalweg:
    """Move a drawn line to the bottom that the raster shows, and turn it downstream.

    Of all lines that keep within `reach` of the drawn one it takes the lowest, heights averaged along the
    line over `smoothing`; where the bottom is flat, the straightest and nearest to the drawn line. The
    line runs downstream where the straight line fitted to its bottom falls. A `reach` of 0 keeps the drawn line, as
    for one that was surveyed.
    """
    _check_drawn(surface, drawn)
    step = min(surface.grid.cell_width, surface.grid.cell_height)
    path = _resampled(np.asarray(drawn.coords, dtype=np.float64)[:, :2], step)
    if reach == 0.0:
        return _finished(surface, drawn, path, 0.0)
    path = _smoothed(path, smoothing, step)
    path, at_reach = _moved(surface, path, reach, smoothing, step)
    # once more from where that led, whose sides are squarer to the bottom
    path, _ = _moved(surface, _resampled(path, step), reach / 2.0, smoothing, step)
    path = _resampled(path, step)
    return _finished(surface, drawn, path, at_reach)


def lowest_beside(surface: Surface | Ground, path: FloatArray) -> FloatArray:
    """Lowest ground within a cell to either side of each point of a path. [m]"""
    tx, ty = _tangents(path[:, 0], path[:, 1])
    width = max(surface.grid.cell_width, surface.grid.cell_height)
    offsets = np.linspace(-width, width, 9)
    heights = sample_bilinear(
        surface.elevation, surface.grid, path[:, :1] - ty[:, None] * offsets, path[:, 1:] + tx[:, None] * offsets
    )
    lowest: FloatArray = np.where(np.isnan(heights), np.inf, heights).min(axis=1)
    return np.where(np.isfinite(lowest), lowest, np.nan)


def _check_drawn(surface: Surface | Ground, drawn: LineString) -> None:
    if drawn.is_empty or not drawn.length > 0.0:
        raise GeometryError("swale line: it has no length; draw at least two different points along the bottom")
    if not drawn.is_simple:
        raise GeometryError("swale line: it crosses itself; draw it once along the bottom, or as two lines")
    step = min(surface.grid.cell_width, surface.grid.cell_height)
    points = _resampled(np.asarray(drawn.coords, dtype=np.float64)[:, :2], step)
    unknown = np.isnan(sample_bilinear(surface.elevation, surface.grid, points[:, 0], points[:, 1]))
    if unknown.any():
        x, y = points[int(np.argmax(unknown))]
        west, south, east, north = surface.grid.bounds
        what = "all of it" if unknown.all() else f"{unknown.mean():.0%} of it"
        raise GeometryError(
            f"swale line: {what} lies where the raster has no ground, first at easting {x:.1f} m, northing {y:.1f} m;"
            f" the raster spans {west:.1f} to {east:.1f} m east and {south:.1f} to {north:.1f} m north (metres of the"
            " map's plane); shorten the line, or give a raster that holds it"
        )


def _resampled(path: FloatArray, step: float) -> FloatArray:
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    # a length of whole cells must not gain one by round-off
    count = max(int(np.ceil(along[-1] / step - 1e-6)), 1) + 1
    at = np.linspace(0.0, along[-1], count)
    return np.column_stack([np.interp(at, along, path[:, 0]), np.interp(at, along, path[:, 1])])


def _smoothed(values: FloatArray, window: float, step: float) -> FloatArray:
    """Moving average; past the ends the values go on as their mirror through the end point."""
    half = min(round(window / 2.0 / step), len(values) - 1)
    if half < 1:
        return values
    before = 2.0 * values[0] - values[half:0:-1]
    after = 2.0 * values[-1] - values[-2 : -half - 2 : -1]
    padded = np.concatenate([before, values, after])
    weights = np.full(2 * half + 1, 1.0 / (2 * half + 1))
    averaged: FloatArray = correlate1d(padded, weights, axis=0, mode="nearest")[half:-half]
    return averaged


def _tangents(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    dx, dy = np.gradient(x), np.gradient(y)
    length = np.hypot(dx, dy)
    return dx / length, dy / length


def _moved(
    surface: Surface | Ground, path: FloatArray, reach: float, smoothing: float, step: float
) -> tuple[FloatArray, float]:
    """The path moved across itself to the lowest line, and the share of it that reached the edge."""
    tx, ty = _tangents(path[:, 0], path[:, 1])
    count = max(int(np.ceil(reach / (step / 2.0) - 1e-6)), 1)
    offsets = np.asarray(np.arange(-count, count + 1) * (step / 2.0), dtype=np.float64)
    # to the left of the path is positive
    x = path[:, :1] - ty[:, None] * offsets
    y = path[:, 1:] + tx[:, None] * offsets
    heights = sample_bilinear(surface.elevation, surface.grid, x, y)
    above = heights - np.nanmin(heights, axis=1, keepdims=True)
    dry_land = float(np.nanmax(above)) + 1.0
    above = np.where(np.isnan(above), dry_land, above)
    half = max(round(smoothing / 2.0 / step), 0)
    if half:
        above = correlate1d(above, np.full(2 * half + 1, 1.0 / (2 * half + 1)), axis=0, mode="nearest")
    chosen = _lowest_line(above + _AWAY_COST * offsets**2, offsets, step)
    edge = float(np.mean(np.abs(chosen) == count)) if count > 1 else 0.0
    move = _smoothed(offsets[chosen + count], smoothing, step)
    moved = path + np.column_stack([-ty * move, tx * move])
    return moved, edge


def _lowest_line(cost: FloatArray, offsets: FloatArray, step: float) -> IntArray:
    """Offset index (0 in the middle) at each row that makes the sum of cost and turning least."""
    rows, columns = cost.shape
    spacing = float(offsets[1] - offsets[0])
    widest = max(round(step / spacing), 1)
    moves = np.arange(-widest, widest + 1)
    turning = _TURN_COST * (moves * spacing / step) ** 2
    came_from = np.zeros((rows, columns), dtype=np.int64)
    total = cost[0].copy()
    padded = np.full(columns + 2 * widest, np.inf)
    for row in range(1, rows):
        padded[widest:-widest] = total
        options = np.stack([padded[widest + m : widest + m + columns] + t for m, t in zip(moves, turning, strict=True)])
        best = np.argmin(options, axis=0)
        came_from[row] = np.arange(columns) + moves[best]
        total = options[best, np.arange(columns)] + cost[row]
    chosen = np.empty(rows, dtype=np.int64)
    chosen[-1] = int(np.argmin(total))
    for row in range(rows - 1, 0, -1):
        chosen[row - 1] = came_from[row, chosen[row]]
    from_middle: IntArray = chosen - columns // 2
    return from_middle


def _finished(surface: Surface | Ground, drawn: LineString, path: FloatArray, at_reach: float) -> Thalweg:
    bottom = lowest_beside(surface, path)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    fall = -float(np.polyfit(along, bottom, 1)[0]) * float(along[-1])
    turned = fall < 0.0
    if turned:
        path, bottom, along = path[::-1], bottom[::-1], along[-1] - along[::-1]
    shift = shapely.distance(shapely.points(path), drawn)
    side = _side(path, drawn, turned)
    line = LineString(np.column_stack([path, bottom]))
    return Thalweg(
        line, along, path[:, 0].copy(), path[:, 1].copy(), bottom, shift * side, turned, abs(fall), at_reach
    )


def _side(path: FloatArray, drawn: LineString, turned: bool) -> FloatArray:
    """+1 where the path lies to the left of the drawn line looking downstream, -1 where to the right."""
    coordinates = np.asarray(drawn.coords, dtype=np.float64)[:, :2]
    along = shapely.line_locate_point(drawn, shapely.points(path))
    nodes = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(coordinates, axis=0).T))])
    segment = np.clip(np.searchsorted(nodes, along, side="right") - 1, 0, len(coordinates) - 2)
    start, end = coordinates[segment], coordinates[segment + 1]
    cross = (end[:, 0] - start[:, 0]) * (path[:, 1] - start[:, 1]) - (end[:, 1] - start[:, 1]) * (
        path[:, 0] - start[:, 0]
    )
    side = np.where(cross >= 0.0, 1.0, -1.0)
    return -side if turned else side
