"""A model of what lidar does to ground: noise from cell to cell, noise that neighbors share, and what grass adds."""

from dataclasses import dataclass, field

import numpy as np

from terrain.arrays import FloatArray

PAVED, LAWN, LONG_GRASS, WATER = (np.int64(cover) for cover in range(4))
"""Covers, by what they add to a height."""


@dataclass(frozen=True, slots=True)
class Bias:
    """By how much a cover makes lidar read high: at least, likely, at most; low where negative. [m]"""

    low: float
    likely: float
    high: float

    def times(self, factor: float) -> "Bias":
        """The same of lidar that is so many times as far off."""
        return Bias(factor * self.low, factor * self.likely, factor * self.high)

    def drawn(self, generator: np.random.Generator) -> float:
        """One value of a triangle over the three. [m]"""
        if self.high <= self.low:
            return self.likely
        return float(generator.triangular(self.low, self.likely, self.high))

    @property
    def variance(self) -> float:
        """Of that triangle. [m2]"""
        a, b, c = self.low, self.high, self.likely
        return (a * a + b * b + c * c - a * b - a * c - b * c) / 18.0


@dataclass(frozen=True, slots=True)
class LidarModel:
    """How the heights of one lot err, but for a bias that all of them share.

    Attributes
    ----------
    white : float
        Standard error that changes from cell to cell. [m]
    correlated : float
        Standard error that neighbors share. [m]
    noise_length : float
        Distance over which that forgets itself by a factor e. [m]
    lawn, long_grass : Bias
        What mown lawn, and long grass at the bottom of a swale, add; paving adds nothing.
    water : Bias
        How much higher than usual water stood on that day; seeds nothing.
    """

    white: float
    correlated: float
    noise_length: float
    lawn: Bias
    long_grass: Bias
    water: Bias = field(default=Bias(0.0, 0.0, 0.0), repr=False)

    def power(self, wave_number: FloatArray, cell_area: float) -> FloatArray:
        """Variance that the noise of one cell has at each angular wave number, as a share of white noise's. [m2]

        Notes
        -----
        The exponential covariance c^2 exp(-d / L) in the plane has the spectrum 2 pi c^2 L^2 (1 + (k L)^2)^(-3/2) [1]_.

        References
        ----------
        .. [1] Stein, "Interpolation of Spatial Data", Springer, 1999, section 2.10 (Matern class, nu = 1/2, from
           memory).
        """
        length = self.noise_length
        shared = 2.0 * np.pi * (self.correlated * length) ** 2 / (1.0 + (wave_number * length) ** 2) ** 1.5
        power: FloatArray = self.white**2 + shared / cell_area
        return power


def wave_numbers(shape: tuple[int, int], cell_height: float, cell_width: float) -> FloatArray:
    """Angular wave number of each term of a real transform. [1/m]"""
    down = np.fft.fftfreq(shape[0], cell_height)[:, None]
    across = np.fft.rfftfreq(shape[1], cell_width)[None, :]
    found: FloatArray = 2.0 * np.pi * np.hypot(down, across)
    return found
