"""Where a lot faces a street, an alley or water: edges that no other parcel of its file shares.

`find_frontage(parcel, others, rules, said=())` walks round the lot and looks straight out of each half metre of its
line. What lies within a sliver's width is shared with a neighbor, what sees other parcels across a gap faces a street
or an alley, and what sees none faces the end of the parcel map: a street, water, or a lot that the file leaves out.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from pipelines.inputs.errors import LayerError
from pipelines.inputs.rules import Rules
from terrain.arrays import BoolArray, FloatArray

COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
"""Sides of a lot, as a person names them."""
STEP = 0.5
"""Between the places of the lot's line from which is looked out. [m]"""
MOST_STEPS = 4000
CORNER = 30.0
"""Turn of the line at which one edge ends and the next begins. [deg]"""
FACES = 46.0
"""An edge lies on a named side where it faces no farther off that. [deg]"""
INSIDE = 0.9
"""Share of a shape within another that makes it a unit on the lot, or the lot a part of it. [-]"""
THIN = 8.0
"""How many times as long as wide a parcel is that may be a street's. [-]"""
OVER_MIDDLE = 1.0
"""How far beyond the middle of a street a lot's own half of it is taken to reach. [m]"""

FrontageState = Literal["found", "said", "open", "closed", "alone"]


@dataclass(frozen=True, slots=True)
class FrontEdge:
    """An edge of the lot that no neighbor shares.

    Attributes
    ----------
    line : shapely LineString
        [m]
    side : str
        Which way it faces.
    width : float or None
        Of the gap before it, as far as the parcels across; None where none are seen. [m]
    """

    line: LineString
    side: str
    width: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Frontage:
    """Where a lot may face a street.

    Attributes
    ----------
    state : str
        found: parcels across, or a street kept as a parcel; said: a person named the side; open: edges at the end of
        the parcel map alone; closed: every edge is shared; alone: the file holds no other parcel here.
    edges : tuple of FrontEdge
        What is taken for frontage; all open edges where nothing tells which of them it is.
    unsure : tuple of FrontEdge
        Further edges at the end of the parcel map.
    neighbors : shapely Geometry
        Other parcels but streets, without the lot. [m]
    free : tuple of FrontEdge
        Every edge that no neighbor shares, of which a person may name the street's.
    """

    state: FrontageState
    edges: tuple[FrontEdge, ...]
    unsure: tuple[FrontEdge, ...]
    neighbors: BaseGeometry
    free: tuple[FrontEdge, ...] = ()

    @property
    def sides(self) -> tuple[str, ...]:
        """Sides that it lies on, each once."""
        return tuple(dict.fromkeys(edge.side for edge in self.edges))

    @property
    def length(self) -> float:
        """[m]"""
        return float(sum(edge.line.length for edge in self.edges))

    @property
    def width(self) -> float | None:
        """Narrowest gap before it. [m]"""
        return min((edge.width for edge in self.edges if edge.width is not None), default=None)

    def ground(self, parcel: BaseGeometry, reach: float) -> BaseGeometry:
        """Ground before the frontage that is no neighbor's, on the lot's half of a street. [m]"""
        reaches = [reach if edge.width is None else min(reach, 0.5 * edge.width + OVER_MIDDLE) for edge in self.edges]
        parts = [
            shapely.buffer(edge.line, far, cap_style="flat") for edge, far in zip(self.edges, reaches, strict=True)
        ]
        for one, own in zip(self.edges, reaches, strict=True):
            for other, far in zip(self.edges, reaches, strict=True):
                if one is not other and one.line.coords[-1] == other.line.coords[0]:
                    parts.append(shapely.buffer(Point(one.line.coords[-1]), min(own, far)))
        before = shapely.difference(shapely.union_all(parts), shapely.union(parcel, self.neighbors))
        # and a little of the lot, so that a line may step out of it
        return shapely.union(before, shapely.union_all([shapely.buffer(e.line, STEP) for e in self.edges]))


def find_frontage(
    parcel: BaseGeometry, others: Sequence[BaseGeometry], rules: Rules, *, said: Sequence[str] = ()
) -> Frontage:
    """Edges of a lot that face a street, by the parcels around it or by what a person says."""
    near = [other for other, same in zip(others, _same_ground(parcel, others), strict=True) if not same]
    streets = [other for other in near if _is_street(other, [*near, parcel], rules)]
    lots = [other for other in near if not any(other is street for street in streets)]
    together: BaseGeometry = shapely.union_all(np.array(lots, dtype=object))
    neighbors = shapely.difference(together, parcel)
    edges = tuple(edge for part in shapely.get_parts(parcel) for edge in _edges(part, together, streets, rules))
    if said:
        return Frontage("said", _on_sides(edges, said), (), neighbors, edges)
    if not near:
        return Frontage("alone", (), (), neighbors, edges)
    across = tuple(edge for edge in edges if edge.width is not None)
    unsure = tuple(edge for edge in edges if edge.width is None)
    if across:
        return Frontage("found", across, unsure, neighbors, edges)
    return Frontage("open" if unsure else "closed", unsure, (), neighbors, edges)


def _same_ground(parcel: BaseGeometry, others: Sequence[BaseGeometry]) -> list[bool]:
    """Whether another shape is the lot again, a unit on it, or common ground that the lot is part of."""
    shapes = np.array(others, dtype=object)
    shared = shapely.area(shapely.intersection(parcel, shapes))
    same: list[bool] = (shared >= INSIDE * np.minimum(shapely.area(shapes), float(parcel.area))).tolist()
    return same


def _is_street(shape: BaseGeometry, parcels: Sequence[BaseGeometry], rules: Rules) -> bool:
    """Whether a parcel is long and thin and touches many others, as a right of way kept as one does."""
    half = 0.5 * float(shape.length)
    if half * half < THIN * float(shape.area):
        return False
    gap = rules["parcel_gap"].likely
    touching = sum(1 for each in parcels if each is not shape and shapely.distance(each, shape) <= gap)
    return touching >= rules["street_parcel_touches"].likely


def _edges(
    part: shapely.Polygon, lots: BaseGeometry, streets: Sequence[BaseGeometry], rules: Rules
) -> Iterator[FrontEdge]:
    """Edges of one outline that no neighbor shares, from corner to corner."""
    ring = orient(part).exterior
    step = max(STEP, ring.length / MOST_STEPS)
    corners = np.array(shapely.segmentize(shapely.simplify(ring, 0.05), step).coords)[:, :2]
    begin, along = corners[:-1], np.diff(corners, axis=0)
    along = along / np.hypot(*along.T)[:, None]
    out = np.column_stack([along[:, 1], -along[:, 0]])
    middle = 0.5 * (corners[:-1] + corners[1:])
    gap, far = rules["parcel_gap"].likely, rules["frontage_across"].likely
    shapely.prepare(lots)
    free = ~shapely.intersects(lots, _rays(middle, out, 0.0, gap)) & ~shapely.intersects(
        part, _rays(middle, out, 0.05, gap)
    )
    across = np.full(len(middle), np.nan)
    across[free] = _seen_across(middle[free], _rays(middle[free], out[free], 0.0, far), lots)
    way = shapely.union_all(np.array(streets, dtype=object)) if streets else shapely.Polygon()
    on_street = shapely.intersects(way, _rays(middle, out, 0.0, gap)) if streets else np.zeros(len(middle), np.bool_)
    for run in _runs(free, along):
        line = shapely.simplify(LineString(np.vstack([begin[run], corners[run[-1] + 1]])), 0.01)
        if line.length < rules["frontage_least"].likely:
            continue
        width: float | None = None
        if np.isfinite(across[run]).mean() >= 0.5:
            width = float(np.nanmedian(across[run]))
        elif on_street[run].mean() >= 0.5:
            # a street that the file holds as a parcel: as wide as that is
            width = _width_of(next(each for each in streets if shapely.distance(each, line) <= gap))
        yield FrontEdge(line, _side(out[run]), width)


def _rays(start: FloatArray, out: FloatArray, near: float, far: float) -> FloatArray:
    rays: FloatArray = shapely.linestrings(np.stack([start + near * out, start + far * out], axis=1))
    return rays


def _seen_across(start: FloatArray, rays: FloatArray, lots: BaseGeometry) -> FloatArray:
    """How far off the nearest other parcel is that a ray meets, NaN where it meets none. [m]"""
    met = shapely.intersection(rays, lots)
    seen: FloatArray = np.where(shapely.is_empty(met), np.nan, shapely.distance(shapely.points(start), met))
    return seen


def _width_of(street: BaseGeometry) -> float:
    """Mean width of a long thin shape. [m]"""
    return 2.0 * float(street.area) / float(street.length)


def _runs(free: BoolArray, along: FloatArray) -> Iterator[np.ndarray]:
    """Steps that follow each other without a neighbor and without a corner; a run may pass the ring's first point."""
    count = len(free)
    turned = np.einsum("ij,ij->i", along, np.roll(along, 1, axis=0)) < np.cos(np.radians(CORNER))
    breaks = turned | ~np.roll(free, 1)
    first = int(np.argmax(breaks)) if breaks.any() else 0
    order = (np.arange(count) + first) % count
    starts = np.flatnonzero(breaks[order] & free[order])
    if not breaks.any() and free.all():
        starts = np.array([0])
    for begin in starts:
        end = begin + 1
        while end < count and free[order[end]] and not breaks[order[end]]:
            end += 1
        yield order[begin:end]


def _side(out: FloatArray) -> str:
    east, north = out.mean(axis=0)
    return COMPASS[round(np.degrees(np.arctan2(east, north)) / 45.0) % 8]


def _on_sides(edges: Sequence[FrontEdge], said: Sequence[str]) -> tuple[FrontEdge, ...]:
    """Edges on the sides that a person names."""
    chosen: dict[int, FrontEdge] = {}
    for side in said:
        facing = [edge for edge in edges if _off(edge, side) <= FACES]
        if not facing:
            there = sorted({edge.side for edge in edges})
            raise LayerError(
                f'[parcel] street_side = "{side}": no free edge of the lot faces {side}; '
                + (f"edges that no other parcel shares face {', '.join(there)}" if there else
                   "other parcels of the file share all of its edges; take where streets are kept out of the layer")
            )
        chosen |= {id(edge): edge for edge in facing}
    return tuple(chosen.values())


def _off(edge: FrontEdge, side: str) -> float:
    """How far off a side an edge faces, by the line between its ends. [deg]"""
    (x0, y0), (x1, y1) = edge.line.coords[0], edge.line.coords[-1]
    faces = np.degrees(np.arctan2(y1 - y0, x0 - x1))
    return float(abs((faces - 45.0 * COMPASS.index(side) + 180.0) % 360.0 - 180.0))
