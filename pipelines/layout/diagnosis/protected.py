"""What must stay dry, and where water arrives at it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal, cast

import numpy as np
import shapely
import shapely.ops
from shapely import LineString, Point, Polygon

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.flow.burnt_cells import cells_inside
from terrain.flow.drainage import Drainage
from terrain.flow.low_spots import LowSpot
from terrain.flow.on_grounds import Flow, flow_on_best, flow_on_each
from terrain.grid import Grid
from terrain.ground import OPEN
from terrain.kernels.routing import carry_labels, last_on_way
from terrain.lidar.grounds import PossibleGrounds


@dataclass(frozen=True, slots=True, eq=False)
class ProtectedEdge:
    """A patio, drive or wall, and the water that runs onto it.

    Attributes
    ----------
    name : str
        What a person calls it: patio 2, house 1.
    kind : str
        paving, or wall where the ground beside a house is meant.
    shape : shapely Polygon
        The paving, or the strip beside the wall with the house itself.
    cells : (n,) int ndarray
        Flat indices of open cells from which water steps onto it.
    areas : (n,) float ndarray
        Ground whose water first steps onto it at each of them: what leaves it and comes back is counted once. [m2]
    strip : float
        How far the shape reaches beyond the wall itself. [m]
    on_grounds : (grounds,) float ndarray
        Ground whose water runs onto it, on each ground that lidar allows; none where they are not counted. [m2]
    """

    name: str
    kind: Literal["paving", "wall"]
    shape: Polygon
    cells: IntArray
    areas: FloatArray
    strip: float = 0.0
    on_grounds: FloatArray = field(default_factory=lambda: np.empty(0))

    @property
    def arriving_area(self) -> float:
        """Ground whose water runs onto it. [m2]"""
        return float(self.areas.sum())


def arriving_water(
    name: str, kind: Literal["paving", "wall"], shape: Polygon, drainage: Drainage, *, strip: float = 0.0
) -> ProtectedEdge:
    """Where water steps onto something to protect, each first where it does; its own rain is not counted."""
    inside = mask_of(shape, drainage.ground.grid).ravel()
    steps = steps_onto(inside, drainage)
    return ProtectedEdge(name, kind, shape, steps, first_at(steps, inside, drainage), strip)


def steps_onto(inside: BoolArray, drainage: Drainage) -> IntArray:
    """Flat indices of open cells outside a shape from which water steps into it."""
    target = drainage.target
    steps = np.flatnonzero((target >= 0) & ~inside & (drainage.ground.kind.ravel() == OPEN))
    return np.asarray(steps[inside[target[steps]]])


def first_at(steps: IntArray, inside: BoolArray, drainage: Drainage, barred: IntArray | None = None) -> FloatArray:
    """Ground whose water meets each of some steps into a shape before any other, and before any barred cell, its own
    open ground left out. [m2]"""
    seeds = np.full(drainage.target.size, -1, dtype=np.int64)
    seeds[steps] = np.arange(steps.size)
    if barred is not None:
        seeds[barred] = steps.size
    first = carry_labels(drainage.target, drainage.order, seeds)
    counted = (first >= 0) & ~(inside & (drainage.ground.kind.ravel() == OPEN))
    cells = np.bincount(first[counted], minlength=steps.size + 1)[: steps.size]
    return np.asarray(cells * drainage.ground.grid.cell_area, dtype=np.float64)


def ground_in_spots(edge: ProtectedEdge, drainage: Drainage, spots: Mapping[str, LowSpot]) -> dict[str, float]:
    """Lowest ground of the edge in each low spot that reaches it. [m]"""
    inside = mask_of(edge.shape, drainage.ground.grid).ravel()
    heights = drainage.ground.elevation.ravel()
    return {
        name: float(heights[cells].min())
        for name, spot in spots.items()
        if (cells := spot.cells[inside[spot.cells]]).size
    }


def arriving_on_grounds(
    edges: tuple[ProtectedEdge, ...], drainage: Drainage, grounds: PossibleGrounds | None
) -> tuple[ProtectedEdge, ...]:
    """What is to be protected, with the water that runs at it on each ground that lidar allows.

    What comes from beyond their window comes on each ground in the same share.
    """
    if grounds is None or not edges:
        return edges
    window = grounds.window
    is_open = drainage.ground.kind[window].ravel() == OPEN
    inside = [mask_of(edge.shape, drainage.ground.grid)[window].ravel() for edge in edges]

    def arriving(flow: Flow) -> list[float]:
        return [float(flow.area[last_steps_onto(within, flow, is_open)].sum()) for within in inside]

    best = np.array(arriving(flow_on_best(drainage, grounds)))
    found = np.array([arriving(flow) for flow in flow_on_each(drainage, grounds)])
    whole = np.array([edge.arriving_area for edge in edges])
    times = np.where(best > 0.0, np.maximum(whole, best) / np.maximum(best, 1e-9), 1.0)
    return tuple(replace(edge, on_grounds=found[:, k] * times[k]) for k, edge in enumerate(edges))


def last_steps_onto(inside: BoolArray, flow: Flow, is_open: BoolArray) -> IntArray:
    """Cells from which water steps into a shape; what does so several times is counted where it does last."""
    onward = np.where(flow.target >= 0, flow.target, 0)
    found: IntArray = last_on_way(flow.target, (flow.target >= 0) & is_open & inside[onward] & ~inside)
    return found


def mask_of(shape: Any, grid: Grid) -> BoolArray:
    """Cells whose centre lies in a shape."""
    if shape.is_empty:
        return np.zeros(grid.shape, dtype=bool)
    return cells_inside(grid, shape)


@dataclass(frozen=True, slots=True)
class Arrival:
    """How the water comes to an edge.

    Attributes
    ----------
    concentrated : bool
        Whether most of it comes at one place.
    place : shapely Point
        Where that is, or the middle of the stretch. [m]
    stretch : shapely LineString or None
        The part of the offset outline that faces the water; None where there is no such stretch.
    """

    concentrated: bool
    place: Point
    stretch: LineString | None


def arrival_at(
    edge: ProtectedEdge,
    grid: Grid,
    *,
    offset: float,
    overlap: float,
    share: float,
    cluster_reach: float,
    cluster_share: float,
) -> Arrival:
    """Tell a concentrated arrival from sheet flow, and find the stretch of edge that faces it.

    The stretch is the shortest arc of the outline, moved out by `offset`, that the given share of the
    arriving ground's water crosses, lengthened by `overlap` at either end.
    """
    columns = grid.shape[1]
    x, y = grid.centres(edge.cells // columns, edge.cells % columns)
    heaviest = int(np.argmax(edge.areas))
    near = np.hypot(x - x[heaviest], y - y[heaviest]) <= cluster_reach
    concentrated = bool(edge.areas[near].sum() >= cluster_share * edge.arriving_area)
    ring = LineString(shapely.buffer(edge.shape, offset - edge.strip, join_style="mitre").exterior.coords)
    stations = np.asarray(shapely.line_locate_point(ring, shapely.points(x, y)))
    start, end = _shortest_arc(stations, edge.areas, ring.length, share)
    stretch = _arc(ring, start - overlap, end + overlap)
    return Arrival(concentrated, Point(x[heaviest], y[heaviest]), stretch)


def _shortest_arc(stations: FloatArray, weights: FloatArray, around: float, share: float) -> tuple[float, float]:
    """Start and end station, end past start, of the shortest arc that holds a share of the weight."""
    order = np.argsort(stations, kind="stable")
    at = np.concatenate([stations[order], stations[order] + around])
    gathered = np.concatenate([[0.0], np.cumsum(np.tile(weights[order], 2))])
    need = share * weights.sum() * (1.0 - 1e-12)
    count = len(stations)
    best = (at[0], at[count - 1])
    for first in range(count):
        last = int(np.searchsorted(gathered, gathered[first] + need)) - 1
        last = min(max(last, first), first + count - 1)
        if at[last] - at[first] < best[1] - best[0]:
            best = (at[first], at[last])
    return float(best[0]), float(best[1])


def _arc(ring: LineString, start: float, end: float) -> LineString:
    """Part of a closed line from one station to another, past its seam where need be."""
    around = ring.length
    if end - start >= around:
        return ring
    shift = np.floor(start / around) * around
    start, end = start - shift, end - shift
    if end <= around:
        return cast(LineString, shapely.ops.substring(ring, start, end))
    first = shapely.ops.substring(ring, start, around)
    second = shapely.ops.substring(ring, 0.0, end - around)
    return LineString([*first.coords, *list(second.coords)[1:]])
