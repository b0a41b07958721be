"""Rain tables, design storms and return periods against what agencies and texts print."""

import numpy as np
import pytest

from pipelines.hydrology.rain.design_rain import rain_from_table
from pipelines.hydrology.rain.rainfall import depths_of_duration, rain_depth
from pipelines.hydrology.rain.storms import nested_storm, nrcs_distribution, nrcs_storm
from pipelines.hydrology.storm_question import which_storm
from pipelines.inputs.tables.rain_table import RainTable

IN, MINUTE, HOUR = 0.0254, 60.0, 3600.0
IN_H = IN / HOUR
ATLAS = "NOAA Atlas 14, Volume 9, point precipitation frequency estimates"
TEXT = "Chow, Maidment and Mays, Applied Hydrology, 1988"
NEH4 = "NRCS National Engineering Handbook part 630, ch. 4, 2019"


def largest_depth(storm, duration):
    """Most rain in any run of steps of a duration."""
    count = round(duration / storm.step)
    fallen = storm.cumulative
    return (fallen[count:] - fallen[:-count]).max()


@pytest.fixture(scope="module")
def agency_table():
    return RainTable(
        durations=np.array([5, 10, 15, 30, 60, 1440]) * MINUTE,
        return_periods=np.array([1, 2, 5, 10, 25, 50, 100.0]),
        depths=np.array(
            [
                [0.553, 0.620, 0.731, 0.822, 0.950, 1.05, 1.15],
                [0.810, 0.908, 1.07, 1.20, 1.39, 1.54, 1.68],
                [0.988, 1.11, 1.30, 1.47, 1.70, 1.87, 2.05],
                [1.60, 1.79, 2.11, 2.37, 2.74, 3.02, 3.31],
                [2.14, 2.38, 2.79, 3.13, 3.62, 4.00, 4.38],
                [4.01, 4.76, 6.09, 7.28, 9.05, 10.5, 12.1],
            ]
        )
        * IN,
        series="partial_duration",
        source="NOAA Atlas 14 Volume 9",
    )


@pytest.mark.published(source=ATLAS, where="10-year column", memory=False, worked=False)
@pytest.mark.parametrize(
    "minutes, depth, intensity",
    [(5, 0.822, 9.864), (10, 1.20, 7.200), (15, 1.47, 5.880), (30, 2.37, 4.740), (60, 3.13, 3.130)],
)
def test_printed_depths_come_back(agency_table, minutes, depth, intensity):
    assert rain_depth(agency_table, minutes * MINUTE, 10) == depth * IN
    rain = rain_from_table(agency_table, 10.0)
    assert rain.intensity(minutes * MINUTE) / IN_H == pytest.approx(intensity, abs=5e-4)


@pytest.mark.parametrize("minutes, depth", [(7, 0.9877), (12, 1.3147), (20, 1.7923)])
def test_between_durations_depth_is_straight_on_log_paper(agency_table, minutes, depth):
    assert rain_depth(agency_table, minutes * MINUTE, 10) / IN == pytest.approx(depth, abs=5e-5)


def test_three_inches_in_twenty_minutes(agency_table):
    """9 in/h is arithmetic; the table says that no storm in it is as heavy."""
    answer = which_storm(agency_table, 3 * IN, 20 * MINUTE)
    assert answer.intensity / IN_H == pytest.approx(9.0)
    assert answer.return_period is None
    assert answer.beyond_table
    assert not answer.below_table
    assert np.array_equal(answer.depths, depths_of_duration(agency_table, 20 * MINUTE))


@pytest.fixture(scope="module")
def text_table():
    minutes = np.arange(10, 130, 10.0)
    depth = 96.6 / (minutes**0.97 + 13.90) * minutes / 60.0
    return RainTable(minutes * MINUTE, np.array([10.0]), depth[:, None] * IN, "unknown", "Denver, 10 years")


HYETOGRAPH = (0.024, 0.033, 0.050, 0.084, 0.178, 0.693, 0.308, 0.117, 0.063, 0.040, 0.028, 0.021)


@pytest.mark.published(source=TEXT, where="Example 14.4.1, alternating block", memory=True, worked=True)
@pytest.mark.parametrize("block", range(12))
def test_alternating_block(text_table, block):
    storm = nested_storm(text_table, 10, duration=2 * HOUR)
    assert storm.depths[block] / IN == pytest.approx(HYETOGRAPH[block], abs=5.1e-4)


def test_every_duration_of_the_nested_storm_is_the_table_s(text_table):
    storm = nested_storm(text_table, 10, duration=2 * HOUR)
    for duration, depth in zip(text_table.durations, text_table.depths[:, 0], strict=True):
        assert largest_depth(storm, duration) == pytest.approx(depth, rel=1e-12)


@pytest.mark.published(source=TEXT, where="Table 14.3.2, 24-hour distributions", memory=True, worked=False)
@pytest.mark.parametrize("kind", ["II", "III"])
def test_coarse_table_of_24_hour_storms(kind):
    """Left out is 11.75 h, where the coarse tables (0.357 and 0.339) cut the corner of the 0.1-hour ordinates."""
    hours = [2, 4, 6, 7, 8, 8.5, 9, 9.5, 9.75, 10, 10.5, 11, 11.5, 12, 12.5, 13, 13.5, 14, 16, 20, 24]
    printed = {
        "II": [0.022, 0.048, 0.080, 0.098, 0.120, 0.133, 0.147, 0.163, 0.172, 0.181, 0.204, 0.235, 0.283, 0.663, 0.735,
               0.772, 0.799, 0.820, 0.880, 0.952, 1.0],
        "III": [0.020, 0.043, 0.072, 0.089, 0.115, 0.130, 0.148, 0.167, 0.178, 0.189, 0.216, 0.250, 0.298, 0.500, 0.702,
                0.751, 0.785, 0.811, 0.886, 0.957, 1.0],
    }[kind]
    assert np.interp(hours, *nrcs_distribution(kind)) == pytest.approx(printed, abs=0.003)


@pytest.mark.published(
    source="Austin Drainage Criteria Manual", where="Table 2-6, type III by 5 minutes", memory=False, worked=False
)
@pytest.mark.parametrize(
    "hour, fraction",
    [(0.5, 0.0050), (1, 0.0100), (8 + 5 / 60, 0.1163), (8.25, 0.1208), (8.5, 0.1284), (9, 0.1458), (9 + 1 / 6, 0.1522),
     (16 + 1 / 6, 0.8903), (16.5, 0.8984), (17, 0.9095)],
)
def test_fine_ordinates_of_type_iii(hour, fraction):
    assert np.interp(hour, *nrcs_distribution("III")) == pytest.approx(fraction, abs=1.1e-4)


@pytest.mark.published(source=NEH4, where="fig. 4-36, hourly ratios of type II", memory=False, worked=False)
@pytest.mark.parametrize("hour, fraction", [(1, 0.011), (2, 0.022), (11, 0.235), (12, 0.663), (13, 0.772), (14, 0.820)])
def test_hourly_ratios_of_type_ii(hour, fraction):
    """Public copies that print 0.601 at 12 h, or 0.663 before it, are wrong."""
    assert np.interp(hour, *nrcs_distribution("II")) == pytest.approx(fraction, abs=6e-4)


@pytest.mark.published(source=NEH4, where="fig. 4-31, nested ratios of type II", memory=False, worked=False)
@pytest.mark.parametrize(
    "minutes, ratio", [(30, 0.380), (60, 0.454), (120, 0.538), (180, 0.595), (360, 0.707), (720, 0.841)]
)
def test_nested_ratios_of_type_ii(minutes, ratio):
    storm = nrcs_storm(1.0, "II")
    assert largest_depth(storm, minutes * MINUTE) == pytest.approx(ratio, abs=0.004)
