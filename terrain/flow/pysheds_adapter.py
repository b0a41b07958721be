"""The one place that talks to pysheds: filled surface, accumulation, catchments and distances over our directions.

pysheds is imported on first use, which compiles for half a minute on a new machine. Whatever goes in is float64
or int64: once its compiled cache has seen float32, a float64 fill fails in every later process.

The treatment under which it and the kernel agree bit for bit: a ring of one cell around the window and all unknown
ground that reaches the ring stand one below the lowest ground; walls and unknown ground inside are nodata. pysheds
takes unknown ground inside for a wall, so there it may stand higher than the kernel, never lower; it leaves shut-in
ground unfilled.
"""

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from inspect import isfunction, isgeneratorfunction
from typing import Any

import numba
import numpy as np
from scipy.ndimage import label

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.flow.drainage import Drainage, shut_in, undrained
from terrain.ground import BARRIER, OPEN, OUTSIDE, Ground
from terrain.kept import kept
from terrain.kernels.flood import flood
from terrain.kernels.routing import accumulate

# by [row step + 1, column step + 1], as pysheds' default: north 64, then clockwise doubling from north-east 128, east 1
_CODE = np.array([[32, 64, 128], [16, 0, 1], [8, 4, 2]], dtype=np.int64)


def fill_depressions(ground: Ground) -> FloatArray:
    """Ground with its low spots filled by pysheds. [m]"""
    heights, step = _without_pinches(ground.elevation, _holes_as_walls(ground))
    known = np.isfinite(heights)
    if not known.any():
        return np.full(ground.grid.shape, np.nan)
    heights[np.isinf(heights)] = heights[known].min() - 1.0
    grid, raster = _raster(heights, np.nan)
    with _quiet():
        filled = np.asarray(grid.fill_depressions(raster), dtype=np.float64)
    cells = filled[step : -step : step, step : -step : step]
    return np.where(ground.kind == OPEN, cells, np.nan)


def accumulate_cells(ground: Ground, target: IntArray) -> FloatArray:
    """Number of cells that drain through each, by pysheds over given directions. [-]"""
    weight = (ground.kind != OUTSIDE).astype(np.float64)
    walls = (ground.kind > OPEN) & (ground.receiver >= 0)
    weight += np.bincount(ground.receiver[walls], minlength=weight.size).reshape(weight.shape)
    grid, codes = _raster(np.pad(_codes(ground, target), 1), 0)
    _, weights = _raster(np.pad(weight, 1), -1.0)
    with _quiet():
        cells = grid.accumulation(codes, weights=weights, nodata_out=0.0)
    return np.ascontiguousarray(np.asarray(cells, dtype=np.float64)[1:-1, 1:-1])


@kept
def with_pysheds(drainage: Drainage) -> Drainage:
    """The same drainage, its surface filled and its ground accumulated by pysheds over the kernel's directions."""
    ground = drainage.ground
    cells = accumulate_cells(ground, drainage.target)
    return replace(
        drainage,
        filled=fill_beside_kernel(ground, drainage.filled),
        accumulation=cells * ground.grid.cell_area,
    )


def same_by_pysheds(drainage: Drainage) -> bool:
    """Whether pysheds leaves every bit of a drainage as it is."""
    theirs = with_pysheds(drainage)
    return all(
        np.array_equal(ours, other, equal_nan=True)
        for ours, other in ((drainage.filled, theirs.filled), (drainage.accumulation, theirs.accumulation))
    )


def fill_beside_kernel(ground: Ground, filled: FloatArray) -> FloatArray:
    """Filled surface by pysheds, by the kernel where pysheds has none of its own. [m]"""
    compared, _ = _under_one_treatment(ground)
    return np.where(compared, np.fmin(fill_depressions(ground), filled), filled)


def self_check(drainage: Drainage) -> tuple[str, ...]:
    """Hold the kernel against pysheds, bit for bit, and look for cells without a way out."""
    ground = drainage.ground
    compared, filled = _under_one_treatment(ground)
    theirs = np.where(compared, fill_depressions(ground), filled)
    kept = _kernel_fill(ground, ground.kind).filled
    ours = accumulate(drainage.target, drainage.order, np.ones(drainage.target.size)).reshape(ground.grid.shape)
    counted = accumulate_cells(ground, drainage.target)
    area = ground.grid.cell_area
    said = [
        _difference("filled surface [m]", filled, theirs),
        _difference("filled surface in use [m]", kept, drainage.filled),
        _difference("accumulation [cells]", ours, counted),
        _difference("accumulation in use [m2]", ours * area, drainage.accumulation),
    ]
    lost = undrained(drainage)
    said.append(f"{lost} cells have no way out" if lost else "")
    return tuple(words for words in said if words)


def _under_one_treatment(ground: Ground) -> tuple[BoolArray, FloatArray]:
    """Cells that pysheds fills, and the kernel's filled surface with unknown ground inside as a wall."""
    sealed = _holes_as_walls(ground)
    drainage = _kernel_fill(ground, sealed)
    return (sealed == OPEN) & ~shut_in(drainage), drainage.filled


def _kernel_fill(ground: Ground, kind: IntArray) -> Drainage:
    width, height = ground.grid.cell_width, ground.grid.cell_height
    filled, target, order, cells = flood(ground.elevation, kind, ground.receiver, width, height)
    return Drainage(ground, filled, target, order, cells)


def _difference(what: str, ours: FloatArray, theirs: FloatArray) -> str:
    wrong = np.argwhere((ours != theirs) & ~(np.isnan(ours) & np.isnan(theirs)))
    if not wrong.size:
        return ""
    row, column = wrong[0].tolist()
    return (
        f"{what} differs in {len(wrong)} of {ours.size} cells, first at row {row}, column {column}: kernel "
        f"{float(ours[row, column])!r}, beside it {float(theirs[row, column])!r}"
    )


def _codes(ground: Ground, target: IntArray) -> IntArray:
    """pysheds' direction codes; 0 where water leaves, stays, or is handed to a receiver."""
    columns = ground.grid.shape[1]
    here = np.arange(target.size)
    runs = (target >= 0) & (ground.kind.ravel() == OPEN)
    down = np.where(runs, target, here)
    found: IntArray = _CODE[down // columns - here // columns + 1, down % columns - here % columns + 1]
    return found.reshape(ground.grid.shape)


def _without_pinches(elevation: FloatArray, kind: IntArray) -> tuple[FloatArray, int]:
    """Heights within a ring: NaN for walls, inf for unknown ground; and the cells of it to one of the ground.

    Where two walls touch at a corner pysheds would let water through between them, so such ground is drawn twice as
    fine: between two cells stands the higher of both, between four the lower of the two diagonals, and nothing passes
    where a diagonal is walls.
    """
    heights = np.pad(np.where(kind == OPEN, elevation, np.nan), 1, constant_values=np.inf)
    heights[1:-1, 1:-1][kind == OUTSIDE] = np.inf
    wall = np.isnan(heights)
    falling = wall[:-1, :-1] & wall[1:, 1:]
    rising = wall[:-1, 1:] & wall[1:, :-1]
    pinched = (falling & ~wall[:-1, 1:] & ~wall[1:, :-1]) | (rising & ~wall[:-1, :-1] & ~wall[1:, 1:])
    if not pinched.any():
        return heights, 1
    # unknown ground is the lowest there is while heights are compared
    low = np.where(np.isinf(heights), -np.inf, heights)
    fine = np.empty((2 * low.shape[0] - 1, 2 * low.shape[1] - 1))
    fine[::2, ::2] = low
    fine[::2, 1::2] = np.maximum(low[:, :-1], low[:, 1:])
    fine[1::2, ::2] = np.maximum(low[:-1], low[1:])
    across = np.fmin(np.maximum(low[:-1, :-1], low[1:, 1:]), np.maximum(low[:-1, 1:], low[1:, :-1]))
    fine[1::2, 1::2] = np.where(falling | rising, np.nan, across)
    fine[np.isinf(fine)] = np.inf
    return fine, 2


def _holes_as_walls(ground: Ground) -> IntArray:
    """Kinds with unknown ground that does not reach the ring as a wall."""
    heights, step = _without_pinches(ground.elevation, ground.kind)
    regions, _ = label(np.isinf(heights), structure=np.ones((3, 3)))
    reaches = (regions == regions[0, 0])[step : -step : step, step : -step : step]
    sealed: IntArray = np.where((ground.kind == OUTSIDE) & ~reaches, BARRIER, ground.kind)
    return sealed


def _raster(values: Any, nodata: float, ground: Ground | None = None) -> tuple[Any, Any]:
    """A pysheds grid and raster over padded values."""
    with _quiet(), _compiled_on_use():
        from affine import Affine
        from pysheds.grid import Grid as PyshedsGrid
        from pysheds.view import Raster, ViewFinder

        transform = Affine.identity()
        if ground is not None:
            cells = ground.grid
            width, height = cells.cell_width, cells.cell_height
            transform = Affine(width, 0.0, cells.left - width, 0.0, -height, cells.top + height)
        view = ViewFinder(affine=transform, shape=values.shape, nodata=values.dtype.type(nodata))
        raster = Raster(np.ascontiguousarray(values), view)
        return PyshedsGrid(viewfinder=raster.viewfinder), raster


@contextmanager
def _compiled_on_use() -> Iterator[None]:
    """Let pysheds' functions wait until they are called: on import it would compile or load eighty for the few in use.

    Without the types that it declares numba takes those of the call, which are the same ones here.
    """
    eager = numba.njit

    def waiting(given: Any = None, /, **options: Any) -> Any:
        def compiled(function: Any) -> Any:
            # a generator that comes from the cache cannot be compiled into a caller, as after a first run cut short
            return eager(**{**options, "cache": not isgeneratorfunction(function)})(function)

        return compiled(given) if isfunction(given) else compiled

    numba.njit = waiting
    try:
        yield
    finally:
        numba.njit = eager


@contextmanager
def _quiet() -> Iterator[None]:
    """Silence what pysheds uses of NumPy that is on its way out, by message."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="`in1d` is deprecated", category=DeprecationWarning)
        yield
