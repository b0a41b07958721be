"""Culverts, weirs and ratings: inverse, which way they move, limits, refusals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydraulics.channel.barrel import circular_barrel, critical_depth
from pipelines.hydraulics.channel.barrel_kernel import critical_in_barrel, free_depth_up
from pipelines.hydraulics.channel.culvert import (
    Culvert,
    culvert_flow,
    culvert_inlet,
    culvert_inlets,
    inlet_control_depth,
)
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.weir import LARGEST_COEFFICIENT, ROADWAY_COEFFICIENT, overtopping_flow
from terrain.unit_table import CUBIC_FOOT_PER_SECOND, FOOT

CFS = CUBIC_FOOT_PER_SECOND


def codes(found):
    return {each.code for each in found.warnings}


def level_crest(head, length, coefficient=ROADWAY_COEFFICIENT):
    return overtopping_flow([0.0, length], [0.0, 0.0], head, coefficient)


def driveway(*, diameter=15 / 12 * FOOT, slope=0.01, silt=0.0, inlet="metal_projecting", length=20 * FOOT):
    return Culvert(circular_barrel(diameter, silt), culvert_inlet(inlet), length, 0.024, slope * length, 0.0)


def test_a_driveway_pipe_by_hand():
    # 15 in corrugated metal, projecting, 20 ft at 1 %, 8 ft3/s: inlet 3.019 ft, outlet 3.276 ft, dc 1.1148 ft
    found = culvert_flow(driveway(), 8 * CFS, tailwater=0.0)
    barrel, inlet = driveway().barrel, driveway().inlet
    assert inlet_control_depth(barrel, inlet, 8 * CFS, 0.01) / FOOT == pytest.approx(3.019, abs=0.002)
    assert found.headwater / FOOT - 0.2 == pytest.approx(3.276, abs=0.01)
    assert critical_depth(barrel, 8 * CFS) / FOOT == pytest.approx(1.1148, abs=0.001)
    assert found.governs == "outlet"


def test_the_higher_of_the_two_governs_and_is_named():
    steep = Culvert(circular_barrel(0.6), culvert_inlet("concrete_square_edge"), 20.0, 0.012, 1.0, 0.0)
    found = culvert_flow(steep, 0.5, tailwater=0.0)
    assert found.governs == "inlet"
    assert found.headwater - 1.0 == pytest.approx(inlet_control_depth(steep.barrel, steep.inlet, 0.5, 0.05))
    drowned = culvert_flow(steep, 0.5, tailwater=3.0)
    assert (drowned.governs, drowned.headwater > 3.0) == ("outlet", True)


@given(st.sampled_from(sorted(culvert_inlets())),
       st.floats(0.3, 1.5), st.floats(0.01, 1.5), st.floats(-0.02, 0.08))
def test_headwater_never_falls_as_the_flow_grows(name, diameter, flow, slope):
    culvert = Culvert(circular_barrel(diameter), culvert_inlet(name), 12.0, 0.024, 12.0 * slope, 0.0)
    low, high = (culvert_flow(culvert, q, tailwater=0.1) for q in (flow, 1.05 * flow))
    assert high.headwater > low.headwater


@given(st.floats(0.02, 0.6), st.floats(0.0, 1.0))
def test_headwater_never_falls_as_the_tailwater_rises(flow, tailwater):
    culvert = driveway()
    assert (culvert_flow(culvert, flow, tailwater=tailwater + 0.1).headwater
            >= culvert_flow(culvert, flow, tailwater=tailwater).headwater)


def test_silt_takes_capacity_and_is_said():
    clean, silted = (culvert_flow(driveway(silt=s), 0.1, tailwater=0.0) for s in (0.0, 0.15))
    assert silted.headwater > clean.headwater
    assert "culvert_silted" in codes(silted)


def test_an_adverse_culvert_is_said():
    assert "culvert_adverse" in codes(culvert_flow(driveway(slope=-0.01), 0.1, tailwater=0.0))


def test_a_small_pipe_and_a_shallow_pool_are_said():
    said = codes(culvert_flow(driveway(diameter=0.2, slope=0.0), 0.003, tailwater=-1.0))
    assert {"culvert_small", "culvert_headwater_low"} <= said


def test_a_mitered_end_counts_slope_the_other_way():
    square, mitered = culvert_inlet("metal_headwall"), culvert_inlet("metal_mitered")
    assert (square.slope_factor, mitered.slope_factor) == (-0.5, 0.7)


def test_below_the_crest_nothing_passes():
    assert overtopping_flow([0, 1], [2.0, 2.5], 1.9) == 0.0


@pytest.mark.parametrize("call, says", [
    (lambda: culvert_inlet("thatched"), "it has concrete_square_edge"),
    (lambda: culvert_flow(driveway(), -1.0, tailwater=0.0), "flow is -1.0"),
    (lambda: culvert_flow(driveway(), 1.0, tailwater=float("nan")), "tailwater is nan"),
    (lambda: level_crest(0.1, 1.0, 2.0), "a broad crest has at most 1.705"),
    (lambda: overtopping_flow([0, 1, 1], [0, 0, 0], 1.0), "rising stations"),
])
def test_bad_input_is_refused_by_name(call, says):
    with pytest.raises(HydraulicsError, match=says):
        call()


def test_a_crest_without_friction_passes_critical_flow():
    # critical depth is two thirds of the head, so q = (2/3 h)^1.5 g^0.5
    assert level_crest(0.3, 1.0, LARGEST_COEFFICIENT) == pytest.approx((0.2**3 * 9.80665) ** 0.5)


@given(st.floats(0.01, 1.0), st.floats(0.5, 50.0))
def test_a_level_crest_of_many_points_is_one_weir(head, length):
    stations = [0.0, 0.3 * length, length]
    assert overtopping_flow(stations, [2.0, 2.0, 2.0], 2.0 + head) == pytest.approx(level_crest(head, length))


@given(st.floats(0.01, 1.0), st.floats(-1.0, 1.0))
def test_a_sloping_crest_is_the_sum_of_small_level_ones(head, rise):
    level = 2.0 + head
    pieces = 4000
    heads = (max(level - 2.0 - rise * (i + 0.5) / pieces, 0.0) for i in range(pieces))
    parts = (level_crest(each, 10.0 / pieces) for each in heads)
    assert overtopping_flow([0.0, 10.0], [2.0, 2.0 + rise], level) == pytest.approx(sum(parts), rel=1e-3)


@pytest.mark.parametrize(("diameter", "silt", "flow", "slope"), [(0.45, 0.0, 0.08, 0.01), (0.6, 0.2, 0.05, -0.02)])
def test_the_compiled_barrel_is_the_plain_one(diameter, silt, flow, slope):
    plain = critical_in_barrel.py_func(diameter, silt, flow)
    assert critical_in_barrel(diameter, silt, flow) == pytest.approx(plain, rel=1e-12)
    lost = (0.0, 0.0) if silt == 0.0 else (0.08, -0.1)
    given = (diameter, silt, lost, flow, 0.024, slope, 6.0, diameter - silt, plain, 0.02)
    assert free_depth_up(*given) == pytest.approx(free_depth_up.py_func(*given), rel=1e-12)
