"""Values on a grid that are no ground: what a step makes of one."""

from dataclasses import dataclass

from terrain.arrays import FloatArray
from terrain.grid import Grid


@dataclass(frozen=True, slots=True, eq=False)
class Raster:
    """One value a cell.

    Attributes
    ----------
    values : (rows, cols) float ndarray
        NaN where unknown.
    unit : str
        Of the values, as it is written into the file: m, m2, ...
    """

    grid: Grid
    values: FloatArray
    unit: str
    meaning: str
