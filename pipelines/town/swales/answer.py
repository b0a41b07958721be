"""One group of swales routed and judged, in a worker or here: what the town keeps of them."""

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely

from pipelines.deliverables.findings.swale import SwaleFinding
from pipelines.deliverables.findings.town_swales import (
    CulvertTold,
    FullPlace,
    OutletTold,
    StreetBalance,
    SwalesRecord,
    SwaleStatus,
    SwaleTold,
)
from pipelines.deliverables.swale.layers import swale_tables
from pipelines.hydrology.along_swale import SwaleFlow
from pipelines.layout.swale.outlets import OutletFinding
from pipelines.swale import swale_finding
from pipelines.town.swales.along_street import Pool, Routed, from_above, pools_on, route_along
from pipelines.town.swales.full_places import StormOnSwale, full_places, storm_on_swale
from pipelines.town.swales.task import CaseSent, StormSent, SwalesTask
from terrain.arrays import FloatArray
from terrain.errors import LotshedError
from terrain.grid import Frame
from terrain.kept import keeping

TABLES = (
    "swales", "stations", "cross_sections", "reaches", "culverts", "suspected_culverts", "standing_water", "recut",
    "outlets", "verdicts",
)  # fmt: skip
"""Of a check of swales, that hold rows of single swales."""
KEPT = 16 * 2**20
"""Of answers while a group is routed. [byte]"""


def swales_record(task: SwalesTask) -> SwalesRecord:
    """A group's record, whatever comes of it: what is at fault becomes its message."""
    began = time.perf_counter()
    try:
        record = route_swales(task)
    except LotshedError as fault:
        record = failed_swales(task, str(fault))
    except MemoryError:
        raise
    except Exception as defect:
        record = failed_swales(task, f"a defect of lotshed: {type(defect).__name__}: {defect}")
    return replace(record, seconds=time.perf_counter() - began)


def do_swales(_: None, task: SwalesTask) -> SwalesRecord:
    """A group in a worker."""
    return swales_record(task)


def failed_swales(task: SwalesTask, message: str, *, aside: bool = False) -> SwalesRecord:
    """Record of a group of which nothing is known but what went wrong."""
    status: SwaleStatus = "set_aside" if aside else "failed"
    told = tuple(
        SwaleTold(site.id, site.name, _line(site.thalweg.line, task.frame), status=status, message=message)
        for site in task.case.sites
    )
    return SwalesRecord(task.id, told, told if len(task.cases) > 1 else (), status=status, message=message)


def route_swales(task: SwalesTask) -> SwalesRecord:
    """Route a group's water in each storm and case, and judge each of its swales."""
    # the same flows come again: of the design storm, and in the share of it that is all
    with keeping(KEPT):
        return _routed(task)


def _routed(task: SwalesTask) -> SwalesRecord:
    near = [replace(task.case, spots=own) for own in task.spots]
    pools = [pools_on(case, site) for case, site in zip(near, task.case.sites, strict=True)]
    cases = [_case(task, sent, pools) for sent in task.cases]
    tables = swale_tables(replace(task.findings, swales=cases[0].found))
    frame = task.frame
    now, built = (tuple(_told(found, frame, case.found is not cases[0].found) for found in case.found)
                  for case in (cases[0], cases[-1]))  # fmt: skip
    return SwalesRecord(
        task.id, now, built if len(cases) > 1 else (),
        tuple(place for case in cases for place in case.full),
        tuple(balance for case in cases for balance in case.balances),
        {name: tables[name] for name in TABLES},
        tuple(tuple(tuple(pond.spot.id for pond in found.ponds) for found in case.found) for case in cases),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Case:
    found: tuple[SwaleFinding, ...]
    full: tuple[FullPlace, ...]
    balances: tuple[StreetBalance, ...]


def _case(task: SwalesTask, sent: CaseSent, pools: Sequence[tuple[Pool, ...]]) -> _Case:
    case, rain = task.case, task.rain
    flows: list[SwaleFlow] = []
    storms: list[list[StormOnSwale]] = [[] for _ in case.sites]
    balances = []
    for storm in sent.storms:
        routed, above = _route(task, storm, pools)
        for position, each in enumerate(routed):
            # of other storms than the design storm only levels are kept, and the flow where they are over a bank
            storms[position].append(storm_on_swale(case, position, storm.years, each.flow))
            balances.append(_balance(task, storm, each, position, above[position], sent.built))
        flows = flows or [each.flow for each in routed]
    found, full = [], []
    for position, site in enumerate(case.sites):
        by_storm = {each.years: each.levels for each in storms[position] if each.years is not None}
        one = swale_finding(
            replace(case, spots=task.spots[position]), position, site, sent.sides[position], flows[position],
            dict(sorted(by_storm.items())), task.outlets[position], (), rain,
        )  # fmt: skip
        found.append(one)
        full += full_places(case, one, storms[position], task.owners, task.lots, built=sent.built)
    return _Case(tuple(found), tuple(full), tuple(balances))


def _route(task: SwalesTask, storm: StormSent, pools: Sequence[tuple[Pool, ...]]) -> tuple[list[Routed], list[float]]:
    """Each swale after all that end in it, and what these let into it. [m3]"""
    case = task.case
    inflows = [{station: list(several) for station, several in own.items()} for own in storm.inflows]
    found: dict[int, Routed] = {}
    above = [0.0] * len(case.sites)
    for position in from_above(task.below, len(case.sites)):
        found[position] = route_along(
            case.sites[position], inflows[position], pools[position],
            velocity=case.velocities[position], soaking_rate=case.soaking_rates[position],
        )  # fmt: skip
        if position in task.below:
            lower, station = task.below[position]
            inflows[lower].setdefault(station, []).append(found[position].out)
            above[lower] += found[position].out.volume
    return [found[position] for position in range(len(case.sites))], above


def _balance(
    task: SwalesTask, storm: StormSent, routed: Routed, position: int, above: float, built: bool
) -> StreetBalance:
    by_lots, by_works, other = storm.totals[position]
    stands, soaked = storm.kept[position]
    return StreetBalance(
        task.case.sites[position].id, storm.years, built, by_lots, by_works, other, above,
        routed.arrives, routed.stands + stands, routed.soaked + soaked,
    )  # fmt: skip


def _told(found: SwaleFinding, frame: Frame, built: bool) -> SwaleTold:
    site = found.site
    return SwaleTold(
        site.id, site.name, _line(site.thalweg.line, frame), found.answer, found.why, float(found.flow.peak[-1]),
        found.first_overtops, len(found.ponds), len(found.recut),
        tuple(CulvertTold(each.crossing.id, each.answer) for each in found.crossings),
        tuple(_outlet(each, frame, built) for each in found.outlets),
    )  # fmt: skip


def _outlet(each: OutletFinding, frame: Frame, built: bool) -> OutletTold:
    outlet, tail = each.outlet, each.tailwater
    # a lot is planned again with the water of all lots' works alone, and where that stands over its outlet
    stage: FloatArray = each.stage if built and tail.state != "free" else each.stage[:0]
    return OutletTold(
        outlet.id, frame.to_map(shapely.Point(outlet.x, outlet.y)), tail.state, tail.highest, tail.above,
        tail.submerged, each.verdict.answer, each.verdict.why, stage, each.step,
    )  # fmt: skip


def _line(line: shapely.LineString, frame: Frame) -> shapely.LineString:
    found: shapely.LineString = frame.to_map(shapely.force_2d(line))
    return found
