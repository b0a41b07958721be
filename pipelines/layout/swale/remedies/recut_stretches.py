"""Re-cutting a measured swale: what must stay, the least digging, and what it carries then."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from pipelines.hydraulics.channel.open_channel import cross_section, wetted_section
from pipelines.inputs.rules import Rules
from pipelines.layout.quantities.take_off import UnitPrice
from pipelines.layout.swale.crossings import SwaleCrossing
from pipelines.layout.swale.reaches import part_id
from pipelines.layout.swale.remedies.recut import LevelLimit, NoRecut, Recut, plan_recut
from pipelines.layout.swale.remedies.recut_section import RecutSection, recut_section
from pipelines.layout.swale.site import SwaleSite
from pipelines.layout.swale.swale_costs import PricedJob, cost_of_recut
from terrain.arrays import FloatArray
from terrain.reason import Reason, reason


@dataclass(frozen=True, slots=True, eq=False)
class RecutStretch:
    """The re-cut between two drives.

    Attributes
    ----------
    first, last : int
        Positions of its sections.
    sections : tuple of RecutSection
        What is cut into.
    recut : Recut or None
        None where not even a level bottom can be had.
    capacity : (n,) float ndarray
        Bank-full after the re-cut, on its own slope; empty where there is none. [m3/s]
    why_not : Reason or None
        Where it cannot be had as asked, what stands in the way.
    needed : bool
        Its ground keeps water, or would keep what a stretch above lets go once that is dug. False where only a
        culvert or the flow makes it short: then digging does not help.
    cost : PricedJob or None
        Of a re-cut that is needed.
    """

    id: str
    first: int
    last: int
    sections: tuple[RecutSection, ...]
    recut: Recut | None
    capacity: FloatArray
    why_not: Reason | None
    needed: bool
    cost: PricedJob | None = None


def recut_swale(
    site: SwaleSite,
    utilities: Any,
    keeping: Sequence[tuple[int, int]],
    rules: Rules,
) -> tuple[RecutStretch, ...]:
    """Least digging that drains a swale, stretch by stretch between its drives.

    Culvert inverts stay: the bottom above one ends no lower than its upper invert, the bottom below begins no higher
    than its lower one. At a drive whose culvert is only suspected nothing is dug, nor below the bottom at the lower
    end. A utility keeps its clearance; where its depth is not known nothing is dug over it.
    """
    crossed = _utility_limits(site, utilities, rules)
    bottom_width, side_slope = rules["swale_bottom_width"].likely, 1.0 / rules["swale_side_slope"].likely
    edges = [-1, *(crossing.above for crossing in site.crossings), len(site.sections) - 1]
    stretches: list[RecutStretch] = []
    for number in range(len(edges) - 1):
        first, last = edges[number] + 1, edges[number + 1]
        if last <= first:
            continue
        upper = site.crossings[number - 1] if number > 0 else None
        lower = site.crossings[number] if number < len(site.crossings) else None
        sections = tuple(
            recut_section(section, bottom_width=bottom_width, side_slope=side_slope)
            for section in site.sections[first : last + 1]
        )
        limits = [*_end_limits(sections, upper, lower), *_within(crossed, sections)]
        found = plan_recut(sections, limits, rules)
        recut = found if isinstance(found, Recut) else None
        capacity = np.zeros(0) if recut is None else _capacity_after(sections, recut, rules["n_swale"].likely)
        needed = any(begin <= last and end >= first for begin, end in keeping)
        if stretches and stretches[-1].needed:
            needed = needed or _dams(stretches[-1], sections, rules)
        name = part_id("cut", site.id, len(stretches) + 1)
        stretches.append(RecutStretch(name, first, last, sections, recut, capacity, _why_not(found, rules), needed))
    return tuple(stretches)


def priced_stretches(
    stretches: Sequence[RecutStretch], prices: Mapping[str, UnitPrice], rules: Rules
) -> tuple[RecutStretch, ...]:
    """Re-cuts, those that are needed with the price of each by itself."""
    return tuple(
        replace(each, cost=cost_of_recut(each.recut, each.sections, prices=prices, rules=rules))
        if each.needed and each.recut is not None and each.recut.total > 0.0
        else each
        for each in stretches
    )


def _dams(above: RecutStretch, sections: Sequence[RecutSection], rules: Rules) -> bool:
    """Whether the ground below rises over what the stretch above is dug to."""
    if above.recut is None:
        return False
    highest = max(section.ground for section in sections)
    return highest > float(above.recut.bottom[-1]) + rules["swale_dam"].likely


def _end_limits(
    sections: Sequence[RecutSection], upper: SwaleCrossing | None, lower: SwaleCrossing | None
) -> list[LevelLimit]:
    begins, ends = sections[0], sections[-1]
    suspected = reason("swale_limit_suspected_culvert")
    limits = []
    if upper is not None:
        culvert = upper.drive.culvert
        level = begins.ground if culvert is None else culvert.invert_down
        why = suspected if culvert is None else reason("swale_limit_lower_invert")
        limits.append(LevelLimit(begins.station, -np.inf, level, why))
        if culvert is None:
            limits.append(LevelLimit(begins.station, level, np.inf, why))
    if lower is None:
        limits.append(LevelLimit(ends.station, ends.ground, np.inf, reason("swale_limit_lower_end")))
    else:
        culvert = lower.drive.culvert
        level = ends.ground if culvert is None else min(culvert.invert_up, ends.ground)
        why = suspected if culvert is None else reason("swale_limit_upper_invert")
        limits.append(LevelLimit(ends.station, level, np.inf, why))
    return limits


def _utility_limits(site: SwaleSite, utilities: Any, rules: Rules) -> list[LevelLimit]:
    flat, clearance = shapely.force_2d(site.thalweg.line), rules["swale_utility_clearance"].likely
    limits = []
    for line, kind, depth in zip(utilities.geometry, utilities["kind"], utilities["depth_m"], strict=True):
        for place in shapely.get_parts(shapely.intersection(flat, shapely.force_2d(line))):
            station = float(shapely.line_locate_point(flat, shapely.centroid(place)))
            ground = float(np.interp(station, site.thalweg.station, site.thalweg.bottom))
            known = bool(np.isfinite(depth))
            lowest = min(ground - float(depth) + clearance, ground) if known else ground
            why = reason("swale_limit_utility", kind=kind or "utility", depth_known=known)
            limits.append(LevelLimit(station, lowest, np.inf, why))
    return limits


def _within(limits: Sequence[LevelLimit], sections: Sequence[RecutSection]) -> list[LevelLimit]:
    return [limit for limit in limits if sections[0].station <= limit.station <= sections[-1].station]


def _capacity_after(sections: Sequence[RecutSection], recut: Recut, roughness: float) -> FloatArray:
    falls = -np.diff(recut.bottom) / np.diff(recut.station)
    slope = np.concatenate([falls, falls[-1:]])
    carried = []
    for section, bottom, grade in zip(sections, recut.bottom, slope, strict=True):
        offsets, ground = section.after(float(bottom))
        conveyance = wetted_section(cross_section(offsets, ground, roughness), section.bank).conveyance
        carried.append(conveyance * float(np.sqrt(max(grade, 0.0))))
    return np.array(carried)


def _why_not(found: Recut | NoRecut, rules: Rules) -> Reason | None:
    if isinstance(found, NoRecut):
        (upper, upper_station), (lower, lower_station) = found.upper, found.lower
        return reason(
            "swale_no_digging_drains",
            upper=upper,
            upper_station=upper_station,
            lower=lower,
            lower_station=lower_station,
            rise=found.rise,
        )
    if found.as_asked:
        return None
    (upper, upper_station), (lower, lower_station) = found.binding
    return reason(
        "swale_slope_cannot_be_had",
        wanted=rules["swale_slope"].likely,
        upper=upper,
        upper_station=upper_station,
        lower=lower,
        lower_station=lower_station,
        slope=found.slope,
    )
