"""What a town's run answers, in sentences: the same on the page and on a terminal."""

from collections import Counter
from collections.abc import Iterator, Sequence

from pipelines.deliverables.findings.town import LotRow, TownFindings
from pipelines.deliverables.findings.town_swales import TownSwales
from pipelines.deliverables.report.text import Entry, entries_as_text, files_entry
from pipelines.deliverables.town.summary import by_need
from pipelines.deliverables.words.names import MODES
from pipelines.deliverables.words.say import sentence
from terrain.reason import Reason, reason

NEEDED = 40.0
"""Need from which a lot is named. [-]"""
NAMED = 8

LEAST_RISE = 0.002
"""Of a swale that is worth a sentence: less is told as nothing in either unit. [m]"""


def town_lead(findings: TownFindings) -> str:
    """How many lots have an answer."""
    return sentence(_lots(findings.rows), findings.units)


def town_told(findings: TownFindings) -> tuple[str, ...]:
    """The rest of the answer, the most telling first."""
    return tuple(sentence(each, findings.units) for _, each in _facts(findings))


def town_text(findings: TownFindings, width: int, folder: str, files: Sequence[str]) -> str:
    """The answer as a terminal shows it."""
    told: dict[str, list[str]] = {"Lots": [town_lead(findings)]}
    for name, each in _facts(findings):
        told.setdefault(name, []).append(sentence(each, findings.units))
    kept = [each.text for each in findings.cautions if each.id == "not_a_survey"]
    told["Caution"] = [sentence(text, findings.units) for text in kept]
    entries = [Entry(name, tuple(lines)) for name, lines in told.items() if lines]
    return entries_as_text(findings.name, [*entries, files_entry(folder, files)], width)


def _lots(rows: Sequence[LotRow]) -> Reason:
    states = Counter(row.status for row in rows)
    return reason("town_lots", lots=len(rows), done=states["done"], failed=states["failed"], aside=states["set_aside"])


def _facts(findings: TownFindings) -> Iterator[tuple[str, Reason]]:
    rows = findings.rows
    needed = [row for row in by_need(rows) if (row.need or 0.0) >= NEEDED]
    if needed:
        names = tuple(row.name for row in needed[:NAMED])
        yield "Visit", reason("town_most_need", count=len(needed), least=NEEDED, names=names)
    elif any(row.status == "done" for row in rows):
        yield "Visit", reason("town_no_need", least=NEEDED)
    if findings.depth == "ground":
        yield "Visit", reason("town_on_the_raster", grounds=findings.grounds)
    modes = Counter(row.planned.mode for row in rows if row.planned)
    if modes:
        parts = tuple(reason("town_mode", count=count, mode=MODES[mode]) for mode, count in modes.most_common())
        yield "Drains", reason("town_modes", parts=parts)
    priced = [row.planned for row in rows if row.planned and row.planned.likely]
    if priced:
        low, likely, high = (sum(getattr(each, name) or 0.0 for each in priced) for name in ("low", "likely", "high"))
        yield "Cost", reason("town_cost", low=low, likely=likely, high=high, count=len(priced))
    links = [link for record in findings.records for link in record.links if link.from_lot]
    if links:
        names_of = {row.lot: row.name for row in rows}
        most = max(links, key=lambda each: each.peak)
        yield "Run-on", reason(
            "town_links", lots=len({each.to_lot for each in links}), links=len(links), peak=most.peak,
            giver=names_of.get(most.from_lot, f"lot {most.from_lot}"), taker=names_of.get(most.to_lot, most.to_lot),
        )  # fmt: skip
    if findings.swales is not None:
        yield from (("Swales", each) for each in _swales(findings.swales, findings.return_period))


def _swales(swales: TownSwales, design: float | None) -> Iterator[Reason]:
    full = {built: {each.swale for each in swales.full if each.storm == design and each.built is built}
            for built in (False, True)}  # fmt: skip
    yield reason(
        "town_swales_full", swales=len(full[False]), all=len(swales.now.swales),
        improved=None if swales.built is None else len(full[True]),
    )  # fmt: skip
    worst = max((each for each in swales.full if not each.built and each.storm == design),
                key=lambda each: each.over, default=None)  # fmt: skip
    names = {each.id: each.name for each in swales.now.swales}
    if worst is not None:
        yield reason("town_swale_full_at", swale=names[worst.swale], over=worst.over,
                     lot=worst.name or "no lot", storm=worst.storm)  # fmt: skip
    risen = max(swales.rises, key=lambda each: each.rise, default=None)
    if risen is not None and swales.built is not None and risen.rise >= LEAST_RISE:
        yield reason("town_rise", outlet=risen.outlet, rise=risen.rise)
