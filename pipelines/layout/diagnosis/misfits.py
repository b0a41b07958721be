"""What a site says that does not fit its ground: a sill of another datum, outfalls off the raster."""

from pathlib import PurePath

import numpy as np
import shapely

from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.situation import Situation
from terrain.ground import OPEN
from terrain.reason import Reason, reason


def find_misfits(situation: Situation, layers: SiteLayers) -> tuple[Reason, ...]:
    """What does not fit, for the warnings."""
    return (*_sill(situation), *_outfalls(situation, layers))


def _sill(situation: Situation) -> tuple[Reason, ...]:
    floor, ground, rules = situation.floor, situation.drainage.ground, situation.rules
    if floor is None or situation.houses.is_empty:
        return ()
    strip = shapely.buffer(situation.houses, rules["beside_reach"].likely)
    heights = ground.elevation[mask_of(strip, situation.grid) & (ground.kind == OPEN)]
    if not heights.size:
        return ()
    off = max(floor - float(heights.max()), float(heights.min()) - floor)
    if off <= rules["sill_off_ground"].likely:
        return ()
    return (reason("sill_off_ground", off=off, above=bool(floor > heights.max())),)


def _outfalls(situation: Situation, layers: SiteLayers) -> tuple[Reason, ...]:
    given, reach = layers.outfalls, situation.rules["beside_reach"].likely
    if not len(given):
        return ()
    known = np.isfinite(situation.drainage.ground.elevation)
    if any((mask_of(shapely.buffer(shape, reach), situation.grid) & known).any() for shape in given.geometry):
        return ()
    file = next((PurePath(layer.source.file).name for layer in layers.sources if layer.key == "outfalls"), "")
    return (reason("outfalls_off_ground", file=file, outfalls=len(given)),)
