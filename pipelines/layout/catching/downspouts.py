"""Downspouts whose water runs to what is wrong, and where an extension could lead it away."""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Point

from pipelines.layout.catching.sites import DownspoutSite
from pipelines.layout.diagnosis.diagnose import Diagnosis
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.situation import Situation
from terrain.arrays import BoolArray, IntArray
from terrain.flow.drainage import Drainage, upstream_labels
from terrain.ground import OPEN
from terrain.reason import Reason, reason


def spouts_to_troubles(situation: Situation, found: Diagnosis) -> tuple[DownspoutSite, ...]:
    """Downspouts whose water runs to a place in trouble."""
    seeds = np.full(situation.on_parcel.size, -1, dtype=np.int64)
    names: dict[int, Reason] = {}
    for number, trouble in enumerate(found.troubles):
        cells = trouble.spot.spot.cells if trouble.spot is not None else None
        if trouble.edge is not None:
            cells = trouble.edge.cells
        if cells is not None:
            seeds[cells[seeds[cells] < 0]] = number
            names[number] = trouble.name
    labels = upstream_labels(situation.drainage, seeds.reshape(situation.on_parcel.shape))
    reach = situation.rules["roof_reach"].likely
    return site_downspouts(situation.downspouts, situation.drainage, names, labels, reach=reach)


def spouts_beside_complaints(
    situation: Situation, found: Diagnosis, others: Sequence[DownspoutSite]
) -> tuple[DownspoutSite, ...]:
    """Further downspouts that come out where someone saw water, whatever the storm says of it."""
    if not situation.complaints:
        return ()
    # a thousand complaints of one spot are one circle
    places = shapely.get_parts(shapely.union_all([point for point, _ in situation.complaints]))
    around = mask_of(shapely.union_all(shapely.buffer(places, found.rules.complaint_reach)), situation.grid)
    labels = np.where(around, np.int64(0), np.int64(-1))
    seen, reach = {0: reason("place_of_complaint")}, situation.rules["roof_reach"].likely
    beside = site_downspouts(situation.downspouts, situation.drainage, seen, labels, reach=reach)
    known = {spout.id for spout in others}
    return tuple(spout for spout in beside if spout.id not in known)


def site_downspouts(
    downspouts: Sequence[tuple[str, Point]],
    drainage: Drainage,
    into: dict[int, Reason],
    labels: IntArray,
    *,
    reach: float,
) -> tuple[DownspoutSite, ...]:
    """Downspouts within reach of where a roof lets water down onto a cell with one of some labels."""
    ground = drainage.ground
    grid = ground.grid
    receiver = ground.receiver.ravel()
    roof_cells = np.flatnonzero(receiver >= 0)
    roof_cells = roof_cells[ground.roof.ravel()[roof_cells] >= 0]
    if roof_cells.size == 0 or not downspouts:
        return ()
    receivers = np.unique(receiver[roof_cells])
    x, y = grid.centres(receivers // grid.shape[1], receivers % grid.shape[1])
    sites: list[DownspoutSite] = []
    taken: set[int] = set()
    for spout_id, point in downspouts:
        away = np.hypot(x - point.x, y - point.y)
        nearest = int(np.argmin(away))
        cell = int(receivers[nearest])
        label = int(labels.ravel()[cell])
        if away[nearest] > reach or label not in into or cell in taken:
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
                why=reason("downspout_runs_to", place=into[label]),
            )
        )
    return tuple(sites)


def extension_place(spout: DownspoutSite, situation: Situation, wet: BoolArray) -> Point | None:
    """Where an extension of a downspout could end so that its water runs away from what is wrong.

    Off the lot line, off paving and the house, lower than the downspout, and on ground whose water comes to no place
    in trouble.
    """
    drainage, houses, rules = situation.drainage, situation.houses, situation.rules
    grid = drainage.ground.grid
    around = shapely.buffer(spout.point, rules["extension_longest"].likely)
    inside = shapely.buffer(situation.parcel, -rules["extension_offset_line"].likely)
    free = mask_of(shapely.intersection(around, inside), grid)
    free &= (drainage.ground.kind == OPEN) & ~wet & (drainage.ground.elevation < spout.ground)
    for shape in (situation.paving, houses):
        if not shape.is_empty:
            free &= ~mask_of(shapely.buffer(shape, rules["extension_offset_house"].likely), grid)
    cells = np.flatnonzero(free)
    if cells.size == 0:
        return None
    x, y = grid.centres(cells // grid.shape[1], cells % grid.shape[1])
    away = np.hypot(x - spout.point.x, y - spout.point.y)
    # a straight extension must not cross the house
    for k in np.argsort(away, kind="stable"):
        end = Point(float(x[k]), float(y[k]))
        link = shapely.LineString([spout.point, end])
        if houses.is_empty or shapely.length(shapely.intersection(link, houses)) < 0.5:
            return end
    return None
