"""Where the water is caught: basins at low spots, stone trenches along edges, downspouts tied in."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from rasterio.features import rasterize
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from pipelines.layout.diagnosis.protected import ProtectedEdge, arrival_at
from pipelines.layout.diagnosis.troubles import SpotPlace, Trouble
from terrain.arrays import FloatArray, IntArray
from terrain.errors import LotshedError
from terrain.flow.drainage import Drainage
from terrain.grid import Grid
from terrain.ground import OPEN
from terrain.sampling import sample_known


class LayoutError(LotshedError, ValueError):
    """A choice in the site file's [layout] that cannot be kept."""


CLEAR_OF_WALL = 0.02
"""Room between stone and the offset that it keeps from a wall. [m]"""
SHOT_REACH = 0.5
"""A level shot this near a low spot was read in it. [m]"""


@dataclass(frozen=True, slots=True)
class CollectionRules:
    """Sizes and distances of what collects (common practice, no source, unless said otherwise).

    Attributes
    ----------
    edge_offset : float
        From paving to the middle of a stone trench beside it. [m]
    wall_offset : float
        From a wall to the nearest stone: 4 ft from a crawl space or basement. [m]
    overlap : float
        Of a stone trench past the water at either end. [m]
    width, depth, bedding : float
        Of a stone trench, and the stone under its pipe (12 in, 18 in, and 2 in after IRC R405.1). [m]
    least_slope : float
        Of its pipe. [-]
    deepest : float
        A trench deeper than this is not proposed. [m]
    shortest : float
        A stretch shorter than this gets a basin instead. [m]
    basin_reach : float
        A basin takes the water that comes this near its grate. [m]
    apart : float
        Two basins stand at least this far apart. [m]
    basin_snap : float
        How far a basin may be moved off an edge or a keep-out. [m]
    small_hollow : float
        A hollow in a lawn smaller than this is filled rather than drained. [m2]
    paved_share : float
        Share of the water at a wall that must come over paving before a grated channel is proposed. [-]
    channel_width, channel_depth : float
        Of a grated channel, 5 in wide. [m]
    """

    edge_offset: float = 0.45
    wall_offset: float = 1.22
    overlap: float = 0.9
    width: float = 0.305
    depth: float = 0.457
    bedding: float = 0.051
    least_slope: float = 0.01
    deepest: float = 1.22
    shortest: float = 2.0
    basin_reach: float = 0.75
    apart: float = 2.5
    basin_snap: float = 3.0
    small_hollow: float = 10.0
    paved_share: float = 0.6
    channel_width: float = 0.127
    channel_depth: float = 0.18


@dataclass(frozen=True, slots=True, eq=False)
class BasinSite:
    """A place for a basin.

    Attributes
    ----------
    id : str
        Text id.
    point : shapely Point
        Middle of its grate. [m]
    ground : float
        Height of the ground there. [m]
    spot : str or None
        Id of the low spot it drains; None where it takes water that runs by.
    cells : (n,) int ndarray
        Flat indices of cells whose water it takes as it runs by; empty for a low spot's.
    paved : bool
        Stands in paving.
    why : str
        In a sentence.
    """

    id: str
    point: Point
    ground: float
    spot: str | None
    cells: IntArray
    paved: bool
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class DrainSite:
    """A place for a stone trench with perforated pipe.

    Attributes
    ----------
    id : str
        Text id.
    line : shapely LineString
        Drawn downstream. [m]
    ground, inverts : (n,) float ndarray
        Ground and pipe invert at its vertices. [m]
    cells : (n,) int ndarray
        Flat indices of the cells it is dug through.
    length, width, depth, slope : float
        Depth below ground at its deepest. [m], [m], [m], [-]
    why : str
        In a sentence.
    channel : bool
        A grated channel in paving rather than a stone trench.
    """

    id: str
    line: LineString
    ground: FloatArray
    inverts: FloatArray
    cells: IntArray
    length: float
    width: float
    depth: float
    slope: float
    why: str
    channel: bool = False

    @property
    def low_end(self) -> Point:
        """Where its pipe goes on. [m]"""
        return Point(self.line.coords[-1])


@dataclass(frozen=True, slots=True, eq=False)
class DownspoutSite:
    """A downspout to tie in; `cells` are the flat indices of the roof that it drains, `area` that roof. [m2]"""

    id: str
    point: Point
    ground: float
    cells: IntArray
    area: float
    why: str


def site_collectors(
    troubles: Sequence[Trouble],
    drainage: Drainage,
    *,
    free: BaseGeometry,
    free_for_stone: BaseGeometry,
    paving: BaseGeometry,
    rules: CollectionRules,
    shots: Sequence[Point] = (),
) -> tuple[tuple[BasinSite, ...], tuple[DrainSite, ...], tuple[str, ...]]:
    """Basins and stone trenches for what is wrong, as few as do the job."""
    basins: list[BasinSite] = []
    drains: list[DrainSite] = []
    refused: list[str] = []
    # standing water first: a basin at the low of a patio takes what arrives there too
    for trouble in sorted(troubles, key=lambda each: each.spot is None):
        if trouble.spot is not None:
            if is_minor(trouble.spot, rules):
                continue
            found = _basin_at_spot(trouble, trouble.spot, drainage, free, paving, len(basins), rules, shots)
            if found is None:
                refused.append(f"no basin fits at {trouble.name}: no free ground within {rules.basin_snap:.0f} m of it")
            elif _apart(found.point, basins, rules.apart) or found.spot not in {b.spot for b in basins}:
                basins.append(found)
        elif trouble.edge is not None:
            # a grated channel holds no water against a wall as stone does: it lies right before it
            over_paving = comes_over(trouble.edge, paving, drainage) > rules.paved_share
            close = trouble.edge.kind == "paving" or over_paving
            arrival = arrival_at(
                trouble.edge,
                drainage.ground.grid,
                offset=rules.edge_offset if close else rules.wall_offset + rules.width / 2.0 + CLEAR_OF_WALL,
                overlap=rules.overlap,
            )
            drain = None
            if arrival.stretch is not None and over_paving:
                drain = _channel_across(trouble, arrival.stretch, drainage, free, paving, len(drains), rules)
            elif arrival.stretch is not None and not arrival.concentrated:
                drain = _drain_along(trouble, arrival.stretch, drainage, free_for_stone, len(drains), rules)
            if drain is not None:
                drains.append(drain)
                continue
            if any(shapely.distance(trouble.edge.shape, other.point) < rules.apart for other in basins):
                continue
            basin = _basin_on_path(trouble, arrival.place, drainage, free, paving, len(basins), rules)
            if basin is None:
                refused.append(f"nothing fits before {trouble.name}: no free ground where the water arrives")
            elif _apart(basin.point, basins, rules.apart):
                basins.append(basin)
    return tuple(basins), tuple(drains), tuple(refused)


def is_minor(place: SpotPlace, rules: CollectionRules) -> bool:
    """Whether a low spot is filled rather than drained: a small hollow in a lawn that nobody complained of."""
    return place.place == "lawn" and place.complaint is None and place.spot.area < rules.small_hollow


def fixed_basins(
    points: Sequence[Point], spots: Sequence[SpotPlace], drainage: Drainage, free: BaseGeometry, paving: BaseGeometry,
    rules: CollectionRules,
) -> tuple[BasinSite, ...]:
    """Basins where the site file wants them."""
    basins: list[BasinSite] = []
    for number, point in enumerate(points, start=1):
        if not shapely.intersects(free, point):
            raise LayoutError(
                f"layout.basins: point {number} lies off the lot, under a roof, in a keep-out or within the offset of "
                "a lot line, where no basin may stand; move it, or leave it out and let the plan site basins"
            )
        spot = next((each for each in spots if shapely.distance(each.shape, point) <= SHOT_REACH), None)
        grid = drainage.ground.grid
        basins.append(
            BasinSite(
                id=f"basin-{number}", point=point,
                ground=float(heights_along(LineString([point, point]), drainage)[0]),
                spot=None if spot is None else spot.spot.id,
                cells=_open_cells_within(shapely.buffer(point, rules.basin_reach), drainage, grid)
                if spot is None
                else np.empty(0, dtype=np.int64),
                paved=bool(shapely.intersects(paving, point)),
                why="Where the site file wants it"
                + ("." if spot is None else f", at the low of {spot.name}."),
            )
        )
    return tuple(basins)


def _apart(point: Point, basins: Sequence[BasinSite], distance: float) -> bool:
    return all(shapely.distance(point, other.point) >= distance for other in basins)


def _basin_at_spot(
    trouble: Trouble, place: SpotPlace, drainage: Drainage, free: BaseGeometry, paving: BaseGeometry, count: int,
    rules: CollectionRules, shots: Sequence[Point],
) -> BasinSite | None:
    grid = drainage.ground.grid
    cells = place.spot.cells
    read = [
        shot for shot in shots
        if shapely.distance(place.shape, shot) <= SHOT_REACH and shapely.contains_xy(free, shot.x, shot.y)
    ]
    if read:
        lowest = min(read, key=lambda shot: float(shot.z))
        return BasinSite(
            id=f"basin-{count + 1}", point=Point(lowest.x, lowest.y), ground=float(lowest.z), spot=place.spot.id,
            cells=np.empty(0, dtype=np.int64), paved=bool(shapely.intersects(paving, lowest)),
            why=f"At the lowest level shot of {trouble.name}: {trouble.why}.",
        )
    columns = grid.shape[1]
    x, y = grid.centres(cells // columns, cells % columns)
    allowed = shapely.contains_xy(free, x, y)
    if allowed.any():
        heights = drainage.ground.elevation.ravel()[cells]
        middle = shapely.centroid(place.shape)
        away = np.hypot(x - middle.x, y - middle.y)
        # lowest first; among equals the one nearest the middle
        best = np.lexsort((away, np.where(allowed, heights, np.inf)))[0]
        point, cell = Point(float(x[best]), float(y[best])), int(cells[best])
    else:
        moved = _nearest_free(drainage, free, shapely.centroid(place.shape), rules.basin_snap)
        if moved is None:
            return None
        point, cell = moved
    return BasinSite(
        id=f"basin-{count + 1}",
        point=point,
        ground=float(drainage.ground.elevation.ravel()[cell]),
        spot=place.spot.id,
        cells=np.empty(0, dtype=np.int64),
        paved=bool(shapely.intersects(paving, point)),
        why=f"At the low of {trouble.name}: {trouble.why}.",
    )


def _basin_on_path(
    trouble: Trouble, where: Point, drainage: Drainage, free: BaseGeometry, paving: BaseGeometry, count: int,
    rules: CollectionRules,
) -> BasinSite | None:
    moved = _nearest_free(drainage, free, where, rules.basin_snap)
    if moved is None:
        return None
    point, cell = moved
    grid = drainage.ground.grid
    return BasinSite(
        id=f"basin-{count + 1}",
        point=point,
        ground=float(drainage.ground.elevation.ravel()[cell]),
        spot=None,
        cells=_open_cells_within(shapely.buffer(point, rules.basin_reach), drainage, grid),
        paved=bool(shapely.intersects(paving, point)),
        why=f"Where the flow that runs at {trouble.name} is concentrated: {trouble.why}.",
    )


def _nearest_free(drainage: Drainage, free: BaseGeometry, where: Point, reach: float) -> tuple[Point, int] | None:
    """Nearest open cell in free ground, the lowest among those that are about as near."""
    grid = drainage.ground.grid
    window = _open_cells_within(shapely.buffer(where, reach), drainage, grid)
    if window.size == 0:
        return None
    columns = grid.shape[1]
    x, y = grid.centres(window // columns, window % columns)
    away = np.where(shapely.contains_xy(free, x, y), np.hypot(x - where.x, y - where.y), np.inf)
    if not np.isfinite(away).any():
        return None
    near = away <= away.min() + 0.5 * max(grid.cell_width, grid.cell_height)
    heights = np.where(near, drainage.ground.elevation.ravel()[window], np.inf)
    best = int(np.lexsort((away, heights))[0])
    return Point(float(x[best]), float(y[best])), int(window[best])


def _open_cells_within(shape: BaseGeometry, drainage: Drainage, grid: Grid) -> IntArray:
    burnt = rasterize([(shape, 1)], out_shape=grid.shape, transform=grid.transform, dtype="uint8", all_touched=True)
    return np.flatnonzero((burnt.ravel() == 1) & (drainage.ground.kind.ravel() == OPEN))


def _drain_along(
    trouble: Trouble, stretch: LineString, drainage: Drainage, free: BaseGeometry, count: int, rules: CollectionRules
) -> DrainSite | None:
    longest = _longest_line(shapely.intersection(stretch, free))
    if longest is None or longest.length < rules.shortest:
        return None
    tidy = shapely.simplify(longest, 0.1)
    grid = drainage.ground.grid
    best: tuple[float, LineString, FloatArray, FloatArray] | None = None
    for line in (tidy, shapely.reverse(tidy)):
        dense = shapely.segmentize(line, 1.0)
        ground = heights_along(dense, drainage)
        inverts = _trench_inverts(dense, ground, rules)
        depth = float((ground - inverts).max()) + rules.bedding
        if best is None or depth < best[0]:
            best = (depth, dense, ground, inverts)
    if best is None or best[0] > rules.deepest:
        return None
    depth, line, ground, inverts = best
    return DrainSite(
        id=f"drain-{count + 1}",
        line=line,
        ground=ground,
        inverts=inverts,
        cells=_open_cells_within(line, drainage, grid),
        length=float(line.length),
        width=rules.width,
        depth=depth,
        slope=float((inverts[0] - inverts[-1]) / line.length),
        why=f"Along {trouble.name}, facing the water, stone brought to grade: {trouble.why}.",
    )


def comes_over(edge: ProtectedEdge, paving: BaseGeometry, drainage: Drainage) -> float:
    """Share of the ground behind a wall whose water steps up to it over paving; 0 for paving itself. [-]"""
    if edge.kind != "wall" or edge.cells.size == 0 or paving.is_empty:
        return 0.0
    grid = drainage.ground.grid
    x, y = grid.centres(edge.cells // grid.shape[1], edge.cells % grid.shape[1])
    return float(edge.areas[shapely.contains_xy(paving, x, y)].sum() / edge.areas.sum())


def _channel_across(
    trouble: Trouble,
    stretch: LineString,
    drainage: Drainage,
    free: BaseGeometry,
    paving: BaseGeometry,
    count: int,
    rules: CollectionRules,
) -> DrainSite | None:
    """A grated channel across the paving that water comes over, before a garage or a wall."""
    line = _longest_line(shapely.intersection(shapely.intersection(stretch, free), paving))
    if line is None or line.length < 0.5:
        return None
    ground = heights_along(line, drainage)
    if ground[0] < ground[-1]:
        line = shapely.reverse(line)
    dense = shapely.segmentize(line, 1.0)
    ground = heights_along(dense, drainage)
    inverts = np.minimum.accumulate(ground) - rules.channel_depth
    return DrainSite(
        id=f"channel-{count + 1}",
        line=dense,
        ground=ground,
        inverts=inverts,
        cells=_open_cells_within(dense, drainage, drainage.ground.grid),
        length=float(dense.length),
        width=rules.channel_width,
        depth=float((ground - inverts).max()),
        slope=float((inverts[0] - inverts[-1]) / dense.length),
        why=f"Across the paving before {trouble.name}, a grated channel: {trouble.why}.",
        channel=True,
    )


def _longest_line(shape: BaseGeometry) -> LineString | None:
    merged = shapely.line_merge(shape) if shape.geom_type == "MultiLineString" else shape
    lines = [part for part in shapely.get_parts(merged) if part.geom_type == "LineString" and part.length > 0.0]
    return max(lines, key=lambda part: float(part.length), default=None)


def heights_along(line: LineString, drainage: Drainage) -> FloatArray:
    """Ground at a line's vertices, between the centres of known cells. [m]"""
    grid = drainage.ground.grid
    xy = shapely.get_coordinates(line)
    heights = sample_known(drainage.ground.elevation, grid, xy[:, 0], xy[:, 1])
    known = np.isfinite(heights)
    if known.all() or not known.any():
        return heights
    at = np.arange(len(heights), dtype=np.float64)
    filled: FloatArray = np.interp(at, at[known], heights[known])
    return filled


def _trench_inverts(line: LineString, ground: FloatArray, rules: CollectionRules) -> FloatArray:
    """Highest inverts downstream at which the trench is deep enough and its pipe falls by the least slope."""
    steps = np.diff(np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(shapely.get_coordinates(line), axis=0).T))]))
    inverts = ground - (rules.depth - rules.bedding)
    for k in range(1, len(inverts)):
        inverts[k] = min(inverts[k], inverts[k - 1] - rules.least_slope * steps[k - 1])
    return inverts


def site_downspouts(
    downspouts: Sequence[tuple[str, Point]],
    drainage: Drainage,
    into: dict[int, str],
    labels: IntArray,
) -> tuple[DownspoutSite, ...]:
    """Downspouts whose water runs to a place in trouble."""
    ground = drainage.ground
    grid = ground.grid
    receiver = ground.receiver.ravel()
    roof_cells = np.flatnonzero(receiver >= 0)
    roof_cells = roof_cells[ground.roof.ravel()[roof_cells] >= 0]
    if roof_cells.size == 0 or not downspouts:
        return ()
    receivers = np.unique(receiver[roof_cells])
    columns = grid.shape[1]
    x, y = grid.centres(receivers // columns, receivers % columns)
    sites: list[DownspoutSite] = []
    taken: set[int] = set()
    for spout_id, point in downspouts:
        away = np.hypot(x - point.x, y - point.y)
        nearest = int(np.argmin(away))
        cell = int(receivers[nearest])
        label = int(labels.ravel()[cell])
        if away[nearest] > 2.0 or label not in into or cell in taken:
            continue
        taken.add(cell)
        drained = roof_cells[receiver[roof_cells] == cell]
        sites.append(
            DownspoutSite(
                id=f"downspout-{spout_id}",
                point=point,
                ground=float(ground.elevation.ravel()[cell]),
                cells=drained,
                area=float(drained.size * grid.cell_area),
                why=f"Its roof water runs to {into[label]}.",
            )
        )
    return tuple(sites)


def free_ground(parcel: Any, taken: Sequence[Any], *, line_offset: float) -> BaseGeometry:
    """Ground of the lot where works may stand."""
    offset = line_offset
    inner = shapely.buffer(parcel, -offset)
    while inner.is_empty and offset > 0.05:
        offset /= 2.0
        inner = shapely.buffer(parcel, -offset)
    free: BaseGeometry = shapely.difference(inner, shapely.union_all(list(taken))) if taken else inner
    shapely.prepare(free)
    return free
