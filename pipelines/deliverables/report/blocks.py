"""What a report is made of: words, numbers that know where they come from, lists, tables, figures, sheets."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

from pipelines.deliverables.words.say import sentence
from terrain.reason import Reason
from terrain.unit_table import Units


@dataclass(frozen=True, slots=True)
class Number:
    """A number as a person reads it, and where it comes from.

    Attributes
    ----------
    text, bare : str
        Rounded as the trade reads it, with its unit and without.
    unit : str
        As written beside it; empty for none.
    value : float or None
        Not rounded; None where unknown. [SI]
    source : str
        `layer|id|column`, `sum|layer|column` or `summary|key|...`; empty for none.
    """

    text: str
    bare: str
    unit: str
    value: float | None
    source: str


Inline = str | Number
SENTENCE = 36
"""Characters from which text is a sentence."""
Words = tuple[Inline, ...]


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph; `name` selects how it is set: plain or strong."""

    kind: ClassVar[str] = "paragraph"
    words: Words
    name: str = "plain"


@dataclass(frozen=True, slots=True)
class Subhead:
    """A heading within a sheet."""

    kind: ClassVar[str] = "subhead"
    text: str


@dataclass(frozen=True, slots=True)
class Items:
    """A list: mark is bullet, number or box."""

    kind: ClassVar[str] = "items"
    items: tuple[Words, ...]
    mark: str = "bullet"


@dataclass(frozen=True, slots=True)
class Facts:
    """Questions with their answers."""

    kind: ClassVar[str] = "facts"
    rows: tuple[tuple[str, tuple[Words, ...]], ...]


@dataclass(frozen=True, slots=True)
class Head:
    """A column of a table: its heading, the unit of all its numbers, whether it holds numbers."""

    head: str
    unit: str = ""
    numeric: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table; `foot` is its row of totals."""

    kind: ClassVar[str] = "table"
    id: str
    title: str
    columns: tuple[Head, ...]
    rows: tuple[tuple[Inline, ...], ...]
    foot: tuple[Inline, ...] = ()
    note: str = ""

    @property
    def wordy(self) -> tuple[bool, ...]:
        """Which columns hold sentences rather than names."""
        return tuple(
            any(isinstance(cell := row[place], str) and len(cell) > SENTENCE for row in self.rows)
            for place in range(len(self.columns))
        )


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing as SVG, with what it shows in words for those who cannot see it, and its width on paper.

    Attributes
    ----------
    wide : float
        On paper; 0 for as wide as the page. [mm]
    """

    kind: ClassVar[str] = "figure"
    id: str
    title: str
    svg: str
    alt: str
    wide: float = 0.0


Block = Paragraph | Subhead | Items | Facts | Table | Figure


@dataclass(frozen=True, slots=True)
class Sheet:
    """What one reader needs.

    Attributes
    ----------
    id, title : str
        Of the sheet.
    purpose : str
        Who it is for, in a sentence.
    blocks : tuple of Block
        In order.
    paper : tuple of Block
        What is printed; the rest goes to the appendix. Empty where all is printed.
    """

    id: str
    title: str
    purpose: str
    blocks: tuple[Block, ...]
    paper: tuple[Block, ...] = ()


@dataclass(frozen=True, slots=True)
class Report:
    """A whole report, before it is set.

    Attributes
    ----------
    name, version, units : str
        Of the site, of the program, and us or si.
    subject : str
        What kind of check it is, in words.
    sure : str
        sure, cannot_tell or no: how the answer is coloured and marked.
    verdict : str
        The answer with its reasons.
    lead : str
        The answer in one sentence.
    parts : tuple of (str, str, str)
        What is judged, how sure that is (sure, cannot_tell, no or not_needed), and the same in words.
    answer : tuple of Block
        The answer's parts, and the site checks.
    sheets : tuple of Sheet
        By reader.
    tables : tuple of Block
        Everything by number.
    foot : tuple of str
        The inputs and their hashes.
    paper : tuple of Block
        What of the answer is printed on the first page; the rest goes to the appendix. Empty where all is printed.
    """

    name: str
    version: str
    units: str
    subject: str
    sure: str
    verdict: str
    lead: str
    parts: tuple[tuple[str, str, str], ...]
    answer: tuple[Block, ...]
    sheets: tuple[Sheet, ...]
    tables: tuple[Block, ...]
    foot: tuple[str, ...]
    paper: tuple[Block, ...] = ()


def plain(words: Words) -> str:
    """Words and numbers as one text."""
    return "".join(part.text if isinstance(part, Number) else part for part in words)


def said_items(said: Iterable[Reason | str], units: Units, mark: str = "bullet") -> Items:
    """What is told as a list of sentences, each once."""
    return Items(tuple((text,) for text in dict.fromkeys(sentence(fact, units) for fact in said)), mark)
