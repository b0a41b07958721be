"""The rational method against worked problems and the printed coefficients."""

import pytest

from pipelines.hydrology.hydrographs import rational_peak
from pipelines.hydrology.losses import composite_coefficient
from pipelines.hydrology.sub_catchment import SurfaceShare
from pipelines.hydrology.surfaces import coefficient_range, frequency_factor, runoff_coefficient

ACRE, IN_H, CFS = 4046.8564224, 0.0254 / 3600.0, 0.028316846592
UNIT = 1.0083333
"""The strict factor of Q = C i A in ft3/s, in/h and acres, which practice takes as 1."""
PONCE = "Ponce, V. M., CIVE 445 Engineering Hydrology, San Diego State University"
SCHWAB = "ASCE values in Schwab et al., Soil and Water Conservation Engineering, 4th ed."


def piece(area, coefficient):
    return SurfaceShare("any", area, 70.0, coefficient, False)


@pytest.mark.published(
    source="Surveying and engineering textbook, answer key",
    where="rational-method problem, 256 acres",
    memory=False,
    worked=True,
)
@pytest.mark.parametrize("what, printed", [("coefficient", 0.315), ("peak", 116.9)])
def test_rural_area_of_three_covers(what, printed):
    coefficient = composite_coefficient([piece(0.15, 0.60), piece(0.30, 0.20), piece(0.55, 0.30)])
    if what == "coefficient":
        assert coefficient == pytest.approx(printed, abs=0.0005)
    else:
        # 256 acres is above the 80 ha of the method, so in two halves
        half = rational_peak(coefficient, 1.45 * IN_H, 128 * ACRE) / CFS / UNIT
        assert 2.0 * half == pytest.approx(printed, abs=0.05)


@pytest.mark.published(
    source="Water resources textbook problem 7-3, public solution", where="0.20 square mile", memory=False, worked=True
)
def test_tract_of_a_fifth_of_a_square_mile():
    assert rational_peak(0.4, 2.87 * IN_H, 128 * ACRE) / CFS / UNIT == pytest.approx(146.944, abs=0.001)


@pytest.mark.published(source=PONCE, where="fall 2008, midterm 2, problem 1", memory=False, worked=True)
def test_paved_catchment_of_70_ha():
    assert rational_peak(0.95, 0.020 / 3600, 70e4) == pytest.approx(3.694, abs=0.001)


@pytest.mark.published(source=PONCE, where="spring 2004, midterm 2, problem 1", memory=False, worked=True)
def test_excess_intensity_on_80_ha():
    assert rational_peak(1.0, 0.04548 / 3600, 80e4) == pytest.approx(10.11, abs=0.005)


@pytest.mark.published(source=SCHWAB, where="Table, lawns by soil and slope", memory=False, worked=False)
@pytest.mark.parametrize(
    "group, slope, low, high",
    [
        ("A", 0.01, 0.05, 0.10),
        ("B", 0.05, 0.10, 0.15),
        ("A", 0.08, 0.15, 0.20),
        ("C", 0.01, 0.13, 0.17),
        ("D", 0.05, 0.18, 0.22),
        ("D", 0.08, 0.25, 0.35),
    ],
)
def test_coefficients_of_lawns(group, slope, low, high):
    """One public copy prints 0.22 for heavy flat and 0.45 for heavy steep lawns; the table it copies doesn't."""
    printed = coefficient_range("lawn, fair", group, slope)
    assert (printed.low, printed.high) == (low, high)


@pytest.mark.published(source=SCHWAB, where="Table, roofs and paving", memory=False, worked=False)
@pytest.mark.parametrize("surface, low, high", [("roof", 0.75, 0.95), ("paved", 0.70, 0.95), ("meadow", 0.10, 0.30)])
def test_coefficients_of_hard_and_unimproved_ground(surface, low, high):
    printed = coefficient_range(surface, "B", 0.02)
    assert (printed.low, printed.high) == (low, high)


@pytest.mark.published(
    source="FHWA Urban Drainage Design Manual (HEC-22)",
    where="sec. 3.2.2, frequency factors",
    memory=True,
    worked=False,
)
@pytest.mark.parametrize("years, factor", [(10, 1.0), (25, 1.10), (50, 1.20), (100, 1.25)])
def test_frequency_factor(years, factor):
    assert frequency_factor(years) == pytest.approx(factor)
    assert runoff_coefficient("roof", "B", 0.02, return_period=years) == pytest.approx(min(1.0, 0.95 * factor))


def test_a_lot_in_both_systems():
    """Follows from the formula."""
    lot = [piece(2400, 0.95), piece(1000, 0.90), piece(8600, 0.20)]
    assert composite_coefficient(lot) == pytest.approx(0.40833, abs=5e-6)
    peak = rational_peak(composite_coefficient(lot), 6 * IN_H, 12000 * 0.3048**2)
    assert peak / CFS == pytest.approx(0.6806, abs=5e-5)
    assert rational_peak(0.5, 0.100 / 3600, 1000.0) == pytest.approx(0.013889, abs=5e-7)
