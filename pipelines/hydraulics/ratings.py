"""Outflow against level, as a value that routing takes."""

from dataclasses import dataclass

import numpy as np

from pipelines.hydraulics.errors import HydraulicsError
from terrain.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class StageOutflow:
    """What leaves at each level: a pipe, an orifice or a weir.

    Attributes
    ----------
    levels, flows : (k,) float ndarray
        Levels increase, flows don't fall; below the first level nothing leaves, above the last its flow. [m], [m3/s]
    """

    levels: FloatArray
    flows: FloatArray

    def __post_init__(self) -> None:
        if self.levels.shape != self.flows.shape or self.levels.size < 2:
            raise HydraulicsError("an outflow rating needs two levels or more, and one flow a level")
        if not (np.isfinite(self.levels).all() and np.isfinite(self.flows).all()):
            raise HydraulicsError("an outflow rating holds a number that is not finite")
        if (np.diff(self.levels) <= 0.0).any() or (np.diff(self.flows) < 0.0).any() or self.flows[0] < 0.0:
            raise HydraulicsError(
                "an outflow rating needs levels that increase, and flows of 0 or above that don't fall"
            )
