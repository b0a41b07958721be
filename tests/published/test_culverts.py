"""Culverts, against the agency's table and examples, a handbook, and another agency's independent fit."""

from math import pi
from typing import NamedTuple

import pytest

from pipelines.hydraulics.channel.barrel import circular_barrel
from pipelines.hydraulics.channel.culvert import CulvertInlet, culvert_inlet, full_barrel_loss, inlet_control_depth
from pipelines.hydraulics.weir import overtopping_flow
from terrain.unit_table import CUBIC_FOOT_PER_SECOND, FOOT, INCH

HDS5 = "FHWA, Hydraulic Design of Highway Culverts, HDS-5, 2nd ed., 2001"
HEC5 = "FHWA, HEC-5, Hydraulic Charts for Highway Culverts"
CFS = CUBIC_FOOT_PER_SECOND
NOMOGRAPH = 0.05


class Box(NamedTuple):
    """Of a barrel what a submerged inlet depends on: so the agency's boxes hold the equation that pipes use."""

    width: float
    rise: float

    @property
    def area(self):
        return self.width * self.rise


def box_inlet(c, y):
    """Wingwalls, c and Y of Table 9; what holds only unsubmerged is no number, so that nothing else is tested."""
    return CulvertInlet("box", "", float("nan"), float("nan"), c, y, 0.5, -0.5)


@pytest.mark.published(source=HDS5, where="Table 9", memory=False, worked=False)
@pytest.mark.parametrize(
    "name, k, m, c, y",
    [
        ("concrete_square_edge", 0.0098, 2.0, 0.0398, 0.67),
        ("concrete_groove_headwall", 0.0018, 2.0, 0.0292, 0.74),
        ("concrete_groove_projecting", 0.0045, 2.0, 0.0317, 0.69),
        ("metal_headwall", 0.0078, 2.0, 0.0379, 0.69),
        ("metal_mitered", 0.0210, 1.33, 0.0463, 0.75),
        ("metal_projecting", 0.0340, 1.50, 0.0553, 0.54),
    ],
)
def test_inlet_constants(name, k, m, c, y):
    inlet = culvert_inlet(name)
    assert (inlet.k, inlet.m, inlet.c, inlet.y) == (k, m, c, y)


@pytest.mark.published(source=HDS5, where="ch. III, Example Problem 4, SI: headwater", memory=False, worked=True)
@pytest.mark.parametrize("flow, level", [(16.990, 33.93), (19.822, 34.71), (22.654, 35.52), (24.069, 35.81)])
def test_headwater_of_an_existing_box(flow, level):
    # read off a nomograph, square edges in a headwall; the example's least flow, 11.327 m3/s, does not submerge it
    depth = inlet_control_depth(Box(2.134, 2.134), box_inlet(0.0400, 0.80), flow, 0.05)
    assert depth == pytest.approx(level - 30.480, rel=NOMOGRAPH)


@pytest.mark.published(
    source="Highway Engineering Handbook, HDS-5 nomograph example", where="box 5 x 2 ft, 75 ft3/s", memory=False,
    worked=True,
)
@pytest.mark.parametrize("c, y, feet", [(0.0347, 0.81, 3.5), (0.0400, 0.80, 3.8), (0.0423, 0.82, 4.1)])
def test_headwater_of_a_box_by_its_inlet(c, y, feet):
    depth = inlet_control_depth(Box(5 * FOOT, 2 * FOOT), box_inlet(c, y), 75 * CFS, 0.0)
    assert depth / FOOT == pytest.approx(feet, rel=NOMOGRAPH)


@pytest.mark.published(source=HDS5, where="ch. III, Example Problem 4: overtopping", memory=False, worked=True)
@pytest.mark.parametrize(
    "head, length, coefficient, unit, printed",
    [
        (0.16, 60.96, 2.70 * 0.552, 1.0, "5.8"),
        (0.45, 60.96, 2.92 * 0.552, 1.0, "29.7"),
        (0.5 * FOOT, 200 * FOOT, 2.70 * FOOT**0.5, CFS, "191"),
        (1.5 * FOOT, 200 * FOOT, 2.92 * FOOT**0.5, CFS, "1073"),
    ],
)
def test_flow_over_the_road(rounds_to, head, length, coefficient, unit, printed):
    assert rounds_to(overtopping_flow([0.0, length], [0.0, 0.0], head, coefficient) / unit, printed)


@pytest.mark.published(
    source=HEC5, where="chart examples: 42 in concrete, 120 ft3/s; 36 in metal, 66 ft3/s", memory=True, worked=True
)
@pytest.mark.parametrize(
    "inches, flow, inlet, over",
    [
        (42, 120, "concrete_square_edge", 2.5), (42, 120, "concrete_groove_headwall", 2.1),
        (42, 120, "concrete_groove_projecting", 2.2),
        (36, 66, "metal_headwall", 1.8), (36, 66, "metal_mitered", 2.1), (36, 66, "metal_projecting", 2.2),
    ],
)
def test_headwater_of_a_pipe_by_its_inlet(inches, flow, inlet, over):
    depth = inlet_control_depth(circular_barrel(inches * INCH), culvert_inlet(inlet), flow * CFS, 0.0)
    assert depth / (inches * INCH) == pytest.approx(over, rel=NOMOGRAPH)


@pytest.mark.published(
    source=HEC5, where="chart example: 48 in concrete, n 0.012, 110 ft, ke 0.5, 70 ft3/s", memory=True, worked=True
)
def test_loss_of_a_full_pipe(rounds_to):
    loss = full_barrel_loss(circular_barrel(48 * INCH), 70 * CFS, length=110 * FOOT, roughness=0.012, entrance_loss=0.5)
    # 29 stands for 29.16 in the printed equation
    assert rounds_to(loss / FOOT, "0.94", share=0.002)


@pytest.mark.published(source="TxDOT, Hydraulic Design Manual, ch. 8", where="eq. 8-4, square-edged concrete pipe",
                       memory=False, worked=False)
@pytest.mark.parametrize("x", [2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0])
def test_against_another_agencys_polynomial(x):
    # F = Q / D^2.5 = x pi / 4 in feet; that F is what the polynomial takes is from memory
    f = x * pi / 4
    polynomial = 0.087483 + 0.706578 * f - 0.2533 * f**2 + 0.0667 * f**3 - 0.00662 * f**4 + 0.000251 * f**5
    diameter = 3 * FOOT
    flow = x * 3**0.5 * pi * 3**2 / 4 * CFS
    depth = inlet_control_depth(circular_barrel(diameter), culvert_inlet("concrete_square_edge"), flow, 0.0)
    assert depth / diameter == pytest.approx(polynomial, rel=0.025)


@pytest.mark.parametrize("x, over", [(4.0, 1.307), (5.0, 1.665), (6.0, 2.103)])
def test_form_of_the_submerged_equation(x, over):
    # c x^2 + Y by hand
    pipe = circular_barrel(1.0)
    depth = inlet_control_depth(pipe, culvert_inlet("concrete_square_edge"), x * pipe.area / 1.811, 0.0)
    assert depth == pytest.approx(over, abs=6e-4)
