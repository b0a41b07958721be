"""Each formula in feet, as its source prints it, against the same formula in metres."""

from math import pi, sqrt

import pytest

from pipelines.hydraulics.access_hole import entrance_energy
from pipelines.hydraulics.channel.barrel import circular_barrel
from pipelines.hydraulics.channel.culvert import culvert_inlet, full_barrel_loss, inlet_control_depth
from pipelines.hydraulics.grate import orifice_flow, weir_flow
from pipelines.hydraulics.manning import full_pipe_capacity, velocity_manning
from pipelines.hydraulics.pumping.pressure_line import friction_hazen_williams, relief_hole_flow
from pipelines.hydraulics.pumping.sump_basin import cycle_volume_needed
from pipelines.hydraulics.weir import overtopping_flow
from terrain.unit_table import CUBIC_FOOT_PER_SECOND, FOOT, GALLON_PER_MINUTE, INCH

CFS = CUBIC_FOOT_PER_SECOND
GPM = GALLON_PER_MINUTE
G = 32.174
PIPE_3, PIPE_4 = circular_barrel(3 * FOOT), circular_barrel(4 * FOOT)
SQUARE_EDGE = culvert_inlet("concrete_square_edge")


FEET = [
    # 1.486 is rounded from 1.4859, 2.87 from 2.8757
    ("manning", velocity_manning(0.4 * FOOT, 0.01, 0.05) / FOOT, 1.486 / 0.05 * 0.4 ** (2 / 3) * 0.1),
    ("full pipe", full_pipe_capacity(1.5 * FOOT, 0.01, 0.013) / CFS, 0.46316 / 0.013 * 1.5 ** (8 / 3) * 0.1),
    ("hazen-williams", friction_hazen_williams(40 * GPM, 100 * FOOT, 1.61 * INCH, 150) / FOOT,
     10.44 * 100 * 40**1.852 / (150**1.852 * 1.61**4.8704)),
    ("grate as weir", weir_flow(0.3 * FOOT, 4 * FOOT) / CFS, 3.0 * 4 * 0.3**1.5),
    ("grate as orifice", orifice_flow(0.8 * FOOT, 0.35 * FOOT**2) / CFS, 0.67 * 0.35 * sqrt(2 * G * 0.8)),
    ("hole", relief_hole_flow(20 * FOOT) / CFS, 0.61 * pi / 4 * (3 / 16 / 12) ** 2 * sqrt(2 * G * 20)),
    ("road", overtopping_flow([0.0, 200 * FOOT], [0.0, 0.0], 0.5 * FOOT, 2.7 * FOOT**0.5) / CFS, 2.7 * 200 * 0.5**1.5),
    ("full culvert",
     full_barrel_loss(PIPE_4, 70 * CFS, length=110 * FOOT, roughness=0.012, entrance_loss=0.5) / FOOT,
     (1.5 + 29.14 * 0.012**2 * 110) * (70 / (4 * pi)) ** 2 / (2 * G)),
    ("drowned inlet", inlet_control_depth(PIPE_3, SQUARE_EDGE, 66 * CFS, 0.02) / FOOT,
     3 * (0.0398 * (66 / (pi / 4 * 9 * sqrt(3))) ** 2 + 0.67 - 0.5 * 0.02)),
    ("entrance", entrance_energy(6.7 * CFS, 2 * FOOT) / FOOT, 1.6 * 2 * (6.7 / (pi * sqrt(G * 2))) ** 0.67),
    ("floats", cycle_volume_needed(40 * GPM, 6.0) / GPM / 60, 10 * 40 / 4),
]


@pytest.mark.parametrize("metric, printed", [case[1:] for case in FEET], ids=[case[0] for case in FEET])
def test_feet_and_metres_agree(metric, printed):
    assert metric == pytest.approx(printed, rel=2.5e-3)
