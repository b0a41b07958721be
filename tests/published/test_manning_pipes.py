"""Round pipe under gravity and the pipes themselves, against agency manuals, a textbook, codes and standards."""

from math import pi

import pytest
from scipy.optimize import minimize_scalar

from pipelines.hydraulics.manning import (
    circular_segment,
    full_pipe_capacity,
    pipe_discharge,
    pipe_flow,
    velocity_manning,
)
from pipelines.hydraulics.pipe_catalogue import find_pipe, pipe_catalogue
from terrain.unit_table import CUBIC_FOOT_PER_SECOND, FOOT, INCH

HEC22 = "FHWA, Urban Drainage Design Manual, HEC-22, 3rd ed., 2009"
WHITE = "White, Fluid Mechanics, ch. 10"
SEWER_CODE = "Purcell OK sewer code (Ten-States form)"
CFS = CUBIC_FOOT_PER_SECOND
# the circular writes 0.46 for 0.4632, 0.312 for 0.3117 and 2.67 for 8/3, and rounds on the way
ROUNDED_CONSTANTS = 0.01


def full_velocity(diameter, slope, roughness):
    return full_pipe_capacity(diameter, slope, roughness) / (pi * diameter**2 / 4)


@pytest.mark.published(source=HEC22, where="Example 7-1", memory=False, worked=True)
@pytest.mark.parametrize(
    "flow, roughness, unit, printed",
    [
        (0.50, 0.013, 1.0, "0.514"),
        (0.50, 0.017, 1.0, "0.569"),
        (17.6 * CFS, 0.013, FOOT, "1.69"),
        (17.6 * CFS, 0.017, FOOT, "1.87"),
    ],
)
def test_diameter_that_just_carries_a_flow(rounds_to, flow, roughness, unit, printed):
    diameter = (flow / full_pipe_capacity(1.0, 0.015, roughness)) ** (3 / 8)
    assert rounds_to(diameter / unit, printed, share=0.004)


@pytest.mark.published(source=HEC22, where="Example 7-2", memory=False, worked=True)
@pytest.mark.parametrize(
    "diameter, roughness, unit, printed",
    [(0.530, 0.013, 1.0, "0.54"), (1.75 * FOOT, 0.013, CFS, "19.3"), (0.610, 0.017, 1.0, "0.60"),
     (2.0 * FOOT, 0.017, CFS, "21.1")],
)
def test_full_capacity(rounds_to, diameter, roughness, unit, printed):
    assert rounds_to(full_pipe_capacity(diameter, 0.015, roughness) / unit, printed, share=ROUNDED_CONSTANTS)


@pytest.mark.published(source=HEC22, where="Example 7-2", memory=False, worked=True)
@pytest.mark.parametrize(
    "diameter, roughness, unit, printed",
    [(0.530, 0.013, 1.0, "2.44"), (1.75 * FOOT, 0.013, FOOT, "8.0"), (0.610, 0.017, 1.0, "2.05"),
     (2.0 * FOOT, 0.017, FOOT, "6.8")],
)
def test_full_velocity(rounds_to, diameter, roughness, unit, printed):
    assert rounds_to(full_velocity(diameter, 0.015, roughness) / unit, printed, share=ROUNDED_CONSTANTS)


@pytest.mark.published(source=HEC22, where="Example 7-3, columns 14 and 15, SI", memory=False, worked=True)
@pytest.mark.parametrize(
    "diameter, slope, capacity, velocity",
    [(0.46, 0.03, "0.52", "3.14"), (0.61, 0.001, "0.20", "0.69"), (0.61, 0.01, "0.64", "2.19")],
)
def test_capacity_and_velocity_of_a_storm_drain(rounds_to, diameter, slope, capacity, velocity):
    assert rounds_to(full_pipe_capacity(diameter, slope, 0.013), capacity, share=ROUNDED_CONSTANTS)
    assert rounds_to(full_velocity(diameter, slope, 0.013), velocity, share=ROUNDED_CONSTANTS)


@pytest.mark.published(source=HEC22, where="Example 7-3, column 16, read off Chart 24", memory=False, worked=True)
@pytest.mark.parametrize(
    "flow, diameter, slope, printed",
    [(0.10, 0.46, 0.03, 2.32), (0.15, 0.46, 0.03, 2.64), (0.19, 0.61, 0.01, 1.84), (0.19, 0.61, 0.001, 0.79)],
)
def test_velocity_part_full(flow, diameter, slope, printed):
    # a chart reading, of rounded ratios of flow
    assert pipe_flow(flow, diameter, slope, 0.013).velocity == pytest.approx(printed, rel=0.05)


@pytest.mark.published(source=HEC22, where="Table 7-7", memory=False, worked=False)
@pytest.mark.parametrize(
    "inches, roughness, printed",
    [(8, 0.012, "0.0064"), (8, 0.013, "0.0075"), (8, 0.024, "0.0256"), (12, 0.012, "0.0037"), (12, 0.013, "0.0044"),
     (12, 0.024, "0.0149"), (24, 0.013, "0.0017"), (36, 0.024, "0.0034")],
)
def test_slope_for_three_feet_a_second(rounds_to, inches, roughness, printed):
    # the velocity of a full pipe goes with the root of its slope
    velocity = full_velocity(inches * INCH, float(printed), roughness) / FOOT
    assert rounds_to(float(printed) * (3.0 / velocity) ** 2, printed, share=0.005)


@pytest.mark.published(source=SEWER_CODE, where="table of minimum slopes", memory=False, worked=False)
@pytest.mark.parametrize("inches, slope", [(8, 0.0040), (12, 0.0022), (15, 0.0015), (18, 0.0012), (24, 0.0008)])
def test_least_slopes_of_a_sewer_code_reach_two_feet_a_second(inches, slope):
    assert 2.0 <= full_velocity(inches * INCH, slope, 0.013) / FOOT < 2.2


def test_the_sewer_code_misprints_its_10_inch_slope():
    # 0.20 is printed; it stays below the 2 ft/s that the same table promises, and 0.28 reaches it
    assert full_velocity(10 * INCH, 0.0020, 0.013) / FOOT == pytest.approx(1.797, abs=0.001)
    assert full_velocity(10 * INCH, 0.0028, 0.013) / FOOT == pytest.approx(2.126, abs=0.001)


def unit_pipe_flow(filled):
    return pipe_discharge(filled, 1.0, 1.0, 1.0)


def unit_pipe_velocity(filled):
    return velocity_manning(circular_segment(filled, 1.0).hydraulic_radius, 1.0, 1.0)


@pytest.mark.published(source=WHITE, where="eq. 10.21: y = 0.938 D, Q = 2.129 R^(8/3)/n", memory=False, worked=False)
def test_depth_that_carries_most(rounds_to):
    deepest = minimize_scalar(lambda filled: -unit_pipe_flow(filled), bounds=(0.8, 1.0), method="bounded")
    assert rounds_to(deepest.x, "0.938")
    assert rounds_to(unit_pipe_flow(0.938) / 0.5 ** (8 / 3), "2.129")


@pytest.mark.published(source=WHITE, where="eq. 10.20: y = 0.813 D, V = 0.718 R^(2/3)/n", memory=False, worked=False)
def test_depth_that_flows_fastest(rounds_to):
    fastest = minimize_scalar(lambda filled: -unit_pipe_velocity(filled), bounds=(0.6, 1.0), method="bounded")
    assert rounds_to(fastest.x, "0.813", share=1e-4)
    assert rounds_to(unit_pipe_velocity(0.813) / 0.5 ** (2 / 3), "0.718")


@pytest.mark.published(source=HEC22, where="sec. 7.1.3: twice the diameter, 6.35 the flow", memory=False, worked=False)
def test_doubled_diameter(rounds_to):
    assert rounds_to(full_pipe_capacity(2.0, 0.01, 0.013) / full_pipe_capacity(1.0, 0.01, 0.013), "6.35")


@pytest.mark.published(source="ASTM D1785 size charts", where="inside by minimum wall", memory=False, worked=False)
@pytest.mark.parametrize(
    "size, inches", [("1-1/4", 1.380), ("1-1/2", 1.610), ("2", 2.067), ("3", 3.068), ("4", 4.026), ("6", 6.065)]
)
def test_schedule_40_inside_diameters(size, inches):
    pipe = find_pipe(f"{size} in sch 40")
    assert pipe.inside / INCH == pytest.approx(inches, abs=1e-9)
    assert (pipe.outside - 2 * pipe.wall) / INCH == pytest.approx(inches, abs=1e-9)


@pytest.mark.published(source="SDR-35 specification summary (ASTM D3034)", where="4 in", memory=False, worked=False)
def test_sdr_35_four_inch():
    pipe = find_pipe("4 in SDR-35")
    assert (pipe.outside / INCH, pipe.wall / INCH) == (pytest.approx(4.215), pytest.approx(0.120))


@pytest.mark.published(source="SDR-35 specification summary (ASTM D3034)", where="range of sizes", memory=False,
                       worked=False)
def test_there_is_no_three_inch_sdr_35():
    assert min(pipe.nominal for pipe in pipe_catalogue() if pipe.standard == "SDR-35") == pytest.approx(4 * INCH)


@pytest.mark.published(source="ASTM D2729-96a", where="scope: perforated pipe in 4 in only", memory=False, worked=False)
def test_perforated_d2729_is_four_inch_only():
    assert [pipe.key for pipe in pipe_catalogue() if pipe.standard == "D2729 perforated"] == ["4 in D2729 perforated"]


@pytest.mark.published(
    source="Caltrans, Highway Design Manual", where="Table 851.2, plastic smooth", memory=False, worked=False
)
def test_smooth_plastic_roughness():
    assert {p.roughness for p in pipe_catalogue() if p.interior == "smooth"} == {0.012}


@pytest.mark.published(
    source="Austin Drainage Criteria Manual", where="Table 5-2, perforated plastic", memory=False, worked=False
)
def test_perforated_plastic_roughness():
    assert {p.roughness for p in pipe_catalogue() if p.interior == "perforated"} == {0.020}


@pytest.mark.published(source=HEC22, where="Table 7-1, corrugated polyethylene", memory=False, worked=False)
def test_corrugated_plastic_roughness():
    # 0.018 is the low end of the table's range
    assert {p.roughness for p in pipe_catalogue() if p.interior == "corrugated"} == {0.018}
