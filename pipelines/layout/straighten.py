"""Lines of the grid made straight: fewest bends that pay, fittings that exist, straight grades."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from pipelines.layout.kernels.laying import (
    Bed,
    Tube,
    bend_units,
    grade_breaks,
    lay_segment,
    least_start,
    priced,
    station,
    straightest,
)
from pipelines.layout.kernels.ways import ground_at
from pipelines.layout.route_field import RouteField
from pipelines.layout.route_search import GridRun
from pipelines.layout.route_spec import Collector, OutfallTarget, RoutedLine, RouteSpec
from terrain.arrays import FloatArray, IntArray

FITTINGS: tuple[tuple[float, ...], ...] = ((), (22.5,), (45.0,), (22.5, 45.0), (45.0, 45.0))
MOST_POINTS = 70
# how much deeper straight grades may lie than the highest line, and what a break of grade is held to cost [m], [money]
LOSSES = (0.1, 0.06, 0.03, 0.015, 0.005, 0.0)
GRADE_BREAK = 8.0


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """A line as it would be laid.

    Attributes
    ----------
    xy : (n, 2) float ndarray
        Vertices: ends, bends, breaks of grade. [m]
    inverts : (n,) float ndarray
        [m]
    cost : float
        Pipe, trench, surface, crossings and bends. [money]
    """

    xy: FloatArray
    inverts: FloatArray
    cost: float


class CannotLay(Exception):
    """A line does not fit between its cover and its depth, or ends too low."""


class Layer:
    """Lays lines in one field.

    Parameters
    ----------
    field : RouteField
        Where lines may be laid.
    spec : RouteSpec
        Pipes and prices.
    """

    def __init__(self, field: RouteField, spec: RouteSpec) -> None:
        grid = field.grid
        self.field, self.spec = field, spec
        self.bed = Bed(field.ground, field.cover, field.deepest, field.surface_cost, field.dig_factor, field.permit,
                       field.permit_cost, grid.left, grid.top, grid.cell_width, grid.cell_height,
                       np.array(spec.trench_depths), np.array(spec.trench_costs))
        self.bends = np.array([0.0, spec.bend_22, spec.bend_45, spec.bend_22 + spec.bend_45, 2.0 * spec.bend_45])

    def tube(self, pipe: int, outfall: OutfallTarget) -> Tube:
        """A pipe of the spec on its way to an outfall."""
        chosen = self.spec.pipes[pipe]
        return Tube(chosen.min_slope, chosen.crown, chosen.wall, chosen.wall + self.spec.bedding, chosen.cost,
                    outfall.point.x, outfall.point.y, outfall.level + self.spec.dig_tolerance, self.spec.taper_length)

    def shorten(
        self, path: FloatArray, tube: Tube, invert: float, end_level: float, heading_out: float
    ) -> FloatArray:
        """The points of a path that its straightened line keeps.

        Parameters
        ----------
        path : (n, 2) float ndarray
            Points, each in reach of the next. [m]
        tube : Tube
            The pipe.
        invert, end_level : float
            Invert at the first point, and the lowest at the last. [m]
        heading_out : float
            Heading of the line that it joins, NaN for none. [degrees]

        Returns
        -------
        (m, 2) float ndarray
            Empty where no line can be laid. [m]
        """
        if len(path) > MOST_POINTS:
            path = _thinned(path)
        cost, first, marks = self._crossings(path)
        x, y = np.ascontiguousarray(path[:, 0]), np.ascontiguousarray(path[:, 1])
        for tolerance in (self.spec.joint_angle, 11.25):
            for by_height in (False, True):
                kept = straightest(self.bed, tube, self.field.walls, x, y, invert, end_level, cost, first, marks,
                                   self.bends, tolerance, heading_out, by_height)
                if kept.size:
                    chosen: FloatArray = path[kept]
                    return chosen
        return path[:0]

    def needed(self, xy: FloatArray, tube: Tube, invert: float, end_level: float) -> float:
        """Lowest invert that a line with given vertices can begin with; `invert` is one that it could have. [m]

        Raises
        ------
        CannotLay
            If it cannot be laid from there.
        """
        profile, _, _ = self._profile(xy, tube, invert)
        if profile[-1, 4] < end_level - 1e-6:
            raise CannotLay
        return float(min(invert, least_start(profile[:, 0], profile[:, 3], tube.slope, end_level)))

    def lay(self, xy: FloatArray, tube: Tube, invert: float, end_level: float) -> Laid:
        """Inverts and cost of a line with given vertices.

        Parameters
        ----------
        xy : (n, 2) float ndarray
            Its vertices. [m]
        tube : Tube
            The pipe.
        invert, end_level : float
            Invert at the first vertex, and the lowest at the last. [m]

        Returns
        -------
        Laid

        Raises
        ------
        CannotLay
            If it cannot be laid from there.
        """
        profile, places, crossed = self._profile(xy, tube, invert)
        if profile[-1, 4] < end_level - 1e-6:
            raise CannotLay
        along, highest, floor = profile[:, 0], profile[:, 4], profile[:, 3].copy()
        # grades must leave what the rest of the line needs
        below = end_level
        for k in range(len(along) - 1, -1, -1):
            below = max(below, floor[k])
            floor[k] = min(below, highest[k])
            below += tube.slope * (along[k] - along[k - 1]) if k else 0.0
        best: Laid | None = None
        at_best = np.inf
        for loss in LOSSES:
            breaks, inverts = grade_breaks(along, highest, floor, tube.slope, loss)
            if inverts[-1] < end_level - 1e-6:
                continue
            at = np.unique(np.concatenate([breaks, places]))
            z = np.interp(along[at], along[breaks], inverts)
            x, y = (np.interp(along[at], along[places], xy[:, k]) for k in range(2))
            cost = priced(self.bed, tube, x, y, z) + crossed + self.bend_cost(xy)
            if cost + GRADE_BREAK * len(at) < at_best:
                best, at_best = Laid(np.column_stack([x, y]), z, cost), cost + GRADE_BREAK * len(at)
        if best is None:
            raise CannotLay
        return best

    def price(self, xy: FloatArray, tube: Tube, inverts: FloatArray, shape: FloatArray) -> float:
        """Pipe, trench, surface, crossings and bends of a line with given inverts; `shape` is it in plan. [money]"""
        cost, _, _ = self._crossings(shape, consecutive=True)
        x, y = np.ascontiguousarray(xy[:, 0]), np.ascontiguousarray(xy[:, 1])
        return float(priced(self.bed, tube, x, y, inverts) + np.diag(cost, 1).sum() + self.bend_cost(shape))

    def bend_cost(self, xy: FloatArray) -> float:
        """The fittings of a line's bends. [money]"""
        return sum(float(self.bends[FITTINGS.index(fittings)]) for _, fittings in bend_list(xy))

    def ground_at(self, x: float, y: float) -> float:
        """Ground at a point, between the cells' centres. [m]"""
        row, column = (self.bed.top - y) / self.bed.height - 0.5, (x - self.bed.left) / self.bed.width - 0.5
        return float(ground_at(self.field.ground, row, column))

    def _profile(self, xy: FloatArray, tube: Tube, invert: float) -> tuple[FloatArray, IntArray, float]:
        """Stations of a line, positions of its vertices among them, and cost of its crossings."""
        cost, first, marks = self._crossings(xy, consecutive=True)
        parts: list[FloatArray] = []
        places, z, behind = [0], invert, 0.0
        for i in range(len(xy) - 1):
            length = float(np.hypot(*(xy[i + 1] - xy[i])))
            out = np.empty((int(4.0 * length / min(self.bed.width, self.bed.height)) + 8, 5))
            z, _, count = lay_segment(self.bed, tube, xy[i, 0], xy[i, 1], xy[i + 1, 0], xy[i + 1, 1], z,
                                      marks[first[i, i + 1]: first[i, i + 2]], out)
            if np.isnan(z):
                raise CannotLay
            out[:count, 0] += behind
            behind += length
            if i > 0:  # a crossing just after a vertex holds at the vertex too
                parts[-1][-1, 2] = min(parts[-1][-1, 2], out[0, 2])
                parts[-1][-1, 3] = max(parts[-1][-1, 3], out[0, 3])
                parts[-1][-1, 4] = min(parts[-1][-1, 4], out[0, 4])
            parts.append(out[:count] if i == 0 else out[1:count])
            places.append(places[-1] + count - 1)
        crossed = sum(float(cost[i, i + 1]) for i in range(len(xy) - 1))
        return np.vstack(parts), np.array(places), crossed

    def _crossings(self, path: FloatArray, *, consecutive: bool = False) -> tuple[FloatArray, IntArray, FloatArray]:
        """What the segments between points pay for crossings, and where they cross: see `straightest`."""
        n = len(path)
        cost, counts = np.zeros((n, n)), np.zeros((n, n), dtype=np.int64)
        rows, columns = np.triu_indices(n, 1)
        if consecutive:
            rows, columns = np.arange(n - 1), np.arange(1, n)
        lines: Any = shapely.linestrings(np.stack([path[rows], path[columns]], axis=1))
        found: list[tuple[int, int, float, float, float]] = []
        for crossing in self.field.crossings:
            for k in np.flatnonzero(shapely.intersects(crossing.shape, lines)):
                i, j = int(rows[k]), int(columns[k])
                places = shapely.get_coordinates(shapely.intersection(crossing.shape, lines[k]))
                ends = sum(bool(crossing.shape.intersects(shapely.Point(path[p]))) for p in (i, j))
                cost[i, j] += crossing.cost * (1.0 - 0.5 * ends)
                if crossing.elevation is not None:
                    away = np.hypot(*(places - path[i]).T)
                    low, high = crossing.elevation - crossing.clearance, crossing.elevation + crossing.clearance
                    found += [(i, j, float(a), low, high) for a in away]
        found.sort()
        for i, j, *_ in found:
            counts[i, j] += 1
        first = np.zeros((n, n + 1), dtype=np.int64)
        total = 0
        for i in range(n):
            for j in range(n):
                first[i, j] = total
                total += counts[i, j]
            first[i, n] = total
        marks = np.array([f[2:] for f in found], dtype=np.float64).reshape(-1, 3)
        return cost, first, marks


def _thinned(path: FloatArray) -> FloatArray:
    """A path without some of the points of its straight stretches, its ends and bends kept."""
    step = np.diff(path, axis=0)
    heading = np.arctan2(step[:, 1], step[:, 0])
    bend = np.abs(np.diff(heading)) > 1e-6
    every = int(np.ceil(len(path) / MOST_POINTS))
    keep = np.ones(len(path), dtype=np.bool_)
    keep[1:-1] = bend | (np.arange(1, len(path) - 1) % (every + 1) == 0)
    thinned: FloatArray = path[keep]
    return thinned


def bend_list(xy: FloatArray) -> list[tuple[int, tuple[float, ...]]]:
    """Vertices at which a line turns, and the fittings nearest to the turn.

    Parameters
    ----------
    xy : (n, 2) float ndarray
        Its vertices. [m]

    Returns
    -------
    list of (int, tuple of float)
        Position of the vertex, angles of the fittings. [degrees]
    """
    heading = np.degrees(np.arctan2(np.diff(xy[:, 1]), np.diff(xy[:, 0])))
    units = [bend_units(float(turn), 11.25) for turn in np.diff(heading)]
    return [(k + 1, FITTINGS[u if u >= 0 else 4]) for k, u in enumerate(units) if u != 0]


def straighten(
    field: RouteField, runs: Sequence[GridRun], collectors: Sequence[Collector], outfalls: Sequence[OutfallTarget],
    spec: RouteSpec,
) -> tuple[RoutedLine, ...]:
    """Make the runs of a forest straight wherever that is cheaper.

    From the outfall upstream each run keeps those of its points between which it can go straight for the least
    money, with bends that fittings make and, at a junction, a turn that they make too. Then inverts are laid from
    the collectors downstream: as high as they can lie, in as few straight grades as cost little depth.

    Parameters
    ----------
    field : RouteField
        Where lines may be laid.
    runs : sequence of GridRun
        Upstream runs before those they join.
    collectors, outfalls, spec
        As given to the search.

    Returns
    -------
    tuple of RoutedLine
        In the order of `runs`.

    Raises
    ------
    CannotLay
        If a run fits the grid's steps and not the ground between them.
    """
    layer = Layer(field, spec)
    shapes: dict[int, FloatArray] = {}
    needs: dict[int, float] = {}  # lowest inverts that the runs can begin with
    ends: dict[int, float] = {}  # lowest inverts that they may end with
    for run in reversed(runs):
        tube = layer.tube(run.pipe, outfalls[run.outfall])
        if run.into is None:
            ends[id(run)] = tube.end_level
        else:
            ends[id(run)] = needs[id(run.into)] + (spec.basin_drop if _through(run.into, collectors) else 0.0)
        path = _path(layer, run, collectors, outfalls)
        heading = _heading_of(run.into, shapes, collectors)
        begins = float(run.inverts[0])
        if run.start is not None:  # the search counts from the cell's centre
            begins += tube.slope * float(np.hypot(*(path[1] - path[0]))) if _aside(layer, run, collectors) else 0.0
        shape = layer.shorten(path, tube, begins, ends[id(run)], heading)
        shapes[id(run)] = shape if len(shape) else path
        needs[id(run)] = layer.needed(shapes[id(run)], tube, begins, ends[id(run)])
    names = {id(run): f"run-{k + 1}" for k, run in enumerate(runs)}
    laid: dict[int, Laid] = {}
    lines = []
    for run in runs:
        inflows = [other for other in runs if other.into is run]
        drop = spec.basin_drop if _through(run, collectors) else 0.0
        inverts = [float(laid[id(other)].inverts[-1]) - drop for other in inflows]
        tube = layer.tube(run.pipe, outfalls[run.outfall])
        if run.start is not None:
            inverts.append(collectors[run.start].invert)
        else:  # a larger pipe than those that meet needs its own cover
            inverts.append(float(station(layer.bed, tube, *shapes[id(run)][0])[1]))
        laid[id(run)] = layer.lay(shapes[id(run)], tube, min(inverts), ends[id(run)])
        lines.append(_routed(layer, run, laid[id(run)], inflows, names, collectors, outfalls))
    return tuple(lines)


def _aside(layer: Layer, run: GridRun, collectors: Sequence[Collector]) -> bool:
    """Whether a run's collector lies off the centre of its first cell."""
    columns = layer.field.grid.shape[1]
    x, y = layer.field.grid.centres(run.cells[0] // columns, run.cells[0] % columns)
    point = collectors[run.start or 0].point
    return bool(np.hypot(point.x - x, point.y - y) > 1e-6)


def _through(run: GridRun, collectors: Sequence[Collector]) -> bool:
    return run.start is not None and collectors[run.start].through


def _path(
    layer: Layer, run: GridRun, collectors: Sequence[Collector], outfalls: Sequence[OutfallTarget]
) -> FloatArray:
    """A run's points on the grid, with the true places of its ends."""
    columns = layer.field.grid.shape[1]
    x, y = layer.field.grid.centres(run.cells // columns, run.cells % columns)
    points = [(float(a), float(b)) for a, b in zip(x, y, strict=True)]
    if run.start is not None:
        points.insert(0, (collectors[run.start].point.x, collectors[run.start].point.y))
    if run.into is None:
        points.append((outfalls[run.outfall].point.x, outfalls[run.outfall].point.y))
    elif run.into.start is not None:
        points.append((collectors[run.into.start].point.x, collectors[run.into.start].point.y))
    path = np.array(points)
    away = np.hypot(*np.diff(path, axis=0).T) > 1e-6
    chosen: FloatArray = path[np.concatenate([[True], away])]
    return chosen if len(chosen) > 1 else np.vstack([chosen, chosen])


def own_line(
    layer: Layer, collector: Collector, outfall: OutfallTarget, pipe: int, way: FloatArray, name: str
) -> RoutedLine | None:
    """A line that one collector has for itself.

    Parameters
    ----------
    layer : Layer
        Field and prices.
    collector, outfall : Collector and OutfallTarget
        Its ends.
    pipe : int
        Position of its pipe in the spec.
    way : (n, 2) float ndarray
        Points between which it may go straight, ends included. [m]
    name : str
        Its id.

    Returns
    -------
    RoutedLine or None
        None where it cannot be laid.
    """
    run = GridRun((0,), pipe, 0, None, 0, np.zeros(0, dtype=np.int64), np.array([collector.invert]))
    tube = layer.tube(pipe, outfall)
    shape = layer.shorten(way, tube, collector.invert, tube.end_level, float("nan"))
    try:
        laid = layer.lay(shape, tube, collector.invert, tube.end_level) if len(shape) else None
    except CannotLay:
        return None
    return None if laid is None else _routed(layer, run, laid, [], {id(run): name}, [collector], [outfall])


def _heading_of(run: GridRun | None, shapes: dict[int, FloatArray], collectors: Sequence[Collector]) -> float:
    """Heading at the beginning of a run that is joined with a fitting, NaN for none. [degrees]"""
    if run is None or _through(run, collectors):
        return float("nan")
    (x0, y0), (x1, y1) = shapes[id(run)][:2]
    return float(np.degrees(np.arctan2(y1 - y0, x1 - x0)))


def _routed(
    layer: Layer, run: GridRun, laid: Laid, inflows: list[GridRun], names: dict[int, str],
    collectors: Sequence[Collector], outfalls: Sequence[OutfallTarget],
) -> RoutedLine:
    cost = laid.cost
    if run.into is None:
        to_id = outfalls[run.outfall].id
        cost += outfalls[run.outfall].cost
    elif run.into.start is not None and collectors[run.into.start].through:
        to_id = collectors[run.into.start].id
    else:
        to_id = names[id(run.into)]
    if not _through(run, collectors):
        cost += max(0, len(inflows) - (run.start is None)) * layer.spec.junction
    crossings, permit, assumed, near_line = what_it_meets(layer.field, laid.xy)
    return RoutedLine(
        id=names[id(run)],
        from_id=collectors[run.start].id if run.start is not None else names[id(inflows[0])],
        to_id=to_id, serves=tuple(collectors[i].id for i in run.serves), pipe=run.pipe, xy=laid.xy,
        inverts=laid.inverts, ground=np.array([layer.ground_at(x, y) for x, y in laid.xy]), cost=cost,
        flow=sum(collectors[i].flow for i in run.serves), crossings=crossings, permit=permit, assumed=assumed,
        near_line=near_line, fittings=tuple(bend_list(laid.xy)),
    )


def what_it_meets(field: RouteField, xy: FloatArray) -> tuple[tuple[str, ...], bool, bool, bool]:
    """What a line meets on its way.

    Parameters
    ----------
    field : RouteField
        Where it is laid.
    xy : (n, 2) float ndarray
        Its vertices. [m]

    Returns
    -------
    crossings : tuple of str
        Ids of what it crosses.
    permit, assumed, near_line : bool
        Whether it enters the right of way, a strip that nobody confirmed, the offset of a neighbour's line.
    """
    line = shapely.LineString(xy)
    rows, columns = _cells_along(field, xy)
    met = [bool(mask[rows, columns].any()) for mask in (field.permit, field.assumed, field.near_line)]
    return tuple(dict.fromkeys(c.id for c in field.crossings if c.shape.intersects(line))), met[0], met[1], met[2]


def _cells_along(field: RouteField, xy: FloatArray) -> tuple[IntArray, IntArray]:
    """Cells that a line runs over, those outside the grid left out."""
    spacing = 0.25 * min(field.grid.cell_width, field.grid.cell_height)
    parts = [np.linspace(a, b, 2 + int(np.hypot(*(b - a)) / spacing)) for a, b in pairwise(xy)]
    points = np.vstack(parts)
    rows, columns = field.grid.cells(points[:, 0], points[:, 1])
    inside = (rows >= 0) & (rows < field.grid.shape[0]) & (columns >= 0) & (columns < field.grid.shape[1])
    return rows[inside], columns[inside]
