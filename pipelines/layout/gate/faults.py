"""The gate that every plan passes: what of it could not be built as drawn, each fault named."""

from pipelines.layout.gate.along_lines import bare_pipes, breaks_without_fitting, thin_segments
from pipelines.layout.gate.footing import below_footing
from pipelines.layout.gate.structures import lines_through_basins, overlapping
from pipelines.layout.gate.walls import saw_cuts, too_near_walls
from pipelines.layout.plan import Plan
from pipelines.layout.ways.own_crossings import own_crossings
from pipelines.layout.ways.settings import WayGround
from terrain.reason import Reason


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
