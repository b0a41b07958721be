"""What is wrong on a lot: water that stands too long, and water that runs at what must stay dry."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.layout.diagnosis.protected import ProtectedEdge
from terrain.flow.low_spots import LowSpot

Place = Literal["lawn", "paving", "wall"]


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Water that people put up with at one kind of place: so deep [m] for so long [s]."""

    depth: float
    duration: float


@dataclass(frozen=True, slots=True)
class TroubleRules:
    """From when water is a trouble.

    Attributes
    ----------
    lawn, paving, wall : Tolerance
        Standing water that is put up with there (common practice, no source).
    film : float
        Water this shallow is a wet surface and stands nowhere, unless someone saw it; a value of this project. [m]
    wall_reach : float
        Ground this near a house counts as beside its wall. [m]
    complaint_reach : float
        A complaint speaks of a low spot or edge this near. [m]
    arriving_paving, arriving_wall : float
        Flow that may run onto paving, or at a wall, before it is a trouble of its own. [m3/s]
    """

    lawn: Tolerance = Tolerance(0.0508, 86400.0)
    paving: Tolerance = Tolerance(0.0127, 7200.0)
    wall: Tolerance = Tolerance(0.0, 0.0)
    film: float = 0.00635
    wall_reach: float = 1.5
    complaint_reach: float = 5.0
    arriving_paving: float = 1.6e-3
    arriving_wall: float = 6.3e-4

    def at(self, place: Place) -> Tolerance:
        """Tolerance of a kind of place."""
        return {"lawn": self.lawn, "paving": self.paving, "wall": self.wall}[place]


@dataclass(frozen=True, slots=True, eq=False)
class SpotPlace:
    """Where a low spot lies.

    Attributes
    ----------
    spot : LowSpot
        The low spot.
    shape : shapely Geometry
        Its cells at the spill level. [m]
    place : str
        lawn, paving, or wall where it reaches a house.
    name : str
        In words: the patio 2, the lawn.
    complaint : str or None
        What was seen there, where someone said so.
    on_parcel : bool
        Touches the lot.
    sill_distance : float
        To the nearest house, infinite where none is known. [m]
    """

    spot: LowSpot
    shape: BaseGeometry
    place: Place
    name: str
    complaint: str | None
    on_parcel: bool
    sill_distance: float


@dataclass(frozen=True, slots=True, eq=False)
class Trouble:
    """One thing that is wrong.

    Attributes
    ----------
    kind : str
        standing or arriving.
    name : str
        Where, in words.
    why : str
        In a sentence, with numbers.
    spot : SpotPlace or None
        The low spot in which water stands.
    edge : ProtectedEdge or None
        What the water runs at.
    certain : bool
        False where it lies within the lidar's error and nobody has seen it.
    """

    kind: Literal["standing", "arriving"]
    name: str
    why: str
    spot: SpotPlace | None
    edge: ProtectedEdge | None
    certain: bool


@dataclass(frozen=True, slots=True)
class StandingTime:
    """Deepest water [m] and time above what is tolerated [s] at a low spot in the storm; None where unknown."""

    depth: float
    over_tolerance: float | None


def place_of(
    spot: LowSpot,
    shape: BaseGeometry,
    *,
    parcel: BaseGeometry,
    edges: Sequence[ProtectedEdge],
    houses: Sequence[BaseGeometry],
    complaints: Sequence[tuple[Point, str]],
    rules: TroubleRules,
) -> SpotPlace:
    """Tell what kind of place a low spot is."""
    sill = min((float(shapely.distance(shape, house)) for house in houses), default=np.inf)
    place: Place = "lawn"
    name = "the lawn"
    for edge in edges:
        if edge.kind == "paving" and shapely.intersects(shape, edge.shape):
            place, name = "paving", f"the {edge.name}"
            break
    if place == "lawn" and sill <= rules.wall_reach:
        place, name = "wall", "the ground beside the house"
    said = [text for point, text in complaints if shapely.distance(shape, point) <= rules.complaint_reach]
    return SpotPlace(
        spot=spot,
        shape=shape,
        place=place,
        name=name,
        complaint=said[0] if said else None,
        on_parcel=bool(shapely.intersects(shape, parcel)),
        sill_distance=sill,
    )


def find_troubles(
    places: Sequence[SpotPlace],
    standing: dict[str, StandingTime],
    edges: Sequence[ProtectedEdge],
    complaints: Sequence[tuple[Point, str]],
    *,
    unit_peak: float,
    rules: TroubleRules,
) -> tuple[Trouble, ...]:
    """What is wrong on the lot, worst first.

    Ranked by complaint, place (wall, paving, lawn), area and time, depth last: most ponds people pay for are
    shallower than lidar can tell.
    """
    ranked: list[tuple[tuple[float, ...], Trouble]] = []
    for place in places:
        trouble = _standing(place, standing.get(place.spot.id), rules)
        if trouble is not None:
            over = standing[place.spot.id].over_tolerance or 0.0
            weight = {"wall": 0.0, "paving": 1.0, "lawn": 2.0}[place.place]
            ranked.append(((float(place.complaint is None), weight, -place.spot.area, -over), trouble))
    wet = {trouble.name: trouble.certain for _, trouble in ranked}
    for edge in edges:
        peak = edge.arriving_area * unit_peak
        seen = [text for point, text in complaints if shapely.distance(edge.shape, point) <= rules.complaint_reach]
        limit = rules.arriving_wall if edge.kind == "wall" else rules.arriving_paving
        belongs = f"the {edge.name}" in wet
        if edge.cells.size and (peak > limit or (seen and peak > 0.25 * limit) or (belongs and peak > 0.25 * limit)):
            why = (
                f"{peak * 15850.3:.0f} gpm ({peak * 1000.0:.1f} l/s) from {edge.arriving_area:.0f} m2 "
                f"({edge.arriving_area * 10.7639:.0f} ft2) of ground runs at the {edge.name} in the design storm"
                + (f"; seen: {seen[0]}" if seen else "")
            )
            certain = peak > limit or bool(seen) or wet.get(f"the {edge.name}", False)
            order = (float(not seen), 0.0 if edge.kind == "wall" else 1.0, -edge.arriving_area, 0.0)
            ranked.append((order, Trouble("arriving", f"the {edge.name}", why, None, edge, certain)))
    ranked.sort(key=lambda pair: pair[0])
    return tuple(trouble for _, trouble in ranked)


def _standing(place: SpotPlace, water: StandingTime | None, rules: TroubleRules) -> Trouble | None:
    if water is None or not place.on_parcel or water.depth <= 0.0:
        return None
    tolerance = rules.at(place.place)
    for_how_long = water.over_tolerance
    too_long = (
        water.depth > tolerance.depth
        if for_how_long is None
        else water.depth > tolerance.depth and for_how_long > tolerance.duration
    )
    if place.complaint is None:
        doubtful = place.spot.within_lidar_error
        if not too_long or water.depth <= rules.film or (doubtful and place.place == "lawn"):
            return None
    over = f", over what is put up with {_in_hours(for_how_long)}" if for_how_long != 0.0 else ""
    why = (
        f"water stands {water.depth / 0.0254:.1f} in ({water.depth * 100.0:.1f} cm) deep on {place.name}{over}"
        + (f"; seen: {place.complaint}" if place.complaint else "")
    )
    certain = place.complaint is not None or not place.spot.within_lidar_error
    return Trouble("standing", place.name, why, place, None, certain)


def _in_hours(seconds: float | None) -> str:
    if seconds is None:
        return "for an unknown time"
    return f"for {seconds / 3600.0:.1f} h" if np.isfinite(seconds) else "for longer than was reckoned"
