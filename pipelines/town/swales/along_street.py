"""Water of one storm along measured swales: what enters on the way, held where the ground itself closes them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Point

from pipelines.hydrology.along_swale import SwaleFlow, add_along
from pipelines.hydrology.low_spot_ponds import storage_of_low_spot
from pipelines.hydrology.runoff_table import STEP
from pipelines.hydrology.standing_water import route_storage
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.layout.swale.case import SwaleCase, closed_by_ground
from pipelines.layout.swale.site import SwaleSite
from terrain.arrays import FloatArray, IntArray
from terrain.flow.drainage import path_downstream
from terrain.flow.low_spots import LowSpot

Inflows = Mapping[int, Sequence[Hydrograph]]
"""What enters a swale, by the position of the first station below it."""


@dataclass(frozen=True, slots=True, eq=False)
class Pool:
    """A low spot on a swale that the ground closes, by the positions of its first and last station."""

    spot: LowSpot
    first: int
    last: int


@dataclass(frozen=True, slots=True, eq=False)
class Routed:
    """One storm along one swale.

    Attributes
    ----------
    flow : SwaleFlow
        At its stations.
    sent, arrives, stands, soaked : float
        What enters it, and where that went: past its lower end, in its pools, into the ground below these. [m3]
    """

    flow: SwaleFlow
    sent: float
    stands: float
    soaked: float

    @property
    def arrives(self) -> float:
        """What passes its lower end. [m3]"""
        return float(self.flow.flow[-1].sum()) * self.flow.step

    @property
    def out(self) -> Hydrograph:
        """At its lower end."""
        return Hydrograph(self.flow.step, self.flow.flow[-1])


def pools_on(case: SwaleCase, site: SwaleSite) -> tuple[Pool, ...]:
    """Low spots on a swale deeper than the lidar's error that no drive dams, downstream."""
    grid = case.drainage.ground.grid
    rows, columns = grid.cells(site.thalweg.x, site.thalweg.y)
    cells = np.clip(rows, 0, grid.shape[0] - 1) * grid.shape[1] + np.clip(columns, 0, grid.shape[1] - 1)
    found: list[Pool] = []
    for spot in case.spots:
        if spot.contained_in is not None or spot.within_lidar_error:
            continue
        under = np.flatnonzero(np.isin(cells, spot.cells))
        if not under.size:
            continue
        deepest = int(under[np.argmin(site.thalweg.bottom[under])])
        closed = closed_by_ground(case, site, Point(site.thalweg.x[deepest], site.thalweg.y[deepest]))
        if closed is None or closed.id != spot.id:
            continue
        first, last = (site.section_below(float(site.thalweg.station[under[end]])) for end in (0, -1))
        found.append(Pool(spot, first, last))
    found.sort(key=lambda pool: (pool.last, pool.first))
    # of two that share stations the lower one takes the water of both
    return tuple(pool for k, pool in enumerate(found) if k == 0 or pool.first > found[k - 1].last)


def route_along(
    site: SwaleSite, inflows: Inflows, pools: Sequence[Pool], *, velocity: float, soaking_rate: float
) -> Routed:
    """Hydrographs down a swale, each later by its way, level pool where the ground closes it.

    Parameters
    ----------
    site : SwaleSite
        The swale.
    inflows : mapping of int to sequence of Hydrograph
        What enters it.
    pools : sequence of Pool
        Downstream.
    velocity, soaking_rate : float
        At which water travels, and at which the ground under pools takes it. [m/s], [m/s]

    Returns
    -------
    Routed
        All that enters passes its end, stands or soaks in.

    References
    ----------
    .. [1] As of `pipelines.hydrology.along_swale.add_along` and `pipelines.hydrology.standing_water.route_storage`.
    """
    count = len(site.station)
    entered = np.zeros(count)
    for index, several in inflows.items():
        entered[index] += sum(each.volume for each in several)
    rows: list[FloatArray] = []
    start, spill, stands, soaked = 0, None, 0.0, 0.0
    for pool in (*pools, None):
        end = count - 1 if pool is None else pool.last
        if end < start:
            continue
        # the station above lends the stretch its way from the pool to its first one
        above = start - 1 if spill is not None else start
        side = {index - above: list(inflows[index]) for index in range(start, end + 1) if index in inflows}
        if spill is not None:
            side[0] = [spill]
        stretch = add_along(site.station[above : end + 1], side, velocity)
        own = stretch.flow[start - above :]
        if pool is not None:
            water = route_storage(
                Hydrograph(STEP, own[-1]), storage_of_low_spot(pool.spot), infiltration_rate=soaking_rate
            )
            spill, stands, soaked = water.spill, stands + water.final_volume, soaked + water.infiltrated
            own = np.vstack([own[:-1], _as_long(water.spill.flow, own.shape[1])])
        rows.append(own)
        start = end + 1
    longest = max(part.shape[1] for part in rows)
    flow = np.vstack([np.pad(part, ((0, 0), (0, longest - part.shape[1]))) for part in rows])
    return Routed(SwaleFlow(STEP, flow, entered), float(entered.sum()), stands, soaked)


def _as_long(flow: FloatArray, count: int) -> FloatArray:
    """A pool's last station shows what it lets on; a step too many of it is still empty."""
    return np.pad(flow, (0, max(0, count - flow.size)))[: max(count, 0)]


def lower_swales(case: SwaleCase, seeds: IntArray, first: Sequence[int]) -> dict[int, tuple[int, int]]:
    """By swale that ends in another one: which, and at which of its stations; no swale ends in one above it."""
    grid, flat = case.drainage.ground.grid, seeds.ravel()
    found: dict[int, tuple[int, int]] = {}
    for position, site in enumerate(case.sites):
        x, y = float(site.thalweg.x[-1]), float(site.thalweg.y[-1])
        row, column = (int(each) for each in grid.cells(x, y))
        if not (0 <= row < grid.shape[0] and 0 <= column < grid.shape[1]):
            continue
        labels = flat[path_downstream(case.drainage, row * grid.shape[1] + column)]
        for label in labels[labels >= 0].tolist():
            other = int(np.searchsorted(first, label, side="right")) - 1
            if other != position:
                if not _leads_to(found, other, position):
                    found[position] = (other, int(label) - first[other])
                break
    return found


def _leads_to(below: Mapping[int, tuple[int, int]], start: int, goal: int) -> bool:
    while start != goal and start in below:
        start = below[start][0]
    return start == goal


def from_above(below: Mapping[int, tuple[int, int]], count: int) -> list[int]:
    """Swales in an order in which each comes after all that end in it."""

    def depth(position: int) -> int:
        steps = 0
        while position in below:
            position, steps = below[position][0], steps + 1
        return steps

    return sorted(range(count), key=lambda position: -depth(position))
