"""The vertical unit: who is believed, and what is said where nobody knows."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from pipelines.deliverables.words.say import say
from terrain.errors import GroundError
from terrain.reading.raster_source import open_raster
from terrain.reading.surface import read_window
from terrain.reading.vertical_unit import METRES_IN, decide_vertical_unit

# The international foot is 0.3048 m and the US survey foot 1200/3937 m: NIST Special Publication 811 (2008), B.6.
FOOT, SURVEY_FOOT = 0.3048, 0.304800609601219


def height(path, **options):
    source = open_raster(path, **options)
    surface = read_window(source, source.grid.bounds)
    return float(surface.elevation[0, 0]), source.vertical.unit, source.vertical.told_by.code, surface.warnings


@pytest.mark.parametrize("unit, metres", [("m", 1.0), ("ft", FOOT), ("ftUS", SURVEY_FOOT)])
def test_the_unit_given_is_used(write_raster, unit, metres):
    value, *told, _ = height(write_raster(np.full((3, 3), 1000.0)), unit=unit)
    assert value == pytest.approx(1000.0 * metres, rel=1e-14)
    assert told == [unit, "unit_given"]


@pytest.mark.parametrize(
    "crs, metres, unit",
    [
        ("EPSG:6339+5703", 1.0, "m"),
        ("EPSG:6588+6360", SURVEY_FOOT, "ftUS"),
        ("EPSG:2277+8228", FOOT, "ft"),
        ("EPSG:6339+6360", SURVEY_FOOT, "ftUS"),
    ],
)
def test_a_vertical_crs_tells_the_unit_whatever_the_horizontal_one_is(write_raster, crs, metres, unit):
    path = write_raster(np.full((3, 3), 1000.0), crs=crs)
    value, *told, warnings = height(path)
    assert value == pytest.approx(1000.0 * metres, rel=1e-14)
    assert told == [unit, "unit_by_vertical_crs"]
    assert warnings == ()
    assert open_raster(path).grid.frame.crs == CRS(crs).sub_crs_list[0]


@pytest.mark.parametrize(
    "tag, metres", [("m", 1.0), ("metre", 1.0), ("Feet", FOOT), ("foot", FOOT), ("US survey foot", SURVEY_FOOT),
                    ("us-ft", SURVEY_FOOT)]
)  # fmt: skip
def test_a_band_tag_tells_the_unit(write_raster, tag, metres):
    value, _, told_by, _ = height(write_raster(np.full((3, 3), 1000.0), unit=tag))
    assert value == pytest.approx(1000.0 * metres, rel=1e-14)
    assert told_by == "unit_by_band_tag"


def test_the_horizontal_unit_is_assumed_and_the_warning_says_what_being_wrong_means(write_raster):
    value, _, _, (warning,) = height(write_raster(np.full((3, 3), 1000.0), crs="EPSG:2277"))
    assert value == pytest.approx(1000.0 * SURVEY_FOOT, rel=1e-14)
    said = say(warning, "us")
    assert "US survey feet are assumed" in said
    assert "If they are in meters, every height, depth, slope and lift here is 3.28 times too small" in said
    *_, (metric,) = height(write_raster(np.full((3, 3), 1000.0)))
    assert "If they are in feet, every height, depth, slope and lift here is 3.28 times too large" in say(metric, "us")


def test_the_unit_given_wins_over_the_file_with_a_warning(write_raster):
    value, *_, (warning,) = height(write_raster(np.full((3, 3), 1000.0), crs="EPSG:6588+6360"), unit="m")
    assert value == 1000.0
    assert "read in meters, as given, but the vertical CRS says US survey feet" in say(warning, "us")


def test_the_vertical_crs_wins_over_the_band_tag_with_a_warning(write_raster):
    value, *_, (warning,) = height(write_raster(np.full((3, 3), 1000.0), crs="EPSG:6339+5703", unit="foot"))
    assert value == 1000.0
    assert "the vertical CRS says meters and the band's unit tag feet" in say(warning, "us")


def test_a_tag_that_nobody_knows_is_passed_over_and_said(write_raster):
    _, _, told_by, (warning, _) = height(write_raster(np.full((3, 3), 1000.0), unit="cubits"))
    assert (warning.code, warning["tag"]) == ("unit_tag_ignored", "cubits")
    assert told_by == "unit_assumed"


def test_an_unknown_unit_is_refused(write_raster):
    with pytest.raises(GroundError, match='unknown vertical unit "yards"; it may be "m", "ft" or "ftUS"'):
        open_raster(write_raster(np.full((3, 3), 1.0)), unit="yards")


def test_depths_are_no_heights():
    depth = CRS("EPSG:5715")  # depths below mean sea level
    compound = CRS.from_wkt(
        f'COMPOUNDCRS["down",{CRS("EPSG:32610").to_wkt()},{depth.to_wkt()}]'
    )
    with pytest.raises(GroundError, match="counts depths downwards"):
        decide_vertical_unit(None, compound, None, CRS("EPSG:32610"), "ground.tif")


def test_three_dimensional_crs_tells_the_unit():
    plain = CRS("EPSG:32610")
    assert decide_vertical_unit(None, plain.to_3d(), None, plain, "ground.tif").told_by.code == "unit_by_vertical_crs"


@given(
    st.sampled_from(["m", "ft", "ftUS", None]),
    st.sampled_from(["EPSG:6339+5703", "EPSG:6339+6360", "EPSG:2277", "EPSG:32610"]),
    st.sampled_from(["m", "foot", "us-ft", None, ""]),
)
def test_the_order_of_belief(given_unit, crs, tag):
    read = CRS(crs)
    horizontal = read.sub_crs_list[0] if read.is_compound else read
    by_crs = {"EPSG:6339+5703": "m", "EPSG:6339+6360": "ftUS"}.get(crs)
    by_tag = {"m": "m", "foot": "ft", "us-ft": "ftUS"}.get(tag)
    by_map = "ftUS" if crs == "EPSG:2277" else "m"
    decided = decide_vertical_unit(given_unit, read, tag, horizontal, "ground.tif")
    assert decided.unit == (given_unit or by_crs or by_tag or by_map)
    assert decided.metres == METRES_IN[decided.unit]
    told = {unit for unit in (given_unit, by_crs, by_tag) if unit}
    # a warning where sources differ, or where there is none
    assert bool(decided.warnings) == (len(told) != 1)
