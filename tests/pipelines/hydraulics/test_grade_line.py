"""Grade lines and basins: which way they move, surcharge, refusals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydraulics.access_hole import EnteringFlow, access_hole_energy, entrance_capacity, entrance_energy
from pipelines.hydraulics.basin_capacity import basin_capacity
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.grade_line import GradeNode, GradeRun, grade_line
from pipelines.hydraulics.grate import BASIN_GRATES, grate_capacity
from pipelines.hydraulics.manning import full_pipe_capacity, pipe_flow
from pipelines.hydraulics.pipe_catalogue import find_pipe
from terrain.unit_table import GALLON_PER_MINUTE, INCH

PIPE = find_pipe("4 in SDR-35")
GPM = GALLON_PER_MINUTE


def run(name, up, down, flow, *, invert_up, invert_down, length=15.0, diameter=PIPE.inside, angle=180.0):
    return GradeRun(name, up, down, flow, diameter, length, 0.012, invert_up, invert_down, angle)


def patio(flow, *, roof=0.0, slope=0.01):
    """A patio basin below a roof line that joins it, on 15 m of pipe to a swale."""
    fall = 15.0 * slope
    runs = [
        run("out", "patio", "swale", flow + roof, invert_up=9.0 + fall, invert_down=9.0),
        run("roof line", "downspout", "patio", roof, invert_up=11.0, invert_down=9.2 + fall, angle=90.0),
    ]
    return runs, {"patio": GradeNode(9.6 + fall, flow), "downspout": GradeNode(12.0, roof)}


def test_below_its_capacity_a_pipe_stands_at_normal_depth():
    runs, nodes = patio(40 * GPM)
    found = grade_line(runs, nodes, 8.0)
    depth = found.runs["out"].hydraulic_up - runs[0].invert_up
    assert depth == pytest.approx(pipe_flow(40 * GPM, PIPE.inside, 0.01, 0.012).filled * PIPE.inside, rel=0.25)
    assert not found.surcharged


def test_roof_water_tied_in_above_a_low_grate_comes_up_through_it():
    few, many = (grade_line(*patio(40 * GPM, roof=roof * GPM), 8.0) for roof in (20, 160))
    assert few.surcharged == ()
    assert many.surcharged == ("patio",)
    assert many.nodes["patio"].freeboard < 0


def test_a_high_tailwater_comes_up_through_the_grate():
    runs, nodes = patio(20 * GPM)
    assert grade_line(runs, nodes, nodes["patio"].rim + 0.05).surcharged == ("patio",)


def test_an_over_full_pipe_rises_by_its_friction():
    flow = 1.5 * full_pipe_capacity(PIPE.inside, 0.01, 0.012)
    found = grade_line([run("out", "a", "swale", flow, invert_up=9.15, invert_down=9.0)], {"a": GradeNode(11.0)}, 9.5)
    out = found.runs["out"]
    assert out.regime == "full"
    assert out.energy_up - out.energy_down == pytest.approx(15.0 * 0.01 * 1.5**2, rel=1e-6)


@given(st.floats(5, 150), st.floats(0.002, 0.05), st.floats(8.5, 10.0), st.floats(0.01, 0.5))
def test_levels_fall_by_no_more_than_the_steps_of_the_method_as_the_tailwater_rises(gpm, slope, tailwater, more):
    runs, nodes = patio(gpm * GPM, roof=10 * GPM, slope=slope)
    low, high = (grade_line(runs, nodes, level).nodes for level in (tailwater, tailwater + more))
    # the method takes a pipe as shooting, part full or drowned by cases, which do not meet; what it adds in a basin
    # shrinks as the outlet drowns
    head = ((gpm + 10) * GPM / (0.25 * 3.14 * PIPE.inside**2)) ** 2 / 19.6
    assert all(high[name].level >= low[name].level - 0.15 * PIPE.inside - 0.6 * head for name in nodes)


@given(st.floats(20, 400), st.floats(0.002, 0.05))
def test_a_drowned_line_rises_with_the_flow(gpm, slope):
    runs, nodes = patio(gpm * GPM, slope=slope)
    more, _ = patio(1.1 * gpm * GPM, slope=slope)
    assert grade_line(more, nodes, 10.5).nodes["patio"].level > grade_line(runs, nodes, 10.5).nodes["patio"].level


@given(st.floats(1, 300), st.floats(0.001, 0.06), st.floats(8.0, 10.5))
def test_energy_never_falls_on_the_way_up(gpm, slope, tailwater):
    runs, nodes = patio(gpm * GPM, roof=0.3 * gpm * GPM, slope=slope)
    found = grade_line(runs, nodes, tailwater)
    for each in found.runs.values():
        assert each.energy_up >= each.energy_down - 1e-9
    assert found.nodes["patio"].level >= found.runs["out"].energy_up - 1e-9


def test_no_flow_stands_level_with_the_tailwater():
    runs, nodes = patio(0.0)
    assert grade_line(runs, nodes, 9.4).nodes["patio"].level == pytest.approx(9.4)
    assert grade_line(runs, nodes, 8.0).nodes["patio"].level == pytest.approx(runs[0].invert_up)


def test_tailwater_by_outfall():
    runs, nodes = patio(20 * GPM)
    assert grade_line(runs, nodes, {"swale": 9.4}).nodes == grade_line(runs, nodes, 9.4).nodes
    with pytest.raises(HydraulicsError, match="'swale', which is no node and has no tailwater"):
        grade_line(runs, nodes, {"ditch": 9.4})


@pytest.mark.parametrize("runs, nodes, says", [
    ([run("r", "a", "b", 0.01, invert_up=1.0, invert_down=0.9)], {}, "leaves 'a', which is no node"),
    ([], {"a": GradeNode(1.0)}, "node 'a' has 0 runs that leave it"),
    ([run(name, *ends, 0.01, invert_up=1.0, invert_down=0.9) for name, ends in (("r", "ab"), ("s", "ba"))],
     {"a": GradeNode(2.0), "b": GradeNode(2.0)}, "runs r, s lead to no outfall"),
    ([run("r", "a", "out", -0.01, invert_up=1.0, invert_down=0.9)], {"a": GradeNode(2.0)}, "flow is -0.01"),
    ([run("r", "a", "out", 0.01, invert_up=float("nan"), invert_down=0.9)], {"a": GradeNode(2.0)}, "invert up is nan"),
])
def test_bad_trees_are_refused(runs, nodes, says):
    with pytest.raises(HydraulicsError, match=says):
        grade_line(runs, nodes, 0.0)


@given(st.floats(0.001, 2.0), st.floats(0.05, 0.6))
def test_entrance_capacity_is_the_inverse_of_its_energy(energy, diameter):
    assert entrance_energy(entrance_capacity(energy, diameter), diameter) == pytest.approx(energy, rel=1e-9)


@given(st.floats(0.0, 180.0), st.floats(0.0, 1.0))
def test_a_sharper_angle_and_a_longer_fall_cost_no_less(angle, drop):
    def energy(turned, fallen):
        entering = [EnteringFlow(0.01, 0.0, turned), EnteringFlow(0.005, fallen)]
        return access_hole_energy(
            0.015, 0.15, outlet_energy=0.2, velocity_head=0.04, supercritical=False, entering=entering
        )

    assert energy(angle, drop) >= energy(180.0, drop) - 1e-12
    assert energy(angle, drop + 0.3) >= energy(angle, 0.0) - 0.05


def test_a_shooting_outlet_is_held_back_by_its_entrance_alone():
    energy = access_hole_energy(0.01, 0.1, outlet_energy=0.01, velocity_head=5.0, supercritical=True)
    assert energy == pytest.approx(entrance_energy(0.01, 0.1))


def test_unknown_floor_is_refused():
    with pytest.raises(HydraulicsError, match="flat or depressed"):
        access_hole_energy(0.01, 0.1, outlet_energy=0.1, velocity_head=0.1, supercritical=False, floor="mossy")


def basin(ponding, *, depth=0.4, slope=0.01, clogging=0.5):
    return basin_capacity(
        BASIN_GRATES[1], ponding, rim=10.0, invert=10.0 - depth, diameter=PIPE.inside, slope=slope, roughness=0.012,
        clogging=clogging,
    )


def test_a_basin_takes_the_least_of_three():
    assert basin(0.5 * INCH).governed_by == "grate"
    assert basin(4 * INCH).governed_by == "pipe"
    assert basin(4 * INCH, depth=0.11, slope=0.05).governed_by == "entrance"
    assert basin(0.5 * INCH).flow == grate_capacity(BASIN_GRATES[1], 0.5 * INCH, clogging=0.5)
    assert basin(4 * INCH).flow < grate_capacity(BASIN_GRATES[1], 4 * INCH, clogging=0.5)


def test_a_pipe_above_the_rim_is_refused():
    with pytest.raises(HydraulicsError, match="must lie below the basin's rim"):
        basin(0.05, depth=-0.1)
