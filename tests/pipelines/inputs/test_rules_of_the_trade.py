"""The table of rules: its values as the trade names them, and what a site file may change."""

import csv
import inspect
from pathlib import Path

import pytest

from pipelines.inputs.errors import SiteFileError
from pipelines.inputs.ground_rules import bank_rules, ground_limits
from pipelines.inputs.rules import MARKS, load_rules, read_overrides
from pipelines.inputs.site_file import read_site_file
from terrain.flow.conditioning import make_ground
from terrain.flow.lot_ground import GroundLimits
from terrain.flow.low_spots import find_low_spots
from terrain.flow.window import grow_window
from terrain.level_shots import rebase_on_shots
from terrain.lidar_error import fall_error
from terrain.swale.banks import BankRules

INCH, FOOT = 0.0254, 0.3048


def test_every_rule_is_whole():
    for key, rule in load_rules().items():
        assert key == rule.key
        assert rule.low <= rule.likely <= rule.high, key
        assert rule.mark in MARKS
        assert rule.meaning


@pytest.mark.parametrize("table", ["water", "routing"])
def test_every_rule_of_a_table_is_read(table):
    rooms = Path(__file__).parents[3] / "pipelines"
    code = "".join(path.read_text(encoding="utf-8") for path in rooms.rglob("*.py"))
    rows = csv.DictReader((rooms / "inputs" / "trade" / f"{table}.csv").read_text(encoding="utf-8").splitlines())
    assert [row["key"] for row in rows if f'"{row["key"]}"' not in code] == []


@pytest.mark.parametrize(
    "key, low, likely, high",
    [
        ("slope_4in_smooth", 0.005, 0.01, 0.01),
        ("slope_6in_smooth", 0.003, 0.005, 0.005),
        ("cover_lawn", 6 * INCH, 12 * INCH, 12 * INCH),
        ("outlet_above_swale", 3 * INCH, 6 * INCH, 6 * INCH),
        ("depth_hand_dig", 3 * FOOT, 3 * FOOT, 4 * FOOT),
        ("pressure_velocity", 2 * FOOT, 6 * FOOT, 8 * FOOT),
        ("relief_hole", 3 / 16 * INCH, 3 / 16 * INCH, 3 / 16 * INCH),
        ("hand_trench_rate", 4 * FOOT / 3600, 8 * FOOT / 3600, 12 * FOOT / 3600),
        ("stone_density", *[1.4 * 907.18474 / 0.764554857984] * 3),
        ("stone_porosity", 0.35, 0.35, 0.35),
        ("tolerable_lawn_time", 86400.0, 86400.0, 86400.0),
        ("starts_per_hour", 15 / 3600, 15 / 3600, 15 / 3600),
        ("tree_clearance", 12.0, 12.0, 12.0),
        ("lidar_rmse", 0.05, 0.10, 0.20),
        ("default_return_period", 10.0, 10.0, 10.0),
        ("default_storm_depth", 0.05, 0.05, 0.05),
        ("longest_sheet_flow", 100 * FOOT, 100 * FOOT, 100 * FOOT),
        ("standing_followed", 259200.0, 259200.0, 259200.0),
        ("crossing_clearance", 0.15, 0.15, 0.15),
    ],
)
def test_values_in_si(key, low, likely, high):
    rule = load_rules()[key]
    assert (rule.low, rule.likely, rule.high) == pytest.approx((low, likely, high), rel=1e-12)


def test_words_are_the_trades():
    rules = load_rules()
    assert rules["hand_trench_rate"].words == "4 / 8 / 12 ft/h"
    assert rules["slope_4in_smooth"].words == "0.5 / 1 %"
    assert rules["stone_porosity"].words == "0.35"
    assert rules["starts_per_hour"].words == "15 1/h"
    assert rules["neighbor_storms"].words == "2, 5, 10, 25, 100 yr"
    assert rules["pressure_pipes"].words == "1-1/2 in sch 40; 2 in sch 40; 3 in sch 40"


def test_a_value_given_takes_the_place_of_the_default_and_is_marked():
    rules = load_rules().with_overrides(read_overrides({"cover_lawn": "10 in", "stone_porosity": 0.4}))
    assert rules["cover_lawn"].likely == pytest.approx(10 * INCH)
    assert rules["cover_lawn"].low == pytest.approx(6 * INCH)
    assert rules["stone_porosity"].low == rules["stone_porosity"].likely == rules["stone_porosity"].high == 0.4
    assert rules["stone_porosity"].mark == "given"
    assert load_rules()["cover_lawn"].likely == pytest.approx(12 * INCH)


def test_a_value_beyond_floor_or_stop_moves_it():
    rules = load_rules().with_overrides(read_overrides({"slope_4in_smooth": "0.4 %", "depth_hand_dig": "5 ft"}))
    assert rules["slope_4in_smooth"].low == pytest.approx(0.004)
    assert rules["depth_hand_dig"].high == pytest.approx(5 * FOOT)


def test_floor_and_stop_alone():
    rules = load_rules().with_overrides(read_overrides({"pressure_velocity": {"low": "7 ft/s"}}))
    assert rules["pressure_velocity"].words == "7 / 7 / 8 ft/s"


def test_lists_and_names_are_given_whole():
    given = {"neighbor_storms": ["10 yr", "50 yr"], "pressure_pipes": ["2 in sch 40"], "default_soil_group": "B"}
    rules = load_rules().with_overrides(read_overrides(given))
    assert rules["neighbor_storms"].values == (10.0, 50.0)
    assert rules["pressure_pipes"].names == ("2 in sch 40",)
    assert rules["default_soil_group"].name == "B"
    assert {rules[key].mark for key in given} == {"given"}


def test_other_units_of_the_same_kind():
    rules = load_rules().with_overrides(read_overrides({"cover_lawn": "25 cm", "slope_corrugated": "0.1 ft/5 ft"}))
    assert rules["cover_lawn"].likely == pytest.approx(0.25)
    assert rules["slope_corrugated"].likely == pytest.approx(0.02)


@pytest.mark.parametrize(
    "table, message",
    [
        ({"cover_lwan": "3 in"}, 'unknown rule "cover_lwan", did you mean "cover_lawn"'),
        ({"cover_lawn": 12}, "cover_lawn: the bare number 12 has no unit"),
        ({"cover_lawn": "3 gpm"}, "cover_lawn: .* is a flow, and this is a length"),
        ({"cover_lawn": "-3 in"}, "cover_lawn: .* is no quantity .* from 0 to 1200 in"),
        ({"stone_porosity": "0.35 m"}, "stone_porosity: \"0.35 m\" is no plain number"),
        ({"stone_porosity": True}, "stone_porosity: True is no plain number"),
        ({"stone_porosity": float("nan")}, "stone_porosity: nan is no plain number"),
        ({"stone_porosity": float("inf")}, "stone_porosity: inf is no plain number"),
        ({"cover_lawn": {"least": "3 in"}}, "least is not known; give low, likely or high"),
        ({"cover_lawn": {}}, "an empty table is not known"),
        ({"neighbor_storms": [2, 5]}, "neighbor_storms: the bare number 2 has no unit"),
        ({"neighbor_storms": []}, "neighbor_storms: an empty list says nothing"),
        ({"pressure_pipes": [2]}, "pressure_pipes: .* a list of names in quotes"),
        ({"default_soil_group": ["A", "B"]}, "default_soil_group: .* a name in quotes"),
        ({"cover_lawn": {"low": "9 in", "likely": "8 in"}}, "does not rise from low to high"),
    ],
)
def test_what_is_refused(table, message):
    with pytest.raises(SiteFileError, match=message):
        read_overrides(table)


def test_all_faults_together():
    with pytest.raises(SiteFileError, match=r"unknown rule .*; stone_porosity: .*"):
        read_overrides({"nothing_like_it": 1, "stone_porosity": "x"})


def test_rules_of_lidar_and_ground_are_read():
    rooms = Path(__file__).parents[3] / "pipelines"
    code = "".join(path.read_text(encoding="utf-8") for path in rooms.rglob("*.py"))
    rows = csv.DictReader((rooms / "inputs" / "trade" / "lidar.csv").read_text(encoding="utf-8").splitlines())
    assert [row["key"] for row in rows if f'"{row["key"]}"' not in code] == []


def test_what_the_ground_takes_by_itself_is_what_the_rules_say():
    rules = load_rules()

    def default(function, name):
        return inspect.signature(function).parameters[name].default

    assert ground_limits(rules) == GroundLimits()
    assert bank_rules(rules) == BankRules()
    for key, function, name in (
        ("lidar_shared_variance", fall_error, "shared_variance"),
        ("lidar_noise_length", fall_error, "noise_length"),
        ("low_spot_sigmas", find_low_spots, "sigmas"),
        ("low_spot_least_depth", find_low_spots, "min_depth"),
        ("low_spot_least_area", find_low_spots, "min_area"),
        ("level_shot_reach", rebase_on_shots, "reach"),
        ("downspout_reach", make_ground, "downspout_reach"),
        ("culvert_end_reach", make_ground, "invert_reach"),
        ("window_margin", grow_window, "margin"),
        ("largest_window", grow_window, "limit"),
        ("largest_hole", grow_window, "largest_hole"),
    ):
        assert rules[key].likely == pytest.approx(default(function, name)), key


def test_the_accuracy_given_is_the_rule(tmp_path):
    for name in ("ground.tif", "parcel.gpkg"):
        (tmp_path / name).touch()
    (tmp_path / "site.toml").write_text(
        '[elevation]\nfile = "ground.tif"\nrmse = "4 cm"\n[parcel]\nfile = "parcel.gpkg"\n'
    )
    rule = read_site_file(tmp_path / "site.toml").rules["lidar_rmse"]
    assert (rule.likely, rule.mark) == (pytest.approx(0.04), "given")
