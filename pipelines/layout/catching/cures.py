"""What costs little and comes before any trench: gutters, downspout extensions, filling a low."""

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from shapely import Point

from pipelines.inputs.rules import Rules
from pipelines.layout.catching.sites import DownspoutSite
from pipelines.layout.diagnosis.troubles import SpotPlace, Trouble
from pipelines.layout.plan import Cure
from terrain.flow.drainage import Drainage
from terrain.reason import Reason, reason


def cheap_cures(
    troubles: Sequence[Trouble],
    spouts: Sequence[DownspoutSite],
    extensions: Mapping[str, Point],
    drainage: Drainage,
    rules: Rules,
    *,
    gutters: bool,
) -> tuple[Cure, ...]:
    """Cures to try first, each where the ground supports it."""
    told: list[tuple[Reason, Reason, Reason]] = []
    if gutters:
        told.append((reason("clean_gutters"), reason("why_clean_gutters"), reason("gain_of_clean_gutters")))
    for spout in spouts:
        end = extensions.get(spout.id)
        if end is not None:
            length = float(shapely.distance(spout.point, end))
            what = reason("extend_downspout", downspout=spout.id, length=length)
            told.append((what, spout.why, reason("gain_of_extension", area=spout.area)))
    for trouble in troubles:
        spot = trouble.spot
        if spot is None or spot.place != "lawn":
            continue
        # what lies on the lawn, not the whole of a low spot that reaches beyond it
        volume = spot.volume_under(spot.spot.depth) if spot.heights.size else spot.spot.volume
        # a sliver of a low that lies elsewhere is no work; a low of the lawn is topped up, however little that takes
        if volume < min(rules["surface_least_soil"].likely, 0.9 * spot.spot.volume):
            continue
        if volume <= rules["fill_most"].likely and _falls_away(spot, drainage, rules):
            what = reason("fill_low", place=trouble.name, volume=volume)
            told.append((what, reason("why_fill_low", why=trouble.why), reason("gain_of_fill")))
    return tuple(Cure(f"cure-{number}", *each) for number, each in enumerate(told, start=1))


def _falls_away(place: SpotPlace, drainage: Drainage, rules: Rules) -> bool:
    """Whether the ground below the spill falls on, so that a filled low drains."""
    spot = place.spot
    if spot.spill_cell is None or spot.spill_elevation is None:
        return False
    grid = drainage.ground.grid
    cell, way = int(spot.spill_cell), 0.0
    while way < rules["fill_slope_reach"].likely:
        onward = int(drainage.target[cell])
        if onward < 0:
            return True
        (r0, c0), (r1, c1) = divmod(cell, grid.shape[1]), divmod(onward, grid.shape[1])
        way += float(np.hypot((r1 - r0) * grid.cell_height, (c1 - c0) * grid.cell_width))
        cell = onward
    return bool(spot.spill_elevation - drainage.filled.ravel()[cell] >= rules["fill_slope"].likely * way)
