"""Rules of the trade are shown in the reader's units."""

import pytest

from pipelines.deliverables.words.rules import rule_words
from pipelines.inputs.rules import load_rules
from terrain.unit_table import RULE_UNITS


@pytest.mark.parametrize(
    ("key", "us", "si"),
    [
        ("swale_hidden_bottom", "1.97 in", "5 cm"),
        ("swale_freeboard", "0.5 ft", "0.152 m"),
        ("n_swale", "0.03 / 0.05 / 0.08", "0.03 / 0.05 / 0.08"),
        ("outlet_above_swale", "3 / 6 in", "7.62 / 15.2 cm"),
        ("pressure_velocity", "2 / 6 / 8 ft/s", "0.61 / 1.83 / 2.44 m/s"),
        ("tolerable_lawn_time", "24 h", "24 h"),
        ("swale_slope", "1 %", "1 %"),
        ("neighbor_storms", "2, 5, 10, 25, 100 yr", "2, 5, 10, 25, 100 yr"),
        ("default_cover", "lawn, fair", "lawn, fair"),
    ],
)
def test_values_in_either_units(key, us, si):
    rule = load_rules()[key]
    assert (rule_words(rule, "us"), rule_words(rule, "si")) == (us, si)


@pytest.mark.parametrize("units", ["us", "si"])
def test_every_rule_can_be_shown(units):
    # the names of sizes on sale are said as they are sold
    measured = [rule for rule in load_rules().values() if not rule.names]
    own = {rule_words(rule, units).rpartition(" ")[2] for rule in measured} & set(RULE_UNITS)
    other = {"us": {"cm", "mm", "m", "l/s", "m/s", "kg/m3", "kg/h"}, "si": {"in", "ft", "gpm", "cfs", "ft/s", "ton/h"}}
    assert not own & other[units]
