"""Ponds that spill into each other and merge: low spots of one depression, routed step by step together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from pipelines.hydrology.errors import StorageError
from pipelines.hydrology.pool_rates import PoolRates
from pipelines.hydrology.storage import StageOutflow, StageStorage


@dataclass(frozen=True, slots=True, eq=False)
class PondNode:
    """A low spot as a storage in the network.

    Attributes
    ----------
    id : str
        Its id.
    storage : StageStorage
        From its bottom to its sill; of a merged pond the whole, with what it holds below its parts' sill.
    spills_to : str or None
        What takes its overflow: another pond, a sub-catchment, an edge; None where it is shut in.
    contained_in : str or None
        The pond it merges into when full.
    infiltration_rate : float
        [m/s]
    outlet : StageOutflow or None
        A pipe out of it, rated by level.
    outlet_to : str or None
        What takes the pipe's water.
    """

    id: str
    storage: StageStorage
    spills_to: str | None
    contained_in: str | None = None
    infiltration_rate: float = 0.0
    outlet: StageOutflow | None = None
    outlet_to: str | None = None


@dataclass(slots=True)
class Pool:
    """One pond while the cluster is stepped through.

    Attributes
    ----------
    node : PondNode
        What it is.
    parts : tuple of Pool
        The ponds that merge into it.
    layer : float
        What it holds above its full parts; of a pond without parts all it holds. [m3]
    room, below : float
        Most that the layer can be, and what its parts hold when full. [m3]
    rates : PoolRates
        Losses by its whole volume.
    drains : tuple of (str, PoolRates)
        Outlets in and below it: the pond each belongs to, and its rate alone.
    infiltrated : float
        [m3]
    """

    node: PondNode
    parts: tuple["Pool", ...]
    below: float
    room: float
    rates: PoolRates
    drains: tuple[tuple[str, PoolRates], ...]
    layer: float = 0.0
    infiltrated: float = 0.0
    inside: frozenset[str] = field(default_factory=frozenset)

    @property
    def volume(self) -> float:
        """All it holds. [m3]"""
        return self.layer + sum(part.volume for part in self.parts)

    @property
    def merged(self) -> bool:
        """Whether its parts are under one water surface."""
        return bool(self.parts) and self.layer > 0.0


def make_pool(root: PondNode, members: Mapping[str, PondNode]) -> Pool:
    """A pond with the ponds inside it.

    Parameters
    ----------
    root : PondNode
        The outermost.
    members : mapping of str to PondNode
        All ponds by id.

    Returns
    -------
    Pool
        Dry.

    Raises
    ------
    StorageError
        If its parts hold more than it does.
    """
    parts = tuple(make_pool(node, members) for node in members.values() if node.contained_in == root.id)
    below = sum(part.node.storage.capacity for part in parts)
    room = root.storage.capacity - below
    if room < -1e-9 * root.storage.capacity:
        raise StorageError(
            f"pond {root.id} holds {root.storage.capacity:g} m3 but the ponds inside it {below:g} m3: "
            "give a merged pond its whole volume"
        )
    inside = frozenset({root.id}.union(*(part.inside for part in parts)))
    outlets = {id: members[id].outlet for id in sorted(inside)}
    drains = tuple(
        (id, PoolRates(root.storage, 0.0, (outlet,))) for id, outlet in outlets.items() if outlet is not None
    )
    rates = PoolRates(root.storage, root.infiltration_rate, [o for o in outlets.values() if o is not None])
    return Pool(root, parts, below, max(room, 0.0), rates, drains, inside=inside)


def advance(pool: Pool, arrivals: Mapping[str, float], step: float, drained: dict[str, float]) -> float:
    """One step of a pond and the ponds inside it.

    Parameters
    ----------
    pool : Pool
        Changed in place.
    arrivals : mapping of str to float
        Water that arrives at each pond without parts. [m3]
    step : float
        [s]
    drained : dict of str to float
        What each pond's outlet takes is added here. [m3]

    Returns
    -------
    float
        What overflows the pond as a whole. [m3]

    Raises
    ------
    StorageError
        Never on a pond that `make_pool` made.
    """
    if not pool.parts:
        return _as_one(pool, arrivals.get(pool.node.id, 0.0), step, drained)
    if pool.layer > 0.0:
        return _as_one(pool, sum(arrivals.get(id, 0.0) for id in pool.inside), step, drained)
    overflows = [(part, advance(part, arrivals, step, drained)) for part in pool.parts]
    over = 0.0
    for part, overflow in overflows:
        if overflow > 0.0:
            over += _fill(pool, overflow, part)
    return over


def _as_one(pool: Pool, arrived: float, step: float, drained: dict[str, float]) -> float:
    """Step a pond under one water surface; a merged one falls apart where its water falls below its parts' sill."""
    before = pool.below + pool.layer + arrived
    if before <= 0.0:
        return 0.0
    after = pool.rates.step(before, step)
    lost = before - after
    into_pipes = 0.0
    if pool.drains and lost > 0.0:
        flows = [(id, rates.at(rates.losses, after)) for id, rates in pool.drains]
        whole = pool.rates.at(pool.rates.losses, after)
        for id, flow in flows:
            part = lost * flow / whole if whole > 0.0 else 0.0
            drained[id] = drained.get(id, 0.0) + part
            into_pipes += part
    pool.infiltrated += lost - into_pipes
    pool.layer = after - pool.below
    if pool.layer < 0.0:
        _lower(pool.parts, -pool.layer)
        pool.layer = 0.0
    over = max(0.0, pool.layer - pool.room)
    pool.layer -= over
    return over


def _lower(parts: Sequence[Pool], missing: float) -> None:
    """Take water that a merged pond lost below its parts' sill out of the full parts, by what they hold."""
    whole = sum(part.volume for part in parts)
    for part in parts:
        share = missing * part.volume / whole
        taken = min(part.layer, share)
        part.layer -= taken
        if share > taken and part.parts:
            _lower(part.parts, share - taken)


def _fill(pool: Pool, volume: float, source: Pool) -> float:
    """Give the overflow of one part to its neighbours and then to the merged pond; what is too much for it. [m3]"""
    left = [part for part in pool.parts if part is not source]
    over = source
    while left and volume > 0.0:
        # what the neighbour can't take goes the way its own overflow goes
        target = over.node.spills_to
        over = next((part for part in left if target in part.inside), left[0])
        left.remove(over)
        volume = _pour(over, volume, target)
    pool.layer += volume
    surplus = max(0.0, pool.layer - pool.room)
    pool.layer -= surplus
    return surplus


def _pour(pool: Pool, volume: float, target: str | None) -> float:
    """Fill a pond from its parts upward; what does not go in. [m3]"""
    if not pool.merged:
        for part in sorted(pool.parts, key=lambda part: target not in part.inside):
            volume = _pour(part, volume, target)
    taken = min(volume, pool.room - pool.layer)
    pool.layer += taken
    return volume - taken
