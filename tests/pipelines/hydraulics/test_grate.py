"""Grates: inverse, which way they move, limits, refusals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.grate import (
    BASIN_GRATES,
    choose_grate,
    crossover_depth,
    grate_capacity,
    orifice_flow,
    ponding_depth,
    square_grate,
    weir_flow,
)
from terrain.unit_table import GALLON_PER_MINUTE, INCH

GRATES = st.builds(square_grate, st.floats(0.1, 1.0), open_fraction=st.floats(0.1, 0.9))
CLOGGING = st.floats(0.0, 0.9)


@given(GRATES, st.floats(1e-4, 0.5), CLOGGING)
def test_ponding_is_the_inverse_of_capacity(grate, depth, clogging):
    flow = grate_capacity(grate, depth, clogging=clogging).flow
    assert ponding_depth(grate, flow, clogging=clogging) == pytest.approx(depth, rel=1e-9)


@given(GRATES, st.floats(1e-3, 0.5), CLOGGING)
def test_deeper_takes_more_and_clogged_takes_less(grate, depth, clogging):
    taken = grate_capacity(grate, depth, clogging=clogging)
    assert grate_capacity(grate, 1.1 * depth, clogging=clogging).flow > taken.flow
    assert grate_capacity(grate, depth, clogging=min(clogging + 0.05, 1.0)).flow < taken.flow
    assert taken.flow == min(taken.weir, taken.orifice)


@given(GRATES)
def test_weir_and_orifice_meet_at_the_crossover(grate):
    taken = grate_capacity(grate, crossover_depth(grate), clogging=0.3)
    assert taken.weir == pytest.approx(taken.orifice)
    assert grate_capacity(grate, crossover_depth(grate) / 2).control == "weir"
    assert grate_capacity(grate, crossover_depth(grate) * 2).control == "orifice"


def test_dry_and_blocked():
    grate = BASIN_GRATES[0]
    assert grate_capacity(grate, 0.0).flow == 0.0
    assert grate_capacity(grate, 0.1, clogging=1.0).flow == 0.0
    assert ponding_depth(grate, 0.0) == 0.0
    with pytest.raises(HydraulicsError, match="blocked altogether"):
        ponding_depth(grate, 0.001, clogging=1.0)


@pytest.mark.parametrize("gpm, name", [(10, "9 in"), (25, "9 in"), (26, "12 in"), (61, "18 in")])
def test_sizes_of_the_trade(gpm, name):
    assert choose_grate(gpm * GALLON_PER_MINUTE, 2 * INCH).name == name


def test_a_shallow_pond_asks_for_a_larger_grate_and_a_large_flow_for_several():
    assert choose_grate(25 * GALLON_PER_MINUTE, 0.6 * INCH).name == "12 in"
    assert choose_grate(2000 * GALLON_PER_MINUTE, 2 * INCH) is None


def test_a_side_against_a_wall_takes_nothing():
    assert square_grate(0.3, open_sides=3).perimeter == pytest.approx(0.9)


@pytest.mark.parametrize("call, says", [
    (lambda: weir_flow(-0.1, 1.0), "depth is -0.1"),
    (lambda: orifice_flow(0.1, float("nan")), "open area is nan"),
    (lambda: grate_capacity(BASIN_GRATES[0], 0.1, clogging=1.2), "clogging is 1.2"),
    (lambda: ponding_depth(BASIN_GRATES[0], -1.0), "flow is -1.0"),
    (lambda: square_grate(0.3, open_fraction=-0.1), "open fraction is -0.1"),
    (lambda: square_grate(0.3, open_sides=5), "open sides is 5"),
    (lambda: square_grate(0.0), "side is 0.0"),
])
def test_bad_numbers_are_refused_by_name(call, says):
    with pytest.raises(HydraulicsError, match=says):
        call()
