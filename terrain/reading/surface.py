"""Bare ground as read from a raster.

`read_window(source, bounds)` reads one window of a source that `terrain.reading.raster_source.open_raster` opened;
`terrain.flow.window.grow_window` finds the window that a lot needs.
"""

import math
from dataclasses import dataclass

from terrain.arrays import FloatArray
from terrain.errors import GroundError
from terrain.grid import Grid
from terrain.reading.file_cells import read_heights, read_warped
from terrain.reading.holes import close_small_holes
from terrain.reading.raster_source import RasterSource
from terrain.reading.read_log import note_read, notes_reads
from terrain.reason import Reason, reason

Bounds = tuple[float, float, float, float]
MOST_CELLS = 36_000_000
"""Of a window; a value of this project. [-]"""
_BYTES_A_CELL = 40.0
"""While a window is read and looked at: its numbers, heights, marks and holes. [byte]"""


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """A window of bare ground.

    Attributes
    ----------
    elevation : (rows, cols) float ndarray
        Height of the ground, NaN where unknown. [m]
    raster_ends : tuple of str
        Sides (n, e, s, w) on which the window cannot grow since the raster ends there.
    """

    grid: Grid
    elevation: FloatArray
    raster_ends: tuple[str, ...] = ()
    warnings: tuple[Reason, ...] = ()


def read_window(
    source: RasterSource, bounds: Bounds, *, largest_hole: int = 25, most_cells: int = MOST_CELLS
) -> Surface:
    """Read the cells of a raster that touch a rectangle, and no others.

    Numbers become heights by the band's scale and offset, then by the vertical unit. Declared nodata, NaN and
    numbers that stand for nodata without being declared are unknown; small holes are closed.

    Parameters
    ----------
    source : RasterSource
        The raster.
    bounds : tuple of float
        West, south, east, north in the metric frame; moved out to whole cells and cut at the raster's ends. [m]
    largest_hole : int
        Most cells of a hole that is interpolated. [-]
    most_cells : int
        Of the window; more are refused before any is read. [-]

    Returns
    -------
    Surface
        The window.

    Raises
    ------
    GroundError
        If the rectangle lies outside the raster, or holds too many cells.
    GroundFileError
        If the file is torn there.
    """
    rows, columns = snapped_cells(source.grid, bounds)
    grid = _window_grid(source.grid, rows, columns)
    _refuse_too_large(source, grid, most_cells)
    cells = (read_warped if source.warped else read_heights)(source, grid, rows[0], columns[0])
    holes = close_small_holes(
        cells.elevation, cell_width=grid.cell_width, cell_height=grid.cell_height, max_cells=largest_hole
    )
    found = []
    if holes.small:
        found.append(reason("ground_holes_closed", file=source.path.name, holes=holes.small))
    if holes.large_cells:
        area = holes.large_cells * grid.cell_area
        found.append(reason("ground_unknown", file=source.path.name, area=area))
    ends = _raster_ends(source.grid, rows, columns)
    if notes_reads():
        lies = f"{grid.shape} {grid.left} {grid.top} {grid.cell_width} {grid.cell_height} {ends} {source.crs.name}"
        parts = (lies.encode(), holes.elevation.tobytes())
        note_read("elevation", bounds, parts, largest_hole=largest_hole)
    return Surface(
        grid=grid,
        elevation=holes.elevation,
        raster_ends=ends,
        warnings=(*source.warnings, *cells.warnings, *found),
    )


def snapped_cells(grid: Grid, bounds: Bounds) -> tuple[tuple[int, int], tuple[int, int]]:
    """First and end row, first and end column of the cells that touch a rectangle, cut at the grid's ends.

    Parameters
    ----------
    grid : Grid
        The whole raster's cells.
    bounds : tuple of float
        West, south, east, north. [m]

    Returns
    -------
    tuple of tuple of int
        (first row, end row), (first column, end column).

    Raises
    ------
    GroundError
        If no cell touches it.
    """
    west, south, east, north = bounds
    first_row = _floor((grid.top - north) / grid.cell_height)
    end_row = _ceil((grid.top - south) / grid.cell_height)
    first_column = _floor((west - grid.left) / grid.cell_width)
    end_column = _ceil((east - grid.left) / grid.cell_width)
    rows = max(first_row, 0), min(end_row, grid.shape[0])
    columns = max(first_column, 0), min(end_column, grid.shape[1])
    if rows[0] >= rows[1] or columns[0] >= columns[1]:
        raise GroundError(
            f"the window {tuple(round(each, 1) for each in bounds)} m lies outside the raster, which covers "
            f"{tuple(round(each, 1) for each in grid.bounds)} m"
        )
    return rows, columns


def _refuse_too_large(source: RasterSource, grid: Grid, most_cells: int) -> None:
    rows, columns = grid.shape
    if rows * columns > most_cells:
        raise GroundError(
            f"{source.path.name}: {columns:,} x {rows:,} cells of {grid.cell_width:.3g} m are asked for, which takes "
            f"{rows * columns * _BYTES_A_CELL / 1e9:,.0f} GB of memory; at most {most_cells:,} are read: give the "
            "parcel of one lot, or a raster of wider cells"
        )


def _window_grid(grid: Grid, rows: tuple[int, int], columns: tuple[int, int]) -> Grid:
    return Grid(
        (rows[1] - rows[0], columns[1] - columns[0]),
        grid.left + columns[0] * grid.cell_width,
        grid.top - rows[0] * grid.cell_height,
        grid.cell_width,
        grid.cell_height,
        grid.frame,
    )


def _raster_ends(grid: Grid, rows: tuple[int, int], columns: tuple[int, int]) -> tuple[str, ...]:
    at_end = {
        "n": rows[0] == 0,
        "e": columns[1] == grid.shape[1],
        "s": rows[1] == grid.shape[0],
        "w": columns[0] == 0,
    }
    return tuple(side for side, ends in at_end.items() if ends)


def _floor(value: float) -> int:
    # a rectangle drawn along cell edges must not gain a row by round-off
    return math.floor(value + 1e-6)


def _ceil(value: float) -> int:
    return math.ceil(value - 1e-6)
