"""The run's one rain: what it is made of, and what it says that it assumed."""

import numpy as np
import pytest

from pipelines.hydrology.errors import RainError
from pipelines.hydrology.rain.design_rain import design_rain, rain_from_table, rain_given
from pipelines.hydrology.rain.rainfall import rain_depth
from pipelines.inputs.rules import load_rules, read_overrides
from pipelines.inputs.site_sections import Rain
from pipelines.inputs.tables.rain_table import RainTable
from terrain.reason import reason


def table(minutes, years=(2.0, 10.0, 100.0)):
    durations = np.array(minutes) * 60.0
    depths = 0.004 * np.sqrt(np.array(minutes))[:, None] * (1.0 + 0.4 * np.log(np.array(years)))[None, :]
    return RainTable(durations, np.array(years), depths, "unknown", "rain.csv")


FULL = table([5, 15, 60, 360, 1440])


def test_a_full_table_assumes_nothing():
    rain = rain_from_table(FULL, 10.0)
    assert rain.notes == ()
    assert rain.storm.duration == 86400.0
    assert rain.storm.depth == pytest.approx(FULL.depths[-1, 1])
    assert rain.two_year_24h_depth == pytest.approx(FULL.depths[-1, 0])
    assert rain.intensity(900.0) == rain_depth(FULL, 900.0, 10.0) / 900.0


@pytest.mark.parametrize("distribution", ["nested", "I", "IA", "II", "III"])
def test_every_distribution_holds_the_24_hour_depth(distribution):
    rain = rain_from_table(FULL, 10.0, distribution=distribution)
    assert rain.storm.depth == pytest.approx(FULL.depths[-1, 1], rel=1e-9)
    assert rain.storm.return_period == 10.0


def test_intensity_stays_within_the_table_and_says_so():
    coarse = table([15, 60, 1440])
    rain = rain_from_table(coarse, 10.0)
    assert rain.intensity(300.0) == rain.intensity(900.0) == rain_depth(coarse, 900.0, 10.0) / 900.0
    assert reason("rain_table_begins_late", table="rain.csv", shortest=900.0) in rain.notes


def test_a_table_that_ends_early_makes_a_shorter_storm_and_says_so():
    short = table([5, 15, 60, 120])
    rain = rain_from_table(short, 10.0)
    assert rain.storm.duration == 7200.0
    assert rain.storm.depth == pytest.approx(short.depths[-1, 1])
    assert reason("rain_table_ends_early", table="rain.csv", longest=7200.0, duration=7200.0) in rain.notes
    assert reason("two_year_rain_from_table", table="rain.csv", years=2.0, duration=7200.0) in rain.notes
    with pytest.raises(RainError, match=r"24 h lies outside rain\.csv"):
        rain_from_table(short, 10.0, distribution="II")
    with pytest.raises(RainError, match="rain at constant intensity is one depth and duration"):
        rain_from_table(short, 10.0, distribution="constant")


def test_shortest_duration_that_does_not_divide_the_storm_is_rounded_up():
    odd = table([7, 60, 1440])
    rain = rain_from_table(odd, 10.0)
    assert rain.storm.step >= 420.0
    assert rain.storm.step * rain.storm.depths.size == pytest.approx(86400.0)
    assert rain.storm.depth == pytest.approx(odd.depths[-1, 1])


def test_return_period_outside_the_table_is_an_error():
    with pytest.raises(RainError, match="holds 2 to 100 yr"):
        rain_from_table(FULL, 500.0)


def test_rain_asked_to_be_constant_is_of_one_intensity_and_says_so():
    rain = rain_given(0.0762, 1200.0, two_year_24h_depth=0.08, distribution="constant")
    assert rain.intensity(300.0) == pytest.approx(0.0762 / 1200)
    assert rain.intensity(2400.0) == pytest.approx(0.0762 / 2400)
    assert rain.storm.depth == pytest.approx(0.0762)
    assert rain.storm.name == reason("storm_constant", depth=rain.storm.depth, duration=1200.0)
    assert rain.notes == (
        reason("rain_constant", depth=0.0762, duration=1200.0), reason("two_year_rain_assumed", depth=0.08),
    )  # fmt: skip


def test_a_depth_alone_is_nested_and_says_by_which_type():
    site = Rain(depth="4.52 in", duration="24 h")
    rain = design_rain(site, None, load_rules())
    assert (rain.storm.distribution, rain.storm.rain_type, rain.return_period) == ("nested", "II", None)
    spread = reason("rain_spread", depth=site.depth, duration=86400.0, type="II", named=False)
    assert rain.notes == (spread, reason("two_year_rain_assumed", depth=0.7 * site.depth))
    named = design_rain(Rain(depth="4.52 in", duration="24 h", type="III"), None, load_rules())
    assert named.notes[0] == reason("rain_spread", depth=site.depth, duration=86400.0, type="III", named=True)
    nrcs = design_rain(Rain(depth="4.52 in", duration="24 h", distribution="III"), None, load_rules())
    assert (nrcs.storm.distribution, nrcs.storm.depth) == ("III", pytest.approx(site.depth))
    assert nrcs.intensity(600.0) == named.intensity(600.0)


def test_a_day_s_distribution_is_refused_for_another_time():
    with pytest.raises(RainError, match=r'distribution = "II" is a rain of 24 h.*of 20 min.*give type = "II"'):
        design_rain(Rain(depth="3 in", duration="20 min", distribution="II"), None, load_rules())


def test_the_two_year_rain_of_a_site_file_stands_before_the_share_of_a_day():
    site, day = Rain(depth="4 in", duration="24 h"), 4 * 0.0254
    assert design_rain(site, None, load_rules()).two_year_24h_depth == pytest.approx(0.7 * day)
    for key, value, expected in (("share", 0.5, 0.5 * day), ("rain", "3 in", 0.0762)):
        own = load_rules().with_overrides(read_overrides({f"default_two_year_{key}": value}))
        assert design_rain(site, None, own).two_year_24h_depth == pytest.approx(expected)
    assert design_rain(Rain(depth="4 in", duration="2 h"), None, load_rules()).two_year_24h_depth == 0.08


def test_assumed_rain_is_50_mm_in_an_hour_and_says_so():
    rain = design_rain(Rain(), None, load_rules())
    assert (rain.storm.depth, rain.storm.duration) == (pytest.approx(0.05), 3600.0)
    assert rain.notes[0] == reason("rain_assumed", depth=0.05, duration=3600.0)
    assert rain.notes[1] == reason("rain_spread", depth=0.05, duration=3600.0, type="II", named=False)
    assert rain.return_period is None


def test_a_table_without_a_return_period_takes_the_rule_s():
    rain = design_rain(Rain(), FULL, load_rules())
    assert (rain.return_period, rain.notes) == (10.0, (reason("return_period_assumed", years=10.0),))
    own = load_rules().with_overrides(read_overrides({"default_return_period": "2 yr"}))
    assert design_rain(Rain(), FULL, own).return_period == 2.0
    assert design_rain(Rain(return_period="100 yr"), FULL, own).notes == ()


def test_what_a_site_file_says_of_the_assumed_rain_is_taken():
    own = load_rules().with_overrides(read_overrides({"default_storm_depth": "2 in", "default_two_year_rain": "3 in"}))
    rain = design_rain(Rain(), None, own)
    assert rain.storm.depth == pytest.approx(0.0508)
    assert rain.two_year_24h_depth == pytest.approx(0.0762)


def test_other_return_periods_fall_in_time_as_the_design_storm_does():
    others = rain_from_table(FULL, 10.0, distribution="II").of_other_periods()
    assert list(others) == [2.0, 10.0, 100.0]
    assert {rain.storm.distribution for rain in others.values()} == {"II"}
    assert rain_given(0.05, 3600.0, two_year_24h_depth=0.08).of_other_periods() == {}


@pytest.mark.parametrize(
    "rain, name",
    [
        (rain_from_table(FULL, 10.0), reason("storm_nested", return_period=10.0, duration=86400.0)),
        (
            rain_from_table(FULL, 10.0, distribution="II"),
            reason("storm_nrcs", return_period=10.0, duration=86400.0, type="II"),
        ),
    ],
)
def test_a_storm_is_called_by_what_it_is(rain, name):
    assert rain.storm.name == name
