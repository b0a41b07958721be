"""Ponds of one cluster through a whole storm, and what each took in and gave on."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.hydrology.hydrographs import add_hydrographs
from pipelines.hydrology.ponds import PondNode, Pool, advance, make_pool
from pipelines.hydrology.standing_water import WET_DEPTH
from pipelines.hydrology.sub_catchment import Hydrograph

TAIL_STEPS = 20
"""Steps taken at once after the inflow has ended, when all is slow."""
SPILLS = 1e-6
"""Share of its capacity that a pond must spill to count as spilling. [-]"""
_STILL = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class RoutedNode:
    """What a node took in and gave on.

    Attributes
    ----------
    id : str
        Of the node, or of the place where water leaves the network.
    inflow, outflow : Hydrograph
        What arrived (its own runoff with it), and what went on over ground. [m3/s]
    drained : Hydrograph
        What went on by an outlet. [m3/s]
    stored, infiltrated : float
        Of a pond, its parts not counted. [m3]
    depth, time_above : float
        Of a pond: greatest depth, and how long it was deeper than tolerable. [m], [s]
    stands_at_end : bool
        Still deeper when last looked at.
    spills : bool
        Whether any water to speak of goes on over ground; of ponds that merge, out of the outermost.
    """

    id: str
    inflow: Hydrograph
    outflow: Hydrograph
    drained: Hydrograph
    stored: float = 0.0
    infiltrated: float = 0.0
    depth: float = 0.0
    time_above: float = 0.0
    stands_at_end: bool = False
    spills: bool = True


def route_ponds(
    root: PondNode,
    members: Mapping[str, PondNode],
    inflows: Mapping[str, list[Hydrograph]],
    step: float,
    tolerable_depths: Mapping[str, float],
    watched: float,
) -> dict[str, RoutedNode]:
    """Route what arrives at the ponds of one cluster, those that merge into one outermost pond.

    Parameters
    ----------
    root : PondNode
        The outermost.
    members : mapping of str to PondNode
        It and all inside it.
    inflows : mapping of str to list of Hydrograph
        By what they arrive at. [m3/s]
    step : float
        [s]
    tolerable_depths : mapping of str to float
        By pond. [m]
    watched : float
        How long after the inflow to follow what stands. [s]

    Returns
    -------
    dict of str to RoutedNode
        Every pond; only the outermost has an outflow over ground. [m3/s], [m3]

    Raises
    ------
    StorageError
        If ponds hold more than the one they merge into.
    """
    pool = make_pool(root, members)
    arriving = {id: together(inflows[id], step) for id in members if id in inflows}
    entries = {id: _entry(pool, id) for id in arriving}
    watch = {id: _Watch(tolerable_depths.get(id, WET_DEPTH)) for id in members}
    count = max((flow.flow.size for flow in arriving.values()), default=0)
    series = [(entries[id], np.pad(flow.flow, (0, count - flow.flow.size)).tolist()) for id, flow in arriving.items()]
    spill = [0.0]
    drained: dict[str, list[float]] = {id: [0.0] for id, node in members.items() if node.outlet is not None}
    # losses and spill are those of one short step while water arrives, of many at once when all is slow
    tail = math.ceil(watched / step / TAIL_STEPS)
    for k in range(count + tail):
        at_once = 1 if k < count else TAIL_STEPS
        arrivals: dict[str, float] = {}
        if k < count:
            for entry, flows in series:
                arrivals[entry] = arrivals.get(entry, 0.0) + flows[k] * step
        gone: dict[str, float] = {}
        before = pool.volume if k >= count else 0.0
        over = advance(pool, arrivals, step * at_once, gone)
        if k >= count and before - pool.volume <= _STILL * root.storage.capacity:
            # nothing moves any more: what stands goes on standing
            _look(pool, None, step * TAIL_STEPS * (count + tail - k), watch)
            break
        spill.extend([over / step / at_once] * at_once)
        for id, flows in drained.items():
            flows.extend([gone.get(id, 0.0) / step / at_once] * at_once)
        _look(pool, None, step * at_once, watch)
    pools = _all(pool)
    outflow = Hydrograph(step, np.array(spill))
    capacity = root.storage.capacity
    return {
        id: RoutedNode(
            id,
            arriving.get(id, nothing(step)),
            outflow if id == root.id else nothing(step),
            Hydrograph(step, np.array(drained[id])) if id in drained else nothing(step),
            stored=pools[id].layer,
            infiltrated=pools[id].infiltrated,
            depth=watch[id].deepest,
            time_above=watch[id].time,
            stands_at_end=watch[id].above,
            spills=id == root.id and outflow.volume > SPILLS * capacity,
        )
        for id in members
    }


@dataclass(slots=True)
class _Watch:
    """How deep and how long a pond stands."""

    tolerable: float
    deepest: float = 0.0
    time: float = 0.0
    above: bool = False

    def see(self, depth: float, step: float) -> None:
        """Note a depth [m] that lasts a step [s]."""
        self.above = depth > self.tolerable
        if depth > self.deepest:
            self.deepest = depth
        if self.above:
            self.time += step


def _look(pool: Pool, level: float | None, step: float, watch: Mapping[str, _Watch]) -> None:
    """Note the depth of a pond and its parts; `level` is that of a merged pond around it."""
    bottom = float(pool.node.storage.levels[0])
    if level is None and (pool.merged or not pool.parts):
        level = pool.rates.at(pool.rates.levels, pool.below + pool.layer)
    if level is not None:
        watch[pool.node.id].see(level - bottom, step)
    else:
        watch[pool.node.id].above = False
    for part in pool.parts:
        _look(part, level, step, watch)


def _entry(pool: Pool, id: str) -> str:
    """The pond without parts, lowest in the given one, where its water gathers."""
    while pool.node.id != id:
        pool = next(part for part in pool.parts if id in part.inside)
    while pool.parts:
        pool = min(pool.parts, key=lambda part: float(part.node.storage.levels[0]))
    return pool.node.id


def _all(pool: Pool) -> dict[str, Pool]:
    found = {pool.node.id: pool}
    for part in pool.parts:
        found |= _all(part)
    return found


def together(hydrographs: Sequence[Hydrograph], step: float) -> Hydrograph:
    """Sum of any number of hydrographs, none included.

    Parameters
    ----------
    hydrographs : sequence of Hydrograph
        [m3/s]
    step : float
        Of all. [s]

    Returns
    -------
    Hydrograph
        [m3/s]

    Raises
    ------
    HydrographError
        If a step differs.
    """
    return add_hydrographs([nothing(step), *hydrographs])


def nothing(step: float) -> Hydrograph:
    """No flow.

    Parameters
    ----------
    step : float
        [s]

    Returns
    -------
    Hydrograph
        One flow of 0. [m3/s]
    """
    return Hydrograph(step, np.zeros(1))
