"""Which way water runs from every cell, and how much ground drains through each."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely import Geometry

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.grid import Grid
from terrain.ground import OPEN, OUTSIDE, Ground
from terrain.kernels.flood import flood
from terrain.kernels.routing import carry_labels, falls, lengths, walk
from terrain.lidar_error import NOISE_LENGTH, SHARED_VARIANCE, fall_error

LEAVES = np.int64(-1)
STAYS = np.int64(-2)
NOWHERE = np.int64(-3)

Side = Literal["n", "e", "s", "w"]


@dataclass(frozen=True, slots=True, eq=False)
class Drainage:
    """Directions over one ground.

    Attributes
    ----------
    ground : Ground
        What it was made from.
    filled : (rows, cols) float ndarray
        Ground with every low spot filled to its spill level; NaN where not OPEN. [m]
    target : (rows * cols,) int ndarray
        Flat index of the cell that each cell drains to; LEAVES where water leaves over an open border,
        STAYS at the bottom of ground shut in by roofs or barriers, NOWHERE outside. ROOF and BARRIER
        cells drain to their receiver.
    order : (n,) int ndarray
        Flat indices of all cells that are not OUTSIDE, downstream before upstream.
    accumulation : (rows, cols) float ndarray
        Ground that drains through each cell, itself included; roofs join at their receivers. [m2]
    """

    ground: Ground
    filled: FloatArray
    target: IntArray
    order: IntArray
    accumulation: FloatArray


def drain_ground(ground: Ground) -> Drainage:
    """Directions, filled surface and accumulation of a ground; every cell that is not OUTSIDE has a way out.

    Water leaves over the window's rim and into OUTSIDE cells, never through ROOF or BARRIER cells nor between
    two of them that touch at their corners. Where the filled surface falls a cell drains to its steepest
    neighbour by true distances, on a flat towards the flat's nearest outlet. A cell on the border drains over
    it only where no neighbour is lower.

    Parameters
    ----------
    ground : Ground
        Ground with roofs, barriers and culverts in it.

    Returns
    -------
    Drainage
        Directions over the ground.
    """
    grid = ground.grid
    filled, target, order, cells = flood(
        np.ascontiguousarray(ground.elevation, dtype=np.float64),
        np.ascontiguousarray(ground.kind, dtype=np.int64),
        np.ascontiguousarray(ground.receiver, dtype=np.int64),
        grid.cell_width,
        grid.cell_height,
    )
    cells *= grid.cell_area
    return Drainage(ground, filled, target, order, cells)


def catchment(drainage: Drainage, cells: IntArray | Sequence[int] | int) -> BoolArray:
    """Cells that drain to or through any of the given ones, these included."""
    seeds = np.full(drainage.target.size, -1, dtype=np.int64)
    seeds[np.asarray(cells, dtype=np.int64)] = 0
    labels = carry_labels(drainage.target, drainage.order, seeds)
    return np.asarray(labels >= 0).reshape(drainage.filled.shape)


def upstream_labels(drainage: Drainage, seeds: IntArray) -> IntArray:
    """Label of the first labelled cell that each cell's water meets on its way down, itself included."""
    flat = np.ascontiguousarray(seeds, dtype=np.int64).ravel()
    labels: IntArray = carry_labels(drainage.target, drainage.order, flat)
    return labels.reshape(drainage.filled.shape)


def flow_lengths(drainage: Drainage, ends: BoolArray | None = None) -> FloatArray:
    """Length of the way down from each cell. [m]"""
    grid = drainage.ground.grid
    at = drainage.target < 0 if ends is None else np.ascontiguousarray(ends, dtype=np.bool_).ravel()
    found: FloatArray = lengths(
        drainage.target, drainage.order, at, grid.shape[1], grid.cell_width, grid.cell_height
    )
    return found.reshape(grid.shape)


def path_downstream(drainage: Drainage, cell: int) -> IntArray:
    """Way of the water from a cell."""
    path: IntArray = walk(drainage.target, int(cell))
    return path


def leaving_side(drainage: Drainage, cell: int, *, within: Geometry | None = None) -> Side | None:
    """Side over which the water of a cell leaves a piece of ground."""
    path = path_downstream(drainage, cell)
    grid = drainage.ground.grid
    x, y = grid.centres(path // grid.shape[1], path % grid.shape[1])
    if within is None:
        return None if drainage.target[path[-1]] != LEAVES else sides_of(grid, path[-1:])[0]
    inside = np.flatnonzero(shapely.contains_xy(within, x, y))
    if inside.size == 0 or (inside[-1] == path.size - 1 and drainage.target[path[-1]] != LEAVES):
        return None
    last = inside[-1]
    return _nearest_side(float(x[last]), float(y[last]), tuple(shapely.bounds(within).tolist()))


def sides_of(grid: Grid, cells: IntArray) -> list[Side]:
    """Nearest side of the window, in proportion to it."""
    x, y = grid.centres(cells // grid.shape[1], cells % grid.shape[1])
    return [_nearest_side(east, north, grid.bounds) for east, north in zip(x.tolist(), y.tolist(), strict=True)]


def falls_certainly(
    drainage: Drainage,
    *,
    rmse: float,
    reach: float = 8.0,
    sigmas: float = 1.28,
    shared_variance: float = SHARED_VARIANCE,
    noise_length: float = NOISE_LENGTH,
) -> BoolArray:
    """Cells whose direction rests on a fall that the lidar can tell from its own error."""
    grid = drainage.ground.grid
    fall, distance = falls(
        drainage.target,
        drainage.order,
        drainage.filled.ravel(),
        reach,
        grid.shape[1],
        grid.cell_width,
        grid.cell_height,
    )
    error = fall_error(rmse, np.nan_to_num(distance), shared_variance=shared_variance, noise_length=noise_length)
    with np.errstate(invalid="ignore"):
        certain = (fall > sigmas * error) & (distance > 0.0)
    return np.asarray(certain.reshape(grid.shape) & (drainage.ground.kind == OPEN))


def shut_in(drainage: Drainage) -> BoolArray:
    """Open cells from which no water leaves, since roofs or barriers shut them in."""
    bottoms = np.where(drainage.target == STAYS, np.int64(0), np.int64(-1))
    if not (bottoms == 0).any():
        return np.zeros(drainage.filled.shape, dtype=np.bool_)
    return np.asarray((upstream_labels(drainage, bottoms) == 0) & (drainage.ground.kind == OPEN))


def undrained(drainage: Drainage) -> int:
    """Number of cells of the ground without a way out; 0, or it is a defect."""
    known = drainage.ground.kind.ravel() != OUTSIDE
    ends = np.where(drainage.target < 0, np.int64(0), np.int64(-1))
    ends[drainage.target == NOWHERE] = -1
    reached = carry_labels(drainage.target, drainage.order, ends) == 0
    return int((known & ~reached).sum())


def _nearest_side(x: float, y: float, box: tuple[float, ...]) -> Side:
    west, south, east, north = box
    across = (2.0 * x - west - east) / max(east - west, 1e-12)
    along = (2.0 * y - south - north) / max(north - south, 1e-12)
    if abs(across) >= abs(along):
        return "e" if across > 0 else "w"
    return "n" if along > 0 else "s"
