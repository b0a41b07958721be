"""Pressure lines from a sump, and the place for the sump that costs least."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import Point

from pipelines.layout.kernels.laying import Tube, lay_segment, parts_of
from pipelines.layout.kernels.relax import bent_ways
from pipelines.layout.line_layer import ANY_ANGLE, Layer, bend_list
from pipelines.layout.route_field import STEPS, RouteField
from pipelines.layout.route_graph import cell_steps, mean_along, turn_costs
from pipelines.layout.route_search import search_grid
from pipelines.layout.route_spec import Collector, OutfallTarget, RoutedLine, RoutePipe, RouteSpec
from pipelines.layout.straighten import straighten
from terrain.arrays import BoolArray, FloatArray, IntArray

# a slope at which a pipe follows the ground under its cover however it rises
ANY_SLOPE = -1e6
# how far a pressure line's vertices may be off the ground's shape [m]
FLAT_ENOUGH = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class SumpSite:
    """A sump where it costs least, with what drains to it and what leaves it.

    Attributes
    ----------
    point : shapely Point
        Where it stands.
    ground, inlet : float
        Ground, and lowest invert that comes in. [m]
    inflows : tuple of RoutedLine
        Gravity lines to it, upstream before downstream.
    pressure : RoutedLine
        The line that leaves it.
    serves : tuple of str
        Ids of the collectors that drain to it.
    cost : float
        Lines, the sump as given, and power. [money]
    """

    point: Point
    ground: float
    inlet: float
    inflows: tuple[RoutedLine, ...]
    pressure: RoutedLine
    serves: tuple[str, ...]
    cost: float


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
) -> RoutedLine | None:
    """Cheapest pressure line: it keeps its cover and needs no slope.

    Parameters
    ----------
    field : RouteField
        Where it may be laid.
    start : shapely Point
        Where the sump stands.
    outfall : OutfallTarget
        Where it ends; its level is the height of the open end.
    pipe : RoutePipe
        Its pipe; the slope is not used.
    spec : RouteSpec
        Prices of trench and bends.
    cover : float
        Least cover, beside the field's own. [m]
    from_id, line_id : str
        Ids of the sump and of the line.
    serves : tuple of str
        Ids of the collectors whose water it carries.

    Returns
    -------
    RoutedLine or None
        `pipe` is -1, since it is none of the spec's; None where no way is allowed.
    """
    ends = field.nearest_allowed(start.x, start.y), field.nearest_allowed(outfall.point.x, outfall.point.y)
    if ends[0] is None or ends[1] is None:
        return None
    columns = field.grid.shape[1]
    first, last = (r * columns + c for r, c in (ends[0], ends[1]))
    best, before = bent_ways(cell_steps(field), _step_costs(field, pipe, spec, cover), turn_costs(spec, 16), last,
                             backward=True)
    if not np.isfinite(best[first].min()):
        return None
    cells = _followed(before, first, int(np.argmin(best[first])), last, columns)
    x, y = field.grid.centres(cells // columns, cells % columns)
    path = np.vstack([[start.x, start.y], np.column_stack([x, y]), [outfall.point.x, outfall.point.y]])
    away = np.hypot(*np.diff(path, axis=0).T) > 1e-6
    path = path[np.concatenate([[True], away])]
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


def site_sumps(
    field: RouteField,
    collectors: Sequence[Collector],
    outfall: OutfallTarget,
    spec: RouteSpec,
    pressure_pipe: RoutePipe,
    places: BoolArray,
    *,
    deepest_inlet: float,
    sump_cost: float = 0.0,
    power: Point | None = None,
    power_cost: float = 0.0,
    cover: float = 0.3,
) -> tuple[tuple[SumpSite, ...], dict[str, str]]:
    """Where sumps cost least, gravity lines to them, pressure line and power together.

    Parameters
    ----------
    field : RouteField
        Where lines may be laid.
    collectors : sequence of Collector
        What cannot leave by gravity.
    outfall : OutfallTarget
        Where the pressure line ends.
    spec : RouteSpec
        Pipes and prices of the gravity lines.
    pressure_pipe : RoutePipe
        Pipe of the pressure line.
    places : (rows, cols) bool ndarray
        Cells where a sump may stand.
    deepest_inlet : float
        Deepest that an invert may come into a sump, below its ground. [m]
    sump_cost : float
        Of a sump with its pump; what keeps it at one sump. [money]
    power : shapely Point, optional
        Where power comes from.
    power_cost : float
        Of bringing it. [money/m]
    cover : float
        Of the pressure line. [m]

    Returns
    -------
    sites : tuple of SumpSite
        One as a rule.
    unserved : dict of str to str
        Collectors that reach none, and why.
    """
    columns = field.grid.shape[1]
    end = field.nearest_allowed(outfall.point.x, outfall.point.y)
    rows, cols = np.nonzero(places & field.allowed)
    if end is None or not rows.size:
        return (), {c.id: "no place for a sump with a way to the outfall" for c in collectors}
    best, _ = bent_ways(cell_steps(field), _step_costs(field, pressure_pipe, spec, cover), turn_costs(spec, 16),
                        end[0] * columns + end[1], backward=True)
    onward = best.min(axis=1)[rows * columns + cols] + outfall.cost + sump_cost
    x, y = field.grid.centres(rows, cols)
    if power is not None:
        onward = onward + power_cost * np.hypot(x - power.x, y - power.y)
    sumps = [
        OutfallTarget(f"sump@{r},{c}", Point(px, py), float(field.ground[r, c]) - deepest_inlet, float(cost))
        for r, c, px, py, cost in zip(rows, cols, x, y, onward, strict=True) if np.isfinite(cost)
    ]
    no_taper = replace(spec, taper_length=0.0)
    # a basin that becomes the sump needs no drop of its own
    grid = search_grid(field, collectors, sumps, no_taper, directions=8)
    unserved = {collectors[i].id: why for i, why in grid.unserved.items()}
    lines, left = straighten(field, grid.runs, collectors, sumps, no_taper)
    unserved |= {collectors[i].id: "no gravity line to a sump fits the ground" for i in left}
    sites: list[SumpSite] = []
    for target in sumps:
        inflows = _lines_to(target.id, lines)
        if not inflows:
            continue
        serves = tuple(dict.fromkeys(name for line in inflows for name in line.serves))
        name = f"sump-{len(sites) + 1}"
        pressure = route_pressure(field, target.point, outfall, pressure_pipe, spec, cover=cover, from_id=name,
                                  line_id=f"pressure-{len(sites) + 1}", serves=serves)
        if pressure is None:
            unserved |= dict.fromkeys(serves, "no way for a pressure line")
            continue
        ending = [line for line in inflows if line.to_id == target.id]
        # a basin where the sump stands is the sump: what came through it comes into the sump
        in_place = {line.from_id for line in ending if line.length <= 1e-6}
        inflows = tuple(
            replace(line, to_id=name, cost=line.cost - (target.cost if line.to_id == target.id else 0.0))
            if line.to_id in {target.id, *in_place} else line
            for line in inflows if line.length > 1e-6
        )
        distance = 0.0 if power is None else target.point.distance(power)
        sites.append(SumpSite(
            target.point, float(field.ground[field.grid.cells(target.point.x, target.point.y)]),
            min(float(line.inverts[-1]) for line in ending), inflows, pressure, serves,
            sum(line.cost for line in inflows) + pressure.cost + sump_cost + power_cost * distance,
        ))
    return tuple(sites), unserved


def _lines_to(end: str, lines: Sequence[RoutedLine]) -> tuple[RoutedLine, ...]:
    """The tree of lines that ends at an id, in the order given."""
    ends = {end}
    kept = []
    for line in reversed(lines):
        if line.to_id in ends:
            kept.append(line)
            ends |= {line.id, line.from_id}
    return tuple(reversed(kept))


def _step_costs(field: RouteField, pipe: RoutePipe, spec: RouteSpec, cover: float) -> FloatArray:
    """What each step costs a pressure line, infinite where it does not fit. [money]"""
    below = pipe.wall + spec.bedding
    depth = np.maximum(field.cover, cover) + pipe.crown + below
    fits = field.ground - depth >= field.deepest - 1e-9
    depth = np.where(fits, depth, np.inf).reshape(-1)
    onward = cell_steps(field)
    pair = 0.5 * (depth[:, None] + np.append(depth, np.inf)[onward])
    table = np.append(spec.trench_depths, 1e9), np.append(spec.trench_costs, spec.trench_costs[-1])
    metre = pipe.cost + mean_along(field.surface_cost) + mean_along(field.dig_factor) * np.interp(pair, *table)
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
) -> tuple[Layer, Tube]:
    layer = Layer(replace(field, cover=np.maximum(field.cover, cover)), replace(spec, pipes=(pipe,)))
    tube = Tube(ANY_SLOPE, pipe.crown, pipe.wall, pipe.wall + spec.bedding, pipe.cost, outfall.point.x,
                outfall.point.y, outfall.level, 0.0)
    return layer, tube


def _follow_ground(layer: Layer, tube: Tube, shape: FloatArray, level: float) -> tuple[FloatArray, FloatArray, float]:
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


def _past_crossings(layer: Layer, tube: Tube, line: FloatArray) -> FloatArray:
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
