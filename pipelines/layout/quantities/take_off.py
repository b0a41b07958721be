"""The take-off: quantities with low, likely and high money, material apart from hired."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from pipelines.inputs.rules import Rules
from pipelines.layout.plan import TakeOffLine
from pipelines.layout.quantities.quantities import LABOUR, UNPRICED, Quantity


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
) -> tuple[tuple[TakeOffLine, ...], tuple[str, ...]]:
    """Price what a plan takes.

    Overhead and profit come on what is hired, the difference to a minimum charge after them, contingency on
    everything; each is a line of its own.
    """
    lines: list[TakeOffLine] = []
    unpriced: list[str] = []
    for quantity in quantities:
        # hours are told by task and cost the same in each
        price = prices.get(LABOUR if quantity.item.startswith(f"{LABOUR}, ") else quantity.item)
        if quantity.item in UNPRICED:
            lines.append(TakeOffLine(quantity.item, quantity.amount, quantity.unit, 0.0, 0.0, 0.0, quantity.share))
        elif price is None or price.unit != quantity.unit:
            said = "" if price is None else f" (its price is by {price.unit}, {quantity.unit} is needed)"
            unpriced.append(quantity.item + said)
            lines.append(TakeOffLine(quantity.item, quantity.amount, quantity.unit, 0.0, 0.0, 0.0, quantity.share))
        else:
            lines.append(
                TakeOffLine(
                    quantity.item, quantity.amount, quantity.unit, quantity.amount * price.low,
                    quantity.amount * price.likely, quantity.amount * price.high, quantity.share,
                )
            )
    if not lines:
        return (), ()
    lines.append(_share_line("overhead and profit", "overhead_and_profit", _total(lines, "hired"), rules))
    lines += _minimum(lines, prices)
    lines.append(_share_line("contingency", "contingency", total_cost(lines), rules))
    return tuple(lines), tuple(unpriced)


def total_cost(lines: Sequence[TakeOffLine]) -> Cost:
    """Money of all lines together."""
    return Cost(
        sum(line.low for line in lines), sum(line.likely for line in lines), sum(line.high for line in lines)
    )


def _total(lines: Sequence[TakeOffLine], share: str) -> Cost:
    return total_cost([line for line in lines if line.share == share])


def _share_line(item: str, rule: str, base: Cost, rules: Rules) -> TakeOffLine:
    rate = rules[rule]
    return TakeOffLine(
        item, 100.0 * rate.likely, "%", rate.low * base.low, rate.likely * base.likely, rate.high * base.high, "hired"
    )


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
    return [TakeOffLine("up to the minimum charge", 1.0, "job", missing.low, missing.likely, missing.high, "hired")]
