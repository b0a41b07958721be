"""Where the water is caught: basins at low spots, stone trenches along edges, grated channels before walls."""

from collections.abc import Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.rules import Rules
from pipelines.layout.catching.basins import basin_at_spot, basin_on_path
from pipelines.layout.catching.sites import BasinSite, CatchGround, DrainSite
from pipelines.layout.catching.trenches import channel_across, trench_along
from pipelines.layout.diagnosis.protected import Arrival, ProtectedEdge, arrival_at
from pipelines.layout.diagnosis.troubles import SpotPlace, Trouble
from terrain.flow.drainage import Drainage
from terrain.reason import Reason, reason

CLEAR_OF_WALL = 0.02
"""Room between stone and the offset that it keeps from a wall, so that round-off does not refuse it. [m]"""


def site_collectors(
    troubles: Sequence[Trouble], ground: CatchGround, *, stone: bool = True
) -> tuple[tuple[BasinSite, ...], tuple[DrainSite, ...], tuple[Reason, ...]]:
    """Basins, and stone trenches where wanted, for what is wrong, as few as do the job; then what was not sited."""
    basins: list[BasinSite] = []
    drains: list[DrainSite] = []
    refused: list[Reason] = []
    apart = ground.rules["basin_apart"].likely
    # standing water first: a basin at the low of a patio takes what arrives there too
    for trouble in sorted(troubles, key=lambda each: each.spot is None):
        if trouble.spot is not None:
            if is_minor(trouble.spot, ground.rules):
                continue
            found = basin_at_spot(trouble, trouble.spot, ground, len(basins) + 1)
            if found is None:
                refused.append(reason("no_basin_fits", place=trouble.name, reach=ground.rules["basin_snap"].likely))
            elif _apart(found, basins, apart) or found.spot not in {b.spot for b in basins}:
                basins.append(found)
        elif trouble.edge is not None:
            clear = ground.clear_of(basins, drains)
            arrival, drain = _drain_before(trouble, trouble.edge, clear, len(drains) + 1)
            if drain is not None and (stone or drain.channel):
                drains.append(drain)
                continue
            if any(shapely.distance(trouble.edge.shape, other.point) < apart for other in basins):
                continue
            basin = basin_on_path(trouble, arrival.place, clear, len(basins) + 1)
            if basin is None:
                refused.append(reason("nothing_fits_before", place=trouble.name))
            elif _apart(basin, basins, apart):
                basins.append(basin)
    return tuple(basins), tuple(drains), tuple(refused)


def is_minor(place: SpotPlace, rules: Rules) -> bool:
    """Whether a low spot is filled rather than drained: a small hollow in a lawn that nobody complained of."""
    return place.place == "lawn" and place.complaint is None and place.spot.area < rules["small_hollow"].likely


def _apart(basin: BasinSite, others: Sequence[BasinSite], distance: float) -> bool:
    return all(shapely.distance(basin.point, other.point) >= distance for other in others)


def _drain_before(
    trouble: Trouble, edge: ProtectedEdge, ground: CatchGround, number: int
) -> tuple[Arrival, DrainSite | None]:
    """How water comes to an edge, and the channel or trench that meets it."""
    rules = ground.rules
    # a grated channel holds no water against a wall as stone does: it lies right before it
    over_paving = _comes_over(edge, ground.paving, ground.drainage) > rules["channel_paved_share"].likely
    offset = rules["trench_edge_offset"].likely if over_paving else edge_offset(edge, ground)
    arrival = arrival_at(
        edge,
        ground.drainage.ground.grid,
        offset=offset,
        overlap=rules["trench_overlap"].likely,
        share=rules["arrival_share"].likely,
        cluster_reach=rules["arrival_cluster"].likely,
        cluster_share=rules["arrival_cluster_share"].likely,
    )
    if arrival.stretch is None:
        return arrival, None
    if over_paving:
        return arrival, channel_across(trouble, arrival.stretch, ground, number)
    return arrival, None if arrival.concentrated else trench_along(trouble, arrival.stretch, ground, number)


def edge_offset(edge: ProtectedEdge, ground: CatchGround) -> float:
    """How far the middle of a stone trench lies from an edge. [m]"""
    rules = ground.rules
    if edge.kind == "wall":
        return ground.wall_offset + rules["trench_width_stone"].likely / 2.0 + CLEAR_OF_WALL
    return rules["trench_edge_offset"].likely


def _comes_over(edge: ProtectedEdge, paving: BaseGeometry, drainage: Drainage) -> float:
    """Share of the ground behind a wall whose water steps up to it over paving; 0 for paving itself. [-]"""
    if edge.kind != "wall" or edge.cells.size == 0 or paving.is_empty:
        return 0.0
    grid = drainage.ground.grid
    x, y = grid.centres(edge.cells // grid.shape[1], edge.cells % grid.shape[1])
    return float(edge.areas[shapely.contains_xy(paving, x, y)].sum() / edge.areas.sum())
