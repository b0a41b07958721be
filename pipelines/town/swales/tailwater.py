"""The pass back to the lots: those whose outlets stand under the water of all lots are planned again with it."""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from pipelines.deliverables.findings.town import LotPlanned, LotRecord
from pipelines.deliverables.findings.town_swales import OutletTold, SwalesToldOf, TownSwales
from pipelines.deliverables.words.names import MODES, SHORT_PARTS, SHORT_STATES
from pipelines.deliverables.words.say import say
from pipelines.layout.swale.found_outfall import GivenWater, OutfallState
from pipelines.layout.swale.verdict import SwaleAnswer
from terrain.reason import Reason, reason
from terrain.unit_table import Units

STATES: dict[SwaleAnswer, OutfallState] = {
    "takes_it": "sure", "cannot_tell": "cannot_tell", "short": "no", "holds_water": "cannot_tell",
}  # fmt: skip
"""What a swale's answer at an outlet means for the lot's outfall."""


def water_of_town(swales: TownSwales) -> dict[str, tuple[GivenWater, ...]]:
    """By lot: the water at those of its outlets that all lots together submerge, if every lot built."""
    if swales.built is None:
        return {}
    found: dict[str, list[GivenWater]] = {}
    for lot, each in _submerged(swales.built):
        water = GivenWater(each.place, each.stage, each.step, each.submerged, STATES[each.answer], each.why)
        found.setdefault(lot, []).append(water)
    return {lot: tuple(several) for lot, several in found.items()}


def water_key(water: Mapping[str, Sequence[GivenWater]]) -> str:
    """Hash of the water of a pass, by which a lot that was planned with it is known again."""
    digest = hashlib.sha256()
    for lot, several in sorted(water.items()):
        digest.update(lot.encode("utf-8", "surrogatepass"))
        for each in several:
            digest.update(each.stage.tobytes() + each.state.encode())
    return digest.hexdigest()


def planned_again(
    records: Sequence[LotRecord], again: Mapping[str, LotRecord], swales: TownSwales, units: Units
) -> tuple[LotRecord, ...]:
    """Records with those of the second pass in place, each told what the water of all lots made of it.

    A lot whose second pass failed keeps its first answer.
    """
    told = {} if swales.built is None else dict(_submerged(swales.built))
    found = []
    for record in records:
        lot, then = record.row.lot, again.get(record.row.lot)
        if then is None or lot not in told:
            found.append(record)
            continue
        tail, outlet = told[lot], told[lot].id.rpartition("/")[2]
        if then.row.status != "done" or then.row.planned is None or record.row.planned is None:
            why = reason("town_tailwater_not_planned", over=tail.above, outlet=outlet, time=tail.submerged,
                         message=then.row.message)  # fmt: skip
            found.append(replace(record, row=replace(record.row, tailwater=say(why, units))))
            continue
        why = reason(
            "town_tailwater", over=tail.above, outlet=outlet, time=tail.submerged, always=tail.state == "always",
            changes=tuple(_changes(record.row.planned, then.row.planned)),
        )  # fmt: skip
        found.append(replace(then, row=replace(then.row, tailwater=say(why, units))))
    return tuple(found)


def _submerged(built: SwalesToldOf) -> Iterator[tuple[str, OutletTold]]:
    """Outlets of lots that stand under water, each with its lot."""
    for swale in built.swales:
        for each in swale.outlets:
            lot = each.id.rpartition("/")[0]
            if lot and each.state != "free":
                yield lot, each


def _changes(before: LotPlanned, now: LotPlanned) -> Iterator[Reason]:
    if before.mode != now.mode:
        yield reason("town_change", what="drains", now=MODES[now.mode], before=MODES[before.mode])
    for part in ("cause", "fall", "outfall", "cure"):
        was, is_now = getattr(before, part), getattr(now, part)
        if was != is_now:
            yield reason("town_change", what=SHORT_PARTS[part], now=SHORT_STATES[is_now], before=SHORT_STATES[was])
