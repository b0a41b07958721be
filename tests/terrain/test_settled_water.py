"""Fill-spill-merge against a slow twin on profiles, and what must hold on any ground."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from terrain.errors import GroundError
from terrain.flow.drainage import drain_ground, shut_in
from terrain.flow.low_spots import find_low_spots, settle_water
from terrain.ground import BARRIER, OPEN, OUTSIDE, ROOF
from terrain.kernels.depressions import grow_tree


@pytest.fixture(scope="session")
def ditch_of(ground_of):
    """What makes a ditch one cell wide between walls, shut at its first end and open at its last."""

    def make(profile):
        z = np.tile(np.concatenate([[0.0], np.asarray(profile, dtype=float)]), (3, 1))
        kind = np.full(z.shape, BARRIER)
        kind[1, 1:] = OPEN
        return ground_of(z, kind=kind)

    return make


def settled_in_ditch(profile, water):
    """Volume in each pool of a ditch and what leaves, by pouring over and over until no pool is too full."""
    last = len(profile) - 1
    wall = [np.inf, *profile]  # place 0 is the shut end
    pits = [i for i in range(1, last + 1) if wall[i - 1] > wall[i] < wall[i + 1]]
    peaks = [0] + [max(range(a, b), key=wall.__getitem__) for a, b in pairwise(pits)]
    peaks += [max(range(pits[-1], last + 2), key=wall.__getitem__)] if pits else []
    pools = [[peaks[i], peaks[i + 1], 0.0] for i in range(len(pits))]
    for i, pit in enumerate(pits):
        pools[i][2] = float(water[pit - 1])
    leaves = 0.0

    def capacity(pool):
        spill = min(wall[pool[0]], wall[pool[1]])
        return sum(max(spill - z, 0.0) for z in wall[pool[0] + 1 : pool[1]])

    while True:
        over = next((pool for pool in pools if pool[2] > capacity(pool) + 1e-9), None)
        if over is None:
            return pools, leaves
        at = pools.index(over)
        to = at + 1 if wall[over[1]] < wall[over[0]] else at - 1
        excess = over[2] - capacity(over)
        if to == len(pools):
            over[2] -= excess
            leaves += excess
        elif pools[to][2] >= capacity(pools[to]) - 1e-9 and _spills_at(pools[to], wall) == _spills_at(over, wall):
            first, second = sorted((at, to))
            pools[first : second + 1] = [[pools[first][0], pools[second][1], pools[first][2] + pools[second][2]]]
        else:
            over[2] -= excess
            pools[to][2] += excess


def _spills_at(pool, wall):
    return pool[0] if wall[pool[0]] < wall[pool[1]] else pool[1]


@given(profile=st.permutations(range(9)), data=st.data())
def test_water_in_a_ditch_settles_as_when_poured_by_hand(ditch_of, profile, data):
    water = data.draw(arrays(np.float64, len(profile), elements=st.integers(0, 40).map(lambda n: n / 4)))
    beds = np.array([np.inf, *profile])
    pit = np.array([0 < i < len(beds) - 1 and beds[i - 1] > beds[i] < beds[i + 1] for i in range(len(beds))])[1:]
    water = np.where(pit, water, 0.0)
    ground = ditch_of(profile)
    runoff = np.zeros(ground.grid.shape)
    runoff[1, 1:] = water
    settled = settle_water(drain_ground(ground), runoff)
    pools, leaves = settled_in_ditch(profile, water)
    assert settled.leaves == pytest.approx(leaves, abs=1e-9)
    for left, right, volume in pools:
        assert settled.depth[1, left + 1 : right].sum() == pytest.approx(volume, abs=1e-9)
    level = settled.depth[1, 1:] + np.array(profile)
    wet = settled.depth[1, 1:] > 0
    for i in range(len(profile) - 1):
        if wet[i] and wet[i + 1]:
            assert level[i] == pytest.approx(level[i + 1], abs=1e-9)


@st.composite
def wet_grounds(draw):
    """Small built grounds with water on every cell."""
    shape = draw(st.tuples(st.integers(1, 8), st.integers(1, 8)))
    element = draw(st.sampled_from([st.integers(0, 6).map(float), st.floats(0, 6, width=32)]))
    z = draw(arrays(np.float64, shape, elements=element))
    kind = draw(arrays(np.int64, shape, elements=st.sampled_from([OPEN, OPEN, OPEN, OPEN, OUTSIDE, BARRIER, ROOF])))
    runoff = draw(arrays(np.float64, shape, elements=st.floats(0, 3, width=32)))
    return np.where(kind == OUTSIDE, np.nan, z), kind, runoff


@given(wet=wet_grounds())
def test_all_water_stands_or_leaves(ground_of, wet):
    z, kind, runoff = wet
    ground = ground_of(z, kind=kind, cell_width=0.5, cell_height=2.0)
    settled = settle_water(drain_ground(ground), runoff)
    fallen = runoff[kind != OUTSIDE].sum()
    assert settled.stands + settled.leaves == pytest.approx(fallen, rel=1e-9, abs=1e-12)
    assert settled.depth.sum() * ground.grid.cell_area == pytest.approx(settled.stands, rel=1e-9, abs=1e-9)


@given(wet=wet_grounds())
def test_water_stands_level_and_no_higher_than_it_spills(ground_of, wet):
    z, kind, runoff = wet
    drained = drain_ground(ground_of(z, kind=kind))
    settled = settle_water(drained, runoff)
    level = np.where(settled.depth > 0, z + settled.depth, np.nan)
    free = ~shut_in(drained) & (settled.depth > 0)
    assert (level[free] <= drained.filled[free] + 1e-9).all()
    assert (settled.depth[kind != OPEN] == 0).all()
    for a, b in [(level[:, 1:], level[:, :-1]), (level[1:], level[:-1])]:
        both = ~np.isnan(a) & ~np.isnan(b)
        np.testing.assert_allclose(a[both], b[both], atol=1e-9)


@given(wet=wet_grounds())
def test_unlimited_water_stands_at_the_filled_surface(ground_of, wet):
    z, kind, _ = wet
    drained = drain_ground(ground_of(z, kind=kind))
    settled = settle_water(drained, np.where(kind == OPEN, 1e6, 0.0))
    free = (kind == OPEN) & ~shut_in(drained)
    np.testing.assert_allclose((z + settled.depth)[free], drained.filled[free], atol=1e-9)


@given(wet=wet_grounds())
def test_no_water_changes_nothing_and_more_water_never_stands_less(ground_of, wet):
    z, kind, runoff = wet
    drained = drain_ground(ground_of(z, kind=kind))
    assert settle_water(drained, np.zeros(z.shape)).stands == 0
    stands = [settle_water(drained, share * runoff).stands for share in (0.1, 0.5, 1.0, 4.0)]
    assert (np.diff(stands) >= -1e-9).all()


@given(wet=wet_grounds())
def test_pools_form_a_binary_tree_that_holds_ever_more(ground_of, wet):
    z, kind, _ = wet
    ground = ground_of(z, kind=kind)
    drained = drain_ground(ground)
    tree = grow_tree(ground.elevation, ground.kind, drained.target, drained.order, 1.0, 1.0)
    inner = tree.parent >= 0
    assert (tree.spill_level[inner] <= tree.spill_level[tree.parent[inner]]).all()
    joints = tree.left >= 0
    assert (tree.parent[tree.left[joints]] == np.flatnonzero(joints)).all()
    assert (tree.parent[tree.right[joints]] == np.flatnonzero(joints)).all()
    held = tree.capacity[tree.left[joints]] + tree.capacity[tree.right[joints]]
    assert (tree.capacity[joints] >= held - 1e-9).all()
    heights = ground.elevation.ravel()
    for pool in np.flatnonzero(np.isfinite(tree.capacity)):
        under = tree.cells[tree.begin[tree.first[pool]] : tree.begin[pool + 1]]
        assert tree.capacity[pool] == pytest.approx((tree.spill_level[pool] - heights[under]).sum(), abs=1e-9)
        assert heights[tree.bottom[pool]] == heights[under].min()


def test_what_a_low_spot_holds_and_spills(ditch_of):
    ground = ditch_of([10, 2, 6, 3, 8, 0])
    drained = drain_ground(ground)
    low_spots = find_low_spots(drained, rmse=0.1)
    runoff = np.zeros(ground.grid.shape)
    runoff[1, 2] = 5.0
    settled = settle_water(drained, runoff, low_spots)
    by_bottom = {ground.elevation.flat[spot.bottom]: spot for spot in low_spots if spot.contained_in}
    deep, shallow = by_bottom[2.0].id, by_bottom[3.0].id
    assert (settled.stored[deep], settled.stored[shallow]) == (4.0, 1.0)


@pytest.mark.parametrize(
    "runoff, said",
    [(np.zeros((2, 2)), "shape"), (np.full((3, 7), -1.0), "row 0, column 0"), (np.full((3, 7), np.nan), "nan")],
)
def test_refuses_runoff_that_means_nothing(ditch_of, runoff, said):
    with pytest.raises(GroundError, match=said):
        settle_water(drain_ground(ditch_of([10, 2, 6, 3, 8, 0])), runoff)


def test_refuses_low_spots_of_other_ground(ditch_of):
    other = find_low_spots(drain_ground(ditch_of([9, 1, 5, 3, 8, 0])), rmse=0.1)
    with pytest.raises(GroundError, match="another drainage"):
        settle_water(drain_ground(ditch_of([10, 2, 6, 3, 8, 0])), np.zeros((3, 7)), other)
