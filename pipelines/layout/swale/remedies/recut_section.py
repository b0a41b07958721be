"""What a new trapezoid takes out of a measured section, by the level of its bottom."""

from dataclasses import dataclass

import numpy as np

from terrain.arrays import FloatArray
from terrain.swale.sections import SwaleSection

# Spacing of the points across at which ground and trapezoid are compared, and how far past the banks. [m]
_STEP, _BEYOND = 0.05, 3.0


@dataclass(frozen=True, slots=True, eq=False)
class RecutSection:
    """A section and the trapezoid that is to be cut into it; made by `recut_section`.

    The area dug is the sum over points across of weight x max(0, reach - bottom): convex in the bottom.

    Attributes
    ----------
    station, ground, bank : float
        Along the swale; lowest ground and lower bank. [m]
    offsets, elevations : (n,) float ndarray
        Ground across, level beyond the banks. [m]
    bottom_width : float
        Of the trapezoid. [m]
    side_slope : float
        Horizontal to one vertical. [-]
    middle : float
        Offset of the trapezoid's middle. [m]
    reach : (n,) float ndarray
        Bottom level at which the trapezoid just touches the ground at each point. [m]
    weight : (n,) float ndarray
        Width that each point stands for. [m]
    """

    station: float
    ground: float
    bank: float
    offsets: FloatArray
    elevations: FloatArray
    bottom_width: float
    side_slope: float
    middle: float
    reach: FloatArray
    weight: FloatArray

    def dug(self, bottom: float) -> float:
        """Area taken out by a trapezoid with its bottom at a level. [m2]"""
        return float(self.weight @ np.maximum(self.reach - bottom, 0.0))

    def filled(self, bottom: float) -> float:
        """Area put in below such a bottom. [m2]"""
        inside = self._in_bottom()
        return float(self.weight[inside] @ np.maximum(bottom - self.elevations[inside], 0.0))

    def cost(self, bottom: float, fill_cost: float) -> float:
        """Area dug, and a share of the area filled. [m2]"""
        return self.dug(bottom) + fill_cost * self.filled(bottom)

    def tangent(self, bottom: float, fill_cost: float) -> tuple[float, float]:
        """Straight line below `cost` that touches it at a level: its value at level 0, and its gradient."""
        inside = self._in_bottom()
        gradient = -float(self.weight[self.reach > bottom].sum())
        gradient += fill_cost * float(self.weight[inside][self.elevations[inside] < bottom].sum())
        return self.cost(bottom, fill_cost) - gradient * bottom, gradient

    def top_width(self, bottom: float) -> float:
        """Width of the cut. [m]"""
        cut = self.reach > bottom
        return float(self.offsets[cut].max() - self.offsets[cut].min()) if cut.any() else 0.0

    def lowest_for_width(self, widest: float) -> float:
        """Lowest bottom whose cut is no wider than asked. [m]"""
        high = self.ground
        low = self.bank - 10.0
        if self.top_width(high) > widest:
            return high
        for _ in range(40):
            middle = (low + high) / 2.0
            if self.top_width(middle) > widest:
                low = middle
            else:
                high = middle
        return high

    def after(self, bottom: float) -> tuple[FloatArray, FloatArray]:
        """Offsets and ground once it is cut, its bottom filled to the new level. [m]"""
        outward = np.maximum(np.abs(self.offsets - self.middle) - self.bottom_width / 2.0, 0.0)
        trapezoid = bottom + outward / self.side_slope
        ground = np.minimum(self.elevations, trapezoid)
        inside = self._in_bottom()
        ground[inside] = np.maximum(ground[inside], bottom)
        return self.offsets, ground

    def _in_bottom(self) -> np.ndarray:
        return np.abs(self.offsets - self.middle) <= self.bottom_width / 2.0 + _STEP / 2.0


def recut_section(
    section: SwaleSection, *, bottom_width: float, side_slope: float
) -> RecutSection:
    """Prepare a section for re-cutting."""
    left, right = float(section.offsets[0]) - _BEYOND, float(section.offsets[-1]) + _BEYOND
    count = max(int(np.ceil((right - left) / _STEP)), 2) + 1
    offsets = np.linspace(left, right, count)
    # np.interp holds the end values beyond the banks
    elevations = np.interp(offsets, section.offsets, section.elevations)
    elevations = np.where(offsets < section.offsets[0], section.left_level, elevations)
    elevations = np.where(offsets > section.offsets[-1], section.right_level, elevations)
    low = offsets[elevations <= section.bottom + 0.01]
    middle = float(low.mean()) if low.size else 0.0
    reach = elevations - np.maximum(np.abs(offsets - middle) - bottom_width / 2.0, 0.0) / side_slope
    weight = np.full(count, offsets[1] - offsets[0])
    weight[[0, -1]] /= 2.0
    return RecutSection(
        section.station, section.bottom, section.bank_full, offsets, elevations, bottom_width, side_slope, middle,
        reach, weight,
    )  # fmt: skip
