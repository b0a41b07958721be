"""Grade line up a storm drain, against the agency's worked example.

The example reads part-full depths and velocities off a chart and rounds flows to 0.01 m3/s, so levels agree to about
0.02 m where a chart stands between, and to a millimetre or two where none does.
"""

import pytest

from pipelines.hydraulics.access_hole import EnteringFlow, access_hole_energy, discharge_intensity, entrance_energy
from pipelines.hydraulics.channel.barrel import circular_barrel, critical_depth
from pipelines.hydraulics.grade_line import GradeNode, GradeRun, grade_line
from pipelines.hydraulics.manning import full_pipe_capacity

HEC22 = "FHWA, Urban Drainage Design Manual, HEC-22, 3rd ed., 2009"
READ_OFF_A_CHART = 0.02


@pytest.fixture(scope="module")
def example():
    runs = [
        GradeRun("43-44", "43", "outfall", 0.19, 0.61, 17.0, 0.013, 100.97, 100.80),
        # laid at 0.001 as the example's depth of flow has it; its inverts, rounded, give 0.0023
        GradeRun("42-43", "42", "43", 0.19, 0.61, 4.3, 0.013, 104.8743, 104.87),
        GradeRun("41-42", "41", "42", 0.15, 0.46, 100.0, 0.013, 107.93, 104.93, angle=90.0),
        GradeRun("40-41", "40", "41", 0.10, 0.46, 110.0, 0.013, 111.41, 108.11),
    ]
    nodes = {
        "43": GradeNode(106.00, 0.0, "flat"),
        "42": GradeNode(106.47, 0.047, "flat"),
        "41": GradeNode(109.77, 0.05, "flat"),
        "40": GradeNode(112.77, 0.10, "flat"),
    }
    return grade_line(runs, nodes, 101.65)


@pytest.mark.published(source=HEC22, where="Example 7-3, step 22, SI", memory=False, worked=True)
@pytest.mark.parametrize("node, level, within", [
    ("43", 101.712, 0.002), ("42", 105.42, 0.025), ("41", 108.46, READ_OFF_A_CHART),
    ("40", 111.83, READ_OFF_A_CHART)])
def test_level_in_each_structure(example, node, level, within):
    assert example.nodes[node].level == pytest.approx(level, abs=within)
    assert not example.nodes[node].surcharged


@pytest.mark.published(source=HEC22, where="Example 7-3, steps 4 and 13, structure 43, SI", memory=False, worked=True)
@pytest.mark.parametrize("name, level", [
    ("energy_down", 101.672), ("hydraulic_down", 101.650), ("energy_up", 101.687), ("hydraulic_up", 101.665)])
def test_grade_line_of_the_drowned_outfall(example, name, level):
    assert getattr(example.runs["43-44"], name) == pytest.approx(level, abs=0.001)


@pytest.mark.published(source=HEC22, where="Example 7-3, steps 8 and 14, SI", memory=False, worked=True)
@pytest.mark.parametrize("run, regime", [
    ("43-44", "full"), ("42-43", "part full"), ("41-42", "supercritical"), ("40-41", "supercritical")])
def test_regime_of_each_pipe(example, run, regime):
    assert example.runs[run].regime == regime


@pytest.mark.published(source=HEC22, where="Example 7-3, step 11, eq. 7-3", memory=False, worked=True)
@pytest.mark.parametrize("flow, diameter, printed", [(0.19, 0.61, "0.00088"), (0.15, 0.46, "0.00247")])
def test_friction_slope(rounds_to, flow, diameter, printed):
    assert rounds_to((flow / full_pipe_capacity(diameter, 1.0, 0.013)) ** 2, printed, share=0.01)


@pytest.mark.published(source=HEC22, where="Example 7-3, step 15, eq. 7-17", memory=False, worked=True)
@pytest.mark.parametrize(
    "flow, diameter, printed", [(0.19, 0.61, "0.266"), (0.15, 0.46, "0.425"), (0.10, 0.46, "0.283")]
)
def test_discharge_intensity(rounds_to, flow, diameter, printed):
    assert rounds_to(discharge_intensity(flow, diameter), printed)


@pytest.mark.published(source=HEC22, where="Example 7-3, step 16c, eq. 7-19", memory=False, worked=True)
@pytest.mark.parametrize(
    "flow, diameter, printed", [(0.19, 0.61, "0.402"), (0.15, 0.46, "0.415"), (0.10, 0.46, "0.316")]
)
def test_entrance_energy(rounds_to, flow, diameter, printed):
    assert rounds_to(entrance_energy(flow, diameter), printed)


@pytest.mark.published(source=HEC22, where="Example 7-3, step 6, from HDS-5", memory=False, worked=True)
@pytest.mark.parametrize("flow, diameter, printed", [(0.15, 0.46, "0.26"), (0.10, 0.46, "0.21")])
def test_critical_depth_in_a_pipe(rounds_to, flow, diameter, printed):
    assert rounds_to(critical_depth(circular_barrel(diameter), flow), printed, share=0.02)


@pytest.mark.published(source=HEC22, where="Example 7-3, step 21, structure 43", memory=False, worked=True)
def test_energy_with_water_that_plunges(rounds_to):
    falls = EnteringFlow(0.19, 3.90)
    # the example rounds 0.2 V^2/2g to 0.004, which a head of 0.020 m gives
    energy = access_hole_energy(
        0.19, 0.61, outlet_energy=0.717, velocity_head=0.020, supercritical=False, entering=[falls], floor="flat"
    )
    assert rounds_to(energy, "0.742")


@pytest.mark.published(source=HEC22, where="Example 7-3, step 21, structure 42", memory=False, worked=True)
def test_energy_with_an_angled_pipe_and_a_grate(rounds_to):
    entering = [EnteringFlow(0.15, 0.05, 90.0), EnteringFlow(0.047, 1.59)]
    energy = access_hole_energy(
        0.19, 0.61, outlet_energy=0.512, velocity_head=0.032, supercritical=False, entering=entering, floor="flat"
    )
    assert rounds_to(energy, "0.538", share=0.004)
