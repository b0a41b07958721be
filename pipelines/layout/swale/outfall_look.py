"""What a lot's outfalls are found to be: the swale check's own look at the swale, ditch or low line below each.

`look_at_outfalls(inputs, rain, places)` is run once a lot. Its levels, culverts and ponds are those that the swale
check finds on the same line.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from pipelines.hydraulics.channel.open_channel import wetted_section
from pipelines.hydrology.along_swale import SwaleFlow
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.inputs.ground_rules import lidar_noise
from pipelines.inputs.rules import RuleOverride, Rules
from pipelines.inputs.site_ground import SiteInputs
from pipelines.inputs.tables.prices import default_prices
from pipelines.layout.swale.case import (
    OpenedSwales,
    SwaleCase,
    closed_by_ground,
    culverts_beside,
    divide_case,
    filling_of,
    measure_case,
    rules_of,
    swales_of,
)
from pipelines.layout.swale.crossings import SwaleCrossing
from pipelines.layout.swale.filling import shape_of
from pipelines.layout.swale.followed import FollowedLine, follow_low_line
from pipelines.layout.swale.found_outfall import CulvertLook, OutfallLook, OutfallPlace, unfollowed
from pipelines.layout.swale.levels import SwaleLevels, level_beside, level_series, swale_levels
from pipelines.layout.swale.pond_look import look_at_inlet, look_at_pond
from pipelines.layout.swale.site import SwaleSite
from pipelines.layout.swale.standing import SwalePond, standing_along, still_level
from pipelines.layout.swale.tailwater import tailwater_at
from pipelines.layout.swale.water import swale_flows, swale_labels
from terrain.arrays import FloatArray
from terrain.errors import LotshedError
from terrain.lidar_error import fall_error
from terrain.reason import Reason, reason

FOLLOWED = ("swale", "ditch", "curb")
"""Kinds of outfall that water runs on from in a line of low ground."""
STANDS = {"pond": look_at_pond, "inlet": look_at_inlet}
"""How the kinds are looked at that water stands in."""


def look_at_outfalls(
    inputs: SiteInputs, rain: DesignRain, places: Sequence[OutfallPlace], heaviest: DesignRain | None = None
) -> tuple[OutfallLook, ...]:
    """Look at every place where a line may end, in the order given; in a heavier rain at its highest level alone."""
    rules = rules_of(inputs)
    found: dict[int, OutfallLook] = {}
    todo = [number for number, place in enumerate(places) if place.kind in FOLLOWED]
    for number, place in enumerate(places):
        if place.kind not in FOLLOWED:
            found[number] = STANDS[place.kind](inputs, rain, place, rules)
    if not inputs.layers.swales.empty:
        alike = _of_a_kind(places, todo, "swale")
        _look_along(swales_of(inputs, culverts_beside), None, rain, heaviest, places, alike, found)
    tried = 0
    # from the upper end down, since what is followed from above passes the places below
    todo.sort(key=lambda number: (-places[number].level, number))
    while todo := [number for number in todo if number not in found]:
        place = places[todo[0]]
        tried += 1
        line: FollowedLine | None = None
        why: str | None = None
        if tried <= int(rules["outfalls_followed"].likely):
            try:
                line = follow_low_line(inputs, place.point, rules)
                if line is not None:
                    alike, below = _of_a_kind(places, todo, place.kind), _followed(inputs, rules, line, place)
                    _look_along(below, line, rain, heaviest, places, alike, found)
            except LotshedError as error:
                why = str(error)
        if todo[0] not in found:
            gutter = place.kind == "curb"
            look = reason("outfall_look_curb") if gutter else reason("outfall_look_swale", why=why)
            found[todo[0]] = unfollowed(place, look)
    return tuple(found[number] for number in range(len(places)))


def _of_a_kind(places: Sequence[OutfallPlace], numbers: Sequence[int], kind: str) -> list[int]:
    """Those that run in gutters where the kind does, the others where it doesn't: a swale may lie beside a street."""
    return [number for number in numbers if (places[number].kind == "curb") == (kind == "curb")]


def _followed(inputs: SiteInputs, rules: Rules, line: FollowedLine, place: OutfallPlace) -> OpenedSwales:
    culverts = culverts_beside([line.line], inputs.layers.culverts, rules)
    if place.kind == "curb":
        # water runs on asphalt there
        rules = rules.with_overrides((RuleOverride("n_swale", None, rules["n_gutter"].likely, None),))
    return OpenedSwales(inputs, rules, [line.line], [f"swale below {place.id}"], culverts, default_prices())


def _look_along(
    opened: OpenedSwales,
    line: FollowedLine | None,
    rain: DesignRain,
    heaviest: DesignRain | None,
    places: Sequence[OutfallPlace],
    todo: Sequence[int],
    found: dict[int, OutfallLook],
) -> None:
    """Look at those places that lie on measured swales."""
    near = opened.rules["swale_outlet_near"].likely
    on_lines = [k for k in todo if min(float(each.distance(places[k].point)) for each in opened.lines) <= near]
    if not on_lines:
        return
    case = measure_case(opened, lambda stage, share: None)
    if line is not None:
        case = replace(case, downstream_level=line.ends_in_water)
    marked = swale_labels(case.sites, case.drainage)
    flows, heavy = (
        None if each is None else swale_flows(divide_case(case, each, marked=marked), each, (), case.velocities)
        for each in (rain, heaviest)
    )
    assert flows is not None
    storms: dict[int, _Storm] = {}
    for number in on_lines:
        away = [float(site.thalweg.line.distance(places[number].point)) for site in case.sites]
        swale = int(np.argmin(away))
        if swale not in storms:
            storms[swale] = _storm(case, swale, flows[swale])
        look = _look(case, rain, storms[swale], places[number])
        if heaviest is not None and heavy is not None and look.level is not None:
            highest = _highest(case, heaviest, case.sites[swale], heavy[swale], places[number])
            look = replace(look, heaviest=max(look.level, highest))
        found[number] = look


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


def _look(case: SwaleCase, rain: DesignRain, storm: _Storm, place: OutfallPlace) -> OutfallLook:
    site, rules = storm.site, case.rules
    station = site.station_of(place.point)
    section = site.section_below(station)
    spot = closed_by_ground(case, site, place.point)
    filling = None if spot is None else filling_of(case, rain, spot)
    stage, passing = level_beside(site, storm.series, station), storm.flow.flow[section]
    if filling is not None:
        stage, passing = filling.stage, filling.arriving
    tail = tailwater_at(stage, passing, storm.flow.step, place.level, rules)
    level = tail.highest if place.high_water is None else place.high_water
    bottom = float(np.interp(station, site.thalweg.station, site.thalweg.bottom))
    still = [pond.level for pond in storm.ponds if pond.start - 1.0 <= station <= pond.end + 1.0]
    if filling is not None:
        still = [float(stage[-1])]
    stands = max(0.0, *(each - bottom for each in still)) if still else 0.0
    farthest = station + rules["outfall_followed"].likely
    culverts = tuple(_culverts(storm, station, bottom, farthest, rules))
    noise = lidar_noise(rules)
    error = rules["verdict_sigmas"].likely * fall_error(rules["lidar_rmse"].likely, noise["noise_length"], **noise)
    flow = float(passing.max())
    water = reason(
        "outfall_water", flow=flow, above=level - place.level, time=tail.submerged if tail.above > 0.0 else None,
        stands=stands, under=place.level - bottom,
    )  # fmt: skip
    if place.kind == "curb":
        low = _low_point(storm, station, bottom, farthest)
        if low is not None and place.high_water is None:
            above, distance = low.level - place.level, low.deepest - station
            told = reason("outfall_gutter_low", flow=flow, distance=distance, above=above)
            return unfollowed(place, reason("outfall_look_curb"), told=told)
        running = max(float(storm.series[section].max()) - float(site.bottom[section]), 0.0)
        spread = wetted_section(site.channel.sections[section], float(site.bottom[section]) + running).top_width
        water = reason("outfall_gutter", water=water, depth=running, spread=spread)
    look = tuple(_to_look_at(place, culverts))
    why = reason("outfall_unmeasured", water=water, look=look) if look else reason("outfall_measured", water=water)
    return OutfallLook(
        place.id, place.point, "cannot_tell" if look else "sure", why, level, error, stands,
        tail.submerged, culverts, min(site.thalweg.length, farthest) - station, flow, stage, storm.flow.step,
        None if spot is None else shape_of(spot, case.drainage), None if spot is None else spot.spill_elevation,
    )  # fmt: skip


def _highest(
    case: SwaleCase, rain: DesignRain, site: SwaleSite, flow: SwaleFlow, place: OutfallPlace
) -> float:
    """Highest level of a storm at a place. [m]"""
    spot = closed_by_ground(case, site, place.point)
    filling = None if spot is None else filling_of(case, rain, spot)
    if filling is not None:
        return float(filling.stage.max())
    level = swale_levels(site, flow.peak, case.rules, downstream_level=case.downstream_level).level
    return float(level_beside(site, level[:, None], site.station_of(place.point))[0])


def _to_look_at(place: OutfallPlace, culverts: Sequence[CulvertLook]) -> Iterator[Reason]:
    """What must be measured before anything is sure of an outfall."""
    unmeasured = tuple(
        reason("outfall_dam", distance=each.distance, height=each.height)
        if each.suspected
        else reason(
            "outfall_culvert", distance=each.distance, small=each.small, silted=each.silted, assumed=each.assumed
        )
        for each in culverts
        if each.backs_up and (each.suspected or each.assumed or each.silted)
    )
    if unmeasured and place.high_water is None:
        yield reason("outfall_look_culverts", culverts=unmeasured)
    if not place.shot:
        yield reason("outfall_look_curb") if place.kind == "curb" else reason("outfall_look_bottom")


def _low_point(storm: _Storm, station: float, bottom: float, farthest: float) -> SwalePond | None:
    """The first low point of a gutter whose water, if no inlet took it, would stand back up to a place."""
    return next(
        (
            pond
            for pond in sorted(storm.ponds, key=lambda each: each.start)
            if pond.sure and pond.end >= station and pond.start <= farthest and pond.level > bottom
        ),
        None,
    )


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
