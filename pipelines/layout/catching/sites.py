"""Places for what collects, and the ground that they are found on."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from rasterio.features import rasterize
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.rules import Rules
from terrain.arrays import FloatArray, IntArray
from terrain.errors import LotshedError
from terrain.flow.drainage import Drainage
from terrain.ground import OPEN
from terrain.reason import Reason
from terrain.sampling import sample_known
from terrain.unit_table import INCH

LARGEST_GRATE = 9.0 * INCH * 2.0**0.5
"""From the middle of the largest square grate to its corner. [m]"""


class LayoutError(LotshedError, ValueError):
    """A choice in the site file's [layout] that cannot be kept."""


@dataclass(frozen=True, slots=True, eq=False)
class BasinSite:
    """A place for a basin.

    Attributes
    ----------
    point : shapely Point
        Middle of its grate. [m]
    ground : float
        Height of the ground there. [m]
    spot : str or None
        Id of the low spot it drains; None where it takes water that runs by.
    cells : (n,) int ndarray
        Flat indices of cells whose water it takes as it runs by; empty for a low spot's.
    paved, under_tree : bool
        Stands in paving; near enough to a tree for its leaves.
    """

    id: str
    point: Point
    ground: float
    spot: str | None
    cells: IntArray
    paved: bool
    under_tree: bool
    why: Reason


@dataclass(frozen=True, slots=True, eq=False)
class DrainSite:
    """A place for a stone trench with perforated pipe, or for a grated channel in paving.

    Attributes
    ----------
    line : shapely LineString
        Drawn downstream. [m]
    ground, inverts : (n,) float ndarray
        Ground and pipe invert at its vertices. [m]
    cells : (n,) int ndarray
        Flat indices of the cells it is dug through.
    length, width, depth, slope : float
        Depth below ground at its deepest. [m], [m], [m], [-]
    into : str
        Id of the basin at its low, whose pond it lies in and whose line takes its water; empty where it has a line of
        its own.
    """

    id: str
    line: LineString
    ground: FloatArray
    inverts: FloatArray
    cells: IntArray
    length: float
    width: float
    depth: float
    slope: float
    why: Reason
    channel: bool = False
    into: str = ""

    @property
    def low_end(self) -> Point:
        """Where its pipe goes on. [m]"""
        return Point(self.line.coords[-1])


@dataclass(frozen=True, slots=True, eq=False)
class DownspoutSite:
    """A downspout to tie in; `cells` are the flat indices of the roof that it drains, `area` that roof [m2], `extends`
    whether an extension over the ground could lead it away instead."""

    id: str
    point: Point
    ground: float
    cells: IntArray
    area: float
    why: Reason
    extends: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class CatchGround:
    """What places are looked for on.

    Attributes
    ----------
    free, free_for_stone : shapely Geometry
        Where works may stand, and the middle of stone trenches. [m]
    wall_offset : float
        Distance that stone keeps from a wall. [m]
    shots : sequence of shapely Point
        Where a level was read; z is the height. [m]
    """

    drainage: Drainage
    free: BaseGeometry
    free_for_stone: BaseGeometry
    paving: BaseGeometry
    trees: BaseGeometry
    rules: Rules
    wall_offset: float
    shots: Sequence[Point] = ()

    def basin(self, number: int, point: Point, height: float, spot: str | None, why: Reason) -> BasinSite:
        """A basin at a place; one that drains no low spot takes what comes near its grate."""
        near = shapely.buffer(point, self.rules["basin_reach"].likely)
        return BasinSite(
            id=f"basin-{number}",
            point=point,
            ground=height,
            spot=spot,
            cells=open_cells_within(near, self.drainage) if spot is None else np.empty(0, dtype=np.int64),
            paved=bool(shapely.intersects(self.paving, point)),
            under_tree=bool(shapely.dwithin(self.trees, point, self.rules["leaf_reach"].likely)),
            why=why,
        )

    def clear_of(self, basins: Sequence[BasinSite], drains: Sequence[DrainSite]) -> "CatchGround":
        """The same ground, where nothing stands in what is sited already."""
        if not (basins or drains):
            return self
        half = self.rules["trench_width_stone"].likely / 2.0
        dug = [shapely.buffer(drain.line, drain.width / 2.0) for drain in drains]
        taken = shapely.union_all([*dug, *(shapely.buffer(basin.point, LARGEST_GRATE) for basin in basins)])
        # a channel is narrower than stone, a grate wider
        free = shapely.difference(self.free, shapely.buffer(taken, LARGEST_GRATE))
        return replace(
            self, free=free, free_for_stone=shapely.difference(self.free_for_stone, shapely.buffer(taken, half))
        )


def open_cells_within(shape: BaseGeometry, drainage: Drainage) -> IntArray:
    """Flat indices of open cells that a shape touches."""
    grid = drainage.ground.grid
    burnt = rasterize([(shape, 1)], out_shape=grid.shape, transform=grid.transform, dtype="uint8", all_touched=True)
    return np.flatnonzero((burnt.ravel() == 1) & (drainage.ground.kind.ravel() == OPEN))


def heights_along(line: LineString, drainage: Drainage) -> FloatArray:
    """Ground at a line's vertices, between the centres of known cells. [m]"""
    grid = drainage.ground.grid
    xy = shapely.get_coordinates(line)
    heights = sample_known(drainage.ground.elevation, grid, xy[:, 0], xy[:, 1])
    known = np.isfinite(heights)
    if known.all() or not known.any():
        return heights
    at = np.arange(len(heights), dtype=np.float64)
    filled: FloatArray = np.interp(at, at[known], heights[known])
    return filled


def free_ground(parcel: Any, taken: Sequence[Any], *, line_offset: float) -> BaseGeometry:
    """Ground of the lot where works may stand."""
    offset = line_offset
    inner = shapely.buffer(parcel, -offset)
    while inner.is_empty and offset > 0.05:
        offset /= 2.0
        inner = shapely.buffer(parcel, -offset)
    free: BaseGeometry = shapely.difference(inner, shapely.union_all(list(taken))) if taken else inner
    shapely.prepare(free)
    return free
