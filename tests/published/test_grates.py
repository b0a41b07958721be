"""Grates in a sag, against the agency's worked examples."""

import pytest

from pipelines.hydraulics.grate import Grate, grate_capacity, orifice_flow, ponding_depth, weir_flow
from pipelines.inputs.rules import load_rules
from terrain.unit_table import CUBIC_FOOT_PER_SECOND, FOOT

HEC22 = "FHWA, Urban Drainage Design Manual, HEC-22, 3rd ed., 2009"
TXDOT = "TxDOT, Hydraulic Design Manual, ch. 10"
CFS = CUBIC_FOOT_PER_SECOND
YARD_GRATE = Grate("12 in, half open", 4 * FOOT, 0.5 * FOOT**2)


def long_grate(perimeter):
    """A grate so open that it acts as a weir at any depth here."""
    return Grate("as a weir", perimeter, 100.0)


@pytest.mark.published(source=HEC22, where="Example 4-11, step 1", memory=False, worked=True)
@pytest.mark.parametrize(
    "flow, depth, unit, printed", [(0.19, 0.135, 1.0, "2.31"), (6.71 * CFS, 0.44 * FOOT, FOOT, "7.66")]
)
def test_perimeter_for_a_flow(rounds_to, flow, depth, unit, printed):
    assert rounds_to(flow / weir_flow(depth, 1.0) / unit, printed, share=0.003)


@pytest.mark.published(source=HEC22, where="Example 4-11, step 2", memory=False, worked=True)
@pytest.mark.parametrize(
    "flow, perimeter, unit, printed", [(0.19, 2.4, 1.0, "0.130"), (6.71 * CFS, 8.0 * FOOT, FOOT, "0.43")]
)
def test_depth_over_a_double_grate(rounds_to, flow, perimeter, unit, printed):
    # the example raises to 0.67 rather than 2/3
    assert rounds_to(ponding_depth(long_grate(perimeter), flow, clogging=0.0) / unit, printed, share=0.012)


@pytest.mark.published(source=HEC22, where="Example 4-14, solution 1, step 1", memory=False, worked=True)
@pytest.mark.parametrize(
    "flow, perimeter, unit, printed", [(0.15, 2.4, 1.0, "0.11"), (5.3 * CFS, 8.0 * FOOT, FOOT, "0.36")]
)
def test_depth_over_a_combination_inlet(rounds_to, flow, perimeter, unit, printed):
    assert rounds_to(ponding_depth(long_grate(perimeter), flow, clogging=0.0) / unit, printed, share=0.012)


@pytest.mark.published(source="FHWA, HEC-12, Drainage of Highway Pavements, 1984", where="sag grate, Q 8 ft3/s, P 8 ft",
                       memory=True, worked=True)
def test_depth_of_the_older_sag_example(rounds_to):
    assert rounds_to(ponding_depth(long_grate(8 * FOOT), 8 * CFS, clogging=0.0) / FOOT, "0.5")


@pytest.mark.published(source="FHWA, HEC-12, Drainage of Highway Pavements, 1984", where="check flow 11.2 ft3/s",
                       memory=True, worked=True)
def test_depth_at_the_check_flow(rounds_to):
    assert rounds_to(ponding_depth(long_grate(8 * FOOT), 11.2 * CFS, clogging=0.0) / FOOT, "0.60")


@pytest.mark.published(source=TXDOT, where="sec. 6, eq. 10-30: 3.0 in feet, 1.66 in metres", memory=False, worked=False)
def test_weir_coefficient_in_both_units(rounds_to):
    assert weir_flow(FOOT, FOOT) / CFS == pytest.approx(3.0)
    assert rounds_to(weir_flow(1.0, 1.0), "1.66")


@pytest.mark.published(source=TXDOT, where="sec. 6: half of perimeter and area blocked", memory=False, worked=False)
def test_clogging_halves_the_flow():
    for depth in (0.02, 0.5 * FOOT):
        clean, clogged = (
            grate_capacity(YARD_GRATE, depth, clogging=c) for c in (0.0, load_rules()["grate_clogging"].likely)
        )
        assert clogged == pytest.approx(clean / 2)


@pytest.mark.parametrize("depth, printed, control", [
    (0.10, 0.3795, "weir"), (0.25, 1.3442, "orifice"), (0.50, 1.9010, "orifice"), (1.00, 2.6884, "orifice")])
def test_yard_grate_by_hand(depth, printed, control):
    # 12 x 12 in, half open, reckoned by hand with g = 32.2 ft/s2
    taken = grate_capacity(YARD_GRATE, depth * FOOT, clogging=0.0)
    weir, orifice = weir_flow(depth * FOOT, 4 * FOOT), orifice_flow(depth * FOOT, 0.5 * FOOT**2)
    assert taken / CFS == pytest.approx(printed, rel=1e-3)
    assert taken == {"weir": weir, "orifice": orifice}[control]
