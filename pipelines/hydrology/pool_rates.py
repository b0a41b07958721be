"""What leaves a pool by ground and pipe as a function of its volume, and one implicit step of it."""

from bisect import bisect_right
from collections.abc import Sequence

import numpy as np

from pipelines.hydraulics.ratings import StageOutflow
from pipelines.hydrology.storage import StageStorage
from terrain.arrays import FloatArray

FINE_LEVELS = 64
"""Levels that a storage is divided into at the least, so that rates are close to linear between."""


class PoolRates:
    """Loss rates of one pool, linear in volume between fine levels.

    Parameters
    ----------
    storage : StageStorage
        Up to its sill.
    infiltration_rate : float
        Into the ground under the water. [m/s]
    outlets : sequence of StageOutflow
        Pipes and weirs, by level.
    """

    def __init__(
        self, storage: StageStorage, infiltration_rate: float = 0.0, outlets: Sequence[StageOutflow] = ()
    ) -> None:
        levels = np.linspace(storage.levels[0], storage.levels[-1], FINE_LEVELS)
        for more in (storage.levels, *(outlet.levels for outlet in outlets)):
            levels = np.union1d(levels, more[(more > levels[0]) & (more < levels[-1])])
        volumes = np.interp(levels, storage.levels, storage.volumes)
        # a level so close to the next that no volume lies between would make the slope infinite
        kept = np.concatenate([[True], np.diff(volumes) > 0.0])
        levels, volumes = levels[kept], volumes[kept]
        # the area that the volumes themselves imply, so that soaking lowers the level at the soil's rate
        ground = infiltration_rate * np.gradient(volumes, levels)
        pipes = np.zeros_like(levels)
        for outlet in outlets:
            pipes += np.interp(levels, outlet.levels, outlet.flows, left=0.0)
        self.storage = storage
        self.capacity = float(volumes[-1])
        self.volumes: list[float] = volumes.tolist()
        self.levels: list[float] = levels.tolist()
        self.ground: list[float] = ground.tolist()
        self.losses: list[float] = (ground + pipes).tolist()

    def level(self, volume: FloatArray | float) -> FloatArray:
        """Level of a volume. [m]"""
        return np.asarray(np.interp(volume, self.storage.volumes, self.storage.levels), dtype=np.float64)

    def volume(self, level: float) -> float:
        """Volume below a level. [m3]"""
        return float(np.interp(level, self.storage.levels, self.storage.volumes))

    def at(self, rates: list[float], volume: float) -> float:
        """One of the columns at a volume."""
        low = min(max(bisect_right(self.volumes, volume) - 1, 0), len(self.volumes) - 2)
        below, above = self.volumes[low], self.volumes[low + 1]
        part = min(max((volume - below) / (above - below), 0.0), 1.0)
        return rates[low] + part * (rates[low + 1] - rates[low])

    def step(self, wanted: float, step: float) -> float:
        """Volume at the end of a step: the V for which V + step x L(V) is `wanted`, at least 0. [m3]"""
        volumes, losses = self.volumes, self.losses
        if wanted <= step * losses[0]:
            return 0.0
        low, high = 0, len(volumes) - 1
        if wanted >= volumes[high] + step * losses[high]:
            return wanted - step * losses[high]
        while high - low > 1:
            middle = (low + high) // 2
            if volumes[middle] + step * losses[middle] <= wanted:
                low = middle
            else:
                high = middle
        below, above = volumes[low] + step * losses[low], volumes[high] + step * losses[high]
        return volumes[low] + (wanted - below) / (above - below) * (volumes[high] - volumes[low])

    def ground_share(self, volume: float) -> float:
        """Share of the losses at a volume that goes into the ground; of a dry pool, of its first water. [-]"""
        losses = self.at(self.losses, volume)
        if losses > 0.0:
            return self.at(self.ground, volume) / losses
        # what left must have gone the way the next water would
        return self.ground[1] / self.losses[1] if self.losses[1] > 0.0 else 1.0
