"""A rule of the trade as a person reads it, in either unit system."""

from pipelines.inputs.rules import Rule
from terrain.unit_table import Units, si_factor

_ALIKE = (
    ("in", "cm"), ("ft", "m"), ("ft2", "m2"), ("ft3", "m3"), ("yd3", "m3"), ("gal", "m3"), ("cfs", "m3/s"),
    ("gpm", "l/s"), ("in/h", "mm/h"), ("in", "mm"), ("ft/s", "m/s"), ("ft/h", "m/h"), ("ft2/h", "m2/h"),
    ("ton/h", "kg/h"), ("ton/yd3", "kg/m3"), ("ft/in", "m/cm"), ("hp", "kW"),
)  # fmt: skip
_OTHER: dict[Units, dict[str, str]] = {
    "us": {si: us for us, si in _ALIKE},
    "si": dict(reversed(_ALIKE)),
}


def rule_words(rule: Rule, units: Units) -> str:
    """A rule's values: as the trade writes them where that is in the reader's units, else converted."""
    unit = _OTHER[units].get(rule.unit)
    if unit is None:
        return rule.words
    shown = [f"{value / si_factor(unit):.3g}" for value in (rule.low, rule.likely, rule.high)]
    # as in the trade's own words: one where all are alike, two where the likely is the stop
    count = 1 if rule.low == rule.likely == rule.high else 2 if rule.likely == rule.high else 3
    return f"{' / '.join(shown[:count])} {unit}"
