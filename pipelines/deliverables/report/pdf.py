"""A report on paper, typeset; figures stay drawings, fonts go along."""

import json
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from pipelines.deliverables.files.symbols import symbols
from pipelines.deliverables.report.blocks import Block, Facts, Figure, Inline, Items, Paragraph, Report, Subhead, plain
from pipelines.deliverables.report.figures.map_picture import MapPicture
from pipelines.deliverables.report.figures.map_svg import legend_mark, map_drawing
from pipelines.deliverables.report.html import SAID, asset
from pipelines.deliverables.report.shown_text import breakable, shown

PAPER = {"us": "us-letter", "si": "a4"}
LONGEST_NAME = 70
LONGEST_CELL = 400
NARROWEST, WIDEST = 4, 26
"""A column is given room for so many characters. [-]"""


def report_pdf(report: Report, picture: MapPicture | None, *, made_on: str = "") -> bytes:
    """A report as sheets: letter for us units, A4 for si."""
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
        return [_block(each, files) for each in listed]

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
        "verdict": _text(report.verdict),
        "map": None if picture is None else "map.svg",
        "map_alt": "Map of the first view of the report; its legend stands below.",
        "legend": legend,
        "answer": blocks(report.answer),
        "sheets": [
            {"title": sheet.title, "purpose": sheet.purpose, "blocks": blocks(sheet.blocks)} for sheet in report.sheets
        ],
        "tables": blocks(report.tables),
        "foot": [_text(line) for line in report.foot],
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


def _block(block: Block, files: dict[str, bytes]) -> dict[str, Any]:
    made: dict[str, Any] = {"kind": block.kind}
    if isinstance(block, Paragraph):
        return made | {"words": _text(plain(block.words)), "name": block.name}
    if isinstance(block, Subhead):
        return made | {"text": _text(block.text)}
    if isinstance(block, Items):
        return made | {"items": [_text(plain(item)) for item in block.items], "mark": block.mark}
    if isinstance(block, Facts):
        return made | {"rows": [[_text(q), [_text(plain(words)) for words in answers]] for q, answers in block.rows]}
    if isinstance(block, Figure):
        file = f"figure-{len(files)}.svg"
        files[file] = block.svg.encode()
        return made | {"title": _text(block.title), "file": file, "alt": _text(block.alt)}
    rows = [[_cell(value, column.unit) for value, column in zip(row, block.columns, strict=True)] for row in block.rows]
    foot = [_cell(value, column.unit) for value, column in zip(block.foot, block.columns, strict=False)]
    heads = [f"{column.head} {column.unit}" for column in block.columns]
    widths = [_width([head, *(row[place] for row in rows)]) for place, head in enumerate(heads)]
    columns = [{"head": column.head, "unit": shown(column.unit), "numeric": column.numeric} for column in block.columns]
    return made | {"title": block.title, "columns": columns, "rows": rows, "foot": foot, "note": block.note,
                   "widths": widths}  # fmt: skip


def _width(texts: list[str]) -> float:
    """Room for a column: its longest word, and what its cells hold as a rule."""
    words = max(len(word) for text in texts for word in (text.split() or [""]))
    cells = sorted(len(text) for text in texts[1:])
    usual = cells[int(0.8 * (len(cells) - 1))] if cells else 0
    return float(min(max(words, usual, NARROWEST), WIDEST)) + 1.0


def _cell(value: Inline, unit: str) -> str:
    if isinstance(value, str):
        return _text(shown(value, most=LONGEST_CELL))
    return shown(value.bare if unit and value.unit == unit else value.text)


def _text(text: str) -> str:
    return breakable(shown(text))
