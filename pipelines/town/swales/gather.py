"""What the routing of all groups of swales left, put together as a town tells of it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from pipelines.deliverables.findings.swale import SwaleFindings
from pipelines.deliverables.findings.town import LotRecord
from pipelines.deliverables.findings.town_swales import (
    OutletRise,
    StreetBalance,
    SwalesRecord,
    SwalesToldOf,
    SwaleTold,
    TownSwales,
)
from pipelines.deliverables.swale.layers import swale_tables
from pipelines.deliverables.town.swale_rows import put_together, rows_of_failed
from pipelines.layout.plan import Said
from pipelines.layout.swale.case import SwaleCase
from pipelines.layout.swale.hidden_banks import opened_banks, told_banks
from pipelines.town.swales.sent import Senders, sent_to_swales
from terrain.reason import Reason, reason

AT_PEAK = "swale_lots_at_peak"


def gathered(
    case: SwaleCase,
    findings: Sequence[SwaleFindings],
    routed: Sequence[SwalesRecord],
    groups: Sequence[Sequence[int]],
    sent: Mapping[int, Sequence[Senders]],
    records: Sequence[LotRecord],
    notes: Sequence[tuple[Said, ...]],
    refused: Sequence[SwaleTold] = (),
) -> TownSwales:
    """A town's swales out of its groups, in the order of their layer.

    Parameters
    ----------
    case : SwaleCase
        Of the whole town.
    findings : sequence of SwaleFindings
        Of each case, without a swale in it.
    routed : sequence of SwalesRecord
        By group.
    groups : sequence of sequence of int
        Positions of the swales of each.
    sent : dict of int to sequence of Senders
        By the first swale of a group: who sends what in the design storm, in each case.
    records : sequence of LotRecord
        Of the lots.
    notes : sequence of tuple of Reason or str
        Further warnings of each case.
    refused : sequence of SwaleTold
        Swales that could not be measured.

    Returns
    -------
    TownSwales
        All of them.
    """
    ids = sorted([*(site.id for site in case.sites), *(each.id for each in refused)], key=lambda id: (len(id), id))
    place = {id: position for position, id in enumerate(ids)}
    banks = opened_banks(case)
    spots = {spot.id: spot for spot in case.spots}
    told, hidden = [], []
    for number, (found, more) in enumerate(zip(findings, notes, strict=True)):
        swales = [*refused, *(each for record in routed for each in (record.built if number else record.now))]
        standing: dict[str, tuple[str, ...]] = {}
        for record in routed:
            if number < len(record.in_spots):
                standing |= dict(zip((each.id for each in record.now), record.in_spots[number], strict=True))
        in_spots = [[spots[id] for id in standing.get(site.id, ())] for site in case.sites]
        hidden.append(told_banks(case, banks, in_spots))
        # here each is counted with its own hydrograph
        kept = (each for each in found.warnings if not (isinstance(each, Reason) and each.code == AT_PEAK))
        whys = (*(each.why for each in hidden[-1]), *_failed(swales))
        told.append(SwalesToldOf(tuple(sorted(swales, key=lambda each: place[each.id])), (*kept, *whys, *more)))
    now, built = told[0], told[-1] if len(told) > 1 else None
    tables = swale_tables(replace(findings[0], hidden_culverts=hidden[0]))
    parts = [record.tables for record in routed] + [rows_of_failed(now.swales, findings[0])]
    return TownSwales(
        now, built, put_together(tables, parts, now.swales),
        tuple(sorted(
            (each for group in groups for each in sent_to_swales(
                sent[group[0]][0], sent[group[0]][-1] if built else None, records, [case.sites[k] for k in group])),
            key=lambda each: place[each.swale],
        )),
        tuple(sorted((each for record in routed for each in record.full),
                     key=lambda each: (each.built, place[each.swale]))),
        () if built is None else tuple(_rises(now.swales, built.swales, records)),
        tuple(_in_order([each.balances for each in routed], place)),
    )  # fmt: skip


def _failed(swales: Sequence[SwaleTold]) -> Iterator[Reason]:
    failed = [each for each in swales if each.status != "done"]
    if failed:
        yield reason("town_swales_failed", count=len(failed), swale=failed[0].name, message=failed[0].message)


def _in_order(balances: Sequence[Sequence[StreetBalance]], place: Mapping[str, int]) -> Iterator[StreetBalance]:
    """By case, storm and swale; the storms as each group has them."""
    every = dict.fromkeys(each.storm for own in balances for each in own)
    storms = {storm: number for number, storm in enumerate(every)}
    yield from sorted(
        (each for own in balances for each in own), key=lambda each: (each.built, storms[each.storm], place[each.swale])
    )


def _rises(now: Sequence[SwaleTold], built: Sequence[SwaleTold], records: Sequence[LotRecord]) -> Iterator[OutletRise]:
    before = {each.id: each for found in now for each in found.outlets}
    lots = {record.row.lot for record in records}
    for found in built:
        for each in found.outlets:
            lot = each.id.rpartition("/")[0]
            yield OutletRise(
                lot if lot in lots else "", each.id, found.id, each.place, before[each.id].highest, each.highest,
                each.submerged, each.answer, each.why,
            )  # fmt: skip
