"""Blocks of a report as plain text, for a terminal: the words of the page, wrapped."""

import textwrap
from collections.abc import Iterable, Sequence

from pipelines.deliverables.report.blocks import Block, Facts, Items, Paragraph, Subhead, Words, plain


def blocks_as_text(blocks: Iterable[Block], width: int) -> str:
    """Paragraphs, headings and lists as wrapped text; tables and figures are left out."""
    parts: list[str] = []
    title = ""
    for block in blocks:
        if isinstance(block, Subhead):
            title = block.text
        elif isinstance(block, Paragraph):
            parts.append(_titled(title, [textwrap.fill(plain(block.words), width)]))
            title = ""
        elif isinstance(block, Items):
            parts.append(_titled(title, _items(block.items, width)))
            title = ""
        elif isinstance(block, Facts):
            parts += [_titled(question, _items(answers, width)) for question, answers in block.rows]
    return "\n\n".join(parts)


def _titled(title: str, lines: Sequence[str]) -> str:
    return "\n".join([title, *lines] if title else lines)


def _items(items: Sequence[Words], width: int) -> list[str]:
    return [
        textwrap.fill(plain(words), width, initial_indent="  - ", subsequent_indent="    ") for words in items
    ]
