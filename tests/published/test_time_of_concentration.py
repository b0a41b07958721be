"""Travel times against TR-55's worksheet example, the engineering handbook's tables and the federal drainage manual."""

import math

import pytest

from pipelines.hydraulics.manning import velocity_manning
from pipelines.hydrology.time_of_concentration import (
    shallow_velocity,
    sheet_flow_limit,
    sheet_flow_time,
    travel_surface,
)

FT, IN = 0.3048, 0.0254
TR55 = "TR-55, 2nd ed., 1986"
NEH15 = "NRCS National Engineering Handbook part 630, ch. 15, 2010"
HEC22 = "FHWA Urban Drainage Design Manual (HEC-22)"


def example_3_1():
    sheet = sheet_flow_time(100 * FT, 0.01, 0.24, 3.6 * IN)
    # the example's path is unpaved, as gravel is here
    shallow = 1400 * FT / shallow_velocity("gravel", 0.01)
    channel = 7300 * FT / velocity_manning(27.0 / 28.2 * FT, 0.005, 0.05)
    return sheet, shallow, channel


@pytest.mark.published(source=TR55, where="Example 3-1, Worksheet 3", memory=True, worked=True)
@pytest.mark.parametrize("part, hours", [(0, 0.30), (1, 0.24), (2, 0.99), (None, 1.53)])
def test_worksheet_3(part, hours):
    times = example_3_1()
    time = sum(times) if part is None else times[part]
    # a worksheet adds up parts already rounded
    assert time / 3600.0 == pytest.approx(hours, abs=0.0051)


@pytest.mark.published(source=NEH15, where="Table 15-2", memory=False, worked=False)
@pytest.mark.parametrize(
    "roughness, slope, feet",
    [(0.13, 0.01, 77), (0.41, 0.01, 24), (0.80, 0.01, 12.5), (0.41, 0.05, 55), (0.80, 0.05, 28)],
)
def test_longest_sheet_flow(roughness, slope, feet):
    assert sheet_flow_limit(slope, roughness) / FT == pytest.approx(feet, abs=0.51)


@pytest.mark.published(
    source=NEH15,
    where="Table 15-2, range on 5 %: 172 ft, cut at the 100 ft of its own text",
    memory=False,
    worked=False,
)
def test_sheet_flow_is_never_longer_than_100_ft():
    assert 100.0 * math.sqrt(0.05) / 0.13 == pytest.approx(172, abs=0.5)
    assert sheet_flow_limit(0.05, 0.13) / FT == pytest.approx(100.0)


@pytest.mark.published(source=HEC22, where="Table 3-3, intercept coefficients", memory=False, worked=False)
@pytest.mark.parametrize(
    "surface, intercept",
    [
        ("woods, good", 0.076),
        ("woods, fair", 0.152),
        ("lawn, fair", 0.213),
        ("bare", 0.305),
        ("gravel", 0.491),
        ("paved", 0.619),
    ],
)
def test_shallow_velocity_of_two_agencies(surface, intercept):
    """V = k S^0.5 in m/s and percent there, in ft/s and a fraction in the handbook this code follows: within 1 %."""
    assert shallow_velocity(surface, 0.01) == pytest.approx(intercept, rel=0.01)


@pytest.mark.published(source=NEH15, where="Table 15-3", memory=True, worked=False)
@pytest.mark.parametrize(
    "surface, roughness, depth_ft",
    [
        ("paved", 0.025, 0.2),
        ("gravel", 0.05, 0.4),
        ("bare", 0.051, 0.2),
        ("lawn, fair", 0.073, 0.2),
        ("woods, fair", 0.101, 0.2),
        ("woods, good", 0.202, 0.2),
    ],
)
def test_shallow_velocity_is_manning_at_the_table_s_depth(surface, roughness, depth_ft):
    constant = travel_surface(surface).shallow_velocity / FT
    assert constant == pytest.approx(1.486 * depth_ft ** (2 / 3) / roughness, rel=5e-4)


@pytest.mark.parametrize("surface", ["roof", "water"])
def test_what_is_smooth_is_as_fast_as_paving(surface):
    """The table has no row for them; common practice, no source."""
    assert shallow_velocity(surface, 0.02) == pytest.approx(shallow_velocity("paved", 0.02))


def test_lawn_and_drive_of_a_lot():
    """Follow from the formulas."""
    assert sheet_flow_time(100 * FT, 0.02, 0.24, 3.5 * IN) / 60 == pytest.approx(13.645, abs=1e-3)
    assert 100 * FT / shallow_velocity("paved", 0.02) / 60 == pytest.approx(0.5797, abs=1e-4)


def test_metric_constant_of_sheet_flow_is_rounded():
    """0.091 in metres and millimetres stands 0.3 % below the formula in feet and inches."""
    metric = 0.091 * (0.24 * 100 * FT) ** 0.8 / ((3.6 * 25.4) ** 0.5 * 0.01**0.4)
    assert sheet_flow_time(100 * FT, 0.01, 0.24, 3.6 * IN) / 3600 == pytest.approx(metric, rel=4e-3)
