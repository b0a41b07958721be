"""The swales of a town with the water of all its lots and of the road, made ready group by group for whoever routes
them: as the lots are, and if every lot built."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from pipelines.deliverables.findings.swale import SideGround, SwaleFindings
from pipelines.deliverables.findings.town import LotRecord
from pipelines.deliverables.findings.town_swales import SwalesRecord, SwaleTold, TownSwales
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.inputs.site_ground import SiteInputs
from pipelines.layout.plan import Said
from pipelines.layout.swale.case import OpenedSwales, culverts_beside, measure_case, rain_of, swales_of
from pipelines.layout.swale.water import side_areas
from pipelines.swale import findings_of_swales
from pipelines.town.swales.answer import swales_record
from pipelines.town.swales.cut_ground import Box, boxes_of, cut_case, cut_spots
from pipelines.town.swales.gather import gathered
from pipelines.town.swales.measured import Street, measured_street
from pipelines.town.swales.near_swales import swales_serving
from pipelines.town.swales.sent import Senders
from pipelines.town.swales.street_ground import StreetGround, senders_to, street_ground
from pipelines.town.swales.task import CaseSent, StormSent, SwalesTask
from terrain.flow.low_spots import forget_tree
from terrain.reason import reason

Progress = Callable[[str, float | None], None]
Router = Callable[[Iterator[SwalesTask], int], Iterable[SwalesRecord]]
"""Who routes so many groups, each as it is made ready."""


def route_street(
    site: SiteInputs | OpenedSwales,
    records: Sequence[LotRecord],
    *,
    progress: Progress | None = None,
    router: Router | None = None,
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
    router : callable, optional
        Who routes and judges each group of swales; this process without it.

    Returns
    -------
    TownSwales or None
        None where no swale is named.

    Raises
    ------
    LotshedError
        If a swale or its ground cannot be used.
    """  # fmt: skip
    tell = progress or (lambda stage, share: None)
    if isinstance(site, SiteInputs):
        if site.site.swales is None or site.layers.swales.empty:
            return None
        site = swales_of(site, culverts_beside)
    opened = swales_serving(site, [record.row.parcel for record in records])
    if not opened.lines:
        return None
    refused: dict[int, str] = {}
    case = measure_case(opened, tell, refused=lambda swale, fault: refused.update({swale: str(fault)}))
    left_out = [
        SwaleTold(
            f"swale-{k + 1}",
            opened.names[k],
            case.ground.grid.frame.to_map(opened.lines[k]),
            status="failed",
            message=why,
        )
        for k, why in refused.items()
    ]
    forget_tree(case.drainage)
    street = measured_street(case, rain_of(opened.inputs, opened.rules), records)
    tell("dividing the ground among the swales", None)
    planned = any(record.row.planned is not None for record in records)
    grounds = [street_ground(street, built) for built in ((False, True) if planned else (False,))]
    findings = [
        findings_of_swales(case, street.rain, ground.water, street.discharges if ground.built else (), (), by_lot=False,
                           hidden=())
        for ground in grounds
    ]  # fmt: skip
    groups = street.groups()
    sent: dict[int, list[Senders]] = {}
    tasks = _tasks(street, grounds, groups, findings[0], sent)
    routed: dict[str, SwalesRecord] = {}
    for each in (router or _here)(tasks, len(groups)):
        routed[each.id] = each
        tell("routing the water of all lots along the swales", len(routed) / len(groups))
    in_order = [routed[case.sites[group[0]].id] for group in groups]
    return gathered(case, findings, in_order, groups, sent, records, _notes(street, grounds, len(left_out)), left_out)


def _here(tasks: Iterator[SwalesTask], count: int) -> Iterable[SwalesRecord]:
    return (swales_record(task) for task in tasks)


def _tasks(
    street: Street,
    grounds: Sequence[StreetGround],
    groups: Sequence[Sequence[int]],
    findings: SwaleFindings,
    sent: dict[int, list[Senders]],
) -> Iterator[SwalesTask]:
    """Each group's task as it is asked for, since their water takes most memory; who sends it is left in `sent`."""
    case, rain = street.case, street.rain
    others = [(years, other) for years, other in rain.of_other_periods().items() if years != rain.return_period]
    rains: list[tuple[float | None, DesignRain]] = [(rain.return_period, rain), *others]
    areas = [side_areas(ground.water) for ground in grounds]
    light = replace(findings, ground=np.zeros((0, 0)), given={}, picture=None, inputs=(), warnings=(), rules=(),
                    cautions=(), discharges=())  # fmt: skip
    names = {number: (record.row.lot, record.row.name) for number, record in enumerate(street.records)}
    for group, box in zip(groups, _boxes(street, groups), strict=True):
        cases = []
        for ground, sides in zip(grounds, areas, strict=True):
            storms = []
            for years, other in rains:
                senders = senders_to(street, ground, other, group)
                storms.append(
                    StormSent(
                        years,
                        tuple(senders.inflows),
                        tuple(senders.totals(k) for k in range(len(group))),
                        tuple(senders.kept),
                    )
                )
                if other is rain:
                    sent.setdefault(group[0], []).append(senders.without_water())
            cases.append(CaseSent(ground.built, tuple(SideGround(**sides[k]) for k in group), tuple(storms)))
        grid = case.ground.grid
        owners = street.owners.reshape(grid.shape)[box.top : box.bottom, box.left : box.right].ravel()
        here = {position: k for k, position in enumerate(group)}
        yield SwalesTask(
            case.sites[group[0]].id, cut_case(case, box, group), rain,
            tuple(cut_spots(street.near[k], box, grid) for k in group),
            {here[k]: (here[street.below[k][0]], street.below[k][1]) for k in group if k in street.below},
            tuple(tuple(street.outlets[k]) for k in group), owners,
            {number: names[number] for number in np.unique(owners[owners >= 0]).tolist()}, tuple(cases), light,
        )  # fmt: skip


def _boxes(street: Street, groups: Sequence[Sequence[int]]) -> tuple[Box, ...]:
    group_of = np.full(street.first[-1] + len(street.case.sites[-1].sections) + 1, -1, dtype=np.int64)
    for number, group in enumerate(groups):
        for k in group:
            group_of[street.first[k] : street.first[k] + len(street.case.sites[k].sections)] = number
    spots = [[spot for k in group for spot in street.near[k]] for group in groups]
    asked = [np.concatenate([street.asked[k] for k in group]) for group in groups]
    # the label -1 of other ground is the last entry
    return boxes_of(street.case.drainage, group_of[street.seeds], spots, asked)


def _notes(street: Street, grounds: Sequence[StreetGround], refused: int) -> list[tuple[Said, ...]]:
    """What a reader must know of each case."""
    notes: tuple[Said, ...] = (reason("town_ponds_hold"),)
    left_out = len(street.case.inputs.layers.swales) - len(street.case.sites) - refused
    notes += (reason("town_swales_far", count=left_out),) * bool(left_out)
    found = [notes]
    for ground in grounds[1:]:
        moved = any(
            each.row.planned and each.row.planned.likely and not each.outlets for each in street.records
        )  # fmt: skip
        shared = sum(share < 0.999 for share in ground.kept.values())
        more = (reason("town_shared_ground", count=shared),) * bool(shared)
        found.append((*notes, *(reason("town_soil_not_moved"),) * moved, *more))
    return found
