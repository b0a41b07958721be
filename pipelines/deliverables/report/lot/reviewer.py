"""The reviewer's sheet: what leaves the lot before and after, flows, capacity, outfalls, permits, assumptions."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

import pandas as pd

from pipelines.deliverables.files.layer_table import read_rows
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.report.blocks import (
    Block,
    Facts,
    Head,
    Inline,
    Items,
    Sheet,
    Subhead,
    Table,
    Words,
    said_items,
)
from pipelines.deliverables.report.figures.water import hydrograph_figure
from pipelines.deliverables.report.lot.answer import caution_paragraph, improves
from pipelines.deliverables.report.lot.columns import COLUMNS, SPARE, TITLES
from pipelines.deliverables.report.numbers import layer_table, number
from pipelines.deliverables.words.names import EDGES, MODES
from pipelines.deliverables.words.rules import parameter_rows
from pipelines.deliverables.words.say import say, sentence
from terrain.unit_table import Units

RECKONED = ("flow_length", "slope", "runoff_coefficient", "storm_depth", "runoff_depth", "level_low", "level_high")
"""Columns that only a recalculation needs."""


def reviewer_sheet(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> Sheet:
    """What a reviewer asks."""
    blocks: list[Block] = [caution_paragraph(), Subhead("What leaves the lot, before and after")]
    blocks += leaving_blocks(layers, units)
    blocks.append(Facts(tuple(_balance(findings, units))))
    flows, printed = list(_flows(layers, units, short=False)), list(_flows(layers, units, short=True))
    figures = [figure for flow in findings.hydrographs if (figure := hydrograph_figure(flow, units)) is not None]
    shown: list[Block] = [Subhead("Hydrographs at the collectors, design storm"), *figures] if figures else []
    rest: list[Block] = []
    if findings.plan.alternatives:
        rest += [Subhead("Ways compared"), _alternatives(findings, units)]
    permits = tuple((text,) for text in dict.fromkeys(_permits(findings, units)))
    if permits:
        rest += [Subhead("Permits, rights and what must be confirmed"), Items(permits, "box")]
    rest += warning_blocks(findings, units)
    sources = (Subhead("Sources of every method"), Facts(tuple(_methods())))
    return Sheet("reviewer", "Reviewer", "For the permit reviewer.", (*blocks, *flows, *shown, *rest, *sources),
                 (*blocks, *printed, *rest))  # fmt: skip


def _flows(layers: Mapping[str, pd.DataFrame], units: Units, *, short: bool) -> Iterator[Block]:
    """Areas with their runoff, and outfalls; in short without what only a recalculation needs."""
    yield Subhead("Areas and flows")
    for name in ("runoff", "outfalls"):
        key = "sub_catchment" if name == "runoff" else "id"
        shown = tuple(each for each in COLUMNS[name] if not short or each.column not in RECKONED)
        table = layer_table(layers, name, units, shown, title=TITLES[name], key=key)
        if table is not None:
            yield table


def leaving_blocks(layers: Mapping[str, pd.DataFrame], units: Units) -> tuple[Block, ...]:
    """What leaves the lot before and after, by side and outfall."""
    leaving = layer_table(layers, "leaving", units, COLUMNS["leaving"], title=TITLES["leaving"], key="place")
    if leaving is None:
        return ()
    return (replace(leaving, rows=tuple((_place(row[0]), *row[1:]) for row in leaving.rows)),)


def warning_blocks(findings: Findings, units: Units) -> tuple[Block, ...]:
    """What was assumed, what is missing, what is doubtful."""
    if not findings.warnings:
        return ()
    return Subhead("Assumed, missing, doubtful"), said_items(findings.warnings, units)


def rules_table(findings: Findings, units: Units) -> Table | None:
    """Every rule, default and assumption with its mark."""
    rows = tuple(parameter_rows(findings.rules, findings.parameters, units))
    if not rows:
        return None
    columns = (Head("Rule"), Head("Value: low / likely / high"), Head("Mark"))
    return Table("rules", "Rules and defaults", columns, rows)


def _place(name: Inline) -> Inline:
    return name.capitalize() if isinstance(name, str) and name in EDGES.values() else name


def _balance(findings: Findings, units: Units) -> Iterator[tuple[str, tuple[Words, ...]]]:
    balance = findings.balance
    told = [
        (name, number(value, "volume", units, f"summary|water_balance|{key}"))
        for name, value, key in (
            ("rain", balance.rain, "rain_m3"),
            ("soaks in", balance.infiltrated, "infiltrated_m3"),
            ("leaves over the edges", balance.leaves, "leaves_m3"),
            ("is collected", balance.collected, "collected_m3"),
            ("still stands at the end", balance.stands, "stands_m3"),
        )
    ]
    improved = " with the improvements" if improves(findings) else ""
    words: list[Inline] = ["Of ", told[0][1], f" of rain on the drainage area{improved}, "]
    for position, (name, value) in enumerate(told[1:]):
        words += [value, f" {name}" + (", " if position < 3 else ".")]
    yield "Water balance", (tuple(words),)


def _alternatives(findings: Findings, units: Units) -> Table:
    rows: list[tuple[Inline, ...]] = []
    for position, way in enumerate(findings.plan.alternatives):
        source = f"summary|alternatives|{position}"
        name = MODES[way.mode].capitalize() + (", chosen" if way.chosen else "" if way.possible else ", not possible")
        row: list[Inline] = [name]
        for value, kind, key in (
            (way.low, "money", "cost_low"), (way.likely, "money", "cost_likely"), (way.high, "money", "cost_high"),
            (way.deepest, "length", "deepest_m"), (way.fall_to_spare, "depth", "fall_to_spare_m"),
        ):  # fmt: skip
            row.append("" if value is None else number(value, kind, units, f"{source}|{key}"))
        rows.append((*row, sentence(way.depends_on, units)))
    columns = (
        Head("Way"), Head("Low", "", True), Head("Likely", "", True), Head("High", "", True),
        Head("Deepest dig", number(0.0, "length", units).unit, True),
        Head(SPARE, number(0.0, "depth", units).unit, True), Head("Depends on"),
    )  # fmt: skip
    return Table("alternatives", "Ways compared", columns, tuple(rows))


def _permits(findings: Findings, units: Units) -> Iterator[str]:
    used = {run.to_id for run in findings.plan.pipe_runs}
    for outfall in findings.plan.outfalls:
        if outfall.id in used or not used:
            given = "" if outfall.given else ", found by search, not verified"
            confirm = f" Confirm: {sentence(outfall.to_confirm, units)}" if outfall.to_confirm else ""
            yield f"{outfall.id} ({outfall.kind}{given}): the right to discharge there.{confirm}"
    for run in findings.plan.pipe_runs:
        for crossing in run.crossings:
            yield f"{run.id} crosses {say(crossing, units)}."


def _methods() -> Iterator[tuple[str, tuple[Words, ...]]]:
    """Where every method comes from."""
    for row in read_rows("methods.csv"):
        yield row["method"], ((row["source"],),)
