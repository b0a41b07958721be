"""Pressure lines from a sump: they keep their cover, cross what they may and need no slope."""

from dataclasses import replace

import numpy as np
import shapely
from shapely import Point

from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.graph import cell_steps, mean_along, turn_costs
from pipelines.layout.routing.kernels.laying import Tube, lay_segment, parts_of
from pipelines.layout.routing.kernels.relax import bent_ways
from pipelines.layout.routing.pipe_layer import ANY_ANGLE, PipeLayer, bend_list, without_repeats
from pipelines.layout.routing.spec import OutfallTarget, RoutedLine, RoutePipe, RouteSpec
from pipelines.layout.routing.steps import STEPS
from terrain.arrays import BoolArray, FloatArray, IntArray

# a slope at which a pipe follows the ground under its cover however it rises
ANY_SLOPE = -1e6
# how far a pressure line's vertices may be off the ground's shape [m]
FLAT_ENOUGH = 0.05


def route_pressure(
    field: RouteField,
    start: Point,
    outfall: OutfallTarget,
    pipe: RoutePipe,
    spec: RouteSpec,
    *,
    cover: float = 0.3,
    from_id: str = "sump",
    line_id: str = "pressure-1",
    serves: tuple[str, ...] = (),
    ways: tuple[FloatArray, IntArray] | None = None,
) -> RoutedLine | None:
    """Cheapest pressure line: it keeps its cover and needs no slope; by `ways` that were found already."""
    ends = field.nearest_allowed(start.x, start.y), field.nearest_allowed(outfall.point.x, outfall.point.y)
    if ends[0] is None or ends[1] is None:
        return None
    columns = field.grid.shape[1]
    first, last = (r * columns + c for r, c in (ends[0], ends[1]))
    best, before = pressure_ways(field, pipe, spec, cover, ends[1]) if ways is None else ways
    if not np.isfinite(best[first].min()):
        return None
    cells = _followed(before, first, int(np.argmin(best[first])), last, columns)
    x, y = field.grid.centres(cells // columns, cells % columns)
    path = np.vstack([[start.x, start.y], np.column_stack([x, y]), [outfall.point.x, outfall.point.y]])
    path = without_repeats(path)
    if len(path) < 2:
        return None
    layer, tube = _pressure_layer(field, pipe, spec, cover, outfall)
    shape = path
    for tolerance in (ANY_ANGLE, spec.joint_angle):
        shorter = layer.shorten(path, tube, tube.end_level, -np.inf, float("nan"), tolerance)
        shape = shorter if len(shorter) else shape
    xy, inverts, cost = _follow_ground(layer, tube, shape, outfall.level)
    crossings, permit, assumed, near_line = layer.meets(xy)
    return RoutedLine(
        id=line_id, from_id=from_id, to_id=outfall.id, serves=serves, pipe=-1, xy=xy, inverts=inverts,
        ground=np.array([layer.ground_at(px, py) for px, py in xy]), cost=cost + outfall.cost, flow=0.0,
        crossings=crossings, permit=permit, assumed=assumed, near_line=near_line, fittings=tuple(bend_list(xy)),
    )


def pressure_ways(
    field: RouteField, pipe: RoutePipe, spec: RouteSpec, cover: float, end: tuple[int, int]
) -> tuple[FloatArray, IntArray]:
    """Cheapest ways for a pressure line from every cell to one. [money]"""
    last = end[0] * field.grid.shape[1] + end[1]
    best, onward = bent_ways(cell_steps(field), _step_costs(field, pipe, spec, cover), turn_costs(spec, 16), last,
                             backward=True)
    return best, onward


def _step_costs(field: RouteField, pipe: RoutePipe, spec: RouteSpec, cover: float) -> FloatArray:
    """What each step costs a pressure line, infinite where it does not fit. [money]"""
    below = pipe.wall + spec.bedding
    depth = np.maximum(field.cover, cover) + pipe.crown + below
    fits = field.ground - depth >= field.deepest - 1e-9
    depth = np.where(fits, depth, np.inf).reshape(-1)
    onward = cell_steps(field)
    pair = 0.5 * (depth[:, None] + np.append(depth, np.inf)[onward])
    trench = np.interp(pair, spec.trench_depths, spec.trench_costs)
    metre = pipe.cost + mean_along(field.surface_cost) + mean_along(field.dig_factor) * trench
    crossing = field.crossing_cost.reshape(len(depth), -1)
    costs: FloatArray = np.where(np.isfinite(pair), field.step_lengths() * metre + crossing, np.inf)
    return costs


def _followed(before: IntArray, cell: int, d: int, last: int, columns: int) -> IntArray:
    """Cells from one to the last along ways that were found from the last."""
    cells = [cell]
    while cell != last:
        step = before[cell, d]
        cell -= int(STEPS[d, 0]) * columns + int(STEPS[d, 1])
        cells.append(cell)
        d = int(step)
    return np.array(cells)


def _pressure_layer(
    field: RouteField, pipe: RoutePipe, spec: RouteSpec, cover: float, outfall: OutfallTarget
) -> tuple[PipeLayer, Tube]:
    layer = PipeLayer(replace(field, cover=np.maximum(field.cover, cover)), replace(spec, pipes=(pipe,)))
    tube = Tube(ANY_SLOPE, pipe.crown, pipe.wall, pipe.wall + spec.bedding, pipe.cost, outfall.point.x,
                outfall.point.y, outfall.level, 0.0)
    return layer, tube


def _follow_ground(
    layer: PipeLayer, tube: Tube, shape: FloatArray, level: float
) -> tuple[FloatArray, FloatArray, float]:
    """Vertices, inverts and cost of a line that follows the ground under its cover, and ends at a level."""
    stations: list[FloatArray] = []
    for i in range(len(shape) - 1):
        dx, dy = shape[i + 1] - shape[i]
        out = np.empty((parts_of(layer.bed, dx, dy) + 1, 5))
        no_hits = np.empty((0, 7))  # what it crosses is seen to at the end
        lay_segment(layer.bed, tube, no_hits, *shape[i], *shape[i + 1], 1e6, np.empty((0, 3)), out)
        share = np.linspace(0.0, 1.0, len(out))[:, None]
        stations.append(np.column_stack([shape[i] + share * (shape[i + 1] - shape[i]), out[:, 2]])[int(i > 0):])
    line = np.vstack(stations)
    clear = _past_crossings(layer, tube, line)
    clear[-1, 2] = level
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(clear[:, :2], axis=0).T))])
    keep = _bends_of_profile(along, clear[:, 2])
    for vertex in shape:
        keep |= np.hypot(*(clear[:, :2] - vertex).T) < 1e-9
    xy, inverts = clear[keep, :2], clear[keep, 2]
    return xy, inverts, layer.price(xy, tube, np.minimum(inverts, line[keep, 2]), shape)


def _past_crossings(layer: PipeLayer, tube: Tube, line: FloatArray) -> FloatArray:
    """The line (x, y, invert), led under what it would hit."""
    result = line.copy()
    path = shapely.linestrings(np.stack([line[:-1, :2], line[1:, :2]], axis=1))
    for crossing in layer.field.crossings:
        if crossing.elevation is None:
            continue
        low = crossing.elevation - crossing.clearance - tube.crown
        high = crossing.elevation + crossing.clearance + tube.wall
        for k in np.flatnonzero(shapely.intersects(crossing.shape, path)):
            if min(result[k, 2], result[k + 1, 2]) < high:
                result[k: k + 2, 2] = np.minimum(result[k: k + 2, 2], low)
    return result


def _bends_of_profile(along: FloatArray, z: FloatArray) -> BoolArray:
    """Stations that a profile needs so that it is nowhere off by more than a little."""
    keep = np.zeros(along.size, dtype=np.bool_)
    keep[[0, -1]] = True
    waiting = [(0, along.size - 1)]
    while waiting:
        i, j = waiting.pop()
        if j <= i + 1:
            continue
        off = np.abs(z[i + 1: j] - np.interp(along[i + 1: j], along[[i, j]], z[[i, j]]))
        k = i + 1 + int(np.argmax(off))
        if off[k - i - 1] > FLAT_ENOUGH:
            keep[k] = True
            waiting += [(i, k), (k, j)]
    return keep
