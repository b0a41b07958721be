"""What is wrong, held against its limit again with the works in place."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, Point

from pipelines.inputs.rules import Rules
from pipelines.layout.catching.design_flows import tolerated_over_grate
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.catching.sites import BasinSite, DownspoutSite, DrainSite
from pipelines.layout.diagnosis.diagnose import Diagnosis, unit_peak
from pipelines.layout.diagnosis.division import Division
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.diagnosis.protected import ProtectedEdge
from pipelines.layout.diagnosis.troubles import Trouble
from terrain.arrays import FloatArray
from terrain.kernels.routing import accumulate
from terrain.reason import Reason, reason

FLOW_ROUNDING = 1e-6
"""Flows that differ by less are one. [m3/s]"""


@dataclass(frozen=True, slots=True, eq=False)
class TroubleLeft:
    """One trouble with the works in place.

    Attributes
    ----------
    depth, limit : float
        Water there and what is tolerated. [m]
    over, longest : float
        How long it stands deeper than that, infinite where it still does when last looked at, and how long it may. [s]
    flow, most : float
        What runs at it, and what may. [m3/s]
    """

    trouble: Trouble
    depth: float = 0.0
    limit: float = 0.0
    over: float = 0.0
    longest: float = 0.0
    flow: float = 0.0
    most: float = 0.0

    @property
    def ended(self) -> bool:
        """Whether it is within its limit."""
        dry_in_time = self.depth <= self.limit or self.over <= self.longest
        return dry_in_time and self.flow <= self.most + FLOW_ROUNDING


def troubles_left(
    found: Diagnosis, catching: Catching, division: Division, water: LotWater, rules: Rules
) -> tuple[TroubleLeft, ...]:
    """Every trouble of the lot as it is, with the works that `water` was run with on their division of the ground."""
    return tuple(_left(found, catching, division, water, rules))


def worst_standing(left: Sequence[TroubleLeft]) -> TroubleLeft | None:
    """The place where water stands longest over its limit."""
    standing = (each for each in left if each.trouble.spot is not None)
    return max(standing, key=lambda each: (not each.ended, each.over, each.depth), default=None)


def told_left(left: TroubleLeft) -> Reason:
    """What one of them still does, beside what is tolerated."""
    name = left.trouble.name
    if left.trouble.edge is not None:
        return reason("left_running", place=name, flow=left.flow, most=left.most)
    to_the_end = left.over == float("inf")
    return reason(
        "left_standing", place=name, depth=left.depth, limit=left.limit, over=None if to_the_end else left.over,
        longest=left.longest,
    )


def _left(
    found: Diagnosis, catching: Catching, division: Division, water: LotWater, rules: Rules
) -> Iterator[TroubleLeft]:
    drained = {basin.spot for basin in catching.basins}
    stands = {trouble.name for trouble in found.troubles if trouble.spot is not None}
    for trouble in found.troubles:
        if trouble.spot is not None:
            stood = water.standing.get(trouble.spot.spot.id)
            if stood is None:
                yield TroubleLeft(trouble)
                continue
            grate = trouble.spot.spot.id in drained
            # works that dry the patio and leave the wall beside it under the same water do not end the trouble
            for place in trouble.spot.every:
                limit = tolerated_over_grate(place, found.rules, rules) if grate else found.rules.at(place.place)
                yield TroubleLeft(
                    replace(trouble, name=place.name), depth=max(stood.depth - place.dry, 0.0), limit=limit.depth,
                    over=stood.time_over(place.dry + found.rules.counts_from(limit)), longest=limit.duration,
                )
        elif trouble.edge is not None:
            most = found.rules.arriving_wall if trouble.edge.kind == "wall" else found.rules.arriving_paving
            if trouble.why["seen"] is not None or trouble.name in stands:
                most *= found.rules.seen_share
            flow = _flow_at(trouble.edge, division, catching, water, found.rules.complaint_reach)
            yield TroubleLeft(trouble, flow=flow, most=most)


def _flow_at(
    edge: ProtectedEdge, division: Division, catching: Catching, water: LotWater, reach: float
) -> float:
    """What runs at an edge and into no collector within reach of it, and what the collectors there let by. [m3/s]"""
    near = [site for site in catching.sites if shapely.distance(edge.shape, _place(site)) <= reach]
    spots = {site.spot for site in near if isinstance(site, BasinSite) and site.spot is not None}
    takers = {site.id for site in near if not (isinstance(site, BasinSite) and site.spot is not None)}
    caught = spots | takers
    first = [division.names[number] if number >= 0 else "" for number in division.label[edge.cells]]
    area = float((edge.areas - _piped(edge, division, catching))[[name not in caught for name in first]].sum())
    by = sum(
        max(0.0, float(np.max(water.arriving[name].flow - water.taken[name].flow)))
        for name in takers & set(first)
        if name in water.taken and division.next_place[name] not in caught
    )
    return area * unit_peak(water) + by


def _piped(edge: ProtectedEdge, division: Division, catching: Catching) -> FloatArray:
    """Roof that would drain to each cell of an edge if pipes did not take its water. [m2]"""
    served = [division.names.index(spout.id) for spout in catching.downspouts if spout.id in division.names]
    drainage = division.drainage
    roofs = np.isin(division.label, served) * drainage.ground.grid.cell_area
    piped: FloatArray = accumulate(drainage.target, drainage.order, roofs)[edge.cells]
    return piped


def _place(site: BasinSite | DrainSite | DownspoutSite) -> Point | LineString:
    return site.line if isinstance(site, DrainSite) else site.point
