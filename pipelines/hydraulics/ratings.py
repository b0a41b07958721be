"""Outflow against level, as a value that routing takes."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.hydraulics.errors import HydraulicsError
from terrain.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class StageOutflow:
    """What leaves at each level; made by `stage_outflow`, `rate_outlet` or `sum_outflows`.

    Attributes
    ----------
    stage : (n,) float ndarray
        Rising. [m]
    outflow : (n,) float ndarray
        Never falling. [m3/s]
    """

    stage: FloatArray
    outflow: FloatArray

    def at(self, stage: float) -> float:
        """Outflow at a level, straight between points; the first below them, the last above. [m3/s]"""
        return float(np.interp(stage, self.stage, self.outflow))


def stage_outflow(stage: Sequence[float] | FloatArray, outflow: Sequence[float] | FloatArray) -> StageOutflow:
    """Rating from points."""
    levels = np.array(stage, dtype=np.float64)
    flows = np.array(outflow, dtype=np.float64)
    if levels.ndim != 1 or levels.size < 2 or levels.shape != flows.shape:
        raise HydraulicsError(
            f"a rating needs two points or more, here are {levels.size} stages and {flows.size} outflows"
        )
    faults = []
    for i in range(levels.size):
        if not np.isfinite(levels[i]) or not np.isfinite(flows[i]) or flows[i] < 0:
            faults.append(f"point {i + 1} is stage {levels[i]}, outflow {flows[i]}")
        elif i and levels[i] <= levels[i - 1]:
            faults.append(f"stage of point {i + 1} is not above that of point {i}")
        elif i and flows[i] < flows[i - 1]:
            faults.append(f"outflow of point {i + 1} is below that of point {i}")
    if faults:
        raise HydraulicsError("rating: " + "; ".join(faults))
    return StageOutflow(levels, flows)


def rate_outlet(stage: Sequence[float] | FloatArray, outflow_at: Callable[[float], float]) -> StageOutflow:
    """Rating of a grate, pipe, culvert or weir at the levels given."""
    levels = np.array(stage, dtype=np.float64)
    flows = np.array([outflow_at(float(level)) for level in levels])
    # a root finder's last digits may make a flat rating fall by a hair, which is not a fault of the outlet
    highest = np.maximum.accumulate(flows)
    return stage_outflow(levels, np.where(flows >= highest * (1 - 1e-9), highest, flows))


def sum_outflows(ratings: Sequence[StageOutflow]) -> StageOutflow:
    """Rating of several outlets of one pond together, at all their levels."""
    if not ratings:
        raise HydraulicsError("no outlet given: a pond's rating is the sum of at least one")
    levels = np.unique(np.concatenate([rating.stage for rating in ratings]))
    flows = np.sum([np.interp(levels, rating.stage, rating.outflow) for rating in ratings], axis=0)
    return stage_outflow(levels, flows)
