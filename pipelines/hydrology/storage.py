"""Stage and storage of a pond or basin, and the pump in it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.hydraulics.ratings import StageOutflow
from pipelines.hydrology.errors import StorageError
from pipelines.inputs.limits import require_not_negative, require_positive
from terrain.arrays import FloatArray

SUBDIVISIONS = 16
"""Levels between two that are given with their areas."""


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


@dataclass(frozen=True, slots=True)
class FloatPump:
    """A pump that floats turn on and off.

    Attributes
    ----------
    flow : float
        What it delivers against the line, not its rated flow. [m3/s]
    on_level, off_level : float
        [m]
    drain_back : float
        Water that the line gives back each time it stops. [m3]
    """

    flow: float
    on_level: float
    off_level: float
    drain_back: float = 0.0

    def __post_init__(self) -> None:
        require_positive(StorageError, pump_flow=self.flow)
        require_not_negative(StorageError, drain_back=self.drain_back)
        if not self.on_level > self.off_level:
            raise StorageError(
                f"the pump turns on at {self.on_level:g} m and off at {self.off_level:g} m: the on level must be higher"
            )


def storage_of_levels(levels: Sequence[float], areas: Sequence[float]) -> StageStorage:
    """Storage from areas at levels, the area linear between.

    Parameters
    ----------
    levels : sequence of float
        Increasing. [m]
    areas : sequence of float
        Not falling, the last above 0. [m2]

    Returns
    -------
    StageStorage
        Volumes by the average of end areas, which is exact where the area is linear. [m3]

    Raises
    ------
    StorageError
        If they don't make a storage.

    References
    ----------
    .. [1] Average end area; any text on reservoir storage.
    """
    stage, area = np.asarray(levels, dtype=np.float64), np.asarray(areas, dtype=np.float64)
    if stage.shape != area.shape:
        raise StorageError("levels and areas of a storage differ in length: give one area a level")
    if not (np.diff(stage) > 0.0).all():
        raise StorageError("levels of a storage don't increase: give them from the bottom up")
    # finer, since routing takes volume as straight between levels, and here it is curved
    fine = np.unique(np.concatenate([stage, *np.linspace(stage[:-1], stage[1:], SUBDIVISIONS + 1)]))
    wetted = np.interp(fine, stage, area)
    volume = np.concatenate([[0.0], np.cumsum(0.5 * (wetted[1:] + wetted[:-1]) * np.diff(fine))])
    return StageStorage(fine, wetted, volume)


def basin_storage(diameter: float, bottom: float, top: float) -> StageStorage:
    """Storage of a round basin with upright walls.

    Parameters
    ----------
    diameter : float
        Inside. [m]
    bottom, top : float
        Levels. [m]

    Returns
    -------
    StageStorage
        Levels in m, areas in m2, volumes in m3.

    Raises
    ------
    StorageError
        If the diameter is not positive or the top not above the bottom.

    References
    ----------
    .. [1] Volume of a cylinder.
    """
    require_positive(StorageError, diameter=diameter, height=top - bottom)
    area = 0.25 * np.pi * diameter * diameter
    return storage_of_levels([bottom, top], [area, area])


def above_sill(storage: StageStorage, height: float) -> StageStorage:
    """The same storage with its walls carried up above the sill, for a sill that takes head to flow."""
    require_positive(StorageError, height=height)
    area = float(storage.areas[-1])
    return StageStorage(
        np.append(storage.levels, storage.levels[-1] + height),
        np.append(storage.areas, area),
        np.append(storage.volumes, storage.volumes[-1] + area * height),
    )


def weir_rating(
    sill: float, width: float, *, height: float = 0.3, coefficient: float = 1.44, count: int = 31
) -> StageOutflow:
    """Outflow over a broad sill.

    Parameters
    ----------
    sill : float
        Its level. [m]
    width : float
        [m]
    height : float
        Head up to which it is rated. [m]
    coefficient : float
        C in Q = C b h^1.5; 1.44 is 2.6 in feet. [m^0.5/s]
    count : int
        Points of the rating.

    Returns
    -------
    StageOutflow
        Closer together near the sill. [m], [m3/s]

    Raises
    ------
    StorageError
        If a number is not finite and positive.

    References
    ----------
    .. [1] FHWA, "Urban Drainage Design Manual", HEC-22, sec. 8.4.4.2, broad-crested weir, coefficient from memory.
    """
    require_positive(StorageError, width=width, height=height, coefficient=coefficient)
    heads = height * (np.arange(max(2, count)) / (max(2, count) - 1)) ** 2
    return StageOutflow(sill + heads, coefficient * width * heads**1.5)
