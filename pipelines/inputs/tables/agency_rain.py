"""The national agency's precipitation frequency estimates for a point, as its server sends them.

Everything is found by what it says, never by where it stands: the preamble varies, and a file may hold the estimates
among their confidence limits.

References
----------
.. [1] NOAA Atlas 14, Precipitation-Frequency Atlas of the United States, point estimates in CSV.
"""

import re
from dataclasses import dataclass

import numpy as np

from pipelines.inputs.errors import TableError
from pipelines.inputs.tables.rain_checks import checked_rain_table
from pipelines.inputs.tables.rain_table import RainTable, Series
from terrain.shown_text import quoted
from terrain.unit_table import DAY, HOUR, MINUTE, si_factor

_TITLE = re.compile(r"point precipitation frequency estimates\s*\(([^)]*)\)", re.IGNORECASE)
_HEADER = re.compile(r"by duration for ([^:]*):", re.IGNORECASE)
_LABEL = re.compile(r"(\d+(?:\.\d+)?)\s*-?\s*(min|hr|hour|day)[a-z]*:?", re.IGNORECASE)
_SECONDS = {"min": MINUTE, "hr": HOUR, "hour": HOUR, "day": DAY}
_UNITS = {"inches": "in", "inch": "in", "in": "in", "millimeters": "mm", "millimetres": "mm", "mm": "mm"}


@dataclass(frozen=True, slots=True)
class _Block:
    """Rows of estimates with their header."""

    header: list[str]
    rows: list[tuple[int, list[str]]]


def is_agency_text(text: str) -> bool:
    """Whether a file says that it is such a table."""
    return _HEADER.search(text) is not None or _TITLE.search(text) is not None


def read_agency_text(text: str, where: str) -> RainTable:
    """Read the block of estimates."""
    lines = text.splitlines()
    unit, is_intensity = _unit(text, where)
    block = _estimates(lines, where)
    years = [_years(label, where) for label in block.header]
    durations, depths, rounding = [], [], []
    for number, texts in block.rows:
        seconds = _seconds(texts[0])
        if len(texts) - 1 != len(years):
            raise TableError(
                f"{where}: line {number} ({texts[0]}) has {len(texts) - 1} values for {len(years)} return periods"
            )
        factor = si_factor(unit) * (seconds / HOUR if is_intensity else 1.0)
        durations.append(seconds)
        depths.append([_number(each, number, texts[0], where) * factor for each in texts[1:]])
        rounding.append([_half_digit(each) * factor if is_intensity else 0.0 for each in texts[1:]])
    return checked_rain_table(
        np.array(durations),
        np.array(years),
        np.array(depths, dtype=np.float64),
        _series(text),
        _source(lines, where) + ("; printed as intensities, here times their durations" if is_intensity else ""),
        where=where,
        unit=unit,
        rows=[f"line {number} ({texts[0].rstrip(':')})" for number, texts in block.rows],
        columns=[f"{label} yr" for label in block.header],
        rounding=np.array(rounding, dtype=np.float64),
    )


def _unit(text: str, where: str) -> tuple[str, bool]:
    title = _TITLE.search(text)
    if title is None:
        raise TableError(f'{where}: no line says "Point precipitation frequency estimates (inches)" or another unit')
    words = title[1].strip().lower()
    name, _, per = words.partition("/")
    unit = _UNITS.get(name.strip())
    intensity = re.search(r"data type:\s*precipitation intensity", text, re.IGNORECASE) is not None
    if unit is None or (per and per.strip() not in ("hour", "hr", "h")):
        raise TableError(
            f'{where}: its unit "{title[1]}" is not known; it may be inches or millimeters, or these by hour'
        )
    return unit, bool(per) or intensity


def _estimates(lines: list[str], where: str) -> _Block:
    """The first block whose title speaks of no bound or limit."""
    title = ""
    for position, line in enumerate(lines):
        if _HEADER.match(line.strip()):
            if not re.search(r"upper|lower|limit|bound|confidence", title, re.IGNORECASE):
                return _Block(_cells(line)[1:], _rows(lines, position + 1, where))
        elif line.strip(" ,"):
            title = line
    raise TableError(f'{where}: no header "by duration for ARI (years):" stands over a block of estimates')


def _rows(lines: list[str], start: int, where: str) -> list[tuple[int, list[str]]]:
    rows = []
    for number, line in enumerate(lines[start:], start=start + 1):
        cells = _cells(line)
        if not cells:
            continue
        if not _LABEL.fullmatch(cells[0]):
            break
        rows.append((number, cells))
    if not rows:
        raise TableError(f"{where}: no row of a duration stands under the header in line {start}")
    return rows


def _cells(line: str) -> list[str]:
    # the server guards fractions from spreadsheets by an apostrophe
    cells = [cell.strip().strip("\"'") for cell in line.split(",")]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _seconds(label: str) -> float:
    match = _LABEL.fullmatch(label)
    assert match is not None
    return float(match[1]) * _SECONDS[match[2].lower()]


def _years(label: str, where: str) -> float:
    """Return period of a column: years, or an exceedance probability as 1/10, 0.1 or 10%."""
    text = label.strip()
    try:
        if "/" in text:
            top, bottom = text.split("/")
            return float(bottom) / float(top)
        if text.endswith("%"):
            return 100.0 / float(text[:-1])
        value = float(text)
        return 1.0 / value if 0.0 < value < 1.0 else value
    except (ValueError, ZeroDivisionError):
        raise TableError(f'{where}: the header {quoted(label)} is no return period or exceedance probability') from None


def _number(text: str, line: int, label: str, where: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise TableError(f'{where}: line {line} ({label}): {quoted(text)} is no number') from None


def _half_digit(text: str) -> float:
    """Half a unit of the last digit printed."""
    return 0.5 * 10.0 ** -len(text.partition(".")[2])


def _series(text: str) -> Series:
    found = re.search(r"time series type:\s*([a-z ]+)", text, re.IGNORECASE)
    words = found[1].lower() if found else ""
    if "partial" in words:
        return "partial_duration"
    return "annual_maximum" if "annual" in words else "unknown"


def _source(lines: list[str], where: str) -> str:
    """The publication with volume and version, and the place, as the file names them."""
    volume = next((line.strip(" ,") for line in lines if re.search(r"volume\s+\S+\s+version", line, re.IGNORECASE)), "")
    place = next((line.strip(" ,") for line in lines if line.lower().startswith("location name:")), "")
    return "; ".join(each for each in (where.removeprefix("rain table "), volume, place) if each)
