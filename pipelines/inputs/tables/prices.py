"""Prices of things bought and work hired: the trade's defaults, and a prices.csv that replaces them item by item."""

import csv
import difflib
import functools
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from importlib.resources import files
from typing import Literal, cast

from pipelines.inputs.errors import TableError
from pipelines.inputs.tables.csv_table import CsvRow, CsvTable, one_of, read_csv_table
from terrain.reason import Reason, reason
from terrain.unit_table import UNITS, si_factor

Share = Literal["material", "hired"]
DEAREST = 1e7
"""Most that one unit may cost in any currency; a value of this project. [money per unit]"""


@dataclass(frozen=True, slots=True)
class Price:
    """What one unit of an item costs.

    Attributes
    ----------
    low, likely, high : float
        In the list's currency. [money per unit]
    share : str
        material or hired.
    mark : str
        CP common practice, A assumed, given where the person's list says it.
    """

    item: str
    unit: str
    low: float
    likely: float
    high: float
    share: Share
    mark: str


@dataclass(frozen=True, slots=True)
class Prices(Mapping[str, Price]):
    """Prices by item, with warnings of items in the person's list that no take-off names."""

    table: Mapping[str, Price]
    warnings: tuple[Reason, ...] = ()

    def __getitem__(self, item: str) -> Price:
        return self.table[item]

    def __iter__(self) -> Iterator[str]:
        return iter(self.table)

    def __len__(self) -> int:
        return len(self.table)


@functools.cache
def default_prices() -> Prices:
    """The trade's prices, in dollars."""
    text = files("pipelines.inputs.tables").joinpath("default_prices.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return Prices(
        {
            row["item"]: Price(
                row["item"],
                row["unit"],
                float(row["low"]),
                float(row["likely"]),
                float(row["high"]),
                cast("Share", row["share"]),
                row["mark"],
            )
            for row in rows
        }
    )


def read_prices(path: str | os.PathLike[str]) -> Prices:
    """Read prices.csv (item, unit, low, likely, high) over the defaults.

    An item of the defaults takes the list's prices, brought to the defaults' unit where both are units of the same
    kind (a price by the metre becomes one by the foot). An item that no take-off names is kept and warned about.
    """
    table = read_csv_table(path, "price list")
    for column in ("item", "unit", "low", "likely", "high"):
        one_of(table, (column,))
    known = {item.lower(): item for item in default_prices()}
    merged = dict(default_prices().table)
    lines: dict[str, int] = {}
    warnings = []
    for row in table.rows:
        given = _price(table, row)
        if given.item.lower() in lines:
            raise TableError(
                f'{table.where}: line {row.line}: "{given.item}" stands in line {lines[given.item.lower()]} too'
            )
        lines[given.item.lower()] = row.line
        item = known.get(given.item.lower())
        if item is None:
            near = difflib.get_close_matches(given.item, known.values(), n=1)
            meant = near[0] if near else None
            warnings.append(reason("price_unused", list=table.where, line=row.line, item=given.item, meant=meant))
            merged[given.item] = given
        else:
            merged[item] = _in_unit_of(table, row, given, merged[item])
    return Prices(merged, tuple(warnings))


def _price(table: CsvTable, row: CsvRow) -> Price:
    low, likely, high = (table.number(row, column, least=0.0) for column in ("low", "likely", "high"))
    if not row.texts["item"]:
        raise TableError(f"{table.where}: line {row.line}: the item has no name")
    if not low <= likely <= high:
        raise TableError(
            f"{table.where}: line {row.line}: {row.texts['item']}: {low:g}, {likely:g}, {high:g} do not rise from low "
            "to high"
        )
    if high > DEAREST:
        raise TableError(f"{table.where}: line {row.line}: {row.texts['item']}: {high:g} is no price of a unit")
    share: Share = "hired" if row.texts.get("share", "").lower() == "hired" else "material"
    return Price(row.texts["item"], row.texts["unit"], low, likely, high, share, "given")


def _in_unit_of(table: CsvTable, row: CsvRow, given: Price, default: Price) -> Price:
    same = replace(given, item=default.item, unit=default.unit, share=default.share)
    if given.unit == default.unit:
        return same
    ours, theirs = UNITS.get(default.unit), UNITS.get(given.unit)
    if ours is None or theirs is None or ours.dimension != theirs.dimension:
        raise TableError(
            f'{table.where}: line {row.line}: {given.item} is priced by the "{given.unit}"; '
            f'it is counted by the "{default.unit}"'
        )
    factor = si_factor(default.unit) / si_factor(given.unit)
    return replace(same, low=given.low * factor, likely=given.likely * factor, high=given.high * factor)
