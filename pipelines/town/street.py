"""The swales of a town with the water of all its lots and of the road: as the lots are, and if every lot built."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from pipelines.deliverables.findings.swale import SideGround, SwaleFindings
from pipelines.deliverables.findings.town import LotRecord
from pipelines.deliverables.findings.town_swales import FullPlace, OutletRise, StreetBalance, TownSwales
from pipelines.hydrology.along_swale import SwaleFlow, side_hydrographs
from pipelines.hydrology.flow_path import travel_rules
from pipelines.hydrology.lot_balance import runoff_volumes
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.inputs.lot_results import LotOutlet, LotResult
from pipelines.inputs.site_ground import SiteInputs
from pipelines.layout.diagnosis.division import Upslope
from pipelines.layout.diagnosis.situation import counted_spots
from pipelines.layout.diagnosis.upslope import UpslopeWater, ground_upslope, upslope_water
from pipelines.layout.diagnosis.water_settings import WaterSettings
from pipelines.layout.plan import Said
from pipelines.layout.swale.case import (
    OpenedSwales,
    SwaleCase,
    culverts_beside,
    divide_case,
    measure_case,
    rain_of,
    swales_of,
)
from pipelines.layout.swale.discharges import place_discharges
from pipelines.layout.swale.outlets import SwaleOutlet
from pipelines.layout.swale.water import PointDischarge, SwaleWater, piped_cells, side_areas, swale_labels
from pipelines.swale import findings_of_swales, swale_finding
from pipelines.town.along_street import Pool, Routed, from_above, lower_swales, pools_on, route_along
from pipelines.town.full_places import StormOnSwale, full_places, storm_on_swale
from pipelines.town.near_swales import swales_serving
from pipelines.town.sent import Sender, Senders, owners_of, sent_to_swales
from terrain.arrays import FloatArray, IntArray
from terrain.flow.drainage import upstream_labels
from terrain.reason import Reason, reason

Progress = Callable[[str, float | None], None]
AT_PEAK = "swale_lots_at_peak"


@dataclass(frozen=True, slots=True, eq=False)
class Street:
    """The swales of a town measured, and what of all lots comes to them.

    Attributes
    ----------
    seeds, labels : (rows, cols) int ndarray
        Label of the section on cells of the swales, and that of the section that each cell drains to; -1 elsewhere.
    first : tuple of int
        First label of each swale.
    below : dict of int to (int, int)
        Swale and station that each swale ends in.
    pools : tuple of tuple of Pool
        By swale.
    discharges : tuple of PointDischarge
        Outlets of the lots on the swales, named as lot and outfall.
    owners : (rows * cols,) int ndarray
        Position of the lot that holds each cell, -1 for none.
    near : tuple of SwaleCase
        By swale: the case with those of its low spots alone that the swale or one of its outlets lies in.
    """

    case: SwaleCase
    rain: DesignRain
    seeds: IntArray
    labels: IntArray
    first: tuple[int, ...]
    below: Mapping[int, tuple[int, int]]
    pools: tuple[tuple[Pool, ...], ...]
    records: Sequence[LotRecord]
    discharges: tuple[PointDischarge, ...]
    outlets: list[list[SwaleOutlet]]
    owners: IntArray
    near: tuple[SwaleCase, ...]

    def swale_of(self, label: int) -> tuple[int, int]:
        """Swale and station of a label."""
        swale = int(np.searchsorted(self.first, label, side="right")) - 1
        return swale, label - self.first[swale]


@dataclass(frozen=True, slots=True, eq=False)
class _Ground:
    """Ground of one case: what drains straight to the swales, what is held on its way, what lots collect."""

    water: SwaleWater
    held: Upslope | None
    built: bool
    kept: Mapping[str, float]


def route_street(
    site: SiteInputs | OpenedSwales, records: Sequence[LotRecord], *, progress: Progress | None = None
) -> TownSwales | None:
    """Route what lots and road send along every swale of a town.

    Parameters
    ----------
    site : SiteInputs or OpenedSwales
        What the town's file names, opened; or its swales.
    records : sequence of LotRecord
        What the lots' runs left.
    progress : callable, optional
        Told each stage and the share of the work that is done. [-]

    Returns
    -------
    TownSwales or None
        None where no swale is named.

    Raises
    ------
    LotshedError
        If a swale or its ground cannot be used.
    """
    tell = progress or (lambda stage, share: None)
    if isinstance(site, SiteInputs):
        if site.site.swales is None or site.layers.swales.empty:
            return None
        site = swales_of(site, culverts_beside)
    opened = swales_serving(site, [record.row.parcel for record in records])
    if not opened.lines:
        return None
    case = measure_case(opened, tell)
    street = _measured(case, rain_of(opened.inputs, opened.rules), records)
    planned = any(record.row.planned is not None for record in records)
    cases = [_case(street, built, tell) for built in ((False, True) if planned else (False,))]
    now, then = cases[0], cases[-1] if planned else None
    return TownSwales(
        now.findings, None if then is None else then.findings,
        sent_to_swales(now.senders, None if then is None else then.senders, records, case.sites),
        tuple(place for each in cases for place in each.full),
        () if then is None else _rises(now.findings, then.findings, street),
        tuple(balance for each in cases for balance in each.balances),
    )  # fmt: skip


def _measured(case: SwaleCase, rain: DesignRain, records: Sequence[LotRecord]) -> Street:
    seeds, first = swale_labels(case.sites, case.drainage)
    results = [_result(record, case) for record in records if record.outlets]
    discharges, outlets = place_discharges(case, results, ())
    parcels = [case.ground.grid.frame.from_map(record.row.parcel) for record in records]
    near = _near(case, outlets)
    return Street(
        case, rain, seeds, upstream_labels(case.drainage, seeds), first, lower_swales(case, seeds, first),
        tuple(pools_on(own, site) for own, site in zip(near, case.sites, strict=True)), records, discharges, outlets,
        owners_of(parcels, case.ground.grid), near,
    )  # fmt: skip


def _near(case: SwaleCase, outlets: Sequence[Sequence[SwaleOutlet]]) -> tuple[SwaleCase, ...]:
    """The case of each swale, without low spots far off: a town has thousands."""
    grid = case.ground.grid
    spot_at = np.full(grid.shape[0] * grid.shape[1], -1, dtype=np.int64)
    for number, spot in enumerate(case.spots):
        if spot.contained_in is None:
            spot_at[spot.cells] = number
    found = []
    for site, own in zip(case.sites, outlets, strict=True):
        x = np.concatenate([site.thalweg.x, [each.x for each in own]])
        y = np.concatenate([site.thalweg.y, [each.y for each in own]])
        rows, columns = grid.cells(x, y)
        cells = np.clip(rows, 0, grid.shape[0] - 1) * grid.shape[1] + np.clip(columns, 0, grid.shape[1] - 1)
        numbers = np.unique(spot_at[cells])
        found.append(replace(case, spots=tuple(case.spots[k] for k in numbers[numbers >= 0].tolist())))
    return tuple(found)


def _result(record: LotRecord, case: SwaleCase) -> LotResult:
    """A lot's outlets as the swale check takes them."""
    frame = case.ground.grid.frame
    lift = np.array([1.0, 1.0, frame.unit])
    outlets = tuple(
        LotOutlet(
            f"{record.row.lot}/{each.id}", each.kind, frame.from_map(each.place), each.peak, each.pumped,
            None if each.line is None
            else shapely.transform(frame.from_map(each.line), lambda points: points * lift, include_z=True),
            each.size, each.run_peak,
        )
        for each in record.outlets
    )  # fmt: skip
    return LotResult(record.row.name or record.row.lot, Path(record.row.lot), outlets, ())


@dataclass(frozen=True, slots=True, eq=False)
class _Case:
    """The swales as the lots are, or if every lot built its improvements."""

    findings: SwaleFindings
    senders: Senders
    full: tuple[FullPlace, ...]
    balances: tuple[StreetBalance, ...]


def _case(street: Street, built: bool, tell: Progress) -> _Case:
    case, rain, records = street.case, street.rain, street.records
    ground = _ground(street, built)
    others = [(years, other) for years, other in rain.of_other_periods().items() if years != rain.return_period]
    rains: list[tuple[float | None, DesignRain]] = [(rain.return_period, rain), *others]
    flows: list[SwaleFlow] = []
    storms: list[list[StormOnSwale]] = [[] for _ in case.sites]
    senders, balances = Senders(len(case.sites)), []
    for at, (years, other) in enumerate(rains):
        tell("routing the lots' water along the swales" + (" with all improvements" if built else ""), at / len(rains))
        sent = _senders(street, ground, other)
        for position, routed in enumerate(_route(street, sent)):
            # of other storms than the design storm only levels are kept, and the flow where they are over a bank
            storms[position].append(storm_on_swale(case, position, years, routed.flow))
            balances.append(_balance(street, sent, routed, position, years, built))
            if other is rain:
                flows.append(routed.flow)
        senders = sent.without_water() if other is rain else senders
    areas = side_areas(ground.water)
    found, full = [], []
    for position, site in enumerate(case.sites):
        by_storm = {each.years: each.levels for each in storms[position] if each.years is not None}
        one = swale_finding(
            street.near[position], position, site, SideGround(**areas[position]), flows[position],
            dict(sorted(by_storm.items())), street.outlets[position], (), rain,
        )  # fmt: skip
        found.append(one)
        full += full_places(case, one, storms[position], street.owners, records, built=built)
        tell("finding levels along the swales", (position + 1) / len(case.sites))
    flowing = tuple(each for each in street.discharges if built)
    findings = findings_of_swales(case, rain, ground.water, flowing, tuple(found), by_lot=False)
    notes = _notes(street, ground)
    # here each is counted with its own hydrograph
    kept = tuple(each for each in findings.warnings if not (isinstance(each, Reason) and each.code == AT_PEAK))
    return _Case(replace(findings, warnings=(*kept, *notes)), senders, tuple(full), tuple(balances))


def _notes(street: Street, ground: _Ground) -> tuple[Said, ...]:
    notes: tuple[Said, ...] = (reason("town_ponds_hold"),)
    left_out = len(street.case.inputs.layers.swales) - len(street.case.sites)
    notes += (reason("town_swales_far", count=left_out),) * bool(left_out)
    if not ground.built:
        return notes
    moved = any(
        each.row.planned and each.row.planned.likely and not each.outlets for each in street.records
    )  # fmt: skip
    shared = sum(share < 0.999 for share in ground.kept.values())
    notes += (reason("town_soil_not_moved"),) * moved
    return (*notes, *((reason("town_shared_ground", count=shared),) * bool(shared)))


def _ground(street: Street, built: bool) -> _Ground:
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
    return _Ground(divide_case(case, rain, (), np.unique(np.concatenate(without))), held, built, kept)


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


def _senders(street: Street, ground: _Ground, rain: DesignRain) -> Senders:
    """What enters each swale in a storm, and who sends it."""
    case = street.case
    senders = Senders(len(case.sites))
    depths = rain.storm.depth
    hydrographs = side_hydrographs(ground.water.inflows, rain)
    for inflow in ground.water.inflows:
        volumes = runoff_volumes(case.surfaces, inflow.cells, inflow.shares, depths)
        swale, station = street.swale_of(inflow.stretch)
        by_owner = _by_owner(street.owners[inflow.cells], volumes)
        senders.add(swale, station, hydrographs[inflow.stretch], by_owner)
    if ground.held is not None:
        settings = WaterSettings(case.inputs.site.soil.compacted, {}, travel_rules(case.inputs.site.rules))
        water = upslope_water(ground.held, case.drainage, case.surfaces, rain, settings)
        _add_held(street, ground.held, water, senders)
    if ground.built:
        _add_works(street, ground.kept, rain.return_period, senders)
    return senders


def _add_held(street: Street, held: Upslope, water: UpslopeWater, senders: Senders) -> None:
    """What low spots on the way let on, where it enters; what stands and soaks there, by swale."""
    for cell, flow in zip(held.entries.tolist(), water.flows, strict=True):
        label = int(street.labels.ravel()[cell])
        if label >= 0 and flow.volume > 0.0:
            senders.add(*street.swale_of(label), flow, {})
    cells: Counter[str] = Counter()
    for region in held.regions:
        cells[region.place] += region.cells.size
    for region in held.regions:
        label = int(street.labels.ravel()[region.cells[0]])
        part = water.held[region.place].ran_off * region.cells.size / cells[region.place]
        swale, station = street.swale_of(label)
        owners = street.owners[region.cells]
        senders.send(swale, station, _by_owner(owners, np.full(owners.size, part / owners.size)))
    for spot in held.spots.values():
        swale, _ = street.swale_of(int(street.labels.ravel()[spot.cells[0]]))
        senders.keep(swale, water.held[spot.id].stands, water.held[spot.id].soaked)


def _add_works(street: Street, kept: Mapping[str, float], storm: float | None, senders: Senders) -> None:
    """What comes out of the lots' lines, and what runs past their inlets."""
    placed = {each.id: each for each in street.discharges}
    grid = street.case.ground.grid
    for number, record in enumerate(street.records):
        share = kept.get(record.row.lot, 1.0)
        for out in record.outflows:
            if not out.built or out.storm != storm:
                continue
            flow = Hydrograph(out.step, out.flow * share)
            if out.kind == "works":
                at = placed.get(f"{record.row.lot}/{out.id}")
                if at is not None:
                    station = street.case.sites[at.swale].section_below(at.station)
                    senders.add(at.swale, station, flow, {Sender(number, piped=True): flow.volume})
            elif out.id.startswith("past-works"):
                point = grid.frame.from_map(out.place)
                row, column = (int(each) for each in grid.cells(point.x, point.y))
                inside = 0 <= row < grid.shape[0] and 0 <= column < grid.shape[1]
                label = int(street.labels[row, column]) if inside else -1
                if label >= 0:
                    senders.add(*street.swale_of(label), flow, {Sender(number): flow.volume})


def _by_owner(owners: IntArray, volumes: FloatArray) -> dict[Sender, float]:
    """Volume by the lot that it comes from, -1 for ground of none."""
    summed = np.bincount(owners + 1, weights=volumes)
    return {Sender(number - 1): float(summed[number]) for number in np.flatnonzero(summed).tolist()}


def _route(street: Street, senders: Senders) -> list[Routed]:
    case = street.case
    found: dict[int, Routed] = {}
    for position in from_above(street.below, len(case.sites)):
        found[position] = route_along(
            case.sites[position], senders.inflows[position], street.pools[position],
            velocity=case.velocities[position], soaking_rate=case.soaking_rates[position],
        )  # fmt: skip
        if position in street.below:
            senders.pass_on(*street.below[position], found[position].out)
    return [found[position] for position in range(len(case.sites))]


def _balance(
    street: Street, senders: Senders, routed: Routed, position: int, storm: float | None, built: bool
) -> StreetBalance:
    by_lots, by_works, other = senders.totals(position)
    stands, soaked = senders.kept[position]
    return StreetBalance(
        street.case.sites[position].id, storm, built, by_lots, by_works, other, senders.above[position],
        routed.arrives, routed.stands + stands, routed.soaked + soaked,
    )  # fmt: skip


def _rises(now: SwaleFindings, built: SwaleFindings, street: Street) -> tuple[OutletRise, ...]:
    before = {each.outlet.id: each for found in now.swales for each in found.outlets}
    lots = {record.row.lot for record in street.records}
    rises = []
    for found in built.swales:
        for each in found.outlets:
            outlet = each.outlet
            lot = outlet.id.rpartition("/")[0]
            rises.append(
                OutletRise(
                    lot if lot in lots else "",
                    outlet.id,
                    found.site.id,
                    now.frame.to_map(shapely.Point(outlet.x, outlet.y)),
                    before[outlet.id].tailwater.highest,
                    each.tailwater.highest,
                    each.tailwater.submerged,
                    each.verdict.answer,
                    each.verdict.why,
                )
            )
    return tuple(rises)
