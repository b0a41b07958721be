"""Outlets on a swale: tailwater, what it does to the line behind, and whether the swale takes their water."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from pipelines.inputs.ground_rules import lidar_noise
from pipelines.inputs.rules import Rules
from pipelines.layout.swale.filling import Filling
from pipelines.layout.swale.judgement import ReachFinding
from pipelines.layout.swale.levels import level_beside
from pipelines.layout.swale.site import SwaleSite
from pipelines.layout.swale.tailwater import GravityLine, SubmergedLine, Tailwater, line_under_tailwater, tailwater_at
from pipelines.layout.swale.verdict import SwaleVerdict
from terrain.arrays import FloatArray
from terrain.lidar_error import fall_error
from terrain.reason import reason


@dataclass(frozen=True, slots=True, eq=False)
class SwaleOutlet:
    """An outlet as it is given.

    Attributes
    ----------
    x, y, station : float
        Where it is, and along the swale. [m]
    invert : float
        Of its pipe. [m]
    invert_assumed : bool
        Taken as so far above the bottom as the rules say, since nothing gives it.
    diameter : float
        Of its pipe, 0 where unknown. [m]
    flow : float
        That it adds, 0 where unknown. [m3/s]
    line : GravityLine or None
        The run behind it.
    name : str
        What people call it: its lot's name, its id where it has none.
    """

    id: str
    kind: str
    x: float
    y: float
    station: float
    invert: float
    invert_assumed: bool
    diameter: float
    flow: float
    line: GravityLine | None
    name: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class OutletFinding:
    """An outlet on a swale and its answer.

    Attributes
    ----------
    tailwater : Tailwater
        What the swale's water does to it.
    behind : SubmergedLine or None
        What that does to the gravity line behind it, where it is known.
    verdict : SwaleVerdict
        Whether the swale takes it there.
    stage, step : (n,) float ndarray, float
        Level there at times 0, step, ... through the design storm. [m], [s]
    """

    outlet: SwaleOutlet
    tailwater: Tailwater
    behind: SubmergedLine | None
    verdict: SwaleVerdict
    stage: FloatArray = field(default_factory=lambda: np.zeros(0))
    step: float = 0.0


def judge_outlet(
    site: SwaleSite,
    outlet: SwaleOutlet,
    reaches: Sequence[ReachFinding],
    series: FloatArray,
    flow: FloatArray,
    step: float,
    rules: Rules,
    *,
    filling: Filling | None = None,
) -> OutletFinding:
    """Tailwater at an outlet, what it does behind, and whether the swale takes it.

    In a closed depression that the storm doesn't fill nothing runs on: the water stands as high as it fills it.
    """
    section = site.section_below(outlet.station)
    level, passing = level_beside(site, series, outlet.station), flow[section]
    if filling is not None:
        level, passing, step = filling.stage, filling.arriving, filling.step
    tail = tailwater_at(level, passing, step, outlet.invert + outlet.diameter, rules)
    behind = line_under_tailwater(outlet.line, tail.highest) if outlet.line is not None else None
    mine = next((each for each in reaches if each.reach.first <= section <= each.reach.last), reaches[-1])
    return OutletFinding(outlet, tail, behind, _outlet_verdict(outlet, tail, behind, mine, rules), level, step)


def _outlet_verdict(
    outlet: SwaleOutlet, tail: Tailwater, behind: SubmergedLine | None, reach: ReachFinding, rules: Rules
) -> SwaleVerdict:
    """The verdict of its reach, and what the tailwater adds to it."""
    verdict = reach.verdict
    if tail.state == "free":
        return verdict
    line = None if behind is None else reason("swale_line_behind_loses", lost=behind.lost, surcharges=behind.surcharges)
    if tail.state == "always":
        why = reason("swale_outlet_always_submerged", above=tail.above, behind=line, swale=verdict.why)
    else:
        why = reason(
            "swale_outlet_submerged", time=tail.submerged, above=tail.above, behind=line, swale=verdict.why
        )
    answer, short_level = verdict.answer, verdict.short_level
    if tail.state == "always" or (behind is not None and behind.surcharges):
        short_level = max(tail.above, short_level)
        if answer == "takes_it":
            noise = lidar_noise(rules)
            error = fall_error(rules["lidar_rmse"].likely, noise["noise_length"], **noise)
            clear = rules["verdict_sigmas"].likely * error
            answer = "cannot_tell" if outlet.invert_assumed or tail.above < clear else "short"
    return SwaleVerdict(answer, short_level, verdict.short_flow, why, reason("swale_measure_outlet"))
