"""What a culvert under a drive and a re-cut of a swale take, and what they cost."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, pi

import numpy as np

from pipelines.hydraulics.channel.culvert_sizes import CulvertSize
from pipelines.inputs.rules import Rules
from pipelines.layout.plan import TakeOffLine
from pipelines.layout.quantities.quantities import LABOUR, Quantity
from pipelines.layout.quantities.take_off import UnitPrice, price_take_off, total_cost
from pipelines.layout.swale.remedies.recut import Recut
from pipelines.layout.swale.remedies.recut_section import RecutSection
from terrain.reason import Reason, reason


@dataclass(frozen=True, slots=True)
class PricedJob:
    """One job by itself, its crew's way there included.

    Attributes
    ----------
    lines : tuple of TakeOffLine
        What it takes.
    low, likely, high : float
        Money, in the price list's currency.
    """

    lines: tuple[TakeOffLine, ...]
    low: float
    likely: float
    high: float

    @property
    def why(self) -> Reason:
        """The price of a re-cut in a sentence."""
        return reason("swale_recut_cost", low=self.low, likely=self.likely, high=self.high)


def cost_of_culvert(
    size: CulvertSize, barrels: int, *, length: float, depth: float, prices: Mapping[str, UnitPrice], rules: Rules
) -> PricedJob:
    """Take out a drive's culvert and lay another, in a trench of a depth, the drive made good over it."""
    apart, bed = rules["swale_culvert_apart"].likely, rules["basin_bed"].likely
    width = barrels * size.outside + (barrels + 1) * apart
    pipes = barrels * length * pi * size.outside**2 / 4.0
    # stone to half the height of the pipes
    stone = (length * width * (bed + size.outside / 2.0) - pipes / 2.0) * rules["stone_density"].likely
    spoil = pipes + length * width * (bed + size.outside / 2.0) - pipes / 2.0
    return _priced(
        [
            Quantity(f"{size.key} culvert pipe", barrels * length * (1.0 + rules["waste_pipe"].likely), "length",
                     "material"),
            Quantity("culvert end section", 2.0 * barrels, "each", "material"),
            Quantity("washed stone", stone * (1.0 + rules["waste_stone"].likely), "weight", "material"),
            Quantity("stone delivery", 1.0, "load", "material"),
            *_crew(barrels * length / rules["swale_culvert_day"].likely, rules),
            Quantity("spoil disposal, loose", min(spoil, length * width * depth) * (1.0 + rules["swell_earth"].likely),
                     "earth", "hired"),
            Quantity("drive reinstatement", length * width, "area", "hired"),
        ],
        prices, rules,
    )  # fmt: skip


def cost_of_cleaning(*, length: float, prices: Mapping[str, UnitPrice], rules: Rules) -> PricedJob:
    """Clear a culvert of its silt."""
    return _priced(_crew(length / rules["swale_clean_day"].likely, rules, machine=False), prices, rules)


def cost_of_recut(
    recut: Recut, sections: Sequence[RecutSection], *, prices: Mapping[str, UnitPrice], rules: Rules
) -> PricedJob:
    """Dig a re-cut, fill its lows, haul the rest and seed what was opened."""
    opened = np.array([
        max(section.top_width(bottom), section.bottom_width if section.filled(bottom) > 0.0 else 0.0)
        for section, bottom in zip(sections, recut.bottom.tolist(), strict=True)
    ])  # fmt: skip
    seeded = float(np.sum((opened[1:] + opened[:-1]) / 2.0 * np.diff(recut.station)))
    hauled = max(recut.total - recut.filled, 0.0) * (1.0 + rules["swell_earth"].likely)
    return _priced(
        [
            Quantity("seed and blanket", seeded, "area", "material"),
            *_crew((recut.total + recut.filled) / rules["swale_recut_day"].likely, rules),
            Quantity("spoil disposal, loose", hauled, "earth", "hired"),
        ],
        prices, rules,
    )  # fmt: skip


def _crew(days: float, rules: Rules, *, machine: bool = True) -> list[Quantity]:
    hours = rules["pipe_crew"].likely * days * rules["swale_crew_day"].likely
    crew = [Quantity(f"{LABOUR}, swale", hours, "hours", "hired")]
    return [*crew, Quantity("machine day", float(ceil(days - 1e-9)), "day", "hired")] if machine else crew


def _priced(quantities: list[Quantity], prices: Mapping[str, UnitPrice], rules: Rules) -> PricedJob:
    hired = [Quantity(f"{LABOUR}, set-up", rules["pipe_crew"].likely * rules["set_up_hours"].likely, "hours", "hired"),
             Quantity("permit", 1.0, "each", "hired"), Quantity("mobilisation", 1.0, "job", "hired")]  # fmt: skip
    lines, _ = price_take_off([each for each in (*quantities, *hired) if each.amount > 0.0], prices, rules)
    cost = total_cost(lines)
    return PricedJob(lines, cost.low, cost.likely, cost.high)
