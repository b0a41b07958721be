"""The gate that every plan passes: what of it could not be built as drawn, each fault named."""

import math
from collections.abc import Mapping

import shapely

from pipelines.layout.gate.along_lines import bare_pipes, breaks_without_fitting, thin_segments
from pipelines.layout.gate.footing import below_footing
from pipelines.layout.gate.room import has_room
from pipelines.layout.gate.structures import lines_through_basins, overlapping
from pipelines.layout.gate.walls import saw_cuts, too_near_walls
from pipelines.layout.plan import PipeRun, Plan
from pipelines.layout.ways.own_crossings import own_crossings
from pipelines.layout.ways.settings import WayGround
from terrain.reason import Reason, reason


def faults_of(plan: Plan, ground: WayGround) -> tuple[Reason, ...]:
    """What of a plan could not be built as drawn on its lot; nothing where it can.

    Structures must not overlap. Pipe, stone and a sump basin keep off walls, and lines out from under what is to be
    protected, where there is room: where the same line can be laid clear of them. A trench's edge stays outside the
    footing's plane. No pipe lies bare but in its last stretch before an outlet whose protection is in the take-off. A
    break of slope has a fitting, and cover is held segment by segment. No line runs through another's basin, and
    lines that cross keep their clear height.
    """
    rules = ground.situation.rules
    too_close = (each for each in own_crossings(plan.pipe_runs, rules["pipe_clearance"].likely)
                 if each.code == "lines_too_close")
    return tuple(dict.fromkeys((
        *overlapping(plan),
        *lines_through_basins(plan),
        *too_close,
        *too_near_walls(plan, ground),
        *saw_cuts(plan, ground),
        *below_footing(plan, ground),
        *bare_pipes(plan, rules),
        *breaks_without_fitting(plan, rules),
        *thin_segments(plan, ground),
    )))


def without_room(faults: tuple[Reason, ...], plan: Plan, ground: WayGround) -> dict[Reason, Reason]:
    """A note in place of each thin cover that cannot be bettered: in the taper before an outlet, where lines join in
    it, and where no line of the same size between the same ends has more."""
    runs, rules = {run.id: run for run in plan.pipe_runs}, ground.situation.rules
    joined = {run.to_id for run in plan.pipe_runs} & set(runs)
    notes = {}
    for fault in faults:
        if fault.code != "thin_cover":
            continue
        run = runs[fault["run"]]
        last = run.id in joined or run.to_id in joined
        if last and _to_outlet(run, runs, plan) - fault["start"] <= rules["outlet_taper"].likely:
            notes[fault] = reason("thin_cover_at_outlet", run=run.id, cover=fault["cover"], floor=fault["floor"],
                                  start=fault["start"], end=fault["end"])
        elif not has_room(
            run, plan, shapely.Polygon(), ground, cover_wanted=fault["floor"] - rules["cover_tolerance"].likely
        ):
            notes[fault] = reason("thin_cover_no_room", run=run.id, cover=fault["cover"], floor=fault["floor"],
                                  start=fault["start"], end=fault["end"])
    return notes


def _to_outlet(run: PipeRun, runs: Mapping[str, PipeRun], plan: Plan) -> float:
    """How long the way from a run's upper end to its outlet is, infinite where it ends elsewhere. [m]"""
    if run.to_id in runs:
        return run.length + _to_outlet(runs[run.to_id], runs, plan)
    return run.length if run.to_id in {outfall.id for outfall in plan.outfalls} else math.inf
