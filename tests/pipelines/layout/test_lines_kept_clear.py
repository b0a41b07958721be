"""Lines of one forest that would cross without clear height: one stays, what crosses it is laid round."""

from itertools import combinations

import numpy as np
import pytest
import shapely
from shapely import LineString, Point

from pipelines.layout.routing.clear_lines import kept_clear, too_close
from pipelines.layout.routing.field import RouteField, field_from_arrays
from pipelines.layout.routing.router import route_forest
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutedForest, RoutedLine, RoutePipe, RouteSpec

FALL = 0.02


@pytest.fixture(scope="module")
def spec(four_inch: RoutePipe) -> RouteSpec:
    return RouteSpec(pipes=(four_inch,), clearance=0.15, crossing=50.0)


@pytest.fixture
def field(route_grid) -> RouteField:
    _, c = np.indices((21, 41))
    return field_from_arrays(route_grid(21, 41), 100.0 - FALL * c, cover=0.3, max_depth=0.6)


def _at(field: RouteField, row: int, column: int) -> Point:
    return Point(*(float(v) for v in field.grid.centres(row, column)))


def _line(name: str, start: Collector, end: OutfallTarget, *, lower: float = 0.0) -> RoutedLine:
    xy = np.array([[start.point.x, start.point.y], [end.point.x, end.point.y]])
    inverts = np.array([start.invert, end.level]) - lower
    return RoutedLine(name, start.id, end.id, (start.id,), 0, xy, inverts, inverts + 0.5, 100.0, 0.0)


def test_one_of_two_lines_that_cross_is_laid_round_the_other(field: RouteField, spec: RouteSpec) -> None:
    collectors = [Collector("north", _at(field, 5, 2), 99.55), Collector("south", _at(field, 15, 2), 99.55)]
    outfalls = [OutfallTarget(name, _at(field, row, 38), 98.7) for name, row in (("south end", 15), ("north end", 5))]
    lines = tuple(_line(f"run-{k + 1}", *pair) for k, pair in enumerate(zip(collectors, outfalls, strict=True)))
    crossed = RoutedForest(lines, 200.0, 200.0, 200.0, True, {})
    assert too_close(*lines, spec)
    forest = kept_clear(
        crossed, field, collectors, spec, lambda free, rest: route_forest(free, rest, outfalls, spec)
    )
    assert not forest.unserved
    assert sorted(name for line in forest.lines for name in line.serves) == ["north", "south"]
    for one, other in combinations(forest.lines, 2):
        met = shapely.intersection(LineString(one.xy), LineString(other.xy))
        assert met.is_empty or other.to_id == one.to_id
    assert len({line.id for line in forest.lines}) == len(forest.lines)
    assert all(line.crossings == () for line in forest.lines)


@pytest.mark.parametrize(("lower", "close"), [(0.0, True), (0.2, True), (0.3, False)])
def test_lines_with_clear_height_between_them_may_cross(field, spec, lower: float, close: bool) -> None:
    """A pipe of 4.215 in outside needs that and 15 cm between two inverts: 25.7 cm."""
    north, south = Collector("north", _at(field, 5, 2), 99.55), Collector("south", _at(field, 15, 2), 99.55)
    ends = [OutfallTarget(name, _at(field, row, 38), 98.7) for name, row in (("a", 15), ("b", 5))]
    above, below = _line("run-1", north, ends[0]), _line("run-2", south, ends[1], lower=lower)
    assert too_close(above, below, spec) == too_close(below, above, spec) == close


def test_lines_that_meet_at_an_end_do_not_cross(field: RouteField, spec: RouteSpec) -> None:
    north, south = Collector("north", _at(field, 5, 2), 99.55), Collector("south", _at(field, 15, 2), 99.55)
    end = OutfallTarget("a", _at(field, 10, 38), 98.7)
    assert not too_close(_line("run-1", north, end), _line("run-2", south, end), spec)
