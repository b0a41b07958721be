"""Which way water runs from every cell, and how much ground drains through each."""

from dataclasses import dataclass

import numpy as np

from terrain.arrays import FloatArray, IntArray
from terrain.ground import Ground

LEAVES = np.int64(-1)
STAYS = np.int64(-2)
NOWHERE = np.int64(-3)


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
