"""Where water may lawfully leave: outfalls as given, places found beyond the frontage, daylight on one's own lot."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.layout.diagnosis.protected import mask_of
from terrain.arrays import BoolArray, FloatArray
from terrain.flow.drainage import Drainage, upstream_labels
from terrain.ground import OPEN

CARRIES_ON = ("swale", "ditch")
"""Outfalls whose bottom a pipe must stay clear of."""


@dataclass(frozen=True, slots=True)
class OutfallRules:
    """Distances and clearances (common practice, no source).

    Attributes
    ----------
    clearance : float
        Of an outlet's invert above the bottom of a swale, ditch or pond. [m]
    bottom_reach : float
        The bottom is the lowest ground this near. [m]
    spacing : float
        Between places along an outfall that is given as a line. [m]
    frontage_reach : float
        How far beyond the lot line an outfall is looked for. [m]
    carries : float
        Ground that must drain through a found outfall before it counts as one. [m2]
    daylight_line, daylight_walk, daylight_house : float
        Of a daylight outlet from the lot line, from paving and from a house. [m]
    most_daylights : int
        Places for daylight that are tried.
    """

    clearance: float = 0.152
    bottom_reach: float = 1.0
    spacing: float = 3.0
    frontage_reach: float = 12.0
    carries: float = 150.0
    daylight_line: float = 3.05
    daylight_walk: float = 1.52
    daylight_house: float = 3.05
    most_daylights: int = 6


@dataclass(frozen=True, slots=True)
class OutfallSite:
    """A place where a pipe could come out.

    Attributes
    ----------
    id, kind : str
        Id of its outfall; several places may belong to one that is given as a line.
    point : shapely Point
        In the metric frame. [m]
    bottom, level : float
        Ground at its bottom, and lowest invert that may come out there. [m]
    verified : bool
        Given by the user rather than found.
    to_confirm : str
        What must be confirmed before anyone counts on it.
    high_water : float or None
        Level of the water there in the design storm, where somebody reckoned it. [m]
    """

    id: str
    kind: str
    point: Point
    bottom: float
    level: float
    verified: bool
    to_confirm: str
    high_water: float | None = None

    @property
    def tailwater(self) -> float:
        """Water that a line ends in during the design storm; the dry bottom where nobody reckoned it. [m]"""
        return self.bottom if self.high_water is None else max(self.bottom, self.high_water)


def given_outfalls(
    shapes: Sequence[tuple[BaseGeometry, str, float | None]],
    drainage: Drainage,
    parcel: BaseGeometry,
    rules: OutfallRules,
    *,
    shots: Sequence[Point] = (),
    high_waters: Sequence[float | None] = (),
) -> tuple[OutfallSite, ...]:
    """Places of the outfalls that the user gave."""
    sites: list[OutfallSite] = []
    known = (*high_waters, *[None] * len(shapes))
    for number, (shape, kind, given) in enumerate(shapes, start=1):
        for point in _places_along(shape, parcel, rules):
            beside = [shot for shot in shots if shapely.distance(shot, point) <= rules.bottom_reach]
            found = min(
                (shot.z for shot in beside), default=_lowest_near(point, drainage, rules.bottom_reach)
            )
            if found is None and given is None:
                continue
            bottom = given if given is not None else float(found or 0.0)
            sites.append(
                OutfallSite(
                    id=f"outfall-{number}",
                    kind=kind,
                    point=point,
                    bottom=bottom,
                    level=bottom + (rules.clearance if kind in (*CARRIES_ON, "pond") else 0.0),
                    verified=True,
                    to_confirm=_confirm(kind, verified=True),
                    high_water=known[number - 1],
                )
            )
    return tuple(sites)


def found_outfalls(
    drainage: Drainage,
    parcel: BaseGeometry,
    on_parcel: BoolArray,
    right_of_way: BaseGeometry | None,
    barred: BaseGeometry,
    rules: OutfallRules,
    *,
    most: int = 3,
) -> tuple[OutfallSite, ...]:
    """Places beyond the frontage that carry flow away from the lot, the likeliest first."""
    grid = drainage.ground.grid
    near = mask_of(shapely.buffer(parcel, rules.frontage_reach), grid) & ~on_parcel
    near &= (drainage.ground.kind == OPEN) & ~mask_of(barred, grid)
    if right_of_way is not None:
        near &= mask_of(right_of_way, grid)
    near &= drainage.accumulation >= rules.carries
    comes_back = upstream_labels(drainage, np.where(on_parcel, 0, -1).astype(np.int64)) >= 0
    near &= ~comes_back
    cells = np.flatnonzero(near)
    columns = grid.shape[1]
    chosen: list[OutfallSite] = []
    # what carries most first, then the lower
    for cell in cells[np.lexsort((drainage.ground.elevation.ravel()[cells], -drainage.accumulation.ravel()[cells]))]:
        x, y = grid.centres(cell // columns, cell % columns)
        point = Point(float(x), float(y))
        if any(shapely.distance(point, other.point) < 6.0 for other in chosen):
            continue
        bottom = float(drainage.ground.elevation.ravel()[cell])
        chosen.append(
            OutfallSite(
                id=f"outfall-{len(chosen) + 1}",
                kind="swale",
                point=point,
                bottom=bottom,
                level=bottom + rules.clearance,
                verified=False,
                to_confirm=_confirm("swale", verified=False)
                + ("" if right_of_way is not None else " Whose ground it is, nobody said."),
            )
        )
        if len(chosen) == most:
            break
    return tuple(chosen)


def daylight_places(
    drainage: Drainage,
    parcel: BaseGeometry,
    on_parcel: BoolArray,
    *,
    right_of_way: BaseGeometry | None,
    paving: BaseGeometry,
    houses: BaseGeometry,
    barred: BaseGeometry,
    wet: BoolArray,
    rules: OutfallRules,
) -> tuple[OutfallSite, ...]:
    """Places on the lot where a pipe may come out and its water run on lawfully over the ground.

    Water let out there must leave the lot into the right of way, and must not pass a place in trouble.
    """
    if right_of_way is None:
        return ()
    grid = drainage.ground.grid
    free = mask_of(shapely.buffer(parcel, -rules.daylight_line), grid) & (drainage.ground.kind == OPEN)
    for shape, away in ((paving, rules.daylight_walk), (houses, rules.daylight_house), (barred, 0.0)):
        if not shape.is_empty:
            free &= ~mask_of(shapely.buffer(shape, away), grid)
    lawful = _leaves_into(drainage, on_parcel, mask_of(right_of_way, grid))
    free &= lawful & ~wet
    cells = np.flatnonzero(free)
    heights = drainage.ground.elevation.ravel()[cells]
    columns = grid.shape[1]
    chosen: list[OutfallSite] = []
    for cell in cells[np.argsort(heights, kind="stable")]:
        x, y = grid.centres(cell // columns, cell % columns)
        point = Point(float(x), float(y))
        if any(shapely.distance(point, other.point) < 5.0 for other in chosen):
            continue
        level = float(drainage.ground.elevation.ravel()[cell])
        chosen.append(
            OutfallSite(
                id=f"daylight-{len(chosen) + 1}",
                kind="daylight",
                point=point,
                bottom=level,
                level=level,
                verified=False,
                to_confirm="That water let out here runs on to the street over this lot's own lawn, and ices no walk.",
            )
        )
        if len(chosen) == rules.most_daylights:
            break
    return tuple(chosen)


def _leaves_into(drainage: Drainage, on_parcel: BoolArray, lawful: BoolArray) -> BoolArray:
    """Cells whose water steps from the lot into lawful ground, and nowhere else, the first time it leaves."""
    inside = on_parcel.ravel()
    target = drainage.target
    onward = np.where(target >= 0, target, 0)
    steps_out = inside & ~((target >= 0) & inside[onward])
    good = steps_out & (target >= 0) & lawful.ravel()[onward]
    seeds = np.full(target.size, -1, dtype=np.int64)
    seeds[steps_out] = 0
    seeds[good] = 1
    labels: BoolArray = upstream_labels(drainage, seeds.reshape(on_parcel.shape)) == 1
    return labels


def _places_along(shape: BaseGeometry, parcel: BaseGeometry, rules: OutfallRules) -> list[Point]:
    if shape.geom_type in ("Point", "MultiPoint"):
        return [Point(part.x, part.y) for part in shapely.get_parts(shape)]
    near = shapely.intersection(shape, shapely.buffer(parcel, rules.frontage_reach))
    line = near if not near.is_empty else shape
    places: list[Point] = []
    for part in shapely.get_parts(line):
        if part.geom_type != "LineString":
            continue
        count = max(1, round(part.length / rules.spacing))
        for station in (np.arange(count) + 0.5) * part.length / count:
            places.append(shapely.line_interpolate_point(part, station))
    return places


def _lowest_near(point: Point, drainage: Drainage, reach: float) -> float | None:
    grid = drainage.ground.grid
    shape = shapely.buffer(point, max(reach, grid.cell_width, grid.cell_height))
    heights: FloatArray = drainage.ground.elevation[mask_of(shape, grid) & (drainage.ground.kind == OPEN)]
    return float(heights.min()) if heights.size else None


def _confirm(kind: str, *, verified: bool) -> str:
    asked = {
        "swale": "Who keeps the swale and whether they let this in; its bottom under grass and silt; the next culvert.",
        "ditch": "Who keeps the ditch and whether they let this in; its bottom under grass and silt; the next culvert.",
        "curb": "Whether the street's keeper allows a core through the curb, and the gutter's level.",
        "inlet": "Whether the inlet's keeper allows a connection, and its invert.",
        "pond": "Whose pond it is, whether they let this in, and its high water.",
        "daylight": "That the water runs on over this lot's own ground to where it may leave.",
        "soakaway": "A rate tested on site at its depth, and the high water table.",
    }[kind]
    return asked if verified else "That this is an outfall at all: found in the lidar, not given. " + asked
