"""What runs onto something to protect with works in place: the water that runs at it today, counted the same way."""

from collections.abc import Collection
from dataclasses import dataclass, field

import numpy as np

from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.layout.diagnosis.division import CollectingPlace, Division
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.diagnosis.protected import ProtectedEdge, first_at, mask_of
from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.flow.drainage import catchment


@dataclass(frozen=True, slots=True)
class Running:
    """What runs onto an edge at the peak.

    Attributes
    ----------
    arrives : float
        What would without works and ponds. [m3/s]
    flow : float
        What does. [m3/s]
    past : dict of str to float
        Of it what works and low spots let by, by place; the rest comes to none of them. [m3/s]
    through : dict of str to float
        By low spot on the edge what passes through its pond and may run over the edge: which way, no heights tell
        under still water. [m3/s]
    """

    arrives: float
    flow: float
    past: dict[str, float] = field(default_factory=dict)
    through: dict[str, float] = field(default_factory=dict)


def running_at(
    edge: ProtectedEdge, division: Division, water: LotWater, peak: float, caught: Collection[str]
) -> Running:
    """What runs onto an edge; of what works or a pond take before it or right behind it, that alone which they let by.

    Water that comes to a low spot before it comes to the edge stands there; what the low spot then spills over the edge
    runs at it. So does what a trench or a grate before the edge is offered and does not take. What runs over the edge
    to one of the places where works near it catch it, `caught` by id, is told by the share of it that they let by.
    `peak` is that of a square metre of ground [m/s]. The edge was found on the ground that is divided.
    """
    drainage = division.drainage
    inside = mask_of(edge.shape, drainage.ground.grid).ravel()
    # of the same ground, where it was looked at before
    steps, first = edge.cells, edge.areas
    held = division.known.of("held", lambda: _held(division))
    straight = steps[~held[steps] & ~held[drainage.target[steps]]]
    areas = first_at(straight, inside, drainage, np.flatnonzero(held))
    onward = np.array([division.names[number] if number >= 0 else "" for number in division.label[straight]], dtype=str)
    flow = float(areas[~np.isin(onward, list(caught))].sum()) * peak
    past: dict[str, float] = {}
    through: dict[str, float] = {}
    for place in division.places:
        rest = _let_by(place, water).peak
        if rest <= 0.0:
            continue
        over = 0.0
        if place.id in caught:
            over = rest * float(areas[onward == place.id].sum()) / _comes_to(place, division)
        if _runs_onto(place, inside, held, division):
            over = rest
        elif place.kind == "spot" and (within := _within(place, steps, first, division)) > 0.0:
            through[place.id] = rest * within / _comes_to(place, division)
        if over > 0.0:
            past[place.id] = over
    arrives = edge.arriving_area * peak
    # works add no water to what comes there without them
    return Running(arrives, min(flow + sum(past.values()), arrives), past, through)


def _held(division: Division) -> BoolArray:
    """Cells of places."""
    held = np.zeros(division.label.size, dtype=np.bool_)
    for place in division.places:
        held[place.cells] = True
    return held


def _comes_to(place: CollectingPlace, division: Division) -> float:
    """Ground that drains to a place or through it. [m2]"""
    drainage = division.drainage
    count = division.known.of(
        ("comes_to", place.id), lambda: int(np.count_nonzero(catchment(drainage, place.cells)))
    )
    return count * drainage.ground.grid.cell_area


def _let_by(place: CollectingPlace, water: LotWater) -> Hydrograph:
    if place.kind == "spot":
        return water.standing[place.id].spill
    arrives, takes = water.arriving[place.id], water.taken[place.id]
    return Hydrograph(arrives.step, np.maximum(arrives.flow - takes.flow, 0.0))


def _runs_onto(place: CollectingPlace, inside: BoolArray, held: BoolArray, division: Division) -> bool:
    """Whether what a place lets by runs onto the edge before it comes to another place."""
    target, cell = division.drainage.target, division.lowest[place.id]
    # what a trench at the very edge lets by is on it; what a grate amid it lets by came over the edge before
    if place.kind == "taker" and inside[cell] and not inside[place.cells].all():
        return True
    own: set[int] | None = None
    while (onward := int(target[cell])) >= 0:
        if held[onward]:
            own = set(place.cells.tolist()) if own is None else own
            if onward not in own:
                break
        if inside[onward] and not inside[cell]:
            return True
        cell = onward
    return False


def _within(place: CollectingPlace, steps: IntArray, first: FloatArray, division: Division) -> float:
    """Ground whose water steps onto the edge within the pond of a low spot. [m2]"""
    inside = np.zeros(division.label.size, dtype=np.bool_)
    inside[place.cells] = True
    return float(first[inside[steps] | inside[division.drainage.target[steps]]].sum())
