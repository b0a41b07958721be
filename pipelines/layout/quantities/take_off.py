"""The take-off: quantities with low, likely and high money, material apart from hired."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from pipelines.inputs.rules import Rules
from pipelines.layout.plan import TakeOffLine
from pipelines.layout.quantities.quantities import LABOUR, UNPRICED, Quantity
from terrain.reason import Reason, reason
from terrain.unit_table import UNITS, si_factor

_DIMENSIONS = {"length": "length", "area": "area", "earth": "volume", "weight": "mass", "hours": "time"}
"""What is measured rather than counted, and the dimension that its price must be by."""


class UnitPrice(Protocol):
    """One line of a price list."""

    @property
    def unit(self) -> str:
        """Unit it is a price of."""

    @property
    def low(self) -> float:
        """[money]"""

    @property
    def likely(self) -> float:
        """[money]"""

    @property
    def high(self) -> float:
        """[money]"""


@dataclass(frozen=True, slots=True)
class Cost:
    """Low, likely and high money, in the price list's currency."""

    low: float
    likely: float
    high: float


def price_take_off(
    quantities: Sequence[Quantity], prices: Mapping[str, UnitPrice], rules: Rules
) -> tuple[tuple[TakeOffLine, ...], tuple[Reason, ...]]:
    """Price what a plan takes, and tell what has no price.

    Overhead and profit come on what is hired, the difference to a minimum charge after them, contingency on
    everything; each is a line of its own.
    """
    lines: list[TakeOffLine] = []
    missing: list[Reason] = []
    for quantity in quantities:
        # hours are told by task and cost the same in each
        price = prices.get(LABOUR if quantity.item.startswith(f"{LABOUR}, ") else quantity.item)
        units = None if price is None else _priced_units(quantity, price.unit)
        cost = Cost(0.0, 0.0, 0.0)
        if quantity.item in UNPRICED:
            pass
        elif price is None or units is None:
            missing.append(reason("price_missing", item=quantity.item, by=None if price is None else price.unit))
        else:
            cost = Cost(units * price.low, units * price.likely, units * price.high)
        lines.append(_line(quantity, cost))
    if not lines:
        return (), ()
    lines.append(_share_line("overhead and profit", "overhead_and_profit", _total(lines, "hired"), rules))
    lines += _minimum(lines, prices)
    lines.append(_share_line("contingency", "contingency", total_cost(lines), rules))
    return tuple(lines), tuple(missing)


def _priced_units(quantity: Quantity, unit: str) -> float | None:
    """How many of a price's unit a quantity is; None where the unit is of another kind."""
    dimension = _DIMENSIONS.get(quantity.kind)
    if dimension is None:
        return quantity.amount if unit == quantity.kind else None
    known = UNITS.get(unit)
    return quantity.amount / si_factor(unit) if known is not None and known.dimension == dimension else None


def _line(quantity: Quantity, cost: Cost) -> TakeOffLine:
    return TakeOffLine(
        quantity.item, quantity.amount, quantity.kind, cost.low, cost.likely, cost.high, quantity.share
    )


def total_cost(lines: Sequence[TakeOffLine]) -> Cost:
    """Money of all lines together."""
    return Cost(
        sum(line.low for line in lines), sum(line.likely for line in lines), sum(line.high for line in lines)
    )


def _total(lines: Sequence[TakeOffLine], share: str) -> Cost:
    return total_cost([line for line in lines if line.share == share])


def _share_line(item: str, rule: str, base: Cost, rules: Rules) -> TakeOffLine:
    rate = rules[rule]
    cost = Cost(rate.low * base.low, rate.likely * base.likely, rate.high * base.high)
    return _line(Quantity(item, rate.likely, "percent", "hired"), cost)


def _minimum(lines: Sequence[TakeOffLine], prices: Mapping[str, UnitPrice]) -> list[TakeOffLine]:
    """What is missing to the least that a crew comes out for."""
    least = prices.get("minimum charge")
    if least is None:
        return []
    hired = _total(lines, "hired")
    missing = Cost(
        max(least.low - hired.low, 0.0), max(least.likely - hired.likely, 0.0), max(least.high - hired.high, 0.0)
    )
    if missing.high == missing.low == missing.likely == 0.0:
        return []
    return [_line(Quantity("up to the minimum charge", 1.0, "job", "hired"), missing)]
