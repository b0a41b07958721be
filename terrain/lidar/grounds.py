"""Grounds that a lidar raster, and the level shots, allow: each as likely as the other."""

import hashlib
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.fft

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.grid import Grid
from terrain.lidar.best_estimate import Estimate, band_gains
from terrain.lidar.error_model import LAWN, LONG_GRASS, WATER, LidarModel, wave_numbers
from terrain.lidar.on_shots import KnownHeights, grounds_through_shots


@dataclass(frozen=True, eq=False)
class PossibleGrounds:
    """By how much each ground lies above the best estimate, over a window of it.

    Attributes
    ----------
    above : (grounds, rows, cols) float32 ndarray
        [m]
    first_row, first_column : int
        Where the window begins.
    """

    above: FloatArray
    first_row: int
    first_column: int

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.above)

    @property
    def window(self) -> tuple[slice, slice]:
        """Rows and columns of the whole grid that they cover."""
        _, rows, columns = self.above.shape
        return (
            slice(self.first_row, self.first_row + rows),
            slice(self.first_column, self.first_column + columns),
        )

    @cached_property
    def by_cell(self) -> FloatArray:
        """(rows, cols, grounds): the same, of one cell beside each other. [m]"""
        return np.ascontiguousarray(np.moveaxis(self.above, 0, -1))

    def at(self, rows: IntArray, columns: IntArray) -> FloatArray:
        """Height of each ground above the best estimate at some cells, beyond the window as at its rim. [m]"""
        _, height, width = self.above.shape
        inside = np.clip(rows - self.first_row, 0, height - 1), np.clip(columns - self.first_column, 0, width - 1)
        return self.above[:, inside[0], inside[1]].astype(np.float64)

    def lowest(self, elevation: FloatArray, among: BoolArray) -> FloatArray:
        """Lowest of some cells on each ground, above their lowest on the best estimate. [m]"""
        rows, columns = np.nonzero(among)
        if not rows.size:
            return np.zeros(self.count)
        heights = elevation[rows, columns]
        lowest: FloatArray = (heights + self.at(rows, columns)).min(axis=1) - heights.min()
        return lowest


def seed_of(*parts: bytes) -> list[int]:
    """A seed by what the grounds hang on, and nothing else."""
    digest = hashlib.sha256(b"\0".join(parts)).digest()
    return [int.from_bytes(digest[at : at + 4], "little") for at in range(0, 16, 4)]


def draw_grounds(
    estimate: Estimate,
    cover: IntArray,
    grid: Grid,
    model: LidarModel,
    window: tuple[slice, slice],
    *,
    count: int,
    seed: list[int],
    known: KnownHeights | None = None,
) -> PossibleGrounds:
    """Draw grounds: noise, as far as the best estimate holds it, and what grass adds are taken off.

    What was drawn across gaps may lie off.
    The first grounds are the same however many are drawn. Where heights were read with a level the grounds lie above
    the best estimate that was brought to them.
    """
    covers, first = cover[window], (window[0].start, window[1].start)
    above = np.empty((count, *covers.shape), dtype=np.float32)
    noise = _Noise(estimate, grid, model, window)
    for number in range(count):
        generator = np.random.default_rng([*seed, number])
        off = noise.drawn(generator)
        off[covers == LAWN] += model.lawn.drawn(generator)
        off[covers == LONG_GRASS] += model.long_grass.drawn(generator)
        if (covers == WATER).any():
            off[covers == WATER] += model.water.drawn(generator)
        if estimate.gaps is not None:
            off -= estimate.gaps.drawn(generator, window)
        above[number] = -off
    if known is not None:
        above = grounds_through_shots(above, known.moved(*first, covers.shape), covers, grid, model, seed)
    return PossibleGrounds(above, *first)


class _Noise:
    """Noise that is left in the best estimate, over a window of it."""

    def __init__(
        self, estimate: Estimate, grid: Grid, model: LidarModel, window: tuple[slice, slice]
    ) -> None:
        self.shape = (window[0].stop - window[0].start, window[1].stop - window[1].start)
        cells = (grid.cell_height, grid.cell_width)
        # the transform goes round in a circle: what lies opposite is kept out of reach
        margin = [int(np.ceil(2.0 * model.noise_length / cell)) for cell in cells]
        down, across = (size + more for size, more in zip(self.shape, margin, strict=True))
        self.wide = (
            int(scipy.fft.next_fast_len(down, real=True)), int(scipy.fft.next_fast_len(across, real=True))
        )
        waves = wave_numbers(self.wide, *cells)
        spread = np.sqrt(model.power(waves, grid.cell_area))
        gains = band_gains(waves, estimate.widths)
        self.filters = [(spread * gain * np.sqrt(scale)).astype(np.float32)
                        for gain, scale in zip(gains, estimate.scale, strict=True)]
        self.left = np.sqrt(estimate.left[:, window[0], window[1]]).astype(np.float32)

    def drawn(self, generator: np.random.Generator) -> FloatArray:
        """One field of it. [m]"""
        waves = scipy.fft.rfft2(generator.standard_normal(self.wide, dtype=np.float32))
        rows, columns = self.shape
        parts = [scipy.fft.irfft2(waves * each, s=self.wide)[:rows, :columns] for each in self.filters]
        total: FloatArray = parts[-1].copy()
        for left, part in zip(self.left, parts[:-1], strict=True):
            total += left * part
        return total
