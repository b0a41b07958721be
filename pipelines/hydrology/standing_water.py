"""Standing water: a hydrograph routed through a pond or basin, level pool, with what leaves it."""

import math
from dataclasses import dataclass, field

import numpy as np

from pipelines.hydraulics.ratings import StageOutflow
from pipelines.hydrology.errors import StorageError
from pipelines.hydrology.pool_rates import PoolRates
from pipelines.hydrology.storage import FloatPump, StageStorage
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.inputs.limits import require_not_negative
from terrain.arrays import FloatArray

WATCHED = 3.0 * 86400.0
"""How long after the inflow standing water is followed. [s]"""
WET_DEPTH = 0.001
"""Water shallower than this does not stand. [m]"""
MOST_STARTS_A_STEP = 50
_STILL = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class StandingWater:
    """How water stood and where it went.

    Attributes
    ----------
    step : float
        [s]
    volumes, depths : (n,) float ndarray
        At the times 0, step, ...; depth above the bottom. [m3], [m]
    outflow, spill, pumped : Hydrograph
        By pipe or weir, over the sill, and by the pump as it comes out of its line. A flow is the mean of the step
        that ends at its time, so that volumes are exact. [m3/s]
    infiltrated, inflow_volume, start_volume, final_volume : float
        The last with the water in the pump's line. [m3]
    depth, time_of_depth : float
        Greatest depth and when. [m], [s]
    time_above : float
        How long it stood deeper than the tolerable depth. [s]
    stands_at_end : bool
        Whether it still did when last looked at.
    starts : int
        Of the pump.
    starts_per_hour : float
        Most in any hour. [1/h]
    short_cycles : bool
        The line gives back what lies between the floats, so the pump starts again as soon as it stops.
    """

    step: float
    volumes: FloatArray
    depths: FloatArray
    outflow: Hydrograph
    spill: Hydrograph
    pumped: Hydrograph
    infiltrated: float
    inflow_volume: float
    start_volume: float
    final_volume: float
    depth: float
    time_of_depth: float
    time_above: float
    stands_at_end: bool
    starts: int
    starts_per_hour: float
    short_cycles: bool

    @property
    def balance(self) -> float:
        """Water in less water out and kept: 0 but for round-off. [m3]"""
        out = self.outflow.volume + self.spill.volume + self.pumped.volume + self.infiltrated
        return self.start_volume + self.inflow_volume - out - self.final_volume


def route_storage(
    inflow: Hydrograph,
    storage: StageStorage,
    *,
    infiltration_rate: float = 0.0,
    outflow: StageOutflow | None = None,
    pump: FloatPump | None = None,
    start_volume: float = 0.0,
    tolerable_depth: float = WET_DEPTH,
    watched: float = WATCHED,
    weight_of_end: float = 1.0,
) -> StandingWater:
    """Route a hydrograph through a storage, level pool.

    Parameters
    ----------
    inflow : Hydrograph
        What arrives.
    storage : StageStorage
        Up to the sill, over which water leaves at once.
    infiltration_rate : float
        Into the ground under the water. [m/s]
    outflow : StageOutflow or None
        A pipe; or a weir, the storage carried up above its sill.
    pump : FloatPump or None
        Its on and off levels within the storage.
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
    StandingWater
        Depths in m, volumes in m3, times in s.

    Raises
    ------
    StorageError
        If a number means nothing, or the pump's levels lie outside the storage.

    Notes
    -----
    Each step solves V1 + w dt L(V1) = V0 + dt I - (1 - w) dt L(V0), L being what leaves by ground and pipe, linear in
    volume between fine levels, and w the weight of the end. A float's level is met within the step. What left is
    shared between ground and pipe as their rates are at the step's end. Where nothing but the ground
    takes water once the inflow has ended, the level falls at the infiltration rate, whatever the shape.

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
    rates = PoolRates(storage, infiltration_rate, () if outflow is None else (outflow,))
    pool = _Pool(rates, pump, inflow.step, start_volume, weight_of_end)
    for flow in inflow.flow.tolist():
        pool.advance(flow)
    if outflow is None and pump is None:
        tail = _drain_into_ground(pool, infiltration_rate, tolerable_depth, watched)
    else:
        end = pool.time + watched
        while pool.time < end and not pool.rests():
            pool.advance(0.0)
        # what stands when nothing moves any more goes on standing
        tail = max(0.0, end - pool.time) if pool.depth() > tolerable_depth else 0.0
    return _summary(inflow, pool, start_volume, tolerable_depth, tail)


@dataclass(slots=True)
class _Pool:
    """The state of one storage while it is stepped through."""

    rates: PoolRates
    pump: FloatPump | None
    step: float
    volume: float
    weight: float
    time: float = 0.0
    running: bool = False
    in_line: float = 0.0
    infiltrated: float = 0.0
    on: float = math.inf
    off: float = -math.inf
    volumes: list[float] = field(default_factory=list)
    outflow: list[float] = field(default_factory=lambda: [0.0])
    spill: list[float] = field(default_factory=lambda: [0.0])
    pumped: list[float] = field(default_factory=lambda: [0.0])
    starts: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.volumes.append(self.volume)
        if self.pump is None:
            return
        bottom, top = float(self.rates.storage.levels[0]), float(self.rates.storage.levels[-1])
        if not bottom <= self.pump.off_level < self.pump.on_level <= top:
            raise StorageError(
                f"the pump's floats at {self.pump.off_level:g} and {self.pump.on_level:g} m lie outside the storage, "
                f"which reaches from {bottom:g} to {top:g} m: set them within it"
            )
        self.on, self.off = self.rates.volume(self.pump.on_level), self.rates.volume(self.pump.off_level)

    def rests(self) -> bool:
        """Whether nothing would happen without inflow."""
        still = self.rates.at(self.rates.losses, self.volume) * self.step < _STILL * self.rates.capacity
        return not self.running and (still or self.volume < _STILL * self.rates.capacity)

    def depth(self) -> float:
        """Of the water now. [m]"""
        return float(self.rates.level(self.volume) - self.rates.storage.levels[0])

    def advance(self, flow: float) -> None:
        """One step under a constant inflow. [m3/s]"""
        for gone in (self.outflow, self.spill, self.pumped):
            gone.append(0.0)
        left, starts = self.step, 0
        while left > 0.0:
            # past so many starts in one step the pump is left off to its end: it short-cycles
            may_start = starts < MOST_STARTS_A_STEP
            if may_start and not self.running and self.volume >= self.on:
                self.running = True
                self.starts.append(self.time + self.step - left)
                starts += 1
            left -= self._stretch(flow, left, may_start)
        self.time += self.step
        self.volumes.append(self.volume)

    def _stretch(self, flow: float, left: float, may_start: bool) -> float:
        """Go on until a float switches or the step ends; the time that took. [s]"""
        lifted = self.pump.flow if self.pump is not None and self.running else 0.0
        at_start = (1.0 - self.weight) * self.rates.at(self.rates.losses, self.volume) if self.weight < 1.0 else 0.0
        net = flow - lifted - at_start
        end = self.rates.step(self.volume + left * net, left * self.weight)
        gone, stops = left, self.running and end <= self.off
        if stops or (may_start and not self.running and self.volume < self.on < end):
            # the step's own equation solved for its length, so that it ends at the float's level
            target = self.off if stops else self.on
            gone = (target - self.volume) / (net - self.weight * self.rates.at(self.rates.losses, target))
            gone, end = min(max(gone, 0.0), left), target
        self._settle(flow, lifted, gone, end)
        if stops:
            self.running = False
            self.volume += self.in_line
            self.in_line = 0.0
        return gone

    def _settle(self, flow: float, lifted: float, gone: float, end: float) -> None:
        """Book where the water of a stretch went."""
        lost = self.volume + gone * (flow - lifted) - end
        into_ground = lost * self.rates.ground_share(end)
        self.infiltrated += into_ground
        self.outflow[-1] += (lost - into_ground) / self.step
        spilt = max(0.0, end - self.rates.capacity)
        self.spill[-1] += spilt / self.step
        self.volume = end - spilt
        if self.pump is not None and lifted > 0.0:
            # an empty line fills before anything comes out of it
            filled = min(lifted * gone, self.pump.drain_back - self.in_line)
            self.in_line += filled
            self.pumped[-1] += (lifted * gone - filled) / self.step


def _drain_into_ground(pool: _Pool, rate: float, tolerable_depth: float, watched: float) -> float:
    """Let the ground take what stands once the inflow has ended; how long it stood too deep. [s]"""
    bottom = float(pool.rates.storage.levels[0])
    depth = pool.depth()
    end = pool.rates.volume(bottom + max(0.0, depth - rate * watched))
    pool.infiltrated += pool.volume - end
    pool.volume = end
    if depth <= tolerable_depth:
        return 0.0
    return min((depth - tolerable_depth) / rate, watched) if rate > 0.0 else watched


def _summary(
    inflow: Hydrograph, pool: _Pool, start_volume: float, tolerable_depth: float, tail: float
) -> StandingWater:
    step, bottom = pool.step, float(pool.rates.storage.levels[0])
    volumes = np.array(pool.volumes)
    depths = pool.rates.level(volumes) - bottom
    deepest = int(depths.argmax())
    return StandingWater(
        step=step,
        volumes=volumes,
        depths=depths,
        outflow=Hydrograph(step, np.array(pool.outflow)),
        spill=Hydrograph(step, np.array(pool.spill)),
        pumped=Hydrograph(step, np.array(pool.pumped)),
        infiltrated=pool.infiltrated,
        inflow_volume=inflow.volume,
        start_volume=start_volume,
        final_volume=pool.volume + pool.in_line,
        depth=float(depths[deepest]),
        time_of_depth=deepest * step,
        time_above=float((depths[1:] > tolerable_depth).sum()) * step + tail,
        stands_at_end=pool.depth() > tolerable_depth,
        starts=len(pool.starts),
        starts_per_hour=most_in_an_hour(pool.starts),
        short_cycles=pool.pump is not None and pool.pump.drain_back >= pool.on - pool.off,
    )


def most_in_an_hour(times: list[float]) -> float:
    """Most events in any hour. [1/h]"""
    most = first = 0
    for last, time in enumerate(times):
        while time - times[first] >= 3600.0:
            first += 1
        most = max(most, last - first + 1)
    return float(most)
