"""A stone trench along an edge that a pond reaches, with a basin at its low, in place of a basin in the paving."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
import shapely.ops
from shapely import LineString, Point

from pipelines.layout.catching.collection import edge_offset
from pipelines.layout.catching.sites import BasinSite, CatchGround, DrainSite, heights_along
from pipelines.layout.catching.trenches import dug, longest_line
from pipelines.layout.diagnosis.protected import Arrival, ProtectedEdge, arrival_at
from pipelines.layout.diagnosis.troubles import SpotPlace, name_of
from terrain.reason import reason

BASIN_ROOM = 0.25
"""Half of the widest basin and its bedding, where the stone ends. [m]"""


def trench_at_pond(
    basin: BasinSite, place: SpotPlace, edges: Sequence[ProtectedEdge], ground: CatchGround, numbers: Sequence[int]
) -> tuple[BasinSite, tuple[DrainSite, ...]] | None:
    """The basin at the low of a trench along the edge that its pond reaches, and the trench's arms that fall to it.

    None where no edge faces the pond, or the stone has no room, or it would be dug too deep.
    """
    for each in place.every:
        edge = next((edge for edge in edges if name_of(edge) == each.name and edge.cells.size), None)
        line = None if edge is None else _beside(edge, place, ground)
        if edge is not None and line is not None:
            found = _with_basin(basin, line, edge, each, ground, numbers)
            if found is not None:
                return found
    return None


def keeps_off(drains: Sequence[DrainSite], edge: ProtectedEdge, ground: CatchGround) -> bool:
    """Whether stone lies before most of the sheet flow that would run onto an edge; water that comes at one place is a
    basin's to take."""
    arrival = _arrival(edge, ground)
    if arrival.concentrated or not drains:
        return False
    grid, rules = ground.drainage.ground.grid, ground.rules
    x, y = grid.centres(edge.cells // grid.shape[1], edge.cells % grid.shape[1])
    stone = shapely.union_all([drain.line for drain in drains])
    # a gap in which a basin stands lets nothing by
    behind = shapely.distance(stone, shapely.points(x, y)) <= edge_offset(edge, ground) + 2.0 * BASIN_ROOM
    return float(edge.areas[behind].sum()) >= rules["arrival_cluster_share"].likely * edge.arriving_area


def _arrival(edge: ProtectedEdge, ground: CatchGround) -> Arrival:
    rules = ground.rules
    return arrival_at(
        edge, ground.drainage.ground.grid, offset=edge_offset(edge, ground), overlap=rules["trench_overlap"].likely,
        share=rules["arrival_share"].likely, cluster_reach=rules["arrival_cluster"].likely,
        cluster_share=rules["arrival_cluster_share"].likely,
    )


def _beside(edge: ProtectedEdge, place: SpotPlace, ground: CatchGround) -> LineString | None:
    """The stretch that faces the water and has room for stone, where it lies in the pond."""
    stretch, rules = _arrival(edge, ground).stretch, ground.rules
    if stretch is None:
        return None
    line = longest_line(shapely.intersection(stretch, ground.free_for_stone))
    if line is None or line.length < rules["trench_shortest"].likely or not shapely.intersects(line, place.shape):
        return None
    return shapely.segmentize(shapely.simplify(line, 0.1), 1.0)


def _with_basin(
    basin: BasinSite, line: LineString, edge: ProtectedEdge, place: SpotPlace, ground: CatchGround,
    numbers: Sequence[int],
) -> tuple[BasinSite, tuple[DrainSite, ...]] | None:
    rules = ground.rules
    heights = heights_along(line, ground.drainage)
    stations = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(line)))
    wet = shapely.intersects(place.shape, shapely.points(shapely.get_coordinates(line)))
    if not wet.any():
        return None
    low = float(stations[int(np.argmin(np.where(wet, heights, np.inf)))])
    shortest = rules["trench_shortest"].likely + BASIN_ROOM
    # an arm too short to dig is left off by letting the whole trench fall to that end
    low = 0.0 if low < shortest else line.length if line.length - low < shortest else low
    point = Point(shapely.line_interpolate_point(line, low))
    if not shapely.intersects(ground.free, point):
        return None
    here = float(heights_along(LineString([point, point]), ground.drainage)[0])
    why = reason("basin_at_trench_low", place=place.name, why=basin.why["why"])
    moved = replace(ground.basin(0, point, here, basin.spot, why), id=basin.id)
    told = reason("trench_in_pond", place=name_of(edge), basin=basin.id)
    arms = [
        shapely.ops.substring(line, start, end)
        for start, end in ((0.0, low - BASIN_ROOM), (line.length, low + BASIN_ROOM))
        if abs(end - start) > BASIN_ROOM + 1e-6
    ]
    arms = [arm for arm in arms if arm.length >= rules["trench_shortest"].likely]
    drains = tuple(
        replace(dug(arm, ground, number, told), into=basin.id) for arm, number in zip(arms, numbers, strict=False)
    )
    if not drains or max(drain.depth for drain in drains) > rules["depth_hand_dig"].likely:
        return None
    return moved, drains
