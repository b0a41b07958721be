"""The steps that lead from cell to cell of a route field: which are open, what they cross, what lies half-way."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.grid import Grid

# Sixteen ways out of a cell, counted in steps of about 22.5 degrees from east, against the clock; the even ones
# are the eight neighbours, the odd ones the knight's moves between them.
STEPS = np.array(
    [(0, 1), (-1, 2), (-1, 1), (-2, 1), (-1, 0), (-2, -1), (-1, -1), (-1, -2),
     (0, -1), (1, -2), (1, -1), (2, -1), (1, 0), (2, 1), (1, 1), (1, 2)],
    dtype=np.int64,
)


@dataclass(frozen=True, slots=True)
class Crossing:
    """Something buried that a line may cross with care.

    Attributes
    ----------
    id, kind : str
        Its id and what it is.
    shape : shapely geometry
        Line or polygon in the metric frame.
    cost : float
        Of one crossing, by hand. [money]
    elevation : float or None
        Of its middle; None where its depth is not known. [m]
    clearance : float
        Clear height wanted between it and the pipe. [m]
    """

    id: str
    kind: str
    shape: Any
    cost: float
    elevation: float | None
    clearance: float


def step_middles(array: FloatArray, *, highest: bool, every: int = 1) -> FloatArray:
    """What lies half-way along each, or every second, step: mean or highest of the two or four cells that meet there.
    [any]"""
    middles = []
    for d in range(0, len(STEPS), every):
        around = [shifted(array, step, np.nan) for step in ([] if d % 4 == 0 else _between(d))]
        if d % 2 == 0:
            around += [array, shifted(array, (int(STEPS[d, 0]), int(STEPS[d, 1])), np.nan)]
        middles.append(np.max(around, axis=0) if highest else np.mean(around, axis=0))
    return np.stack(middles, axis=-1)


def shifted(array: Any, step: tuple[int, int], fill: Any) -> Any:
    """The array whose cell (row, column) holds the value one `step` away, `fill` outside."""
    result = np.full_like(array, fill)
    (rows, columns), (down, right) = array.shape, step
    if abs(down) < rows and abs(right) < columns:
        result[max(0, -down): rows - max(0, down), max(0, -right): columns - max(0, right)] = array[
            max(0, down): rows - max(0, -down), max(0, right): columns - max(0, -right)]
    return result


def edges_of_barred(barred: Any, blocked: BoolArray, grid: Grid) -> FloatArray:
    """Edges of the barred shape and of blocked cells. [m]"""
    rows, columns = np.nonzero(blocked)
    west, north = grid.left + columns * grid.cell_width, grid.top - rows * grid.cell_height
    cells = shapely.union_all(shapely.box(west, north - grid.cell_height, west + grid.cell_width, north))
    return _segments(shapely.boundary([cells.simplify(0.0)] + ([] if barred is None else [barred])))


def _segments(lines: Any) -> FloatArray:
    """The straight pieces of lines, (x, y, x, y)."""
    parts = [np.zeros((0, 4))]
    for line in shapely.get_parts(lines):
        xy = shapely.get_coordinates(line)
        parts.append(np.hstack([xy[:-1], xy[1:]]))
    return np.vstack(parts)


def hits_of_crossings(crossings: tuple[Crossing, ...]) -> FloatArray:
    """Edges of what may be crossed, with the price of crossing one and the heights barred to a pipe."""
    rows = [np.zeros((0, 7))]
    for crossing in crossings:
        for part in shapely.get_parts(crossing.shape):
            area = shapely.get_dimensions(part) == 2
            edges = _segments(shapely.boundary(part) if area else part)
            # who crosses an area crosses its edge twice
            told = [0.5 * crossing.cost if area else crossing.cost, np.inf, -np.inf]
            if crossing.elevation is not None:
                told[1:] = [crossing.elevation - crossing.clearance, crossing.elevation + crossing.clearance]
            rows.append(np.hstack([edges, np.tile(told, (len(edges), 1))]))
    return np.vstack(rows)


def _between(d: int) -> tuple[tuple[int, int], tuple[int, int]]:
    """The two cells beside a diagonal step, or the two that a knight's move passes between."""
    down, right = int(STEPS[d, 0]), int(STEPS[d, 1])
    if d % 2 == 0:
        return (down, 0), (0, right)
    half = (int(np.sign(down)), int(np.sign(right)))
    return (half, (0, half[1])) if abs(right) == 2 else (half, (half[0], 0))


def passable_steps(allowed: BoolArray, barred: Any, grid: Grid) -> BoolArray:
    """Whether a line may run from each cell along each of STEPS."""
    passable = np.zeros((*allowed.shape, len(STEPS)), dtype=np.bool_)
    for d in range(len(STEPS)):
        open_step = allowed & shifted(allowed, (int(STEPS[d, 0]), int(STEPS[d, 1])), False)
        if d % 4:  # no cutting of corners
            first, second = _between(d)
            open_step &= shifted(allowed, first, False) & shifted(allowed, second, False)
        passable[..., d] = open_step
    if barred is not None and not barred.is_empty:
        shapely.prepare(barred)
        # a step comes no farther than its length
        reach = 1.001 * np.hypot(*np.abs(STEPS).max(axis=0) * (grid.cell_height, grid.cell_width))
        rows, columns = np.nonzero(passable.any(axis=-1))
        near = np.zeros(allowed.shape, dtype=np.bool_)
        near[rows, columns] = shapely.dwithin(barred, shapely.points(*grid.centres(rows, columns)), reach)
        for d in range(len(STEPS) // 2):
            rows, columns = np.nonzero(passable[..., d] & near)
            hit = shapely.intersects(barred, step_lines(grid, rows, columns, d))
            passable[rows[hit], columns[hit], d] = False
            _copy_to_reverse(passable, d, False)
    return passable


def step_lines(grid: Grid, rows: IntArray, columns: IntArray, d: int) -> Any:
    """Shapely lines from the centres of cells along one of STEPS."""
    x, y = grid.centres(rows, columns)
    to_x, to_y = grid.centres(rows + STEPS[d, 0], columns + STEPS[d, 1])
    return shapely.linestrings(np.stack([np.stack([x, y], axis=-1), np.stack([to_x, to_y], axis=-1)], axis=1))


def _copy_to_reverse(steps: Any, d: int, fill: Any) -> None:
    reverse = (d + len(STEPS) // 2) % len(STEPS)
    steps[..., reverse] = shifted(steps[..., d], (-int(STEPS[d, 0]), -int(STEPS[d, 1])), fill)


def crossed_by_steps(
    passable: BoolArray, crossings: tuple[Crossing, ...], grid: Grid
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What each step pays for crossings, and the heights between which no pipe may lie there."""
    cost = np.zeros(passable.shape)
    low = np.full(passable.shape, np.inf)
    high = np.full(passable.shape, -np.inf)
    shapes = np.array([crossing.shape for crossing in crossings], dtype=object)
    shapely.prepare(shapes)
    told = np.array([
        (each.cost, np.inf, -np.inf) if each.elevation is None
        else (each.cost, each.elevation - each.clearance, each.elevation + each.clearance)
        for each in crossings
    ])
    for d in range(len(STEPS) // 2 if crossings else 0):
        rows, columns = np.nonzero(passable[..., d])
        x, y = grid.centres(rows, columns)
        wide, high_up = 1.001 * np.abs(STEPS[d, ::-1]) * (grid.cell_width, grid.cell_height)
        near = [
            np.flatnonzero((x >= west - wide) & (x <= east + wide) & (y >= south - high_up) & (y <= north + high_up))
            for west, south, east, north in shapely.bounds(shapes)
        ]
        which, cells = np.repeat(np.arange(len(near)), [each.size for each in near]), np.concatenate(near)
        lines = step_lines(grid, rows[cells], columns[cells], d)
        hit = shapely.intersects(shapes[which], lines)
        which, cells, lines = which[hit], cells[hit], lines[hit]
        # a step that ends on a line and the next that starts there would both pay: half each
        ends = shapely.intersects(shapes[which], shapely.get_point(lines, 0)).astype(np.float64)
        ends += shapely.intersects(shapes[which], shapely.get_point(lines, -1))
        at = rows[cells], columns[cells], d
        np.add.at(cost, at, told[which, 0] * (1.0 - 0.5 * ends))
        np.minimum.at(low, at, told[which, 1])
        np.maximum.at(high, at, told[which, 2])
        for steps, fill in ((cost, 0.0), (low, np.inf), (high, -np.inf)):
            _copy_to_reverse(steps, d, fill)
    return cost, low, high


def entering_steps(permit: BoolArray) -> FloatArray:
    """Steps that enter the right of way. [-]"""
    steps = [shifted(permit, (int(down), int(right)), False) & ~permit for down, right in STEPS]
    return np.stack(steps, axis=-1).astype(np.float64)
