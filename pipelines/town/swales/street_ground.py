"""The ground of a town's swales divided among them, and what of each storm comes to each from whom."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from shapely import MultiPolygon, Polygon

from pipelines.hydrology.along_swale import SideInflow, side_hydrographs
from pipelines.hydrology.flow_path import travel_rules
from pipelines.hydrology.lot_balance import runoff_volumes
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.layout.diagnosis.division import Region, Upslope
from pipelines.layout.diagnosis.situation import counted_spots
from pipelines.layout.diagnosis.upslope import ground_upslope, upslope_water
from pipelines.layout.diagnosis.water_settings import WaterSettings
from pipelines.layout.swale.case import divide_case
from pipelines.layout.swale.water import SwaleWater, piped_cells
from pipelines.town.swales.measured import Street
from pipelines.town.swales.sent import Sender, Senders
from terrain.arrays import FloatArray, IntArray
from terrain.flow.low_spots import LowSpot

Thing = TypeVar("Thing")


@dataclass(frozen=True, slots=True, eq=False)
class StreetGround:
    """Ground of one case: what drains straight to the swales, what is held on its way, what lots collect.

    Attributes
    ----------
    kept : dict of str to float
        By lot: share of its works' water that is counted with it.
    inflows, entries, regions, spots, works : dict of int to list
        By swale: stretches of ground, positions in `held.entries`, regions and low spots of the ground that is held,
        and what lots let out.
    held_cells : dict of str to int
        Cells of each low spot's ground.
    """

    water: SwaleWater
    held: Upslope | None
    built: bool
    kept: Mapping[str, float]
    inflows: Mapping[int, list[SideInflow]]
    entries: Mapping[int, list[int]]
    regions: Mapping[int, list[Region]]
    spots: Mapping[int, list[LowSpot]]
    works: Mapping[int, list["LetOut"]]
    held_cells: Mapping[str, int]


@dataclass(frozen=True, slots=True, eq=False)
class LetOut:
    """What comes out of a lot's lines, or runs past its inlets, where it enters a swale."""

    lot: int
    swale: int
    station: int
    storm: float | None
    flow: Hydrograph
    piped: bool


def street_ground(street: Street, built: bool) -> StreetGround:
    """Divide the ground, without what lots collect; what drains to a low spot on its way is held there first."""
    case, rain = street.case, street.rain
    piped, kept = _collected(street) if built else (np.zeros(0, dtype=np.int64), {})
    free = np.ones(street.labels.size, dtype=np.bool_)
    free[piped] = False
    studied = (street.labels >= 0) & free.reshape(street.labels.shape)
    on_swale = street.seeds >= 0
    spots = [
        spot for spot in counted_spots(case.spots, studied, case.rules)
        if not (spot.within_lidar_error or on_swale.ravel()[spot.cells].any()) and free[spot.cells].all()
    ]  # fmt: skip
    held = ground_upslope(case.drainage, on_swale, studied, spots)
    without = [piped] if held is None else [piped, np.flatnonzero((held.entry_of >= 0) & free), _shut_in(held)]
    seeds = street.seeds, street.first
    water = divide_case(case, rain, (), np.unique(np.concatenate(without)), marked=seeds)
    flat = street.labels.ravel()
    entries: Sequence[int] = () if held is None else held.entries.tolist()
    regions = () if held is None else held.regions
    kept_in = () if held is None else held.spots.values()
    let_out = _works_of(street, kept) if built else ()
    cells_of: Counter[str] = Counter()
    for region in regions:
        cells_of[region.place] += region.cells.size
    # a number for each cell of the town, that no storm asks for
    small = None if held is None else replace(held, entry_of=held.entry_of[:0].copy())
    return StreetGround(
        water, small, built, kept,
        _by_swale(street, water.inflows, lambda each: each.stretch),
        _by_swale(street, range(len(entries)), lambda each: int(flat[entries[each]])),
        _by_swale(street, regions, lambda each: int(flat[each.cells[0]])),
        _by_swale(street, kept_in, lambda each: _first_label(flat[each.cells])),
        _by_swale(street, let_out, lambda each: street.first[each.swale]),
        cells_of,
    )  # fmt: skip


def _first_label(labels: IntArray) -> int:
    """Of the cells of a low spot, of which some may lie on ground that drains elsewhere; -1 where all do."""
    known = labels[labels >= 0]
    return int(known[0]) if known.size else -1


def _by_swale(street: Street, several: Iterable[Thing], label: Callable[[Thing], int]) -> dict[int, list[Thing]]:
    """Things by the swale of their label, in their order; those of none left out."""
    found: dict[int, list[Thing]] = defaultdict(list)
    for each in several:
        at = label(each)
        if at >= 0:
            found[street.swale_of(at)[0]].append(each)
    return found


def _shut_in(held: Upslope) -> IntArray:
    """Cells of ground whose water never comes out of its low spots."""
    cells = [region.cells for region in held.regions if region.place not in held.out]
    return np.concatenate(cells) if cells else np.zeros(0, dtype=np.int64)


def _collected(street: Street) -> tuple[IntArray, dict[str, float]]:
    """Cells whose water lots collect, and the share of its works' water that is counted with each lot."""
    case = street.case
    frame = case.ground.grid.frame
    taken = np.full(street.labels.size, -1, dtype=np.int64)
    own = {}
    for number, record in enumerate(street.records):
        if record.piped is None:
            continue
        parts = [part for part in frame.from_map(record.piped).geoms if isinstance(part, Polygon)]
        cells = piped_cells(case.drainage, [MultiPolygon(parts)])
        if cells is None or not cells.size:
            continue
        own[number] = cells
    # a lot has its own ground before any lot below it
    for number, cells in own.items():
        mine = cells[street.owners[cells] == number]
        taken[mine] = number
    for number, cells in own.items():
        taken[cells[taken[cells] < 0]] = number
    kept = {street.records[number].row.lot: float((taken[cells] == number).mean()) for number, cells in own.items()}
    return np.flatnonzero(taken >= 0), kept


def senders_to(street: Street, ground: StreetGround, rain: DesignRain, group: Sequence[int]) -> Senders:
    """What enters each swale of a group in a storm, and who sends it."""
    case = street.case
    senders = Senders(len(group))
    depths = rain.storm.depth
    for at, swale in enumerate(group):
        own = ground.inflows.get(swale, [])
        hydrographs = side_hydrographs(own, rain)
        for inflow in own:
            volumes = runoff_volumes(case.surfaces, inflow.cells, inflow.shares, depths)
            _, station = street.swale_of(inflow.stretch)
            senders.add(at, station, hydrographs[inflow.stretch], _by_owner(street.owners[inflow.cells], volumes))
        if ground.held is not None:
            _add_held(street, ground, rain, swale, at, senders)
        for each in ground.works.get(swale, []):
            if each.storm == rain.return_period:
                by_lot = {Sender(each.lot, piped=each.piped): each.flow.volume}
                senders.add(at, each.station, each.flow, by_lot)
    return senders


def _add_held(street: Street, ground: StreetGround, rain: DesignRain, swale: int, at: int, senders: Senders) -> None:
    """What low spots on the way let on, where it enters; what stands and soaks there."""
    held, case, flat = ground.held, street.case, street.labels.ravel()
    if held is None:
        return
    settings = WaterSettings(case.inputs.site.soil.compacted, {}, travel_rules(case.inputs.site.rules))
    water = upslope_water(held, case.drainage, case.surfaces, rain, settings)
    for entry in ground.entries.get(swale, []):
        flow = water.flows[entry]
        if flow.volume > 0.0:
            senders.add(at, street.swale_of(int(flat[held.entries[entry]]))[1], flow, {})
    for region in ground.regions.get(swale, []):
        _, station = street.swale_of(int(flat[region.cells[0]]))
        part = water.held[region.place].ran_off * region.cells.size / ground.held_cells[region.place]
        owners = street.owners[region.cells]
        senders.send(at, station, _by_owner(owners, np.full(owners.size, part / owners.size)))
    for spot in ground.spots.get(swale, []):
        senders.keep(at, water.held[spot.id].stands, water.held[spot.id].soaked)


def _works_of(street: Street, kept: Mapping[str, float]) -> Iterator[LetOut]:
    """What comes out of the lots' lines, and what runs past their inlets."""
    placed = {each.id: each for each in street.discharges}
    grid = street.case.ground.grid
    for number, record in enumerate(street.records):
        share = kept.get(record.row.lot, 1.0)
        for out in record.outflows:
            if not out.built:
                continue
            flow = Hydrograph(out.step, out.flow * share)
            if out.kind == "works":
                at = placed.get(f"{record.row.lot}/{out.id}")
                if at is not None:
                    station = street.case.sites[at.swale].section_below(at.station)
                    yield LetOut(number, at.swale, station, out.storm, flow, True)
            elif out.id.startswith("past-works"):
                point = grid.frame.from_map(out.place)
                row, column = (int(each) for each in grid.cells(point.x, point.y))
                inside = 0 <= row < grid.shape[0] and 0 <= column < grid.shape[1]
                label = int(street.labels[row, column]) if inside else -1
                if label >= 0:
                    yield LetOut(number, *street.swale_of(label), out.storm, flow, False)


def _by_owner(owners: IntArray, volumes: FloatArray) -> dict[Sender, float]:
    """Volume by the lot that it comes from, -1 for ground of none."""
    summed = np.bincount(owners + 1, weights=volumes)
    return {Sender(number - 1): float(summed[number]) for number in np.flatnonzero(summed).tolist()}
