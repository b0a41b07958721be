"""Each rule of a swale acts: changed in a site file, it moves a layer, a verdict, or what is refused."""

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipelines.deliverables.swale.layers import swale_tables
from pipelines.inputs.rules import load_rules
from pipelines.swale import WhatIf, check_swale
from terrain.errors import LotshedError
from tests.quick_share import one_in

SAMPLES = Path(__file__).parents[2] / "sample_data"
GIVEN = {
    "n_swale": "0.08", "swale_freeboard": '"9 in"', "swale_hidden_bottom": '"8 cm"', "swale_spacing": '"8 m"',
    "swale_snap_reach": '"24 m"', "swale_bank_reach": '"12.8 m"', "swale_averaged_over": '"4.8 m"',
    "swale_longest_reach": '"30 m"', "swale_least_reach": '"24 m"', "swale_drive_longest": '"24 m"',
    "swale_drive_least_height": '"8 cm"', "swale_drive_foot": '"4.8 m"', "swale_culvert_near": '"0.25 m"',
    "swale_culvert_diameter": '"24 in"', "swale_culvert_n_corrugated": "0.04", "swale_culvert_n_smooth": "0.03",
    "swale_backwater": '"50 cm"', "swale_suspect_reach": '"3 m"', "swale_least_pond": '"8 cm"',
    "swale_slowest": '"1.6 m/s"', "swale_fastest": '"0.15 m/s"', "swale_end_slope": '"1.5 %"',
    "swale_runs_share": "0.08", "swale_always_share": "1.52", "swale_discharge_farthest": '"2 m"',
    "swale_lot_outlet_near": '"1 m"', "swale_outlet_near": '"0.25 m"', "swale_same_outlet": '"16 m"',
    "swale_slope": '"1.6 %"', "swale_side_slope": '"50 %"', "swale_bottom_width": '"1.6 ft"',
    "swale_max_depth": '"4.8 ft"', "swale_max_top_width": '"32 ft"', "swale_fill": '"6.4 in"',
    "swale_fill_cost": "0.03", "swale_utility_clearance": '"1.6 ft"', "swale_dam": '"20 cm"',
    "swale_culvert_cover": '"40 in"', "swale_culvert_most_barrels": "1", "swale_culvert_apart": '"20 in"',
    "swale_culvert_day": '"12 ft"', "swale_clean_day": '"10 ft"', "swale_recut_day": '"10 yd3"',
    "swale_culvert_sizes": '["30 in", "36 in"]', "swale_crew_day": '"10 h"',
    "swale_section_along": '"6 m"', "swale_banks_along": '"30 m"', "swale_drive_steepness": "0.2",
    "bank_shelf": '"3 m"', "bank_flatter": "0.8", "bank_stands_out": '"20 cm"', "bank_gap": '"2 cm"',
}  # fmt: skip


def trapezoid(y):
    return np.clip((np.abs(y) - 0.5) / 3.0, 0.0, 0.6)


def drive_at(place, top):
    return lambda x, y, z: np.where(np.abs(x - place) < 3.0, np.maximum(z, top), z)


CULVERT = [(-4.0, 0.0), (4.0, 0.0)]
MADE = {
    "swale_culvert_diameter": {"ground": drive_at(0.0, 100.6), "culverts": [(CULVERT, np.nan)]},
    "swale_culvert_n_smooth": {
        "ground": drive_at(0.0, 100.6), "culverts": [(CULVERT, 15.0)], "attributes": {"material": "smooth"},
    },
    "swale_culvert_most_barrels": {
        "ground": drive_at(0.0, 100.45), "culverts": [(CULVERT, 6.0)], "discharge": WhatIf(0.1, 499_950.0, 3_300_000.0),
    },
    "swale_clean_day": {
        "ground": drive_at(0.0, 100.6), "culverts": [(CULVERT, 15.0)], "attributes": {"silt_in": 11.0},
        "discharge": WhatIf(0.05, 499_950.0, 3_300_000.0),
    },
    "swale_end_slope": {"along": lambda s: -0.01 * np.minimum(s, 20.0)},
    "swale_discharge_farthest": {"discharge": WhatIf(0.02, 500_000.0, 3_300_008.0)},
}


def told(site, rule="", **options):
    """What a check hands over, as text; what it refuses, where it does."""
    key = rule.partition(" = ")[0]
    text = re.sub(r'(file|table) = "([^"/]+)"', rf'\1 = "{site.parent.as_posix()}/\2"', site.read_text())
    # what [swales] gives stands over the rule
    text = re.sub(rf"(?m)^({key.removeprefix('swale_')}|{'roughness' if key == 'n_swale' else '-'}) = .*\n", "", text)
    text = f"{text}\n[rules]\n{rule}\n" if "[rules]" not in text else text.replace("[rules]", f"[rules]\n{rule}")
    changed = site.with_name(f"{site.stem}-{key or 'as_it_is'}.toml") if site.parent != SAMPLES else options.pop("at")
    options.pop("at", None)
    changed.write_text(text)
    try:
        tables = swale_tables(check_swale(changed, **options))
    except LotshedError as error:
        return {"refused": str(error)}
    return {
        name: pd.DataFrame(table).to_csv(index=False)
        for name, table in tables.items()
        if name not in ("run_info", "cautions")
    }


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    """The sample street's answer by rule, without it first."""
    folder = tmp_path_factory.mktemp("street")
    kept = {}

    def answer(rule=""):
        if rule not in kept:
            kept[rule] = told(SAMPLES / "swale.toml", rule, at=folder / "site.toml")
        return kept[rule]

    return answer


def test_every_rule_of_a_swale_is_tried():
    ours = {key for key in load_rules() if key.startswith(("swale_", "bank_")) or key == "n_swale"}
    assert ours == set(GIVEN)


@pytest.mark.parametrize("key", one_in(12, sorted(set(GIVEN) - set(MADE) - {"swale_lot_outlet_near"})))
def test_rule_acts_on_the_sample_street(sample, key):
    now = sample(f"{key} = {GIVEN[key]}")
    assert now != sample()
    # a culvert farther off than the rule says lies on no swale
    assert ("refused" in now) == (key == "swale_culvert_near")


@pytest.mark.parametrize("key", sorted(MADE))
def test_rule_acts_on_a_made_swale(write_swale_site, tmp_path, key):
    made = dict(MADE[key])
    discharge, attributes = made.pop("discharge", None), made.pop("attributes", None)
    along = made.pop("along", lambda s: -0.01 * s)
    site = write_swale_site(tmp_path / "site", trapezoid, along, **made)
    if attributes is not None:
        import geopandas as gpd

        culverts = gpd.read_file(site.parent / "site.gpkg", layer="culverts")
        culverts.assign(**attributes).to_file(site.parent / "site.gpkg", layer="culverts", driver="GPKG")
    options = {} if discharge is None else {"add_discharges": [discharge]}
    now, before = told(site, f"{key} = {GIVEN[key]}", **options), told(site, **options)
    assert now != before
    assert "refused" not in before
    assert ("refused" in now) == (key == "swale_discharge_farthest")
