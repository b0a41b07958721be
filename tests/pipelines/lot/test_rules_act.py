"""Rules of the trade act: changed in a site file, each moves the layer, the table or the plan named beside it."""

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import pytest

from pipelines.deliverables.lot.layers import lot_tables
from pipelines.lot import screen_lot
from terrain.errors import LotshedError
from tests.quick_share import one_in

LOT = Path(__file__).parents[3] / "sample_data" / "lot_11.toml"
pytestmark = pytest.mark.usefixtures("kept_in_file")

MOVES = """
trench_extra | "0 %" | french_drains
sill_freeboard | "24 in" | warnings
tolerable_lawn_depth | "0.5 in" | low_spots
tolerable_patio_depth | "2 in" | low_spots
tolerable_patio_time | "8 h" | low_spots
basin_9in_flow | "100 gpm" | catch_basins
basin_12in_flow | "240 gpm" | catch_basins
grate_open_area | "8.75 %" | catch_basins
refer_slope | "6.25 %" | low_spots
complaint_reach | "20 m" | low_spots
wall_strip | "4 m" | low_spots
least_pond | "0.2 m3" | low_spots
refer_slope_share | "2.5 %" | low_spots
grate_submerged | "8 cm" | low_spots
extension_longest | "24 m" | plan
extension_offset_house | "1.25 ft" | plan
slope_4in_smooth | "4 %" | pipe_runs
outlet_above_swale | "24 in" | low_spots
loss_at_basin | "0.4 ft" | pipe_runs
digging_tolerance | "0.4 ft" | pipe_runs
cover_lawn | "48 in" | outfalls
cover_drive | "72 in" | fall_to_spare
depth_egress | "1 ft" | warnings
trench_width_solid | "40 in" | pipe_runs
line_offset | "20 ft" | pipe_runs
outlet_offset_line | "40 ft" | plan
outlet_offset_walk | "20 ft" | plan
outlet_offset_house | "40 ft" | plan
outlet_taper | "20 m" | outfalls
velocity_self_cleansing | "8 ft/s" | warnings
cleanout_spacing | "7.5 m" | fittings
deep_dig_depth | "0.225 m" | pipe_runs
verdict_sigmas | 5.12 | outfalls
outfall_bottom_reach | "4 m" | pipe_runs
grate_ponding | "1.25 cm" | catch_basins
storms_run | 1.75 | warnings
near_house | "20 m" | warnings
sump_width | "96 in" | sumps
sump_depth | "144 in" | sumps
sump_inlet | "96 in" | sumps
sump_lid | "24 in" | sumps
pressure_velocity_peak | "2.5 ft/s" | sumps
starts_per_hour | "60 1/h" | sumps
sump_width_wider | "120 in" | sumps
sump_inlet_depth | "0.275 m" | sumps
outfall_followed | "37.5 m" | outfalls
outfalls_followed | 0.25 | outfalls
pressure_line_cover | "122 cm" | sumps
elbows_at_sump | 12 | sumps
power_cost | 100 | sumps
stone_density | "5.6 ton/yd3" | take_off
hand_trench_rate | "32 ft/h" | pipe_runs
stone_rate | "6 ton/h" | take_off
sod_rate | "400 ft2/h" | take_off
pipe_rate | "200 ft/h" | take_off
pump_set_hours | "20 h" | take_off
set_up_hours | "8 h" | take_off
swell_earth | "95 %" | take_off
waste_pipe | "30 %" | take_off
waste_stone | "40 %" | take_off
waste_sod | "40 %" | take_off
overhead_and_profit | "95 %" | take_off
contingency | "60 %" | take_off
pipe_crew | 8 | take_off
trench_room | "0.4 m" | take_off
truck_load | "1.25 yd3" | take_off
sod_beside | "60 cm" | take_off
pipe_wall_offset | "12 ft" | pipe_runs
slope_break | "20 %" | fittings
outlet_stone | "0.2 m3" | take_off
sump_sod | "4 m2" | take_off
sump_pit | "3.2 m" | take_off
basin_bed | "40 cm" | take_off
spare_fittings | 4 | take_off
lidar_rmse | "40 cm" | flow_paths
lidar_shared_variance | 0.95 | outfalls
lidar_noise_length | "40 m" | low_spots
low_spot_sigmas | 8 | low_spots
low_spot_least_depth | "8 cm" | low_spots
low_spot_least_area | "4 m2" | low_spots
culvert_end_reach | "4 m" | low_spots
window_margin | "80 m" | low_spots
surroundings | "1 m" | low_spots
passing_by | "8 m" | runoff
largest_window | 10000 | runoff
standing_film | "24 mm" | low_spots
flow_path_least_area | "400 m2" | flow_paths
flow_path_sigmas | 5.12 | flow_paths
default_return_period | "40 yr" | low_spots
least_time_of_concentration | "20 min" | low_spots
longest_sheet_flow | "400 ft" | low_spots
pond_on_path | "20 cm" | runoff
standing_followed | "0.75 d" | balance
crossing_clearance | "90 cm" | pipe_runs
least_line_offset | "2.4 m" | fall_to_spare
right_of_way_reach | "60 m" | pipe_runs
right_of_way_half_width | "40 m" | pipe_runs
paving_cut_width | "1.6 m" | pipe_runs
joint_angle | 20 | pipe_runs
grade_break_cost | 2 | pipe_runs
"""

REFUSED = """
lidar_shared_variance | 2
trench_width_stone | "3 in"
stone_porosity | 1.4
grate_clogging | 2
sump_off | "32 in"
sump_on | "80 in"
sump_alarm | "92 in"
default_soil_group | "loam"
default_cover | "moss"
pressure_pipes | ["2 in sch 40", "4 in SDR-35"]
swale_culvert_sizes | "17 in"
"""

LIKE_SUMP_OFF = ("sump_on", "sump_alarm")
"""Refused where `sump_off` is, after as long a run."""

BEFORE_THE_RULE = {"lidar_rmse": "rmse", "default_return_period": "return_period"}


def _cases(block):
    return [tuple(cell.strip() for cell in line.split("|")) for line in block.strip().splitlines()]


def _told(site):
    """Everything that a screened lot tells, by table."""
    found = screen_lot(site)
    tables = lot_tables(found, "si")
    same_always = ("run_info", "cautions")
    told = {name: pd.DataFrame(tables[name]).to_csv(index=False) for name in tables if name not in same_always}
    plan = found.plan
    return told | {
        "warnings": repr(found.warnings),
        "balance": repr(found.balance),
        "plan": repr((plan.verdict, plan.cures, plan.alternatives, plan.refer_out, plan.discharges)),
    }


@cache
def _before():
    with TemporaryDirectory() as folder:
        return _told(_with_rule(Path(folder), None, None))


def _with_rule(folder, key, value):
    """The sample lot's site file on its raster as it is with one rule more (and no value that stands before it), beside
    links to its data."""
    for held in LOT.parent.iterdir():
        (folder / held.name).symlink_to(held)
    site = folder / "changed.toml"
    before_it = BEFORE_THE_RULE.get(key)
    text = LOT.read_text().replace("[elevation]\n", "[elevation]\ngrounds = 1\n")
    lines = [line for line in text.splitlines() if line.split(" = ")[0] != before_it]
    site.write_text("\n".join([*lines, *(["[rules]", f"{key} = {value}"] if key else []), ""]))
    return site


@pytest.mark.parametrize(("key", "value"), [("lidar_rmse", '"10 cm"'), ("default_return_period", '"10 yr"')])
def test_a_rule_at_the_value_given_moves_nothing_but_the_word_that_it_is_assumed(tmp_path, key, value):
    now = _told(_with_rule(tmp_path, key, value))
    assert [table for table in now if now[table] != _before()[table]] == ["warnings"]


EVERY = 50
"""Of so many rules one is tried in the quick suite, a screen of the sample lot each. [-]"""


@pytest.mark.parametrize(
    ("key", "value", "table"),
    one_in(EVERY, _cases(MOVES)),
)
def test_a_rule_moves_what_it_says(tmp_path, key, value, table):
    now = _told(_with_rule(tmp_path, key, value))
    assert now.get(table) != _before().get(table)


@pytest.mark.parametrize(
    ("key", "value"),
    [pytest.param(*case, marks=pytest.mark.thorough if case[0] in LIKE_SUMP_OFF else ()) for case in _cases(REFUSED)],
)
def test_a_rule_that_cannot_hold_is_refused(tmp_path, key, value):
    with pytest.raises(LotshedError):
        screen_lot(_with_rule(tmp_path, key, value))
