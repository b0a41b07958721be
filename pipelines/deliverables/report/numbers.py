"""Numbers of a report: rounded for a reader, unrounded for a check, each with its source."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pandas as pd

from pipelines.deliverables.report.blocks import Head, Inline, Number, Table
from pipelines.deliverables.unit_systems import unit_value
from pipelines.deliverables.words.names import CODES, EDGES
from pipelines.deliverables.words.quantities import written
from terrain.unit_table import MINUTE, RULE_UNITS, Units


def number(value: float | None, kind: str, units: Units, source: str = "") -> Number:
    """A number for a reader."""
    bare, unit = written(value, kind, units)
    known = value is not None and math.isfinite(value)
    return Number(f"{bare} {unit}".strip(), bare, unit, value if known else None, source)


@dataclass(frozen=True, slots=True)
class Shown:
    """A column of a layer that a table shows: its name without unit, its heading, and its kind; no kind is text."""

    column: str
    head: str
    kind: str = ""


def layer_table(
    layers: Mapping[str, pd.DataFrame],
    layer: str,
    units: Units,
    shown: Sequence[Shown],
    *,
    title: str,
    key: str = "id",
    totals: Sequence[str] = (),
    note: str = "",
) -> Table | None:
    """A table of a layer's rows, numbers as they stand in the layer."""
    frame = layers[layer]
    if frame.empty:
        return None
    kept = [(each, *_written(frame, each.column)) for each in shown]
    kept = [each for each in kept if frame[each[1]].notna().any()]
    columns: list[Head] = []
    cells: list[list[Inline]] = [[] for _ in range(len(frame))]
    foot: list[Inline] = []
    keys = list(frame[key]) if key else list(range(len(frame)))
    for each, name, suffix in kept:
        values = [_dashed(_cell(value, each.kind, suffix, units, f"{layer}|{row}|{name}"))
                  for row, value in zip(keys, frame[name], strict=True)]
        known = next((value for value in values if isinstance(value, Number) and value.value is not None), None)
        columns.append(Head(each.head, known.unit if known else "", bool(each.kind)))
        for row, value in zip(cells, values, strict=True):
            row.append(value)
        if each.column in totals:
            foot.append(number(float(frame[name].sum()) * unit_value(suffix), each.kind, units, f"sum|{layer}|{name}"))
        else:
            foot.append("Total" if not foot else "")
    return Table(
        layer, title, tuple(columns), tuple(tuple(row) for row in cells), tuple(foot) if totals else (), note
    )


def layer_number(
    layers: Mapping[str, pd.DataFrame], layer: str, row: str, column: str, kind: str, units: Units
) -> Number:
    """One number of a layer."""
    frame = layers[layer]
    name, suffix = _written(frame, column)
    key = "id" if "id" in frame else str(frame.columns[0])
    value = frame.loc[frame[key] == row, name].iloc[0]
    found = _cell(value, kind, suffix, units, f"{layer}|{row}|{name}")
    assert isinstance(found, Number)
    return found


def _dashed(value: Inline) -> Inline:
    """In a table what is not there is a dash: a line under pressure has no slope."""
    if isinstance(value, Number) and value.value is None:
        return Number("–", "–", "", None, value.source)
    return value


def _written(frame: pd.DataFrame, column: str) -> tuple[str, str]:
    """Name with its unit as the layer has it, and that unit; of two, the one that people read: the last."""
    if column in frame:
        return column, ""
    suffixes = [*(unit.replace("/", "_") for unit in RULE_UNITS), "pct"]
    found = [(f"{column}_{suffix}", suffix) for suffix in suffixes if f"{column}_{suffix}" in frame]
    order = {name: position for position, name in enumerate(frame.columns)}
    return max(found, key=lambda each: order[each[0]])


def _cell(value: Any, kind: str, suffix: str, units: Units, source: str) -> Inline:
    if kind:
        known = value is not None and not pd.isna(value)
        # the one column whose unit stands at the front of its name
        one = MINUTE if source.endswith("|minutes_without_power") else unit_value(suffix)
        return number(float(value) * one if known else None, kind, units, source)
    if value is None or pd.isna(value):
        return ""
    if isinstance(value, bool) or str(value) in ("True", "False"):
        return "yes" if str(value) == "True" else "no"
    return CODES.get(str(value)) or EDGES.get(str(value)) or str(value)


class LayerWords:
    """Rows of a layer as headings and values, those that are empty left out; the layer is looked through once."""

    def __init__(
        self,
        layers: Mapping[str, pd.DataFrame],
        layer: str,
        units: Units,
        shown: Sequence[Shown],
        *,
        key: str = "id",
    ) -> None:
        self._layer, self._frame, self._units, self._shown = layer, layers[layer], units, shown
        self._places: dict[str, int] = {}
        for place, row in enumerate(self._frame[key]):
            self._places.setdefault(row, place)

    @cached_property
    def _columns(self) -> list[tuple[Shown, str, str, pd.Series]]:
        names = ((each, *_written(self._frame, each.column)) for each in self._shown)
        return [(each, name, suffix, self._frame[name]) for each, name, suffix in names]

    def __getitem__(self, row: str) -> tuple[tuple[str, Inline], ...]:
        """One row, by its key; nothing where there is none."""
        if row not in self._places:
            return ()
        rows: list[tuple[str, Inline]] = []
        for each, name, suffix, values in self._columns:
            value = values.iloc[self._places[row]]
            told = _cell(value, each.kind, suffix, self._units, f"{self._layer}|{row}|{name}")
            if told != "" and not (isinstance(told, Number) and told.value is None):
                rows.append((each.head, told))
        return tuple(rows)
