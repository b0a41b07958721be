"""What leaves by a line while the water at its outlet rises and falls: less head, less flow."""

from dataclasses import dataclass

import numpy as np

from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.ratings import StageOutflow
from terrain.arrays import FloatArray, IntArray

FINE = 32
"""Levels of a rating that outlet water cuts into. [-]"""
STAGE_STEP = 0.01
"""Levels at the outlet that lie closer are one. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class RatingInTime:
    """Outflow against level, one rating after the other: the last holds on.

    Attributes
    ----------
    ratings : tuple of StageOutflow
        Each that holds at some time. [m], [m3/s]
    which : (n,) int ndarray
        Of these, at the times 0, step, ...
    step : float
        [s]
    """

    ratings: tuple[StageOutflow, ...]
    which: IntArray
    step: float


@dataclass(frozen=True, slots=True, eq=False)
class HeldBack:
    """A line that ends in water.

    Attributes
    ----------
    crown : float
        Of its outlet: water below that holds nothing back. [m]
    head : float
        What is lost along it at the flows that it is laid for, running full. [m]
    stage : (n,) float ndarray
        Level at the outlet at times 0, step, ... [m]
    step : float
        [s]
    """

    crown: float
    head: float
    stage: FloatArray
    step: float

    def __post_init__(self) -> None:
        if self.stage.size == 0 or not np.isfinite(self.stage).all() or self.head < 0.0 or self.step <= 0.0:
            raise HydraulicsError("a line that ends in water needs finite levels there, a head of 0 or more and a step")

    def share(self, level: FloatArray | float, stage: FloatArray | float) -> FloatArray:
        """Share of its flow that a line carries from a level to a stage at its outlet. [-]

        Notes
        -----
        All losses of a full line go with the square of its flow: share^2 = (level - stage) / head, 1 at the most.

        References
        ----------
        .. [1] FHWA, "Hydraulic Design of Highway Culverts", HDS-5, 3rd ed., FHWA-HIF-12-026, 2012, ch. 3, full barrel.
        """
        fall = np.maximum(np.asarray(level, dtype=np.float64) - stage, 0.0)
        carried = np.minimum(np.sqrt(fall / max(self.head, 1e-9)), 1.0)
        shared: FloatArray = np.where(np.asarray(stage) <= self.crown, 1.0, carried)
        return shared

    def limit(self, rim: float, times: FloatArray) -> FloatArray:
        """Share that is carried from a grate's rim at some times. [-]"""
        known = np.arange(self.stage.size) * self.step
        return self.share(rim, np.interp(times, known, self.stage))

    def rating(self, free: StageOutflow) -> RatingInTime:
        """What leaves a pond at each level through the storm, from its rating with a free outlet."""
        classes, which = np.unique(np.ceil(np.maximum(self.stage, self.crown) / STAGE_STEP - 1e-6), return_inverse=True)
        levels = np.union1d(np.linspace(free.levels[0], free.levels[-1], FINE), free.levels)
        flows = np.interp(levels, free.levels, free.flows)
        ratings = tuple(
            StageOutflow(levels, flows * self.share(levels, stage) if stage > self.crown + STAGE_STEP else flows)
            for stage in classes * STAGE_STEP
        )
        return RatingInTime(ratings, which, self.step)
