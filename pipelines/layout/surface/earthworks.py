"""Single works on the surface, each as the ground it makes: a downspout led away, soil by a wall, a berm, a swale."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np
import shapely
from scipy.ndimage import distance_transform_edt
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from pipelines.layout.catching.sites import DownspoutSite
from pipelines.layout.diagnosis.protected import arrival_at, mask_of
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import SpotPlace, Trouble
from pipelines.layout.parts import SurfaceKind, SurfaceWork
from terrain.arrays import BoolArray, FloatArray
from terrain.flow.cells_to_polygons import label_polygons
from terrain.grid import Grid
from terrain.ground import OPEN, Ground
from terrain.reason import Reason, reason


@dataclass(frozen=True, slots=True, eq=False)
class Shaped:
    """A work and the ground with it in place."""

    work: SurfaceWork
    ground: Ground


def led_away(situation: Situation, ground: Ground, spout: DownspoutSite, end: Point) -> Shaped | None:
    """A downspout's roof let go at the end of an extension over the ground."""
    row, column = situation.grid.cells(np.array([end.x]), np.array([end.y]))
    cell = int(row[0]) * situation.grid.shape[1] + int(column[0])
    if ground.kind.ravel()[cell] != OPEN:
        return None
    receiver = ground.receiver.copy()
    receiver.ravel()[spout.cells] = cell
    line = LineString([spout.point, end])
    work = SurfaceWork(
        f"extension-{spout.id}", "extension", line, float(line.length), 0.0, 0.0, 0.0, 0.0,
        reason("surface_extension", id=spout.id, length=float(line.length)),
    )
    return Shaped(work, replace(ground, receiver=receiver))


def against_wall(situation: Situation, ground: Ground, troubles: Sequence[Trouble]) -> Shaped | None:
    """Soil brought up against walls that water stands or runs at, falling away by the trade's grade.

    As high as the ground a grade's reach away asks for, and never nearer to the floor than the trade keeps soil.
    """
    rules, grid = situation.rules, ground.grid
    reach, fall = rules["regrade_reach"].likely, rules["regrade_fall"].likely
    near = [shape for trouble in troubles if (shape := _wet_at_wall(trouble)) is not None]
    if not near or situation.houses.is_empty:
        return None
    house = mask_of(situation.houses, grid)
    away = distance_transform_edt(~house, sampling=(grid.cell_height, grid.cell_width))
    free = _free(situation, ground) & (away > 0.0) & (away < reach)
    free &= mask_of(shapely.buffer(shapely.union_all(near), rules["complaint_reach"].likely), grid)
    ring = (away >= reach) & (away < reach + 2.0 * grid.cell_width) & (ground.kind == OPEN)
    if not free.any() or not ring.any():
        return None
    nearest = distance_transform_edt(
        ~ring, sampling=(grid.cell_height, grid.cell_width), return_distances=False, return_indices=True
    )
    foot = ground.elevation[tuple(nearest)]
    wanted = foot + fall * (1.0 - away / reach)
    floor = _floor_beside(situation, grid, free)
    wanted = np.minimum(wanted, floor - rules["soil_below_floor"].likely)
    return _raised(
        "regrade", situation, ground, np.where(free, wanted, -np.inf),
        lambda height, volume: reason(
            "surface_regrade", height=height, volume=volume, fall=fall, reach=reach,
            known=bool(np.isfinite(floor[free]).all()), below=rules["soil_below_floor"].likely,
        ),
    )


def _floor_beside(situation: Situation, grid: Grid, cells: BoolArray) -> FloatArray:
    """Floor of the house that each of some cells lies nearest to, infinite elsewhere and where nobody gave it. [m]"""
    points = shapely.points(*grid.centres(*np.nonzero(cells)))
    nearest = np.argmin([shapely.distance(house.shape, points) for house in situation.each_house], axis=0)
    floors = np.array([np.inf if house.floor is None else house.floor for house in situation.each_house])
    found = np.full(grid.shape, np.inf)
    found[cells] = floors[nearest]
    return found


def berm_before(situation: Situation, ground: Ground, name: str) -> Shaped | None:
    """A low bank of soil that turns aside what runs at the edge of a name."""
    rules, grid = situation.rules, ground.grid
    edge = next((each for each in situation.edges if each.name == name and each.cells.size), None)
    if edge is None:
        return None
    height, half = rules["berm_height"].likely, 0.5 * rules["berm_width"].likely
    arrival = arrival_at(
        edge, grid, offset=half + rules["extension_offset_house"].likely * (edge.kind == "wall"),
        overlap=rules["berm_overlap"].likely, share=rules["arrival_share"].likely,
        cluster_reach=rules["arrival_cluster"].likely, cluster_share=rules["arrival_cluster_share"].likely,
    )
    if arrival.stretch is None:
        return None
    line, free = arrival.stretch, _free(situation, ground)
    away = np.full(grid.shape, np.inf)
    away[free] = shapely.distance(line, shapely.points(*grid.centres(*np.nonzero(free))))
    # a level crest over a third of its width, so that no gap between cells lets water through
    crest = np.where(away < half, height * np.clip(1.5 * (1.0 - away / half), 0.0, 1.0), -np.inf)
    return _raised(
        "berm", situation, ground, ground.elevation + crest,
        lambda raised, volume: reason("surface_berm", height=raised, length=float(line.length), volume=volume),
    )


def filled(situation: Situation, ground: Ground, trouble: Trouble) -> Shaped | None:
    """A small hollow of a lawn filled to its rim; where it lies in the lawn alone, however little that takes."""
    place = trouble.spot
    if place is None or place.place == "wall" or place.spot.spill_elevation is None:
        return None
    if place.spot.volume > situation.rules["fill_most"].likely:
        return None
    inside = np.zeros(ground.grid.shape, dtype=bool)
    inside.ravel()[place.spot.cells] = True
    wanted = np.where(inside & _free(situation, ground), place.spot.spill_elevation + 1e-4, -np.inf)
    return _raised(
        "fill", situation, ground, wanted,
        lambda height, volume: reason(
            "surface_fill", place=trouble.name, height=height, volume=volume, beside=place.place == "paving"
        ),
        least=0.0 if in_lawn_alone(place) else None,
    )


def in_lawn_alone(place: SpotPlace) -> bool:
    """Whether a low spot lies in nothing but lawn."""
    return all(each.place == "lawn" for each in place.every)


def swale_aside(situation: Situation, ground: Ground, way: FloatArray, bottom: FloatArray) -> Shaped | None:
    """A shallow swale dug along a way [m] to a bottom [m], its sides falling in at the trade's slope."""
    rules, grid = situation.rules, ground.grid
    flat, side = 0.5 * rules["own_swale_bottom"].likely, rules["own_swale_side"].likely
    reach = flat + rules["own_swale_depth"].likely / side
    line = LineString(way)
    close = mask_of(shapely.buffer(line, reach), grid) & _free(situation, ground)
    rows, columns = np.nonzero(close)
    if rows.size == 0:
        return None
    points = shapely.points(*grid.centres(rows, columns))
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(way, axis=0).T))])
    base = np.interp(shapely.line_locate_point(line, points), along, bottom)
    dug = base + side * np.clip(shapely.distance(line, points) - flat, 0.0, None)
    lowered = ground.elevation.copy()
    lowered[rows, columns] = np.minimum(lowered[rows, columns], dug)
    less = np.where(np.isfinite(lowered), ground.elevation - lowered, 0.0)
    touched = less > 1e-3
    if not touched.any():
        return None
    volume, area = float(less[touched].sum()) * grid.cell_area, float(np.count_nonzero(touched)) * grid.cell_area
    work = SurfaceWork(
        "swale", "swale", outline(touched, ground), float(line.length), float(less.max()), 0.0, volume, area,
        reason("surface_swale", length=float(line.length), depth=float(less.max()), volume=volume),
    )
    return Shaped(work, replace(ground, elevation=lowered))


def _raised(
    kind: SurfaceKind, situation: Situation, ground: Ground, wanted: FloatArray,
    why: Callable[[float, float], Reason], *, least: float | None = None,
) -> Shaped | None:
    """Ground brought up to what is wanted; None where that takes less soil than the least, else than the trade's."""
    raised = np.where(np.isfinite(wanted), np.fmax(ground.elevation, wanted), ground.elevation)
    more = np.where(np.isfinite(raised), raised - ground.elevation, 0.0)
    touched = more > 1e-3
    volume = float(more[touched].sum()) * ground.grid.cell_area
    if volume == 0.0 or volume < (situation.rules["surface_least_soil"].likely if least is None else least):
        return None
    height, area = float(more.max()), float(np.count_nonzero(touched)) * ground.grid.cell_area
    shape = outline(touched, ground)
    work = SurfaceWork(kind, kind, shape, 0.0, height, volume, 0.0, area, why(height, volume))
    return Shaped(work, replace(ground, elevation=raised))


def _free(situation: Situation, ground: Ground) -> BoolArray:
    """Open ground of the lot that may be shaped: off paving, keep-outs and the strip along the line."""
    rules = situation.rules
    offset = rules["line_offset"].likely + rules["parcel_line_error"].likely
    free = mask_of(shapely.buffer(situation.parcel, -offset), ground.grid) & (ground.kind == OPEN)
    for shape in (situation.paving, situation.keep_out, situation.trees):
        if not shape.is_empty:
            free &= ~mask_of(shape, ground.grid)
    return cast(BoolArray, free)


def outline(touched: BoolArray, ground: Ground) -> BaseGeometry:
    """Shape of the cells that a work changes."""
    return cast(BaseGeometry, label_polygons(np.where(touched, 0, -1).astype(np.int64), ground.grid)[0])


def _wet_at_wall(trouble: Trouble) -> BaseGeometry | None:
    if trouble.spot is not None and trouble.spot.place == "wall":
        return trouble.spot.shape
    if trouble.edge is not None and trouble.edge.kind == "wall":
        return trouble.edge.shape
    return None
