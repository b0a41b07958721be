"""The houses of a lot, each with its own floor and the ground along its own walls."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from terrain.arrays import FloatArray, IntArray
from terrain.flow.burnt_cells import cells_inside
from terrain.ground import OPEN, Ground

APART = 0.1
"""Roofs drawn nearer than this are parts of one house. [m]"""
_AVERAGED = 3
_NEAR = 30.0
"""Ground beside a wall lies nearer than this. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class HouseGround:
    """One house.

    Attributes
    ----------
    shape : shapely Geometry
        Its roofs. [m]
    floor : float or None
        Level of its floor, the lowest of its parts; None where nobody gave one. [m]
    walls : (n, 2) float ndarray
        Points along its walls, corners among them. [m]
    beside : (n, k) int ndarray
        Flat indices of the nearest known cells outside the wall at each of them. [-]
    ground : (n,) float ndarray
        Ground there. [m]
    """

    shape: BaseGeometry
    floor: float | None
    walls: FloatArray
    beside: IntArray
    ground: FloatArray

    def on(self, ground: Ground) -> "HouseGround":
        """The same house where the ground was raised or lowered."""
        return replace(self, ground=ground.elevation.ravel()[self.beside].mean(axis=1))

    def ground_near(self, shape: BaseGeometry, reach: float) -> FloatArray:
        """Ground along the walls within a reach of a shape. [m]"""
        near: FloatArray = self.ground[shapely.distance(shapely.points(self.walls), shape) <= reach]
        return near


def houses_of(
    roofs: Sequence[BaseGeometry], floors: Sequence[float | None], ground: Ground
) -> tuple[HouseGround, ...]:
    """Houses by their roofs, those that touch as one, with the ground along the walls of each."""
    if not len(roofs):
        return ()
    merged = shapely.get_parts(shapely.union_all(shapely.buffer(np.array(roofs, dtype=object), 0.5 * APART)))
    grid = ground.grid
    known = (ground.kind == OPEN) & np.isfinite(ground.elevation)
    near = known & cells_inside(grid, shapely.box(*shapely.bounds(shapely.union_all(merged))).buffer(_NEAR))
    rows, columns = np.nonzero(near if near.any() else known)
    if not rows.size:
        return ()
    tree = cKDTree(np.column_stack(grid.centres(rows, columns)))
    cells = rows * grid.shape[1] + columns
    found = []
    for part in merged:
        own = [k for k, roof in enumerate(roofs) if shapely.intersects(part, roof)]
        shape = shapely.union_all(np.array([roofs[k] for k in own], dtype=object))
        told = [floor for k in own if (floor := floors[k]) is not None]
        outline = shapely.segmentize(shapely.boundary(shape), min(grid.cell_width, grid.cell_height))
        walls = shapely.get_coordinates(outline)
        _, nearest = tree.query(walls, k=min(_AVERAGED, rows.size))
        beside = cells[nearest].reshape(len(walls), -1)
        heights = ground.elevation.ravel()[beside].mean(axis=1)
        found.append(HouseGround(shape, min(told, default=None), walls, beside, heights))
    return tuple(found)


def nearest_house(houses: Sequence[HouseGround], shape: BaseGeometry) -> HouseGround | None:
    """The house that a shape lies nearest to."""
    return min(houses, key=lambda house: float(shapely.distance(house.shape, shape)), default=None)


def footing_plane(
    houses: Sequence[HouseGround], depth: float, x: FloatArray, y: FloatArray, *, half: float
) -> FloatArray:
    """Lowest bottom that a trench of a half width may have: 45 degrees down from every footing along the walls. [m]

    A footing lies a depth below the ground at its own part of the wall.
    """
    plane = np.full(x.shape, -np.inf)
    for house in houses:
        for (east, north), ground in zip(house.walls, house.ground, strict=True):
            away = np.maximum(np.hypot(x - east, y - north) - half, 0.0)
            np.maximum(plane, ground - depth - away, out=plane)
    return plane
