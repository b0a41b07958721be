"""What a lot's outfalls are found to be: the swale check's own look at the swale, ditch or low line below each.

`look_at_outfalls(inputs, rain, places)` is run once a lot. Its levels, culverts and ponds are those that the swale
check finds on the same line; `water_over_grates` holds a level against the grates of a line.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import shapely
from shapely import Point

from pipelines.hydrology.along_swale import SwaleFlow
from pipelines.hydrology.design_rain import DesignRain
from pipelines.inputs.ground_rules import lidar_noise
from pipelines.inputs.rules import Rules
from pipelines.inputs.site_ground import SiteInputs
from pipelines.layout.swale.case import (
    OpenedSwales,
    SwaleCase,
    culverts_beside,
    divide_case,
    measure_case,
    rules_of,
    swales_of,
)
from pipelines.layout.swale.crossings import SwaleCrossing
from pipelines.layout.swale.followed import FollowedLine, follow_low_line
from pipelines.layout.swale.levels import SwaleLevels, level_beside, level_series, swale_levels
from pipelines.layout.swale.site import SwaleSite
from pipelines.layout.swale.standing import SwalePond, standing_along, still_level
from pipelines.layout.swale.tailwater import tailwater_at
from pipelines.layout.swale.water import swale_flows
from terrain.arrays import FloatArray
from terrain.errors import LotshedError
from terrain.flow.cells_to_polygons import label_polygons
from terrain.flow.low_spots import LowSpot
from terrain.lidar_error import fall_error
from terrain.reason import Reason, reason

OutfallState = Literal["sure", "cannot_tell", "no", "not_needed"]

FOLLOWED = ("swale", "ditch")
"""Kinds of outfall that water runs on from in a line of low ground."""
LOOK_AT = {
    "curb": reason("outfall_look_curb"),
    "inlet": reason("outfall_look_inlet"),
    "pond": reason("outfall_look_pond"),
}
"""What to look at where no low line is followed, by kind."""


@dataclass(frozen=True, slots=True)
class OutfallPlace:
    """A place where a line may end, as the look takes it.

    Attributes
    ----------
    id, kind : str
        Of the outfall.
    point : shapely Point
        [m]
    level : float
        Lowest invert that may come out there. [m]
    shot : bool
        A level was read at its bottom.
    high_water : float or None
        Level of the storm's water there, where somebody reckoned it. [m]
    """

    id: str
    kind: str
    point: Point
    level: float
    shot: bool
    high_water: float | None = None


@dataclass(frozen=True, slots=True)
class CulvertLook:
    """A drive over the swale, downstream of an outfall.

    Attributes
    ----------
    point : shapely Point
        Where its drive is highest over the swale's bottom. [m]
    distance : float
        Along the swale from the outfall. [m]
    suspected : bool
        A dam in the raster; nobody gave a culvert.
    small : bool
        The design storm runs over the drive.
    silted : bool
        The raster's bottom stands above its given invert by more than the lidar's error.
    assumed : bool
        Given, its diameter, material or inverts not.
    backs_up : bool
        Water that it holds back reaches the outfall.
    height : float
        Of the dam above the low before it; of the drive above the bottom where the raster shows no dam. [m]
    """

    id: str
    point: Point
    distance: float
    suspected: bool
    small: bool
    silted: bool
    assumed: bool
    backs_up: bool
    height: float


@dataclass(frozen=True, slots=True, eq=False)
class OutfallLook:
    """What is found of an outfall, whatever line ends there.

    Attributes
    ----------
    outfall : str
        Its id; an outfall that is given as a line has a look for each of its places.
    point : shapely Point
        The place. [m]
    state : str
        Best that can be said of it: sure, or cannot_tell without a shot bottom and measured culverts.
    why : Reason
        Of that, with what to look at.
    level : float or None
        Highest that the water stands there in the design storm, its whole catchment counted. [m]
    error : float
        By which that level and a grate may be off against each other. [m]
    stands : float
        Depth of the water that is left standing there after rain. [m]
    submerged : float
        How long the water stands above the lowest invert. [s]
    culverts : tuple of CulvertLook
        Downstream.
    followed_length : float
        Of swale that was looked at below it. [m]
    flow : float or None
        Peak that passes it. [m3/s]
    stage, step : (n,) float ndarray, float
        Level there at times 0, step, ... through the storm, empty where it is not known. [m], [s]
    depression : shapely Geometry or None
        The closed depression that it lies in, filled to where water leaves it; dams of drives are none.
    spill : float or None
        Level at which water leaves that. [m]
    """

    outfall: str
    point: Point
    state: OutfallState
    why: Reason
    level: float | None = None
    error: float = 0.0
    stands: float = 0.0
    submerged: float = 0.0
    culverts: tuple[CulvertLook, ...] = ()
    followed_length: float = 0.0
    flow: float | None = None
    stage: FloatArray = field(default_factory=lambda: np.zeros(0))
    step: float = 0.0
    depression: shapely.Geometry | None = None
    spill: float | None = None

    @property
    def suspected(self) -> tuple[CulvertLook, ...]:
        """Suspected culverts that hold water back as far as the outfall."""
        return tuple(each for each in self.culverts if each.suspected and each.backs_up)


def look_at_outfalls(
    inputs: SiteInputs, rain: DesignRain, places: Sequence[OutfallPlace]
) -> tuple[OutfallLook, ...]:
    """Look at every place where a line may end, in the order given."""
    rules = rules_of(inputs)
    found: dict[int, OutfallLook] = {}
    todo = [number for number, place in enumerate(places) if place.kind in FOLLOWED]
    for number, place in enumerate(places):
        if place.kind not in FOLLOWED:
            found[number] = _unfollowed(place, LOOK_AT[place.kind])
    if not inputs.layers.swales.empty:
        todo = _look_along(swales_of(inputs, culverts_beside), None, rain, places, todo, found)
    tried = 0
    # from the upper end down, since what is followed from above passes the places below
    todo.sort(key=lambda number: (-places[number].level, number))
    while todo:
        place = places[todo[0]]
        tried += 1
        line: FollowedLine | None = None
        why: str | None = None
        if tried <= int(rules["outfalls_followed"].likely):
            try:
                line = follow_low_line(inputs, place.point, rules)
                if line is not None:
                    todo = _look_along(_followed(inputs, rules, line, place.id), line, rain, places, todo, found)
            except LotshedError as error:
                why = str(error)
        if todo and places[todo[0]] is place:
            found[todo.pop(0)] = _unfollowed(place, reason("outfall_look_swale", why=why))
    return tuple(found[number] for number in range(len(places)))


def water_over_grates(look: OutfallLook, lowest_grate: float, *, flap: bool = False) -> tuple[OutfallState, Reason]:
    """What becomes of an outfall once the lowest grate on its line is known: water may come back through it."""
    if look.level is None or flap or look.level <= lowest_grate:
        return look.state, look.why
    over = look.level - lowest_grate
    sure = over > look.error and not look.suspected
    return "no" if sure else "cannot_tell", reason("outfall_comes_back", over=over, sure=sure, why=look.why)


def _followed(inputs: SiteInputs, rules: Rules, line: FollowedLine, id: str) -> OpenedSwales:
    culverts = culverts_beside([line.line], inputs.layers.culverts, rules)
    return OpenedSwales(inputs, rules, [line.line], [f"swale below {id}"], culverts)


def _look_along(
    opened: OpenedSwales,
    line: FollowedLine | None,
    rain: DesignRain,
    places: Sequence[OutfallPlace],
    todo: Sequence[int],
    found: dict[int, OutfallLook],
) -> list[int]:
    """Look at those places that lie on measured swales; the rest is still to do."""
    near = opened.rules["swale_outlet_near"].likely
    on_lines = [k for k in todo if min(float(each.distance(places[k].point)) for each in opened.lines) <= near]
    if not on_lines:
        return list(todo)
    case = measure_case(opened, lambda stage, share: None)
    if line is not None:
        case = replace(case, downstream_level=line.ends_in_water)
    flows = swale_flows(divide_case(case, rain), rain, (), case.velocities)
    storms: dict[int, _Storm] = {}
    for number in on_lines:
        away = [float(site.thalweg.line.distance(places[number].point)) for site in case.sites]
        swale = int(np.argmin(away))
        if swale not in storms:
            storms[swale] = _storm(case, swale, flows[swale])
        found[number] = _look(case, storms[swale], places[number])
    return [number for number in todo if number not in found]


@dataclass(frozen=True, slots=True, eq=False)
class _Storm:
    """The design storm on one swale: its flow, peak levels, standing water and levels through time."""

    site: SwaleSite
    flow: SwaleFlow
    levels: SwaleLevels
    ponds: tuple[SwalePond, ...]
    series: FloatArray


def _storm(case: SwaleCase, position: int, flow: SwaleFlow) -> _Storm:
    site, at_end = case.sites[position], case.downstream_level
    levels = swale_levels(site, flow.peak, case.rules, downstream_level=at_end)
    ponds = standing_along(
        site, case.drainage, case.spots, flow.volume, rules=case.rules, soaking_rate=case.soaking_rates[position]
    )
    series = level_series(
        site, flow.flow, case.rules, standing=still_level(site, ponds), downstream_level=at_end
    )
    return _Storm(site, flow, levels, ponds, series)


def _look(case: SwaleCase, storm: _Storm, place: OutfallPlace) -> OutfallLook:
    site, rules = storm.site, case.rules
    station = site.station_of(place.point)
    section = site.section_below(station)
    spot = _closed(case, site, place)
    stage = _filling(storm, spot)
    if stage is None:
        stage = level_beside(site, storm.series, station)
    tail = tailwater_at(stage, storm.flow.flow[section], storm.flow.step, place.level, rules)
    level = tail.highest if place.high_water is None else place.high_water
    bottom = float(np.interp(station, site.thalweg.station, site.thalweg.bottom))
    still = [pond.level for pond in storm.ponds if pond.start - 1.0 <= station <= pond.end + 1.0]
    stands = max(0.0, *(each - bottom for each in still)) if still else 0.0
    farthest = station + rules["outfall_followed"].likely
    culverts = tuple(_culverts(storm, station, bottom, farthest, rules))
    noise = lidar_noise(rules)
    error = rules["verdict_sigmas"].likely * fall_error(rules["lidar_rmse"].likely, noise["noise_length"], **noise)
    flow = float(storm.flow.peak[section])
    water = reason(
        "outfall_water", flow=flow, above=level - place.level, time=tail.submerged if tail.above > 0.0 else None,
        stands=stands,
    )  # fmt: skip
    look = tuple(_to_look_at(place, culverts))
    why = reason("outfall_unmeasured", water=water, look=look) if look else reason("outfall_measured", water=water)
    return OutfallLook(
        place.id, place.point, "cannot_tell" if look else "sure", why, level, error, stands,
        tail.submerged, culverts, min(site.thalweg.length, farthest) - station, flow, stage, storm.flow.step,
        None if spot is None else _shape_of(case, spot), None if spot is None else spot.spill_elevation,
    )  # fmt: skip


def _filling(storm: _Storm, spot: LowSpot | None) -> FloatArray | None:
    """Level through the storm in a closed depression that it does not fill: nothing runs on from there. [m]"""
    pond = next((each for each in storm.ponds if each.spot is spot), None)
    if spot is None or pond is None or pond.volume >= spot.volume:
        return None
    arriving = storm.flow.flow[storm.site.section_below(pond.end)]
    level: FloatArray = np.interp(np.cumsum(arriving) * storm.flow.step, spot.volumes, spot.levels)
    return level


def _to_look_at(place: OutfallPlace, culverts: Sequence[CulvertLook]) -> Iterator[Reason]:
    """What must be measured before anything is sure of an outfall."""
    unmeasured = tuple(
        reason("outfall_dam", distance=each.distance, height=each.height)
        if each.suspected
        else reason("outfall_culvert", distance=each.distance, small=each.small, silted=each.silted)
        for each in culverts
        if each.backs_up and (each.suspected or each.assumed or each.silted)
    )
    if unmeasured and place.high_water is None:
        yield reason("outfall_look_culverts", culverts=unmeasured)
    if not place.shot:
        yield reason("outfall_look_bottom")


def _culverts(
    storm: _Storm, station: float, bottom: float, farthest: float, rules: Rules
) -> Iterator[CulvertLook]:
    site = storm.site
    for crossing in site.crossings:
        crest = crossing.ridge.crest
        if crossing.end < station or crossing.start > farthest:
            continue
        passed = storm.levels.surface.crossings[crossing.above]
        low = float(site.bottom[crossing.above])
        height = crossing.dam.height if crossing.dam is not None else max(crossing.ridge.lowest - low, 0.0)
        yield CulvertLook(
            id=crossing.id,
            point=shapely.force_2d(shapely.line_interpolate_point(site.thalweg.line, crest)),
            distance=crest - station,
            suspected=not crossing.given,
            small=crossing.given and passed.over > 0.0,
            silted=_silted(crossing, low, rules),
            assumed=bool(crossing.assumed),
            backs_up=passed.headwater > bottom + rules["swale_backwater"].likely,
            height=height,
        )


def _silted(crossing: SwaleCrossing, low: float, rules: Rules) -> bool:
    culvert = crossing.drive.culvert
    if culvert is None:
        return False
    noise = lidar_noise(rules)
    error = rules["verdict_sigmas"].likely * fall_error(rules["lidar_rmse"].likely, noise["noise_length"], **noise)
    return low - culvert.invert_up > error + rules["swale_hidden_bottom"].likely


def _closed(case: SwaleCase, site: SwaleSite, place: OutfallPlace) -> LowSpot | None:
    """The depression that a place lies in, where the ground itself closes it and not a drive over the swale."""
    grid = case.ground.grid
    row, column = (int(each) for each in grid.cells(place.point.x, place.point.y))
    at = row * grid.shape[1] + column
    for spot in case.spots:
        if spot.contained_in is not None or spot.within_lidar_error or at not in spot.cells:
            continue
        if spot.spill_cell is None:
            return spot
        row, column = divmod(spot.spill_cell, grid.shape[1])
        if min(row, column, grid.shape[0] - 1 - row, grid.shape[1] - 1 - column) <= 1:
            # it is cut by the raster's end, beyond which water may leave lower
            return None
        x, y = grid.centres(row, column)
        over = site.station_of(Point(float(x), float(y)))
        dammed = any(each.start - 1.0 <= over <= each.end + 1.0 for each in site.crossings)
        return None if dammed else spot
    return None


def _shape_of(case: SwaleCase, spot: LowSpot) -> shapely.Geometry:
    labels = np.full(case.ground.grid.shape, -1, dtype=np.int64)
    labels.ravel()[spot.cells] = 0
    return label_polygons(labels, case.ground.grid)[0]


def _unfollowed(place: OutfallPlace, look: Reason) -> OutfallLook:
    """A place of which no more is known than what somebody said."""
    if place.high_water is not None and place.shot:
        why = reason("outfall_high_water_given", above=place.high_water - place.level)
        return OutfallLook(place.id, place.point, "sure", why, place.high_water)
    return OutfallLook(
        place.id, place.point, "cannot_tell", reason("outfall_not_followed", look=look), place.high_water
    )

