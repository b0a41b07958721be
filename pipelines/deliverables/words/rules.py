"""Rules of the trade and what else a run took as given, as a person reads them."""

from collections.abc import Iterable, Iterator, Mapping

from pipelines.deliverables.words.say import say
from pipelines.inputs.rules import MARKS, Rule
from terrain.reason import Reason
from terrain.unit_table import RULE_UNITS, Units, si_factor

Parameter = tuple[Reason | str, Reason | str, str]
"""Name, value and mark of what a run took as given beside the rules."""
# units that one system's readers use, each with the other's
_PAIRS = (
    ("in", "cm"), ("ft", "m"), ("ft2", "m2"), ("ft3", "m3"), ("yd3", "m3"), ("gal", "m3"), ("gpm", "l/s"),
    ("cfs", "l/s"), ("in/h", "mm/h"), ("in", "mm"), ("ft/s", "m/s"), ("ft/h", "m/h"), ("ft2/h", "m2/h"),
    ("yd3/h", "m3/h"), ("ton/h", "kg/h"), ("ton/yd3", "kg/m3"), ("ft/in", "m/cm"), ("hp", "kW"), ("ton", "kg"),
)  # fmt: skip


def parameter_rows(
    rules: Mapping[str, Rule], parameters: Iterable[Parameter], units: Units
) -> Iterator[tuple[str, str, str]]:
    """Name, value in words and mark of every rule, default and assumption."""
    for rule in rules.values():
        mark = MARKS[rule.mark] + (f": {rule.source}" if rule.source else "")
        yield f"{rule.key} ({rule.meaning})", rule_words(rule, units), mark
    for name, value, mark in parameters:
        yield say(name, units), say(value, units), mark


def rule_words(rule: Rule, units: Units) -> str:
    """A rule's values in the reader's unit: `0.5 / 1 %`, `4 / 8 / 12 ft/h`, `2, 5, 10 yr`."""
    if rule.names:
        return "; ".join(rule.names)
    ours, theirs = (0, 1) if units == "us" else (1, 0)
    unit = next((pair[ours] for pair in _PAIRS if pair[theirs] == rule.unit and pair[ours] in RULE_UNITS), rule.unit)
    digits = 6 if unit == rule.unit else 3
    shown = [f"{value / si_factor(unit):.{digits}g}" for value in (rule.low, rule.likely, rule.high)]
    if rule.values:
        return ", ".join(f"{value / si_factor(unit):.{digits}g}" for value in rule.values) + f" {unit}"
    if rule.low == rule.likely == rule.high:
        shown = shown[:1]
    elif rule.likely == rule.high:
        shown = shown[:2]
    return " / ".join(shown) + ("" if unit == "1" else f" {unit}")
