"""Pump curves, price lists and level shots as files."""

from pathlib import Path

import numpy as np
import pytest
from pyproj import CRS

from pipelines.deliverables.words.say import say
from pipelines.inputs.errors import InputFileError, TableError
from pipelines.inputs.tables.prices import default_prices, read_prices
from pipelines.inputs.tables.pump_points import read_pump_points
from pipelines.inputs.tables.shots import LevelShots
from pipelines.inputs.tables.shots import read_level_shots as read_shots
from terrain.grid import Frame

GPM = 6.30901964e-05
HEAD = "item,unit,low,likely,high\n"
SHOTS = "point,easting,northing,height_m\nsill,500001,4100002,101.2\nlow,500003,4100004,100.9\n"
FRAME = Frame(CRS(32610), 1.0, 1.0, 1.0)


def read_level_shots(path: Path, frame: Frame = FRAME) -> LevelShots:
    return read_shots(path, frame, closure=0.006)


@pytest.fixture
def write(tmp_path):
    def run(text):
        path = tmp_path / "table.csv"
        path.write_text(text)
        return path

    return run


def test_a_pump_in_us_units_and_in_si(write):
    points = read_pump_points(write("# Invented\nflow_gpm,head_ft\n0,28\n45,22\n90,5\n"))
    np.testing.assert_allclose(points.flow, np.array([0, 45, 90]) * GPM)
    np.testing.assert_allclose(points.head, np.array([28, 22, 5]) * 0.3048)
    points = read_pump_points(write("head_m,flow_l_s\n8.5,0\n1.5,5.7\n"))
    np.testing.assert_allclose(points.flow, [0.0, 0.0057])
    np.testing.assert_allclose(points.head, [8.5, 1.5])


@pytest.mark.parametrize(
    "text, message",
    [
        ("flow,head_ft\n0,28\n1,2\n", "has no column flow_gpm or flow_l_s; its columns are flow, head_ft"),
        ("flow_gpm,head\n0,28\n1,2\n", "has no column head_ft or head_m"),
        ("flow_gpm,flow_l_s,head_m\n0,0,28\n", "has both flow_gpm and flow_l_s"),
        ("flow_gpm,head_ft\n0,28\n", "has one point; a curve needs at least two"),
        ("flow_gpm,head_ft\n0,28\n45,28\n", "line 3: head_ft does not fall (28, then 28)"),
        ("flow_gpm,head_ft\n0,28\n45,30\n", "line 3: head_ft does not fall (28, then 30)"),
        ("flow_gpm,head_ft\n0,28\n45,20\n45,10\n", "line 4: flow_gpm 45 stands twice; keep one of them"),
        ("flow_gpm,head_ft\n0,28\n45,20\n30,10\n", "line 4: flow_gpm falls from 45 to 30; sort rows by flow"),
        ("flow_gpm,head_ft\n-1,28\n45,20\n", 'line 2, column flow_gpm: "-1" is less than 0'),
        ("flow_gpm,head_ft\n0,28\n45,-2\n", 'line 3, column head_ft: "-2" is less than 0'),
        ("flow_gpm,head_ft\n0,28\n45,nan\n", 'line 3, column head_ft: "nan" is no number'),
        ("flow_gpm,head_ft\n0,28\n,2\n", 'line 3, column flow_gpm: "" is no number'),
    ],
)
def test_a_pump_that_is_refused(write, text, message):
    with pytest.raises(TableError) as caught:
        read_pump_points(write(text))
    assert message in str(caught.value)
    assert "pump curve table.csv" in str(caught.value)


def test_default_prices_are_whole():
    for item, price in default_prices().items():
        assert price.item == item
        assert 0.0 <= price.low <= price.likely <= price.high
        assert price.mark in ("CP", "A")
    # common practice, no source
    assert default_prices()["4 in SDR-35 pipe"].likely == 2.8
    assert default_prices()["electrician"].share == "hired"
    assert default_prices()["pump"].unit == "each"


def test_a_list_replaces_what_it_names_and_no_more(write):
    prices = read_prices(write("# mine\n" + HEAD + "Washed Stone,ton,36,57,88\n"))
    assert prices["washed stone"].likely == 57.0
    assert prices["washed stone"].mark == "given"
    assert prices["sod"] == default_prices()["sod"]
    assert len(prices) == len(default_prices())
    assert prices.warnings == ()


def test_a_price_by_another_unit_of_its_kind_is_brought_over(write):
    prices = read_prices(write(HEAD + "4 in SDR-35 pipe,m,6.56,9.84,13.12\nsod,m2,5,10,20\n"))
    assert prices["4 in SDR-35 pipe"].likely == pytest.approx(9.84 * 0.3048)
    assert prices["sod"].likely == pytest.approx(10 * 0.09290304)
    assert prices["sod"].unit == "ft2"


def test_an_item_with_a_comma_in_quotes(write):
    assert read_prices(write(HEAD + '"spoil disposal, loose",yd3,1,2,3\n'))["spoil disposal, loose"].high == 3.0


def test_an_item_that_no_take_off_names_is_warned_about(write):
    prices = read_prices(write(HEAD + "wahsed stone,ton,36,57,88\n"))
    assert 'names the item "wahsed stone" (did you mean "washed stone"?)' in say(prices.warnings[0], "us")
    assert "wahsed stone" in prices


@pytest.mark.parametrize(
    "text, message",
    [
        ("item,unit,low,likely\nsod,ft2,1,2\n", "has no column high"),
        (HEAD + "sod,ft2,3,2,4\n", "line 2: sod: 3, 2, 4 do not rise from low to high"),
        (HEAD + "sod,ft2,1,2,1e308\n", "line 2: sod: 1e+308 is no price of a unit"),
        (HEAD + "sod,ft2,-1,2,4\n", 'line 2, column low: "-1" is less than 0'),
        (HEAD + "sod,ft2,1,two,4\n", 'line 2, column likely: "two" is no number'),
        (HEAD + "sod,ft2,1,2,3\nSod,ft2,1,2,3\n", 'line 3: "Sod" stands in line 2 too'),
        (HEAD + "sod,gal,1,2,3\n", 'sod is priced by the "gal"; it is counted by the "ft2"'),
        (HEAD + "pump,ft,1,2,3\n", 'pump is priced by the "ft"; it is counted by the "each"'),
        (HEAD + ",ft,1,2,3\n", "line 2: the item has no name"),
    ],
)
def test_a_price_list_that_is_refused(write, text, message):
    with pytest.raises(TableError) as caught:
        read_prices(write(text))
    assert message in str(caught.value)


def test_shots_in_metres_and_feet(write):
    shots = read_level_shots(write(SHOTS))
    assert shots.points == ("sill", "low")
    assert (shots.x[0], shots.y[0], shots.heights[0]) == (500001.0, 4100002.0, 101.2)
    feet = Frame(CRS(2227), 1200 / 3937, 1200 / 3937, 1200 / 3937)
    shots = read_level_shots(write(SHOTS.replace("height_m", "height_ft")), feet)
    assert shots.x[0] == pytest.approx(500001 * 1200 / 3937)
    assert shots.heights[0] == pytest.approx(101.2 * 0.3048)


@pytest.mark.parametrize(
    "old, new, message",
    [
        ("height_m", "height", "has no column height_m or height_ft"),
        ("easting", "x", "has no column easting"),
        ("101.2", "high", 'line 2, column height_m: "high" is no number'),
        ("low,", "sill,", "line 3: the point sill stands in line 2 too"),
        ("500003,4100004", "500001,4100002", "line 3: the place (500001.0, 4100002.0) stands in line 2 too"),
        ("low,", ",", "line 3: the point has no name"),
    ],
)
def test_shots_that_are_refused(write, old, new, message):
    with pytest.raises(TableError) as caught:
        read_level_shots(write(SHOTS.replace(old, new)))
    assert message in str(caught.value)


@pytest.mark.parametrize("read", [read_pump_points, read_prices, read_level_shots])
def test_a_missing_table(tmp_path, read):
    with pytest.raises(InputFileError, match=r"no.csv does not exist"):
        read(tmp_path / "no.csv")
