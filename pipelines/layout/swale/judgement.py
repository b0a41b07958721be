"""The answer for each reach of a swale and each drive across it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.hydraulics.channel.drive_crossing import CrossingFlow
from pipelines.hydraulics.channel.permissible_velocity import permissible_velocity
from pipelines.inputs.ground_rules import lidar_noise
from pipelines.inputs.rules import Rules
from pipelines.layout.swale.crossings import SwaleCrossing
from pipelines.layout.swale.levels import SwaleCapacity, SwaleLevels
from pipelines.layout.swale.reaches import SwaleReach
from pipelines.layout.swale.site import SwaleSite
from pipelines.layout.swale.standing import SwalePond
from pipelines.layout.swale.verdict import SwaleAnswer, SwaleState, SwaleVerdict, judge_swale
from terrain.lidar_error import fall_error
from terrain.reason import Reason, reason


@dataclass(frozen=True, slots=True, eq=False)
class ReachFinding:
    """A reach and its answer.

    Attributes
    ----------
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
    flow, through, over : float
        That arrives, and what the culvert and the drive carry. [m3/s]
    headwater, tailwater : float
        Levels above and below. [m]
    governs : str
        inlet, outlet, weir or none.
    answer : str
        takes_it, short (the drive is overtopped) or cannot_tell.
    measure : Reason
        What to measure on site.
    warnings : tuple of Reason
        What a reader must know of its culvert.
    """

    crossing: SwaleCrossing
    flow: float
    through: float
    over: float
    headwater: float
    tailwater: float
    governs: str
    answer: SwaleAnswer
    why: Reason
    measure: Reason
    warnings: tuple[Reason, ...] = ()


def judge_reaches(
    site: SwaleSite,
    levels: SwaleLevels,
    capacity: SwaleCapacity,
    ponds: Sequence[SwalePond],
    first_overtops: Sequence[float | None],
    rules: Rules,
    *,
    cover: str,
) -> tuple[ReachFinding, ...]:
    """Answer for each reach; `cover` is the key of its grass."""
    return tuple(
        _judge_reach(site, reach, levels, capacity, ponds, first, rules, cover)
        for reach, first in zip(site.reaches, first_overtops, strict=True)
    )


def _judge_reach(
    site: SwaleSite,
    reach: SwaleReach,
    levels: SwaleLevels,
    capacity: SwaleCapacity,
    ponds: Sequence[SwalePond],
    first: float | None,
    rules: Rules,
    cover: str,
) -> ReachFinding:
    inside = slice(reach.first, reach.last + 1)
    freeboard = rules["swale_freeboard"].likely
    room = site.bank[inside] - freeboard - levels.level[inside]
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
    allowed = permissible_velocity(cover, max(reach.grade, 0.0), erodible=True)
    hidden = {crossing.id for crossing in site.crossings if not crossing.given}
    # behind a drive that hides a culvert the raster's pond may not be there
    told = pond is not None and pond.behind not in hidden
    below = _drive_below(site, reach, levels, rules)
    state = SwaleState(
        room=float(room.min()),
        freeboard=freeboard,
        error=_depth_error(site, worst, rules),
        missing_flow=max(float(flow.max()) - full, below[1] if below else 0.0, 0.0) if full is not None else 0.0,
        standing=pond.depth if pond is not None and told else 0.0,
        standing_time=pond.time if pond is not None else None,
        standing_sure=pond.sure if pond is not None else False,
        suspected=_suspected(site, reach, levels, rules),
        cause=None
        if below is None
        else reason("swale_culvert_below_too_small", drive=below[0], over=below[1]),
    )
    rises = reach.adverse is not None and reach.adverse.sure
    return ReachFinding(
        reach, judge_swale(state, rules), rises, full, kept, float(flow.max()), worst, float(room.min()), speed,
        allowed, allowed is not None and speed > allowed, first, pond,
    )  # fmt: skip


def judge_crossings(site: SwaleSite, levels: SwaleLevels) -> tuple[CrossingFinding, ...]:
    """Answer for each drive."""
    return tuple(_judge_crossing(crossing, levels) for crossing in site.crossings)


def _judge_crossing(crossing: SwaleCrossing, levels: SwaleLevels) -> CrossingFinding:
    passed = levels.surface.crossings[crossing.above]
    flow = float(levels.surface.flow[crossing.above])
    answer: SwaleAnswer
    measure = reason("swale_measure_culvert")
    warnings = _warnings(crossing, passed)
    notes = (*crossing.assumed, *warnings)
    if not crossing.given:
        height = crossing.dam.height if crossing.dam is not None else 0.0
        answer, why = "cannot_tell", reason(
            "swale_drive_suspected", height=height, station=crossing.ridge.crest, level=passed.headwater
        )
        measure = reason("swale_measure_suspected_culvert")
    elif passed.over > 0.0:
        answer, why = "short", reason(
            "swale_drive_overtopped", over=passed.over, flow=flow, through=passed.through, notes=notes
        )
    else:
        spare = crossing.ridge.lowest - passed.headwater
        answer, why = "takes_it", reason(
            "swale_drive_passes", flow=flow, control=passed.governs, spare=spare, notes=notes
        )
    return CrossingFinding(
        crossing, flow, passed.through, passed.over, passed.headwater, float(levels.level[crossing.above + 1]),
        passed.governs, answer, why, measure, warnings,
    )  # fmt: skip


def _warnings(crossing: SwaleCrossing, passed: CrossingFlow) -> tuple[Reason, ...]:
    """What is to be known of a culvert; inverts read off the raster don't show that it slopes the wrong way."""
    said = passed.culvert.warnings if passed.culvert is not None else ()
    read = any(each.code == "swale_culvert_inverts_read" for each in crossing.assumed)
    return tuple(each for each in said if not (read and each.code == "culvert_adverse"))


def _drive_below(
    site: SwaleSite, reach: SwaleReach, levels: SwaleLevels, rules: Rules
) -> tuple[str, float] | None:
    """The next drive whose culvert is too small and backs water up to a reach, and what runs over it."""
    for crossing in site.crossings:
        if crossing.above < reach.first or not crossing.given:
            continue
        over = levels.surface.crossings[crossing.above].over
        return (crossing.id, over) if over > 0.0 and _backs_up(site, reach, crossing, levels, rules) else None
    return None


def _backs_up(
    site: SwaleSite, reach: SwaleReach, crossing: SwaleCrossing, levels: SwaleLevels, rules: Rules
) -> bool:
    headwater = levels.surface.crossings[crossing.above].headwater
    return headwater > float(site.bottom[reach.last]) + rules["swale_backwater"].likely


def _depth_error(site: SwaleSite, index: int, rules: Rules) -> float:
    """Standard error of a depth: of the fall from a bank to the bottom. [m]"""
    half = max(site.sections[index].width / 2.0, 0.5)
    return fall_error(rules["lidar_rmse"].likely, half, **lidar_noise(rules))


def _suspected(site: SwaleSite, reach: SwaleReach, levels: SwaleLevels, rules: Rules) -> Reason | None:
    """What a suspected drive below makes of a reach that it backs water into."""
    farthest = reach.end + rules["swale_suspect_reach"].likely
    crossing = next(
        (
            each
            for each in site.crossings
            if not each.given and each.above >= reach.first and each.start <= farthest
        ),
        None,
    )
    if crossing is None or not _backs_up(site, reach, crossing, levels, rules):
        return None
    depth = levels.surface.crossings[crossing.above].headwater - float(site.bottom[crossing.above])
    return reason("swale_culvert_suspected_below", station=crossing.ridge.crest, depth=depth)
