"""Level-pool routing: mass to round-off whatever leaves by whatever way, limits with known answers, and the floats."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.ratings import StageOutflow
from pipelines.hydrology.errors import StorageError
from pipelines.hydrology.standing_water import most_in_an_hour, route_storage
from pipelines.hydrology.storage import (
    FloatPump,
    StageStorage,
    above_sill,
    basin_storage,
    storage_of_levels,
    weir_rating,
)
from pipelines.hydrology.sub_catchment import Hydrograph

GAL = 0.003785411784
POND = storage_of_levels([0.0, 0.1, 0.25], [2.0, 30.0, 80.0])
PIPE = StageOutflow(np.array([0.02, 0.05, 0.25]), np.array([0.0, 0.002, 0.006]))
PUMP = FloatPump(0.003, 0.15, 0.03, 0.02)
FLOOD = Hydrograph(30.0, np.interp(np.arange(240) * 30.0, [0, 1800, 5400], [0, 0.012, 0]))


@given(
    arrays(np.float64, st.integers(1, 80), elements=st.floats(0.0, 0.05)),
    st.sampled_from([0.0, 1e-7, 4e-6, 1e-3]),
    st.sampled_from([None, PIPE]),
    st.sampled_from([None, PUMP]),
    st.floats(0.0, 1.0),
    st.sampled_from([5.0, 30.0, 600.0]),
    st.sampled_from([0.5, 1.0]),
)
def test_water_balances(flow, rate, outflow, pump, filled, step, weight):
    routed = route_storage(
        Hydrograph(step, flow),
        POND,
        infiltration_rate=rate,
        outflow=outflow,
        pump=pump,
        start_volume=filled * POND.capacity,
        weight_of_end=weight,
    )
    whole = max(routed.inflow_volume + routed.start_volume, 1e-9)
    assert abs(routed.balance) <= 1e-9 * whole
    assert (routed.volumes >= 0.0).all()
    assert (routed.volumes <= POND.capacity * (1 + 1e-12)).all()
    for part in (routed.outflow, routed.spill, routed.pumped):
        assert (part.flow >= -1e-12).all()
    assert routed.infiltrated >= -1e-12


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


def test_water_that_never_leaves_stands_to_the_end_of_the_watch():
    routed = route_storage(Hydrograph(30.0, np.array([0.01])), POND, watched=3600.0)
    assert routed.stands_at_end
    assert routed.time_above == pytest.approx(3630.0)


def test_linear_reservoir_empties_exponentially():
    """V = V0 exp(-t / K): the implicit step is first order, the modified Puls second."""
    storage = storage_of_levels([0.0, 1.0], [1000.0, 1000.0])
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


def test_a_wide_sill_holds_water_up_and_lets_it_all_by():
    sill = weir_rating(0.25, 3.0)
    routed = route_storage(FLOOD, above_sill(POND, 0.3), outflow=sill)
    assert 0.25 < routed.depth < 0.30
    assert routed.spill.volume == 0.0
    assert routed.outflow.volume == pytest.approx(FLOOD.volume - POND.capacity, rel=1e-3)
    assert routed.outflow.peak < FLOOD.peak


def test_worst_cycles_of_a_basin():
    """24 in across, 8 in between the floats, 40 gpm in the pump: half of that coming in starts it 38 times an hour."""
    basin = basin_storage(24 * 0.0254, 0.0, 30 * 0.0254)
    pump = FloatPump(40 * GAL / 60, 16 * 0.0254, 8 * 0.0254)
    steady = Hydrograph(30.0, np.full(480, 20 * GAL / 60))
    routed = route_storage(steady, basin, pump=pump)
    volume = np.pi / 4 * (24 * 0.0254) ** 2 * 8 * 0.0254
    assert routed.starts_per_hour == pytest.approx(3600 * 40 * GAL / 60 / (4 * volume), abs=1.0)
    assert routed.starts_per_hour == pytest.approx(38, abs=1)
    assert not routed.short_cycles
    off_the_worst = route_storage(Hydrograph(30.0, np.full(480, 5 * GAL / 60)), basin, pump=pump)
    assert off_the_worst.starts_per_hour < routed.starts_per_hour


def test_a_line_that_drains_back_more_than_the_floats_hold_short_cycles():
    basin = basin_storage(18 * 0.0254, 0.0, 24 * 0.0254)
    back = FloatPump(40 * GAL / 60, 14 * 0.0254, 8 * 0.0254, drain_back=12.7 * GAL)
    routed = route_storage(Hydrograph(30.0, np.full(60, 10 * GAL / 60)), basin, pump=back)
    assert routed.short_cycles
    assert abs(routed.balance) < 1e-9 * routed.inflow_volume


def test_an_empty_line_fills_before_it_delivers():
    basin = basin_storage(1.0, 0.0, 1.0)
    pump = FloatPump(0.01, 0.6, 0.1, drain_back=0.05)
    routed = route_storage(Hydrograph(1.0, np.full(600, 0.005)), basin, pump=pump)
    first = int(np.flatnonzero(routed.pumped.flow)[0])
    started = int(np.flatnonzero(np.diff(routed.depths) < 0.0)[0])
    assert first - started == pytest.approx(5.0, abs=1.5)


def test_a_pump_too_small_lets_the_basin_spill():
    basin = basin_storage(0.6, 0.0, 0.9)
    routed = route_storage(Hydrograph(10.0, np.full(600, 0.004)), basin, pump=FloatPump(0.001, 0.5, 0.2))
    assert routed.spill.volume > 0.5 * routed.inflow_volume
    assert routed.starts == 1


def test_starts_of_an_hour_are_counted_in_any_hour():
    assert most_in_an_hour([]) == 0.0
    assert most_in_an_hour([0.0, 3599.0, 3600.0, 3601.0]) == 3.0
    assert most_in_an_hour([0.0, 4000.0, 8000.0]) == 1.0


@pytest.mark.parametrize(
    "change, said",
    [
        ({"infiltration_rate": -1.0}, "infiltration rate is -1"),
        ({"start_volume": 1e6}, "start volume 1e[+]06 m3: give 0 to the capacity"),
        ({"tolerable_depth": np.nan}, "tolerable depth is nan"),
        ({"pump": FloatPump(0.001, 5.0, 4.0)}, "lie outside the storage, which reaches from 0 to 0.25 m"),
        ({"weight_of_end": 0.3}, "give 0.5 to 1"),
    ],
)
def test_what_cannot_be_is_refused(change, said):
    with pytest.raises(StorageError, match=said):
        route_storage(FLOOD, POND, **change)


def test_storages_pumps_and_ratings_that_cannot_be_are_refused():
    with pytest.raises(StorageError, match="levels or volumes don't increase"):
        StageStorage(np.array([0.0, 0.0]), np.array([1.0, 1.0]), np.array([0.0, 1.0]))
    with pytest.raises(StorageError, match=r"its first volume is 3 m3 rather than 0"):
        StageStorage(np.array([0.0, 1.0]), np.array([1.0, 1.0]), np.array([3.0, 4.0]))
    with pytest.raises(StorageError, match="areas fall with level"):
        storage_of_levels([0.0, 1.0], [2.0, 1.0])
    with pytest.raises(StorageError, match="the on level must be higher"):
        FloatPump(0.001, 0.1, 0.2)
    with pytest.raises(HydraulicsError, match="levels that increase"):
        StageOutflow(np.array([0.0, 1.0]), np.array([1.0, 0.0]))
    with pytest.raises(StorageError, match="height is -1"):
        basin_storage(0.6, 1.0, 0.0)
