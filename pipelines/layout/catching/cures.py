"""What costs little and comes before any trench: gutters, downspout extensions, filling a low."""

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.layout.catching.collection import DownspoutSite
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.troubles import Trouble
from pipelines.layout.plan import Cure
from terrain.arrays import BoolArray
from terrain.flow.drainage import Drainage
from terrain.ground import OPEN

LONGEST_EXTENSION = 6.0
"""Of a downspout over the ground; common practice, no source. [m]"""
MOST_FILL = 3.0
"""Soil that is still brought by wheelbarrow; common practice, no source. [m3]"""
FILL_SLOPE = 0.02
"""Fall that the filled place must have left to drain away over; common practice, no source. [-]"""


def extension_place(
    spout: DownspoutSite,
    drainage: Drainage,
    *,
    parcel: BaseGeometry,
    paving: BaseGeometry,
    houses: BaseGeometry,
    wet: BoolArray,
) -> Point | None:
    """Where an extension of a downspout could end so that its water runs away from what is wrong.

    At least 10 ft from the lot line, 5 ft from paving and 5 ft from the house, lower than the downspout, and on
    ground whose water comes to no place in trouble (common practice, no source).
    """
    grid = drainage.ground.grid
    around = shapely.buffer(spout.point, LONGEST_EXTENSION)
    free = mask_of(shapely.intersection(around, shapely.buffer(parcel, -3.05)), grid)
    free &= (drainage.ground.kind == OPEN) & ~wet & (drainage.ground.elevation < spout.ground)
    for shape in (paving, houses):
        if not shape.is_empty:
            free &= ~mask_of(shapely.buffer(shape, 1.52), grid)
    cells = np.flatnonzero(free)
    if cells.size == 0:
        return None
    x, y = grid.centres(cells // grid.shape[1], cells % grid.shape[1])
    away = np.hypot(x - spout.point.x, y - spout.point.y)
    # a straight extension must not cross the house
    for k in np.argsort(away, kind="stable"):
        end = Point(float(x[k]), float(y[k]))
        link = shapely.LineString([spout.point, end])
        if houses.is_empty or shapely.length(shapely.intersection(link, houses)) < 0.5:
            return end
    return None


def cheap_cures(
    troubles: Sequence[Trouble],
    spouts: Sequence[DownspoutSite],
    extensions: Mapping[str, Point],
    drainage: Drainage,
    *,
    gutters: bool,
) -> tuple[Cure, ...]:
    """Cures to try first, each where the ground supports it."""
    cures: list[Cure] = []

    def add(what: str, why: str, changes: str) -> None:
        cures.append(Cure(f"cure-{len(cures) + 1}", what, why, changes))

    if gutters:
        add(
            "Clean the gutters and downspouts, and see where each comes out in rain.",
            "A gutter that runs over puts a roof's water beside the wall, and looks like a drainage fault.",
            "Costs an hour; settles whether roof water is part of it.",
        )
    for spout in spouts:
        end = extensions.get(spout.id)
        if end is not None:
            length = float(shapely.distance(spout.point, end))
            add(
                f"Lead {spout.id} {length / 0.3048:.0f} ft ({length:.1f} m) over the ground to lower lawn.",
                spout.why,
                f"Keeps the water of {spout.area:.0f} m2 ({spout.area / 0.09290304:.0f} ft2) of roof from it.",
            )
    for trouble in troubles:
        spot = trouble.spot
        if spot is None or spot.place != "lawn":
            continue
        volume = spot.spot.volume
        if volume <= MOST_FILL and _falls_away(trouble, drainage):
            add(
                f"Fill the low in {trouble.name} with {volume:.1f} m3 ({volume / 0.764555:.1f} yd3) of soil, crowned, "
                "and sod it.",
                trouble.why,
                "The water runs on as it does now when the low is full; nothing is dug or piped.",
            )
    return tuple(cures)


def _falls_away(trouble: Trouble, drainage: Drainage) -> bool:
    """Whether the ground below the spill falls on, so that a filled low drains."""
    spot = trouble.spot
    if spot is None or spot.spot.spill_cell is None or spot.spot.spill_elevation is None:
        return False
    grid = drainage.ground.grid
    cell, way = int(spot.spot.spill_cell), 0.0
    while way < 5.0:
        onward = int(drainage.target[cell])
        if onward < 0:
            return True
        (r0, c0), (r1, c1) = divmod(cell, grid.shape[1]), divmod(onward, grid.shape[1])
        way += float(np.hypot((r1 - r0) * grid.cell_height, (c1 - c0) * grid.cell_width))
        cell = onward
    return bool(spot.spot.spill_elevation - drainage.filled.ravel()[cell] >= FILL_SLOPE * way)
