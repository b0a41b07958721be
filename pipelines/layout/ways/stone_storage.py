"""Stone beside a sump whose voids store what its pump cannot move at once."""

from collections.abc import Sequence
from math import pi

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from pipelines.layout.catching.proposal import Catching
from pipelines.layout.catching.sites import LARGEST_GRATE, heights_along
from pipelines.layout.catching.trench_sizes import DRAIN_PIPE, stone_offset
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.plan import FrenchDrain
from terrain.reason import reason

STATION = 0.5
"""Ground is looked at this far apart along a trench. [m]"""
DIRECTIONS = 16


def stone_beside(
    situation: Situation, sump: Point, catching: Catching, *, sump_id: str, volume: float, bottom: float, top: float
) -> tuple[FrenchDrain, ...] | None:
    """Trenches of stone from a sump whose voids hold a volume between two levels; None where they do not fit.

    They run out from the sump no nearer to each other than 45 degrees, clear of walls, paving, keep-outs, lot lines and
    what else collects, on ground that is no lower than the water in them and is dug no deeper than by hand. Stone that
    two of them share near the sump stores once.
    """
    rules = situation.rules
    width, high = rules["lift_stone_width"].likely, top - bottom
    if high <= 0.0:
        return None
    needed = volume / (rules["stone_porosity"].likely * width * high)
    free = situation.known.of("free_for_stone", lambda: _free(situation))
    free = shapely.difference(free, _collecting(catching, sump, width))
    longest = rules["lift_stone_longest"].likely
    turn = 2.0 * pi / DIRECTIONS
    rays = [_ray(situation, free, sump, k * turn, longest, bottom, top) for k in range(DIRECTIONS)]
    lengths = np.array([ray.length if ray is not None else 0.0 for ray in rays])
    drains: list[FrenchDrain] = []
    stone: BaseGeometry = shapely.Polygon()
    for k in np.argsort(-lengths, kind="stable"):
        ray = rays[k]
        if needed <= 0.0:
            break
        if ray is None:
            continue
        shared = float(shapely.area(shapely.intersection(_strip(ray, width), stone))) / width
        if ray.length <= shared:
            continue
        length = min(float(ray.length), needed + shared)
        stored = length - shared
        needed = needed - stored if needed - stored > 1e-9 else 0.0
        # drawn to the sump; its pipe lies level, since water goes both ways
        xy = np.array([shapely.line_interpolate_point(ray, length).coords[0], ray.coords[0]])
        stone = shapely.union(stone, _strip(LineString(xy), width))
        level = np.full(2, bottom + rules["stone_under_pipe"].likely)
        ground = heights_along(shapely.segmentize(LineString(xy), STATION), situation.drainage)
        drains.append(
            FrenchDrain(
                id=f"stone-{len(drains) + 1}", drains_to=sump_id,
                line=LineString(np.column_stack([xy, level])), length=length, width=width,
                depth=float(ground.max()) - bottom, pipe=DRAIN_PIPE, slope=0.0, peak_flow=0.0,
                why=reason("stone_of_sump", sump=sump_id),
            )
        )
        for near in range(-1, 2):
            rays[(int(k) + near) % DIRECTIONS] = None
    return tuple(drains) if needed == 0.0 else None


def _free(situation: Situation) -> BaseGeometry:
    rules = situation.rules
    off = stone_offset(rules, situation.foundation, situation.footing_depth)
    off += rules["lift_stone_width"].likely / 2.0
    taken: Sequence[BaseGeometry] = (
        shapely.buffer(situation.roofs, off), situation.keep_out, situation.paving,
    )
    inner = shapely.buffer(situation.parcel, -rules["line_offset"].likely)
    return shapely.difference(inner, shapely.union_all(list(taken)))


def _strip(line: LineString, width: float) -> BaseGeometry:
    strip: BaseGeometry = shapely.buffer(line, width / 2.0, cap_style="flat")
    return strip


def _collecting(catching: Catching, sump: Point, width: float) -> BaseGeometry:
    """Where the middle of a trench from a sump would make it overlap a basin, a drain or a channel. [m]"""
    # a basin in the sump's place is the sump
    others = [basin.point for basin in catching.basins if basin.point.distance(sump) > LARGEST_GRATE]
    shapes = [shapely.buffer(point, LARGEST_GRATE + width / 2.0) for point in others]
    shapes += [shapely.buffer(drain.line, (drain.width + width) / 2.0) for drain in catching.drains]
    return shapely.union_all(shapes)


def _ray(
    situation: Situation, free: BaseGeometry, sump: Point, angle: float, longest: float, bottom: float, top: float
) -> LineString | None:
    """The longest stretch from a sump in a direction that stone may lie in."""
    along = np.arange(0.0, longest + 0.5 * STATION, STATION)
    xy = np.column_stack([sump.x + along * np.cos(angle), sump.y + along * np.sin(angle)])
    ground = heights_along(LineString(xy), situation.drainage)
    deepest = situation.rules["depth_hand_dig"].likely
    fine = shapely.contains_xy(free, xy[:, 0], xy[:, 1]) & (ground >= top) & (ground - bottom <= deepest)
    # the sump's own place was found free by its own offsets
    fine[0] = True
    last = int(np.argmin(fine)) - 1 if not fine.all() else len(along) - 1
    return LineString([xy[0], xy[last]]) if last >= 1 else None
