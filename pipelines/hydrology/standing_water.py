"""Standing water: a hydrograph routed through a pond or basin, level pool, with what leaves it."""

from dataclasses import dataclass

import numpy as np

from pipelines.hydraulics.held_back import RatingInTime
from pipelines.hydraulics.ratings import StageOutflow
from pipelines.hydrology.errors import StorageError
from pipelines.hydrology.pool_kernel import route_pool
from pipelines.hydrology.pool_rates import PoolRates
from pipelines.hydrology.storage import StageStorage
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.inputs.limits import require_not_negative
from terrain.arrays import FloatArray
from terrain.unit_table import DAY

WATCHED = 3.0 * DAY
"""How long after the inflow standing water is followed. [s]"""
WET_DEPTH = 0.001
"""Water shallower than this does not stand. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class PoolWater:
    """How water stood in one pond or basin, and where it went.

    Attributes
    ----------
    step : float
        [s]
    volumes, depths : (n,) float ndarray
        At the times 0, step, ...; depth above the bottom. [m3], [m]
    outflow, spill : Hydrograph
        By pipe or weir, and over the sill. A flow is the mean of the step that ends at its time, so that volumes are
        exact. [m3/s]
    infiltrated, inflow_volume, start_volume, final_volume : float
        [m3]
    depth : float
        Greatest. [m]
    time_above : float
        How long it stood deeper than the tolerable depth. [s]
    stands_at_end : bool
        Whether it still did when last looked at.
    falls : float
        How fast its level falls after the last of the volumes. [m/s]
    """

    step: float
    volumes: FloatArray
    depths: FloatArray
    outflow: Hydrograph
    spill: Hydrograph
    infiltrated: float
    inflow_volume: float
    start_volume: float
    final_volume: float
    depth: float
    time_above: float
    stands_at_end: bool
    falls: float = 0.0

    def time_over(self, depth: float) -> float:
        """How long it stands deeper than so much, infinite where nothing takes what still does. [s]

        Every time that is told of standing water is this one, so that none outlasts that of a lesser depth.
        """
        left = float(self.depths[-1]) - depth
        followed = float(np.count_nonzero(self.depths[1:] > depth)) * self.step
        if left <= 0.0:
            return followed
        return followed + left / self.falls if self.falls > 0.0 else float(np.inf)

    def depth_at(self, times: FloatArray) -> FloatArray:
        """Depth at times since the rain began; after the last that was followed it falls as it then did. [s] to [m]"""
        end = (self.depths.size - 1) * self.step
        followed = np.interp(times, np.arange(self.depths.size) * self.step, self.depths)
        depth: FloatArray = np.maximum(followed - self.falls * np.maximum(times - end, 0.0), 0.0)
        return depth

    @property
    def balance(self) -> float:
        """Water in less water out and kept: 0 but for round-off. [m3]"""
        out = self.outflow.volume + self.spill.volume + self.infiltrated
        return self.start_volume + self.inflow_volume - out - self.final_volume


def route_storage(
    inflow: Hydrograph,
    storage: StageStorage,
    *,
    infiltration_rate: float = 0.0,
    outflow: StageOutflow | RatingInTime | None = None,
    start_volume: float = 0.0,
    tolerable_depth: float = WET_DEPTH,
    watched: float = WATCHED,
    weight_of_end: float = 1.0,
) -> PoolWater:
    """Route a hydrograph through a storage, level pool.

    Parameters
    ----------
    inflow : Hydrograph
        What arrives.
    storage : StageStorage
        Up to the sill, over which water leaves at once.
    infiltration_rate : float
        Into the ground under the water. [m/s]
    outflow : StageOutflow, RatingInTime or None
        A pipe; or a weir, the storage carried up above its sill.
    start_volume : float
        Already in it. [m3]
    tolerable_depth : float
        For `time_above`. [m]
    watched : float
        How long after the inflow to follow it, if it does not run dry before. [s]
    weight_of_end : float
        Weight of a step's end in the outflow of the step: 1 is stable for any step, 0.5 is the textbook's modified
        Puls, for steps well below the storage's own time. [-]

    Returns
    -------
    PoolWater
        Depths in m, volumes in m3, times in s.

    Raises
    ------
    StorageError
        If a number means nothing, or the start is more than the storage holds.

    Notes
    -----
    Each step solves V1 + w dt L(V1) = V0 + dt I - (1 - w) dt L(V0), L being what leaves by ground and pipe, linear in
    volume between fine levels, and w the weight of the end. What left is shared between ground and pipe as their
    rates are at the step's end. Where nothing but the ground takes water once the inflow has ended, the level falls
    at the infiltration rate, whatever the shape.

    References
    ----------
    .. [1] Chow, V. T., Maidment, D. R., Mays, L. W., "Applied Hydrology", 1988, sec. 8.2, level pool routing.
    .. [2] Ponce, V. M., "Engineering Hydrology", 1989, ch. 8, storage indication method.
    """
    require_not_negative(
        StorageError, infiltration_rate=infiltration_rate, tolerable_depth=tolerable_depth, watched=watched
    )
    if not 0.0 <= start_volume <= storage.capacity:
        raise StorageError(f"start volume {start_volume:g} m3: give 0 to the capacity, {storage.capacity:g} m3")
    if not 0.5 <= weight_of_end <= 1.0:
        raise StorageError(f"weight of the step's end {weight_of_end:g}: give 0.5 to 1")
    which, which_step = np.zeros(1, dtype=np.int64), inflow.step
    ratings: tuple[StageOutflow, ...] = () if outflow is None or isinstance(outflow, RatingInTime) else (outflow,)
    if isinstance(outflow, RatingInTime):
        ratings, which, which_step = outflow.ratings, outflow.which, outflow.step
    # of one pond at the same levels, whichever rating holds
    each = [PoolRates(storage, infiltration_rate, (one,)) for one in ratings] or [PoolRates(storage, infiltration_rate)]
    rates = each[0]
    volumes, left, spilt, infiltrated = route_pool(
        inflow.flow, inflow.step, weight_of_end, float(start_volume), 0.0 if outflow is None else watched,
        rates.volumes, rates.ground, np.array([one.losses for one in each]), which, which_step,
    )  # fmt: skip
    depths = rates.level(volumes) - storage.levels[0]
    final, standing = float(volumes[-1]), float(depths[-1])
    tail = 0.0
    if outflow is None:
        # the ground takes what stands once the inflow has ended
        final = rates.volume(float(storage.levels[0]) + max(0.0, standing - infiltration_rate * watched))
        infiltrated += float(volumes[-1]) - final
        if standing > tolerable_depth:
            above = standing - tolerable_depth
            tail = min(above / infiltration_rate, watched) if infiltration_rate > 0.0 else watched
    elif standing > tolerable_depth:
        # what stands when nothing moves any more goes on standing
        tail = max(0.0, watched - (volumes.size - 1 - inflow.flow.size) * inflow.step)
    return PoolWater(
        step=inflow.step,
        volumes=volumes,
        depths=depths,
        outflow=Hydrograph(inflow.step, left),
        spill=Hydrograph(inflow.step, spilt),
        infiltrated=infiltrated,
        inflow_volume=inflow.volume,
        start_volume=start_volume,
        final_volume=final,
        depth=float(depths.max()),
        time_above=float((depths[1:] > tolerable_depth).sum()) * inflow.step + tail,
        stands_at_end=float(rates.level(final) - storage.levels[0]) > tolerable_depth,
        falls=infiltration_rate,
    )
