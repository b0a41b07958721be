"""Ground that water can run on: roofs and barriers stand, culverts open it."""

from dataclasses import dataclass

import numpy as np

from terrain.arrays import FloatArray, IntArray
from terrain.grid import Grid

OUTSIDE = np.int64(0)
OPEN = np.int64(1)
BARRIER = np.int64(2)
ROOF = np.int64(3)


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """The ground as water meets it.

    Attributes
    ----------
    elevation : (rows, cols) float ndarray
        Height, opened along culverts, NaN where unknown; under roofs and barriers the bare ground. [m]
    kind : (rows, cols) int ndarray
        OUTSIDE (unknown ground, an open border), OPEN, BARRIER or ROOF.
    receiver : (rows, cols) int ndarray
        For BARRIER and ROOF cells the flat index of the OPEN cell that their water goes to, else -1.
    roof : (rows, cols) int ndarray
        Position of the roof that covers a ROOF cell in the roofs as given, else -1.
    """

    grid: Grid
    elevation: FloatArray
    kind: IntArray
    receiver: IntArray
    roof: IntArray
