"""What runs onto something to protect with works in place: the water that runs at it today, counted the same way."""

import numpy as np

from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.layout.diagnosis.diagnose import unit_peak
from pipelines.layout.diagnosis.division import CollectingPlace, Division
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.diagnosis.protected import ProtectedEdge, first_at, mask_of, steps_onto
from terrain.arrays import BoolArray, FloatArray, IntArray


def running_at(edge: ProtectedEdge, division: Division, water: LotWater) -> float:
    """Peak of what runs onto an edge; of what works or a pond take before it, that alone which they let by. [m3/s]

    Water that comes to a low spot before it comes to the edge stands there; what the low spot then spills over the edge
    runs at it. So does what a trench or a grate before the edge is offered and does not take.
    """
    drainage = division.drainage
    inside = mask_of(edge.shape, drainage.ground.grid).ravel()
    steps = steps_onto(inside, drainage)
    held = np.zeros(inside.size, dtype=bool)
    for place in division.places:
        held[place.cells] = True
    straight = steps[~held[steps] & ~held[drainage.target[steps]]]
    area = float(first_at(straight, inside, drainage, np.flatnonzero(held)).sum())
    first = first_at(steps, inside, drainage)
    parts = [area * unit_peak(water)]
    for place in division.places:
        rest = _let_by(place, water)
        if rest.peak > 0.0:
            parts.append(rest.peak * _share_onto(place, steps, first, inside, division))
    # works add no water to what comes there without them
    return min(sum(parts), edge.arriving_area * unit_peak(water))


def _let_by(place: CollectingPlace, water: LotWater) -> Hydrograph:
    if place.kind == "spot":
        return water.standing[place.id].spill
    arrives, takes = water.arriving[place.id], water.taken[place.id]
    return Hydrograph(arrives.step, np.maximum(arrives.flow - takes.flow, 0.0))


def _share_onto(
    place: CollectingPlace, steps: IntArray, first: FloatArray, inside: BoolArray, division: Division
) -> float:
    """Share of what a place lets by that runs onto the edge before it comes to the next place. [-]"""
    drainage, target = division.drainage, division.drainage.target
    own = np.zeros(inside.size, dtype=bool)
    own[place.cells] = True
    lowest = division.lowest[place.id]
    if place.kind == "spot":
        # on its way through the pond, as far as that lies on or before the edge
        through = float(first[own[steps] | own[target[steps]]].sum()) / float(drainage.accumulation.ravel()[lowest])
    else:
        # what a trench at the very edge lets by is on it; what a grate amid it lets by came over the edge before
        through = float(inside[lowest] and not inside[place.cells].all())
    if through >= 1.0:
        return 1.0
    others = np.zeros(inside.size, dtype=bool)
    for other in division.places:
        if other.id != place.id:
            others[other.cells] = True
    cell = lowest
    while (onward := int(target[cell])) >= 0 and not others[cell]:
        if inside[onward] and not inside[cell] and not others[onward]:
            return 1.0
        cell = onward
    return through
