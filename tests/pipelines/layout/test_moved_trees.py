"""Bends and junctions of random trees are moved as by a plain search, and tangles counted as by plain geometry."""

from itertools import pairwise

import numpy as np
import pytest
from pyproj import CRS
from shapely import LineString, Point, box, get_coordinates

from pipelines.layout.routing import tree_shape
from pipelines.layout.routing.field import field_from_arrays
from pipelines.layout.routing.kernels.moving import MOST_ROUNDS, NEAR_BASIN, TANGLE_COST, tangles
from pipelines.layout.routing.pipe_layer import CannotLay, PipeLayer
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutePipe, RouteSpec
from pipelines.layout.routing.steps import Crossing
from pipelines.layout.routing.trace import GridRun
from pipelines.layout.routing.tree_shape import OFF_COSTS, REACHES, TreeShape, filled_up
from terrain.grid import Frame, Grid

CELL = 1.0
OUTFALL = OutfallTarget("o", Point(27.5, 8.5), 97.0)


def random_tree(seed):
    """Three branches of which one begins in a basin, joined twice on their way to an outfall round a house."""
    random = np.random.default_rng(seed)
    grid = Grid((18, 28), 0.0, 18.0, CELL, CELL, Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0))
    ground = 100.0 - 0.02 * np.indices(grid.shape)[1] + 0.03 * random.standard_normal(grid.shape)
    gas = Crossing("gas", "gas", LineString([(22.3, -1.0), (22.6, 19.0)]), 30.0, 98.9, 0.1)
    field = field_from_arrays(grid, ground, cover=0.2, surface_cost=random.uniform(3.0, 30.0, grid.shape),
                              barred=box(13.2, 1.3, 17.4, 4.6), crossings=(gas,))
    pipes = (RoutePipe("4 in", 0.107, 0.003, 0.01, 0.005, 9.0), RoutePipe("6 in", 0.16, 0.005, 0.005, 0.02, 18.0))
    layer = PipeLayer(field, RouteSpec(pipes=pipes, taper_length=1.5))
    starts = random.uniform((0.6, 0.6), (6.0, 17.0), (3, 2))
    collectors = [Collector(f"c{k}", Point(p), 99.5, 0.002, k == 2) for k, p in enumerate(starts)]
    nothing = np.zeros(0, dtype=np.int64)

    def run(start, into):
        return GridRun((), 0, start, into, 0, nothing, np.zeros(0))

    last = run(None, None)
    middle = run(None, last)
    runs = [run(0, middle), run(1, middle), run(2, last), middle, last]
    meet = random.uniform((7.5, 6.0), (9.5, 12.0)), random.uniform((10.5, 6.0), (12.5, 12.0))
    end = get_coordinates(OUTFALL.point)[0]
    ways = [(starts[0], meet[0]), (starts[1], meet[0]), (starts[2], meet[1]), meet, (meet[1], end)]
    shapes = []
    for begin, end in ways:
        share = np.sort(random.uniform(0.1, 0.9, random.integers(0, 3)))[:, None]
        bends = begin + share * (end - begin) + random.normal(0.0, 0.5, (len(share), 2))
        shapes.append(np.vstack([begin, bends, end]))
    return TreeShape(layer, runs, [layer.tube(0, OUTFALL)] * 5, collectors), shapes


def moves(tree, shapes, run, bend, reach):
    """All that is tried of one bend, or of a junction: the beginning of the run below it."""
    inflows = [m for m in range(5) if tree.into[m] == run] if bend == 0 else []
    if bend >= len(shapes[run]) - 1:
        return
    if bend > 0:
        yield [np.delete(shape, bend, axis=0) if k == run else shape for k, shape in enumerate(shapes)]
    for m in inflows:
        place = shapes[m][0]
        if m == 2 and np.hypot(*(place - shapes[run][0])) <= NEAR_BASIN:
            joined = list(shapes)
            joined[run] = np.vstack([place, shapes[run][1:]])
            for n in inflows:
                joined[n] = np.vstack([place, place] if n == m else [shapes[n][:-1], place])
            yield joined
    for turn in np.arange(8) * (np.pi / 4.0):
        step = reach * np.array([np.cos(turn), np.sin(turn)])
        moved = [shape.copy() for shape in shapes]
        moved[run][bend] += step
        for m in inflows:
            moved[m][-1] += step
        yield moved
        for m in inflows:
            if len(moved[m]) > 2:
                yield [shape[[0, -1]] if n == m else shape for n, shape in enumerate(moved)]


def plainly_moved(tree, shapes, off_cost):
    best, least = shapes, tree.values(shapes).weight(off_cost) + TANGLE_COST * tree.tangled(shapes)
    for reach in REACHES:
        for _ in range(MOST_ROUNDS):
            before = least
            places = [(k, i) for k, shape in enumerate(best) for i in range(1, len(shape) - 1)]
            for place in [*places, (3, 0), (4, 0)]:
                for tried in moves(tree, best, *place, reach * CELL):
                    try:
                        found = tree.values(tried).weight(off_cost)
                    except CannotLay:
                        continue
                    if found < least - 1e-6:
                        found += TANGLE_COST * tree.tangled(tried)
                        if found < least - 1e-6:
                            best, least = tried, found
            if least > before - 0.05:
                break
    return best


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("off_cost", OFF_COSTS)
def test_trees_are_moved_as_by_a_plain_search(seed, off_cost):
    tree, shapes = random_tree(seed)
    start = tree.values(shapes)
    moved, plain = tree.moved(shapes, off_cost), plainly_moved(tree, shapes, off_cost)
    assert moved.weight(off_cost) < start.weight(off_cost)
    for one, other in zip(moved.shapes, plain, strict=True):
        np.testing.assert_array_equal(one, other)


@pytest.mark.parametrize("seed", range(3))
def test_no_segment_is_taken_for_another(monkeypatch, seed):
    known, shapes = random_tree(seed)
    # with one place nearly every segment is laid anew
    monkeypatch.setattr(tree_shape, "SEGMENTS", 1)
    anew, _ = random_tree(seed)
    for off_cost in OFF_COSTS:
        one, other = known.moved(shapes, off_cost), anew.moved(shapes, off_cost)
        assert (one.cost, one.off, one.inverts) == (other.cost, other.off, other.inverts)


@pytest.mark.parametrize("seed", range(6))
def test_bends_are_off_by_what_geometry_says(seed):
    tree, shapes = random_tree(seed)
    off = 0.0
    for k, shape in enumerate(shapes):
        # a run goes on in the one that it joins, but for what ends in a basin
        joined = [shapes[tree.into[k]][:2]] if tree.into[k] >= 0 and not tree._through[tree.into[k]] else []
        ways = np.vstack([np.diff(each, axis=0) for each in (shape, *joined)])
        headings = np.degrees(np.arctan2(ways[:, 1], ways[:, 0]))
        turns = np.abs((np.diff(headings) + 180.0) % 360.0 - 180.0)
        fittings = 22.5 * np.minimum(np.round(turns / 22.5), 4.0)
        off += np.maximum(np.abs(turns - fittings) - tree.layer.spec.joint_angle, 0.0).sum()
    assert tree.values(shapes).off == pytest.approx(off)


@pytest.mark.parametrize("seed", range(40))
def test_crossings_are_counted_as_geometry_counts_them(seed):
    # pieces of random lines touch nowhere but where they cross, so that geometry alone tells how often
    random = np.random.default_rng(seed)
    shapes = [random.uniform(0.0, 10.0, (random.integers(2, 6), 2)) for _ in range(3)]
    pieces = [[LineString(pair) for pair in pairwise(shape)] for shape in shapes]
    crossed = sum(a.intersects(b) for k in range(3) for m in range(k) for a in pieces[k] for b in pieces[m])
    assert tangles(filled_up(shapes)) == crossed
