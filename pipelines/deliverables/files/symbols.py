"""How features are drawn, by layer: one table for the report's map and for the styles in a GeoPackage.

One hue has one meaning; most are of Okabe and Ito, "Color Universal Design", 2008, which the colour-blind can tell
apart; shape, width and dash say the same a second time.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from pipelines.deliverables.files.layer_table import read_rows
from pipelines.deliverables.words.say import template
from terrain.unit_table import Units

EVERY_LAYER = "symbols.csv"


@dataclass(frozen=True, slots=True)
class Condition:
    """What an attribute must be: a value as text, a text with or without a word in it, or a range. [SI]

    Attributes
    ----------
    attribute : str
        Its name without unit.
    value : str or None
        What it is; after `~` a word in it, after `!~` one that is not; None for a range.
    low, high : float
        The range begins with `low` and ends before `high`; one without an end also takes what was not counted. [SI]
    """

    attribute: str
    value: str | None
    low: float = -math.inf
    high: float = math.inf

    def holds(self, values: Mapping[str, object]) -> bool:
        """Whether a feature with these values, by attribute without unit, is of this kind."""
        value = values.get(self.attribute)
        if self.value is None:
            if value is None:
                return math.isinf(self.high)
            return isinstance(value, int | float) and self.low <= value < self.high
        if self.word is not None:
            return (self.word in str(value)) == self.wanted
        return str(int(value) if isinstance(value, bool) else value) == self.value

    @property
    def wanted(self) -> bool:
        """Whether its word must be in it rather than not."""
        return not (self.value or "").startswith("!")

    @property
    def word(self) -> str | None:
        """The word that must, or must not, be in it; None where it is not asked for one."""
        return self.value.lstrip("!")[1:] if self.value and self.value.lstrip("!").startswith("~") else None


@dataclass(frozen=True, slots=True)
class Symbol:
    """How the features of a layer are drawn, or those that meet conditions.

    Attributes
    ----------
    conditions : tuple of Condition
        All of which must hold; none for every feature.
    state : str
        What it means: one state has one look, whatever layer it stands in, and one look one state.
    words : str
        Of the legend: a template, as of sentences.
    kind, colour, edge : str
        fill, line or marker; `#rrggbb`; `#rrggbb` of the outline, or of a barrel's inside.
    hue : str
        What its colour says: water, time, earth, built, works, limits, passes, doubtful or fails.
    shape : str
        Of a marker the name of its glyph; arrow for a line that shows its direction, barrel for a pipe;
        the hatch of a fill; else empty.
    opacity : float
        0 is clear, 1 solid. [-]
    width : float
        Of a line or outline, or the size of a marker. [mm on paper]
    dash : tuple of float
        Lengths drawn and left out by turns, empty for a solid line. [mm on paper]
    aside : tuple of float
        How far right of and below its place a marker stands, tied to it by a line, so that it covers nothing that is
        there too. [mm on paper]
    """

    conditions: tuple[Condition, ...]
    state: str
    words: str
    kind: str
    hue: str
    colour: str
    edge: str
    shape: str
    opacity: float
    width: float
    dash: tuple[float, ...]
    aside: tuple[float, float] = (0.0, 0.0)

    @property
    def look(self) -> tuple[str, str, tuple[float, ...]]:
        """What it is known by beside its colour and width."""
        return self.kind, self.shape, self.dash

    def label(self, units: Units) -> str:
        """Words of the legend."""
        return str(template(self.words, units).render())


@cache
def symbols() -> dict[str, tuple[Symbol, ...]]:
    """Symbols of every layer that is drawn, by its name."""
    found: dict[str, list[Symbol]] = {}
    for row in read_rows(EVERY_LAYER):
        symbol = Symbol(
            _conditions(row["attribute"], row["value"]),
            row["state"],
            row["label"],
            row["kind"],
            row["hue"],
            row["colour"],
            row["edge"],
            row["shape"],
            float(row["opacity"]),
            float(row["width_mm"]),
            tuple(float(part) for part in row["dash_mm"].split(";") if part),
            _aside(row["aside_mm"]),
        )
        found.setdefault(row["layer"], []).append(symbol)
    return {layer: tuple(listed) for layer, listed in found.items()}


def symbol_of(layer: str, values: Mapping[str, object]) -> int:
    """Which symbol of a layer a feature is drawn with."""
    for position, symbol in enumerate(symbols()[layer]):
        if all(condition.holds(values) for condition in symbol.conditions):
            return position
    return 0


def _aside(text: str | None) -> tuple[float, float]:
    right, _, below = (text or "0;0").partition(";")
    return float(right), float(below)


def _conditions(attributes: str, values: str) -> tuple[Condition, ...]:
    if not attributes:
        return ()
    return tuple(
        _condition(attribute, value) for attribute, value in zip(attributes.split(";"), values.split(";"), strict=True)
    )


def _condition(attribute: str, value: str) -> Condition:
    low, dots, high = value.partition("..")
    if not dots:
        return Condition(attribute, value)
    return Condition(attribute, None, float(low or -math.inf), float(high or math.inf))
