"""What an airplane sees of a known ground: the bench's own, which shares nothing with the tool's model of error."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter
from truth_lots import CELL, LAWN, ROOF, SWALE_BOTTOM, TruthLot

STATED = "10 cm"
"""What every site says of its lidar, whatever it is."""


@dataclass(frozen=True, slots=True)
class Strength:
    """How strong the lidar's error is [m], and how far it reaches over what is usual [-]."""

    name: str
    white: float
    correlated: float
    grass: float
    swale: float
    reach: float = 1.0

    def times(self, factor: float, name: str) -> "Strength":
        """The same so many times as strong."""
        return Strength(name, *(factor * each for each in (self.white, self.correlated, self.grass, self.swale)))


STRENGTHS = (
    Strength("light", 0.020, 0.030, 0.02, 0.05),
    Strength("middle", 0.025, 0.055, 0.04, 0.10),
    Strength("strong", 0.030, 0.080, 0.06, 0.15),
)
OTHERS = (
    replace(STRENGTHS[1], name="twice the range", reach=2.0),
    replace(STRENGTHS[1], name="half the bias", grass=0.02, swale=0.05),
    replace(STRENGTHS[1], name="no bias", grass=0.0, swale=0.0),
    # of the middle one, whose rasters are 7.4 cm off
    STRENGTHS[1].times(0.07 / 0.074, "7 cm"),
    STRENGTHS[1].times(0.15 / 0.074, "15 cm"),
)
"""Other noise than a tool that hears of 10 cm can assume."""
FLIGHT = 0.05
"""Bias of a whole flight, which falls between its heights do not feel and level shots do. [m]"""
RANGES = (5.0, 20.0)
"""Distance over which the correlated part falls to 1/e, drawn between these. [m]"""


def see(lot: TruthLot, strength: Strength, draw: int, flight: float = 0.0) -> np.ndarray:
    """The raster of one flight over a lot; all of its heights are off by some of `flight`. [m]"""
    rng = np.random.default_rng([lot.seed, draw, 2])
    known = lot.ground
    reach = strength.reach * rng.uniform(*RANGES)
    seen = known + rng.normal(0.0, strength.white, known.shape)
    seen = seen + strength.correlated * _correlated(rng, known.shape, reach)
    seen = seen + strength.grass * (lot.cover == LAWN) + strength.swale * (lot.cover == SWALE_BOTTOM)
    rows, columns = known.shape
    row, column = np.mgrid[0:rows, 0:columns]
    at_row, at_column, size = rng.uniform(4, rows - 4), rng.uniform(4, columns - 4), rng.uniform(1.5, 3.0) / CELL
    # under roofs and one shrub nothing came back, and whoever made the raster drew straight across
    hole = (lot.cover == ROOF) | ((row - at_row) ** 2 + (column - at_column) ** 2 <= size**2)
    seen = _drawn_across(seen, hole) + flight * rng.normal()
    return np.round(seen, 2)


def _drawn_across(heights: np.ndarray, hole: np.ndarray) -> np.ndarray:
    """Straight lines over what is not known, the mean of those along rows and along columns."""
    filled = np.zeros_like(heights)
    for turn in (False, True):
        lines = np.where(hole, np.nan, heights).T if turn else np.where(hole, np.nan, heights)
        places = np.arange(lines.shape[1])
        drawn = np.array([np.interp(places, places[~np.isnan(line)], line[~np.isnan(line)]) for line in lines])
        filled += (drawn.T if turn else drawn) / 2.0
    return filled


def _correlated(rng: np.random.Generator, shape: tuple[int, int], reach: float) -> np.ndarray:
    """A field of unit variance, half of it falling to 1/e over `reach`, half over a third of that."""
    field = np.zeros(shape)
    for length in (reach, reach / 3.0):
        # white noise under a Gaussian of sigma s correlates as exp(-d^2 / 4 s^2)
        sigma = length / 2.0 / CELL
        pad = int(np.ceil(4.0 * sigma))
        wide = gaussian_filter(rng.normal(size=(shape[0] + 2 * pad, shape[1] + 2 * pad)), sigma)
        part = wide[pad : pad + shape[0], pad : pad + shape[1]] * 2.0 * sigma * np.sqrt(np.pi)
        field += np.sqrt(0.5) * part
    return field
