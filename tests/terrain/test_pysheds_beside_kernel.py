"""The kernel and pysheds, bit for bit on one treatment of the same ground."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from terrain.flow import pysheds_adapter
from terrain.flow.drainage import catchment, drain_ground, flow_lengths
from terrain.ground import BARRIER, OPEN, OUTSIDE, ROOF


@st.composite
def built_grounds(draw):
    """Small grounds with walls, nodata at the rim and inside, ties or none; every wall gives to the first open cell."""
    shape = draw(st.tuples(st.integers(1, 9), st.integers(1, 9)))
    element = draw(st.sampled_from([st.integers(-2, 4).map(float), st.floats(-2, 4, width=32)]))
    z = draw(arrays(np.float64, shape, elements=element))
    kind = draw(arrays(np.int64, shape, elements=st.sampled_from([OPEN, OPEN, OPEN, OUTSIDE, BARRIER, ROOF])))
    receiver = np.full(shape, -1)
    if (kind == OPEN).any():
        receiver[kind > OPEN] = np.flatnonzero(kind == OPEN)[0]
    return np.where(kind == OUTSIDE, np.nan, z), kind, receiver


@given(built=built_grounds())
def test_they_agree_bit_for_bit(ground_of, built):
    z, kind, receiver = built
    drained = drain_ground(ground_of(z, kind=kind, receiver=receiver, cell_width=0.5, cell_height=2.0))
    assert pysheds_adapter.self_check(drained) == ()


@given(built=built_grounds())
def test_either_gives_the_same_drainage(ground_of, built):
    z, kind, receiver = built
    ground = ground_of(z, kind=kind, receiver=receiver)
    ours, theirs = drain_ground(ground), pysheds_adapter.with_pysheds(drain_ground(ground))
    np.testing.assert_array_equal(theirs.filled, ours.filled)
    np.testing.assert_array_equal(theirs.accumulation, ours.accumulation)
    np.testing.assert_array_equal(theirs.target, ours.target)


def test_a_difference_is_reported_where_it_is(ground_of):
    z = np.full((6, 6), 5.0)
    z[2:4, 2:4] = 4.0
    drained = drain_ground(ground_of(z))
    drained.filled[3, 2] += 1e-12
    drained.accumulation[1, 4] += 1.0
    high, wide = pysheds_adapter.self_check(drained)
    assert "filled surface in use [m] differs in 1 of 36 cells, first at row 3, column 2: kernel 5.0, beside" in high
    assert "accumulation in use [m2] differs in 1 of 36 cells, first at row 1, column 4" in wide


def test_the_two_fills_are_compared_though_pysheds_made_the_one_in_use(ground_of, monkeypatch):
    z = np.full((6, 6), 5.0)
    z[2:4, 2:4] = 4.0
    drained = pysheds_adapter.with_pysheds(drain_ground(ground_of(z)))
    monkeypatch.setattr(pysheds_adapter, "fill_depressions", lambda ground: ground.elevation)
    (said,) = pysheds_adapter.self_check(drained)
    assert "filled surface [m] differs in 4 of 36 cells, first at row 2, column 2: kernel 5.0, beside it 4.0" in said


def test_unknown_ground_inside_lets_water_out_here_and_dams_in_pysheds(ground_of):
    z = np.full((9, 9), 5.0)
    z[2:7, 2:7] = 4.0
    z[4, 4] = np.nan
    ground = ground_of(z)
    assert drain_ground(ground).filled[2, 2] == 4.0
    assert pysheds_adapter.fill_depressions(ground)[2, 2] == 5.0
    assert pysheds_adapter.self_check(drain_ground(ground)) == ()


def test_water_does_not_pass_between_walls_that_touch_at_a_corner(ground_of):
    z = np.full((6, 6), 5.0)
    z[2, 2], z[3, 3] = 3.0, 1.0
    kind = np.full((6, 6), OPEN)
    kind[2, 3], kind[3, 2] = BARRIER, ROOF
    drained = drain_ground(ground_of(z, kind=kind))
    assert drained.filled[2, 2] == 5.0
    assert pysheds_adapter.self_check(drained) == ()


def catchment_of_point(drainage, x, y):
    """Cells that drain through the cell that holds a point, by pysheds over the kernel's directions."""
    ground = drainage.ground
    grid, codes = pysheds_adapter._raster(np.pad(pysheds_adapter._codes(ground, drainage.target), 1), 0, ground)
    with pysheds_adapter._quiet():
        inside = np.asarray(grid.catchment(x, y, codes, xytype="coordinate", snap="center"), dtype=np.bool_)[1:-1, 1:-1]
    walls = (ground.kind > OPEN) & (ground.receiver >= 0)
    found = inside.copy()
    found[walls] |= inside.ravel()[ground.receiver[walls]]
    return found


def distances_to_point(drainage, x, y):
    """Length of the way from each cell down to the cell that holds a point, by pysheds. [m]"""
    ground = drainage.ground
    found = pysheds_adapter._codes(ground, drainage.target)
    width, height = ground.grid.cell_width, ground.grid.cell_height
    slant = float(np.hypot(width, height))
    step = np.zeros(129)
    step[[1, 16]], step[[4, 64]], step[[2, 8, 32, 128]] = width, height, slant
    grid, codes = pysheds_adapter._raster(np.pad(found, 1), 0, ground)
    _, weights = pysheds_adapter._raster(np.pad(step[found], 1), -1.0, ground)
    with pysheds_adapter._quiet():
        distances = grid.distance_to_outlet(x, y, codes, weights=weights, xytype="coordinate", snap="center")
    return np.ascontiguousarray(np.asarray(distances, dtype=np.float64)[1:-1, 1:-1])


@given(seed=st.integers(0, 2**32 - 1))
def test_catchments_and_distances_of_a_point(ground_of, seed):
    random = np.random.default_rng(seed)
    z = random.uniform(0, 3, (7, 8))
    kind = np.where(random.uniform(size=z.shape) < 0.1, ROOF, OPEN)
    kind[3, 3] = OPEN
    receiver = np.where(kind == ROOF, 3 * 8 + 3, -1)
    drained = drain_ground(ground_of(z, kind=kind, receiver=receiver, cell_width=0.5, cell_height=2.0))
    # the rim and the corner of a cell are where an index slips
    for row, column, x, y in [(3, 3, 0.5, 0.5), (0, 7, 0.99, 0.01), (6, 0, 0.01, 0.99)]:
        if kind[row, column] != OPEN:
            continue
        east = drained.ground.grid.left + (column + x) * 0.5
        north = drained.ground.grid.top - (row + y) * 2.0
        ends = np.zeros(z.shape, dtype=bool)
        ends[row, column] = True
        np.testing.assert_array_equal(
            catchment_of_point(drained, east, north), catchment(drained, row * 8 + column)
        )
        ours = np.where(kind == OPEN, flow_lengths(drained, ends), np.nan)
        theirs = distances_to_point(drained, east, north)
        np.testing.assert_allclose(np.where(np.isfinite(theirs), theirs, np.nan), ours, rtol=1e-12)


def test_cells_without_a_way_out_are_told(ground_of):
    drained = drain_ground(ground_of(np.add.outer(np.arange(4.0), np.arange(5.0))))
    turned = drained.target.copy()
    turned[6], turned[7] = 7, 6
    (said,) = [each for each in pysheds_adapter.self_check(replace(drained, target=turned)) if "way out" in each]
    assert said.endswith("cells have no way out")


@pytest.mark.parametrize("z", [np.full((3, 3), np.nan), [[1.0]], [[2.0, 1.0, 3.0]]])
def test_odd_grounds(ground_of, z):
    assert pysheds_adapter.self_check(drain_ground(ground_of(z))) == ()


def test_pysheds_is_imported_on_first_use_only():
    modules = "terrain.flow.drainage, terrain.flow.low_spots, terrain.flow.pysheds_adapter"
    code = f"import sys, {modules}; print('pysheds' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"


def test_a_generator_of_pysheds_is_compiled_anew_in_each_process(ground_of):
    """Cached, it could not be compiled into a caller that is not: a first run cut short would spoil every later one."""
    pysheds_adapter.fill_depressions(ground_of(np.eye(3)))
    from pysheds import _sgrid

    assert type(_sgrid.count._cache).__name__ == "NullCache"
    assert type(_sgrid._priority_flood.__wrapped__._cache).__name__ == "FunctionCache"
