"""Lines of flow go down: to the bottom of a low spot, and over its sill only as lines that run when it is full."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from terrain.flow.drainage import drain_ground
from terrain.flow.flow_paths import drain_into, find_flow_paths
from terrain.flow.low_spots import find_low_spots
from terrain.ground import OPEN, ROOF

HEIGHTS = arrays(np.float64, st.tuples(st.integers(3, 14), st.integers(3, 14)),
                 elements=st.integers(0, 12).map(lambda step: step / 20.0))  # fmt: skip


def climb(heights):
    """The most that a line stands above a lower place that it came by. [m]"""
    return float(np.max(heights - np.minimum.accumulate(heights)))


@given(heights=HEIGHTS)
def test_no_line_climbs_but_one_that_runs_when_a_low_spot_is_full(ground_of, heights):
    drained = drain_ground(ground_of(heights))
    spots = find_low_spots(drained, rmse=0.1, min_depth=1e-6, min_area=0.0)
    lines = find_flow_paths(drained, min_area=1.0, low_spots=spots)
    for line in lines:
        along = heights.ravel()[line.cells]
        rows, columns = np.divmod(line.cells, heights.shape[1])
        assert (np.maximum(abs(np.diff(rows)), abs(np.diff(columns))) == 1).all()
        if line.when_full:
            continue
        assert climb(along) == 0.0
        assert line.fall == pytest.approx(along[0] - along[-1])
    bottoms = {spot.bottom for spot in spots}
    assert {int(line.cells[0]) for line in lines if line.when_full} <= bottoms


@given(heights=HEIGHTS)
def test_what_is_not_listed_is_crossed_by_no_more_than_its_depth(ground_of, heights):
    drained = drain_ground(ground_of(heights))
    spots = find_low_spots(drained, rmse=0.1, min_depth=0.12, min_area=0.0)
    for line in find_flow_paths(drained, min_area=1.0, low_spots=spots):
        if not line.when_full:
            assert climb(heights.ravel()[line.cells]) < 0.12


@given(heights=HEIGHTS)
def test_a_full_low_spot_runs_over_its_sill_and_no_higher(ground_of, heights):
    drained = drain_ground(ground_of(heights))
    spots = find_low_spots(drained, rmse=0.1, min_depth=1e-6, min_area=0.0)
    outer = [spot for spot in spots if spot.contained_in is None]
    lines = [line for line in find_flow_paths(drained, min_area=1.0, low_spots=spots) if line.when_full]
    for spot in outer:
        own = [line for line in lines if line.cells[0] == spot.bottom]
        assert own
        along = heights.ravel()[own[0].cells]
        assert along.max() == pytest.approx(spot.spill_elevation)
        # two hollows that meet at one sill are one low spot, left at the last place that high
        assert climb(along[int(np.flatnonzero(along == along.max())[-1]) :]) == 0.0


@given(heights=HEIGHTS)
def test_what_falls_stays_in_a_low_spot_or_leaves(ground_of, heights):
    drained = drain_ground(ground_of(heights))
    spots = find_low_spots(drained, rmse=0.1, min_depth=0.06, min_area=0.0)
    direct = drain_into(drained, spots)
    ends = direct.target < 0
    assert direct.accumulation.ravel()[ends].sum() == pytest.approx(heights.size)
    position = np.full(heights.size, -1)
    position[direct.order] = np.arange(heights.size)
    onward = ~ends
    assert (position[direct.target[onward]] < position[onward]).all()


def test_a_bowl_on_a_slope(ground_of):
    # falls west to east; a bowl 0.5 m deep in the way
    y, x = np.mgrid[0:21, 0:41].astype(float)
    z = 10.0 - 0.05 * x + 0.02 * abs(y - 10.0) - 1.2 * np.exp(-((x - 20.0) ** 2 + (y - 10.0) ** 2) / 16.0)
    drained = drain_ground(ground_of(z))
    (spot,) = find_low_spots(drained, rmse=0.1)
    lines = find_flow_paths(drained, min_area=20.0, low_spots=(spot,))
    (over,) = [line for line in lines if line.when_full]
    assert over.cells[0] == spot.bottom
    assert spot.spill_cell in over.cells
    assert any(line.cells[-1] == spot.bottom for line in lines if not line.when_full)
    # what drains to the bowl: by hand, cells that a marble from each would reach it from
    assert over.contributing_area >= drain_into(drained, (spot,)).accumulation.flat[spot.bottom]
    # without low spots the old line runs right across, climbing out
    across = find_flow_paths(drained, min_area=20.0)
    assert max(climb(z.ravel()[line.cells]) for line in across) > 0.2


def test_a_roof_gives_its_water_to_a_bottom(ground_of):
    z = np.full((7, 9), 5.0)
    z[1:6, 1:8] = 4.6
    z[3, 4] = 4.5
    kind, receiver = np.full(z.shape, OPEN), np.full(z.shape, -1)
    kind[3, 5], receiver[3, 5] = ROOF, 3 * 9 + 4
    drained = drain_ground(ground_of(z, kind=kind, receiver=receiver))
    spots = find_low_spots(drained, rmse=0.1)
    direct = drain_into(drained, spots)
    assert direct.target[3 * 9 + 5] == 3 * 9 + 4
    assert direct.accumulation[3, 4] >= 35.0


@given(heights=HEIGHTS)
def test_a_line_says_what_it_climbs_past_the_sill_that_it_begins_in(ground_of, heights):
    drained = drain_ground(ground_of(heights))
    spots = find_low_spots(drained, rmse=0.1, min_depth=0.12, min_area=0.0)
    for line in find_flow_paths(drained, min_area=1.0, low_spots=spots):
        along = heights.ravel()[line.cells]
        if line.when_full:
            spill = drained.filled.flat[line.cells[0]]
            along = along[int(np.flatnonzero(drained.filled.flat[line.cells] >= spill)[-1]) :]
        assert line.climb == climb(along)
        assert line.climb < 0.12
