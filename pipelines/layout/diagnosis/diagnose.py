"""From a lot and a storm to what is wrong."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import cast

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pipelines.hydrology.flow_path import TravelRules
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.hydrology.standing_water import PoolWater
from pipelines.hydrology.surface_map import SurfaceMap
from pipelines.layout.diagnosis.division import CollectingPlace, Division, Once, divide_ground
from pipelines.layout.diagnosis.lot_water import LotWater, run_storm
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import (
    BESIDE_HOUSE,
    LAWN,
    Place,
    SpotPlace,
    StandingTime,
    Trouble,
    TroubleRules,
    find_troubles,
    name_of,
    place_of,
    trouble_rules,
)
from pipelines.layout.diagnosis.water_settings import WaterSettings
from terrain.arrays import BoolArray
from terrain.flow.cells_to_polygons import label_polygons
from terrain.flow.drainage import upstream_labels
from terrain.reason import Reason, reason

MOST_PONDS = 256
"""Low spots' water in so many storms is kept, to be taken from there where the same comes to the same again. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class Reckoning:
    """What the storm is reckoned on.

    Attributes
    ----------
    rain : DesignRain
        The run's one rain.
    compacted : bool
        Soil taken one group worse than mapped.
    watched : float
        How long after the storm standing water is followed. [s]
    known, ponds : Once
        Runoff of regions that was reckoned already, with works or without, and what stood last in low spots.
    """

    surfaces: SurfaceMap
    rain: DesignRain
    compacted: bool
    travel: TravelRules
    watched: float
    known: Once = field(default_factory=Once)
    ponds: Once = field(default_factory=lambda: Once(most=MOST_PONDS))


@dataclass(frozen=True, slots=True, eq=False)
class Diagnosis:
    """What is wrong on the lot as it is.

    Attributes
    ----------
    division : Division
        Studied ground by where its water collects.
    places : dict of str to SpotPlace
        Low spots that count, and what kind of place each is.
    troubles : tuple of Trouble
        Worst first.
    wet : (rows, cols) bool ndarray
        Cells whose water comes to a place in trouble.
    """

    division: Division
    water: LotWater
    places: dict[str, SpotPlace]
    troubles: tuple[Trouble, ...]
    wet: BoolArray
    rules: TroubleRules


def spot_places(situation: Situation) -> dict[str, SpotPlace]:
    """Low spots that count, and what kind of place each is."""
    rules = trouble_rules(situation.rules)
    shapes = _spot_shapes(situation)
    houses = [part for part in shapely.get_parts(situation.houses) if isinstance(part, BaseGeometry)]
    return {
        spot.id: _on_own_ground(
            place_of(
                spot,
                shapes[spot.id],
                parcel=situation.parcel,
                edges=situation.edges,
                houses=houses,
                complaints=situation.complaints,
                rules=rules,
            ),
            situation,
            rules,
        )
        for spot in situation.counted_spots
    }


def _on_own_ground(place: SpotPlace, situation: Situation, rules: TroubleRules) -> SpotPlace:
    """The places of the lot in a low spot, each with the lowest ground of its own: water below that isn't there.

    Paving first, then the ground beside houses, then what is left of the lot.
    """
    spot, grid = place.spot, situation.grid
    above = situation.drainage.ground.elevation.ravel()[spot.cells] - spot.bottom_elevation
    left = situation.on_parcel.ravel()[spot.cells]
    if not left.any():
        return replace(place, dry=spot.depth)
    x, y = grid.centres(spot.cells // grid.shape[1], spot.cells % grid.shape[1])
    kinds: list[tuple[Place, Reason, BoolArray]] = [
        ("paving", name_of(edge), np.asarray(shapely.contains_xy(edge.shape, x, y)))
        for edge in situation.edges if edge.kind == "paving"
    ]
    if not situation.houses.is_empty:
        beside = shapely.distance(situation.houses, shapely.points(x, y)) <= rules.wall_reach
        kinds.append(("wall", BESIDE_HOUSE, np.asarray(beside)))
    kinds.append(("lawn", LAWN, np.ones(x.shape, dtype=bool)))
    places: list[SpotPlace] = []
    points: list[BaseGeometry] = []
    for kind, name, inside in kinds:
        here = inside & left
        if here.any():
            left = left & ~inside
            places.append(
                replace(place, place=kind, name=name, dry=float(above[here].min()), heights=above[here],
                        cell_area=grid.cell_area, complaint=None)
            )
            points.append(shapely.multipoints(np.column_stack([x[here], y[here]])))
    if not places:
        return replace(place, dry=spot.depth)
    for point, said in situation.complaints:
        if shapely.distance(place.shape, point) <= rules.complaint_reach:
            # what was seen was seen at the place that it lies nearest to, not at all of a wide low spot
            nearest = int(np.argmin(shapely.distance(np.array(points), point)))
            if places[nearest].complaint is None:
                places[nearest] = replace(places[nearest], complaint=said)
    return replace(places[0], others=tuple(places[1:]))


def divide_lot(situation: Situation) -> Division:
    """The studied ground of a lot as it is by the low spot or side that its water comes to."""
    places = [CollectingPlace(spot.id, "spot", spot.cells) for spot in situation.counted_spots]
    return divide_ground(situation.drainage, situation.on_parcel, places, skip=situation.studied,
                        upslope=situation.upslope)


def storm_on_lot(
    situation: Situation, reckoning: Reckoning, division: Division, places: dict[str, SpotPlace]
) -> LotWater:
    """The storm on the lot as it is."""
    return run_storm(
        division, situation.drainage, {spot.id: spot for spot in situation.counted_spots}, reckoning.surfaces,
        reckoning.rain, {}, settings_for(places, trouble_rules(situation.rules), reckoning),
    )


def diagnose(situation: Situation, division: Division, places: dict[str, SpotPlace], water: LotWater) -> Diagnosis:
    """What is wrong on the lot as it is, from the storm on it."""
    rules = trouble_rules(situation.rules)
    troubles = find_troubles(
        list(places.values()), standing_times(water, places, rules), situation.edges, situation.complaints,
        unit_peak=unit_peak(water), rules=rules,
    )
    # of the places in a low spot the one in trouble stands for it from here on
    places = places | {each.spot.spot.id: each.spot for each in troubles if each.spot is not None}
    return Diagnosis(division, water, places, troubles, _wet(situation, troubles), rules)


def settings_for(places: dict[str, SpotPlace], rules: TroubleRules, reckoning: Reckoning) -> WaterSettings:
    """How the storm is run on places of these kinds."""
    tolerable = {name: place.dry + rules.counts_from(rules.at(place.place)) for name, place in places.items()}
    return WaterSettings(
        reckoning.compacted, tolerable, reckoning.travel, reckoning.watched, reckoning.known, reckoning.ponds
    )


def standing_times(
    water: LotWater, places: dict[str, SpotPlace], rules: TroubleRules
) -> dict[str, StandingTime]:
    """Deepest water and time above what is tolerated, by low spot."""
    def over(water: PoolWater, place: SpotPlace) -> float:
        return water.time_over(place.dry + rules.counts_from(rules.at(place.place)))

    return {
        name: StandingTime(
            each.depth, over(each, places[name]), tuple(over(each, other) for other in places[name].others)
        )
        for name, each in water.standing.items()
    }


def within_error_alone(situation: Situation, found: Diagnosis) -> Reason | None:
    """The worst place at a house that is wet but for lidar's error, where one ground is all there is."""
    if situation.grounds is not None:
        return None
    called = {name: _as_called(place) for name, place in found.places.items()}
    times = standing_times(found.water, called, found.rules)
    wrong = find_troubles(list(called.values()), times, (), (), unit_peak=0.0, rules=found.rules)
    worst = next((each for each in wrong if each.spot is not None and each.spot.place == "wall"), None)
    return None if worst is None else reason("within_error_alone", depth=worst.why["depth"], place=worst.name)


def _as_called(place: SpotPlace) -> SpotPlace:
    others = tuple(_as_called(each) for each in place.others)
    return replace(place, spot=replace(place.spot, within_lidar_error=False), others=others)


def run_on_share(situation: Situation, found: Diagnosis) -> float:
    """Share of the ground behind what is wrong that lies outside the lot. [-]"""
    wet = found.wet & situation.studied
    return float(np.count_nonzero(wet & ~situation.on_parcel)) / max(int(np.count_nonzero(wet)), 1)


def unit_peak(water: LotWater) -> float:
    """Peak of runoff from a square metre, the mean of all regions by area. [m/s]"""
    area = sum(row.area for row in water.runoff)
    return sum(row.hydrograph.peak for row in water.runoff) / area if area > 0.0 else 0.0


def _spot_shapes(situation: Situation) -> dict[str, BaseGeometry]:
    labels = np.full(situation.grid.shape, -1, dtype=np.int64)
    spots = situation.counted_spots
    for number, spot in enumerate(spots):
        labels.ravel()[spot.cells] = number
    polygons = label_polygons(labels, situation.grid)
    return {spot.id: cast(BaseGeometry, polygons[number]) for number, spot in enumerate(spots)}


def _wet(situation: Situation, troubles: Sequence[Trouble]) -> BoolArray:
    """Cells whose water comes to a low spot or an edge in trouble."""
    seeds = np.full(situation.on_parcel.size, -1, dtype=np.int64)
    for trouble in troubles:
        if trouble.spot is not None:
            seeds[trouble.spot.spot.cells] = 0
        if trouble.edge is not None:
            seeds[trouble.edge.cells] = 0
    wet: BoolArray = upstream_labels(situation.drainage, seeds.reshape(situation.on_parcel.shape)) == 0
    return wet
