"""Along the lines: pipe that lies bare, breaks of slope without a fitting, cover segment by segment."""

from collections.abc import Iterator

import numpy as np
import shapely

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.inputs.rules import Rules
from pipelines.layout.plan import PipeRun, Plan
from pipelines.layout.quantities.quantities import END_PROTECTION, PROTECTED_END
from pipelines.layout.ways.segments import break_vertices, segments_of, stations
from pipelines.layout.ways.settings import WayGround
from terrain.reason import Reason, reason

AT_FITTING = 0.1
"""A fitting this near to a break of slope makes it. [m]"""
BARE = 1e-3
"""A crown that stands higher than this over the ground is seen. [m]"""


def bare_pipes(plan: Plan, rules: Rules) -> Iterator[Reason]:
    """Pipe over the ground, but in its last stretch before an outlet that is protected and priced as such."""
    priced = {line.item for line in plan.take_off}
    for run in plan.pipe_runs:
        pipe = find_pipe(run.pipe_key)
        along, inverts = stations(run.line)
        over = inverts + pipe.outside - pipe.wall - np.asarray(run.ground)
        bare = np.flatnonzero(over > BARE)
        if not bare.size:
            continue
        outlet = any(run.to_id == outfall.id for outfall in plan.outfalls)
        taper = rules["outlet_taper"].likely if outlet else 0.0
        hanging = bare[along[bare] < along[-1] - taper] if outlet else bare
        if hanging.size:
            worst = int(hanging[np.argmax(over[hanging])])
            yield reason("pipe_in_the_air", run=run.id, over=float(over[worst]), along=float(along[worst]))
        else:
            protected = any(
                fitting.on_run == run.id and fitting.kind.startswith(PROTECTED_END) for fitting in plan.fittings
            )
            missing = tuple(item for item in END_PROTECTION if not protected or item not in priced)
            if missing:
                yield reason("end_not_protected", run=run.id, over=float(over[bare].max()), missing=missing)


def breaks_without_fitting(plan: Plan, rules: Rules) -> Iterator[Reason]:
    """Breaks in the slope of a gravity line where neither a fitting nor a basin stands."""
    basins = [basin.point for basin in plan.catch_basins] + [sump.point for sump in plan.sumps]
    for run in plan.pipe_runs:
        if run.kind != "gravity":
            continue
        points = [fitting.point for fitting in plan.fittings if fitting.on_run == run.id] + basins
        along, _ = stations(run.line)
        for vertex in break_vertices(run.line, rules["slope_break"].likely):
            place = shapely.get_point(run.line, vertex)
            if not any(shapely.dwithin(shapely.force_2d(place), point, AT_FITTING) for point in points):
                yield reason("break_without_fitting", run=run.id, along=float(along[vertex]))


def thin_segments(plan: Plan, ground: WayGround) -> Iterator[Reason]:
    """Segments with less cover than the least that the site file or the rule gives."""
    rules = ground.situation.rules
    floor = min(ground.layout.cover or np.inf, rules["cover_lawn"].low)
    for run in plan.pipe_runs:
        if run.kind == "gravity":
            yield from _thin(run, floor, plan, rules)


def _thin(run: PipeRun, floor: float, plan: Plan, rules: Rules) -> Iterator[Reason]:
    taper = rules["outlet_taper"].likely if any(run.to_id == outfall.id for outfall in plan.outfalls) else 0.0
    pipe = find_pipe(run.pipe_key)
    segments = segments_of(run.line, run.ground, pipe, tolerance=rules["slope_break"].likely, taper=taper)
    for segment in segments:
        cover = segment.least_cover
        if cover is not None and cover < floor - rules["cover_tolerance"].likely:
            yield reason("thin_cover", run=run.id, cover=cover, floor=floor, start=segment.start, end=segment.end)
