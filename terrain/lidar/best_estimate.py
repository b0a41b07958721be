"""The likeliest ground under a lidar raster: what is no more than its noise is smoothed, edges and banks are kept.

The raster is split into bands by size. In each band the noise's variance is known from the model, and is no more than
what flat ground of this raster shows; what stands out of it around a cell is ground and stays.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.ndimage import distance_transform_edt, gaussian_filter

from terrain.arrays import BoolArray, FloatArray
from terrain.grid import Grid
from terrain.lidar.error_model import LidarModel, wave_numbers
from terrain.lidar.filled_gaps import FilledGaps

WIDTHS = (0.8, 1.6, 3.2, 6.4)
"""Standard deviations of the Gaussians between which the bands lie, each twice the last. [m]"""
AROUND = 1.5
"""What stands out is looked for over so many times the wider of them. [-]"""
GROWTH = 1.25
"""Ground is the rougher the wider one looks, noise is not: in each band the noise's variance over what was stated is at
most so many times that in the band before it. [-]"""
STEEP, STEEP_WIDTH, BESIDE = 0.07, 1.6, 3.0
"""Ground steeper than this over so many meters is a bank or an edge: it is kept, and what lies so near it. [-], [m]"""
MOST_SCALE = 2.0
"""The raster may show that its noise's variance is up to so many times what was stated; of what is wider than all bands
it shows nothing, and there it is as stated. [-]"""
FLAT = 0.05
"""Where the ground is flatter than this its roughness tells how much noise there is. [-]"""
KEPT = 0.0005
"""A height that would change by less stays as it is. [m]"""
NORMAL_MEDIAN = 0.6745
"""Median of a standard normal value's size. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """The likeliest ground, and how much of the noise is still in it.

    Attributes
    ----------
    elevation : (rows, cols) float ndarray
        NaN where unknown. [m]
    widths : tuple of float
        Standard deviations of the Gaussians between which the bands lie. [m]
    left : (bands, rows, cols) float ndarray
        Share of each band that was taken for ground: by the same share the noise's variance is left. [-]
    scale : (bands + 1,) float ndarray
        The noise's variance in each band, and in what is wider, over what was stated. [-]
    gaps : FilledGaps or None
        Where the raster was drawn across what lidar did not see.
    step : float
        In which the raster's heights come. [m]
    """

    elevation: FloatArray
    widths: tuple[float, ...]
    left: FloatArray
    scale: FloatArray
    gaps: FilledGaps | None = None
    step: float = 0.0


def best_estimate(
    elevation: FloatArray, counted: BoolArray, grid: Grid, model: LidarModel, seen: FloatArray | None = None
) -> Estimate:
    """The likeliest ground under a raster; `counted` cells tell how much noise there is.

    Where somebody saw water or drew a swale (`seen`, from 0 to 1) all that the raster shows is taken for ground.

    Notes
    -----
    In each band the mean of ground given what was seen is g b with g = (v - n) / v [1]_, v the variance around the cell
    and n the noise's; the variance that is left is g n.

    References
    ----------
    .. [1] Lee, "Digital image enhancement and noise filtering by use of local statistics", IEEE Transactions on Pattern
       Analysis and Machine Intelligence 2, 1980, pp. 165-168 (local linear minimum mean square error filter; from
       memory).
    """
    known = np.isfinite(elevation)
    widths = tuple(width for width in WIDTHS if width >= 0.8 * max(grid.cell_width, grid.cell_height) - 1e-9)
    counted = counted & known
    if not widths or np.count_nonzero(counted) < 100:
        return Estimate(elevation, (), np.empty((0, *grid.shape)), np.ones(1))
    filled = _filled(elevation, known)
    heights = _without_plane(filled, counted)
    flat = counted & (_slope(filled, widths[-1] / 2.0, grid) < FLAT)
    counted = flat if np.count_nonzero(flat) >= 100 else counted
    stated = _band_variances(widths, grid, model)
    scale = np.ones(len(widths) + 1)
    shares, parts, smoother = [], [], heights
    kept = _beside_banks(filled, grid)
    kept = kept if seen is None else np.maximum(kept, seen)
    for band, width in enumerate(widths):
        finer, smoother = smoother, _smoothed(heights, width, grid)
        part = finer - smoother
        parts.append(part.astype(np.float32))
        shown = (float(np.median(np.abs(part[counted]))) / NORMAL_MEDIAN) ** 2
        scale[band] = min(shown / stated[band], GROWTH * scale[band - 1] if band else np.inf, MOST_SCALE)
        around, noise = _smoothed(part**2, AROUND * width, grid), scale[band] * stated[band]
        share = np.where(around > noise, 1.0 - noise / np.maximum(around, 1e-300), 0.0)
        shares.append(np.maximum(share, kept).astype(np.float32))
    change = np.zeros(grid.shape)
    for taken, held in zip(shares, parts, strict=True):
        change -= (1.0 - taken) * held
    return Estimate(np.where(np.abs(change) >= KEPT, elevation + change, elevation), widths, np.array(shares), scale)


def band_gains(waves: FloatArray, widths: tuple[float, ...]) -> list[FloatArray]:
    """What each band lets through of each wave, then what is wider than all of them. [-]"""
    passed = [np.ones(waves.shape), *(np.exp(-0.5 * (waves * width) ** 2) for width in widths)]
    return [*(finer - wider for finer, wider in pairwise(passed)), passed[-1]]


def _band_variances(widths: tuple[float, ...], grid: Grid, model: LidarModel) -> list[float]:
    waves = wave_numbers((256, 256), grid.cell_height, grid.cell_width)
    power = model.power(waves, grid.cell_area)
    # a real transform holds all but its first and last column for two
    twice = np.full(waves.shape[1], 2.0)
    twice[[0, -1]] = 1.0
    return [float((power * gain**2 * twice).sum()) / 256.0**2 for gain in band_gains(waves, widths)[:-1]]


def _beside_banks(heights: FloatArray, grid: Grid) -> FloatArray:
    """1 at banks and edges and near them, falling to 0 farther off. [-]"""
    steep = _slope(heights, STEEP_WIDTH, grid) > STEEP
    if not steep.any():
        return np.zeros(grid.shape)
    away = distance_transform_edt(~steep, sampling=(grid.cell_height, grid.cell_width))
    near: FloatArray = np.clip(BESIDE + 1.0 - away, 0.0, 1.0)
    return near


def _slope(heights: FloatArray, width: float, grid: Grid) -> FloatArray:
    down, across = np.gradient(_smoothed(heights, width, grid), grid.cell_height, grid.cell_width)
    slope: FloatArray = np.hypot(down, across)
    return slope


def _smoothed(values: FloatArray, width: float, grid: Grid) -> FloatArray:
    sigma = (width / grid.cell_height, width / grid.cell_width)
    smooth: FloatArray = gaussian_filter(values, sigma, mode="nearest", truncate=3.0)
    return smooth


def _filled(elevation: FloatArray, known: BoolArray) -> FloatArray:
    """Heights with the nearest known one where there is none."""
    if known.all():
        return elevation
    nearest = distance_transform_edt(~known, return_distances=False, return_indices=True)
    filled: FloatArray = elevation[tuple(nearest)]
    return filled


def _without_plane(heights: FloatArray, counted: BoolArray) -> FloatArray:
    """Heights over the plane through them, so that the window's rim bends nothing."""
    row, column = np.indices(heights.shape)
    terms = np.stack([np.ones(heights.shape), row - row.mean(), column - column.mean()])
    fitted, *_ = np.linalg.lstsq(terms[:, counted].T, heights[counted], rcond=None)
    above: FloatArray = heights - np.tensordot(fitted, terms, 1)
    return above
