"""Swales that serve the lots of a run: beside one of them, or ending in a swale that is."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pipelines.layout.swale.case import OpenedSwales
from pipelines.town.swales.full_places import BESIDE

ENDS = 5.0
"""How far from a swale another one may end that runs on in it. [m]"""


def swales_serving(opened: OpenedSwales, parcels: Sequence[BaseGeometry]) -> OpenedSwales:
    """Those swales that some lots' water may come to, in their order; parcels in the map's CRS."""
    frame = opened.inputs.source.grid.frame
    lines = np.array(opened.lines, dtype=object)
    tree = shapely.STRtree([frame.from_map(parcel) for parcel in parcels])
    kept = np.zeros(len(lines), dtype=np.bool_)
    kept[np.unique(tree.query(lines, predicate="dwithin", distance=BESIDE)[0])] = True
    # a line may be drawn either way
    ends = shapely.points([[line.coords[0], line.coords[-1]] for line in opened.lines])
    while True:
        beside = np.zeros(len(lines), dtype=np.bool_)
        if kept.any():
            served = shapely.STRtree(lines[kept])
            for end in (0, 1):
                beside[np.unique(served.query(ends[:, end], predicate="dwithin", distance=ENDS)[0])] = True
        if not (beside & ~kept).any():
            break
        kept |= beside
    numbers = np.flatnonzero(kept).tolist()
    return replace(
        opened,
        lines=[opened.lines[k] for k in numbers],
        names=[opened.names[k] for k in numbers],
        culverts=[opened.culverts[k] for k in numbers],
    )
