"""Outfalls with the water that stands there: candidates of a lot, what was found of them, which are lawful."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import Point

from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.inputs.site_ground import SiteInputs
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.catching.sites import DownspoutSite, DrainSite
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.parts import Part
from pipelines.layout.plan import Discharge, Outfall
from pipelines.layout.swale.found_outfall import OutfallLook, OutfallPlace, water_over_grates
from pipelines.layout.swale.outfall_look import look_at_outfalls
from pipelines.layout.ways.outfall_sites import OutfallSite, found_outfalls, given_outfalls
from pipelines.layout.ways.outlets.found_kind import street_paving
from terrain.reason import Reason, reason


def candidates(layers: SiteLayers, situation: Situation) -> tuple[tuple[OutfallSite, ...], tuple[OutfallSite, ...]]:
    """Places where lines may end off the lot, found ones where none is given; and daylight that is given."""
    rules = situation.rules
    sites = given_outfalls(
        [
            (shape, kind, float(level) if np.isfinite(level) else None)
            for shape, kind, level in zip(
                layers.outfalls.geometry, layers.outfalls["kind"], layers.outfalls["level_m"], strict=True
            )
        ],
        situation.drainage, situation.parcel, rules, shots=situation.shots,
        high_waters=[
            float(level) if np.isfinite(level) else None for level in layers.outfalls["highest_level_m"]
        ],
    )
    own = tuple(site for site in sites if site.kind == "daylight")
    outfalls = tuple(site for site in sites if site.kind not in ("daylight", "soakaway"))
    if not outfalls and not own:
        outfalls = found_outfalls(
            situation.drainage, situation.parcel, situation.on_parcel, situation.right_of_way, situation.roofs, rules,
            way_off=situation.way_off, paving=street_paving(layers.hardscape, layers.right_of_way),
        )
    return outfalls, own


def look_for_lot(
    inputs: SiteInputs, rain: DesignRain, situation: Situation, heaviest: DesignRain | None = None
) -> tuple[OutfallLook, ...]:
    """Look once at every candidate of a lot, in the design storm and the heaviest that is run."""
    sites, _ = candidates(inputs.layers, situation)
    reach = situation.rules["outfall_bottom_reach"].likely
    return look_at_outfalls(
        inputs, rain,
        [
            OutfallPlace(
                site.id, site.kind, site.point, site.level,
                any(shapely.distance(shot, site.point) <= reach for shot in situation.shots), site.high_water,
            )
            for site in sites
        ],
        heaviest,
    )  # fmt: skip


def with_water(sites: Sequence[OutfallSite], looks: Sequence[OutfallLook]) -> tuple[OutfallSite, ...]:
    """Places with the design storm's level as it was found, where nobody gave one."""
    levels = {(look.outfall, look.point): look.level for look in looks}
    return tuple(
        site if site.high_water is not None else replace(site, high_water=levels.get((site.id, site.point)))
        for site in sites
    )


def lawful(
    sites: Sequence[OutfallSite], looks: Sequence[OutfallLook], catching: Catching
) -> tuple[OutfallSite, ...]:
    """Places that don't lie in the depression that they are to drain."""
    closed = [look.depression for look in own_depressions(looks, catching) if look.depression is not None]
    return tuple(site for site in sites if not any(shape.covers(site.point) for shape in closed))


def own_depressions(looks: Sequence[OutfallLook], catching: Catching) -> tuple[OutfallLook, ...]:
    """Looks at outfalls whose closed depression holds a collector, deeper than the lidar's error."""
    drained = _drained(catching)
    return tuple(
        look
        for look in looks
        if look.depression is not None
        and any(
            look.depression.covers(point) and (look.spill is None or look.spill - ground > look.error)
            for point, ground in drained
        )
    )


def _drained(catching: Catching) -> list[tuple[Point, float]]:
    """Where basins and drains begin their lines, and the ground there. [m]"""
    return [
        (site.low_end, float(site.ground[-1])) if isinstance(site, DrainSite) else (site.point, site.ground)
        for site in catching.sites
        if not isinstance(site, DownspoutSite)
    ]


def found_of_outfalls(
    looks: Sequence[OutfallLook], used: Sequence[Outfall], discharges: Sequence[Discharge], catching: Catching
) -> tuple[OutfallLook, ...]:
    """What was found of the outfalls that lines end at, held against their grates; of each where none does.

    Those that lie in the depression that they are to drain are none, whatever else is found of them.
    """
    grounds = {site.id: float(np.min(site.ground)) for site in catching.sites}
    by_point = {look.point: look for look in looks}
    found = []
    for outfall in used:
        look = by_point.get(outfall.point)
        if look is None or not any(line.outfall == outfall.id for line in discharges):
            continue
        # a pressure line has a check valve
        grates = [
            grounds[name]
            for line in discharges
            if line.outfall == outfall.id and line.mode != "pump"
            for name in line.serves
            if name in grounds
        ]
        state, why = water_over_grates(look, min(grates)) if grates else (look.state, look.why)
        found.append(replace(look, outfall=outfall.id, state=state, why=why))
    if found:
        return tuple(found)
    closed = {id(look): look for look in own_depressions(looks, catching)}
    first: dict[str, OutfallLook] = {}
    for look in looks:
        first.setdefault(look.outfall, _none(look, catching) if id(look) in closed else look)
    return tuple(first.values())


def parts_of_outfalls(looks: Sequence[OutfallLook], used: Sequence[Outfall]) -> dict[str, Part]:
    """The outfall's part of the verdict, by outfall."""
    parts = {look.outfall: Part(look.state, _in_short(look)) for look in looks}
    own = Part("not_needed", reason("outfall_on_own_ground"))
    for outfall in used:
        if outfall.kind in ("daylight", "soakaway"):
            parts[outfall.id] = own
        elif not outfall.given and isinstance(outfall.to_confirm, Reason):
            # a place that nobody confirmed takes the storm at most perhaps
            part = parts.get(outfall.id, Part("cannot_tell", reason("outfall_not_followed", id=outfall.id)))
            told = outfall.to_confirm
            why = reason(
                "outfall_unconfirmed", outfall=outfall.id, side=told["side"], distance=told["distance"],
                falls=told["falls"], why=part.why,
            )
            parts[outfall.id] = Part("no" if part.state == "no" else "cannot_tell", why)
    return parts


def _in_short(look: OutfallLook) -> Reason:
    if look.state != "cannot_tell" or look.why.code in ("outfall_comes_back", "outfall_holds_back"):
        return look.why
    if look.level is None:
        told = dict(look.why.values).get("told")
        if isinstance(told, Reason):
            return reason("outfall_inlet_unsure", outfall=look.outfall, below=told.code == "outfall_gutter_low")
        return reason("outfall_not_followed", id=look.outfall)
    if look.why.code == "outfall_pond":
        return reason("outfall_pond_unsure", outfall=look.outfall)
    dam = min((each.distance for each in look.suspected), default=None)
    backing = [each for each in look.culverts if each.backs_up and not each.suspected]
    asked = dict(look.why.values).get("look", ())
    asked = (asked,) if isinstance(asked, Reason) else asked
    return reason(
        "outfall_unsure", outfall=look.outfall, dam=dam,
        bottom=any(isinstance(each, Reason) and each.code == "outfall_look_bottom" for each in asked),
        culverts=sum(each.assumed for each in backing),
        silted=sum(each.silted and not each.assumed for each in backing),
    )  # fmt: skip


def _none(look: OutfallLook, catching: Catching) -> OutfallLook:
    """A place that is no outfall, since it lies in the depression that it is to drain."""
    if look.spill is None:
        return replace(look, state="no", why=reason("outfall_shut_in", outfall=look.outfall))
    depth = look.spill - min(ground for _, ground in _drained(catching))
    return replace(look, state="no", why=reason("outfall_closed", outfall=look.outfall, depth=depth))
