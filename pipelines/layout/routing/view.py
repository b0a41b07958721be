"""A route field seen from a side of its own: an answer that doesn't change when the map is turned, mirrored or moved.

Ways of one cost are common on a lattice, and whichever comes first is taken. What comes first must not depend on how
the map lies, so a search looks at the field turned and mirrored into the one of eight positions that the field itself
and the places asked for single out, from a corner of its own, and with ties told apart by a grain far below a price.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.steps import STEPS
from terrain.arrays import FloatArray
from terrain.grid import Grid

GRAIN = 1e-7
"""By this share digging costs more in one corner of a field than in the opposite one. [-]"""
PLACES = 6
"""Decimals of a metre that are told apart. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class RouteView:
    """A field turned, mirrored and moved.

    Attributes
    ----------
    field : RouteField
        As it is seen; its lower left corner is at 0, 0.
    mirrored : bool
        Whether left and right are changed, before it is turned.
    quarters : int
        By how many right angles it is turned against the clock.
    left, bottom, width, height : float
        Of the field as it lies. [m]
    """

    field: RouteField
    mirrored: bool
    quarters: int
    left: float
    bottom: float
    width: float
    height: float

    def point(self, point: Point) -> Point:
        """A place of the map as it is seen. [m]"""
        return Point(*np.round(_turned(np.array([[point.x - self.left, point.y - self.bottom]]), self.mirrored,
                                       self.quarters, self.width, self.height)[0], PLACES))

    def array(self, values: Any) -> Any:
        """Values of the cells as they are seen. [any]"""
        return _array(values, self.mirrored, self.quarters)

    def on_map(self, xy: FloatArray, known: Sequence[Point] = ()) -> FloatArray:
        """Vertices on the map, those that are a known place put exactly there. [m]"""
        wide, high = (self.width, self.height) if self.quarters % 2 == 0 else (self.height, self.width)
        back: FloatArray = _turned(xy, False, -self.quarters % 4, wide, high)
        if self.mirrored:
            back = np.column_stack([self.width - back[:, 0], back[:, 1]])
        back = back + np.array([self.left, self.bottom])
        for place in known:
            back[np.hypot(back[:, 0] - place.x, back[:, 1] - place.y) < 10.0 ** (1 - PLACES)] = place.x, place.y
        return back


def settled_view(field: RouteField, places: Sequence[Point]) -> RouteView:
    """The one of eight positions of a field that doesn't depend on how it lies on the map."""
    grid = field.grid
    wide, high = grid.shape[1] * grid.cell_width, grid.shape[0] * grid.cell_height
    xy = np.array([[p.x - grid.left, p.y - (grid.top - high)] for p in places]).reshape(-1, 2)
    best: tuple[FloatArray, bool, int] | None = None
    for mirrored, quarters in product((False, True), range(4)):
        seen = _turned(xy, mirrored, quarters, wide, high)
        told = [seen.ravel()]
        for values in (field.ground, field.surface_cost, field.dig_factor, field.allowed.astype(np.float64)):
            told.append(np.nan_to_num(_array(values, mirrored, quarters), nan=-1e6, posinf=1e6, neginf=-1e6).ravel())
        # non-square cells and grids that are not square lie either along or across
        key = np.concatenate([np.array([wide if quarters % 2 == 0 else high]), *told])
        if best is None or _comes_before(key, best[0]):
            best = key, mirrored, quarters
    assert best is not None
    return _view(field, best[1], best[2], wide, high)


def _comes_before(key: FloatArray, other: FloatArray) -> bool:
    apart = np.flatnonzero(np.abs(key - other) > 10.0**-PLACES)
    return bool(apart.size and key[apart[0]] < other[apart[0]])


def _view(field: RouteField, mirrored: bool, quarters: int, wide: float, high: float) -> RouteView:
    grid = field.grid
    bottom = grid.top - high
    corner = np.array([grid.left, bottom])
    up = high if quarters % 2 == 0 else wide
    cells = (grid.cell_width, grid.cell_height) if quarters % 2 == 0 else (grid.cell_height, grid.cell_width)

    def array(values: Any) -> Any:
        return _array(values, mirrored, quarters)

    def steps(values: Any) -> Any:
        result = np.empty_like(array(values))
        for d in range(len(STEPS)):
            result[..., _step(d, mirrored, quarters)] = _array(values[..., d], mirrored, quarters)
        return result

    def ends(edges: FloatArray) -> FloatArray:
        moved = edges.copy()
        for k in (0, 2):
            moved[:, k: k + 2] = _turned(edges[:, k: k + 2] - corner, mirrored, quarters, wide, high)
        return moved

    def shape(geometry: BaseGeometry) -> BaseGeometry:
        moved: BaseGeometry = shapely.transform(
            geometry, lambda xy: _turned(xy - corner, mirrored, quarters, wide, high)
        )
        return moved

    ground = array(field.ground)
    rows, columns = ground.shape
    slant = 0.618 * (np.arange(columns) + 0.5) / columns + 0.382 * ((np.arange(rows) + 0.5) / rows)[:, None]
    seen = replace(
        field,
        grid=Grid(ground.shape, 0.0, up, *cells, grid.frame),
        ground=ground, allowed=array(field.allowed),
        surface_cost=array(field.surface_cost), dig_factor=array(field.dig_factor) * (1.0 + GRAIN * slant**1.5),
        cover=array(field.cover), deepest=array(field.deepest), permit=array(field.permit),
        assumed=array(field.assumed), near_line=array(field.near_line), passable=steps(field.passable),
        crossing_cost=steps(field.crossing_cost), band_low=steps(field.band_low), band_high=steps(field.band_high),
        crossings=tuple(replace(crossing, shape=shape(crossing.shape)) for crossing in field.crossings),
        barred=None if field.barred is None else shape(field.barred),
        walls=ends(field.walls), hits=ends(field.hits), fine=None if field.fine is None else array(field.fine),
    )
    return RouteView(seen, mirrored, quarters, grid.left, bottom, wide, high)


def _turned(xy: FloatArray, mirrored: bool, quarters: int, wide: float, high: float) -> FloatArray:
    """Places in a rectangle with a corner at 0, 0 that is mirrored, then turned; its corner is at 0, 0 again."""
    x, y = (wide - xy[:, 0] if mirrored else xy[:, 0]), xy[:, 1]
    for _ in range(quarters):
        x, y = high - y, x
        wide, high = high, wide
    return np.column_stack([x, y])


def _array(values: Any, mirrored: bool, quarters: int) -> Any:
    return np.ascontiguousarray(np.rot90(values[:, ::-1] if mirrored else values, quarters))


def _step(d: int, mirrored: bool, quarters: int) -> int:
    """Position in STEPS of one of them as it is seen: they are counted by 22.5 degrees."""
    return ((8 - d if mirrored else d) + 4 * quarters) % len(STEPS)
