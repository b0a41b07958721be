"""Rain tables: our own, and the agency's as its server sends it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.inputs.errors import InputFileError, TableError
from pipelines.inputs.tables.rain_table_file import read_rain_table

INCH = 0.0254
OWN = "duration_min,depth_in_2yr,depth_in_10yr\n5,0.6,0.8\n60,2.4,3.1\n1440,4.8,7.3\n"

# NOAA Atlas 14 volume 9 version 2, point estimates for 26.6 N 81.9 W, partial duration, as the server sends them; some
# rows left out.
DEPTHS = """Point precipitation frequency estimates (inches)
NOAA Atlas 14 Volume 9 Version 2
Data type: Precipitation depth
Time series type: Partial duration
Location name (ESRI Maps): None
Station Name: None
Latitude: 26.6 Degree
Longitude: -81.9 Degree
Elevation (USGS): None None


PRECIPITATION FREQUENCY ESTIMATES
by duration for ARI (years):, 1,2,5,10,25,50,100
5-min:, 0.553,0.620,0.731,0.822,0.950,1.05,1.15
10-min:, 0.810,0.908,1.07,1.20,1.39,1.54,1.68
15-min:, 0.988,1.11,1.30,1.47,1.70,1.87,2.05
30-min:, 1.60,1.79,2.11,2.37,2.74,3.02,3.31
60-min:, 2.14,2.38,2.79,3.13,3.62,4.00,4.38
2-hr:, 2.69,2.98,3.47,3.90,4.49,4.97,5.46
24-hr:, 4.01,4.76,6.09,7.28,9.05,10.5,12.1
2-day:, 4.94,5.57,6.77,7.94,9.80,11.4,13.3

Date/time (GMT):  Mon Jan  1 00:00:00 2024
pyRunTime:  0.01
"""
LIMITS = DEPTHS.split("\nDate")[0] + """

PRECIPITATION FREQUENCY ESTIMATES: UPPER LIMIT
by duration for ARI (years):, 1,2,5,10,25,50,100
5-min:, 0.7,0.8,0.9,1.0,1.2,1.3,1.4

PRECIPITATION FREQUENCY ESTIMATES: LOWER LIMIT
by duration for ARI (years):, 1,2,5,10,25,50,100
5-min:, 0.4,0.5,0.6,0.7,0.8,0.9,1.0
"""


@pytest.fixture
def read(tmp_path):
    def run(text, name="rain.csv"):
        path = tmp_path / name
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return read_rain_table(path)

    return run


def test_our_own_table(read):
    rain = read("# Invented\n" + OWN)
    assert rain.durations.tolist() == [300.0, 3600.0, 86400.0]
    assert rain.return_periods.tolist() == [2.0, 10.0]
    np.testing.assert_allclose(rain.depths, np.array([[0.6, 0.8], [2.4, 3.1], [4.8, 7.3]]) * INCH)
    assert (rain.series, rain.source) == ("unknown", "rain.csv; Invented")


def test_millimetres_and_rows_and_columns_in_any_order(read):
    rain = read("depth_mm_10yr,duration_min,depth_mm_2yr\n78.7,60,61\n20,5,15\n")
    assert rain.durations.tolist() == [300.0, 3600.0]
    np.testing.assert_allclose(rain.depths, [[0.015, 0.020], [0.061, 0.0787]])


def test_a_spreadsheets_mark_and_line_ends(read):
    assert read(b"\xef\xbb\xbf" + OWN.replace("\n", "\r\n").encode()).depths.shape == (3, 2)


@pytest.mark.parametrize(
    "text, message",
    [
        ("", "is empty; it needs a header and rows"),
        ("# only this\n", "is empty"),
        ("duration_min,depth_in_2yr\n", "has a header and no rows"),
        ("minutes,depth_in_2yr\n5,1\n", "has no column duration_min"),
        ("duration_min\n5\n", "has no column of depths"),
        ("duration_min,depth_in_2yr,depth_mm_5yr\n5,1,30\n", "has columns in inches and in millimetres"),
        ("duration_min,depth_2yr\n5,1\n", "column depth_2yr is not known"),
        ("duration_min,depth_in_2yr,depth_in_2yr\n5,1,2\n", "column depth_in_2yr stands in the header twice"),
        ("duration_min;depth_in_2yr\n5;1\n", "is separated by semicolons"),
        ("duration_min,depth_in_2yr\n5\n", "line 2 has 1 values for 2 columns"),
        ("duration_min,depth_in_2yr\n5,x\n", 'line 2, column depth_in_2yr: "x" is no number'),
        ("duration_min,depth_in_2yr\n5,nan\n", 'column depth_in_2yr: "nan" is no number'),
        ("duration_min,depth_in_2yr\n5,inf\n", 'column depth_in_2yr: "inf" is no number'),
        ("duration_min,depth_in_2yr\n5,-1\n", "line 2, column depth_in_2yr: a depth of -1 in is no rain"),
        ("duration_min,depth_in_2yr\n5,0\n", "line 2, column depth_in_2yr: a depth of 0 in is no rain"),
        ("duration_min,depth_in_2yr\n5,9999\n", "is no rain; depths are more than zero and less than 590.6 in"),
        ("duration_min,depth_in_2yr\n0,1\n", "line 2: the duration is not more than zero"),
        ("duration_min,depth_in_2yr\n5e-324,1\n", "duration is out of range; it may be from 1 min to 100 d"),
        ("duration_min,depth_in_9999999yr\n5,1\n", "the return period is out of range"),
        ("duration_min,depth_in_2yr\n5,1\n5,2\n", "line 3: the duration stands in the table twice"),
        ("duration_min,depth_in_2yr,depth_in_2.0yr\n5,1,2\n", "the return period stands in the table twice"),
        (
            "# a comment\nduration_min,depth_in_2yr,depth_in_10yr\n5,0.6,0.8\n60,2.4,0.7\n",
            "line 4, column depth_in_10yr: the depth falls as the duration grows, from 0.8 to 0.7 in",
        ),
        (
            "duration_min,depth_in_2yr,depth_in_10yr\n5,0.6,0.5\n",
            "line 2, column depth_in_10yr: the depth falls as the return period grows, from 0.6 to 0.5 in",
        ),
    ],
)
def test_what_is_refused(read, text, message):
    with pytest.raises(TableError) as caught:
        read(text)
    assert message in str(caught.value)
    assert "rain table rain.csv" in str(caught.value)


def test_missing_and_no_text(tmp_path):
    with pytest.raises(InputFileError, match="does not exist"):
        read_rain_table(tmp_path / "no.csv")
    (tmp_path / "b.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(TableError, match="no text in UTF-8"):
        read_rain_table(tmp_path / "b.csv")


@pytest.mark.parametrize(
    "text", [DEPTHS, LIMITS, DEPTHS.replace("\n", "\r\n"), "\n" + DEPTHS.replace("Volume 9 V", "Volume 9, V")]
)
def test_the_agencys_depths(read, text):
    rain = read(text)
    assert rain.durations.tolist() == [300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 86400.0, 172800.0]
    assert rain.return_periods.tolist() == [1.0, 2.0, 5.0, 10.0, 25.0, 50.0, 100.0]
    # Atlas 14, the same file: 10-year depths of 5, 15 and 60 minutes and of a day
    assert rain.depths[[0, 2, 4, 6], 3] / INCH == pytest.approx([0.822, 1.47, 3.13, 7.28])
    assert rain.series == "partial_duration"


def test_volume_and_version_stay_with_the_depths(read):
    assert "NOAA Atlas 14 Volume 9 Version 2" in read(DEPTHS).source


@pytest.mark.parametrize("lines", [0, 3, 5])
def test_the_preamble_may_be_of_any_length(read, lines):
    head, body = DEPTHS.split("\n\n\n")
    assert read(head + "\n" * (lines + 1) + body).depths.shape == (8, 7)


def test_limits_before_the_estimates_are_passed_over(read):
    upper = LIMITS.split("\n\nPRECIPITATION FREQUENCY ESTIMATES: UPPER")[1].split("\n\n")[0]
    head, body = DEPTHS.split("\n\n\n")
    rain = read(f"{head}\n\nUPPER BOUND OF 90 PERCENT CONFIDENCE INTERVAL{upper.replace(' LIMIT', '')}\n\n{body}")
    assert rain.depths[0, 0] / INCH == pytest.approx(0.553)


def test_millimetres(read):
    rain = read(DEPTHS.replace("(inches)", "(millimeters)"))
    assert rain.depths[6, 6] == pytest.approx(0.0121)


def test_intensities_become_depths(read):
    text = (
        "Point precipitation frequency estimates (inches/hour)\nNOAA Atlas 14 Volume 9 Version 2\n"
        "Data type: Precipitation intensity\nTime series type: Partial duration\n\nPRECIPITATION FREQUENCY ESTIMATES\n"
        "by duration for ARI (years):, 2,10\n5-min:, 7.44,9.86\n60-min:, 2.38,3.13\n24-hr:, 0.198,0.303\n"
    )
    rain = read(text)
    assert rain.source.endswith("printed as intensities, here times their durations")
    assert "intensities" not in read(DEPTHS).source
    # intensity times duration: 9.864 in/h for 5 minutes is 0.822 in
    assert rain.depths[0] / INCH == pytest.approx([0.62, 0.822], abs=5e-4)
    assert rain.depths[2] / INCH == pytest.approx([24 * 0.198, 24 * 0.303])


def test_a_fall_that_is_only_the_rounding_of_intensities_is_levelled(read):
    # whole millimetres an hour: 10 h at 5 is 50 mm and 12 h at 4 is 48 mm, yet within half a unit they may be alike
    text = (
        "Point precipitation frequency estimates (millimeters/hour)\nData type: Precipitation intensity\n"
        "by duration for ARI (years):, 2\n6-hr:, 7\n10-hr:, 5\n12-hr:, 4\n"
    )
    assert read(text).depths[:, 0] == pytest.approx([0.042, 0.050, 0.050])
    with pytest.raises(TableError, match=r"line 6 \(12-hr\), column 2 yr: the depth falls as the duration grows"):
        read(text.replace("12-hr:, 4", "12-hr:, 3"))


def test_annual_maxima_by_exceedance_probability(read):
    text = DEPTHS.replace("Partial duration", "Annual maximum").replace(
        "by duration for ARI (years):, 1,2,5,10,25,50,100",
        "by duration for AEP:, '1/2,'1/5,'1/10,'1/25,'1/50,'1/100,'1/200",
    )
    rain = read(text)
    assert rain.return_periods.tolist() == [2.0, 5.0, 10.0, 25.0, 50.0, 100.0, 200.0]
    assert rain.series == "annual_maximum"


@pytest.mark.parametrize("heading", ["0.5,0.2,0.1,0.04,0.02,0.01,0.005", "50%,20%,10%,4%,2%,1%,0.5%"])
def test_probabilities_as_numbers(read, heading):
    rain = read(DEPTHS.replace("by duration for ARI (years):, 1,2,5,10,25,50,100", f"by duration for AEP:, {heading}"))
    assert rain.return_periods == pytest.approx([2.0, 5.0, 10.0, 25.0, 50.0, 100.0, 200.0])


@pytest.mark.parametrize(
    "old, new, message",
    [
        ("(inches)", "(furlongs)", 'its unit "furlongs" is not known'),
        ("Point precipitation frequency estimates (inches)\n", "", 'no line says "Point precipitation frequency'),
        ("by duration for ARI (years):, 1,2,5,10,25,50,100", "durations", 'no header "by duration for ARI (years):"'),
        ("1,2,5,10,25,50,100\n", "1,2,5,10,25,50,x\n", 'the header "x" is no return period'),
        (",10.5,12.1\n", ",10.5\n", "line 20 (24-hr:) has 6 values for 7 return periods"),
        ("0.822", "n/a", 'line 14 (5-min:): "n/a" is no number'),
        ("0.822", "-9.000", "line 14 (5-min), column 10 yr: a depth of -9 in is no rain"),
        ("0.822", "0.5", "line 14 (5-min), column 10 yr: the depth falls as the return period grows"),
        ("10-min:, 0.810", "10-min:, 0.5", "line 15 (10-min), column 1 yr: the depth falls as the duration grows"),
        ("10-min:", "5-min:", "line 15 (5-min): the duration stands in the table twice"),
    ],
)
def test_an_agency_table_that_is_refused(read, old, new, message):
    assert old in DEPTHS
    with pytest.raises(TableError) as caught:
        read(DEPTHS.replace(old, new))
    assert message in str(caught.value)


def test_a_header_without_rows(read):
    with pytest.raises(TableError, match="no row of a duration stands under the header"):
        read(DEPTHS.split("5-min")[0])


@given(st.data())
def test_a_spoilt_table_reads_or_gives_one_message(tmp_path_factory, data):
    text = data.draw(st.sampled_from([DEPTHS, LIMITS, OWN]))
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(text)))
        end = min(start + data.draw(st.integers(0, 30)), len(text))
        spoilt = data.draw(st.sampled_from(["", ",", "\n", "-", "0", "9", "/", "%", "x", ":", "e9"]))
        text = text[:start] + spoilt + text[end:]
    path = tmp_path_factory.getbasetemp() / "spoilt.csv"
    path.write_text(text)
    try:
        rain = read_rain_table(path)
    except TableError as error:
        assert "rain table spoilt.csv" in str(error)  # noqa: PT017
    else:
        assert (rain.depths > 0.0).all()
        assert (np.diff(rain.depths, axis=0) >= 0.0).all()
        assert (np.diff(rain.depths, axis=1) >= 0.0).all()
