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
    """A corner of a wall, named by a letter, the buildings that no tape goes through, and the corner at the wall's
    other end."""

    name: str
    point: Point
    walls: BaseGeometry = field(default_factory=Polygon)
    onward: tuple[str, Point] | None = None


@dataclass(frozen=True, slots=True)
class Tie:
    """A distance from a corner [m]: straight, along the wall to another corner, or square off that wall."""

    corner: str
    distance: float
    wall_to: str = ""
    off: bool = False

    @property
    def origin(self) -> str:
        """What it is measured from."""
        if self.off:
            return f"off wall {self.corner} to {self.wall_to}"
        return f"from {self.corner}" + (f" along the wall to {self.wall_to}" if self.wall_to else "")


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
    letters = (*string.ascii_uppercase, *(f"{one}{two}" for one in string.ascii_uppercase for two in "123456789"))
    names = iter(letters)
    inside = shapely.buffer(shapely.union_all(walls), -SAME_CORNER)
    corners: list[WallCorner] = []
    for outline in outlines:
        around = list(zip(names, map(Point, outline.coords[:-1]), strict=False))
        corners += [
            WallCorner(*each, inside, after) for each, after in zip(around, around[1:] + around[:1], strict=True)
        ]
    return tuple(corners)


def ties_of(point: Point, corners: Sequence[WallCorner]) -> tuple[Tie, Tie] | None:
    """The two shortest distances that meet at an angle which fixes the point, else one along a wall and one off it;
    None where there are no such."""
    near = [each for each in corners if each.point.distance(point) <= LONGEST
            and not shapely.crosses(LineString([each.point, point]), each.walls)]  # fmt: skip
    for one, other in sorted(itertools.combinations(near, 2), key=lambda pair: _length(pair, point)):
        if SHARPEST <= _angle(one.point, point, other.point) <= math.pi - SHARPEST:
            return Tie(one.name, one.point.distance(point)), Tie(other.name, other.point.distance(point))
    walls = [ties for each in corners if (ties := _off_wall(point, each)) is not None]
    return min(walls, key=lambda ties: ties[1].distance, default=None)


def _off_wall(point: Point, corner: WallCorner) -> tuple[Tie, Tie] | None:
    """How far along a wall a point lies, from the nearer corner, and how far off it; None where it lies past its ends
    or behind it."""
    if corner.onward is None:
        return None
    end, far = corner.onward
    wall = LineString([corner.point, far])
    along = float(wall.project(point))
    foot = wall.interpolate(along)
    off = float(foot.distance(point))
    if not 0.0 < along < wall.length or off > LONGEST or shapely.crosses(LineString([foot, point]), corner.walls):
        return None
    (near, distance), other = (
        ((corner.name, along), end) if along <= wall.length / 2.0 else ((end, wall.length - along), corner.name)
    )
    return Tie(near, distance, other), Tie(near, off, other, off=True)


def _length(pair: tuple[WallCorner, WallCorner], point: Point) -> float:
    return float(sum(each.point.distance(point) for each in pair))


def _angle(one: Point, at: Point, other: Point) -> float:
    to_one, to_other = (np.array([each.x - at.x, each.y - at.y]) for each in (one, other))
    lengths = float(np.hypot(*to_one) * np.hypot(*to_other))
    if lengths == 0.0:
        return 0.0
    return math.acos(float(np.clip(to_one @ to_other / lengths, -1.0, 1.0)))
