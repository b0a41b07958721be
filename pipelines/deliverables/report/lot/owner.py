"""The owner's sheet: what and why, what it may cost, the cheap cures, what to look after, what the plan does not do."""

from collections.abc import Iterator, Mapping, Sequence

import pandas as pd

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.report.blocks import (
    Block,
    Head,
    Inline,
    Items,
    Number,
    Paragraph,
    Sheet,
    Subhead,
    Table,
    said_items,
)
from pipelines.deliverables.report.lot.answer import caution_paragraph, design_storm, in_short, proposed
from pipelines.deliverables.report.lot.verdict_words import is_said
from pipelines.deliverables.report.numbers import number
from pipelines.deliverables.words.say import sentence
from pipelines.layout.plan import Cure, Plan, TakeOffLine
from terrain.unit_table import Units

GUTTERS = "clean_gutters"
SHARES = {"material": "Material", "hired": "Labor, equipment, permits, overhead and contingency"}


def owner_sheet(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> Sheet:
    """What the owner of the lot needs."""
    plan = findings.plan
    works = bool(plan.pipe_runs or plan.french_drains or plan.channel_drains or plan.catch_basins)
    top: list[Block] = [caution_paragraph(), Subhead("What, and why"), Paragraph((sentence(plan.verdict, units),))]
    if plan.refer_out:
        top.append(said_items(plan.refer_out, units))
    blocks: list[Block] = []
    if plan.cures:
        blocks += [
            Subhead("What costs little, first"),
            Items(tuple((cure_words(cure, units),) for cure in plan.cures), "box"),
        ]
    price = _price_table(findings, units)
    if price is not None:
        blocks += [Subhead("What it may cost"), price]
    care = care_rows(plan)
    if care:
        rows: tuple[tuple[Inline, ...], ...] = tuple(care)
        blocks += [
            Subhead("What to look after"),
            Table("care", "Care", (Head("When"), Head("What"), Head("What to look for")), rows),
        ]
    blocks += [
        Subhead("What the plan does not do"),
        Items(tuple((text,) for text in _not_done(findings, works, units))),
        Subhead("Cautions"),
        said_items((caution.text for caution in findings.cautions), units),
    ]
    each = (Items(tuple(proposed(findings, layers, units))),) if works else ()
    summed = (Items(tuple(in_short(findings, layers, units))),) if works else ()
    return Sheet("owner", "Owner", "For whoever lives there and pays.", (*top, *each, *blocks),
                 (*top, *summed, *blocks))  # fmt: skip


def cure_words(cure: Cure, units: Units) -> str:
    """A cheap cure: what to do, why, and what it changes."""
    return " ".join(sentence(each, units) for each in (cure.what, cure.why, cure.changes))


def _price_table(findings: Findings, units: Units) -> Table | None:
    lines = findings.plan.take_off
    if not lines:
        return None
    rows: list[tuple[Inline, ...]] = []
    for share, name in SHARES.items():
        of_share = [line for line in lines if line.share == share]
        if of_share:
            rows.append((name, *_money(of_share, f"|share|{share}", units)))
    total = _money(lines, "", units)
    columns = (Head("In the currency of the price list"), *(Head(name, "", True) for name in ("Low", "Likely", "High")))
    return Table(
        "price", "Price range", columns, tuple(rows), ("Total", *total),
        "A range for discussion, not an offer; it follows the price list and the lidar ground.",
    )


def _money(lines: Sequence[TakeOffLine], which: str, units: Units) -> list[Number]:
    """Low, likely and high of some lines of the take-off."""
    return [
        number(sum(getattr(line, column) for line in lines), "money", units, f"sum|take_off|{column}{which}")
        for column in ("low", "likely", "high")
    ]


def care_rows(plan: Plan) -> list[tuple[str, str, str]]:
    """What is looked after and when; common practice, no source."""
    rows: list[tuple[str, str, str]] = []
    if plan.catch_basins:
        rows.append(("After every big storm, and when leaves fall", "Grates", "Clear of leaves, firmly seated, whole."))
        rows.append(("Each spring and fall", "Basins", "Scoop out the grit before it reaches the pipe."))
    if plan.pipe_runs:
        rows.append(("After every big storm", "Outlet", "Clear, not buried, not washed out; runs in rain."))
    if any("cleanout" in fitting.kind.lower() for fitting in plan.fittings):
        rows.append(("Every other year, or when it runs slowly", "Cleanouts", "Flush the line from each of them."))
    if plan.french_drains:
        rows.append(("Each spring", "French drains", "Stone open: no soil, mulch or grass over it."))
    if plan.channel_drains:
        rows.append(("Each month", "Channel drains", "Grates firmly seated, channel free of grit."))
    if plan.sumps:
        rows.append(("Every three months, and before the wet season", "Pump",
                     "Fill the basin: it starts, empties, stops; the alarm sounds with the pump unplugged."))
        rows.append(("Each spring", "Relief hole and check valve",
                     "Hole under the check valve clean; the line drains back when the pump stops."))
        rows.append(("In every power cut", "Power", "Without power nothing is pumped: know where the water goes then."))
    if any(is_said(cure.what, GUTTERS) for cure in plan.cures):
        rows.append(("Each spring and fall", "Gutters and downspouts", "Clean, joints tight, not overflowing."))
    return rows


def _not_done(findings: Findings, works: bool, units: Units) -> Iterator[str]:
    storm = design_storm(findings, units)
    if works:
        named = f" ({storm})" if storm else ""
        yield f"It is laid out for one storm{named}: a heavier one leaves deeper water for longer."
    yield from (sentence(warning, units) for warning in findings.plan.warnings)
    yield "It does not lower ground water, mend a leak, or dry a basement or crawl space that is wet from below."
    yield "It does not find what lies in the ground, who owns what, or what the local code allows."
    yield "Nothing is built until someone has seen the lot in rain and checked its levels."
