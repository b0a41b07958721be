"""Water down the tree: sub-catchments and low spots to where it leaves, and which ground adds to a peak."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter

from scipy.optimize import brentq

from pipelines.hydrology.checks import require_positive
from pipelines.hydrology.errors import StorageError
from pipelines.hydrology.losses import runoff_of_shares, total_area
from pipelines.hydrology.pond_routing import RoutedNode, nothing, route_ponds, together
from pipelines.hydrology.ponds import PondNode
from pipelines.hydrology.standing_water import WATCHED
from pipelines.hydrology.sub_catchment import Hydrograph, SurfaceShare


@dataclass(frozen=True, slots=True, eq=False)
class RunoffNode:
    """A piece of ground, or a collector, that passes on at once what it sheds and what reaches it.

    Attributes
    ----------
    id, drains_to : str
        drains_to may be another node, a pond, or anything else, where the water leaves the network.
    hydrograph : Hydrograph or None
        What it sheds itself.
    area : float
        [m2]
    """

    id: str
    drains_to: str
    hydrograph: Hydrograph | None
    area: float = 0.0


Node = RunoffNode | PondNode


def route_down(
    nodes: Iterable[Node],
    *,
    step: float,
    tolerable_depths: Mapping[str, float] | None = None,
    watched: float = WATCHED,
) -> dict[str, RoutedNode]:
    """Route hydrographs down a network of ground and ponds; flows add where they meet, peaks don't.

    Parameters
    ----------
    nodes : iterable of RunoffNode or PondNode
        In any order.
    step : float
        Of all hydrographs. [s]
    tolerable_depths : mapping of str to float or None
        By pond, for `time_above`; else a millimetre. [m]
    watched : float
        How long after the inflow to follow standing water. [s]

    Returns
    -------
    dict of str to RoutedNode
        Every node, and every place where water leaves, by id. [m3/s], [m3]

    Raises
    ------
    StorageError
        If ids repeat, or the network runs in a circle; the message names the circle.
    HydrographError
        If steps differ.

    Notes
    -----
    Ponds that merge are routed together: an overflow fills the neighbour first, then the two rise as one, and fall
    apart again. A pond shut in keeps what it can't hold as an outflow to nowhere, under its own id.

    References
    ----------
    .. [1] Level pool routing as in `route_storage`; filling, spilling and merging after Barnes, R., Callaghan, K. L.,
       Wickert, A. D., "Computing water flow through complex landscapes - Part 3: Fill-Spill-Merge", Earth Surface
       Dynamics 9, 2021, 105-121, here in time.
    """
    require_positive(StorageError, step=step)
    by_id = _by_id(nodes)
    ponds = {id: node for id, node in by_id.items() if isinstance(node, PondNode)}
    unit_of = {id: _root(id, ponds) if id in ponds else id for id in by_id}
    inflows: dict[str, list[Hydrograph]] = {}
    routed: dict[str, RoutedNode] = {}
    for unit in _order(by_id, unit_of):
        node = by_id[unit]
        if isinstance(node, RunoffNode):
            own = [] if node.hydrograph is None else [node.hydrograph]
            flow = together([*own, *inflows.get(unit, [])], step)
            routed[unit] = RoutedNode(unit, flow, flow, nothing(step))
            inflows.setdefault(node.drains_to, []).append(flow)
        else:
            members = {id: ponds[id] for id in ponds if unit_of[id] == unit}
            done = route_ponds(node, members, inflows, step, tolerable_depths or {}, watched)
            routed |= done
            if node.spills_to is not None:
                inflows.setdefault(node.spills_to, []).append(done[unit].outflow)
            for id, member in members.items():
                if member.outlet_to is not None:
                    inflows.setdefault(member.outlet_to, []).append(done[id].drained)
    for id in sorted(set(inflows) - set(by_id)):
        flow = together(inflows[id], step)
        routed[id] = RoutedNode(id, flow, nothing(step), nothing(step), spills=False)
    return routed


def contributing_area(nodes: Iterable[Node], routed: Mapping[str, RoutedNode]) -> dict[str, float]:
    """Area that adds to the flow at each node and at each place where water leaves, in the storm that was routed.

    Parameters
    ----------
    nodes : iterable of RunoffNode or PondNode
        As routed.
    routed : mapping of str to RoutedNode
        Answer of `route_down`.

    Returns
    -------
    dict of str to float
        Ground behind a pond that does not spill adds nothing beyond it. [m2]

    Raises
    ------
    StorageError
        If ids repeat, or the network runs in a circle.

    References
    ----------
    .. [1] Common practice, no source.
    """
    by_id = _by_id(nodes)
    ponds = {id: node for id, node in by_id.items() if isinstance(node, PondNode)}
    unit_of = {id: _root(id, ponds) if id in ponds else id for id in by_id}
    areas: dict[str, float] = {}
    for unit in _order(by_id, unit_of):
        node = by_id[unit]
        if isinstance(node, RunoffNode):
            areas[unit] = areas.get(unit, 0.0) + node.area
            goes_to: str | None = node.drains_to
        else:
            goes_to = node.spills_to if routed[unit].spills else None
        if goes_to is not None:
            below = unit_of.get(goes_to, goes_to)
            areas[below] = areas.get(below, 0.0) + areas.get(unit, 0.0)
    return areas


def rain_that_fills(volume: float, shares: Sequence[SurfaceShare], *, most: float = 1.0) -> float | None:
    """Depth of rain whose runoff from a ground fills a low spot: it spills only above that.

    Parameters
    ----------
    volume : float
        Of the low spot at its sill. [m3]
    shares : sequence of SurfaceShare
        Surfaces of all the ground that drains to it.
    most : float
        Deepest rain looked at. [m]

    Returns
    -------
    float or None
        None where not even the deepest does. What soaks in meanwhile is not counted. [m]

    Raises
    ------
    SurfaceError
        If the ground has no area.
    StorageError
        If the volume is not finite and positive.

    References
    ----------
    .. [1] As of `pipelines.hydrology.losses.runoff_of_shares`, solved for the rain.
    """
    require_positive(StorageError, volume=volume, most=most)
    area = total_area(shares)

    def excess(rain: float) -> float:
        return runoff_of_shares(rain, shares) * area - volume

    return float(brentq(excess, 0.0, most, xtol=1e-7)) if excess(most) >= 0.0 else None


def _by_id(nodes: Iterable[Node]) -> dict[str, Node]:
    listed = list(nodes)
    by_id = {node.id: node for node in listed}
    if len(by_id) < len(listed):
        ids = [node.id for node in listed]
        raise StorageError(f"ids repeat in the network: {', '.join(sorted({id for id in ids if ids.count(id) > 1}))}")
    for node in listed:
        if isinstance(node, PondNode) and node.contained_in is not None and node.contained_in not in by_id:
            raise StorageError(f"pond {node.id} is contained in {node.contained_in}, which is not in the network")
    return by_id


def _root(id: str, ponds: Mapping[str, PondNode]) -> str:
    seen = {id}
    while (above := ponds[id].contained_in) is not None:
        if above in seen:
            raise StorageError(f"ponds contain each other in a circle: {', '.join(sorted(seen))}")
        seen.add(above)
        id = above
    return id


def _order(by_id: Mapping[str, Node], unit_of: Mapping[str, str]) -> list[str]:
    """Nodes and outermost ponds, upstream first."""
    sorter: TopologicalSorter[str] = TopologicalSorter(dict.fromkeys(sorted(set(unit_of.values())), ()))
    for id, node in by_id.items():
        if isinstance(node, RunoffNode):
            goes_to = [node.drains_to]
        else:
            goes_to = [t for t in (node.spills_to if unit_of[id] == id else None, node.outlet_to) if t is not None]
        for target in goes_to:
            if target in unit_of and unit_of[target] != unit_of[id]:
                sorter.add(unit_of[target], unit_of[id])
    try:
        return list(sorter.static_order())
    except CycleError as error:
        raise StorageError(f"water runs in a circle: {' -> '.join(error.args[1])}") from None
