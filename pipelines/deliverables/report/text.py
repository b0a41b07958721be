"""Blocks of a report as plain text for a terminal."""

import re
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from pipelines.deliverables.report.blocks import Block, Facts, Inline, Items, Number, Paragraph, Subhead, Table, plain
from pipelines.deliverables.report.shown_text import shown

BRIEF_LINES = 25
"""Of an answer at a glance, of 80 characters each."""
OPENED = ("report.html", "report.pdf", "lot.gpkg", "swale.gpkg", "town.html", "town.gpkg")
"""Files that people open first."""
LABEL = 11
"""Characters of the names before what is told at a glance."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What is told at a glance under one name: sentences, the most telling first, of which so many are kept."""

    name: str
    told: tuple[str, ...]
    least: int = 1


def entries_as_text(title: str, entries: Sequence[Entry], width: int) -> str:
    """Entries as lines, each under its name; while they are too many, the longest gives up its last sentence."""
    head = textwrap.wrap(shown(title), width, max_lines=2, placeholder=" …")
    most = (BRIEF_LINES if width >= 80 else BRIEF_LINES * 80 // width) - len(head)
    kept = [len(entry.told) for entry in entries]
    while True:
        set_out = [_entry(entry, count, width) for entry, count in zip(entries, kept, strict=True)]
        spare = [at for at, count in enumerate(kept) if count > entries[at].least]
        # a long folder's name takes a line that is not there
        spare = spare or [at for at, count in enumerate(kept) if count > 1]
        longest = max(spare, key=lambda at: len(set_out[at]), default=None)
        if longest is None or sum(map(len, set_out)) <= most:
            return "\n".join((*head, *(line for lines in set_out for line in lines)))
        kept[longest] -= 1


def files_entry(folder: str, files: Sequence[str]) -> Entry:
    """Where the files are: those that people open, then how many more."""
    opened = [name for name in files if name in OPENED]
    more = f" and {len(files) - len(opened)} more" if len(files) > len(opened) else ""
    return Entry("Files", (f"{', '.join(opened)}{more} in {folder}",))


def _entry(entry: Entry, count: int, width: int) -> list[str]:
    left_out = len(entry.told) - count
    text = " ".join((*map(shown, entry.told[:count]), *((f"And {left_out} more: --full.",) if left_out else ())))
    # a number stays with what it counts
    held = re.sub(r"\b(\d\.) ", "\\1\u00a0", text)
    lines = textwrap.wrap(
        held, width, initial_indent=entry.name.ljust(LABEL), subsequent_indent=" " * LABEL, break_on_hyphens=False
    )
    return [line.replace("\u00a0", " ") for line in lines]


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
