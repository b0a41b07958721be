"""Reaches of a swale: stretches between drives, and those that run against the slope."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipelines.inputs.rules import Rules
from pipelines.layout.swale.crossings import SwaleCrossing
from terrain.arrays import FloatArray
from terrain.swale.long_profile import Adverse, LongProfile
from terrain.swale.thalweg import Thalweg


@dataclass(frozen=True, slots=True)
class SwaleReach:
    """A stretch between drives, or against the slope.

    Attributes
    ----------
    start, end : float
        Stations. [m]
    first, last : int
        Positions of its first and last section.
    grade : float
        Of the straight line fitted to its bottom, positive downstream. [-]
    adverse : Adverse or None
        The rise, where it runs against the slope.
    """

    id: str
    start: float
    end: float
    first: int
    last: int
    grade: float
    adverse: Adverse | None


def divide_reaches(
    id: str,
    thalweg: Thalweg,
    profile: LongProfile,
    stations: FloatArray,
    crossings: Sequence[SwaleCrossing],
    rules: Rules,
) -> tuple[SwaleReach, ...]:
    """Divide a swale into reaches."""
    edges = [0.0, *(end for crossing in crossings for end in (crossing.start, crossing.end)), thalweg.length]
    free = [(edges[k], edges[k + 1]) for k in range(0, len(edges), 2)]
    found: list[SwaleReach] = []
    for start, end in free:
        inner = np.flatnonzero((stations >= start - 1e-6) & (stations <= end + 1e-6))
        if len(inner) == 0:
            continue
        cuts = _cuts(start, end, [each for each in profile.adverse if each.start < end and each.end > start], rules)
        first = int(inner[0])
        for upper, lower in pairwise(cuts):
            last = int(inner[stations[inner] <= lower + 1e-6][-1]) if lower < end else int(inner[-1])
            if last < first:
                continue
            rising = [each for each in profile.adverse if each.start < lower - 0.5 and each.end > upper + 0.5]
            adverse = max(rising, key=lambda each: each.rise, default=None)
            grade = _grade(profile, upper, lower)
            number = part_id("reach", id, len(found) + 1)
            found.append(SwaleReach(number, upper, lower, first, last, grade, adverse if grade <= 0.0 else None))
            first = last + 1
    return tuple(found)


def part_id(kind: str, swale: str, number: int | str) -> str:
    """Id of a part of a swale: `reach-1.7` is the seventh reach of `swale-1`."""
    return f"{kind}-{swale.removeprefix('swale-')}.{number}"


def _cuts(start: float, end: float, adverse: Sequence[Adverse], rules: Rules) -> list[float]:
    """Where a stretch is divided: at the ends of what rises, and into lengths that are not too long."""
    least, longest = rules["swale_least_reach"].likely, rules["swale_longest_reach"].likely
    inner = {at for each in adverse for at in (each.start, each.end) if start + least < at < end - least}
    cuts = [start, *sorted(inner), end]
    divided = [start]
    for upper, lower in pairwise(cuts):
        parts = int(np.ceil((lower - upper) / longest)) or 1
        divided += [upper + (lower - upper) * part / parts for part in range(1, parts + 1)]
    return divided


def _grade(profile: LongProfile, start: float, end: float) -> float:
    inside = (profile.station >= start) & (profile.station <= end)
    if inside.sum() < 3:
        inside = np.abs(profile.station - (start + end) / 2.0) <= max((end - start) / 2.0, 3.0)
    return -float(np.polyfit(profile.station[inside], profile.without_dams[inside], 1)[0])
