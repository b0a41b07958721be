"""Stone trenches and soakaways: exact volumes, a library as reference, which way they move, refusals."""

import pytest
from fluids.packed_bed import Ergun
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydraulics.constants import DENSITY_OF_WATER, VISCOSITY_OF_WATER
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.hydraulics.soakaway import Soakaway, assess_soakaway
from pipelines.hydraulics.stone_trench import STONE_SIZE, StoneTrench, trench_capacity, velocity_ergun
from terrain.unit_table import FOOT

PIPE = find_pipe("4 in D2729 perforated")


def trench(**changes):
    settings = {"length": 15.0, "width": 0.3, "depth": 0.45, "pipe": PIPE, "slope": 0.01} | changes
    return StoneTrench(**settings)


@given(st.floats(1e-4, 1.0), st.floats(0.25, 0.5), st.floats(0.003, 0.04))
def test_velocity_in_stone_is_the_library_s(gradient, porosity, size):
    velocity = velocity_ergun(gradient, porosity, size)
    lost = Ergun(dp=size, voidage=porosity, vs=velocity, rho=DENSITY_OF_WATER, mu=VISCOSITY_OF_WATER, L=1.0)
    assert lost == pytest.approx(DENSITY_OF_WATER * 9.80665 * gradient, rel=1e-9)


def test_stone_is_within_the_range_of_its_law():
    velocity = velocity_ergun(1.0, 0.35)
    assert 1 < velocity * STONE_SIZE * DENSITY_OF_WATER / VISCOSITY_OF_WATER < 2400


PIT = Soakaway(3.0, 1.0, 1.0, 0.40, 1.2)


@pytest.mark.parametrize(
    "rate, table, says", [(None, 3.0, "soaking_rate_not_tested"), (1e-5, None, "water_table_unknown")]
)
def test_without_a_site_test_it_is_not_assessed(rate, table, says):
    found = assess_soakaway(PIT, 1.0, 3600.0, tested_rate=rate, water_table_below_ground=table)
    assert found.verdict == "not assessed"
    assert found.why.code == says


@pytest.mark.parametrize("volume, rate, table, verdict", [
    (1.0, 1e-5, 3.0, "works"),
    (1.0, 1e-5, 2.0, "too near water"),
    (2.0, 1e-5, 3.0, "too small"),
    (1.0, 1e-6, 3.0, "too slow"),
    (1.0, 0.0, 3.0, "too slow"),
])
def test_verdicts(volume, rate, table, verdict):
    found = assess_soakaway(PIT, volume, 3600.0, tested_rate=rate, water_table_below_ground=table)
    assert found.verdict == verdict
    if verdict in ("works", "too small"):
        assert found.why["storage"] == pytest.approx(1.2)
        assert found.why["soaked"] <= found.why["inflow"] == volume


def test_the_rate_is_halved():
    halved, whole = (
        assess_soakaway(PIT, 0.5, 0.0, tested_rate=1e-5, water_table_below_ground=3.0, safety_factor=safety)
        for safety in (2.0, 1.0)
    )
    usual = assess_soakaway(PIT, 0.5, 0.0, tested_rate=1e-5, water_table_below_ground=3.0)
    assert halved.why["dry_time"] == pytest.approx(2 * whole.why["dry_time"])
    assert usual == halved
    with pytest.raises(HydraulicsError, match="share of the tested rate"):
        assess_soakaway(PIT, 0.5, 0.0, tested_rate=1e-5, water_table_below_ground=3.0, safety_factor=0.5)


def test_three_feet_over_water_is_enough():
    at = PIT.bottom_below_ground + 3 * FOOT
    assert assess_soakaway(PIT, 0.5, 0.0, tested_rate=1e-5, water_table_below_ground=at + 1e-9).verdict == "works"


@given(st.floats(1.0, 60.0))
def test_a_longer_trench_takes_in_more_and_carries_no_more(length):
    short, long = (trench_capacity(trench(length=at)) for at in (length, 1.5 * length))
    assert short <= long <= 1.5 * short + 1e-12


def test_clogged_stone_takes_less_and_a_steeper_pipe_carries_more():
    brief = trench(length=0.2)
    assert trench_capacity(brief, clogging=0.75) == pytest.approx(0.5 * trench_capacity(brief, clogging=0.5))
    assert trench_capacity(trench(slope=0.04, length=60.0)) > trench_capacity(trench(length=60.0))


@pytest.mark.parametrize("call, says", [
    (lambda: trench_capacity(trench(porosity=1.2)), "porosity is 1.2"),
    (lambda: trench_capacity(trench(length=-1.0)), "length is -1.0"),
    (lambda: velocity_ergun(-0.1, 0.4), "gradient is -0.1"),
    (lambda: velocity_ergun(0.1, 1.0), "solid share is 0.0"),
])
def test_bad_numbers_are_refused_by_name(call, says):
    with pytest.raises(HydraulicsError, match=says):
        call()
