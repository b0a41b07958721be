"""Stage and storage of a pond or basin."""

from dataclasses import dataclass

import numpy as np

from pipelines.hydrology.errors import StorageError
from terrain.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class StageStorage:
    """What a pond or basin holds by level.

    Attributes
    ----------
    levels, areas, volumes : (k,) float ndarray
        From the bottom, where the volume is 0, to the sill; levels and volumes increase, areas don't fall.
        [m], [m2], [m3]
    """

    levels: FloatArray
    areas: FloatArray
    volumes: FloatArray

    def __post_init__(self) -> None:
        faults = []
        if not (self.levels.ndim == 1 and self.levels.shape == self.areas.shape == self.volumes.shape):
            raise StorageError("levels, areas and volumes of a storage differ in length: give one of each a level")
        if self.levels.size < 2:
            faults.append("it has fewer than two levels")
        if not all(np.isfinite(column).all() for column in (self.levels, self.areas, self.volumes)):
            faults.append("a number is not finite")
        if (np.diff(self.levels) <= 0.0).any() or (np.diff(self.volumes) <= 0.0).any():
            faults.append("levels or volumes don't increase")
        if (self.areas < 0.0).any() or (np.diff(self.areas) < 0.0).any():
            faults.append("areas fall with level, or are negative")
        if self.volumes.size and self.volumes[0] != 0.0:
            faults.append(f"its first volume is {self.volumes[0]:g} m3 rather than 0")
        if faults:
            raise StorageError(f"a storage can't be used: {'; '.join(faults)}")

    @property
    def capacity(self) -> float:
        """Volume at the sill. [m3]"""
        return float(self.volumes[-1])
