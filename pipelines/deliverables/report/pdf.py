"""A report on paper, typeset; figures stay drawings, fonts go along."""

import json
import math
from dataclasses import replace
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from pipelines.deliverables.files.symbols import symbols
from pipelines.deliverables.report.blocks import (
    SENTENCE,
    Block,
    Facts,
    Figure,
    Inline,
    Items,
    Paragraph,
    Report,
    Sheet,
    Subhead,
    Table,
    plain,
)
from pipelines.deliverables.report.figures.map_picture import MapPicture
from pipelines.deliverables.report.figures.map_svg import legend_mark, map_drawing
from pipelines.deliverables.report.html import SAID, asset
from pipelines.deliverables.report.shown_text import MOST, breakable, shown

PAPER = {"us": "us-letter", "si": "a4"}
LONGEST_NAME, LONGEST_TEXT = 70, 2000
LONGEST_CELL = 400
PORTRAIT, LANDSCAPE = 498.0, 670.0
"""Width of the narrower paper's text, upright and on its side. [pt]"""
SIZE = 7.5
"""Of a table's letters. [pt]"""
LONG_LIST = 6
"""Items; a longer list stands in two columns. [-]"""
LETTER, BOLD, PADDING = 0.53, 0.6, 7.0
"""Width of a letter for its size, in cells and in heads, and what a column keeps free. [-], [-], [pt]"""
FEW_WORDS = 22
"""Characters of a sentence that stand on one line at least."""
WIDEST = 60
"""Characters that a column is given room for beyond its longest word. [-]"""


def report_pdf(report: Report, picture: MapPicture | None, *, made_on: str = "") -> bytes:
    """What each reader needs, as sheets: letter for us units, A4 for si."""
    sheets = tuple(replace(sheet, blocks=sheet.paper or sheet.blocks) for sheet in report.sheets)
    return _typeset(replace(report, answer=report.paper or report.answer, sheets=sheets, tables=()), picture, made_on)


def appendix_pdf(report: Report, *, made_on: str = "") -> bytes:
    """What `report_pdf` leaves out: the whole answer, sections and curves, tables, rules, files with their hashes."""
    answer = Sheet("answer", "The whole answer", "", report.answer if report.paper else ())
    left_out = (replace(sheet, title=f"{sheet.title}, continued", blocks=_without(sheet.blocks, sheet.paper))
                for sheet in report.sheets if sheet.paper)  # fmt: skip
    sheets = tuple(sheet for sheet in (answer, *left_out) if sheet.blocks)
    return _typeset(replace(report, subject=f"{report.subject}, appendix", answer=(), sheets=sheets), None, made_on)


def _without(blocks: tuple[Block, ...], printed: tuple[Block, ...]) -> tuple[Block, ...]:
    return tuple(block for block in blocks if block not in printed)


def _typeset(report: Report, picture: MapPicture | None, made_on: str) -> bytes:
    # a twentieth of a second that only those who print pay
    import typst

    files: dict[str, bytes] = {"main.typ": asset("report.typ").encode()}
    content = _content(report, picture, made_on, files)
    files["report.json"] = json.dumps(content, ensure_ascii=False).encode("utf-8", "replace")
    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[str(_more_fonts())])
    made = datetime.fromisoformat(made_on).replace(tzinfo=UTC) if made_on else datetime(2000, 1, 1, tzinfo=UTC)
    # its annotations leave out that files may be given as a mapping
    typeset: Any = typst.compile
    compiled: bytes = typeset(files, format="pdf", font_paths=fonts, timestamp=int(made.timestamp()))
    return compiled


def _more_fonts() -> Path:
    """Folder of the font that has the letters which the typesetter's own lack; matplotlib brings it."""
    found = find_spec("matplotlib")
    assert found is not None
    assert found.origin is not None
    return Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"


def _content(report: Report, picture: MapPicture | None, made_on: str, files: dict[str, bytes]) -> dict[str, Any]:
    def blocks(listed: tuple[Block, ...]) -> list[dict[str, Any]]:
        return [made for each in listed for made in _blocks(each, files, PORTRAIT)]

    legend = []
    if picture is not None:
        files["map.svg"] = map_drawing(picture, moving=False).encode()
        legend = _legend(picture, files)
    return {
        "title": _text(f"{shown(report.name, most=LONGEST_NAME)}: {report.subject}"),
        "short": _text(shown(report.name, most=LONGEST_NAME)),
        "subject": report.subject,
        "version": report.version,
        "paper": PAPER[report.units],
        "made_on": made_on,
        "sure": report.sure,
        "how": SAID[report.sure],
        "verdict": _text(report.verdict, most=LONGEST_TEXT),
        "map": None if picture is None else "map.svg",
        "map_alt": "Map of the first view of the report; its legend stands below.",
        "legend": legend,
        "answer": blocks(report.answer),
        "sheets": [
            {"title": sheet.title, "purpose": sheet.purpose, "blocks": blocks(sheet.blocks),
             "dense": sheet.id == "crew", "first": at == 0 and not report.answer}
            for at, sheet in enumerate(report.sheets)
        ],
        "tables": [made for each in report.tables for made in _blocks(each, files, LANDSCAPE)],
        "read": _text(f"Read: {'; '.join(report.foot)}." if report.tables else "Files that were read: appendix.pdf."),
        "brief": bool(report.paper) and not report.tables,
    }


def _legend(picture: MapPicture, files: dict[str, bytes]) -> list[dict[str, str]]:
    entries = []
    for layer in reversed(picture.layers):
        if not layer.on:
            continue
        for number in sorted({feature.symbol for feature in layer.features}):
            symbol = symbols()[layer.name][number]
            file = f"mark-{layer.name}-{number}.svg"
            files[file] = legend_mark(symbol).encode()
            entries.append({"file": file, "label": shown(symbol.label(picture.units))})
    return entries


def _blocks(block: Block, files: dict[str, bytes], room: float) -> list[dict[str, Any]]:
    """A block as the typesetter reads it; a table that is wider than the room is told in parts."""
    made: dict[str, Any] = {"kind": block.kind}
    if isinstance(block, Paragraph):
        return [made | {"words": _text(plain(block.words), most=LONGEST_TEXT), "name": block.name}]
    if isinstance(block, Subhead):
        return [made | {"text": _text(block.text)}]
    if isinstance(block, Items):
        items = [_text(plain(item)) for item in block.items]
        first = _half(items) if len(items) > LONG_LIST else 0
        return [made | {"items": items, "mark": block.mark, "first": first}]
    if isinstance(block, Facts):
        return [made | {"rows": [[_text(q), [_text(plain(words)) for words in answers]] for q, answers in block.rows]}]
    if isinstance(block, Figure):
        file = f"figure-{len(files)}.svg"
        files[file] = block.svg.encode()
        return [made | {"title": _text(block.title), "file": file, "alt": _text(block.alt), "wide": block.wide}]
    return _table_parts(block, room)


def _half(items: list[str]) -> int:
    """How many items make half of the text."""
    half, told = sum(map(len, items)) / 2.0, 0
    for count, item in enumerate(items, start=1):
        told += len(item)
        if told >= half:
            return count
    return len(items)


def _table_parts(table: Table, room: float) -> list[dict[str, Any]]:
    rows = [[_cell(value, column.unit) for value, column in zip(row, table.columns, strict=True)] for row in table.rows]
    foot = [_cell(value, column.unit) for value, column in zip(table.foot, table.columns, strict=False)]
    heads = [[column.head, shown(column.unit)] for column in table.columns]
    cells = [[row[place] for row in (*rows, foot) if row] for place in range(len(heads))]
    least = [_least(head, column) for head, column in zip(heads, cells, strict=True)]
    parts: list[dict[str, Any]] = []
    for places in _fitting(least, room):
        widths = _widths([least[at] for at in places], [_usual(cells[at]) for at in places], room)
        shown_rows = [[row[at] for at in places] for row in rows]
        parts.append({
            "kind": table.kind, "title": table.title + (", continued" if parts else ""),
            "columns": [{"head": heads[at][0], "unit": heads[at][1], "numeric": table.columns[at].numeric}
                        for at in places],
            "rows": shown_rows, "foot": [foot[at] for at in places] if foot else [], "note": "", "widths": widths,
            "size": SIZE, "lines": _lines(shown_rows, widths),
        })  # fmt: skip
    parts[-1]["note"] = table.note
    return parts


def _lines(rows: list[list[str]], widths: list[float]) -> int:
    """Lines that rows take, about."""
    room = [max((wide - PADDING) / (SIZE * LETTER), 1.0) for wide in widths]
    return sum(max(math.ceil(len(text) / each) for text, each in zip(row, room, strict=True)) for row in rows)


def _least(head: list[str], cells: list[str]) -> float:
    """Room for a column's longest word, or for a few of them where it holds sentences. [pt]"""
    words = max((len(word) for text in cells for word in text.replace("\u200b", " ").split()), default=0)
    words = max(words, FEW_WORDS if max(map(len, cells), default=0) > SENTENCE else 0)
    bold = max(len(word) for text in (*head, "") for word in (text.split() or [""]))
    return SIZE * max(LETTER * words, BOLD * bold) + PADDING


def _usual(cells: list[str]) -> float:
    """Room for what a column's cells hold as a rule, or for a sentence where one does. [pt]"""
    lengths = sorted(map(len, cells)) or [0]
    rule = lengths[-1] if lengths[-1] > SENTENCE else lengths[int(0.8 * (len(lengths) - 1))]
    return SIZE * LETTER * min(rule, WIDEST) + PADDING


def _fitting(least: list[float], room: float) -> list[list[int]]:
    """Columns in parts that have room, the first in each."""
    parts = [[0]]
    for at in range(1, len(least)):
        if sum(least[place] for place in parts[-1]) + least[at] > room:
            parts.append([0])
        parts[-1].append(at)
    return parts


def _widths(least: list[float], usual: list[float], room: float) -> list[float]:
    """Room shared out: to each its longest word, the rest by what else it holds. [pt]"""
    wanted = [max(most - few, 0.0) + 0.5 for few, most in zip(least, usual, strict=True)]
    spare = max(room - sum(least), 0.0)
    return [few + spare * want / sum(wanted) for few, want in zip(least, wanted, strict=True)]


def _cell(value: Inline, unit: str) -> str:
    if isinstance(value, str):
        return _text(shown(value, most=LONGEST_CELL))
    return shown(value.bare if unit and value.unit == unit else value.text)


def _text(text: str, most: int = MOST) -> str:
    return breakable(shown(text, most=most))
