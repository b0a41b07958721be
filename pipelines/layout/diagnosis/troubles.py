"""What is wrong on a lot: water that stands too long, and water that runs at what must stay dry."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.rules import Rules
from pipelines.layout.diagnosis.protected import ProtectedEdge
from terrain.arrays import FloatArray
from terrain.flow.low_spots import LowSpot
from terrain.reason import Reason, reason

Place = Literal["lawn", "paving", "wall"]
LAWN = reason("place_lawn")
BESIDE_HOUSE = reason("place_beside_house")


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Water that is tolerated at one kind of place: so deep [m] for so long [s]."""

    depth: float
    duration: float


@dataclass(frozen=True, slots=True)
class TroubleRules:
    """From when water is a trouble.

    Attributes
    ----------
    film : float
        Water this shallow is a wet surface, unless someone saw it. [m]
    standing_film : float
        Water this shallow does not stand: how long anything stands counts from here. [m]
    wall_reach : float
        Ground this near a house counts as beside its wall. [m]
    complaint_reach : float
        A complaint speaks of a low spot or edge this near. [m]
    arriving_paving, arriving_wall : float
        Flow that may run onto paving, or at a wall. [m3/s]
    seen_share : float
        Share of these that may run where water was seen or stands too long. [-]
    called_from : float
        Share of the possible grounds on which it must be where nobody saw it. [-]
    """

    lawn: Tolerance
    paving: Tolerance
    wall: Tolerance
    film: float
    standing_film: float
    wall_reach: float
    complaint_reach: float
    arriving_paving: float
    arriving_wall: float
    seen_share: float
    called_from: float

    def at(self, place: Place) -> Tolerance:
        """Tolerance of a kind of place."""
        return {"lawn": self.lawn, "paving": self.paving, "wall": self.wall}[place]

    def counts_from(self, tolerance: Tolerance) -> float:
        """Depth from which the time is counted that a tolerance limits: where nothing is tolerated, from a film. [m]"""
        return max(tolerance.depth, self.standing_film)


def trouble_rules(rules: Rules) -> TroubleRules:
    """From when water is a trouble, by the rules of the trade."""
    return TroubleRules(
        lawn=Tolerance(rules["tolerable_lawn_depth"].likely, rules["tolerable_lawn_time"].likely),
        paving=Tolerance(rules["tolerable_patio_depth"].likely, rules["tolerable_patio_time"].likely),
        wall=Tolerance(rules["tolerable_sill_depth"].likely, 0.0),
        film=rules["wet_film"].likely,
        standing_film=rules["standing_film"].likely,
        wall_reach=rules["wall_reach"].likely,
        complaint_reach=rules["complaint_reach"].likely,
        arriving_paving=rules["arriving_paving"].likely,
        arriving_wall=rules["arriving_wall"].likely,
        seen_share=rules["arriving_seen_share"].likely,
        called_from=rules["called_from"].likely,
    )


@dataclass(frozen=True, slots=True, eq=False)
class SpotPlace:
    """A place of the lot in a low spot.

    Attributes
    ----------
    shape : shapely Geometry
        Its cells at the spill level. [m]
    place : str
        lawn, paving, or wall where it reaches a house.
    name : Reason
        Of the place: the patio 2, the lawn.
    complaint : Reason or None
        What was seen there, where someone said so.
    on_parcel : bool
        Touches the lot.
    sill_distance : float
        To the nearest house, infinite where none is known. [m]
    dry : float
        Height above the low spot's bottom of the lowest ground of that place. [m]
    heights : (n,) float ndarray
        Height above the low spot's bottom of each of that place's cells. [m]
    cell_area : float
        Of one of them. [m2]
    others : tuple of SpotPlace
        Further places of the lot in the same low spot, in the order in which they are asked.
    """

    spot: LowSpot
    shape: BaseGeometry
    place: Place
    name: Reason
    complaint: Reason | None
    on_parcel: bool
    sill_distance: float
    dry: float = 0.0
    heights: FloatArray = field(default_factory=lambda: np.empty(0))
    cell_area: float = 0.0
    others: "tuple[SpotPlace, ...]" = ()

    @property
    def every(self) -> "tuple[SpotPlace, ...]":
        """This place and the others."""
        return (self, *self.others)

    def area_under(self, depth: float) -> float:
        """Ground of the place under water that stands so deep over the low spot's bottom. [m2]"""
        return float(np.count_nonzero(self.heights < depth)) * self.cell_area

    def volume_under(self, depth: float) -> float:
        """That water over the ground of the place. [m3]"""
        return float(np.maximum(depth - self.heights, 0.0).sum()) * self.cell_area


@dataclass(frozen=True, slots=True, eq=False)
class Trouble:
    """One thing that is wrong.

    Attributes
    ----------
    name : Reason
        Of the place.
    spot : SpotPlace or None
        The low spot in which water stands.
    edge : ProtectedEdge or None
        What the water runs at.
    found : float or None
        Share of the grounds that lidar allows on which it is there; None where they were not counted, or where
        somebody saw it. [-]
    """

    kind: Literal["standing", "arriving"]
    name: Reason
    why: Reason
    spot: SpotPlace | None
    edge: ProtectedEdge | None
    found: float | None = None


@dataclass(frozen=True, slots=True)
class StandingTime:
    """Deepest water [m] and time above what is tolerated [s] at a low spot in the storm; None where unknown.

    `at_others` are those times at its other places.
    """

    depth: float
    over_tolerance: float | None
    at_others: tuple[float, ...] = ()


def place_of(
    spot: LowSpot,
    shape: BaseGeometry,
    *,
    parcel: BaseGeometry,
    edges: Sequence[ProtectedEdge],
    houses: Sequence[BaseGeometry],
    complaints: Sequence[tuple[Point, Reason]],
    rules: TroubleRules,
) -> SpotPlace:
    """Tell what kind of place a low spot is."""
    sill = min((float(shapely.distance(shape, house)) for house in houses), default=np.inf)
    place: Place = "lawn"
    name = LAWN
    for edge in edges:
        if edge.kind == "paving" and shapely.intersects(shape, edge.shape):
            place, name = "paving", name_of(edge)
            break
    if place == "lawn" and sill <= rules.wall_reach:
        place, name = "wall", BESIDE_HOUSE
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
    complaints: Sequence[tuple[Point, Reason]],
    *,
    unit_peak: float,
    rules: TroubleRules,
) -> tuple[Trouble, ...]:
    """What is wrong on the lot, worst first.

    Ranked by complaint, place (wall, paving, lawn), area and time, depth last: most ponds people pay for are
    within lidar error.
    """
    ranked: list[tuple[tuple[float, ...], Trouble]] = []
    for place in places:
        trouble = _standing(place, standing.get(place.spot.id), rules)
        if trouble is not None:
            over = standing[place.spot.id].over_tolerance or 0.0
            held = trouble.spot if trouble.spot is not None else place
            weight = {"wall": 0.0, "paving": 1.0, "lawn": 2.0}[held.place]
            area = held.area_under(standing[place.spot.id].depth)
            ranked.append(((float(held.complaint is None), weight, -area, -over), trouble))
    wet = {trouble.name for _, trouble in ranked}
    for edge in edges:
        peak = edge.arriving_area * unit_peak
        seen = [text for point, text in complaints if shapely.distance(edge.shape, point) <= rules.complaint_reach]
        limit = rules.arriving_wall if edge.kind == "wall" else rules.arriving_paving
        name = name_of(edge)
        least = rules.seen_share * limit if seen or name in wet else limit
        found = None if seen or not edge.on_grounds.size else float(np.mean(edge.on_grounds * unit_peak > least))
        if edge.cells.size and peak > least and (found is None or found >= rules.called_from):
            why = reason(
                "water_arrives", flow=peak, area=edge.arriving_area, place=name, seen=seen[0] if seen else None
            )
            order = (float(not seen), 0.0 if edge.kind == "wall" else 1.0, -edge.arriving_area, 0.0)
            ranked.append((order, Trouble("arriving", name, why, None, edge, found)))
    ranked.sort(key=lambda pair: pair[0])
    return tuple(trouble for _, trouble in ranked)


def _standing(place: SpotPlace, water: StandingTime | None, rules: TroubleRules) -> Trouble | None:
    """Trouble at the place of a low spot where someone saw it, else at the first that has one.

    A patio that stays dry hides no wall and no lawn.
    """
    if water is None or not place.on_parcel:
        return None
    times = ((place, water.over_tolerance), *zip(place.others, water.at_others, strict=True))
    found = (_standing_at(each, water.depth, over, rules) for each, over in times)
    wrong = [trouble for trouble in found if trouble is not None]
    return min(wrong, key=lambda trouble: trouble.why["seen"] is None, default=None)


def _standing_at(place: SpotPlace, deepest: float, for_how_long: float | None, rules: TroubleRules) -> Trouble | None:
    """Trouble by water over the place's own ground."""
    depth = deepest - place.dry
    if depth <= 0.0:
        return None
    tolerance = rules.at(place.place)
    too_long = depth > tolerance.depth and (for_how_long is None or for_how_long > tolerance.duration)
    # nobody saw it, and the lidar alone cannot show it
    if place.complaint is None and (not too_long or depth <= rules.film or place.spot.within_lidar_error):
        return None
    why = reason(
        "water_stands", depth=depth, area=place.area_under(deepest) or None, place=place.name,
        over=_over(for_how_long), seen=place.complaint,
    )
    found = place.spot.found if place.complaint is None else None
    return Trouble("standing", place.name, why, place, None, found)


def name_of(edge: ProtectedEdge) -> Reason:
    """What a person calls it."""
    return reason("place_named", name=edge.name)


def _over(time: float | None) -> Reason | None:
    if time is None:
        return reason("above_tolerated")
    if time == 0.0:
        return None
    return reason("above_tolerated_for", time=time) if np.isfinite(time) else reason("above_tolerated_to_the_end")
