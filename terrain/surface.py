"""Bare ground as read from a raster."""

from dataclasses import dataclass, field

from terrain.arrays import BoolArray, FloatArray
from terrain.grid import Grid


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """A window of bare ground.

    Attributes
    ----------
    grid : Grid
        Where its cells lie.
    elevation : (rows, cols) float ndarray
        Height of the ground, NaN where unknown. [m]
    filled_holes : (rows, cols) bool ndarray
        Cells that were nodata in a small hole and were interpolated.
    raster_ends : tuple of str
        Sides (n, e, s, w) on which the window cannot grow since the raster ends there.
    vertical_unit, vertical_unit_told_by : str
        Unit of the file's heights, and what said so.
    warnings : tuple of str
        What a reader of results must know about this ground.
    """

    grid: Grid
    elevation: FloatArray
    filled_holes: BoolArray
    raster_ends: tuple[str, ...] = ()
    vertical_unit: str = "m"
    vertical_unit_told_by: str = "given"
    warnings: tuple[str, ...] = field(default=())
