"""On how many of the grounds that lidar allows something is wrong at each place of a lot."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.ndimage import label

from pipelines.hydrology.surface_map import group_at
from pipelines.hydrology.surfaces import infiltration_rate
from pipelines.layout.diagnosis.diagnose import Reckoning
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import BESIDE_HOUSE, LAWN, Place, TroubleRules, name_of, trouble_rules
from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.flow.on_grounds import flow_on_each
from terrain.ground import OPEN
from terrain.reason import Reason

LEVEL = 1e-6
"""Water whose levels differ by no more is one pond. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class PlaceOnGrounds:
    """A place of the lot on each of the grounds that lidar allows.

    Attributes
    ----------
    name : Reason
        Of the place.
    kind : str
        wall, paving or lawn.
    over : (grounds,) float ndarray
        Water of the design storm there over what is tolerated, negative where less stands. [m]
    wet : (grounds,) bool ndarray
        Whether that, or what runs at it, is a trouble.
    low : int
        Flat index of its lowest cell.
    """

    name: Reason
    kind: Place
    over: FloatArray
    wet: BoolArray
    low: int

    @property
    def found(self) -> float:
        """Share of the grounds on which something is wrong there. [-]"""
        return float(self.wet.mean())


def places_on_grounds(situation: Situation, water: LotWater, *, soaks: float) -> tuple[PlaceOnGrounds, ...]:
    """Paving to be kept dry, the ground beside houses and the rest of the lot on each ground; none where not counted.

    A pond takes the storm's runoff of what drains to it and falls by what the soil takes in [m/s]; what comes from
    beyond the window of the grounds is left out.
    """
    grounds = situation.grounds
    if grounds is None:
        return ()
    rules = trouble_rules(situation.rules)
    listed = places_of(situation, rules)
    # what is tolerated, and what soaks away in the time that it is tolerated for
    needed = [
        max(rules.at(kind).depth + soaks * rules.at(kind).duration, rules.film) for _, kind, _, _ in listed
    ]
    area = sum(row.area for row in water.runoff)
    depth = sum(row.runoff_volume for row in water.runoff) / area if area > 0.0 else 0.0
    least, window, grid = situation.rules["least_pond"].likely, grounds.window, situation.grid
    elevation = situation.drainage.ground.elevation[window]
    over = np.empty((len(listed), grounds.count))
    inside = np.zeros((len(listed), elevation.size), dtype=bool)
    for place, (_, _, cells, _) in enumerate(listed):
        inside[place, cells] = True
    for number, flow in enumerate(flow_on_each(situation.drainage, grounds)):
        ponds, _ = label(flow.depth.reshape(elevation.shape) > 0.0, structure=np.ones((3, 3)))
        heights = (elevation + grounds.above[number]).ravel()
        wet = np.flatnonzero(ponds)
        wet = wet[np.argsort(ponds.ravel()[wet], kind="stable")]
        for place, (_, _, cells, _) in enumerate(listed):
            deepest = 0.0
            for pond in _ponds_at(cells, flow.depth, heights, ponds.ravel(), wet, needed[place]):
                stands = level_of(heights[pond], flow.depth[pond], depth * float(flow.area[pond].max()), grid.cell_area)
                if flow.depth[pond].sum() * grid.cell_area >= least:
                    deepest = max(deepest, stands - float(heights[pond[inside[place][pond]]].min()))
            over[place, number] = deepest - needed[place]
    unit = sum(row.hydrograph.peak for row in water.runoff) / area if area > 0.0 else 0.0
    return tuple(
        PlaceOnGrounds(name, kind, over[place], (over[place] > 0.0) | _arrives(situation, name, kind, unit, rules), low)
        for place, (name, kind, _, low) in enumerate(listed)
    )


def soaks_on_lot(situation: Situation, reckoning: Reckoning) -> float:
    """What the lot's soil takes in. [m/s]"""
    rows, columns = np.nonzero(situation.on_parcel)
    group = group_at(reckoning.surfaces, rows * situation.grid.shape[1] + columns)
    return infiltration_rate(group, compacted=reckoning.compacted).likely


def level_of(heights: FloatArray, depth: FloatArray, volume: float, cell_area: float) -> float:
    """Level of a pond that takes so much water [m3], its spill level at most. [m]"""
    spill = float((heights + depth).max())
    ground = np.sort(heights)
    # water that stands up to each cell's own height
    held = cell_area * (np.arange(ground.size) * ground - np.concatenate([[0.0], np.cumsum(ground)[:-1]]))
    under = int(np.searchsorted(held, volume, side="right"))
    return min(spill, float((volume / cell_area + ground[:under].sum()) / max(under, 1)))


def _ponds_at(
    cells: IntArray, depth: FloatArray, heights: FloatArray, ponds: IntArray, wet: IntArray, needed: float
) -> Sequence[IntArray]:
    """Cells of each pond that could stand deep enough at a place; `wet` holds all wet cells by their pond."""
    found = []
    left = cells[depth[cells] > needed]
    while left.size:
        level, pond = heights[left[0]] + depth[left[0]], ponds[left[0]]
        begin, end = np.searchsorted(ponds[wet], (pond, pond + 1))
        alike = wet[begin:end]
        alike = alike[np.abs(heights[alike] + depth[alike] - level) <= LEVEL]
        found.append(alike)
        left = left[~np.isin(left, alike)]
    return found


def places_of(situation: Situation, rules: TroubleRules) -> list[tuple[Reason, Place, IntArray, int]]:
    """Name and kind of each place, its cells in the window, and its lowest cell on the best estimate."""
    grounds = situation.grounds
    assert grounds is not None
    ground, grid = situation.drainage.ground, situation.grid
    left = situation.on_parcel & (ground.kind == OPEN)
    shapes: list[tuple[Reason, Place, BoolArray]] = [
        (name_of(edge), "paving", mask_of(edge.shape, grid)) for edge in situation.edges if edge.kind == "paving"
    ]
    if not situation.houses.is_empty:
        beside = shapely.buffer(situation.houses, rules.wall_reach)
        shapes.append((BESIDE_HOUSE, "wall", mask_of(beside, grid)))
    shapes.append((LAWN, "lawn", np.ones(grid.shape, dtype=bool)))
    found = []
    for name, kind, inside in shapes:
        here = left & inside
        left = left & ~inside
        cells = np.flatnonzero(here[grounds.window].ravel())
        if cells.size:
            low = int(np.argmin(np.where(here, ground.elevation, np.inf)))
            found.append((name, kind, cells, low))
    return found


def _arrives(situation: Situation, name: Reason, kind: Place, unit_peak: float, rules: TroubleRules) -> BoolArray:
    """Grounds on which too much runs at a place. `unit_peak` is the runoff of a square metre. [m/s]"""
    assert situation.grounds is not None
    wet = np.zeros(situation.grounds.count, dtype=bool)
    limit = rules.arriving_wall if kind == "wall" else rules.arriving_paving
    for edge in situation.edges:
        if edge.on_grounds.size and edge.kind == kind and (kind == "wall" or name_of(edge) == name):
            wet |= edge.on_grounds * unit_peak > limit
    return wet
