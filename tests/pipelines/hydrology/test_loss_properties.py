"""Losses and surfaces: bounds, limits, and the tables' own sense."""

import csv
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydrology.errors import SurfaceError
from pipelines.hydrology.losses import (
    composite_curve_number,
    curve_number_dry,
    curve_number_wet,
    dry_and_wet,
    effective_curve_numbers,
    excess_of_shares,
    runoff_curve_number,
    runoff_depths,
    runoff_of_shares,
)
from pipelines.hydrology.rain.storms import nrcs_storm
from pipelines.hydrology.sub_catchment import SurfaceShare
from pipelines.hydrology.surfaces import (
    coefficient_range,
    curve_number,
    frequency_factor,
    infiltration_rate,
    runoff_coefficient,
    soil_group,
    surface_of,
    surface_share,
)

NUMBERS = st.floats(5.0, 100.0)
RAINS = st.floats(0.0, 0.5)


def share(area, number, *, impervious=False, connected=True):
    return SurfaceShare("any", area, number, 0.3, impervious, connected)


@given(RAINS, RAINS, NUMBERS)
def test_runoff_rises_with_rain_but_never_faster(first, second, number):
    less, more = sorted((first, second))
    low, high = runoff_curve_number(less, number), runoff_curve_number(more, number)
    assert 0.0 <= low <= high + 1e-15
    assert high <= more + 1e-15
    assert high - low <= more - less + 1e-12


@given(RAINS, NUMBERS, NUMBERS)
def test_runoff_rises_with_curve_number(rain, first, second):
    low, high = sorted((first, second))
    assert runoff_curve_number(rain, low) <= runoff_curve_number(rain, high) + 1e-15


@given(RAINS)
def test_nothing_is_retained_at_100(rain):
    assert runoff_curve_number(rain, 100.0) == pytest.approx(rain)


@pytest.mark.parametrize("number", [0.0, -5.0, 100.1, np.inf])
def test_curve_number_out_of_range_is_refused(number):
    with pytest.raises(SurfaceError, match="give one above 0, at most 100"):
        runoff_curve_number(0.1, number)


@pytest.mark.parametrize("rain", [-0.01, np.nan, np.inf])
def test_rain_that_means_nothing_is_refused(rain):
    with pytest.raises(SurfaceError, match="negative or not finite"):
        runoff_depths(np.array([0.1, rain]), 80.0)


@given(st.lists(st.tuples(st.floats(1.0, 500.0), NUMBERS, st.booleans(), st.booleans()), min_size=1, max_size=5))
def test_excess_of_a_storm_adds_up_to_its_runoff(parts):
    ground = [share(a, n, impervious=i, connected=c) for a, n, i, c in parts]
    storm = nrcs_storm(0.12, "II")
    excess = excess_of_shares(storm, ground)
    assert (excess >= -1e-18).all()
    assert excess.sum() == pytest.approx(runoff_of_shares(storm.depth, ground), rel=1e-9, abs=1e-15)


def test_unconnected_roof_sheds_less_until_a_third_of_the_ground_is_roof():
    def lot(roof, connected):
        return [share(1 - roof, 61), share(roof, 98, impervious=True, connected=connected)]

    assert effective_curve_numbers(lot(0.2, False)) == (61, 79.5)
    assert runoff_of_shares(0.08, lot(0.2, False)) < runoff_of_shares(0.08, lot(0.2, True))
    assert effective_curve_numbers(lot(0.3, False)) == (61, 98)
    assert effective_curve_numbers([share(1, 98, impervious=True, connected=False)]) == (98,)


@given(st.floats(0.01, 0.29), st.floats(0.0, 1.0))
def test_pieces_make_the_published_composite(impervious, unconnected):
    ground = [
        share(1 - impervious, 70.0),
        share(impervious * (1 - unconnected), 98, impervious=True),
        share(impervious * unconnected, 98, impervious=True, connected=False),
    ]
    published = 70.0 + impervious * 28.0 * (1 - 0.5 * unconnected)
    assert composite_curve_number(ground) == pytest.approx(published, rel=1e-12)


@given(NUMBERS)
def test_dry_and_wet_lie_on_either_side(number):
    assert curve_number_dry(number) <= number + 1e-9
    assert curve_number_wet(number) >= number - 1e-9


def test_bounds_leave_roofs_alone():
    dry, wet = dry_and_wet([share(1, 80), share(1, 98, impervious=True)])
    assert [s.curve_number for s in dry] == [63, 98]
    assert [s.curve_number for s in wet] == [91, 98]


def test_every_surface_has_all_its_numbers():
    table = files("pipelines.hydrology").joinpath("curve_numbers.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(table.splitlines()):
        key = row["surface"]
        assert row["source"]
        assert row["mark"] in ("published", "memory", "common practice")
        numbers = [curve_number(key, group) for group in "ABCD"]
        assert numbers == sorted(numbers)
        for group in "ABCD":
            for slope in (0.0, 0.02, 0.07, 0.5):
                found = coefficient_range(key, group, slope)
                assert 0.0 < found.low <= found.high <= 1.0


def test_words_of_a_site_file_find_their_surface():
    assert surface_of("lawn, fair").key == "lawn_fair"
    assert surface_of("Lawn").key == "lawn_fair"
    assert surface_of("woods, poor").key == "woods_poor"
    with pytest.raises(SurfaceError, match='"moss" is not in the table: give one of roof, paved'):
        surface_of("moss")


def test_compacted_soil_is_one_group_worse():
    assert [soil_group(g) for g in "ABCD"] == ["B", "C", "D", "D"]
    assert soil_group("b/d", compacted=False) == "D"
    with pytest.raises(SurfaceError, match="give A, B, C or D"):
        soil_group("E")
    assert surface_share("lawn, fair", 10.0, "B").curve_number == 79
    assert surface_share("lawn, fair", 10.0, "B", compacted=False).curve_number == 69


def test_coefficient_rises_with_rarity_and_stops_at_one():
    factors = [frequency_factor(years) for years in (1, 2, 10, 11, 25, 40, 50, 80, 100, 500)]
    assert factors == sorted(factors)
    assert factors[0] == 1.0
    assert factors[-1] == 1.25
    assert frequency_factor(None) == 1.0
    assert runoff_coefficient("roof", "A", 0.0, return_period=100) == 1.0


def test_soaking_gets_slower_from_group_to_group():
    rates = [infiltration_rate(group, compacted=False) for group in "ABCD"]
    assert [rate.likely for rate in rates] == sorted((rate.likely for rate in rates), reverse=True)
    assert all(rate.source for rate in rates)
    assert infiltration_rate("C").likely == pytest.approx(0.06 * 0.0254 / 3600)


def test_ground_without_area_is_refused():
    with pytest.raises(SurfaceError, match="ground without area"):
        composite_curve_number([])
    with pytest.raises(SurfaceError, match="area is -1"):
        surface_share("roof", -1.0, "B")
