"""From a lot and a storm to what is wrong, and to where what is wrong would be caught."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pipelines.hydrology.design_rain import DesignRain
from pipelines.hydrology.flow_path import TravelRules
from pipelines.hydrology.standing_water import PoolWater
from pipelines.hydrology.surface_map import SurfaceMap
from pipelines.inputs.rules import Rules
from pipelines.layout.catching.collection import (
    BasinSite,
    CollectionRules,
    DownspoutSite,
    DrainSite,
    fixed_basins,
    free_ground,
    site_collectors,
    site_downspouts,
)
from pipelines.layout.catching.cures import cheap_cures, extension_place
from pipelines.layout.diagnosis.division import CollectingPlace, Division, divide_ground
from pipelines.layout.diagnosis.lot_water import LotWater, Taking, WaterSettings, run_storm
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import (
    SpotPlace,
    StandingTime,
    Tolerance,
    Trouble,
    TroubleRules,
    find_troubles,
    place_of,
)
from pipelines.layout.plan import Cure
from terrain.arrays import BoolArray
from terrain.flow.cells_to_polygons import label_polygons
from terrain.flow.drainage import upstream_labels


@dataclass(frozen=True, slots=True, eq=False)
class Reckoning:
    """What the storm is reckoned on.

    Attributes
    ----------
    surfaces : SurfaceMap
        What lies on each cell.
    rain : DesignRain
        The run's one rain.
    compacted : bool
        Soil taken one group worse than mapped.
    travel : TravelRules
        What travel time is reckoned by.
    watched : float
        How long after the storm standing water is followed. [s]
    """

    surfaces: SurfaceMap
    rain: DesignRain
    compacted: bool
    travel: TravelRules
    watched: float


@dataclass(frozen=True, slots=True, eq=False)
class Diagnosis:
    """What is wrong on the lot as it is.

    Attributes
    ----------
    division : Division
        Studied ground by where its water collects.
    water : LotWater
        The storm on it.
    places : dict of str to SpotPlace
        Low spots that count, and what kind of place each is.
    troubles : tuple of Trouble
        Worst first.
    wet : (rows, cols) bool ndarray
        Cells whose water comes to a place in trouble.
    rules : TroubleRules
        From when it is a trouble.
    """

    division: Division
    water: LotWater
    places: dict[str, SpotPlace]
    troubles: tuple[Trouble, ...]
    wet: BoolArray
    rules: TroubleRules


@dataclass(frozen=True, slots=True, eq=False)
class Catching:
    """What would catch it.

    Attributes
    ----------
    basins, drains, downspouts : tuple
        Places for each.
    cures : tuple of Cure
        What costs little and comes first.
    enough : bool
        Whether the cures alone end every trouble in the storm.
    refused : tuple of str
        What could not be sited, and why.
    """

    basins: tuple[BasinSite, ...]
    drains: tuple[DrainSite, ...]
    downspouts: tuple[DownspoutSite, ...]
    cures: tuple[Cure, ...]
    enough: bool
    refused: tuple[str, ...]

    @property
    def sites(self) -> tuple[BasinSite | DrainSite | DownspoutSite, ...]:
        """All that collects: basins, drains, downspouts."""
        return (*self.basins, *self.drains, *self.downspouts)

    @property
    def empty(self) -> bool:
        """Whether there is nothing to build."""
        return not (self.basins or self.drains)


def trouble_rules(rules: Rules) -> TroubleRules:
    """From when water is a trouble, by the rules of the trade."""
    lawn = Tolerance(rules["tolerable_lawn_depth"].likely, rules["tolerable_lawn_time"].likely)
    paving = Tolerance(rules["tolerable_patio_depth"].likely, rules["tolerable_patio_time"].likely)
    return TroubleRules(lawn=lawn, paving=paving, wall=Tolerance(rules["tolerable_sill_depth"].likely, 0.0))


def collection_rules(rules: Rules, foundation: str | None, footing_depth: float | None) -> CollectionRules:
    """Sizes and distances of what collects, by the rules of the trade and the foundation.

    Stone beside a slab stays outside the footing's 45-degree plane; from a crawl space, a basement or an unknown
    foundation it keeps 4 ft.

    References
    ----------
    .. [1] Influence plane at 45 degrees: Uniform Plumbing Code 314.1, International Residential Code P2604.4.
    """
    depth = rules["trench_depth_stone"].low
    bedding = rules["stone_under_pipe"].likely
    if foundation == "slab":
        # the deepest trench proposed, so that the plane is kept along the whole of it
        offset = max(0.3, rules["depth_hand_dig"].likely - (footing_depth if footing_depth is not None else 0.3))
    else:
        offset = rules["stone_wall_offset"].likely
    return CollectionRules(
        wall_offset=offset,
        width=rules["trench_width_stone"].likely,
        depth=depth,
        bedding=bedding,
        least_slope=rules["slope_4in_smooth"].low,
        deepest=rules["depth_hand_dig"].likely,
    )


def diagnose(situation: Situation, reckoning: Reckoning) -> Diagnosis:
    """The storm on the lot as it is, and what is wrong."""
    spots = situation.counted_spots
    rules = trouble_rules(situation.rules)
    shapes = _spot_shapes(situation)
    houses = [part for part in shapely.get_parts(situation.houses) if isinstance(part, BaseGeometry)]
    places = {
        spot.id: place_of(
            spot,
            shapes[spot.id],
            parcel=situation.parcel,
            edges=situation.edges,
            houses=houses,
            complaints=situation.complaints,
            rules=rules,
        )
        for spot in spots
    }
    division = divide_ground(
        situation.drainage,
        situation.on_parcel,
        [CollectingPlace(spot.id, "spot", spot.cells) for spot in spots],
        skip=situation.studied,
    )
    water = run_storm(
        division, situation.drainage, {spot.id: spot for spot in spots}, reckoning.surfaces, reckoning.rain, {},
        settings_for(places, rules, reckoning),
    )
    troubles = find_troubles(
        list(places.values()),
        {name: standing_time(standing) for name, standing in water.standing.items()},
        situation.edges,
        situation.complaints,
        unit_peak=_unit_peak(water),
        rules=rules,
    )
    return Diagnosis(division, water, places, troubles, _wet(situation, troubles), rules)


def settings_for(places: dict[str, SpotPlace], rules: TroubleRules, reckoning: Reckoning) -> WaterSettings:
    """How the storm is run on places of these kinds."""
    tolerable = {name: rules.at(place.place).depth for name, place in places.items()}
    return WaterSettings(reckoning.compacted, tolerable, reckoning.travel, reckoning.watched)


def standing_time(water: PoolWater) -> StandingTime:
    """Deepest water and time above what is tolerated."""
    return StandingTime(water.depth, np.inf if water.stands_at_end else water.time_above)


def catch(situation: Situation, reckoning: Reckoning, found: Diagnosis) -> Catching:
    """Site what would catch the water, after what costs little."""
    spouts = _spouts(situation, found)
    seen = _spouts_beside_complaints(situation, found, spouts)
    extensions = {
        spout.id: place
        for spout in (*spouts, *seen)
        if (
            place := extension_place(
                spout, situation.drainage, parcel=situation.parcel, paving=situation.paving,
                houses=situation.houses, wet=found.wet,
            )
        )
    }
    cures = cheap_cures(
        found.troubles,
        (*spouts, *seen),
        extensions,
        situation.drainage,
        gutters=not situation.houses.is_empty and bool(found.troubles or situation.complaints),
    )
    moved = [spout for spout in spouts if spout.id in extensions]
    fixed = situation.fixed_basins
    if found.troubles and moved and not fixed and _enough(situation, reckoning, found, moved):
        return Catching((), (), (), cures, True, ())
    rules = collection_rules(situation.rules, situation.foundation, situation.footing_depth)
    line_offset = situation.rules["line_offset"].likely + situation.rules["parcel_line_error"].likely
    walls = shapely.buffer(situation.roofs, 0.3)
    # of the middle of a trench, so that its nearest stone keeps the offset
    stone = shapely.buffer(situation.houses, rules.wall_offset + rules.width / 2.0)
    free = free_ground(situation.parcel, [walls, situation.keep_out], line_offset=line_offset)
    basins, drains, refused = site_collectors(
        found.troubles,
        situation.drainage,
        free=free,
        free_for_stone=free_ground(situation.parcel, [walls, stone, situation.keep_out], line_offset=line_offset),
        paving=situation.paving,
        rules=rules,
        shots=situation.shots,
    )
    if fixed:
        basins = fixed_basins(
            fixed, list(found.places.values()), situation.drainage, free, situation.paving, rules
        )
    return Catching(basins, drains, spouts if basins or drains else (), cures, False, refused)


def _spot_shapes(situation: Situation) -> dict[str, BaseGeometry]:
    labels = np.full(situation.grid.shape, -1, dtype=np.int64)
    spots = situation.counted_spots
    for number, spot in enumerate(spots):
        labels.ravel()[spot.cells] = number
    polygons = label_polygons(labels, situation.grid)
    return {spot.id: cast(BaseGeometry, polygons[number]) for number, spot in enumerate(spots)}


def _unit_peak(water: LotWater) -> float:
    """Peak of runoff from a square metre, the mean of all regions by area. [m/s]"""
    area = sum(row.area for row in water.runoff)
    return sum(row.hydrograph.peak for row in water.runoff) / area if area > 0.0 else 0.0


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


def _spouts(situation: Situation, found: Diagnosis) -> tuple[DownspoutSite, ...]:
    seeds = np.full(situation.on_parcel.size, -1, dtype=np.int64)
    names: dict[int, str] = {}
    for number, trouble in enumerate(found.troubles):
        cells = trouble.spot.spot.cells if trouble.spot is not None else None
        if trouble.edge is not None:
            cells = trouble.edge.cells
        if cells is not None:
            seeds[cells[seeds[cells] < 0]] = number
            names[number] = trouble.name
    labels = upstream_labels(situation.drainage, seeds.reshape(situation.on_parcel.shape))
    return site_downspouts(situation.downspouts, situation.drainage, names, labels)


def _spouts_beside_complaints(
    situation: Situation, found: Diagnosis, others: Sequence[DownspoutSite]
) -> tuple[DownspoutSite, ...]:
    """Further downspouts that come out where someone saw water, whatever the reckoning says of it."""
    if not situation.complaints:
        return ()
    points = [point for point, _ in situation.complaints]
    around = mask_of(shapely.buffer(shapely.MultiPoint(points), found.rules.complaint_reach), situation.grid)
    labels = np.where(around, np.int64(0), np.int64(-1))
    beside = site_downspouts(situation.downspouts, situation.drainage, {0: "where water was seen"}, labels)
    known = {spout.id for spout in others}
    return tuple(spout for spout in beside if spout.id not in known)


def run_on_share(situation: Situation, found: Diagnosis) -> float:
    """Share of the ground behind what is wrong that lies outside the lot. [-]"""
    wet = found.wet & situation.studied
    return float(np.count_nonzero(wet & ~situation.on_parcel)) / max(int(np.count_nonzero(wet)), 1)


def _enough(
    situation: Situation, reckoning: Reckoning, found: Diagnosis, moved: Sequence[DownspoutSite]
) -> bool:
    """Whether leading downspouts away ends every trouble: the storm again without their roofs."""
    spots = situation.counted_spots
    places = [CollectingPlace(spout.id, "taker", spout.cells) for spout in moved]
    places += [CollectingPlace(spot.id, "spot", spot.cells) for spot in spots]
    division = divide_ground(situation.drainage, situation.on_parcel, places, skip=situation.studied)
    water = run_storm(
        division, situation.drainage, {spot.id: spot for spot in spots}, reckoning.surfaces, reckoning.rain,
        {spout.id: Taking(spout.id, piped=True) for spout in moved},
        settings_for(found.places, found.rules, reckoning),
    )
    left = find_troubles(
        list(found.places.values()),
        {name: standing_time(standing) for name, standing in water.standing.items()},
        situation.edges,
        (),
        unit_peak=_unit_peak(found.water),
        rules=found.rules,
    )
    seen = {trouble.name for trouble in found.troubles if trouble.spot is not None and trouble.spot.complaint}
    remaining = [t for t in left if t.certain or t.name in seen]
    before = sum(w.depth for w in found.water.standing.values())
    after = sum(w.depth for w in water.standing.values())
    # a place that someone complained of must be clearly better, not merely within what is put up with
    return not remaining and (not seen or after < 0.5 * before)

