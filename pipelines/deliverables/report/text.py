"""Blocks of a report as plain text for a terminal."""

import textwrap
from collections.abc import Iterable, Iterator

from pipelines.deliverables.report.blocks import Block, Facts, Inline, Items, Number, Paragraph, Subhead, Table, plain
from pipelines.deliverables.report.shown_text import shown


def blocks_as_text(blocks: Iterable[Block], width: int) -> str:
    """Blocks as text: a line for each title, an item for each answer; drawings are left out."""
    parts: list[list[str]] = []
    titled = False
    for block in blocks:
        if isinstance(block, Subhead):
            parts.append([shown(block.text)])
            titled = True
            continue
        for title, lines in _sections(block, width):
            if title and not titled:
                parts.append([title])
            elif not titled:
                parts.append([])
            parts[-1] += lines
            titled = False
    return "\n\n".join("\n".join(part) for part in parts if part)


def _sections(block: Block, width: int) -> Iterator[tuple[str, list[str]]]:
    """Titles, each with its lines."""
    if isinstance(block, Paragraph):
        yield "", [textwrap.fill(shown(plain(block.words)), width)]
    elif isinstance(block, Items):
        yield "", [_item(plain(words), width) for words in block.items]
    elif isinstance(block, Facts):
        for question, answers in block.rows:
            yield shown(question), [_item(plain(words), width) for words in answers]
    elif isinstance(block, Table):
        yield shown(block.title), [_item(_row(block, row), width) for row in block.rows]


def _row(table: Table, row: tuple[Inline, ...]) -> str:
    """A row as a sentence: what it is of, then each heading with its value."""
    first, *cells = (value.text if isinstance(value, Number) else value for value in row)
    told = [f"{head.head.lower()} {cell}" for head, cell in zip(table.columns[1:], cells, strict=True) if cell]
    return f"{first}: {', '.join(told)}"


def _item(text: str, width: int) -> str:
    return textwrap.fill(shown(text), width, initial_indent="  - ", subsequent_indent="    ")
