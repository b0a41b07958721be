"""Banks near swales that may hide a culvert, beside the drives over them that are found on their own."""

from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from pipelines.inputs.site_ground import ground_of
from pipelines.layout.diagnosis.hidden_culverts import DRAINED, banks_near, depth_if_open
from pipelines.layout.swale.case import SwaleCase
from pipelines.layout.swale.site import SwaleSite
from terrain.flow.conditioning import CulvertLine, opened_along
from terrain.flow.drainage import drain_ground
from terrain.flow.embankments import Embankment
from terrain.flow.low_spots import LowSpot
from terrain.reason import Reason, reason


@dataclass(frozen=True, slots=True, eq=False)
class SwaleBank:
    """A bank near a swale that may hide a culvert.

    Attributes
    ----------
    swale : SwaleSite
        The nearest.
    name : Reason
        Of the bank, with its place.
    depth_open : float
        Deepest that water stands in what it dams before it spills, were it open. [m]
    why, measure : Reason
        All of this, for a warning; what to look for.
    """

    id: str
    bank: Embankment
    swale: SwaleSite
    name: Reason
    depth_open: float
    why: Reason
    measure: Reason


def opened_banks(case: SwaleCase) -> tuple[tuple[Embankment, float], ...]:
    """Banks within reach of swales, each with what then stands in its low spot as if it were open. [m]"""
    lines = [shapely.force_2d(site.thalweg.line) for site in case.sites]
    drives = (each.ridge.line for site in case.sites for each in site.crossings)
    known = (*case.inputs.layers.culverts.geometry, *drives)
    banks = banks_near(shapely.union_all(lines), case.drainage, case.spots, case.rules, known)
    found, reach = [], case.rules["culvert_end_reach"].likely
    for bank in banks:
        opened = opened_along(case.surface, [CulvertLine(bank.opening)], invert_reach=reach)
        then = drain_ground(ground_of(opened, case.inputs.layers, case.inputs.site.rules))
        found.append((bank, depth_if_open(bank, case.drainage, then)))
    return tuple(found)


def told_banks(
    case: SwaleCase, banks: Sequence[tuple[Embankment, float]], standing_in: Sequence[Sequence[LowSpot]]
) -> tuple[SwaleBank, ...]:
    """Banks as a reader is told of them; `standing_in` holds the low spots in which each swale's water stands."""
    lines = [shapely.force_2d(site.thalweg.line) for site in case.sites]
    found, frame = [], case.ground.grid.frame
    for number, (bank, left) in enumerate(banks, start=1):
        distances = [line.distance(bank.point) for line in lines]
        nearest = case.sites[distances.index(min(distances))]
        cells = set(bank.spot.cells.tolist())
        standing = tuple(
            site.name
            for site, own in zip(case.sites, standing_in, strict=True)
            if any(cells.intersection(spot.cells.tolist()) for spot in own)
        )
        name = reason(
            "bank_beside_swale", distance=min(distances), swale=nearest.name,
            place=f"{bank.point.x / frame.x_scale:.0f}, {bank.point.y / frame.y_scale:.0f}",
        )  # fmt: skip
        why = reason(
            "swale_bank_may_hide_culvert", bank=name, height=bank.height, width=bank.width, depth=bank.spot.depth,
            depth_open=left if left > DRAINED else None, standing=standing,
        )  # fmt: skip
        measure = reason("check_culvert", bank=name)
        found.append(SwaleBank(f"bank-{number}", bank, nearest, name, left, why, measure))
    return tuple(found)
