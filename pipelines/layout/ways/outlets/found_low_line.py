"""The low line that the ground shows before a lot: which way it falls, and on how many possible grounds it is there."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.shapes.frontage import COMPASS
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.plan import Outfall
from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.flow.drainage import Drainage
from terrain.flow.on_grounds import Flow, flow_on_each
from terrain.reason import Reason

FOLLOWED = 15.0
"""How far off a low line is looked at to tell which way it falls. [m]"""
BESIDE = 1.5
"""How far noise may shift a low line before it is another. [m]"""


def side_of(parcel: BaseGeometry, point: Point) -> str:
    """On which side of a lot a place beyond it lies."""
    start, end = shapely.get_coordinates(shapely.shortest_line(parcel, point))
    return _compass(end - start)


def falls_towards(drainage: Drainage, cell: int) -> str:
    """Which way water runs on from a cell; empty where it leaves the raster there."""
    grid = drainage.ground.grid
    columns, at = grid.shape[1], cell
    begin = np.array(grid.centres(cell // columns, cell % columns), dtype=float)
    gone = np.zeros(2)
    while drainage.target[at] >= 0 and float(np.hypot(*gone)) < FOLLOWED:
        at = int(drainage.target[at])
        gone = np.array(grid.centres(at // columns, at % columns), dtype=float) - begin
    return _compass(gone) if gone.any() else ""


def with_odds(outfalls: Sequence[Outfall], situation: Situation) -> tuple[Outfall, ...]:
    """Outfalls, those that were found with the share of grounds on which water gathers there and leads away."""
    share = odds_of([each.point for each in outfalls if _is_found(each)], situation)
    return tuple(_told(each, share[each.point]) if each.point in share else each for each in outfalls)


def odds_of(found: Sequence[Point], situation: Situation) -> dict[Point, float]:
    """Share of the possible grounds on which water gathers at a place and leads away, empty where none are drawn."""
    grounds = situation.grounds
    if grounds is None or not found:
        return {}
    on_parcel = situation.on_parcel[grounds.window].ravel()
    near = [
        np.flatnonzero(mask_of(shapely.buffer(point, BESIDE), situation.grid)[grounds.window]) for point in found
    ]
    least, there = situation.rules["outfall_least_area"].likely, np.zeros(len(found))
    for flow in flow_on_each(situation.drainage, grounds):
        there += [_leads_away(flow, cells, on_parcel, least) for cells in near]
    return {point: float(times) / grounds.count for point, times in zip(found, there, strict=True)}


def _is_found(outfall: Outfall) -> bool:
    return isinstance(outfall.to_confirm, Reason) and outfall.to_confirm.code == "confirm_found"


def _told(outfall: Outfall, share: float) -> Outfall:
    assert isinstance(outfall.to_confirm, Reason)
    values = tuple((name, share if name == "share" else value) for name, value in outfall.to_confirm.values)
    return replace(outfall, found=share, to_confirm=replace(outfall.to_confirm, values=values))


def _leads_away(flow: Flow, cells: IntArray, on_parcel: BoolArray, least: float) -> bool:
    """Whether enough ground drains through a place and its water does not come back onto the lot."""
    if not cells.size:
        return False
    at = int(cells[np.argmax(flow.area[cells])])
    if flow.area[at] < least:
        return False
    while at >= 0:
        if on_parcel[at]:
            return False
        at = int(flow.target[at])
    return True


def _compass(gone: FloatArray) -> str:
    return COMPASS[round(np.degrees(np.arctan2(gone[0], gone[1])) / 45.0) % 8]
