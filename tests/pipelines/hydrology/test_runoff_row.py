"""A row of the runoff table: one excess feeds volume and hydrograph, the rational peak stands beside it."""

import math

import numpy as np
import pytest
from shapely import box

from pipelines.hydrology.flow_path import along_path
from pipelines.hydrology.hydrographs import add_hydrographs, rational_peak
from pipelines.hydrology.losses import composite_coefficient, dry_and_wet, runoff_of_shares
from pipelines.hydrology.rain.design_rain import rain_given
from pipelines.hydrology.runoff_table import STEP, runoff_bounds, sub_catchment_runoff
from pipelines.hydrology.surfaces import surface_share

RAIN = rain_given(0.06, 3600.0, two_year_24h_depth=0.08, distribution="constant")
LOT = (surface_share("lawn, fair", 800.0, "B"), surface_share("roof", 200.0, "B"))


def travel(length):
    distance = np.linspace(0.0, length, 41)
    return along_path(distance, 5.0 - 0.02 * distance, ["lawn_fair"] * 40, two_year_24h_depth=0.08)


def row(shares=LOT, length=40.0, rain=RAIN):
    return sub_catchment_runoff("area-1", "edge_n", shares, travel(length), rain, shape=box(0, 0, 40, 25))


def test_volume_depth_and_hydrograph_are_one_water():
    found = row()
    assert found.hydrograph.volume == pytest.approx(found.runoff_volume, rel=1e-9)
    assert found.runoff_volume == pytest.approx(found.runoff_depth * found.area, rel=1e-12)
    assert found.runoff_depth == pytest.approx(runoff_of_shares(0.06, LOT), rel=1e-9)
    assert found.storm_depth == pytest.approx(0.06)
    assert found.hydrograph.step == STEP


def test_rational_peak_is_c_i_a_at_the_time_of_concentration():
    found = row()
    assert found.intensity == RAIN.intensity(found.time_of_concentration)
    assert found.rational_peak == rational_peak(composite_coefficient(LOT), found.intensity, 1000.0)
    assert found.impervious_fraction == pytest.approx(0.2)
    assert found.area == sum(share.area for share in found.shares)


def test_peaks_of_two_grounds_do_not_add():
    near, far = row(length=20.0), row(length=250.0)
    both = add_hydrographs([near.hydrograph, far.hydrograph])
    assert max(near.hydrograph.peak, far.hydrograph.peak) < both.peak < near.hydrograph.peak + far.hydrograph.peak
    assert both.volume == pytest.approx(near.runoff_volume + far.runoff_volume, rel=1e-9)


def test_dry_and_wet_ground_bound_the_row():
    dry, wet = dry_and_wet(LOT)
    rows = [row(), row(length=90.0)]
    bounds = runoff_bounds(rows)
    assert bounds.dry < sum(each.runoff_volume for each in rows) < bounds.wet
    assert bounds.dry == pytest.approx(2 * row(dry).runoff_volume, rel=1e-9)
    assert bounds.wet == pytest.approx(2 * row(wet).runoff_volume, rel=1e-9)


def test_the_rational_method_says_nothing_of_large_ground():
    large = row((surface_share("lawn, fair", 90e4, "B"),))
    assert math.isnan(large.rational_peak)
    assert large.hydrograph.peak > 0.0


def test_rain_that_never_runs_off_makes_an_empty_hydrograph():
    sand = (surface_share("woods, good", 500.0, "A", compacted=False),)
    found = row(sand, rain=rain_given(0.01, 3600.0, two_year_24h_depth=0.08, distribution="constant"))
    assert found.runoff_volume == 0.0
    assert found.hydrograph.peak == 0.0
