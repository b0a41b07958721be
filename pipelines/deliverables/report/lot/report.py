"""A lot's whole report, from its findings and the layers that are handed over."""

from collections.abc import Mapping

import pandas as pd

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.findings.possible import told_by_number
from pipelines.deliverables.report.blocks import Block, Facts, Head, Report, Table, Words
from pipelines.deliverables.report.figures.map_picture import MapPicture
from pipelines.deliverables.report.lot.answer import (
    improves,
    lead_of,
    lot_answer_blocks,
    worst_verdict,
)
from pipelines.deliverables.report.lot.brief import brief_entries
from pipelines.deliverables.report.lot.columns import COLUMNS, TITLES, columns_of
from pipelines.deliverables.report.lot.crew import crew_sheet
from pipelines.deliverables.report.lot.owner import owner_sheet
from pipelines.deliverables.report.lot.reviewer import reviewer_sheet, rules_table
from pipelines.deliverables.report.lot.storms import storm_table
from pipelines.deliverables.report.lot.verdict_words import part_called, state_words
from pipelines.deliverables.report.numbers import layer_table
from pipelines.deliverables.report.text import Entry
from pipelines.deliverables.words.names import SHORT_STATES
from pipelines.deliverables.words.say import sentence, start_upper
from terrain.unit_table import Units

LISTED = ("low_spots", "surface_works", "catch_basins", "french_drains", "channel_drains", "pipe_runs", "sumps")


def lot_report(
    findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units, picture: MapPicture
) -> Report:
    """Everything a lot's report says; `picture` is its map."""
    sheets = (crew_sheet(findings, picture, units), owner_sheet(findings, layers, units),
              reviewer_sheet(findings, layers, units))  # fmt: skip
    spots = layers["low_spots"]
    numbered = spots["id"].isin(told_by_number(findings.low_spots, findings.possible))
    told = {**layers, "low_spots": spots[numbered]}
    tables = [layer_table(told, name, units, columns_of(name, improved=improves(findings)), title=TITLES[name])
              for name in LISTED]
    tables.append(
        layer_table(layers, "take_off", units, COLUMNS["take_off"], title=TITLES["take_off"], key="",
                    totals=("low", "likely", "high"), note="In the currency of the price list.")
    )  # fmt: skip
    tables += [storm_table(findings, units), rules_table(findings, units), _inputs(findings)]
    kept: tuple[Block, ...] = tuple(table for table in tables if table is not None)
    return Report(
        name=findings.name,
        version=findings.version,
        units=units,
        subject="Drainage pre-screen of a lot",
        sure=worst_verdict(findings),
        verdict=sentence(findings.plan.verdict, units),
        lead=lead_of(findings, units),
        parts=tuple(
            (start_upper(part_called(findings, name)), part.state, state_words(findings, name, units, SHORT_STATES))
            for name, part in findings.plan.parts.named
        ),
        answer=lot_answer_blocks(findings, layers, units),
        sheets=tuple(sheet for sheet in sheets if sheet is not None),
        tables=kept,
        paper=(Facts(tuple((entry.name, _answers(entry)) for entry in brief_entries(findings, layers, units))),),
        foot=tuple(f"{file.file} sha256 {file.sha256[:16]}" for file in findings.inputs),
    )


def _answers(entry: Entry) -> tuple[Words, ...]:
    """What is told of an entry: each check by itself, all else in one."""
    return tuple((text,) for text in entry.told) if entry.name == "Check" else ((" ".join(entry.told),),)


def _inputs(findings: Findings) -> Table | None:
    if not findings.inputs:
        return None
    columns = (Head("Read as"), Head("File"), Head("SHA-256"), Head("CRS"))
    rows = tuple((file.key, file.file, file.sha256, file.crs or "") for file in findings.inputs)
    return Table("inputs", "Files that were read", columns, rows)
