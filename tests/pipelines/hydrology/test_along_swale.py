"""Flow along a swale keeps all its water and adds it in time."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydrology.along_swale import add_along, constant_discharge, side_hydrographs, side_inflows
from pipelines.hydrology.errors import HydrographError
from pipelines.hydrology.rain.design_rain import rain_given
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.hydrology.surface_map import map_surfaces
from terrain.flow.conditioning import make_ground
from terrain.flow.drainage import catchment, drain_ground
from terrain.swale.sections import cut_sections
from terrain.swale.swale_cells import swale_cells
from terrain.swale.thalweg import snap_thalweg

STATION = np.array([0.0, 30.0, 75.0, 100.0])


def _pulse(*flow):
    return Hydrograph(30.0, np.array(flow, dtype=float))


def test_a_pulse_comes_later_by_its_way():
    # 30 m at 1 m/s is one step
    flow = add_along(STATION, {0: [_pulse(0, 2, 0)]}, 1.0)
    assert np.argmax(flow.flow[0]) == 1
    assert np.argmax(flow.flow[1]) == 2
    np.testing.assert_allclose(flow.peak, 2.0)


def test_pulses_add_in_time_and_not_by_their_peaks():
    together = add_along(STATION[:2], {0: [_pulse(2, 0, 0)], 1: [_pulse(0, 3, 0)]}, 1.0)
    assert together.peak[1] == pytest.approx(5.0)
    apart = add_along(STATION[:2], {0: [_pulse(2, 0, 0)], 1: [_pulse(3, 0, 0)]}, 1.0)
    assert apart.peak[1] == pytest.approx(3.0)


@given(
    st.lists(st.lists(st.floats(0, 5), min_size=1, max_size=8), min_size=4, max_size=4),
    st.floats(0.05, 20.0),
)
def test_all_the_water_passes(flows, velocity):
    side = {index: [_pulse(*flow)] for index, flow in enumerate(flows)}
    flow = add_along(STATION, side, velocity)
    entered = np.array([side[index][0].volume for index in range(4)])
    np.testing.assert_allclose(flow.side, entered, atol=1e-9)
    np.testing.assert_allclose(flow.volume, np.cumsum(entered), rtol=1e-9, atol=1e-9)
    assert (flow.flow >= 0.0).all()
    assert flow.peak[-1] <= sum(max(each) for each in flows) + 1e-9


def test_steps_and_speed_are_checked():
    with pytest.raises(HydrographError, match="must all have a step of 30 s"):
        add_along(STATION, {0: [Hydrograph(60.0, np.ones(2))]}, 1.0)
    with pytest.raises(HydrographError, match="give one above 0"):
        add_along(STATION, {}, 0.0)
    with pytest.raises(HydrographError, match="flow of 0 or above"):
        constant_discharge(-1.0, 60.0)


def test_a_constant_discharge_lasts_as_long_as_asked():
    assert constant_discharge(0.01, 3600.0).volume == pytest.approx(36.0)
    # and one shorter than a step takes one
    for duration in (7.0, 60.0):
        assert constant_discharge(0.01, duration, 60.0).volume == pytest.approx(0.6)


def _swale(made_swale):
    # lawn falls to the swale from both sides at 3 %
    made = made_swale(
        lambda t: np.minimum(np.abs(t) / 4.0, 0.3) + 0.03 * np.maximum(np.abs(t) - 1.2, 0.0), beside=20.0, angle=20.0
    )
    ground = make_ground(made.surface)
    thalweg = snap_thalweg(ground, made.drawn)
    sections = cut_sections(ground, thalweg)
    return ground, drain_ground(ground), sections, swale_cells(ground, thalweg, sections)


def test_cells_of_a_swale_lie_between_its_banks(made_swale):
    ground, _, sections, seeds = _swale(made_swale)
    width = np.mean([section.width for section in sections])
    assert (seeds >= 0).sum() * ground.grid.cell_area == pytest.approx(100.0 * width, rel=0.05)
    assert set(np.unique(seeds)) == {-1, *range(len(sections))}


def test_each_cell_of_a_swale_belongs_to_the_first_section_at_or_below_it(made_swale):
    ground, _, sections, seeds = _swale(made_swale)
    rows, columns = np.nonzero(seeds >= 0)
    x, y = ground.grid.centres(rows, columns)
    # the swale is straight, 100 m long, at 20 degrees through the origin
    at = 50.0 + x * np.cos(np.radians(20.0)) + y * np.sin(np.radians(20.0))
    stations = np.array([section.station for section in sections])
    half, near, number = 0.5 * ground.grid.cell_width, 0.1, seeds[rows, columns]
    assert (at >= -half - near).all()
    assert (at <= 100.0 + half + near).all()
    assert (stations[number] >= np.minimum(at, stations[-1]) - near).all()
    assert (np.concatenate([[-half], stations])[number] <= at + near).all()


def test_ground_is_divided_without_gap_and_its_runoff_all_comes_down(made_swale):
    ground, drainage, sections, seeds = _swale(made_swale)
    surfaces = map_surfaces(
        ground.grid, cover="lawn, fair", roofs=np.zeros(ground.grid.shape, dtype=bool), paving=[], soils=[],
        default_group="C",
    )  # fmt: skip
    inflows = side_inflows(drainage, seeds, surfaces, two_year_24h_depth=0.08, return_period=10.0)
    cells = np.concatenate([inflow.cells for inflow in inflows])
    assert len(np.unique(cells)) == len(cells)
    above = catchment(drainage, np.flatnonzero(seeds.ravel() >= 0))
    assert len(cells) == above.sum()
    rain = rain_given(0.08, 3600.0, two_year_24h_depth=0.08, distribution="constant")
    runoff = side_hydrographs(inflows, rain)
    station = np.array([section.station for section in sections])
    flow = add_along(station, {label: [hydrograph] for label, hydrograph in runoff.items()}, 0.6)
    assert flow.volume[-1] == pytest.approx(sum(each.volume for each in runoff.values()), rel=1e-9)
    assert (np.diff(flow.volume) >= -1e-9).all()
    piped = cells[:200]
    less = side_inflows(drainage, seeds, surfaces, two_year_24h_depth=0.08, return_period=10.0, piped=piped)
    assert sum(len(inflow.cells) for inflow in less) == len(cells) - 200
    more = side_hydrographs(inflows, rain_given(0.10, 3600.0, two_year_24h_depth=0.08, distribution="constant"))
    assert all(more[label].peak > runoff[label].peak for label in runoff)
