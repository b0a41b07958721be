"""The fall to spare of a plan's lines on a given ground, by a formula of the bench's own."""

from dataclasses import dataclass, replace
from itertools import combinations

import networkx
import numpy as np
import shapely
from shapely import LineString, Point
from shapely.affinity import translate
from truth_lots import CELL, EAST, NORTH, TruthLot

from pipelines.layout.plan import Discharge, Plan

INCH, FOOT = 0.0254, 0.3048
# outside diameter and wall of SDR-35, ASTM D3034; [in]
SDR_35 = {4: (4.215, 0.120), 6: (6.275, 0.180), 8: (8.400, 0.240), 10: (10.500, 0.300), 12: (12.500, 0.360)}
# common practice of the trade, no source: target and floor of slope and cover
SLOPE_SMALL, SLOPE_LARGE, COVER = (0.01, 0.005), (0.005, 0.003), (12.0 * INCH, 6.0 * INCH)
OUTLET, DIGGING, BASIN, TAPER = 6.0 * INCH, 0.1 * FOOT, 0.1 * FOOT, 5.0


@dataclass(frozen=True, slots=True, eq=False)
class Start:
    """Where a line begins: depth of its invert below the ground there, None where the cover says it. [m]"""

    point: Point
    flow: float
    basin: bool
    below: float | None = None


def height_at(ground: np.ndarray, x: float, y: float) -> float:
    """Of the cell that holds a place."""
    row = min(max(int((ground.shape[0] * CELL - y) / CELL), 0), ground.shape[0] - 1)
    return float(ground[row, min(max(int(x / CELL), 0), ground.shape[1] - 1)])


def spare_of(lot: TruthLot, ground: np.ndarray, seen: np.ndarray, plan: Plan, line: Discharge, limit: int) -> float:
    """Least fall to spare over what a discharge serves, by the target (limit 0) or the floor (1) of the trade. [m]

    A gravity line is followed as it is laid; for what is pumped the shortest way round the house is taken. By the
    target the better of both counts, and pipes are as large as its slopes ask for: that is what the tool states.
    """
    outlet = next(each for each in plan.outfalls if each.id == line.outfall)
    end = translate(outlet.point, -EAST, -NORTH)
    level = _bottom(ground, end) + OUTLET
    least = np.inf
    starts = _starts(plan, seen)
    for name in line.serves:
        if name not in starts:
            continue
        start = starts[name]
        ways = [[Stretch(_shortest(lot, start.point, end), _size(start.flow, limit))]]
        laid = _laid(plan, name) if line.mode in ("gravity", "daylight") else []
        if laid and limit == 0:
            ways.append([replace(each, size=_size(start.flow, limit)) for each in laid])
        elif laid:
            ways = [laid]
        least = min(least, max(_along(ground, start, way, level, limit) for way in ways))
    # where a channel alone begins the line, its depth is not known here
    return float(least) if np.isfinite(least) else float("nan")


def _bottom(ground: np.ndarray, end: Point) -> float:
    """Lowest ground within a metre of the outlet, cells that touch it included."""
    rows, columns = ground.shape
    row, column = np.mgrid[0:rows, 0:columns]
    x, y = (column + 0.5) * CELL, (rows - row - 0.5) * CELL
    return float(ground[np.hypot(x - end.x, y - end.y) <= 1.0 + 1e-9].min())


def _starts(plan: Plan, seen: np.ndarray) -> dict[str, Start]:
    found: dict[str, Start] = {}
    flows = {run.from_id: run.peak_flow for run in plan.pipe_runs}
    for basin in plan.catch_basins:
        found[basin.id] = Start(translate(basin.point, -EAST, -NORTH), basin.peak_flow, basin=True)
    for drain in plan.french_drains:
        x, y, z = drain.line.coords[-1]
        below = height_at(seen, x - EAST, y - NORTH) - z + BASIN
        found[drain.id] = Start(Point(x - EAST, y - NORTH), drain.peak_flow, basin=False, below=below)
    for run in plan.pipe_runs:
        if run.from_id.startswith("downspout"):
            x, y = run.line.coords[0][:2]
            found[run.from_id] = Start(Point(x - EAST, y - NORTH), flows[run.from_id], basin=False)
    return found


def _size(flow: float, limit: int) -> int:
    """Smallest that carries a flow full at its least slope, n = 0.012."""
    for size, (outside, wall) in SDR_35.items():
        inside = (outside - 2.0 * wall) * INCH
        if 0.31169 / 0.012 * inside ** (8.0 / 3.0) * np.sqrt(_slope(size, limit)) >= flow:
            return size
    return 12


def _slope(size: int, limit: int) -> float:
    return (SLOPE_SMALL if size < 6 else SLOPE_LARGE)[limit]


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """One run of a way: its line, nominal size, and the fall that is lost in a basin where it begins. [in], [m]"""

    line: LineString
    size: int
    drop: float = 0.0


def _laid(plan: Plan, name: str) -> list[Stretch]:
    """Runs that a collector's water goes through to its outfall; a run begins where those before it join."""
    runs = {run.id: run for run in plan.pipe_runs if run.kind == "gravity"}
    starting = {run.from_id: run for run in runs.values()}
    run, ways = starting.get(name), []
    while run is not None and len(ways) <= len(runs):
        passed = BASIN if ways and run.from_id.startswith("basin") else 0.0
        line = translate(shapely.force_2d(run.line), -EAST, -NORTH)
        ways.append(Stretch(line, int(run.pipe_key.split()[0]), passed))
        run = runs.get(run.to_id) or starting.get(run.to_id)
    return ways


def _shortest(lot: TruthLot, start: Point, end: Point) -> LineString:
    """Way past the corners of the house, 3 ft off its walls."""
    corners = shapely.buffer(lot.house, 3.0 * FOOT, join_style="mitre").exterior.coords[:-1]
    inside = shapely.buffer(lot.house, -0.01)
    nodes = [(start.x, start.y), (end.x, end.y), *corners]
    graph = networkx.Graph()
    for one, other in combinations(nodes, 2):
        line = LineString([one, other])
        if not line.intersects(inside):
            graph.add_edge(one, other, weight=line.length)
    return LineString(networkx.dijkstra_path(graph, nodes[0], nodes[1]))


def _along(ground: np.ndarray, start: Start, ways: list[Stretch], level: float, limit: int) -> float:
    """Least of what there is less what is needed, over the points of a way and its beginning."""
    need, ahead, least = level + DIGGING, 0.0, np.inf
    for number, stretch in reversed(list(enumerate(ways))):
        outside, wall = SDR_35[stretch.size]
        crown, slope = (outside - wall) * INCH, _slope(stretch.size, limit)
        points = shapely.get_coordinates(shapely.segmentize(stretch.line, 0.5))
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        rest = along[-1] - along
        for (x, y), left, gone in zip(points, rest, along, strict=True):
            if ahead + left > TAPER and not (number == 0 and gone < 1.0):
                least = min(least, height_at(ground, x, y) - COVER[limit] - crown - need - slope * left)
        need, ahead = need + slope * along[-1] + stretch.drop, ahead + along[-1]
    outside, wall = SDR_35[ways[0].size]
    below = start.below if start.below is not None else COVER[limit] + (outside - wall) * INCH
    own = height_at(ground, start.point.x, start.point.y) - below - (BASIN if start.basin else 0.0)
    return min(least, own - need)
