"""Rules of the trade with their defaults and marks, each of which the site file can override.

`load_rules()["slope_4in_smooth"].likely` is SI; `read_overrides(table)` checks what a site file's [rules] says;
`rules.with_overrides(overrides)` puts it in place. A row whose unit is "name" or "names" holds words; one that lists
several values between semicolons holds them all.
"""

import csv
import difflib
import functools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from importlib.resources import files

from pipelines.inputs.errors import QuantityError, SiteFileError
from pipelines.inputs.quantity import read_quantity
from pipelines.inputs.site_ranges import SLACK
from terrain.shown_text import MOST_QUOTED, quoted
from terrain.unit_table import RULE_UNITS, allowed_text, si_factor

MARKS = {
    "P": "published",
    "Pm": "published, from memory",
    "CP": "common practice, no source",
    "C": "computed",
    "A": "assumed",
    "given": "given in the site file",
}

_HUGE = 1e300
_WORDS = ("name", "names")
MOST_FAULTS = 20
"""That one message tells."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of the trade.

    Attributes
    ----------
    low, likely, high : float
        Least or floor, the value taken, most or stop; all alike where the trade names one. [SI]
    unit : str
        The unit that the trade writes it in; "1" for a plain number, "name" and "names" for words.
    mark : str
        Where it comes from: a key of `MARKS`.
    moves : str
        What of the answer it moves.
    values, names : tuple
        What a rule that lists holds, in SI or as words; its low, likely and high are 0 then.
    least, most : float
        What a site file may say instead. [SI]
    """

    key: str
    low: float
    likely: float
    high: float
    unit: str
    mark: str
    source: str
    meaning: str
    moves: str
    values: tuple[float, ...] = ()
    names: tuple[str, ...] = ()
    least: float = 0.0
    most: float = math.inf

    @property
    def name(self) -> str:
        """The one name that it holds."""
        return self.names[0]

    @property
    def words(self) -> str:
        """Its values in the trade's unit: `0.5 / 1 %`, `4 / 8 / 12 ft/h`, `2, 5, 10 yr`."""
        if self.names:
            return "; ".join(self.names)
        factor = si_factor(self.unit)
        shown = [f"{value / factor:.6g}" for value in (self.low, self.likely, self.high)]
        if self.low == self.likely == self.high:
            shown = shown[:1]
        elif self.likely == self.high:
            shown = shown[:2]
        unit = "" if self.unit == "1" else f" {self.unit}"
        if self.values:
            return ", ".join(f"{value / factor:.6g}" for value in self.values) + unit
        return " / ".join(shown) + unit


@dataclass(frozen=True, slots=True)
class RuleOverride:
    """What a site file says of one rule; None where it is silent. [SI]"""

    key: str
    low: float | None
    likely: float | None
    high: float | None
    values: tuple[float, ...] = ()
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Rules(Mapping[str, Rule]):
    """All rules by key."""

    table: Mapping[str, Rule]

    def __getitem__(self, key: str) -> Rule:
        return self.table[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self.table)

    def __len__(self) -> int:
        return len(self.table)

    def with_overrides(self, overrides: tuple[RuleOverride, ...]) -> "Rules":
        """The same rules with some values replaced and marked as given."""
        changed = dict(self.table)
        for each in overrides:
            changed[each.key] = _overridden(changed[each.key], each)
        return Rules(changed)


@functools.cache
def load_rules() -> Rules:
    """The defaults."""
    tables = sorted(files("pipelines.inputs").joinpath("trade").iterdir(), key=lambda each: each.name)
    texts = [table.read_text(encoding="utf-8") for table in tables if table.name.endswith(".csv")]
    rows = [row for text in texts for row in csv.DictReader(text.splitlines())]
    return Rules({row["key"]: _with_range(_default(row)) for row in rows})


def read_overrides(table: Mapping[str, object]) -> tuple[RuleOverride, ...]:
    """Check and convert the table [rules] of a site file."""
    rules = load_rules()
    faults: list[str] = []
    read: list[RuleOverride] = []
    for key, value in table.items():
        if len(faults) > MOST_FAULTS:
            faults[MOST_FAULTS:] = ["and more"]
            break
        if key not in rules:
            near = difflib.get_close_matches(key[:MOST_QUOTED], rules, n=1)
            faults.append(f"unknown rule {quoted(key)}" + (f', did you mean "{near[0]}"?' if near else ""))
            continue
        try:
            read.append(_read_override(rules[key], value))
        except (QuantityError, SiteFileError) as error:
            faults.append(f"{key}: {error}")
    if faults:
        raise SiteFileError("; ".join(faults))
    return tuple(read)


def _default(row: dict[str, str]) -> Rule:
    told, listed = (row["unit"], row["mark"], row["source"], row["meaning"], row["moves"]), row["likely"].split("; ")
    if row["unit"] in _WORDS:
        return Rule(row["key"], 0.0, 0.0, 0.0, *told, names=tuple(listed))
    if len(listed) > 1:
        return Rule(row["key"], 0.0, 0.0, 0.0, *told, values=tuple(_plain(each, row["unit"]) for each in listed))
    likely = _plain(row["likely"], row["unit"])
    low = _plain(row["low"], row["unit"]) if row["low"] else likely
    high = _plain(row["high"], row["unit"]) if row["high"] else likely
    return Rule(row["key"], low, likely, high, *told)


def _with_range(rule: Rule) -> Rule:
    """The rule with what a site file may say instead, which a table of its own holds in the rule's unit."""
    if rule.key not in _ranges():
        return rule
    least, most = (_plain(digits, rule.unit) for digits in _ranges()[rule.key])
    return replace(rule, least=least, most=most)


@functools.cache
def _ranges() -> dict[str, tuple[str, str]]:
    text = files("pipelines.inputs").joinpath("rule_ranges.csv").read_text(encoding="utf-8")
    return {row["key"]: (row["least"], row["most"]) for row in csv.DictReader(text.splitlines())}


def _plain(digits: str, unit: str) -> float:
    return float(digits) if unit == "1" else read_quantity(f"{digits} {unit}", RULE_UNITS[unit].dimension, RULE_UNITS)


def _read_override(rule: Rule, value: object) -> RuleOverride:
    if rule.names or rule.values:
        return _read_list(rule, value)
    if not isinstance(value, Mapping):
        return RuleOverride(rule.key, None, _read_value(rule, value), None)
    unknown = [key for key in value if key not in ("low", "likely", "high")]
    if unknown or not value:
        raise SiteFileError(f"{', '.join(unknown) or 'an empty table'} is not known; give low, likely or high")
    given = {key: _read_value(rule, each) for key, each in value.items()}
    new = RuleOverride(rule.key, given.get("low"), given.get("likely"), given.get("high"))
    after = _overridden(rule, new)
    if not after.low <= after.likely <= after.high:
        raise SiteFileError(f"{after.words} does not rise from low to high")
    return new


def _read_list(rule: Rule, value: object) -> RuleOverride:
    """Names, or values, in the order given; one may stand without a list."""
    given = value if isinstance(value, list) and rule.unit != "name" else [value]
    if not given:
        raise SiteFileError("an empty list says nothing; leave the rule out")
    if rule.values:
        return RuleOverride(rule.key, None, None, None, values=tuple(_read_value(rule, each) for each in given))
    names = tuple(each.strip() for each in given if isinstance(each, str) and each.strip())
    if len(names) != len(given):
        asked = "a name" if rule.unit == "name" else "a list of names"
        raise SiteFileError(f"{quoted(value)}: write {asked} in quotes")
    return RuleOverride(rule.key, None, None, None, names=names)


def _read_value(rule: Rule, value: object) -> float:
    dimension = RULE_UNITS[rule.unit].dimension
    if dimension == "number":
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise QuantityError(f"{quoted(value)} is no plain number {_range_words(rule)}")
        number = float(value) if abs(value) < _HUGE else math.inf
    else:
        number = read_quantity(value, dimension, RULE_UNITS)
    if not rule.least * (1.0 - SLACK) <= number <= rule.most * (1.0 + SLACK):
        unit = "plain number" if dimension == "number" else f"quantity {allowed_text(dimension)}"
        raise QuantityError(f"{quoted(value)} is no {unit} {_range_words(rule)}")
    return number


def _range_words(rule: Rule) -> str:
    factor = si_factor(rule.unit)
    least, most = (f"{value / factor:.10g}" for value in (rule.least, rule.most))
    return f"from {least} to {most}" + ("" if rule.unit == "1" else f" {rule.unit}")


def _overridden(rule: Rule, new: RuleOverride) -> Rule:
    if new.names or new.values:
        return replace(rule, names=new.names, values=new.values, mark="given", source="")
    likely = rule.likely if new.likely is None else new.likely
    low = min(rule.low, likely) if new.low is None else new.low
    high = max(rule.high, likely) if new.high is None else new.high
    if new.likely is None:
        # a floor raised over the default carries the value taken with it, and a stop lowered under it too
        likely = min(max(likely, low), high)
    elif rule.low == rule.likely == rule.high and new.low is None and new.high is None:
        low = high = likely
    return replace(rule, low=low, likely=likely, high=high, mark="given", source="")
