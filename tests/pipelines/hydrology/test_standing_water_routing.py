"""Level-pool routing: mass to round-off whatever leaves by whatever way, and limits with known answers."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.optimize import brentq

from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.ratings import StageOutflow
from pipelines.hydrology.errors import StorageError
from pipelines.hydrology.pool_kernel import route_pool
from pipelines.hydrology.pool_rates import PoolRates
from pipelines.hydrology.standing_water import route_storage
from pipelines.hydrology.storage import StageStorage
from pipelines.hydrology.sub_catchment import Hydrograph


def storage_of(levels, areas):
    """A storage whose area is linear between levels, finely divided, since its volume is not."""
    fine = np.unique(np.concatenate([np.linspace(a, b, 17) for a, b in itertools.pairwise(levels)]))
    wetted = np.interp(fine, levels, areas)
    volumes = np.concatenate([[0.0], np.cumsum(0.5 * (wetted[1:] + wetted[:-1]) * np.diff(fine))])
    return StageStorage(fine, wetted, volumes)


POND = storage_of([0.0, 0.1, 0.25], [2.0, 30.0, 80.0])
PIPE = StageOutflow(np.array([0.02, 0.05, 0.25]), np.array([0.0, 0.002, 0.006]))
FLOOD = Hydrograph(30.0, np.interp(np.arange(240) * 30.0, [0, 1800, 5400], [0, 0.012, 0]))


@given(
    arrays(np.float64, st.integers(1, 80), elements=st.floats(0.0, 0.05)),
    st.sampled_from([0.0, 1e-7, 4e-6, 1e-3]),
    st.sampled_from([None, PIPE]),
    st.floats(0.0, 1.0),
    st.sampled_from([5.0, 30.0, 600.0]),
    st.sampled_from([0.5, 1.0]),
)
def test_water_balances(flow, rate, outflow, filled, step, weight):
    routed = route_storage(
        Hydrograph(step, flow),
        POND,
        infiltration_rate=rate,
        outflow=outflow,
        start_volume=filled * POND.capacity,
        weight_of_end=weight,
    )
    whole = max(routed.inflow_volume + routed.start_volume, 1e-9)
    assert abs(routed.balance) <= 1e-9 * whole
    assert (routed.volumes >= 0.0).all()
    assert (routed.volumes <= POND.capacity * (1 + 1e-12)).all()
    for part in (routed.outflow, routed.spill):
        assert (part.flow >= -1e-12).all()
    assert routed.infiltrated >= -1e-12


@pytest.mark.parametrize("rate", [2e-6, 1e-5, 4e-5])
def test_a_pond_with_upright_sides_fills_by_what_comes_less_what_its_bottom_takes(rate):
    """V = (q - f A) t while it rains, and an emptying at f: both exact for one area."""
    area, flow, steps = 40.0, 0.003, 120
    pond = StageStorage(np.array([0.0, 1.0]), np.array([area, area]), np.array([0.0, area]))
    routed = route_storage(Hydrograph(30.0, np.full(steps, flow)), pond, infiltration_rate=rate, tolerable_depth=0.05)
    filled = (flow - rate * area) * 30.0 * steps
    # the first water of a dry pond soaks less until the bottom is covered: half a fine level
    assert routed.volumes[-1] == pytest.approx(filled, rel=2e-3)
    rising, falling = 0.05 * area / (flow - rate * area), (filled / area - 0.05) / rate
    assert routed.time_over(0.05) == pytest.approx(30.0 * steps - rising + falling, rel=0.01)


def test_a_closed_pond_keeps_its_capacity_and_spills_the_rest():
    routed = route_storage(FLOOD, POND)
    assert routed.final_volume == pytest.approx(POND.capacity)
    assert routed.spill.volume == pytest.approx(FLOOD.volume - POND.capacity)
    assert routed.stands_at_end
    assert routed.depth == pytest.approx(0.25)


def test_water_that_only_soaks_falls_at_the_soil_s_rate():
    """A full pond 0.25 m deep, soil that takes 1e-5 m/s, 5 cm put up with: 20,000 s, whatever its shape."""
    dry = Hydrograph(30.0, np.zeros(1))
    routed = route_storage(dry, POND, infiltration_rate=1e-5, start_volume=POND.capacity, tolerable_depth=0.05)
    assert routed.time_above == pytest.approx(20000.0, rel=0.005)
    assert not routed.stands_at_end
    assert routed.final_volume == pytest.approx(0.0, abs=1e-12)


@given(st.floats(0.0, 2e-5), st.floats(0.0, 0.2), st.floats(0.0, 0.3), st.floats(0.0, 0.3), st.booleans())
def test_no_depth_is_exceeded_for_longer_than_a_lesser_one(rate, sill, first, second, piped):
    """Water over what is tolerated stands no longer than water over a film, drained by a pipe or by the soil alone."""
    pipe = StageOutflow(np.array([sill, sill + 0.1]), np.array([0.0, 0.005])) if piped else None
    routed = route_storage(FLOOD, POND, infiltration_rate=rate, outflow=pipe, watched=86400.0)
    low, high = sorted((first, second))
    assert routed.time_over(high) <= routed.time_over(low)


def test_what_a_pipe_leaves_standing_falls_on_at_the_soil_s_rate():
    """A pipe that begins 0.1 m over the bottom: below it the soil alone takes what stands, at 1e-7 m/s."""
    pond = StageStorage(np.array([0.0, 1.0]), np.array([40.0, 40.0]), np.array([0.0, 40.0]))
    pipe = StageOutflow(np.array([0.1, 0.2]), np.array([0.0, 0.01]))
    dry = Hydrograph(30.0, np.zeros(1))
    routed = route_storage(dry, pond, infiltration_rate=1e-7, outflow=pipe, start_volume=4.0, watched=86400.0)
    for depth in (0.02, 0.05, 0.08):
        assert routed.time_over(depth) == pytest.approx((0.1 - depth) / 1e-7, rel=0.01)


def test_depth_at_a_time_is_what_was_routed_and_falls_on_at_the_soil_s_rate():
    pond = storage_of([0.0, 1.0], [10.0, 10.0])
    water = route_storage(Hydrograph(600.0, np.full(4, 0.005)), pond, infiltration_rate=1e-6, watched=3600.0)
    steps = np.arange(water.depths.size)
    assert water.depth_at(steps * water.step) == pytest.approx(water.depths, abs=1e-12)
    # upright sides: an hour takes an hour's soaking, down to the bottom and no further
    end, last = steps[-1] * water.step, water.depths[-1]
    assert last > 0.5
    later = np.array([3600.0, 36_000.0, 1e9])
    assert water.depth_at(end + later) == pytest.approx(np.maximum(last - 1e-6 * later, 0.0), rel=1e-9)
    assert water.depth_at(np.array([water.time_over(0.1) - 1.0]))[0] >= 0.1


def test_water_that_never_leaves_stands_to_the_end_of_the_watch():
    routed = route_storage(Hydrograph(30.0, np.array([0.01])), POND, watched=3600.0)
    assert routed.stands_at_end
    assert routed.time_above == pytest.approx(3630.0)


def test_linear_reservoir_empties_exponentially():
    """V = V0 exp(-t / K): the implicit step is first order, the modified Puls second."""
    storage = storage_of([0.0, 1.0], [1000.0, 1000.0])
    drain = StageOutflow(np.array([0.0, 1.0]), np.array([0.0, 1.0]))
    errors = {}
    for weight in (1.0, 0.5):
        for step in (100.0, 50.0):
            count = int(1000 / step)
            routed = route_storage(
                Hydrograph(step, np.zeros(count)), storage, outflow=drain, start_volume=1000.0, watched=0.0,
                weight_of_end=weight,
            )
            errors[weight, step] = abs(routed.volumes[count] / 1000.0 - np.exp(-1.0))
    assert errors[1.0, 100.0] / errors[1.0, 50.0] == pytest.approx(2.0, rel=0.1)
    assert errors[0.5, 100.0] / errors[0.5, 50.0] == pytest.approx(4.0, rel=0.1)


@given(st.floats(0.0, 2e-5), st.floats(0.0, 2e-5))
def test_thirstier_soil_means_less_and_shorter_water(first, second):
    slow, quick = (route_storage(FLOOD, POND, infiltration_rate=rate) for rate in sorted((first, second)))
    assert quick.depth <= slow.depth + 1e-12
    assert quick.time_above <= slow.time_above + 1e-6
    assert quick.spill.volume <= slow.spill.volume + 1e-9


@given(st.floats(0.01, 1.0), st.floats(0.01, 1.0))
def test_more_water_stands_deeper(first, second):
    small, large = (
        route_storage(Hydrograph(30.0, FLOOD.flow * part), POND, infiltration_rate=2e-6, outflow=PIPE)
        for part in sorted((first, second))
    )
    assert small.depth <= large.depth + 1e-12
    assert small.spill.volume <= large.spill.volume + 1e-12


@pytest.mark.parametrize(
    "change, said",
    [
        ({"infiltration_rate": -1.0}, "infiltration rate is -1"),
        ({"start_volume": 1e6}, "start volume 1e[+]06 m3: give 0 to the capacity"),
        ({"tolerable_depth": np.nan}, "tolerable depth is nan"),
        ({"weight_of_end": 0.3}, "give 0.5 to 1"),
    ],
)
def test_what_cannot_be_is_refused(change, said):
    with pytest.raises(StorageError, match=said):
        route_storage(FLOOD, POND, **change)


def test_storages_and_ratings_that_cannot_be_are_refused():
    with pytest.raises(StorageError, match="levels or volumes don't increase"):
        StageStorage(np.array([0.0, 0.0]), np.array([1.0, 1.0]), np.array([0.0, 1.0]))
    with pytest.raises(StorageError, match=r"its first volume is 3 m3 rather than 0"):
        StageStorage(np.array([0.0, 1.0]), np.array([1.0, 1.0]), np.array([3.0, 4.0]))
    with pytest.raises(StorageError, match="areas fall with level"):
        storage_of([0.0, 1.0], [2.0, 1.0])
    for levels, flows in (([0.0, 1.0], [0.0]), ([0.0], [0.0]), ([], [])):
        with pytest.raises(HydraulicsError, match="two levels or more, and one flow a level"):
            StageOutflow(np.array(levels), np.array(flows))
    with pytest.raises(HydraulicsError, match="levels that increase"):
        StageOutflow(np.array([0.0, 1.0]), np.array([1.0, 0.0]))


@given(
    arrays(np.float64, st.integers(1, 40), elements=st.floats(0.0, 0.05)),
    st.sampled_from([1e-7, 4e-6, 1e-3]),
    st.sampled_from([(), (PIPE,)]),
    st.floats(0.0, 1.0),
    st.sampled_from([0.5, 1.0]),
)
def test_the_compiled_steps_solve_what_the_notes_say(flow, rate, outlets, filled, weight):
    """Each step against the root of its own equation, by SciPy, over the same rates."""
    rates, step = PoolRates(POND, rate, outlets), 30.0
    given_to_kernel = (
        flow, step, weight, filled * POND.capacity, 0.0, rates.volumes, rates.ground, rates.losses[None],
        np.zeros(1, dtype=np.int64), step,
    )  # fmt: skip
    held, left, spilt, soaked = route_pool(*given_to_kernel)

    def lost(volume):
        return float(np.interp(volume, rates.volumes, rates.losses))

    volume = filled * POND.capacity
    for number, coming in enumerate(flow, start=1):
        wanted = volume + step * (coming - (1.0 - weight) * lost(volume))
        unknown = lambda end, wanted=wanted: end + weight * step * lost(end) - wanted  # noqa: E731
        end = brentq(unknown, 0.0, wanted + 1.0, xtol=1e-12) if unknown(0.0) < 0.0 else 0.0
        over = max(0.0, end - POND.capacity)
        assert held[number] == pytest.approx(end - over, abs=1e-8)
        assert step * spilt[number] == pytest.approx(over, abs=1e-8)
        volume = end - over
    out = step * (left.sum() + spilt.sum()) + soaked
    assert out == pytest.approx(step * flow.sum() + held[0] - held[-1], abs=1e-9)
    for plain, compiled in zip(route_pool.py_func(*given_to_kernel), (held, left, spilt, soaked), strict=True):
        np.testing.assert_array_equal(plain, compiled)
