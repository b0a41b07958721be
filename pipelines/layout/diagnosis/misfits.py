"""What a site says that does not fit its ground: a sill of another datum, outfalls off the raster."""

from pathlib import PurePath

import numpy as np
import shapely

from pipelines.inputs.quantity_words import format_quantity
from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.situation import Situation
from terrain.ground import OPEN

BESIDE = 1.5
"""Ground this near a house is beside it. [m]"""
MOST_OFF = 3.0
"""A sill farther than a storey above or below all ground beside its house is taken for a slip. [m]"""


def misfits_in_words(situation: Situation, layers: SiteLayers) -> tuple[str, ...]:
    """What does not fit, for the warnings."""
    return (*_sill(situation), *_outfalls(situation, layers))


def _sill(situation: Situation) -> tuple[str, ...]:
    floor, ground = situation.floor, situation.drainage.ground
    if floor is None or situation.houses.is_empty:
        return ()
    beside = mask_of(shapely.buffer(situation.houses, BESIDE), situation.grid) & (ground.kind == OPEN)
    heights = ground.elevation[beside]
    if not heights.size:
        return ()
    off = max(floor - float(heights.max()), float(heights.min()) - floor)
    if off <= MOST_OFF:
        return ()
    where = "above" if floor > heights.max() else "below"
    return (
        f"the sill of the house lies {format_quantity(off, 'level')} ({format_quantity(off, 'level', 'si')}) {where} "
        "all ground beside it: check its unit, and whether it is of the ground's vertical datum (house.floor, or floor "
        "of the roofs)",
    )


def _outfalls(situation: Situation, layers: SiteLayers) -> tuple[str, ...]:
    given = layers.outfalls
    if not len(given):
        return ()
    known = np.isfinite(situation.drainage.ground.elevation)
    reached = [
        bool((mask_of(shapely.buffer(shape, BESIDE), situation.grid) & known).any()) for shape in given.geometry
    ]
    if any(reached):
        return ()
    file = next((PurePath(layer.source.file).name for layer in layers.sources if layer.key == "outfalls"), "")
    return (
        f"[outfalls] {file}: none of its {len(given)} outfalls lies on known ground of the window read, so none is "
        "used; give those near the lot, or a raster that reaches them",
    )
