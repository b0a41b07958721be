"""Grates: inverse, which way they move, limits, refusals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.grate import (
    BASIN_GRATES,
    Grate,
    basin_grates,
    choose_grate,
    grate_capacity,
    orifice_flow,
    ponding_depth,
    weir_flow,
)
from terrain.unit_table import GALLON_PER_MINUTE, INCH

GRATES = st.builds(lambda side, share: Grate("", 4 * side, share * side**2), st.floats(0.1, 1.0), st.floats(0.1, 0.9))
CLOGGING = st.floats(0.0, 0.9)


@given(GRATES, st.floats(1e-4, 0.5), CLOGGING)
def test_ponding_is_the_inverse_of_capacity(grate, depth, clogging):
    flow = grate_capacity(grate, depth, clogging=clogging)
    assert ponding_depth(grate, flow, clogging=clogging) == pytest.approx(depth, rel=1e-9)


@given(GRATES, st.floats(1e-3, 0.5), CLOGGING)
def test_deeper_takes_more_and_clogged_takes_less(grate, depth, clogging):
    taken = grate_capacity(grate, depth, clogging=clogging)
    assert grate_capacity(grate, 1.1 * depth, clogging=clogging) > taken
    assert grate_capacity(grate, depth, clogging=min(clogging + 0.05, 1.0)) < taken


def test_dry_and_blocked():
    grate = BASIN_GRATES[0]
    assert grate_capacity(grate, 0.0) == 0.0
    assert grate_capacity(grate, 0.1, clogging=1.0) == 0.0
    assert ponding_depth(grate, 0.0) == 0.0
    with pytest.raises(HydraulicsError, match="blocked altogether"):
        ponding_depth(grate, 0.001, clogging=1.0)


@pytest.mark.parametrize("gpm, name", [(10, "9 in"), (25, "9 in"), (26, "12 in"), (61, "18 in")])
def test_sizes_of_the_trade(gpm, name):
    assert choose_grate(gpm * GALLON_PER_MINUTE, 2 * INCH).name == name


def test_a_shallow_pond_asks_for_a_larger_grate_and_a_large_flow_for_several():
    assert choose_grate(25 * GALLON_PER_MINUTE, 0.6 * INCH).name == "12 in"
    assert choose_grate(2000 * GALLON_PER_MINUTE, 2 * INCH) is None


def test_what_a_size_is_used_to_can_be_told_otherwise():
    sizes = basin_grates(10 * GALLON_PER_MINUTE, 30 * GALLON_PER_MINUTE, open_share=0.5)
    assert choose_grate(25 * GALLON_PER_MINUTE, 2 * INCH, sizes=sizes).name == "12 in"
    assert choose_grate(40 * GALLON_PER_MINUTE, 2 * INCH, sizes=sizes).name == "18 in"
    assert sizes[0].open_area == pytest.approx(0.5 * (9 * INCH) ** 2)


@pytest.mark.parametrize("call, says", [
    (lambda: weir_flow(-0.1, 1.0), "depth is -0.1"),
    (lambda: orifice_flow(0.1, float("nan")), "open area is nan"),
    (lambda: grate_capacity(BASIN_GRATES[0], 0.1, clogging=1.2), "clogging is 1.2"),
    (lambda: ponding_depth(BASIN_GRATES[0], -1.0), "flow is -1.0"),
    (lambda: basin_grates(open_share=-0.1), "open share is -0.1"),
    (lambda: basin_grates(0.0), "most 9in is 0.0"),
])
def test_bad_numbers_are_refused_by_name(call, says):
    with pytest.raises(HydraulicsError, match=says):
        call()
