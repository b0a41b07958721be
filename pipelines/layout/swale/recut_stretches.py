"""Re-cutting a measured swale: what must stay, the least digging, and what it carries then."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from pipelines.hydraulics.channel.open_channel import cross_section, wetted_section
from pipelines.inputs.quantity_words import format_quantity
from pipelines.layout.swale.crossings import SwaleCrossing
from pipelines.layout.swale.recut import LevelLimit, NoRecut, Recut, RecutRules, plan_recut
from pipelines.layout.swale.recut_section import RecutSection, recut_section
from pipelines.layout.swale.site import SwaleSite
from terrain.arrays import FloatArray
from terrain.unit_table import Units

UTILITY_CLEARANCE = 0.3048
"""Kept between a new bottom and a utility, 1 ft; common practice, no source. [m]"""
DAMS = 0.01
"""Ground that rises this much over a bottom above it keeps water in it: the rounding of rasters. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class RecutStretch:
    """The re-cut between two drives.

    Attributes
    ----------
    id : str
        Unique.
    first, last : int
        Positions of its sections.
    sections : tuple of RecutSection
        What is cut into.
    recut : Recut or None
        None where not even a level bottom can be had.
    capacity : (n,) float ndarray
        Bank-full after the re-cut, on its own slope; empty where there is none. [m3/s]
    why_not : str
        Where it cannot be had as asked, what stands in the way; empty otherwise.
    needed : bool
        Its ground keeps water, or would keep what a stretch above lets go once that is dug. False where only a
        culvert or the flow makes it short: then digging does not help.
    """

    id: str
    first: int
    last: int
    sections: tuple[RecutSection, ...]
    recut: Recut | None
    capacity: FloatArray
    why_not: str
    needed: bool


def recut_swale(
    site: SwaleSite,
    utilities: Any,
    keeping: Sequence[tuple[int, int]],
    *,
    rules: RecutRules,
    bottom_width: float,
    side_slope: float,
    roughness: float,
    units: Units = "us",
) -> tuple[RecutStretch, ...]:
    """Least digging that drains a swale, stretch by stretch between its drives.

    Culvert inverts stay: the bottom above one ends no lower than its upper invert, the bottom below begins no higher
    than its lower one. At a drive whose culvert is only suspected nothing is dug, nor below the bottom at the lower
    end. A utility keeps its clearance; where its depth is not known nothing is dug over it.
    """
    crossed = _utility_limits(site, utilities)
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
        capacity = np.zeros(0) if recut is None else _capacity_after(sections, recut, roughness)
        why = _why_not(found, rules, units)
        needed = any(begin <= last and end >= first for begin, end in keeping)
        if stretches and stretches[-1].needed:
            needed = needed or _dams(stretches[-1], sections)
        name = f"{site.id}-D{len(stretches) + 1}"
        stretches.append(RecutStretch(name, first, last, sections, recut, capacity, why, needed))
    return tuple(stretches)


def _dams(above: RecutStretch, sections: Sequence[RecutSection]) -> bool:
    """Whether the ground below rises over what the stretch above is dug to."""
    return above.recut is not None and max(section.ground for section in sections) > above.recut.bottom[-1] + DAMS


def _end_limits(
    sections: Sequence[RecutSection], upper: SwaleCrossing | None, lower: SwaleCrossing | None
) -> list[LevelLimit]:
    begins, ends = sections[0], sections[-1]
    limits = []
    if upper is not None:
        culvert = upper.drive.culvert
        level = begins.ground if culvert is None else culvert.invert_down
        why = "suspected culvert" if culvert is None else "culvert's lower invert"
        limits.append(LevelLimit(begins.station, -np.inf, level, why))
        if culvert is None:
            limits.append(LevelLimit(begins.station, level, np.inf, why))
    if lower is None:
        limits.append(LevelLimit(ends.station, ends.ground, np.inf, "bottom at the lower end"))
    else:
        culvert = lower.drive.culvert
        level = ends.ground if culvert is None else min(culvert.invert_up, ends.ground)
        why = "suspected culvert" if culvert is None else "culvert's upper invert"
        limits.append(LevelLimit(ends.station, level, np.inf, why))
    return limits


def _utility_limits(site: SwaleSite, utilities: Any) -> list[LevelLimit]:
    flat = shapely.force_2d(site.thalweg.line)
    limits = []
    for line, kind, depth in zip(utilities.geometry, utilities["kind"], utilities["depth_m"], strict=True):
        for place in shapely.get_parts(shapely.intersection(flat, shapely.force_2d(line))):
            station = float(shapely.line_locate_point(flat, shapely.centroid(place)))
            ground = float(np.interp(station, site.thalweg.station, site.thalweg.bottom))
            known = bool(np.isfinite(depth))
            lowest = min(ground - float(depth) + UTILITY_CLEARANCE, ground) if known else ground
            words = f"{kind or 'utility'} line" + ("" if known else " of unknown depth")
            limits.append(LevelLimit(station, lowest, np.inf, words))
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


def _why_not(found: Recut | NoRecut, rules: RecutRules, units: Units) -> str:
    def words(limit: tuple[str, float]) -> str:
        return f"{limit[0]} at station {format_quantity(limit[1], 'length', units)}"

    if isinstance(found, NoRecut):
        rise = format_quantity(found.rise, "depth", units)
        return (
            f"no digging drains it: {words(found.lower)} lies {rise} higher than {words(found.upper)}; the low is to "
            "be filled, or what lies below it set deeper"
        )
    if found.as_asked:
        return ""
    return (
        f"{format_quantity(rules.slope, 'slope', units)} cannot be had between {words(found.binding[0])} and "
        f"{words(found.binding[1])}; {format_quantity(found.slope, 'slope', units)} can"
    )
