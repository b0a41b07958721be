"""Directions, filled surface and accumulation, against slow twins that a person can check by eye."""

import heapq
from collections import deque

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from terrain.flow.drainage import LEAVES, NOWHERE, STAYS, drain_ground, fill_ground, shut_in, undrained
from terrain.ground import BARRIER, OPEN, OUTSIDE, ROOF
from terrain.kernels.flood import may_stand_deeper

STEPS = [(0, 1), (1, 0), (0, -1), (-1, 0), (1, 1), (1, -1), (-1, -1), (-1, 1)]
SHAPES = st.tuples(st.integers(1, 9), st.integers(1, 9))


@st.composite
def heights(draw, whole=None):
    """Small grounds: whole metres, so that flats and ties are the rule, or heights that hardly ever tie."""
    whole = draw(st.booleans()) if whole is None else whole
    element = st.integers(0, 5).map(float) if whole else st.floats(0, 5, width=32)
    return draw(arrays(np.float64, draw(SHAPES), elements=element))


@st.composite
def built_grounds(draw):
    """Heights and kinds: half of the cells open, the others outside, barrier or roof."""
    z = draw(heights())
    kind = draw(arrays(np.int64, z.shape, elements=st.sampled_from([OPEN, OPEN, OPEN, OUTSIDE, BARRIER, ROOF])))
    return np.where(kind == OUTSIDE, np.nan, z), kind


def neighbours(row, column, kind):
    """Cells that water can step to, the ring around the window included; not between two walls that touch."""
    rows, columns = kind.shape
    wall = lambda r, c: 0 <= r < rows and 0 <= c < columns and kind[r, c] > OPEN  # noqa: E731
    for south, east in STEPS:
        r, c = row + south, column + east
        if south and east and wall(row, c) and wall(r, column):
            continue
        if not wall(r, c):
            yield r, c


def outside(row, column, kind):
    return not (0 <= row < kind.shape[0] and 0 <= column < kind.shape[1]) or kind[row, column] == OUTSIDE


def flooded(z, kind):
    """Priority-flood with one heap, shut-in ground from its lowest cell."""
    filled = np.full(z.shape, np.nan)
    border = [
        (z[cell], cell)
        for cell in zip(*np.nonzero(kind == OPEN), strict=True)
        if any(outside(*other, kind) for other in neighbours(*cell, kind))
    ]
    heap = border
    while True:
        for level, cell in heap:
            filled[cell] = level
        heapq.heapify(heap)
        while heap:
            level, cell = heapq.heappop(heap)
            for other in neighbours(*cell, kind):
                if not outside(*other, kind) and np.isnan(filled[other]):
                    filled[other] = max(level, z[other])
                    heapq.heappush(heap, (filled[other], other))
        left = np.argwhere((kind == OPEN) & np.isnan(filled))
        if not left.size:
            return filled
        lowest = min(_one_piece(tuple(left[0]), kind), key=lambda cell: z[cell])
        heap = [(z[lowest], lowest)]


def _one_piece(start, kind):
    piece, queue = {start}, deque([start])
    while queue:
        for other in neighbours(*queue.popleft(), kind):
            if not outside(*other, kind) and other not in piece:
                piece.add(other)
                queue.append(other)
    return piece


@given(built=built_grounds())
def test_filled_surface_is_that_of_a_flood_with_one_heap(ground_of, built):
    z, kind = built
    drained = drain_ground(ground_of(z, kind=kind))
    np.testing.assert_array_equal(drained.filled, flooded(z, kind))


@given(built=built_grounds(), depth=st.sampled_from([0.5, 1.0, 3.0]), looks=st.integers(1, 3))
def test_no_pond_is_deeper_than_a_look_says(ground_of, built, depth, looks):
    z, kind = built
    ground = ground_of(z, kind=kind)
    filled = fill_ground(ground.grid, ground.elevation, ground.kind)
    np.testing.assert_array_equal(filled, drain_ground(ground).filled)
    deep = bool((filled - ground.elevation >= depth).any())
    assert may_stand_deeper(ground.elevation, ground.kind, depth, looks) or not deep


def test_a_look_finds_the_way_out_of_a_valley_that_falls_to_the_rim():
    row, column = np.mgrid[0:30, 0:40]
    valley = 0.1 * row + np.abs(column - 20.0)
    kind = np.full(valley.shape, OPEN)
    assert not may_stand_deeper(valley, kind, 0.01, 1)
    valley[0] += 50.0
    valley[:, [0, -1]] += 50.0
    valley[-1] += 50.0
    assert may_stand_deeper(valley, kind, 0.4, 4)


@given(built=built_grounds())
def test_every_cell_has_a_way_out(ground_of, built):
    z, kind = built
    drained = drain_ground(ground_of(z, kind=kind))
    assert undrained(drained) == 0
    assert set(drained.order.tolist()) == set(np.flatnonzero(kind != OUTSIDE).tolist())
    assert drained.order.size == (kind != OUTSIDE).sum()
    assert (drained.target[kind.ravel() == OUTSIDE] == NOWHERE).all()


@given(built=built_grounds(), size=st.sampled_from([(1.0, 1.0), (0.5, 2.0), (3.0, 0.7)]))
def test_where_the_filled_surface_falls_a_cell_takes_the_steepest_way(ground_of, built, size):
    z, kind = built
    width, height = size
    drained = drain_ground(ground_of(z, kind=kind, cell_width=width, cell_height=height))
    filled = drained.filled
    for cell in zip(*np.nonzero(kind == OPEN), strict=True):
        falls = {}
        for other in neighbours(*cell, kind):
            if not outside(*other, kind):
                length = np.hypot((other[0] - cell[0]) * height, (other[1] - cell[1]) * width)
                falls[other] = (filled[cell] - filled[other]) / length
        steepest = max(falls.values(), default=0.0)
        target = drained.target[np.ravel_multi_index(cell, z.shape)]
        if steepest > 0:
            assert falls[tuple(int(i) for i in np.unravel_index(target, z.shape))] == pytest.approx(steepest, rel=1e-12)
        elif target >= 0:
            assert filled.flat[target] == filled[cell]


@given(built=built_grounds())
def test_on_a_flat_the_way_to_an_outlet_is_the_shortest_in_steps(ground_of, built):
    z, kind = built
    drained = drain_ground(ground_of(z, kind=kind))
    filled = drained.filled
    falls = np.zeros(z.shape, dtype=bool)
    steps = np.full(z.shape, -1)
    queue = deque()
    for cell in zip(*np.nonzero(kind == OPEN), strict=True):
        target = drained.target[np.ravel_multi_index(cell, z.shape)]
        falls[cell] = target < 0 or filled.flat[target] < filled[cell]
        if falls[cell]:
            steps[cell] = 0
            queue.append(cell)
    while queue:
        cell = queue.popleft()
        for other in neighbours(*cell, kind):
            if not outside(*other, kind) and filled[other] == filled[cell] and steps[other] < 0:
                steps[other] = steps[cell] + 1
                queue.append(other)
    for cell in zip(*np.nonzero((kind == OPEN) & ~falls), strict=True):
        target = drained.target[np.ravel_multi_index(cell, z.shape)]
        assert steps.flat[target] == steps[cell] - 1


@given(built=built_grounds())
def test_accumulation_counts_every_cell_that_passes(ground_of, built):
    z, kind = built
    receiver = np.full(z.shape, -1)
    opens = np.flatnonzero(kind == OPEN)
    if opens.size:
        receiver[kind > OPEN] = opens[0]
    drained = drain_ground(ground_of(z, kind=kind, receiver=receiver, cell_width=2.0, cell_height=0.5))
    passed = np.zeros(z.size)
    for cell in np.flatnonzero(kind != OUTSIDE).tolist():
        while cell >= 0:
            passed[cell] += 1.0
            cell = drained.target[cell]
    np.testing.assert_array_equal(drained.accumulation, passed.reshape(z.shape))
    ends = (drained.target == LEAVES) | (drained.target == STAYS)
    assert drained.accumulation.ravel()[ends].sum() == (kind != OUTSIDE).sum()


@given(built=built_grounds())
def test_order_goes_downstream_first(ground_of, built):
    z, kind = built
    drained = drain_ground(ground_of(z, kind=kind))
    place = np.full(z.size, -1)
    place[drained.order] = np.arange(drained.order.size)
    runs = np.flatnonzero(drained.target >= 0)
    assert (place[drained.target[runs]] < place[runs]).all()


@given(z=heights())
def test_turning_and_mirroring_the_ground_turns_and_mirrors_the_filled_surface(ground_of, z):
    filled = drain_ground(ground_of(z)).filled
    for turned, back in [
        (np.rot90(z), lambda a: np.rot90(a, -1)),
        (np.rot90(z, 2), lambda a: np.rot90(a, 2)),
        (z[::-1], lambda a: a[::-1]),
        (z.T, lambda a: a.T),
    ]:
        np.testing.assert_array_equal(back(drain_ground(ground_of(turned)).filled), filled)


@given(z=heights(whole=False))
def test_turning_the_ground_turns_directions_that_do_not_tie(ground_of, z):
    if len(np.unique(z)) < z.size:
        return
    drained = drain_ground(ground_of(z))
    falls = (drained.target >= 0) & (drained.filled.ravel()[drained.target] < drained.filled.ravel())
    turned = drain_ground(ground_of(np.rot90(z, 2)))
    opposite = z.size - 1 - turned.target[::-1]
    slopes = [
        sorted((drained.filled[r, c] - drained.filled[o]) / np.hypot(o[0] - r, o[1] - c)
               for o in neighbours(r, c, np.ones(z.shape)) if not outside(*o, np.ones(z.shape)))[-2:]
        for r, c in np.ndindex(z.shape)
    ]  # fmt: skip
    single = np.array([len(two) < 2 or two[1] > two[0] for two in slopes])
    np.testing.assert_array_equal(drained.target[falls & single], opposite[falls & single])


@given(z=heights(), rise=st.integers(-1000, 1000))
def test_raising_the_ground_raises_the_filled_surface(ground_of, z, rise):
    z = np.round(z * 4) / 4  # quarters, so that sums are exact
    lifted = drain_ground(ground_of(z + rise))
    drained = drain_ground(ground_of(z))
    np.testing.assert_array_equal(lifted.filled, drained.filled + rise)
    np.testing.assert_array_equal(lifted.target, drained.target)


@given(z=heights())
def test_doubling_heights_doubles_the_filled_surface(ground_of, z):
    drained, doubled = drain_ground(ground_of(z)), drain_ground(ground_of(2 * z))
    np.testing.assert_array_equal(doubled.filled, 2 * drained.filled)
    np.testing.assert_array_equal(doubled.target, drained.target)


@given(z=heights())
def test_feet_and_metres_fill_alike(ground_of, z):
    in_feet = drain_ground(ground_of(z / 0.3048)).filled
    np.testing.assert_array_equal(in_feet, drain_ground(ground_of(z)).filled / 0.3048)


@given(z=heights())
def test_a_filled_surface_is_full(ground_of, z):
    filled = drain_ground(ground_of(z)).filled
    np.testing.assert_array_equal(drain_ground(ground_of(filled)).filled, filled)


@given(z=heights(), noise=st.integers(0, 2**32 - 1))
def test_ponds_rise_by_no_more_than_the_ground_is_off(ground_of, z, noise):
    off = np.random.default_rng(noise).uniform(-0.3, 0.3, z.shape)
    change = drain_ground(ground_of(z + off)).filled - drain_ground(ground_of(z)).filled
    assert np.abs(change).max() <= np.abs(off).max() + 1e-12


@given(z=heights(), data=st.data())
def test_unknown_ground_lets_water_out(ground_of, z, data):
    hole = data.draw(st.tuples(st.integers(0, z.shape[0] - 1), st.integers(0, z.shape[1] - 1)))
    punched = z.copy()
    punched[hole] = np.nan
    before, after = drain_ground(ground_of(z)), drain_ground(ground_of(punched))
    known = ~np.isnan(punched)
    # a hole takes water over the ground around it, so its neighbours stand at their own height, and nothing rises above
    # what the hole's own ground held back
    for other in neighbours(*hole, np.ones(z.shape)):
        if not outside(*other, np.ones(z.shape)):
            assert after.filled[other] == z[other]
    assert (after.filled[known] <= before.filled[known]).all()
    assert undrained(after) == 0


@pytest.mark.parametrize(
    "z",
    [np.full((4, 5), np.nan), [[3.0]], [[3.0, 1.0, 2.0, 1.0, 4.0]], [[2.0], [1.0], [5.0]], np.full((6, 7), 8.25),
     np.arange(12).reshape(3, 4)],
    ids=["all nodata", "one cell", "one row", "one column", "exactly flat", "integers"],
)  # fmt: skip
def test_odd_grounds(ground_of, z):
    ground = ground_of(z)
    drained = drain_ground(ground)
    assert undrained(drained) == 0
    known = ground.kind == OPEN
    assert drained.accumulation.ravel()[drained.target == LEAVES].sum() == known.sum()
    np.testing.assert_array_equal(drained.filled, np.where(known, ground.elevation, np.nan))


@pytest.mark.parametrize("spike", [1e12, -1e12, 5e-324])
def test_one_wild_height_spoils_nothing(ground_of, spike):
    z = np.random.default_rng(1).uniform(0, 1, (40, 40))
    z[17, 23] = spike
    drained = drain_ground(ground_of(z))
    assert undrained(drained) == 0
    np.testing.assert_array_equal(drained.filled, flooded(z, np.ones(z.shape, dtype=int)))


def test_a_lake_with_very_many_neighbours_finds_its_lowest_way_out(ground_of):
    # a star of bays between pits, each over a saddle of its own
    z = np.full((61, 61), 9.0)
    z[30, 1:-1] = 1.0
    z[1:-1:2, 1:-1:4] = np.random.default_rng(2).permutation(30 * 15).reshape(30, 15) / 450.0 + 2.0
    z[28:33:4, 1:-1:2] = 3.0
    z[29, 1:-1:2] = 8.0 - np.arange(30) / 60.0
    np.testing.assert_array_equal(drain_ground(ground_of(z)).filled, flooded(z, np.ones(z.shape, dtype=int)))


def test_a_step_across_a_long_narrow_cell_is_weighed_by_its_length(ground_of):
    # the fall to the east is smaller but much shorter
    z = [[5.0, 5.0, 5.0], [5.0, 4.0, 3.9], [5.0, 3.0, 5.0]]
    assert drain_ground(ground_of(z)).target[4] == 7
    assert drain_ground(ground_of(z, cell_width=0.05, cell_height=1.0)).target[4] == 5


def test_a_barrier_joined_by_corners_dams(ground_of):
    # ground falls to the south-east corner across a diagonal barrier one cell wide
    rows, columns = np.indices((9, 9))
    z = 20.0 - rows - columns
    kind = np.where(rows + columns == 8, BARRIER, OPEN)
    drained = drain_ground(ground_of(z, kind=kind))
    above = rows + columns < 8
    runs = above.ravel() & (drained.target >= 0)
    assert above.ravel()[drained.target[runs]].all()


def test_ground_shut_in_stays_at_its_lowest_cell(ground_of):
    z = np.full((7, 7), 10.0)
    z[2:5, 2:5] = [[8.0, 9.0, 9.0], [9.0, 9.5, 7.0], [9.0, 9.0, 9.0]]
    kind = np.full((7, 7), OPEN)
    kind[1:6, 1:6] = ROOF
    kind[2:5, 2:5] = OPEN
    drained = drain_ground(ground_of(z, kind=kind))
    assert (drained.target == STAYS).sum() == 1
    assert drained.target[3 * 7 + 4] == STAYS
    assert drained.filled[2, 2] == 9.0  # two pits, 8 and 7, with nothing below 9 between
    inside = np.zeros(kind.shape, dtype=bool)
    inside[2:5, 2:5] = True
    np.testing.assert_array_equal(shut_in(drained), inside)
    assert drained.accumulation[3, 4] == 9.0


def test_flow_lines_gather_on_a_wide_flat(ground_of):
    # a level hall 21 cells wide between higher walls of ground, with one way out in the middle of its south side
    z = np.full((42, 23), 10.0)
    z[0], z[:, 0], z[:, -1], z[-1] = 11.0, 11.0, 11.0, 11.0
    z[-1, 11] = 9.0
    drained = drain_ground(ground_of(z))
    middle = drained.accumulation[20, 1:-1]
    assert middle.max() > 0.5 * middle.sum(), "half of what crosses the middle of the hall runs in one line"


def test_a_flat_is_crossed_away_from_higher_ground_up_to_its_brink(ground_of):
    # a level shelf between two walls: higher ground north of it, a drop along the whole of its east side
    z = np.ones((9, 9))
    z[0], z[:, -1] = 2.0, 0.0
    kind = np.full(z.shape, OPEN)
    kind[:, 0] = kind[-1] = BARRIER
    target = drain_ground(ground_of(z, kind=kind)).target.reshape(z.shape)
    here = np.arange(z.size).reshape(z.shape)
    # a step before the brink all three ways on are as short: the one farther from the higher ground is taken
    np.testing.assert_array_equal(target[1:7, 1:6] - here[1:7, 1:6], 10)


def test_a_line_through_a_pond_follows_its_bottom(ground_of):
    # a lawn that falls a little to a channel at its north side, all under one pond that spills at the channel's end
    z = np.full((9, 20), 10.0)
    z[1:-1, 1:-1] = 9.0 + 0.02 * np.arange(7)[:, None]
    z[1, 1:-1] = 8.0
    z[1, -1] = 9.5
    drained = drain_ground(ground_of(z))
    assert drained.accumulation[1, 10] > 4 * drained.accumulation[2:-1, 10].max()
