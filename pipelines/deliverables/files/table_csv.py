"""Tables as CSV that a spreadsheet opens without running anything."""

import csv
import io
import math
from typing import Any

import pandas as pd

from terrain.shown_text import shown

FORMULA_STARTS = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
LONGEST_CELL = 32_000
"""A spreadsheet's cell holds little more. [characters]"""


def csv_text(table: pd.DataFrame) -> str:
    """A table as CSV text."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([_cell(str(name)) for name in table.columns])
    for row in table.itertuples(index=False, name=None):
        writer.writerow([_cell(value) for value in row])
    return text.getvalue()


def _cell(value: Any) -> Any:
    if value is None or value is pd.NA:
        return ""
    if isinstance(value, str):
        line = shown(" ".join(value.split()), most=LONGEST_CELL)
        return f"'{line}" if line.startswith(FORMULA_STARTS) else line
    plain = value.item() if hasattr(value, "item") else value
    if isinstance(plain, float):
        if not math.isfinite(plain):
            return ""
        plain += 0.0
        return repr(int(plain)) if plain.is_integer() and abs(plain) < 1e15 else repr(plain)
    return plain
