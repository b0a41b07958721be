"""What is read off directions: catchments, labels, lengths, paths; lines and polygons of them."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from terrain.flow.cells_to_polygons import label_polygons
from terrain.flow.drainage import catchment, drain_ground, flow_lengths, path_downstream, upstream_labels
from terrain.flow.flow_paths import find_flow_paths
from terrain.ground import OPEN, ROOF


@pytest.fixture(scope="module")
def valley(ground_of):
    """21 x 31 cells of 2 m by 1 m: two sides that fall to a bottom in column 15, which falls to the south."""
    row, column = np.indices((21, 31))
    return drain_ground(ground_of(50.0 - 0.1 * row + 0.5 * np.abs(column - 15), cell_width=2.0, cell_height=1.0))


def test_catchment_is_what_passes(valley):
    outlet = 20 * 31 + 15
    np.testing.assert_array_equal(catchment(valley, outlet).sum() * 2.0, valley.accumulation.flat[outlet])
    both = catchment(valley, [10 * 31 + 15, 3])
    np.testing.assert_array_equal(both, catchment(valley, 10 * 31 + 15) | catchment(valley, 3))


def test_labels_are_those_first_met(valley):
    seeds = np.full((21, 31), -1)
    seeds[20, 15], seeds[10, 15] = 7, 9
    labels = upstream_labels(valley, seeds)
    assert labels[20, 15] == 7
    assert labels[10, 15] == 9
    np.testing.assert_array_equal(labels == 9, catchment(valley, 10 * 31 + 15))
    np.testing.assert_array_equal(labels >= 0, catchment(valley, 20 * 31 + 15))


def test_roof_cells_take_the_label_of_their_receiver(ground_of):
    kind, receiver = np.full((3, 5), OPEN), np.full((3, 5), -1)
    kind[1, 2], receiver[1, 2] = ROOF, 1 * 5 + 4
    drained = drain_ground(ground_of(np.tile(np.arange(5.0)[::-1], (3, 1)), kind=kind, receiver=receiver))
    seeds = np.full((3, 5), -1)
    seeds[1, 4] = 3
    assert upstream_labels(drained, seeds)[1, 2] == 3
    assert catchment(drained, 9)[1, 2]


def test_lengths_follow_the_cells(valley):
    lengths = flow_lengths(valley)
    assert lengths[20, 15] == 0.0
    assert lengths[10, 15] == 10.0
    ends = np.zeros((21, 31), dtype=bool)
    ends[15, 15] = True
    to_end = flow_lengths(valley, ends)
    assert to_end[10, 15] == 5.0
    assert np.isnan(to_end[16, 15])
    path = path_downstream(valley, 5 * 31 + 3)
    steps = np.hypot(np.diff(path % 31) * 2.0, np.diff(path // 31))
    assert lengths[5, 3] == pytest.approx(steps.sum())


def test_paths_go_all_the_way(valley):
    path = path_downstream(valley, 0)
    assert path[0] == 0
    assert (np.diff(valley.filled.ravel()[path]) < 0).all()
    assert valley.target[path[-1]] == -1


def test_flow_paths_run_from_heads_to_confluences(valley):
    lines = find_flow_paths(valley, min_area=40.0)
    assert lines
    cells = np.concatenate([line.cells for line in lines])
    gathered = np.flatnonzero(valley.accumulation.ravel() >= 40.0)
    assert set(gathered.tolist()) == set(cells.tolist())
    for line in lines:
        np.testing.assert_array_equal(valley.target[line.cells[:-1]], line.cells[1:])
    # a cell inside a line lies on no other; ends are shared
    inner = np.concatenate([line.cells[1:-1] for line in lines])
    assert len(set(inner.tolist())) == inner.size


def test_area_of_a_line_is_that_before_the_confluence(valley):
    lines = find_flow_paths(valley, min_area=40.0)
    for line in lines:
        last = line.cells[-1]
        ends_here = [other for other in lines if other.cells[-1] == last]
        at = line.cells[-2] if len(ends_here) > 1 else last
        assert line.contributing_area == valley.accumulation.flat[at]


def test_no_flow_path_under_a_roof(ground_of):
    z = np.tile(10.0 - 0.1 * np.arange(30.0), (11, 1))
    kind, receiver = np.full(z.shape, OPEN), np.full(z.shape, -1)
    kind[4:7, 12:16] = ROOF
    receiver[4:7, 12:16] = 3 * 30 + 16
    drained = drain_ground(ground_of(z, kind=kind, receiver=receiver))
    for line in find_flow_paths(drained, min_area=2.0):
        assert (kind.ravel()[line.cells] == OPEN).all()


@given(labels=arrays(np.int64, st.tuples(st.integers(1, 9), st.integers(1, 9)), elements=st.integers(-1, 3)))
def test_polygons_of_labels_tile_their_cells(ground_of, labels):
    grid = ground_of(np.zeros(labels.shape), cell_width=0.3, cell_height=0.7).grid
    shapes = label_polygons(labels, grid)
    assert sorted(shapes) == sorted(set(labels[labels >= 0].tolist()))
    for label, shape in shapes.items():
        assert shape.is_valid
        assert shape.area == pytest.approx((labels == label).sum() * grid.cell_area)
        x, y = grid.centres(*np.nonzero(labels == label))
        assert shapely.contains_xy(shape, x, y).all()
    whole = shapely.union_all(list(shapes.values())) if shapes else shapely.Polygon()
    assert whole.area == pytest.approx((labels >= 0).sum() * grid.cell_area)


def test_large_labels_survive(ground_of):
    labels = np.array([[5_000_000_000, -1], [7, 7]])
    shapes = label_polygons(labels, ground_of(np.zeros((2, 2))).grid)
    assert {label: shape.area for label, shape in shapes.items()} == {7: 2.0, 5_000_000_000: 1.0}
