"""What a site says that does not fit its ground: a sill of another datum, outfalls off the raster."""

from pathlib import PurePath

import numpy as np
import shapely

from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.situation import Situation
from terrain.reason import Reason, reason


def find_misfits(situation: Situation, layers: SiteLayers) -> tuple[Reason, ...]:
    """What does not fit, for the warnings."""
    return (*_sill(situation), *_outfalls(situation, layers))


def _sill(situation: Situation) -> tuple[Reason, ...]:
    found = []
    for house in situation.each_house:
        if house.floor is not None:
            low, high = float(house.ground.min()), float(house.ground.max())
            off = max(house.floor - high, low - house.floor)
            if off > situation.rules["sill_off_ground"].likely:
                found.append(reason("sill_off_ground", off=off, above=house.floor > high))
    return tuple(found)


def _outfalls(situation: Situation, layers: SiteLayers) -> tuple[Reason, ...]:
    given, reach = layers.outfalls, situation.rules["beside_reach"].likely
    if not len(given):
        return ()
    known = np.isfinite(situation.drainage.ground.elevation)
    if any((mask_of(shapely.buffer(shape, reach), situation.grid) & known).any() for shape in given.geometry):
        return ()
    file = next((PurePath(layer.source.file).name for layer in layers.sources if layer.key == "outfalls"), "")
    return (reason("outfalls_off_ground", file=file, outfalls=len(given)),)
