"""Storage at a pump: against cumulative sums, a triangle's own geometry, and the balance of water."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.pumping.sump_storage import route_through_pump, storage_needed

FLOWS = st.lists(st.floats(0.0, 0.02), min_size=1, max_size=60).map(np.array)


@given(FLOWS, st.floats(0.0, 0.02), st.sampled_from([10.0, 60.0, 300.0]))
def test_storage_is_the_greatest_rise_of_the_mass_curve_over_the_pump(inflow, delivered, step):
    # independent: the mass curve of inflow less pump, against its lowest point so far
    mass = np.concatenate([[0.0], np.cumsum((inflow - delivered) * step)])
    needed = float((mass - np.minimum.accumulate(mass)).max())
    assert storage_needed(inflow, step, delivered=delivered) == pytest.approx(needed, abs=1e-12)


@pytest.mark.parametrize("share", [0.1, 0.45, 0.9])
def test_a_triangle_needs_its_tip_over_the_pump(share):
    # exact by construction: the tip cut off at the pump's flow is a similar triangle
    peak, base, step = 0.01, 3600.0, 1.0
    middle = np.arange(0.5 * step, base, step)
    inflow = peak * (1.0 - np.abs(middle / base * 2.0 - 1.0))
    tip = 0.5 * peak * base * (1.0 - share) ** 2
    assert storage_needed(inflow, step, delivered=share * peak) == pytest.approx(tip, rel=1e-4)


@given(FLOWS, st.floats(0.0, 0.02), st.floats(0.0, 3.0))
def test_what_comes_is_pumped_stored_or_spilled(inflow, delivered, capacity):
    storm = route_through_pump(inflow, 60.0, delivered=delivered, capacity=capacity)
    out = (storm.pumped.sum() + storm.spilled.sum()) * 60.0
    assert inflow.sum() * 60.0 == pytest.approx(out + storm.stored[-1], abs=1e-9)
    assert storm.pumped.max() <= delivered + 1e-15
    assert storm.stored.min() >= 0.0
    assert storm.stored.max() <= capacity
    # nothing spills while there is room left, and the pump runs full while water waits
    assert storm.stored[1:][storm.spilled > 1e-12] == pytest.approx(capacity)
    assert storm.pumped[storm.stored[1:] > 1e-9] == pytest.approx(delivered, abs=1e-12)


@given(FLOWS, st.floats(0.0, 0.01))
def test_the_storage_needed_is_the_least_that_does_not_spill(inflow, delivered):
    needed = storage_needed(inflow, 60.0, delivered=delivered)
    enough = route_through_pump(inflow, 60.0, delivered=delivered, capacity=needed)
    assert enough.spilled.max() <= 1e-12
    if needed > 1e-6:
        short = route_through_pump(inflow, 60.0, delivered=delivered, capacity=0.99 * needed)
        assert short.spilled.sum() * 60.0 >= 0.01 * needed * (1.0 - 1e-6)


@pytest.mark.parametrize("wrong", [{"delivered": -1.0}, {"capacity": -1.0}, {"capacity": float("nan")}])
def test_numbers_that_mean_nothing_are_refused(wrong):
    with pytest.raises(HydraulicsError):
        route_through_pump(np.array([0.001]), 60.0, **({"delivered": 0.001, "capacity": 1.0} | wrong))
    with pytest.raises(HydraulicsError):
        route_through_pump(np.array([-0.001]), 60.0, delivered=0.001, capacity=1.0)
