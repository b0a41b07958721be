"""Which way water runs from every cell, and how much ground drains through each."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.grid import Grid
from terrain.ground import OPEN, OUTSIDE, Ground
from terrain.kernels.flood import fill, flood
from terrain.kernels.routing import carry_labels, lengths, walk

LEAVES = np.int64(-1)
STAYS = np.int64(-2)
NOWHERE = np.int64(-3)


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Drainage:
    """Directions over one ground.

    Attributes
    ----------
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


def fill_ground(grid: Grid, elevation: FloatArray, kind: IntArray) -> FloatArray:
    """The filled surface alone, as `drain_ground` gives it. [m]"""
    filled: FloatArray = fill(
        np.ascontiguousarray(elevation, dtype=np.float64), np.ascontiguousarray(kind, dtype=np.int64),
        grid.cell_width, grid.cell_height,
    )  # fmt: skip
    return filled


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
