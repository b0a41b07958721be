"""Outfalls that water stands at and doesn't run on from: a pond's surface, an inlet and the low that leads to it."""

from collections.abc import Iterator

import numpy as np
from shapely import Point

from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.inputs.ground_rules import lidar_noise, site_low_spots
from pipelines.inputs.rules import Rules
from pipelines.inputs.site_ground import SiteInputs
from pipelines.layout.swale.case import surfaces_on
from pipelines.layout.swale.filling import depression_at, fill_depression, flow_to
from pipelines.layout.swale.followed import cells_within, drained_around, still_water
from pipelines.layout.swale.found_outfall import OutfallLook, OutfallPlace, unfollowed
from terrain.flow.drainage import Drainage, path_downstream
from terrain.lidar_error import fall_error
from terrain.reason import Reason, reason


def look_at_pond(inputs: SiteInputs, rain: DesignRain, place: OutfallPlace, rules: Rules) -> OutfallLook:
    """A pond: its surface as flown is the tailwater.

    High water that somebody gave stands in its stead. Without that it is never sure: a pond rises as its overflow
    lets it, which no raster shows; in a closed depression at most as what arrives fills that.
    """
    if place.high_water is not None:
        return unfollowed(place, reason("outfall_look_pond"))
    drainage = drained_around(inputs, place.point, rules)
    water = _water_beside(drainage, place, rules)
    if water is None:
        return unfollowed(place, reason("outfall_look_pond_not_seen"))
    surface = float(drainage.ground.elevation.ravel()[water])
    grid = drainage.ground.grid
    x, y = grid.centres(*divmod(water, grid.shape[1]))
    spot = depression_at(Point(float(x), float(y)), drainage, site_low_spots(drainage, rules))
    rise = None
    if spot is not None:
        arriving = flow_to(spot.cells, drainage, surfaces_on(inputs, drainage.ground), rain, inputs.site)
        rise = float(np.interp(arriving.volume, spot.volumes, spot.levels)) - surface
    noise = lidar_noise(rules)
    error = rules["verdict_sigmas"].likely * fall_error(rules["lidar_rmse"].likely, noise["noise_length"], **noise)
    why = reason(
        "outfall_pond", surface=surface - place.level, rise=rise, look=tuple(_pond_to_look_at(place))
    )
    return OutfallLook(place.id, place.point, "cannot_tell", why, surface, error, rise=rise)


def look_at_inlet(inputs: SiteInputs, rain: DesignRain, place: OutfallPlace, rules: Rules) -> OutfallLook:
    """An inlet: what the ground brings it, and how high that would stand if the inlet took none of it.

    What it takes, and how high its pipe backs up, no raster shows: the water in it stays unknown unless given.
    """
    look = reason("outfall_look_inlet")
    if place.high_water is not None:
        return unfollowed(place, look)
    drainage = drained_around(inputs, place.point, rules)
    spots = site_low_spots(drainage, rules)
    spot = depression_at(place.point, drainage, spots)
    surfaces = surfaces_on(inputs, drainage.ground)
    if spot is None:
        near = cells_within(drainage, place.point, max(rules["outfall_bottom_reach"].likely, 1e-3))
        if len(near) == 0:
            return unfollowed(place, look)
        cell = near[np.argmax(drainage.accumulation.ravel()[near])][None]
        flow = float(flow_to(cell, drainage, surfaces, rain, inputs.site).flow.max())
        return unfollowed(place, look, told=reason("outfall_inlet_on_grade", flow=flow))
    flow = float(flow_to(spot.cells, drainage, surfaces, rain, inputs.site).flow.max())
    filling = fill_depression(spot, drainage, surfaces, rain, inputs.site)
    top = spot.spill_elevation if filling is None else float(filling.stage[-1])
    above = None if top is None else top - place.level
    return unfollowed(place, look, told=reason("outfall_inlet_in_low", flow=flow, above=above))


def _water_beside(drainage: Drainage, place: OutfallPlace, rules: Rules) -> int | None:
    """A cell of the still water beside a place, or that its low line comes to first."""
    still, ground = still_water(drainage, rules["swale_spacing"].likely / 2.0).ravel(), drainage.ground.elevation
    near = cells_within(drainage, place.point, rules["swale_outlet_near"].likely)
    wet = near[still[near]]
    if len(wet) == 0 and len(near):
        down = path_downstream(drainage, int(near[np.argmin(ground.ravel()[near])]))
        wet = down[still[down]][:1]
    return int(wet[np.argmin(ground.ravel()[wet])]) if len(wet) else None


def _pond_to_look_at(place: OutfallPlace) -> Iterator[Reason]:
    yield reason("outfall_look_pond")
    if not place.shot:
        yield reason("outfall_look_bottom")
