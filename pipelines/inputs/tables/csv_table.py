"""A table of commas as people keep them: comments, a header, rows that are known by their line."""

import csv
import math
import os
from dataclasses import dataclass
from pathlib import Path

from pipelines.inputs.errors import InputFileError, TableError
from terrain.reading.named_file import read_named_file

MOST_ROWS = 20_000
"""Of a table; a value of this project. [-]"""
MOST_CHARACTERS = 20_000
"""Of a line; a value of this project. [-]"""


@dataclass(frozen=True, slots=True)
class CsvRow:
    """One row: its line in the file, and its texts by column."""

    line: int
    texts: dict[str, str]


@dataclass(frozen=True, slots=True)
class CsvTable:
    """A table as text.

    Attributes
    ----------
    where : str
        What it is and its file, for messages.
    columns : tuple of str
        In lower case.
    comments : tuple of str
        Lines that begin with #, without it.
    """

    where: str
    columns: tuple[str, ...]
    rows: tuple[CsvRow, ...]
    comments: tuple[str, ...]

    def number(self, row: CsvRow, column: str, *, least: float | None = None) -> float:
        """A number of the table. [-]"""
        text = row.texts[column]
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise TableError(f'{self.where}: line {row.line}, column {column}: "{text}" is no number')
        if least is not None and value < least:
            raise TableError(f'{self.where}: line {row.line}, column {column}: "{text}" is less than {least:g}')
        return value


def read_text(path: str | os.PathLike[str], what: str) -> str:
    """A text file as text."""
    path = Path(path)
    try:
        return read_named_file(path, f"{what} {path}", InputFileError).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise TableError(f"{what} {path} is no text in UTF-8; save it as CSV in UTF-8") from None


def read_csv_table(path: str | os.PathLike[str], what: str) -> CsvTable:
    """Read a table."""
    where = f"{what} {Path(path).name}"
    return table_of_text(read_text(path, what), where)


def table_of_text(text: str, where: str) -> CsvTable:
    """Read a table from its text; `where` is what it is and its file, for messages."""
    lines = text.splitlines()
    refuse_too_long(lines, where)
    comments = tuple(line.strip().lstrip("#").strip() for line in lines if line.lstrip().startswith("#"))
    numbered = [
        (number, line)
        for number, line in enumerate(lines, start=1)
        if line.strip(" ,\t") and not line.lstrip().startswith("#")
    ]
    if not numbered:
        raise TableError(f"{where} is empty; it needs a header and rows")
    if ";" in numbered[0][1] and "," not in numbered[0][1]:
        raise TableError(f"{where} is separated by semicolons; separate by commas, with a point in numbers")
    columns = tuple(text.strip().lower() for text in _cells(numbered[0][1], where, numbered[0][0]))
    twice = sorted({column for column in columns if columns.count(column) > 1})
    if twice:
        raise TableError(f"{where}: column {', '.join(twice)} stands in the header twice")
    if len(numbered) == 1:
        raise TableError(f"{where} has a header and no rows")
    rows = []
    for number, line in numbered[1:]:
        texts = [text.strip() for text in _cells(line, where, number)]
        if len(texts) != len(columns):
            raise TableError(
                f"{where}: line {number} has {len(texts)} values for {len(columns)} columns ({', '.join(columns)})"
            )
        rows.append(CsvRow(number, dict(zip(columns, texts, strict=True))))
    return CsvTable(where, columns, tuple(rows), comments)


def _cells(line: str, where: str, number: int) -> list[str]:
    try:
        return next(csv.reader([line]))
    except csv.Error as error:
        raise TableError(f"{where}: line {number} is no line of a CSV table: {error}; save it again") from None


def refuse_too_long(lines: list[str], where: str) -> None:
    """Raise where a table has more rows, or a line more characters, than one of a lot's makes sense with."""
    if len(lines) > MOST_ROWS:
        raise TableError(f"{where} has {len(lines):,} lines, and at most {MOST_ROWS:,} are read; leave some out")
    for number, line in enumerate(lines, start=1):
        if len(line) > MOST_CHARACTERS:
            raise TableError(
                f"{where}: line {number} has {len(line):,} characters, and at most {MOST_CHARACTERS:,} are read; "
                "break it, one row a line"
            )


def one_of(table: CsvTable, choices: tuple[str, ...]) -> str:
    """The one column of several that a table gives."""
    given = [column for column in choices if column in table.columns]
    if len(given) != 1:
        found = f"has both {' and '.join(given)}" if given else f"has no column {' or '.join(choices)}"
        raise TableError(f"{table.where} {found}; its columns are {', '.join(table.columns)}; give one of them")
    return given[0]
