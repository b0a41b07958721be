"""Stone trenches and soakaways: exact volumes, a library as reference, which way they move, refusals."""

from math import isinf, pi

import pytest
from fluids.packed_bed import Ergun
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydraulics.constants import DENSITY_OF_WATER, VISCOSITY_OF_WATER
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.hydraulics.soakaway import Soakaway, assess_soakaway
from pipelines.hydraulics.stone_trench import (
    STONE_SIZE,
    StoneTrench,
    deepest_stone,
    drain_down_time,
    report_trench,
    trench_intake,
    trench_storage,
    velocity_ergun,
)
from terrain.unit_table import FOOT, INCH_PER_HOUR

PIPE = find_pipe("4 in D2729 perforated")


def trench(**changes):
    settings = {"length": 15.0, "width": 0.3, "depth": 0.45, "pipe": PIPE, "slope": 0.01, "cover": "grade"} | changes
    return StoneTrench(**settings)


@given(st.floats(1e-4, 1.0), st.floats(0.25, 0.5), st.floats(0.003, 0.04))
def test_velocity_in_stone_is_the_library_s(gradient, porosity, size):
    velocity = velocity_ergun(gradient, porosity, size)
    lost = Ergun(dp=size, voidage=porosity, vs=velocity, rho=DENSITY_OF_WATER, mu=VISCOSITY_OF_WATER, L=1.0)
    assert lost == pytest.approx(DENSITY_OF_WATER * 9.80665 * gradient, rel=1e-9)


def test_stone_is_within_the_range_of_its_law():
    velocity = velocity_ergun(1.0, 0.35)
    assert 1 < velocity * STONE_SIZE * DENSITY_OF_WATER / VISCOSITY_OF_WATER < 2400


def test_storage_is_voids_and_pipe():
    plain = trench(pipe=None)
    assert trench_storage(plain) == pytest.approx(0.35 * 15.0 * 0.3 * 0.45)
    more = trench_storage(trench()) - trench_storage(plain)
    assert more == pytest.approx(15.0 * pi / 4 * (PIPE.inside**2 - 0.35 * PIPE.outside**2))


def test_stone_to_grade_catches_sheet_flow_and_soil_over_it_does_not():
    open_trench = trench_intake(trench(), soil_rate=0.5 * INCH_PER_HOUR)
    covered = trench_intake(trench(cover="soil"), soil_rate=0.5 * INCH_PER_HOUR)
    assert open_trench.catches_sheet_flow
    assert not covered.catches_sheet_flow
    assert open_trench.flow > 1000 * covered.flow
    assert "does not catch storm sheet flow" in covered.why


@given(st.floats(0.0, 0.05), st.floats(1.0, 60.0))
def test_a_longer_trench_takes_in_holds_more_and_carries_the_same(inflow, length):
    short, long = (report_trench(trench(length=at), inflow, soil_rate=1e-6) for at in (length, 1.5 * length))
    assert long.intake.flow == pytest.approx(1.5 * short.intake.flow)
    assert long.storage == pytest.approx(1.5 * short.storage)
    assert long.carries == pytest.approx(short.carries)
    assert short.taken == min(inflow, short.intake.flow, short.carries)
    assert long.length_needed == pytest.approx(short.length_needed)


def test_length_needed_matches_the_inflow():
    found = report_trench(trench(cover="soil"), 1e-4, soil_rate=1e-6)
    there = trench_intake(trench(cover="soil", length=found.length_needed), soil_rate=1e-6)
    assert there.flow == pytest.approx(1e-4)


def test_more_than_pipe_and_stone_carry_is_said():
    found = report_trench(trench(), 0.05, soil_rate=1e-6)
    assert found.carries == found.pipe_carries + found.stone_carries
    assert found.pipe_carries > 5 * found.stone_carries
    assert found.roughness == PIPE.roughness
    assert any("pipe and stone carry" in text for text in found.warnings)


def test_a_level_trench_stores_and_a_pipe_without_holes_is_no_drain():
    level = report_trench(trench(slope=0.0), 1e-3, soil_rate=0.0)
    assert (level.carries, isinf(level.emptied_by_pipe), isinf(level.emptied_by_soil)) == (0.0, True, True)
    assert any("laid level" in text for text in level.warnings)
    solid = report_trench(trench(pipe=find_pipe("4 in D2729")), 1e-3, soil_rate=1e-6)
    assert any("no holes" in text for text in solid.warnings)
    no_soil = report_trench(trench(cover="soil"), 1e-3, soil_rate=0.0)
    assert isinf(no_soil.length_needed)
    assert report_trench(trench(cover="soil"), 0.0, soil_rate=0.0).length_needed == 0.0


@given(st.floats(0.05, 2.0), st.floats(0.1, 0.6), st.floats(1e-8, 1e-4))
def test_depth_and_time_are_inverse(depth, porosity, rate):
    assert deepest_stone(drain_down_time(depth, porosity, rate), porosity, rate) == pytest.approx(depth)


@pytest.mark.parametrize("call, says", [
    (lambda: trench_storage(trench(width=0.1)), "does not fit"),
    (lambda: trench_storage(trench(porosity=1.2)), "porosity is 1.2"),
    (lambda: trench_storage(trench(length=-1.0)), "length is -1.0"),
    (lambda: trench_intake(trench(), soil_rate=float("nan")), "soil rate is nan"),
    (lambda: velocity_ergun(-0.1, 0.4), "gradient is -0.1"),
    (lambda: velocity_ergun(0.1, 1.0), "solid share is 0.0"),
    (lambda: drain_down_time(-1.0, 0.4, 1e-6), "depth is -1.0"),
])
def test_bad_numbers_are_refused_by_name(call, says):
    with pytest.raises(HydraulicsError, match=says):
        call()


PIT = Soakaway(3.0, 1.0, 1.0, 0.40, 1.2)


@pytest.mark.parametrize("rate, table, says", [(None, 3.0, "no rate was tested"), (1e-5, None, "water table is not")])
def test_without_a_site_test_it_is_not_assessed(rate, table, says):
    found = assess_soakaway(PIT, 1.0, 3600.0, tested_rate=rate, water_table_below_ground=table)
    assert (found.verdict, found.storage) == ("not assessed", None)
    assert says in found.why


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
    assert found.storage == pytest.approx(1.2)
    assert found.soaked <= found.inflow


def test_the_rate_is_halved():
    halved = assess_soakaway(PIT, 0.5, 0.0, tested_rate=1e-5, water_table_below_ground=3.0)
    whole = assess_soakaway(PIT, 0.5, 0.0, tested_rate=1e-5, water_table_below_ground=3.0, safety_factor=1.0)
    assert halved.dry_time == pytest.approx(2 * whole.dry_time)
    with pytest.raises(HydraulicsError, match="share of the tested rate"):
        assess_soakaway(PIT, 0.5, 0.0, tested_rate=1e-5, water_table_below_ground=3.0, safety_factor=0.5)


def test_three_feet_over_water_is_enough():
    at = PIT.bottom_below_ground + 3 * FOOT
    assert assess_soakaway(PIT, 0.5, 0.0, tested_rate=1e-5, water_table_below_ground=at + 1e-9).verdict == "works"
