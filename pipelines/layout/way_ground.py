"""Where lines may end, the ground that they are laid in, and what fall is left over everywhere, with its odds."""

from dataclasses import replace

import numpy as np

from pipelines.layout.catching.design_flows import DesignFlows
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.diagnosis.diagnose import Diagnosis
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.options import PlanInputs
from pipelines.layout.routing.fall_to_spare import fall_on_grounds, fall_to_spare, most_to_spare
from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.lot_field import lot_field, protected_paving
from pipelines.layout.routing.spec import OutfallTarget, RouteSpec
from pipelines.layout.ways.fall import level_above
from pipelines.layout.ways.lift_design import assumed_curve
from pipelines.layout.ways.outfall_sites import daylight_places
from pipelines.layout.ways.outfall_water import candidates, with_water
from pipelines.layout.ways.settings import WayGround, route_spec, settings_to_try
from pipelines.layout.ways.way_values import WayInputs
from terrain.raster import Raster

NOTHING_CAUGHT = Catching((), (), (), (), False, ())


def spare_everywhere(inputs: WayInputs) -> Raster | None:
    """Fall to spare of the smallest gravity line from everywhere on the lot, to the outfall that leaves most."""
    sites = (*inputs.outfalls, *inputs.daylights)
    if not sites:
        return None
    route_field, spec, slope = _smallest_line(inputs)
    most = np.full(route_field.grid.shape, np.nan)
    inside = mask_of(inputs.situation.parcel, route_field.grid)
    # the lowest first: what it leaves shows of most others that they leave less
    for site in sorted(sites, key=lambda each: each.level):
        target = OutfallTarget(site.id, site.point, site.level)
        known = np.where(inside, np.nan_to_num(most, nan=-np.inf), np.inf)
        most = np.fmax(most, fall_to_spare(route_field, target, spec.pipes[0], spec, slope=slope, known=known).spare)
    return Raster(route_field.grid, np.where(inside, most, np.nan), "m", "fall to spare to the best outfall")


def odds_everywhere(inputs: WayInputs, spare: Raster | None) -> Raster | None:
    """Share of the grounds that lidar allows on which the line of `spare_everywhere` has its fall to an outfall. [%]"""
    grounds = inputs.situation.grounds
    if spare is None or grounds is None:
        return None
    route_field, spec, slope = _smallest_line(inputs)
    reached = np.isfinite(spare.values)
    found = np.full((*route_field.grid.shape, grounds.count), np.nan, dtype=np.float32)
    for site in sorted((*inputs.outfalls, *inputs.daylights), key=lambda each: each.level):
        target, higher = OutfallTarget(site.id, site.point, site.level), level_above(inputs.situation, site)
        # neither where another outfall has its fall on every ground nor where this one can have it on none
        asked = reached & ~np.all(found >= 0.0, axis=-1)
        highest = most_to_spare(route_field, target, spec.pipes[0], spec, slope=slope)[asked]
        asked[asked] = highest + (grounds.at(*np.nonzero(asked)) - higher[:, None]).max(axis=0) >= 0.0
        if asked.any():
            found = np.fmax(found, fall_on_grounds(
                route_field, target, spec.pipes[0], spec, slope, asked, grounds, higher
            ))
    odds = 100.0 * np.mean(found >= 0.0, axis=-1)
    return Raster(route_field.grid, np.where(reached, odds, np.nan), "%", "share of grounds on which it has its fall")


def _smallest_line(inputs: WayInputs) -> tuple[RouteField, RouteSpec, float]:
    settings = settings_to_try(inputs.situation.rules, inputs.site.layout)[0]
    spec, _ = route_spec(inputs.ground, settings)
    covered = np.maximum(inputs.ground.field.cover, settings.cover)
    return replace(inputs.ground.field, cover=covered), spec, settings.slope


def way_ground(inputs: PlanInputs, found: Diagnosis) -> WayInputs:
    """Where lines may end, and the ground that they are laid in; nothing collects yet."""
    situation, layers = inputs.situation, inputs.layers
    rules = situation.rules
    sites, own = candidates(layers, situation)
    outfalls = with_water(sites, inputs.looks)
    daylights = own or daylight_places(
        situation.drainage, situation.parcel, situation.on_parcel, right_of_way=situation.right_of_way,
        paving=situation.paving, houses=situation.houses, barred=situation.keep_out, wet=found.wet, rules=rules,
    )
    route_field = lot_field(
        situation, layers, [site.point for site in (*outfalls, *daylights)], inputs.prices,
        cover=situation.rules["cover_lawn"].low, max_depth=situation.rules["depth_hand_dig"].high,
    )
    keep_out = tuple(
        (shape, str(kind).lower())
        for shape, kind in zip(layers.keep_out.geometry, layers.keep_out["kind"], strict=True)
    )
    ground = WayGround(
        situation, route_field, inputs.prices, inputs.site.layout, keep_out, protected_paving(layers),
        inputs.effort,
    )
    return WayInputs(
        inputs.site, ground, NOTHING_CAUGHT, DesignFlows({}, {}, {}), outfalls, daylights,
        inputs.curve if inputs.curve is not None else assumed_curve(rules), inputs.curve is not None,
        inputs.reckoning, found,
    )
