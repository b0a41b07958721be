"""Paving whose edge is raised where water runs over it: edging of stone or concrete, as high as the water asks for."""

from dataclasses import replace
from typing import cast

import numpy as np
import shapely
from scipy.ndimage import binary_dilation, maximum_filter

from pipelines.layout.diagnosis.protected import arrival_at, mask_of
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.parts import SurfaceWork
from pipelines.layout.surface.earthworks import Shaped, outline
from terrain.arrays import BoolArray
from terrain.flow.drainage import drain_ground
from terrain.ground import OPEN, Ground
from terrain.reason import reason

BACKED_UP = 1e-3
"""Water that an edge holds back so much higher outside the lot is a neighbor's. [m]"""


def edge_raised(situation: Situation, ground: Ground, name: str) -> Shaped | None:
    """The edge of a paving by name, raised where most of its water runs over it.

    Its top stands a freeboard over the water that it holds back. None where that takes more than edging is high, or
    holds water back onto a neighbor.
    """
    rules, grid = situation.rules, ground.grid
    edge = next((each for each in situation.edges if each.name == name and each.cells.size), None)
    if edge is None or edge.kind != "paving":
        return None
    arrival = arrival_at(
        edge, grid, offset=0.5 * grid.cell_width, overlap=rules["raised_edge_overlap"].likely,
        share=rules["arrival_share"].likely, cluster_reach=rules["arrival_cluster"].likely,
        cluster_share=rules["arrival_cluster_share"].likely,
    )
    if arrival.stretch is None:
        return None
    paving = mask_of(edge.shape, grid)
    # every cell from which water can step onto the paving, corners included: none gets by but around the ends
    strip = binary_dilation(paving, np.ones((3, 3), dtype=bool)) & ~paving & _may_stand(situation, ground)
    strip &= mask_of(shapely.buffer(arrival.stretch, grid.cell_width, cap_style="flat"), grid)
    if not strip.any():
        return None
    most, freeboard = rules["raised_edge_most"].likely, rules["raised_edge_freeboard"].likely
    held = drain_ground(replace(ground, elevation=np.where(strip, ground.elevation + most, ground.elevation))).filled
    more = np.where(situation.on_parcel, 0.0, held - situation.drainage.filled)
    if float(np.nanmax(more)) > BACKED_UP:
        return None
    beside = np.where(strip | paving | ~np.isfinite(held), -np.inf, held)
    water = np.maximum(maximum_filter(beside, size=3)[strip] - ground.elevation[strip], 0.0)
    deepest = float(water.max())
    height = deepest + freeboard
    if height > most:
        return None
    raised = np.where(strip, ground.elevation + height, ground.elevation)
    length = float(arrival.stretch.length)
    work = SurfaceWork(
        "raised-edge", "raised edge", outline(strip, ground), length, height, 0.0, 0.0, 0.0,
        reason("surface_raised_edge", place=name, height=height, length=length, freeboard=freeboard),
    )
    return Shaped(work, replace(ground, elevation=raised))


def _may_stand(situation: Situation, ground: Ground) -> BoolArray:
    """Open ground of the lot clear of its line, keep-outs and trees: edging may stand on paving."""
    inside = shapely.buffer(situation.parcel, -situation.rules["parcel_line_error"].likely)
    free = mask_of(inside, ground.grid) & (ground.kind == OPEN)
    for shape in (situation.keep_out, situation.trees):
        if not shape.is_empty:
            free &= ~mask_of(shape, ground.grid)
    return cast(BoolArray, free)
