"""Works on the surface alone, run through the same water model as the lot as it is, and priced."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
import shapely
from scipy.ndimage import binary_erosion

from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.inputs.ground_rules import site_low_spots
from pipelines.layout.catching.downspouts import extension_place, spouts_beside_complaints, spouts_to_troubles
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.cured import TroubleLeft, against_today, told_left, troubles_left
from pipelines.layout.diagnosis.diagnose import (
    Diagnosis,
    Reckoning,
    diagnose,
    divide_lot,
    settings_for,
    spot_places,
    storm_on_lot,
)
from pipelines.layout.diagnosis.division import SIDES, sides_of
from pipelines.layout.diagnosis.lot_water import LotWater, run_storm
from pipelines.layout.diagnosis.situation import Situation, describe_lot
from pipelines.layout.diagnosis.troubles import Trouble
from pipelines.layout.options import PlanInputs
from pipelines.layout.parts import State, SurfaceOnly, SurfaceWork
from pipelines.layout.plan import TakeOffLine
from pipelines.layout.quantities.quantities import Quantity
from pipelines.layout.quantities.soil import soil_quantities
from pipelines.layout.quantities.take_off import price_take_off, total_cost
from pipelines.layout.surface.earthworks import (
    Shaped,
    against_wall,
    berm_before,
    filled,
    in_lawn_alone,
    led_away,
    swale_aside,
)
from pipelines.layout.surface.raised_edge import edge_raised
from pipelines.layout.ways.own_swale import OwnSwale
from terrain.arrays import BoolArray, IntArray
from terrain.flow.drainage import drain_ground
from terrain.flow.low_spots import LowSpot
from terrain.ground import Ground
from terrain.reason import Reason, reason

Try = Callable[[Situation, Ground], Shaped | None]
"""A work made on the lot and ground that those before it left."""
NO_CATCHING = Catching((), (), (), (), False, ())


@dataclass(frozen=True, slots=True, eq=False)
class Reshaped:
    """The lot with some works on its surface: its low spots keep the ids that they had."""

    works: tuple[SurfaceWork, ...]
    ground: Ground
    situation: Situation
    found: Diagnosis
    left: tuple[TroubleLeft, ...]
    through: tuple[TroubleLeft, ...] = ()
    """Edges where more passes through a pond than may run there, for all that is ended."""

    @property
    def badness(self) -> tuple[int, float]:
        """Troubles over their limit, then by how much."""
        over = sum(each.flow / max(each.most, 1e-6) + each.depth / max(each.limit, 1e-3) for each in self.left)
        return len(self.left), over


Surfaced = tuple[SurfaceOnly, Reshaped, tuple[TakeOffLine, ...]]
"""Works on the surface as they are told, the lot with them, and what they take."""


def surface_only(inputs: PlanInputs, found: Diagnosis, tried: Iterable[Try]) -> Surfaced | None:
    """The works on the surface that help, each kept only where it does, and what they take; None where none does."""
    situation = inputs.situation
    best = situation.known.of("as_it_is", lambda: _tried(inputs, situation.drainage.ground, ()))
    today = best.found.water
    for shape in tried:
        best = _with_one_more(shape, best, inputs, today)
        if not best.left:
            break
    if not best.works:
        return None
    refused = _refused(inputs, found, best)
    lines, _ = price_take_off(soil_quantities(best.works, situation.rules), inputs.prices, situation.rules)
    cost = total_cost(lines)
    told = SurfaceOnly(
        best.works, tuple(told_left(each) for each in against_today(best.left, found)), _sends(today, best.found.water),
        refused, _state(best, refused, situation), cost.low, cost.likely, cost.high,
        relaid=tuple(_relaid(inputs, found, best.works)),
    )
    return told, best, lines


def _relaid(inputs: PlanInputs, found: Diagnosis, works: Sequence[SurfaceWork]) -> Iterator[Reason]:
    """What lifting and relaying takes of paving whose own low holds water, beside lawn that is filled."""
    beside = {work.why["place"] for work in works if work.kind == "fill" and work.why["beside"]}
    for trouble in found.troubles:
        spot = trouble.spot
        pool = None if spot is None else found.water.standing.get(spot.spot.id)
        if spot is None or pool is None or trouble.name not in beside:
            continue
        area = spot.area_under(pool.depth)
        lines, missing = price_take_off(
            (Quantity("paving relaid", area, "area", "hired"),), inputs.prices, inputs.situation.rules
        )
        cost = total_cost(lines)
        low, likely, high = (None, None, None) if missing else (cost.low, cost.likely, cost.high)
        yield reason(
            "paving_relaid", place=trouble.name, area=area, depth=max(pool.depth - spot.dry, 0.0), low=low,
            likely=likely, high=high,
        )


def _with_one_more(shape: Try, best: Reshaped, inputs: PlanInputs, today: LotWater) -> Reshaped:
    """The lot with one more work where that helps, else as it was: what was tried is not kept on a large window."""
    shaped = shape(best.situation, best.ground)
    if shaped is None:
        return best
    alike = sum(work.kind == shaped.work.kind for work in best.works)
    work = shaped.work
    if work.kind != "extension":
        work = replace(work, id=f"{work.kind.replace(' ', '-')}-{alike + 1}")
    after = _tried(inputs, shaped.ground, (*best.works, work))
    # edging is dear, and a barrow or two are no work of their own: kept where they end something, not only lessen it
    little = work.kind == "fill" and work.fill < best.situation.rules["surface_least_soil"].likely
    ends = work.kind == "raised edge" or little
    helps = len(after.left) < len(best.left) if ends else after.badness < best.badness
    return after if helps and not side_gains(today, after.found.water, inputs.situation) else best


def _state(best: Reshaped, refused: Reason | None, situation: Situation) -> State:
    if best.left or refused is not None:
        return "no"
    return "cannot_tell" if best.through or in_doubt(best, situation) else "sure"


def in_doubt(best: Reshaped, situation: Situation) -> bool:
    """Whether the works hang on a floor that nobody gave, or on less height than the lidar can tell."""
    needs_floor = any(work.kind == "regrade" and not work.why["known"] for work in best.works)
    # a bank or swale that is not clear of the lidar's noise turns nothing aside for sure
    shallow = any(work.kind in ("berm", "swale") and work.height < situation.rmse for work in best.works)
    # no more is an edge higher than its water than its freeboard
    edged = any(work.kind == "raised edge" for work in best.works)
    return needs_floor or shallow or (edged and situation.rules["raised_edge_freeboard"].likely < situation.rmse)


def hollows(troubles: Iterable[Trouble]) -> Iterator[Try]:
    """Troubles that are hollows of the lawn alone, each filled."""
    for trouble in troubles:
        if trouble.spot is not None and in_lawn_alone(trouble.spot):
            yield partial(filled, trouble=trouble)


def works_to_try(inputs: PlanInputs, found: Diagnosis, aside: OwnSwale | None) -> Iterator[Try]:
    """Works to try one after the other, the cheapest first; each is made on the ground that those before it left."""
    situation = inputs.situation
    spouts = spouts_to_troubles(situation, found)
    for spout in (*spouts, *spouts_beside_complaints(situation, found, spouts)):
        end = extension_place(spout, situation, found.wet)
        if end is not None:
            yield partial(led_away, spout=spout, end=end)
    for trouble in found.troubles:
        if trouble.spot is not None:
            yield partial(filled, trouble=trouble)
    yield partial(against_wall, troubles=found.troubles)
    for trouble in found.troubles:
        if trouble.edge is not None:
            yield partial(berm_before, name=trouble.edge.name)
    if aside is not None:
        yield partial(swale_aside, way=aside.way, bottom=aside.bottom)
    for trouble in found.troubles:
        if trouble.edge is not None:
            yield partial(edge_raised, name=trouble.edge.name)


def _tried(inputs: PlanInputs, ground: Ground, works: tuple[SurfaceWork, ...]) -> Reshaped:
    before = inputs.situation
    drainage = before.drainage if ground is before.drainage.ground else drain_ground(ground)
    spots = _same_ids(site_low_spots(drainage, before.rules, prefix="new-"), before.spots)
    situation = describe_lot(
        inputs.site, inputs.layers, drainage, spots, before.rmse, shots=before.shots, before=before
    )
    division, places = divide_lot(situation), spot_places(situation)
    water = storm_on_lot(situation, inputs.reckoning, division, places)
    found = diagnose(situation, division, places, water)
    left = troubles_left(found, NO_CATCHING, found.division, found.water, before.rules)
    return Reshaped(
        works, ground, situation, found, tuple(each for each in left if not each.ended),
        through=tuple(each for each in left if each.ended and each.through),
    )


def _refused(inputs: PlanInputs, found: Diagnosis, best: Reshaped) -> Reason | None:
    """Why the works may not be built: an edge that is shared with a neighbor gains in one of the storms."""
    reckoning = inputs.reckoning
    for years in inputs.situation.rules["neighbor_storms"].values:
        rain = reckoning.rain.of_period(years)
        if rain is None:
            continue
        at = replace(reckoning, rain=rain)
        before, after = _storm(inputs.situation, at, found), _storm(best.situation, at, best.found)
        gains = side_gains(before, after, inputs.situation)
        if gains:
            return reason("surface_sends_on", side=gains[0], years=years)
    gains = side_gains(found.water, best.found.water, inputs.situation)
    return reason("surface_sends_on", side=gains[0], years=None) if gains else None


def storm_on(lot: Reshaped, reckoning: Reckoning, before: LotWater) -> LotWater:
    """A storm on the reshaped lot; low spots that are no more stand dry."""
    return dry_where_gone(_storm(lot.situation, reckoning, lot.found), before)


def dry_where_gone(water: LotWater, before: LotWater) -> LotWater:
    """Water on a reshaped lot, with the low spots that are no more standing dry."""
    dry = {name: replace(pool, depths=np.zeros(2), volumes=np.zeros(2), depth=0.0, time_above=0.0, stands_at_end=False,
                         final_volume=0.0, infiltrated=0.0, inflow_volume=0.0, outflow=_none(pool.outflow),
                         spill=_none(pool.spill))
           for name, pool in before.standing.items() if name not in water.standing}  # fmt: skip
    return replace(water, standing=water.standing | dry)


def _none(flow: Hydrograph) -> Hydrograph:
    return Hydrograph(flow.step, np.zeros(2))


def _same_ids(spots: tuple[LowSpot, ...], before: Sequence[LowSpot]) -> tuple[LowSpot, ...]:
    """Low spots by the id of the one before that each shares most ground with; new ones are numbered on."""
    shares: list[tuple[float, int, int]] = []
    meet = {*_bottoms_in(spots, before), *((new, old) for old, new in _bottoms_in(before, spots))}
    last = max((int(spot.cells.max()) for spot in (*spots, *before)), default=0)
    inside = np.zeros(last + 1, dtype=np.bool_)
    for new, pairs in groupby(sorted(meet), key=itemgetter(0)):
        own = spots[new].cells
        inside[own] = True
        for _, old in pairs:
            both = int(np.count_nonzero(inside[before[old].cells]))
            shares.append((both / (own.size + before[old].cells.size - both), new, old))
        inside[own] = False
    names: dict[str, str] = {}
    taken: set[int] = set()
    was: dict[str, LowSpot] = {}
    for _, new, old in sorted(shares, reverse=True):
        if spots[new].id not in names and old not in taken:
            names[spots[new].id] = before[old].id
            was[spots[new].id] = before[old]
            taken.add(old)
    fresh, old_ids = 0, {spot.id for spot in before}
    for spot in spots:
        if spot.id not in names:
            fresh += 1
            while f"low-{fresh}" in old_ids:
                fresh += 1
            names[spot.id] = f"low-{fresh}"
    return tuple(
        replace(
            spot, id=names[spot.id], contained_in=None if spot.contained_in is None else names[spot.contained_in],
            **_doubt_of(was.get(spot.id)),
        )
        for spot in spots
    )


def _bottoms_in(spots: Sequence[LowSpot], others: Sequence[LowSpot]) -> Iterator[tuple[int, int]]:
    """Pairs of a low spot and one of the others whose bottom lies in it."""
    at: dict[int, list[int]] = {}
    for position, other in enumerate(others):
        at.setdefault(other.bottom, []).append(position)
    bottoms = np.array(sorted(at), dtype=np.int64)
    for position, spot in enumerate(spots):
        for bottom in spot.cells[_found_in(bottoms, spot.cells)].tolist():
            yield from ((position, other) for other in at[bottom])


def _found_in(ordered: IntArray, cells: IntArray) -> BoolArray:
    """Which cells are among ordered ones."""
    if not ordered.size:
        return np.zeros(cells.size, dtype=np.bool_)
    near = np.minimum(np.searchsorted(ordered, cells), ordered.size - 1)
    return np.asarray(ordered[near] == cells)


def _doubt_of(was: LowSpot | None) -> dict[str, Any]:
    """What counting grounds told of a low spot holds of what is left of it."""
    if was is None or was.found is None:
        return {}
    return {"found": was.found, "within_lidar_error": was.within_lidar_error}


def _storm(situation: Situation, reckoning: Reckoning, found: Diagnosis) -> LotWater:
    spots = {spot.id: spot for spot in situation.counted_spots}
    return run_storm(
        found.division, situation.drainage, spots, reckoning.surfaces, reckoning.rain, {},
        settings_for(found.places, found.rules, reckoning),
    )


def side_gains(before: LotWater, after: LotWater, situation: Situation) -> tuple[str, ...]:
    """Sides shared with neighbors over which more leaves than before."""
    rules = situation.rules
    share, least = rules["neighbor_gain"].likely, rules["neighbor_gain_least"].likely
    return tuple(
        side
        for side in shared_sides(situation)
        if after.leaving[side].volume - before.leaving[side].volume > max(share * before.leaving[side].volume, least)
        or (
            after.leaving[side].peak > (1.0 + share) * before.leaving[side].peak
            and after.leaving[side].volume - before.leaving[side].volume > least
        )
    )


def shared_sides(situation: Situation) -> tuple[str, ...]:
    """Sides of the lot that lie neither along the right of way nor along the ground that is taken for it."""
    street = situation.right_of_way if situation.right_of_way is not None else situation.way_off
    if street is None or street.is_empty:
        return SIDES
    inside = situation.on_parcel
    cells = np.flatnonzero(inside & ~binary_erosion(inside))
    columns = situation.grid.shape[1]
    side = sides_of(cells, inside)
    points = shapely.points(*situation.grid.centres(cells // columns, cells % columns))
    near = shapely.distance(street, points) <= situation.rules["parcel_line_error"].likely
    return tuple(
        name for number, name in enumerate(SIDES) if not (side == number).any() or near[side == number].mean() < 0.5
    )


def _sends(before: LotWater, after: LotWater) -> tuple[tuple[str, float, float, float, float], ...]:
    return tuple(
        (side, was.peak, now.peak, was.volume, now.volume)
        for side in SIDES
        if abs((now := after.leaving[side]).volume - (was := before.leaving[side]).volume) > 1e-3
    )
