"""The vertical unit: who is believed, and what is said where nobody knows."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from terrain.errors import GroundError
from terrain.reading.raster_source import open_raster
from terrain.reading.surface import read_window
from terrain.reading.vertical_unit import METRES_IN, decide_vertical_unit

# The international foot is 0.3048 m and the US survey foot 1200/3937 m: NIST Special Publication 811 (2008), B.6.
FOOT, SURVEY_FOOT = 0.3048, 0.304800609601219


def height(path, **options):
    source = open_raster(path, **options)
    surface = read_window(source, source.grid.bounds)
    return float(surface.elevation[0, 0]), surface


@pytest.mark.parametrize("unit, metres", [("m", 1.0), ("ft", FOOT), ("ftUS", SURVEY_FOOT)])
def test_the_unit_given_is_used(write_raster, unit, metres):
    value, surface = height(write_raster(np.full((3, 3), 1000.0)), unit=unit)
    assert value == pytest.approx(1000.0 * metres, rel=1e-14)
    assert (surface.vertical_unit, surface.vertical_unit_told_by) == (unit, "given")


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
    value, surface = height(write_raster(np.full((3, 3), 1000.0), crs=crs))
    assert value == pytest.approx(1000.0 * metres, rel=1e-14)
    assert (surface.vertical_unit, surface.vertical_unit_told_by) == (unit, "the vertical CRS")
    assert surface.warnings == ()
    assert surface.grid.frame.crs == CRS(crs).sub_crs_list[0]


@pytest.mark.parametrize(
    "tag, metres", [("m", 1.0), ("metre", 1.0), ("Feet", FOOT), ("foot", FOOT), ("US survey foot", SURVEY_FOOT),
                    ("us-ft", SURVEY_FOOT)]
)  # fmt: skip
def test_a_band_tag_tells_the_unit(write_raster, tag, metres):
    value, surface = height(write_raster(np.full((3, 3), 1000.0), unit=tag))
    assert value == pytest.approx(1000.0 * metres, rel=1e-14)
    assert surface.vertical_unit_told_by == "the band's unit tag"


def test_the_horizontal_unit_is_assumed_and_the_warning_says_what_being_wrong_means(write_raster):
    value, surface = height(write_raster(np.full((3, 3), 1000.0), crs="EPSG:2277"))
    assert value == pytest.approx(1000.0 * SURVEY_FOOT, rel=1e-14)
    (warning,) = surface.warnings
    assert "US survey feet is assumed" in warning
    assert "If they are in metres, every height, depth, slope and lift here is 3.28 times too small" in warning
    _, metric = height(write_raster(np.full((3, 3), 1000.0)))
    assert "If they are in feet, every height, depth, slope and lift here is 3.28 times too large" in metric.warnings[0]


def test_the_unit_given_wins_over_the_file_with_a_warning(write_raster):
    value, surface = height(write_raster(np.full((3, 3), 1000.0), crs="EPSG:6588+6360"), unit="m")
    assert value == 1000.0
    assert "read in metres as given, though the vertical CRS says US survey feet" in surface.warnings[0]


def test_the_vertical_crs_wins_over_the_band_tag_with_a_warning(write_raster):
    value, surface = height(write_raster(np.full((3, 3), 1000.0), crs="EPSG:6339+5703", unit="foot"))
    assert value == 1000.0
    assert "the vertical CRS says metres and the band's unit tag feet" in surface.warnings[0]


def test_a_tag_that_nobody_knows_is_passed_over_and_said(write_raster):
    _, surface = height(write_raster(np.full((3, 3), 1000.0), unit="cubits"))
    assert 'unit tag "cubits" is not known' in surface.warnings[0]
    assert surface.vertical_unit_told_by == "assumed from the horizontal unit"


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
    assert decide_vertical_unit(None, plain.to_3d(), None, plain, "ground.tif").told_by == "the vertical CRS"


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
