"""Where a structure stands, told as a crew measures it: from two corners of the house."""

import itertools
import math
import string
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from pipelines.deliverables.findings.lot import Findings

LONGEST = 30.0
"""Of a tape. [m]"""
SHARPEST = math.radians(30.0)
"""Two ties that meet at a sharper angle fix nothing."""
SAME_CORNER = 0.1
"""Vertices of an outline this close to a straight wall are no corner. [m]"""


@dataclass(frozen=True, slots=True)
class Structure:
    """What a crew sets in the ground at a place.

    Attributes
    ----------
    id, what : str
        Its id, or that of the run that it is on; what it is, empty where the id says it.
    point : shapely Point
        In the metric frame.
    """

    id: str
    what: str
    point: Point


@dataclass(frozen=True, slots=True)
class WallCorner:
    """A corner of a wall, named by a letter, and the buildings that no tape goes through."""

    name: str
    point: Point
    walls: BaseGeometry = field(default_factory=Polygon)


@dataclass(frozen=True, slots=True)
class Tie:
    """A distance from a corner. [m]"""

    corner: str
    distance: float


def structures_of(findings: Findings) -> tuple[Structure, ...]:
    """Basins, sump basins, the ends of drains and runs, and cleanouts, each place once."""
    plan = findings.plan
    found = [Structure(basin.id, "", basin.point) for basin in plan.catch_basins]
    found += [Structure(sump.id, "", sump.point) for sump in plan.sumps]
    drains = [(each.id, each.line) for each in plan.french_drains]
    drains += [(each.id, each.line) for each in plan.channel_drains]
    found += [Structure(name, "upper end", Point(line.coords[0][:2])) for name, line in drains]
    for run in plan.pipe_runs:
        first, last = Point(run.line.coords[0][:2]), Point(run.line.coords[-1][:2])
        found += [Structure(run.from_id, "", first), Structure(run.to_id, "", last)]
    cleanouts = (each for each in plan.fittings if "cleanout" in each.kind.lower())
    found += [Structure(each.on_run, each.kind, each.point) for each in cleanouts]
    runs = {run.id for run in plan.pipe_runs}
    kept: list[Structure] = []
    for each in found:
        joint = each.id in runs and not each.what
        if not any(each.point.distance(other.point) < 0.3 for other in kept):
            kept.append(Structure(each.id, "wye" if joint else each.what, each.point))
    return tuple(kept)


def wall_corners(findings: Findings) -> tuple[WallCorner, ...]:
    """Corners of this lot's buildings whose outline was drawn along their walls; of others only the eaves are known."""
    roofs = findings.roofs
    if "outline" not in roofs.columns:
        return ()
    lot = shapely.union_all(findings.parcel.geometry.array)
    walls = [shape for shape, drawn in zip(roofs.geometry, roofs["outline"], strict=True)
             if drawn == "walls" and shape.intersects(lot)]  # fmt: skip
    outlines = [part.exterior.simplify(SAME_CORNER) for shape in walls for part in shapely.get_parts(shape)]
    points = [Point(xy) for outline in outlines for xy in list(outline.coords)[:-1]]
    names = (*string.ascii_uppercase, *(f"{one}{two}" for one in string.ascii_uppercase for two in "123456789"))
    inside = shapely.buffer(shapely.union_all(walls), -SAME_CORNER)
    return tuple(WallCorner(name, point, inside) for name, point in zip(names, points, strict=False))


def ties_of(point: Point, corners: Sequence[WallCorner]) -> tuple[Tie, Tie] | None:
    """The two shortest distances that meet at an angle which fixes the point; None where there are no such."""
    near = [each for each in corners if each.point.distance(point) <= LONGEST
            and not shapely.crosses(LineString([each.point, point]), each.walls)]  # fmt: skip
    for one, other in sorted(itertools.combinations(near, 2), key=lambda pair: _length(pair, point)):
        if SHARPEST <= _angle(one.point, point, other.point) <= math.pi - SHARPEST:
            return Tie(one.name, one.point.distance(point)), Tie(other.name, other.point.distance(point))
    return None


def _length(pair: tuple[WallCorner, WallCorner], point: Point) -> float:
    return float(sum(each.point.distance(point) for each in pair))


def _angle(one: Point, at: Point, other: Point) -> float:
    to_one, to_other = (np.array([each.x - at.x, each.y - at.y]) for each in (one, other))
    lengths = float(np.hypot(*to_one) * np.hypot(*to_other))
    if lengths == 0.0:
        return 0.0
    return math.acos(float(np.clip(to_one @ to_other / lengths, -1.0, 1.0)))
