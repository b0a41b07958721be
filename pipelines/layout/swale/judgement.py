"""The answer for each reach of a swale and each drive across it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.hydraulics.channel.permissible_velocity import permissible_velocity
from pipelines.inputs.quantity_words import format_quantity
from pipelines.layout.swale.crossings import SwaleCrossing
from pipelines.layout.swale.levels import SwaleCapacity, SwaleLevels
from pipelines.layout.swale.reaches import SwaleReach
from pipelines.layout.swale.site import SwaleSite
from pipelines.layout.swale.standing import SwalePond
from pipelines.layout.swale.verdict import SwaleState, SwaleVerdict, judge_swale
from terrain.lidar_error import fall_error
from terrain.unit_table import Units


@dataclass(frozen=True, slots=True)
class JudgeRules:
    """What a swale is held against.

    Attributes
    ----------
    freeboard : float
        [m]
    rmse : float
        Vertical accuracy of one height. [m]
    cover : str
        Key of the grass.
    erodible : bool
        The soil erodes easily.
    tolerable_depth, tolerable_hours : float
        Standing water that people bear. [m], [h]
    units : str
        us or si, of the sentences.
    """

    freeboard: float
    rmse: float
    cover: str = "grass_mixture"
    erodible: bool = True
    tolerable_depth: float = 0.0508
    tolerable_hours: float = 24.0
    units: Units = "us"


@dataclass(frozen=True, slots=True, eq=False)
class ReachFinding:
    """A reach and its answer.

    Attributes
    ----------
    reach : SwaleReach
        Which.
    verdict : SwaleVerdict
        Whether it takes the storm.
    against_grade : bool
        It rises downstream by more than the lidar's error.
    capacity, capacity_with_freeboard : float or None
        Least of its sections; None where it does not fall. [m3/s]
    peak : float
        Largest flow. [m3/s]
    worst : int
        Position of the section with least room.
    room : float
        There: bank less freeboard less level. [m]
    velocity : float
        Largest in the storm. [m/s]
    permissible : float or None
        What the grass stands; None where it is not used on such a slope. [m/s]
    erodes : bool
        Faster than that.
    first_overtops : float or None
        Return period of the first storm of the table that stands above a bank or runs over the drive at its lower
        end; None where none does. [yr]
    standing : SwalePond or None
        Deepest water left in it.
    """

    reach: SwaleReach
    verdict: SwaleVerdict
    against_grade: bool
    capacity: float | None
    capacity_with_freeboard: float | None
    peak: float
    worst: int
    room: float
    velocity: float
    permissible: float | None
    erodes: bool
    first_overtops: float | None
    standing: SwalePond | None


@dataclass(frozen=True, slots=True, eq=False)
class CrossingFinding:
    """A drive's culvert in the storm.

    Attributes
    ----------
    crossing : SwaleCrossing
        Which.
    flow, through, over : float
        That arrives, and what the culvert and the drive carry. [m3/s]
    headwater, tailwater : float
        Levels above and below. [m]
    governs : str
        inlet, outlet, weir or none.
    answer : str
        takes_it, short (the drive is overtopped) or cannot_tell.
    why : str
        In a sentence.
    """

    crossing: SwaleCrossing
    flow: float
    through: float
    over: float
    headwater: float
    tailwater: float
    governs: str
    answer: str
    why: str


def judge_reaches(
    site: SwaleSite,
    levels: SwaleLevels,
    capacity: SwaleCapacity,
    ponds: Sequence[SwalePond],
    first_overtops: Sequence[float | None],
    rules: JudgeRules,
) -> tuple[ReachFinding, ...]:
    """Answer for each reach."""
    return tuple(
        _judge_reach(site, reach, levels, capacity, ponds, first, rules)
        for reach, first in zip(site.reaches, first_overtops, strict=True)
    )


def _judge_reach(
    site: SwaleSite,
    reach: SwaleReach,
    levels: SwaleLevels,
    capacity: SwaleCapacity,
    ponds: Sequence[SwalePond],
    first: float | None,
    rules: JudgeRules,
) -> ReachFinding:
    inside = slice(reach.first, reach.last + 1)
    room = site.bank[inside] - rules.freeboard - levels.level[inside]
    worst = reach.first + int(np.argmin(room))
    flow = levels.surface.flow[inside]
    falls = reach.grade > 0.0
    full = float(capacity.bank_full[inside].min()) if falls else None
    kept = float(capacity.with_freeboard[inside].min()) if falls else None
    pond = max(
        (each for each in ponds if each.start < reach.end and each.end > reach.start),
        key=lambda each: each.depth,
        default=None,
    )
    speed = float(levels.surface.velocity[inside].max())
    allowed = permissible_velocity(rules.cover, max(reach.grade, 0.0), erodible=rules.erodible)
    hidden = {crossing.id for crossing in site.crossings if not crossing.given}
    # behind a drive that hides a culvert the raster's pond may not be there
    told = pond is not None and pond.behind not in hidden
    below = _drive_below(site, reach, levels)
    state = SwaleState(
        room=float(room.min()),
        freeboard=rules.freeboard,
        error=_depth_error(site, worst, rules.rmse),
        missing_flow=max(float(flow.max()) - full, below[1] if below else 0.0, 0.0) if full is not None else 0.0,
        standing=pond.depth if pond is not None and told else 0.0,
        standing_hours=pond.hours if pond is not None else None,
        standing_sure=pond.sure if pond is not None else False,
        suspected=_suspected(site, reach, levels, rules),
        cause="" if below is None else _too_small(*below, rules.units),
    )
    verdict = judge_swale(
        state, units=rules.units, tolerable_depth=rules.tolerable_depth, tolerable_hours=rules.tolerable_hours
    )
    return ReachFinding(
        reach, verdict, reach.adverse is not None and reach.adverse.sure, full, kept, float(flow.max()), worst,
        float(room.min()), speed, allowed, allowed is not None and speed > allowed, first, pond,
    )  # fmt: skip


def judge_crossings(site: SwaleSite, levels: SwaleLevels, units: Units) -> tuple[CrossingFinding, ...]:
    """Answer for each drive."""
    found = []
    for crossing in site.crossings:
        passed = levels.surface.crossings[crossing.above]
        flow = float(levels.surface.flow[crossing.above])
        if not crossing.given:
            height = crossing.dam.height if crossing.dam is not None else 0.0
            answer, why = "cannot_tell", (
                f"the raster shows ground {format_quantity(height, 'depth', units)} high across the swale with a low "
                "just above it: look for a culvert there"
            )
        elif passed.over > 0.0:
            answer, why = "short", (
                f"{format_quantity(passed.over, 'flow', units)} of {format_quantity(flow, 'flow', units)} runs over "
                f"the drive; the culvert carries {format_quantity(passed.through, 'flow', units)}"
            )
        else:
            spare = crossing.ridge.lowest - passed.headwater
            answer, why = "takes_it", (
                f"all {format_quantity(flow, 'flow', units)} passes, {passed.governs} control, the water "
                f"{format_quantity(spare, 'depth', units)} below the drive"
            )
        if crossing.assumed:
            why = f"{why}; {crossing.assumed}"
        found.append(
            CrossingFinding(
                crossing, flow, passed.through, passed.over, passed.headwater,
                float(levels.level[crossing.above + 1]), passed.governs, answer, why,
            )
        )  # fmt: skip
    return tuple(found)


def _too_small(drive: str, over: float, units: Units) -> str:
    return f"the culvert of drive {drive} below it is too small by {format_quantity(over, 'flow', units)}"


def _drive_below(site: SwaleSite, reach: SwaleReach, levels: SwaleLevels) -> tuple[str, float] | None:
    """The next drive whose culvert is too small and backs water up to a reach, and what runs over it."""
    for crossing in site.crossings:
        if crossing.above < reach.first or not crossing.given:
            continue
        passed = levels.surface.crossings[crossing.above]
        backs_up = passed.headwater > float(site.bottom[reach.last]) + 0.02
        return (crossing.id, passed.over) if passed.over > 0.0 and backs_up else None
    return None


def _depth_error(site: SwaleSite, index: int, rmse: float) -> float:
    """Standard error of a depth: of the fall from a bank to the bottom."""
    return float(fall_error(rmse, max(site.sections[index].width / 2.0, 0.5)))


def _suspected(site: SwaleSite, reach: SwaleReach, levels: SwaleLevels, rules: JudgeRules) -> str:
    """What a suspected drive below makes of a reach that it backs water into."""
    for crossing in site.crossings:
        if crossing.given or crossing.above < reach.first or crossing.start > reach.end + 60.0:
            continue
        passed = levels.surface.crossings[crossing.above]
        if passed.headwater > float(site.bottom[reach.last]) + 0.02:
            at = format_quantity(crossing.ridge.crest, "length", rules.units)
            level = format_quantity(passed.headwater - float(site.bottom[crossing.above]), "depth", rules.units)
            return (
                f"a culvert is suspected at station {at}; without one the water there stands {level} deep and backs up "
                "to here"
            )
        break
    return ""
