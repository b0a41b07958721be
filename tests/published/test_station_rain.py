"""A depth alone against the tables of stations: how far the peaks of small ground come out from the tables'.

Depths are read in public copies of the agency's answers (volume beside each); the Colorado point's are its printed
intensities times the duration. Which NRCS type rules where is from memory of TR-55, figure B-2; Alaska's coast is taken
as IA where it is wettest and as I elsewhere.
"""

import csv
from collections import defaultdict
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from pipelines.hydrology.hydrographs import runoff_hydrograph
from pipelines.hydrology.losses import runoff_depths
from pipelines.hydrology.rain.design_rain import rain_from_table, rain_given
from pipelines.hydrology.rain.rain_types import type_ratios
from pipelines.hydrology.rain.storms import refined
from pipelines.inputs.tables.rain_table import RainTable
from pipelines.inputs.tables.rain_table_file import read_rain_table

STATIONS = "NOAA Atlas 14, point precipitation frequency estimates of twelve places"
TP40 = "U.S. Weather Bureau Technical Paper 40, 1961"
NEH4 = "NRCS National Engineering Handbook part 630, ch. 4, 2019"
YEARS = (2.0, 10.0, 100.0)
STEP = 30.0
FAR_OFF = ("Fairbanks, Alaska", "Homer, Alaska")
"""Continental and maritime Alaska: rain that none of the four types describes."""


@cache
def stations():
    """Type and table by place."""
    rows = defaultdict(list)
    with (Path(__file__).parents[1] / "data" / "station_rain.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            rows[row["place"]].append(row)
    return {
        place: (
            held[0]["type"],
            RainTable(
                np.array([60.0 * float(row["minutes"]) for row in held]),
                np.array(YEARS),
                np.array([[0.0254 * float(row[f"depth_in_{years:g}yr"]) for years in YEARS] for row in held]),
                "partial_duration",
                place,
            ),
        )
        for place, held in rows.items()
    }


def peak(rain, minutes, curve_number):
    """Of a hectare with a time of concentration and a curve number. [m3/s]"""
    excess = np.diff(runoff_depths(refined(rain.storm, STEP).cumulative, curve_number))
    return runoff_hydrograph(excess, 1e4, 60.0 * minutes, STEP).peak


def largest_misfit(place, kind, years=10.0):
    """Of peaks, rational and of hydrographs, from the 24-hour depth alone against the table's; 5 to 30 minutes."""
    _, table = stations()[place]
    known = rain_from_table(table, years)
    alone = rain_given(known.storm.depth, 86400.0, two_year_24h_depth=known.two_year_24h_depth, rain_type=kind)
    off = [alone.intensity(60.0 * minutes) / known.intensity(60.0 * minutes) - 1.0 for minutes in (5, 10, 20, 30)]
    off += [
        peak(alone, minutes, curve_number) / peak(known, minutes, curve_number) - 1.0
        for minutes in (5, 10, 20, 30)
        for curve_number in (98.0, 80.0)
    ]
    return max(off, key=abs)


def near():
    return [place for place in stations() if place not in FAR_OFF]


def test_stations_are_ten_of_all_four_types():
    assert len(near()) == 10
    assert {stations()[place][0] for place in near()} == {"I", "IA", "II", "III"}


@pytest.mark.published(source=STATIONS, where="10-year column", memory=False, worked=False)
@pytest.mark.parametrize("place", near())
def test_peaks_of_a_day_s_depth_are_within_a_quarter_of_the_table_s(place):
    assert abs(largest_misfit(place, stations()[place][0])) < 0.25


@pytest.mark.published(source=STATIONS, where="10-year column", memory=False, worked=False)
def test_where_a_type_must_be_named():
    """Type II stands in for III to three tenths, too high; of a maritime station it is more than threefold."""
    assert 0.0 < largest_misfit("Fort Myers, Florida", None) < 0.3
    assert largest_misfit("Canyon Island, Alaska", None) > 2.0


@pytest.mark.published(source=STATIONS, where="10-year column", memory=False, worked=False)
@pytest.mark.parametrize("place", FAR_OFF)
def test_rain_of_no_type_is_further_off(place):
    """So it is not claimed of every place: a table is better, and the note that goes with a depth says so."""
    assert 0.25 < abs(largest_misfit(place, stations()[place][0])) < 0.5


@pytest.mark.published(source=STATIONS, where="2 over 10-year rain of 24 hours", memory=False, worked=False)
@pytest.mark.parametrize("place", list(stations()))
def test_two_year_rain_of_a_day_is_about_seven_tenths_of_the_ten_year_one(place):
    """Travel of sheet flow goes with the root of it: 0.58 for 0.7 is a tenth more time."""
    day = stations()[place][1].depths[-1]
    assert day[0] / day[1] == pytest.approx(0.7, abs=0.125)


@pytest.mark.published(source=NEH4, where="fig. 4-31, nested ratios of type II", memory=False, worked=False)
def test_hours_of_type_ii():
    _, ratios = type_ratios("II")
    assert ratios[-6:] == pytest.approx([0.454, 0.538, 0.595, 0.707, 0.841, 1.0], abs=1.1e-3)


@pytest.mark.published(source=TP40, where="shares of the hour, quoted in Atlas 14", memory=False, worked=False)
def test_minutes_are_the_weather_bureau_s_shares_of_the_hour():
    """Type II: the others' own half hour is less than 0.79 of their hour."""
    _, ratios = type_ratios("II")
    assert ratios[:5] / ratios[4] == pytest.approx([0.29, 0.45, 0.57, 0.79, 1.0], abs=5e-3)


def as_served(place, volume, rows, *, unit="inches", factor=1.0, digits=None):
    """A station's depths in the layout of the agency's server: preamble, header of return periods, a row a duration."""
    labels = {5: "5-min", 10: "10-min", 15: "15-min", 30: "30-min", 60: "60-min", 120: "2-hr", 180: "3-hr", 360: "6-hr",
              720: "12-hr", 1440: "24-hr"}  # fmt: skip

    def printed(text):
        return text if digits is None else f"{float(text) * factor:.{digits}f}"

    lines = [f"{labels[int(row['minutes'])]}:, " + ",".join(printed(row[f"depth_in_{years:g}yr"]) for years in YEARS)
             for row in rows]  # fmt: skip
    return (
        f"Point precipitation frequency estimates ({unit})\nNOAA Atlas 14 Volume {volume} Version 2\n"
        "Data type: Precipitation depth\nTime series type: Partial duration\nProject area: Invented\n"
        f"Location name (ESRI Maps): {place}\nStation Name: None\nLatitude: 0.0 Degree\nLongitude: 0.0 Degree\n"
        "Elevation (USGS): None None\n\n\nPRECIPITATION FREQUENCY ESTIMATES\n"
        f"by duration for ARI (years):, {','.join(f'{years:g}' for years in YEARS)}\n" + "\n".join(lines)
        + "\n\nDate/time (GMT):  Thu Jan  1 00:00:00 2026\npyRunTime:  0.01\n"
    )  # fmt: skip


@pytest.mark.published(source=STATIONS, where="2-, 10- and 100-year columns", memory=False, worked=False)
def test_stations_in_the_servers_layout_come_back_to_their_printed_digits(tmp_path):
    with (Path(__file__).parents[1] / "data" / "station_rain.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    for place, (_, table) in stations().items():
        own = [row for row in rows if row["place"] == place]
        path = tmp_path / "rain.csv"
        path.write_text(as_served(place, own[0]["volume"], own), encoding="utf-8")
        found = read_rain_table(path)
        np.testing.assert_allclose(found.depths, table.depths, rtol=1e-12)
        np.testing.assert_array_equal(found.durations, table.durations)
        assert found.series == "partial_duration"
        assert f"Volume {own[0]['volume']} Version 2" in found.source
        path.write_text(
            as_served(place, own[0]["volume"], own, unit="millimeters", factor=25.4, digits=1), encoding="utf-8"
        )
        np.testing.assert_allclose(read_rain_table(path).depths, table.depths, atol=5.1e-5)
