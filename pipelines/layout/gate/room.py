"""Whether there is room: whether the same line can be laid clear of ground that it should keep off."""

from dataclasses import replace

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.plan import PipeRun, Plan
from pipelines.layout.routing.field import RouteField, field_from_arrays
from pipelines.layout.routing.pressure import route_pressure
from pipelines.layout.routing.router import route_forest
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutePipe, RouteSpec
from pipelines.layout.ways.segments import segments_of
from pipelines.layout.ways.settings import WayGround

WAY_OUT = 0.75
"""How much farther than the shortest way a line may run to come out of such ground from an end in it. [m]"""
SIX_INCH = 0.14
"""Pipe of this nominal width or more is held to the slopes of 6 in pipe. [m]"""
LEAST_STRETCH = 0.25
"""A shorter stretch in such ground cuts its corner by less than lines can be laid to. [m]"""


def stretch_in(run: PipeRun, kept_off: BaseGeometry) -> tuple[BaseGeometry, BaseGeometry]:
    """Such ground without what a line's ends in it need to come out of it, and the stretch of the line in that."""
    line = shapely.force_2d(run.line)
    held = kept_off
    for end in (line.coords[0], line.coords[-1]):
        if shapely.intersects(kept_off, Point(end)):
            out = float(shapely.distance(shapely.boundary(kept_off), Point(end))) + WAY_OUT
            held = shapely.difference(held, shapely.buffer(Point(end), out))
    return held, shapely.intersection(line, held)


def has_room(
    run: PipeRun, plan: Plan, held: BaseGeometry, ground: WayGround, *, cover_wanted: float | None = None
) -> bool:
    """Whether a line of the same pipe, cover, ends and least slope can be laid in free ground clear of some of it.

    With a cover that is wanted [m] it may lie as flat as its size can.
    """
    rules, pipe = ground.situation.rules, find_pipe(run.pipe_key)
    upper, lower = run.line.coords[0], run.line.coords[-1]
    start, end = Point(upper[:2]), Point(lower[:2])
    if run.kind == "pressure":
        routed = RoutePipe(run.pipe_key, pipe.outside, pipe.wall, 0.0, 1.0, 1.0)
        outlet = OutfallTarget("end", end, lower[2])
        return route_pressure(clear_of(ground.field, held, 0.0), start, outlet, routed, RouteSpec((routed,)),
                              cover=rules["pressure_line_cover"].likely) is not None
    segments = segments_of(run.line, run.ground, pipe, tolerance=rules["slope_break"].likely)
    # a line that falls steeply need not fall as steeply on its way round
    flattest = max(min(rules["slope_4in_smooth"].likely, *(segment.slope for segment in segments)), 0.0)
    ends = {outfall.id: outfall.level for outfall in plan.outfalls}
    taper = rules["outlet_taper"].likely if run.to_id in ends else 0.0
    cover = rules["cover_lawn"]
    held_cover = float(np.clip(run.least_cover, cover.low, cover.likely))
    if cover_wanted is not None:
        size = "slope_4in_smooth" if pipe.nominal < SIX_INCH else "slope_6in_smooth"
        held_cover, flattest = cover_wanted, rules[size].low
    routed = RoutePipe(run.pipe_key, pipe.outside, pipe.wall, flattest, 1.0, 1.0)
    tolerance = rules["digging_tolerance"].likely if run.to_id in ends else 0.0
    spec = RouteSpec((routed,), taper_length=taper, dig_tolerance=tolerance)
    lowest = min(ends.get(run.to_id, lower[2]), lower[2])
    forest = route_forest(
        clear_of(ground.field, held, held_cover), [Collector("start", start, upper[2])],
        [OutfallTarget("end", end, lowest)], spec,
    )
    return "start" not in forest.unserved and bool(forest.lines)


def clear_of(field: RouteField, held: BaseGeometry, cover: float) -> RouteField:
    """The field without some ground."""
    barred = held if field.barred is None else shapely.union(field.barred, held)
    # cells whose centre is barred are no walls themselves: a line may pass beside what bars them
    allowed = field.allowed if field.barred is None else None
    made = field_from_arrays(
        field.grid, field.ground, allowed, surface_cost=field.surface_cost, dig_factor=field.dig_factor,
        cover=np.maximum(field.cover, cover), permit=field.permit, assumed=field.assumed, near_line=field.near_line,
        crossings=field.crossings, barred=barred, permit_cost=field.permit_cost, fine=field.fine,
    )
    return replace(made, deepest=field.deepest)
