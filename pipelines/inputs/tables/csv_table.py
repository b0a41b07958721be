"""A table of commas as people keep them: comments, a header, rows that are known by their line."""

import csv
import math
import os
from dataclasses import dataclass
from pathlib import Path

from pipelines.inputs.errors import InputFileError, TableError


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
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise InputFileError(f"{what} {path} does not exist") from None
    except OSError as error:
        raise InputFileError(f"{what} {path} cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise TableError(f"{what} {path} is no text in UTF-8; save it as CSV in UTF-8") from None


def read_csv_table(path: str | os.PathLike[str], what: str) -> CsvTable:
    """Read a table."""
    where = f"{what} {Path(path).name}"
    lines = read_text(path, what).splitlines()
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
    columns = tuple(text.strip().lower() for text in next(csv.reader([numbered[0][1]])))
    twice = sorted({column for column in columns if columns.count(column) > 1})
    if twice:
        raise TableError(f"{where}: column {', '.join(twice)} stands in the header twice")
    if len(numbered) == 1:
        raise TableError(f"{where} has a header and no rows")
    rows = []
    for number, line in numbered[1:]:
        texts = [text.strip() for text in next(csv.reader([line]))]
        if len(texts) != len(columns):
            raise TableError(
                f"{where}: line {number} has {len(texts)} values for {len(columns)} columns ({', '.join(columns)})"
            )
        rows.append(CsvRow(number, dict(zip(columns, texts, strict=True))))
    return CsvTable(where, columns, tuple(rows), comments)


def one_of(table: CsvTable, choices: tuple[str, ...]) -> str:
    """The one column of several that a table gives."""
    given = [column for column in choices if column in table.columns]
    if len(given) != 1:
        found = f"has both {' and '.join(given)}" if given else f"has no column {' or '.join(choices)}"
        raise TableError(f"{table.where} {found}; its columns are {', '.join(table.columns)}; give one of them")
    return given[0]
