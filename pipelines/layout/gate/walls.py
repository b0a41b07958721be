"""Distances from walls, and saw cuts under what is to be protected, where there is room to keep off."""

from collections.abc import Iterator

import shapely
from shapely.geometry.base import BaseGeometry

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.gate.room import LEAST_STRETCH, has_room, stretch_in
from pipelines.layout.gate.structures import sump_width
from pipelines.layout.plan import PipeRun, Plan
from pipelines.layout.ways.settings import WayGround
from terrain.reason import Reason, reason

EXACT = 0.01
"""Distances are kept to this. [m]"""


def too_near_walls(plan: Plan, ground: WayGround) -> Iterator[Reason]:
    """Solid pipe, stone and sump basins nearer to a wall than they must keep where there is room."""
    situation = ground.situation
    if situation.roofs.is_empty:
        return
    rules, walls = situation.rules, situation.roofs
    wanted = rules["pipe_wall_offset"].likely
    for run in plan.pipe_runs:
        strip = shapely.buffer(walls, wanted + find_pipe(run.pipe_key).outside / 2.0 - EXACT)
        if _in_the_way(run, plan, strip, ground):
            away = float(shapely.distance(_middle(run), walls))
            yield reason("pipe_near_wall", run=run.id, away=away, wanted=wanted)
    if situation.foundation in ("crawl", "basement"):
        stone = rules["stone_wall_offset"].likely
        for drain in plan.french_drains:
            away = float(shapely.distance(shapely.force_2d(drain.line), situation.houses)) - drain.width / 2.0
            if away < stone - EXACT:
                yield reason("stone_near_wall", drain=drain.id, away=max(away, 0.0), wanted=stone)
    off = rules["sump_wall_offset"].likely
    for sump in plan.sumps:
        away = float(shapely.distance(sump.point, walls)) - sump_width(sump) / 2.0
        if away < off - EXACT:
            yield reason("sump_near_wall", sump=sump.id, away=max(away, 0.0), wanted=off)


def saw_cuts(plan: Plan, ground: WayGround) -> Iterator[Reason]:
    """Lines under paving that is to be protected though there is room to go round it."""
    paving = ground.protected_paving
    if paving.is_empty:
        return
    for run in plan.pipe_runs:
        if _in_the_way(run, plan, paving, ground):
            length = float(shapely.length(shapely.intersection(shapely.force_2d(run.line), paving)))
            yield reason("saw_cut", run=run.id, length=length)


def _in_the_way(run: PipeRun, plan: Plan, kept_off: BaseGeometry, ground: WayGround) -> bool:
    if run.beside:
        return False
    held, stretch = stretch_in(run, kept_off)
    return float(shapely.length(stretch)) > LEAST_STRETCH and has_room(run, plan, held, ground)


def _middle(run: PipeRun) -> BaseGeometry:
    """A run without its last metre at either end, which may come to a wall."""
    line = shapely.force_2d(run.line)
    ends = shapely.MultiPoint([line.coords[0], line.coords[-1]])
    left: BaseGeometry = shapely.difference(line, shapely.buffer(ends, min(1.0, line.length / 4.0)))
    return left
