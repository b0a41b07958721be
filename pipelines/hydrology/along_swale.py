"""Flow along a swale: hydrographs of what enters it on the way, added in time as they travel down."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.hydrology.errors import HydrographError
from pipelines.hydrology.flow_path import PUBLISHED, Travel, TravelRules, along_path
from pipelines.hydrology.hydrographs import runoff_hydrograph
from pipelines.hydrology.losses import excess_of_shares
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.hydrology.rain.storms import refined
from pipelines.hydrology.runoff_table import STEP
from pipelines.hydrology.sub_catchment import Hydrograph, SurfaceShare
from pipelines.hydrology.surface_map import SurfaceMap, shares_of
from terrain.arrays import FloatArray, IntArray
from terrain.flow.drainage import Drainage, flow_lengths, path_downstream, upstream_labels


@dataclass(frozen=True, slots=True, eq=False)
class SideInflow:
    """Ground that drains into one stretch of a swale.

    Attributes
    ----------
    stretch : int
        Its label.
    cells : (n,) int ndarray
        Flat indices, the stretch's own among them.
    area : float
        [m2]
    shares : tuple of SurfaceShare
        Its surfaces.
    travel : Travel
        Along the longest path to the swale.
    """

    stretch: int
    cells: IntArray
    area: float
    shares: tuple[SurfaceShare, ...]
    travel: Travel


@dataclass(frozen=True, slots=True, eq=False)
class SwaleFlow:
    """Flow at the stations of a swale through a storm.

    Attributes
    ----------
    step : float
        [s]
    flow : (n, m) float ndarray
        At each station, downstream, at times 0, step, ... [m3/s]
    side : (n,) float ndarray
        Water that enters between the station above and each, discharges included. [m3]
    """

    step: float
    flow: FloatArray
    side: FloatArray

    @property
    def peak(self) -> FloatArray:
        """Largest flow at each station. [m3/s]"""
        peak: FloatArray = self.flow.max(axis=1)
        return peak

    @property
    def volume(self) -> FloatArray:
        """Water that passes each station. [m3]"""
        volume: FloatArray = self.flow.sum(axis=1) * self.step
        return volume


def side_inflows(
    drainage: Drainage,
    seeds: IntArray,
    surfaces: SurfaceMap,
    *,
    two_year_24h_depth: float,
    return_period: float | None,
    travel: TravelRules = PUBLISHED,
    compacted: bool = True,
    piped: IntArray | None = None,
) -> tuple[SideInflow, ...]:
    """Divide the ground by the stretch of swale that its water enters first.

    Parameters
    ----------
    drainage : Drainage
        Directions over the ground.
    seeds : (rows, cols) int ndarray
        Label of the stretch on each cell of a swale, -1 elsewhere.
    surfaces : SurfaceMap
        What lies on the ground.
    two_year_24h_depth : float
        For the travel time of sheet flow. [m]
    return_period : float or None
        Of the storm. [yr]
    travel : TravelRules
        What travel time is reckoned by.
    compacted : bool
        Soil is taken one group worse than mapped.
    piped : (n,) int ndarray, optional
        Flat indices of cells whose water is collected and comes in as a point discharge instead.

    Returns
    -------
    tuple of SideInflow
        Those that hold any ground, by label.

    References
    ----------
    .. [1] Of each number: the function of `flow_path` and `surface_map` it comes from.
    """
    labels = upstream_labels(drainage, seeds).ravel()
    if piped is not None:
        labels = labels.copy()
        labels[piped] = -1
    lengths = flow_lengths(drainage, seeds >= 0).ravel()
    found = np.flatnonzero(labels >= 0)
    order = found[np.argsort(labels[found], kind="stable")]
    bounds = np.flatnonzero(np.diff(labels[order])) + 1
    inflows = []
    for cells in np.split(order, bounds) if len(order) else ():
        farthest = int(cells[np.argmax(np.nan_to_num(lengths[cells]))])
        way = _travel(drainage, seeds, surfaces, farthest, two_year_24h_depth, travel)
        shares = shares_of(
            surfaces, cells, slope=way.slope, return_period=return_period, roofs_connected=False,
            compacted=compacted,
        )  # fmt: skip
        area = len(cells) * drainage.ground.grid.cell_area
        inflows.append(SideInflow(int(labels[cells[0]]), cells, area, shares, way))
    return tuple(inflows)


def side_hydrographs(
    inflows: Sequence[SideInflow], rain: DesignRain, *, step: float = STEP
) -> dict[int, Hydrograph]:
    """Hydrograph of each side inflow in a storm.

    Parameters
    ----------
    inflows : sequence of SideInflow
        As divided.
    rain : DesignRain
        The run's rain.
    step : float
        [s]

    Returns
    -------
    dict of int to Hydrograph
        By label. [m3/s]

    References
    ----------
    .. [1] As of `pipelines.hydrology.hydrographs.runoff_hydrograph`.
    """
    storm = refined(rain.storm, step)
    return {
        inflow.stretch: runoff_hydrograph(
            excess_of_shares(storm, inflow.shares), inflow.area, inflow.travel.time_of_concentration, step
        )
        for inflow in inflows
    }


def constant_discharge(flow: float, duration: float, step: float = STEP) -> Hydrograph:
    """A discharge that runs steadily through a storm: a pump, or a drain at its peak."""
    if not (np.isfinite(flow) and flow >= 0.0 and np.isfinite(duration) and duration > 0.0):
        raise HydrographError(f"a discharge of {flow} m3/s for {duration} s: give a flow of 0 or above and a time")
    return Hydrograph(step, np.full(max(int(np.ceil(duration / step)), 1), flow))


def add_along(
    station: FloatArray,
    side: Mapping[int, Sequence[Hydrograph]],
    velocity: float,
    *,
    step: float = STEP,
) -> SwaleFlow:
    """Add what enters a swale, each hydrograph later by its way down.

    Hydrographs travel unchanged at one speed, that of the full swale in every storm: storage along the swale, which
    lowers peaks, is left out, and so is what soaks in.

    Parameters
    ----------
    station : (n,) float ndarray
        Distance downstream. [m]
    side : mapping of int to sequence of Hydrograph
        What enters by the position of the first station below it; all of one step. [m3/s]
    velocity : float
        At which it travels. [m/s]
    step : float
        [s]

    Returns
    -------
    SwaleFlow
        All the water that entered above passes every station.

    Raises
    ------
    HydrographError
        If steps differ, or the velocity is not above zero.

    References
    ----------
    .. [1] Lag by travel time: Chow, V. T., Maidment, D. R., Mays, L. W., "Applied Hydrology", 1988, sec. 8.1.
    """
    if not (np.isfinite(velocity) and velocity > 0.0):
        raise HydrographError(f"a velocity of {velocity} m/s along the swale: give one above 0")
    if any(each.step != step for several in side.values() for each in several):
        raise HydrographError(f"hydrographs along a swale must all have a step of {step:g} s")
    lag = (np.asarray(station) - station[0]) / velocity / step
    margin = int(np.ceil(lag[-1]))
    longest = max((len(each.flow) for several in side.values() for each in several), default=1)
    count = longest + margin + 2
    entered = np.zeros(len(station))
    # in time that goes with the water nothing travels, so what enters is shifted once, and summed down the swale
    with_water = np.zeros((len(station), margin + count))
    for index, several in side.items():
        for each in several:
            entered[index] += each.volume
            _add_shifted(with_water[index], each.flow, margin - float(lag[index]))
    together = np.cumsum(with_water, axis=0)
    starts = margin - np.ceil(lag).astype(np.int64)
    flow = np.stack([row[start : start + count] for row, start in zip(together, starts, strict=True)])
    return SwaleFlow(step, flow, entered)


def _travel(
    drainage: Drainage, seeds: IntArray, surfaces: SurfaceMap, start: int, two_year_24h_depth: float,
    rules: TravelRules,
) -> Travel:
    """Travel from a cell to the first cell of the swale."""
    path = path_downstream(drainage, start)
    in_swale = np.flatnonzero(seeds.ravel()[path] >= 0)
    path = path[: int(in_swale[0]) + 1] if len(in_swale) else path
    grid = drainage.ground.grid
    if len(path) < 2:
        # a stretch that nothing but its own rain reaches
        width = min(grid.cell_width, grid.cell_height)
        distance, elevation = np.array([0.0, width]), np.zeros(2)
        return along_path(
            distance, elevation, surfaces.key_at(path[:1]), two_year_24h_depth=two_year_24h_depth, rules=rules
        )
    x, y = grid.centres(path // grid.shape[1], path % grid.shape[1])
    distance = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    filled, ground = drainage.filled.ravel()[path], drainage.ground.elevation.ravel()[path]
    # roofs and barriers have no filled height
    elevation = np.where(np.isnan(filled), ground, filled)
    return along_path(
        distance, elevation, surfaces.key_at(path[:-1]), two_year_24h_depth=two_year_24h_depth, rules=rules
    )


def _add_shifted(total: FloatArray, flow: FloatArray, later: float) -> None:
    whole = int(np.floor(later))
    part = later - whole
    total[whole : whole + len(flow)] += (1.0 - part) * flow
    total[whole + 1 : whole + 1 + len(flow)] += part * flow
