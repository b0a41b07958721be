"""Single lines in any direction: straight where that pays, with fittings that exist and few straight grades."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely import Point

from pipelines.layout.routing.field import STUB, RouteField
from pipelines.layout.routing.fine_ground import floor_with_need, under_fine_ground
from pipelines.layout.routing.kernels.laying import Bed, Tube, grade_breaks, lay_segment, least_start, priced
from pipelines.layout.routing.kernels.straight import bend_units, straightest
from pipelines.layout.routing.kernels.ways import ground_at, sees_past
from pipelines.layout.routing.spec import OutfallTarget, RouteSpec
from terrain.arrays import FloatArray, IntArray

FITTINGS: tuple[tuple[float, ...], ...] = ((), (22.5,), (45.0,), (22.5, 45.0), (45.0, 45.0))
ANY_ANGLE = 11.25
"""Half of the step between fittings' angles: no turn is further off one. [degrees]"""
MOST_POINTS = 70
LOSSES = (0.1, 0.06, 0.03, 0.015, 0.005, 0.0)
"""How much deeper than the highest line straight grades are tried. [m]"""
AT_EDGE = 1e-3
"""So near to barred ground a place stands at its edge. [m]"""
APPROACH = (0.8, 1.6)
"""Last stretch of a line that comes to a junction at a fitting's angle. [m]"""


class CannotLay(Exception):
    """A line does not fit between its cover and its depth, or ends too low."""


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


class PipeLayer:
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
                       np.array([spec.trench_depths, spec.trench_costs]))
        self._stub_at: dict[tuple[float, float], float] = {}
        self.bends = np.array([0.0, spec.bend_22, spec.bend_45, spec.bend_22 + spec.bend_45, 2.0 * spec.bend_45])

    def tube(self, pipe: int, outfall: OutfallTarget) -> Tube:
        """A pipe of the spec on its way to an outfall."""
        chosen = self.spec.pipes[pipe]
        return Tube(chosen.min_slope, chosen.crown, chosen.wall, chosen.wall + self.spec.bedding, chosen.cost,
                    outfall.point.x, outfall.point.y, outfall.level + self.spec.dig_tolerance, self.spec.taper_length)

    def shorten(
        self, path: FloatArray, tube: Tube, invert: float, end_level: float, heading_out: float, tolerance: float,
        *, from_place: bool = True,
    ) -> FloatArray:
        """The points of a path that its straightened line keeps. [m]"""
        if len(path) > MOST_POINTS:
            path = _thinned(path)
        joined = len(path) - 1
        if not np.isnan(heading_out):
            path = np.vstack([path[:-1], _approaches(path[-1], heading_out), path[-1:]])
        x, y = _columns(path)
        for by_height in (False, True):
            kept = straightest(self.bed, tube, self.field.walls, self.field.hits, x, y, invert, end_level, self.bends,
                               tolerance, heading_out, self._stubs(path, heading_out, from_place), joined, by_height)
            if kept.size:
                break
        chosen: FloatArray = path[kept]
        return chosen

    def sees(self, a: FloatArray, b: FloatArray) -> bool:
        """Whether a line may run straight between two places, which may stand at a wall."""
        return bool(sees_past(self.field.walls, a[0], a[1], b[0], b[1], self.stub(a), self.stub(b)))

    def stub(self, place: FloatArray) -> float:
        """How much of a line may touch walls at a place: one may stand in barred ground, or at its edge. [m]"""
        key = float(place[0]), float(place[1])
        if key not in self._stub_at:
            self._stub_at[key] = self._stub(*key)
        return self._stub_at[key]

    def _stub(self, x: float, y: float) -> float:
        field = self.field
        row, column = (int(v) for v in field.grid.cells(x, y))
        rows, columns = field.grid.shape
        if 0 <= row < rows and 0 <= column < columns and not np.isfinite(field.ground[row, column]):
            return STUB
        if field.barred is None or shapely.distance(field.barred, Point(x, y)) > AT_EDGE:
            return 0.0
        at_edge = shapely.distance(shapely.boundary(field.barred), Point(x, y)) <= AT_EDGE
        return 2.0 * AT_EDGE if at_edge else STUB

    def _stubs(self, xy: FloatArray, heading_out: float, from_place: bool) -> FloatArray:
        # a line that joins another on its way has no place at its end
        return np.array([self.stub(xy[0]) if from_place else 0.0, self.stub(xy[-1]) if np.isnan(heading_out) else 0.0])

    def needed(self, xy: FloatArray, tube: Tube, invert: float, end_level: float) -> float:
        """Lowest invert that a line with given vertices can begin with; `invert` is one that it could have. [m]"""
        profile, _ = self._profile(xy, tube, invert)
        if profile[-1, 4] < end_level - 1e-6:
            raise CannotLay
        return float(min(invert, least_start(profile[:, 0], profile[:, 3], tube.slope, end_level)))

    def lay(self, xy: FloatArray, tube: Tube, invert: float, end_level: float, *, taper: float = 0.0) -> Laid:
        """Inverts and cost of a line with given vertices; its cover may be less in its last stretch, the taper [m]."""
        profile, places = self._profile(xy, tube, invert)
        if self.field.fine is not None:
            profile, places = under_fine_ground(self.field, self.bed, tube, profile, places, xy, taper, end_level)
        along, highest = profile[:, 0], profile[:, 4]
        floor = floor_with_need(profile, tube.slope, end_level)
        tried: list[tuple[float, Laid]] = []
        for loss in LOSSES:
            breaks, inverts = grade_breaks(along, highest, floor, tube.slope, loss)
            if inverts[-1] < end_level - 1e-6:
                continue
            at = np.unique(np.concatenate([breaks, places]))
            z = np.interp(along[at], along[breaks], inverts)
            points = np.column_stack([np.interp(along[at], along[places], xy[:, k]) for k in range(2)])
            line = Laid(points, z, self.price(points, tube, z, xy))
            tried.append((line.cost + self.spec.grade_break * len(at), line))
        if not tried:
            raise CannotLay
        return min(tried, key=lambda told: told[0])[1]

    def price(self, xy: FloatArray, tube: Tube, inverts: FloatArray, shape: FloatArray) -> float:
        """Pipe, trench, surface, crossings and bends of a line with given inverts; `shape` is it in plan. [money]"""
        x, y = _columns(xy)
        bends = sum(float(self.bends[FITTINGS.index(fittings)]) for _, fittings in bend_list(shape))
        return float(priced(self.bed, tube, self.field.hits, x, y, inverts) + bends)

    def ground_at(self, x: float, y: float) -> float:
        """Ground at a point, between the cells' centres. [m]"""
        row, column = (self.bed.top - y) / self.bed.height - 0.5, (x - self.bed.left) / self.bed.width - 0.5
        return float(ground_at(self.field.ground, row, column))

    def meets(self, xy: FloatArray) -> tuple[tuple[str, ...], bool, bool, bool]:
        """Ids of what a line crosses; whether it enters the right of way, an assumed strip, a neighbour's offset."""
        field, line = self.field, shapely.LineString(xy)
        rows, columns = _cells_along(field, xy)
        met = [bool(mask[rows, columns].any()) for mask in (field.permit, field.assumed, field.near_line)]
        return tuple(dict.fromkeys(c.id for c in field.crossings if c.shape.intersects(line))), met[0], met[1], met[2]

    def _profile(self, xy: FloatArray, tube: Tube, invert: float) -> tuple[FloatArray, IntArray]:
        """Stations of a line as `lay_segment` writes them, and the positions of its vertices among them."""
        marks = np.empty((len(self.field.hits), 3))
        parts: list[FloatArray] = []
        places, z, behind = [0], invert, 0.0
        for a, b in pairwise(xy):
            length = float(np.hypot(*(b - a)))
            out = np.empty((int(4.0 * length / min(self.bed.width, self.bed.height)) + 8, 5))
            z, _, count = lay_segment(self.bed, tube, self.field.hits, a[0], a[1], b[0], b[1], z, marks, out)
            if np.isnan(z):
                raise CannotLay
            out[:count, 0] += behind
            behind += length
            if parts:  # a crossing just after a vertex holds at the vertex too
                parts[-1][-1, 2] = min(parts[-1][-1, 2], out[0, 2])
                parts[-1][-1, 3] = max(parts[-1][-1, 3], out[0, 3])
                parts[-1][-1, 4] = min(parts[-1][-1, 4], out[0, 4])
            parts.append(out[1:count] if parts else out[:count])
            places.append(places[-1] + count - 1)
        return np.vstack(parts), np.array(places)


def without_repeats(path: FloatArray) -> FloatArray:
    """A path without the points that lie where the one before them does."""
    away = np.hypot(*np.diff(path, axis=0).T) > 1e-6
    kept: FloatArray = path[np.concatenate([[True], away])]
    return kept


def bend_list(xy: FloatArray) -> list[tuple[int, tuple[float, ...]]]:
    """Vertices at which a line turns, and the fittings nearest to the turn. [degrees]"""
    heading = np.degrees(np.arctan2(np.diff(xy[:, 1]), np.diff(xy[:, 0])))
    units = [bend_units(float(turn), ANY_ANGLE) for turn in np.diff(heading)]
    return [(k + 1, FITTINGS[u if u >= 0 else 4]) for k, u in enumerate(units) if u != 0]


def _columns(xy: FloatArray) -> tuple[FloatArray, FloatArray]:
    return np.ascontiguousarray(xy[:, 0]), np.ascontiguousarray(xy[:, 1])


def _approaches(end: FloatArray, heading_out: float) -> FloatArray:
    """Points from which a line comes to its end at an angle that fittings make with the line it joins."""
    turns = np.radians(heading_out + 180.0 + 22.5 * np.arange(-4, 5))
    directions = np.column_stack([np.cos(turns), np.sin(turns)])
    return np.vstack([end + reach * directions for reach in APPROACH])


def _thinned(path: FloatArray) -> FloatArray:
    """A path without some of the points of its straight stretches, its ends and bends kept."""
    step = np.diff(path, axis=0)
    bend = np.abs(np.diff(np.arctan2(step[:, 1], step[:, 0]))) > 1e-6
    every = int(np.ceil(len(path) / MOST_POINTS))
    keep = np.ones(len(path), dtype=np.bool_)
    keep[1:-1] = bend | (np.arange(1, len(path) - 1) % (every + 1) == 0)
    thinned: FloatArray = path[keep]
    return thinned


def _cells_along(field: RouteField, xy: FloatArray) -> tuple[IntArray, IntArray]:
    """Cells that a line runs over, those outside the grid left out."""
    spacing = 0.25 * min(field.grid.cell_width, field.grid.cell_height)
    points = np.vstack([np.linspace(a, b, 2 + int(np.hypot(*(b - a)) / spacing)) for a, b in pairwise(xy)])
    rows, columns = field.grid.cells(points[:, 0], points[:, 1])
    inside = (rows >= 0) & (rows < field.grid.shape[0]) & (columns >= 0) & (columns < field.grid.shape[1])
    return rows[inside], columns[inside]
