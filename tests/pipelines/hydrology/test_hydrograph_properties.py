"""Hydrographs: volume to round-off, peaks that don't add."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pipelines.hydrology.errors import HydrographError
from pipelines.hydrology.hydrographs import (
    add_hydrographs,
    rational_peak,
    runoff_hydrograph,
    time_to_peak_nrcs,
    unit_hydrograph_nrcs,
)
from pipelines.hydrology.sub_catchment import Hydrograph

EXCESS = arrays(np.float64, st.integers(1, 60), elements=st.floats(0.0, 0.01))
TIMES = st.floats(300.0, 7200.0)


@given(EXCESS, st.floats(1.0, 1e5), TIMES)
def test_hydrograph_holds_the_excess(excess, area, time):
    flood = runoff_hydrograph(excess, area, time, 30.0)
    assert flood.volume == pytest.approx(excess.sum() * area, rel=1e-9, abs=1e-12)
    assert (flood.flow >= 0.0).all()


@given(EXCESS, TIMES)
def test_ground_that_drains_more_slowly_peaks_lower(excess, time):
    quick = runoff_hydrograph(excess, 100.0, time, 30.0).peak
    slow = runoff_hydrograph(excess, 100.0, 2 * time, 30.0).peak
    assert slow <= quick * (1 + 1e-9)


@given(TIMES)
def test_peak_of_the_unit_hydrograph_is_near_the_triangle_s(time):
    """Peak factor 484 in ft3/s, mi2, in and h: 0.75 of the volume over the time to peak."""
    unit = unit_hydrograph_nrcs(time, 15.0)
    assert unit.max() == pytest.approx(0.75 / time_to_peak_nrcs(time, 15.0), rel=0.01)
    assert unit[0] == 0.0


def test_too_long_a_step_is_refused():
    with pytest.raises(HydrographError, match="longer than a quarter of the time to peak"):
        unit_hydrograph_nrcs(300.0, 300.0)


@given(st.lists(arrays(np.float64, 40, elements=st.floats(0.0, 1.0)), min_size=1, max_size=5))
def test_peaks_do_not_add_but_volumes_do(flows):
    parts = [Hydrograph(30.0, flow) for flow in flows]
    together = add_hydrographs(parts)
    assert together.peak <= sum(part.peak for part in parts) * (1 + 1e-12)
    assert together.peak >= max(part.peak for part in parts)
    assert together.volume == pytest.approx(sum(part.volume for part in parts), rel=1e-12)


def test_adding_wants_one_step_and_something_to_add():
    with pytest.raises(HydrographError, match=r"\[30.0, 60.0\] s can't be added"):
        add_hydrographs([Hydrograph(30.0, np.ones(3)), Hydrograph(60.0, np.ones(3))])
    with pytest.raises(HydrographError, match="give at least one"):
        add_hydrographs([])


def test_excess_that_means_nothing_is_refused():
    for excess in (np.array([]), np.array([-1.0]), np.array([np.nan])):
        with pytest.raises(HydrographError, match="empty, negative or not finite"):
            runoff_hydrograph(excess, 100.0, 600.0, 30.0)


def test_rational_method_has_a_largest_area():
    with pytest.raises(HydrographError, match="more than the 80 ha"):
        rational_peak(0.3, 1e-5, 90e4)
    assert rational_peak(0.0, 1e-5, 1e4) == 0.0
    with pytest.raises(HydrographError, match="intensity is -1"):
        rational_peak(0.3, -1.0, 1e4)
