"""What leaves a pool by ground and pipe as a function of its volume."""

from collections.abc import Sequence

import numpy as np

from pipelines.hydraulics.ratings import StageOutflow
from pipelines.hydrology.storage import StageStorage
from terrain.arrays import FloatArray

CLOSE = 1e-9
"""Levels nearer than this to the next are one. [m]"""
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
        # a level so close to the next that hardly a volume lies between would make the slope infinite
        kept = np.concatenate([[True], (np.diff(volumes) > 0.0) & (np.diff(levels) > CLOSE)])
        levels, volumes = levels[kept], volumes[kept]
        # the area that the volumes themselves imply, so that soaking lowers the level at the soil's rate
        ground = infiltration_rate * np.gradient(volumes, levels)
        pipes = np.zeros_like(levels)
        for outlet in outlets:
            pipes += np.interp(levels, outlet.levels, outlet.flows, left=0.0)
        self.storage = storage
        self.volumes = volumes
        self.ground = ground
        self.losses = ground + pipes

    def level(self, volume: FloatArray | float) -> FloatArray:
        """Level of a volume. [m]"""
        return np.asarray(np.interp(volume, self.storage.volumes, self.storage.levels), dtype=np.float64)

    def volume(self, level: float) -> float:
        """Volume below a level. [m3]"""
        return float(np.interp(level, self.storage.levels, self.storage.volumes))
