"""Numbers in a raster's file, made heights in metres on the cells asked for."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.errors import GroundFileError
from terrain.grid import Grid
from terrain.metric_frame import moved_points
from terrain.reading.raster_file import kept_beside, opened
from terrain.reading.raster_source import RasterSource
from terrain.reading.source_grid import apply_affine
from terrain.reason import Reason, reason

# what producers write for unknown ground, also where the header does not say so
_STANDS_FOR_NODATA = (-9999.0, -99999.0, -999999.0, -32768.0, -32767.0)
# the lowest dry land lies at some -430 m, the highest at 8,849 m
_LOWEST_LAND, _HIGHEST_LAND = -450.0, 9000.0
# a cell of exactly 0 this far from all others is no ground [m]
_ZERO_APART = 5.0
_ABSURD = 1e30
_MOST_BLOCK = 500_000_000
_ROWS_AT_A_TIME = 256
_MOST_AROUND = 4_000_000
"""Cells of a block that is kept for what is read next. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class HeightCells:
    """Heights as read.

    Attributes
    ----------
    elevation : (rows, cols) float ndarray
        NaN where unknown. [m]
    warnings : tuple of Reason
        What was found beside declared nodata.
    """

    elevation: FloatArray
    warnings: tuple[Reason, ...]


def read_heights(source: RasterSource, grid: Grid, first_row: int, first_column: int) -> HeightCells:
    """Read a block of the file's own cells; where the raster is kept open, out of the larger one around it."""
    plain = _plain_around(source, grid.shape, first_row, first_column)
    return _read(source, grid.shape, first_row, first_column) if plain is None else HeightCells(plain, ())


@dataclass(frozen=True, slots=True, eq=False)
class _Around:
    """A block that holds what is read next: every height known and ordinary, or no heights."""

    top: int
    left: int
    shape: tuple[int, int]
    elevation: FloatArray | None


def _plain_around(source: RasterSource, shape: tuple[int, int], row: int, column: int) -> FloatArray | None:
    """Heights of a block out of the one around it; None where it must be read and looked at by itself."""
    beside = kept_beside(source.path)
    if beside is None:
        return None
    around: _Around | None = beside.get("around")
    if around is None or not _holds(around, shape, row, column):
        around = beside["around"] = _read_around(source, shape, row, column)
    if around.elevation is None or not _holds(around, shape, row, column):
        return None
    top, left = row - around.top, column - around.left
    return around.elevation[top : top + shape[0], left : left + shape[1]].copy()


def _holds(around: _Around, shape: tuple[int, int], row: int, column: int) -> bool:
    rows, columns = around.shape
    return (
        around.top <= row and row + shape[0] <= around.top + rows
        and around.left <= column and column + shape[1] <= around.left + columns
    )  # fmt: skip


def _read_around(source: RasterSource, shape: tuple[int, int], row: int, column: int) -> _Around:
    top, left = max(row - shape[0], 0), max(column - shape[1], 0)
    rows = min(row + 2 * shape[0], source.file_shape[0]) - top
    columns = min(column + 2 * shape[1], source.file_shape[1]) - left
    if rows * columns > _MOST_AROUND:
        return _Around(row, column, shape, None)
    try:
        cells = _read(source, (rows, columns), top, left)
    except GroundFileError:
        # what is torn farther off stops no one here
        return _Around(top, left, (rows, columns), None)
    plain = not cells.warnings and bool((np.isfinite(cells.elevation) & (cells.elevation != 0.0)).all())
    return _Around(top, left, (rows, columns), cells.elevation if plain else None)


def _read(source: RasterSource, shape: tuple[int, int], first_row: int, first_column: int) -> HeightCells:
    from rasterio.windows import Window

    rows, columns = shape
    with opened(source.path) as file:
        window = Window(first_column, first_row, columns, rows)
        _refuse_large_blocks(file, source)
        _refuse_blocks_never_written(file, source, window)
        numbers = file.read(1, window=window, masked=True)
    raw = np.asarray(numbers.data)
    # a mask that hides nothing is a single False
    unknown: BoolArray = np.broadcast_to(numbers.mask, raw.shape) | ~np.isfinite(raw)
    elevation = (raw.astype(np.float64) * source.scale + source.offset) * source.vertical.metres
    stands_for, warnings = _undeclared(source, raw, elevation, unknown)
    elevation[unknown | stands_for] = np.nan
    return HeightCells(elevation, warnings + _odd_heights(source, elevation))


def read_warped(source: RasterSource, grid: Grid, first_row: int, first_column: int) -> HeightCells:
    """Interpolate heights (bilinear) at the centres of cells that are not the file's own.

    Every centre is projected exactly, so that a cell's height is the same in every window. A centre beside an
    unknown cell is unknown.
    """
    rows, columns = grid.shape
    file_rows = np.empty(grid.shape)
    file_columns = np.empty(grid.shape)
    for start in range(0, rows, _ROWS_AT_A_TIME):
        end = min(start + _ROWS_AT_A_TIME, rows)
        file_rows[start:end], file_columns[start:end] = _places_in_file(
            source, np.arange(first_row + start, first_row + end), first_column + np.arange(columns)
        )
    elevation = np.full(grid.shape, np.nan)
    inside = (file_rows > -0.5) & (file_rows < source.file_shape[0] - 0.5)
    inside &= (file_columns > -0.5) & (file_columns < source.file_shape[1] - 0.5)
    if not inside.any():
        return HeightCells(elevation, ())
    top = max(int(np.floor(file_rows[inside].min())) - 1, 0)
    left = max(int(np.floor(file_columns[inside].min())) - 1, 0)
    bottom = min(int(np.ceil(file_rows[inside].max())) + 2, source.file_shape[0])
    right = min(int(np.ceil(file_columns[inside].max())) + 2, source.file_shape[1])
    block = Grid((bottom - top, right - left), 0.0, 0.0, 1.0, 1.0, grid.frame)
    own = read_heights(source, block, top, left)
    elevation[inside] = _bilinear(own.elevation, file_rows[inside] - top, file_columns[inside] - left)
    return HeightCells(elevation, own.warnings)


def _places_in_file(source: RasterSource, rows: IntArray, columns: IntArray) -> tuple[FloatArray, FloatArray]:
    """Row and column in the file, counted from the middle of its first cell, of centres of the source's grid."""
    grid = source.grid
    # counted from the whole grid's corner, so that a cell lies at the same place to the last bit in every window
    x, y = grid.centres(*np.meshgrid(rows, columns, indexing="ij"))
    x, y = x / grid.frame.x_scale, y / grid.frame.y_scale
    if source.file_crs != grid.frame.crs:
        x, y = moved_points(grid.frame.crs, source.file_crs, x, y)
    across, down = apply_affine(~source.file_transform, x, y)
    # a millionth of a cell is round-off: rows that only run the other way must give the file's own numbers
    return np.round(down - 0.5, 6), np.round(across - 0.5, 6)


def _bilinear(elevation: FloatArray, rows: FloatArray, columns: FloatArray) -> FloatArray:
    row = np.clip(np.floor(rows), 0, elevation.shape[0] - 1).astype(np.int64)
    column = np.clip(np.floor(columns), 0, elevation.shape[1] - 1).astype(np.int64)
    down, across = np.clip(rows - row, 0.0, 1.0), np.clip(columns - column, 0.0, 1.0)
    next_row = np.minimum(row + 1, elevation.shape[0] - 1)
    next_column = np.minimum(column + 1, elevation.shape[1] - 1)
    total = np.zeros(rows.shape)
    for at_row, at_column, weight in (
        (row, column, (1.0 - down) * (1.0 - across)),
        (row, next_column, (1.0 - down) * across),
        (next_row, column, down * (1.0 - across)),
        (next_row, next_column, down * across),
    ):
        # a neighbour of no weight may be unknown
        total += np.where(weight > 0.0, weight * elevation[at_row, at_column], 0.0)
    return total


def _refuse_large_blocks(file: Any, source: RasterSource) -> None:
    """A block is unpacked whole, however little of it is asked for."""
    height, width = file.block_shapes[0]
    size = height * width * np.dtype(file.dtypes[0]).itemsize
    if size > _MOST_BLOCK:
        raise GroundFileError(
            f"elevation raster {source.path} is kept in blocks of {width:,} x {height:,} cells, each "
            f"{size / 1e6:,.0f} MB, and at most {_MOST_BLOCK / 1e6:g} MB are unpacked at once; write it in tiles, as a "
            "cloud-optimized GeoTIFF is"
        )


def _refuse_blocks_never_written(file: Any, source: RasterSource, window: Any) -> None:
    """A writer that was cut short leaves blocks out, which read as zeros where no nodata is declared."""
    if file.driver != "GTiff" or source.nodata is not None:
        return
    height, width = file.block_shapes[0]
    for row in range(window.row_off // height, (window.row_off + window.height - 1) // height + 1):
        for column in range(window.col_off // width, (window.col_off + window.width - 1) // width + 1):
            if file.get_tag_item(f"BLOCK_OFFSET_{column}_{row}", "TIFF", bidx=1) is None:
                raise GroundFileError(
                    f"elevation raster {source.path} is torn: the block at row {row * height}, column {column * width} "
                    "was never written, and the file declares no nodata; fetch or write it again"
                )


def _undeclared(
    source: RasterSource, raw: Any, elevation: FloatArray, unknown: BoolArray
) -> tuple[BoolArray, tuple[Reason, ...]]:
    stands_for = np.zeros(unknown.shape, dtype=np.bool_)
    found: list[Reason] = []
    if np.issubdtype(raw.dtype, np.floating):
        huge = ~unknown & (np.abs(raw) > _ABSURD)
        if huge.any():
            stands_for |= huge
            found.append(_mark(huge, f"{raw[huge][0]:.4g}"))
    for number in _STANDS_FOR_NODATA:
        # a scaled whole number may well mean ground: only a height that no land has is taken for a mark
        here = ~unknown & (raw == number) & (elevation < _LOWEST_LAND)
        if here.any():
            stands_for |= here
            found.append(_mark(here, f"{number:g}"))
    if np.issubdtype(raw.dtype, np.signedinteger):
        here = ~unknown & ~stands_for & (raw == np.iinfo(raw.dtype).min)
        if here.any():
            stands_for |= here
            found.append(_mark(here, str(np.iinfo(raw.dtype).min)))
    if not found:
        return stands_for, ()
    return stands_for, (reason("nodata_undeclared", file=source.path.name, marks=tuple(found)),)


def _mark(cells: BoolArray, number: str) -> Reason:
    return reason("nodata_mark", cells=int(cells.sum()), number=number)


def _odd_heights(source: RasterSource, elevation: FloatArray) -> tuple[Reason, ...]:
    known = elevation[np.isfinite(elevation)]
    if not known.size:
        return ()
    low, high = float(known.min()), float(known.max())
    if low < _LOWEST_LAND or high > _HIGHEST_LAND:
        return (reason("heights_of_no_land", file=source.path.name, low=low, high=high),)
    zeros = known == 0.0
    others = known[~zeros]
    if source.nodata is None and zeros.any() and others.size and float(np.abs(others).min()) > _ZERO_APART:
        return (reason("heights_of_zero", file=source.path.name, cells=int(zeros.sum()), apart=_ZERO_APART),)
    return ()
