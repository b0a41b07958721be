"""Fall to spare held against planes with exact answers, a plain walk over cells, and shortest ways round corners."""

from collections.abc import Callable

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, box

from pipelines.layout.routing.fall_to_spare import (
    fall_on_grounds,
    fall_to_spare,
    most_to_spare,
    spare_contours,
    way_lengths,
    ways_to,
)
from pipelines.layout.routing.field import field_from_arrays
from pipelines.layout.routing.pipe_layer import PipeLayer
from pipelines.layout.routing.router import MOST_TRIED, _worth_trying
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutePipe, RouteSpec
from pipelines.layout.routing.straighten import own_line
from terrain.lidar.grounds import PossibleGrounds

TOLERANCE = 0.03048


def fall_of(field, outfall, pipe, *, slope=None, **spec):
    return fall_to_spare(field, outfall, pipe, RouteSpec(pipes=(pipe,), **spec), slope=slope)


def test_on_a_plane_it_is_what_a_person_works_out(route_grid, four_inch: RoutePipe) -> None:
    """Ground - cover - outside diameter + wall, less level + slope x length + 0.1 ft + 0.1 ft at the basin (trade)."""
    _, c = np.indices((15, 41))
    field = field_from_arrays(route_grid(15, 41), 100.0 - 0.02 * c, cover=0.3)
    outfall = OutfallTarget("swale", Point(1040.5, 1992.5), 98.6)
    fall = fall_of(field, outfall, four_inch)
    available = 100.0 - 0.02 * 10 - 0.3 - 0.10706 + 0.00305
    assert fall.length[7, 10] == pytest.approx(30.0)
    # ground falls faster than the pipe: the place itself is not the tightest, the last before the taper is
    tightest = 100.0 - 0.02 * 37 - 0.3 - four_inch.crown - (98.6 + 0.01 * 3.0 + TOLERANCE)
    assert fall.spare[7, 10] == pytest.approx(tightest, abs=0.02 * 0.51)
    assert fall.spare[7, 10] < available - (98.6 + 0.3 + 2 * TOLERANCE)
    assert abs(fall.binding[7, 10] % 41 - 37) <= 1


def test_on_flat_ground_the_place_itself_decides(route_grid, four_inch: RoutePipe) -> None:
    field = field_from_arrays(route_grid(15, 41), np.full((15, 41), 100.0), cover=0.3)
    fall = fall_of(field, OutfallTarget("swale", Point(1040.5, 1992.5), 99.0), four_inch)
    spare = 100.0 - 0.3 - 0.10706 + 0.00305 - (99.0 + 0.01 * fall.length + 2 * TOLERANCE)
    np.testing.assert_allclose(fall.spare, spare, atol=1e-9)
    assert fall.binding[7, 3] == 7 * 41 + 3
    assert fall.length[7, 3] == pytest.approx(37.0)


@given(seed=st.integers(0, 10_000))
def test_no_cell_of_the_way_has_less_and_one_has_no_more(seed: int, route_grid, rough: Callable, four_inch) -> None:
    rng = np.random.default_rng(seed)
    grid = route_grid(16, 20)
    ground = rough(seed, (16, 20), 0.01, 0.05)
    x, y = rng.uniform(1005, 1012), rng.uniform(1987, 1995)
    house = box(x, y, x + 4.0, y + 3.0)
    field = field_from_arrays(grid, ground, barred=house, cover=0.25)
    outfall = OutfallTarget("o", Point(1019.5, 1984.0 + rng.uniform(0.6, 15.4)), 99.0)
    fall = fall_of(field, outfall, four_inch, taper_length=0.0, basin_drop=0.0)
    most = most_to_spare(field, outfall, four_inch, RouteSpec(pipes=(four_inch,), taper_length=0.0, basin_drop=0.0))
    assert not np.any(fall.spare > most)
    for row, column in rng.integers(0, [16, 20], (6, 2)):
        if np.isnan(fall.spare[row, column]):
            assert not field.allowed[row, column]
            continue
        way = fall.way_from(row, column)
        line = LineString(way) if len(way) > 1 else Point(way[0])
        assert not shapely.intersects(shapely.buffer(house, -1e-6), line)
        assert fall.length[row, column] == pytest.approx(line.length, abs=1e-9)
        dense = shapely.get_coordinates(shapely.segmentize(line, 0.05))[:-1] if len(way) > 1 else way
        rows, columns = field.grid.cells(dense[:, 0], dense[:, 1])
        left = line.length - np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(dense, axis=0).T))])
        own = ground[rows, columns] - 0.25 - four_inch.crown - (99.0 + TOLERANCE + 0.01 * left)
        # cells in place of ground between them: as far off as the ground changes over half a cell
        step = max(np.abs(np.diff(ground, axis=0)).max(), np.abs(np.diff(ground, axis=1)).max())
        assert fall.spare[row, column] == pytest.approx(own.min(), abs=step + 0.01)


def test_ways_from_some_cells_are_those_of_all(route_grid, four_inch: RoutePipe) -> None:
    """A search that ends with the last cell wanted: the same ways, and none from beyond it."""
    field = field_from_arrays(route_grid(16, 20), np.full((16, 20), 100.0), barred=box(1007, 1990, 1011, 1994))
    place, wanted = Point(1019.5, 1992.3), np.zeros((16, 20), dtype=np.bool_)
    wanted[3:5, 9:14] = True
    some, full = ways_to(field, place, wanted), ways_to(field, place)
    assert some is not None
    assert full is not None
    near = np.append(full.distance[:-1] <= full.distance[:-1][wanted.ravel()].max(), True)
    np.testing.assert_array_equal(some.onward[near], full.onward[near])
    np.testing.assert_array_equal(some.distance, np.where(near, full.distance, np.inf))
    assert len(some.order) < len(full.order)


@pytest.mark.parametrize("over", [-0.1, -0.003, 0.003, 0.1])
def test_no_line_is_laid_to_an_outfall_that_a_straight_pipe_is_short_of(over: float, route_grid, four_inch) -> None:
    """Over flat ground 0.01 x 30 m and the tolerance are all that a line needs: it is there with just that much."""
    field = field_from_arrays(route_grid(16, 41), np.full((16, 41), 100.0), cover=0.1)
    spec = RouteSpec(pipes=(four_inch,), taper_length=0.0)
    near, end = Point(1005.5, 1992.5), Point(1035.5, 1992.5)
    collector = Collector("a", near, 99.5, 0.0)
    outfall = OutfallTarget("o", end, 99.5 - 30.0 * four_inch.min_slope - TOLERANCE + over)
    way, layer = shapely.get_coordinates(LineString([near, end])), PipeLayer(field, spec)
    assert (not _worth_trying(collector, [outfall], spec)) == (over > 0.0)
    assert (own_line(layer, collector, outfall, 0, way, "run-1") is None) == (over > 0.0)


def test_of_many_outfalls_the_nearest_are_tried_and_those_with_most_fall(four_inch) -> None:
    """A swale that falls away from a collector: in between none is tried, and where there are few all are."""
    spec, collector = RouteSpec(pipes=(four_inch,)), Collector("a", Point(1000.0, 2000.0), 99.5, 0.0)
    swale = [OutfallTarget(f"o{k}", Point(1010.0 + k, 2000.0), 98.0 - 0.05 * k) for k in range(4 * MOST_TRIED)]
    tried = [outfall.id for outfall in _worth_trying(collector, swale, spec)]
    assert tried == [outfall.id for outfall in (*swale[:MOST_TRIED], *swale[-MOST_TRIED:])]
    assert list(_worth_trying(collector, swale[:5], spec)) == swale[:5]


def test_the_way_goes_round_a_corner_and_not_through(route_grid, four_inch) -> None:
    """The shortest way round a wall's end: two sides of known length."""
    wall = box(1009.9, 1985.0, 1010.1, 2001.0)
    field = field_from_arrays(route_grid(20, 20), np.full((20, 20), 100.0), barred=wall, cover=0.2)
    fall = fall_of(field, OutfallTarget("o", Point(1019.5, 1995.5), 99.0), four_inch)
    exact = np.hypot(9.4, 10.5) + np.hypot(9.4, 10.5) + 0.2
    assert exact - 1e-9 <= fall.length[4, 0] <= exact * 1.03


def test_ground_that_is_shut_off_has_none(route_grid, four_inch) -> None:
    ring = shapely.difference(box(1004, 1990, 1010, 1996), box(1005, 1991, 1009, 1995))
    field = field_from_arrays(route_grid(20, 20), np.full((20, 20), 100.0), barred=ring, cover=0.2)
    fall = fall_of(field, OutfallTarget("o", Point(1019.5, 1995.5), 99.0), four_inch)
    assert np.isnan(fall.spare[7, 7])
    assert len(fall.way_from(7, 7)) == 0
    assert np.isfinite(fall.spare[2, 2])
    nowhere = fall_of(field, OutfallTarget("o", Point(1100.0, 1995.5), 99.0), four_inch)
    assert np.isnan(nowhere.spare).all()


@given(lift=st.floats(-1.0, 1.0), slope=st.floats(0.001, 0.03))
def test_it_falls_with_level_slope_and_cover(lift: float, slope: float, route_grid, rough, four_inch) -> None:
    grid = route_grid(12, 12)
    ground = rough(3, (12, 12), 0.01, 0.04)
    field = field_from_arrays(grid, ground, cover=0.25)
    here = OutfallTarget("o", Point(1011.5, 1994.5), 99.0)
    base = fall_of(field, here, four_inch, slope=slope).spare
    higher = fall_of(field, OutfallTarget("o", here.point, 99.0 + lift), four_inch, slope=slope).spare
    np.testing.assert_allclose(higher, base - lift, atol=1e-9)
    steeper = fall_of(field, here, four_inch, slope=slope * 1.5).spare
    assert np.all(steeper <= base + 1e-12)
    deeper = fall_of(field_from_arrays(grid, ground, cover=0.35), here, four_inch, slope=slope).spare
    np.testing.assert_allclose(deeper, base - 0.1, atol=1e-9)


@pytest.mark.parametrize("quarter", [1, 2, 3])
def test_turning_the_lot_turns_the_answer(quarter: int, route_grid, rough, four_inch) -> None:
    ground = rough(7, (14, 14), 0.01, 0.05)
    blocked = np.ones((14, 14), bool)
    blocked[5:8, 4:9] = False
    mark = np.zeros((14, 14))
    mark[6, 13] = 1.0

    def answer(k: int) -> np.ndarray:
        grid = route_grid(14, 14)
        field = field_from_arrays(grid, np.rot90(ground, k), np.rot90(blocked, k), cover=0.2)
        r, c = (int(v[0]) for v in np.nonzero(np.rot90(mark, k)))
        return fall_of(field, OutfallTarget("o", Point(*grid.centres(r, c)), 99.0), four_inch).spare

    np.testing.assert_allclose(answer(quarter), np.rot90(answer(0), quarter), atol=0.03, equal_nan=True)
    # ties between ways of equal length may be broken the other way; most cells are the same to the last digit
    same = np.isclose(answer(quarter), np.rot90(answer(0), quarter), atol=1e-9, equal_nan=True)
    assert same.mean() > 0.9


def test_contours_lie_where_the_spare_has_their_level(route_grid, four_inch) -> None:
    field = field_from_arrays(route_grid(15, 41), np.full((15, 41), 100.0), cover=0.3)
    fall = fall_of(field, OutfallTarget("swale", Point(1040.5, 1992.5), 99.3), four_inch)
    lines = spare_contours(fall.spare, field.grid, [0.0, 0.1])
    assert {level for level, _ in lines} == {0.0, 0.1}
    for level, line in lines:
        reach = (100.0 - 0.3 - four_inch.crown - 99.3 - 2 * TOLERANCE - level) / 0.01
        away = np.hypot(*(shapely.get_coordinates(line) - [1040.5, 1992.5]).T)
        np.testing.assert_allclose(away, reach, atol=0.15)


def test_contours_of_a_single_row_are_none(route_grid) -> None:
    assert spare_contours(np.zeros((1, 5)), route_grid(1, 5), [0.0]) == []


@given(seed=st.integers(0, 10_000))
def test_the_most_of_two_outfalls_is_the_same_when_the_second_is_asked_only_for_what_beats_the_first(
    seed: int, route_grid, rough: Callable, four_inch
) -> None:
    rng = np.random.default_rng(seed)
    house = box(1007.0, 1988.0, 1011.0, 1991.0)
    field = field_from_arrays(route_grid(16, 20), rough(seed, (16, 20), 0.01, 0.05), barred=house, cover=0.25)
    ends = [
        OutfallTarget(name, Point(x, 1984.0 + rng.uniform(0.6, 15.4)), rng.uniform(98.9, 99.1))
        for name, x in (("west", 1000.5), ("east", 1019.5))
    ]
    spec = RouteSpec(pipes=(four_inch,))
    first, second = (fall_to_spare(field, end, four_inch, spec) for end in ends)
    known = np.nan_to_num(first.spare, nan=-np.inf)
    better = fall_to_spare(field, ends[1], four_inch, spec, known=known).spare
    np.testing.assert_array_equal(np.fmax(first.spare, better), np.fmax(first.spare, second.spare))
    told = np.isfinite(better)
    np.testing.assert_array_equal(better[told], second.spare[told])
    np.testing.assert_array_equal(way_lengths(field, ends[1].point), second.length)


@given(seed=st.integers(0, 10_000))
def test_on_every_ground_it_is_what_that_ground_alone_would_leave(
    seed: int, route_grid, rough: Callable, four_inch
) -> None:
    rng = np.random.default_rng(seed)
    grid, shape, house = route_grid(16, 20), (16, 20), box(1007.0, 1988.0, 1011.0, 1991.0)
    ground = rough(seed, shape, 0.01, 0.05)
    above = np.float32(rng.normal(0.0, 0.1, 5))[:, None, None] * np.ones((1, *shape), np.float32)
    end, higher = OutfallTarget("o", Point(1019.5, 1984.0 + rng.uniform(0.6, 15.4)), 99.0), rng.normal(0.0, 0.1, 5)
    field, spec = field_from_arrays(grid, ground, barred=house, cover=0.25), RouteSpec(pipes=(four_inch,))
    asked = rng.random(shape) < 0.7
    found = fall_on_grounds(
        field, end, four_inch, spec, 0.01, asked, PossibleGrounds(above, 0, 0), higher
    )
    for number in range(5):
        alone = fall_to_spare(
            field_from_arrays(grid, ground + above[number], barred=house, cover=0.25),
            OutfallTarget("o", end.point, 99.0 + higher[number]), four_inch, spec, slope=0.01,
        ).spare
        np.testing.assert_allclose(found[..., number], np.where(asked, alone, np.nan), atol=2e-5)


def test_a_low_stretch_on_one_ground_stops_the_lines_from_above_it_on_that_ground_alone(route_grid, four_inch) -> None:
    field = field_from_arrays(route_grid(3, 30), np.full((3, 30), 100.0), cover=0.3)
    above = np.zeros((2, 3, 8), np.float32)
    above[1, :, 2:6] = -0.5
    end, spec = OutfallTarget("o", Point(1029.5, 1998.5), 99.0), RouteSpec(pipes=(four_inch,))
    found = fall_on_grounds(
        field, end, four_inch, spec, 0.01, np.ones((3, 30), bool), PossibleGrounds(above, 0, 10), np.zeros(2)
    )
    whole = fall_to_spare(field, end, four_inch, spec, slope=0.01).spare
    np.testing.assert_allclose(found[..., 0], whole, atol=2e-5)
    # beyond the low stretch nothing changes; from above it the line has half a metre less
    np.testing.assert_allclose(found[:, 17:, 1], whole[:, 17:], atol=2e-5)
    assert np.all(found[:, :11, 1] < whole[:, :11] - 0.3)
