"""Lines as they would be dug: made cases with known answers, limits held, nothing changed by turning the lot."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, box

from pipelines.layout.routing import search as route_search
from pipelines.layout.routing.bounds import lower_bounds
from pipelines.layout.routing.fall_to_spare import fall_to_spare
from pipelines.layout.routing.field import RouteField, field_from_arrays
from pipelines.layout.routing.pipe_layer import CannotLay, Laid
from pipelines.layout.routing.router import route_forest
from pipelines.layout.routing.search import search_grid
from pipelines.layout.routing.spec import (
    Collector,
    OutfallTarget,
    RoutedForest,
    RouteError,
    RoutePipe,
    RouteSpec,
    SearchEffort,
)
from pipelines.layout.routing.steps import Crossing
from pipelines.layout.routing.straighten import _without_empty
from pipelines.layout.routing.trace import GridRun
from pipelines.layout.routing.view import settled_view

FOOT = 0.3048


@pytest.fixture(scope="module")
def spec(four_inch: RoutePipe) -> RouteSpec:
    return RouteSpec(pipes=(four_inch, RoutePipe("6 in", 0.15941, 0.00457, 0.005, 0.012, 21.0)))


def _plane(make_grid, fall: float = 0.02, rows: int = 21, columns: int = 41, **options) -> RouteField:
    """Ground that falls to the east, to a swale along its last column."""
    _, c = np.indices((rows, columns))
    return field_from_arrays(make_grid(rows, columns), 100.0 - fall * c, cover=0.3, **options)


def _at(field: RouteField, row: int, column: int) -> Point:
    return Point(*(float(v) for v in field.grid.centres(row, column)))


def _cover(field: RouteField, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Cover that the cell at each point asks for."""
    rows, columns = field.grid.cells(x, y)
    return field.cover[np.clip(rows, 0, field.grid.shape[0] - 1), np.clip(columns, 0, field.grid.shape[1] - 1)]


def _between(field: RouteField, values: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Values between cell centres, by another road than the product's own."""
    from scipy.interpolate import RegularGridInterpolator

    grid = field.grid
    rows = np.clip((grid.top - y) / grid.cell_height - 0.5, 0, grid.shape[0] - 1)
    columns = np.clip((x - grid.left) / grid.cell_width - 0.5, 0, grid.shape[1] - 1)
    interpolate = RegularGridInterpolator((np.arange(grid.shape[0]), np.arange(grid.shape[1])), values)
    return interpolate(np.column_stack([rows, columns]))


def check_limits(
    field: RouteField, forest: RoutedForest, collectors: list[Collector], outfalls: list[OutfallTarget],
    spec: RouteSpec,
) -> None:
    """Everything that must hold of lines that will be dug."""
    ends = {o.id: o for o in outfalls}
    starts = {c.id: c for c in collectors}
    lines = {line.id: line for line in forest.lines}
    onward = {line.from_id: line for line in forest.lines if line.from_id in starts}
    assert {n for line in forest.lines for n in line.serves} | set(forest.unserved) == set(starts)
    for line in forest.lines:
        pipe = spec.pipes[line.pipe]
        length = np.hypot(*np.diff(line.xy, axis=0).T)
        assert np.all(-np.diff(line.inverts) >= pipe.min_slope * length - 1e-6)
        assert line.flow <= pipe.capacity or line.pipe == len(spec.pipes) - 1
        last, hops = line, 0
        while last.to_id not in ends:
            after = lines.get(last.to_id) or onward[last.to_id]
            lost = spec.basin_drop if last.to_id in starts else 0.0
            assert last.inverts[-1] >= after.inverts[0] + lost - 1e-6
            assert np.hypot(*(last.xy[-1] - after.xy[0])) < 1e-6
            assert set(last.serves) <= set(after.serves)
            last, hops = after, hops + 1
            assert hops <= len(lines)
        end = ends[last.to_id]
        assert last.inverts[-1] >= end.level + spec.dig_tolerance - 1e-6
        if line.from_id in starts:
            assert line.inverts[0] <= starts[line.from_id].invert + 1e-9
            assert Point(line.xy[0]).distance(starts[line.from_id].point) < 1e-6
        points = shapely.get_coordinates(shapely.segmentize(line.line, 0.1), include_z=True)
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points[:, :2], axis=0).T))])
        x, y = points[:, 0], points[:, 1]
        z = np.interp(along, np.concatenate([[0.0], np.cumsum(length)]), line.inverts)
        rows, columns = field.grid.cells(x, y)
        assert field.barred is not None or field.allowed[rows, columns].all()
        cover = _between(field, field.ground, x, y) - z - pipe.crown
        tapered = np.hypot(x - end.point.x, y - end.point.y) <= spec.taper_length + 1e-6
        begins = (along < 0.75) & (line.from_id in starts)  # a basin's own outlet lies as high as it was given
        # stations lie half a cell apart: between two of them ground may dip, and cover change at a drive's edge
        asked = np.min([_cover(field, x + a, y + b) for a in (-0.3, 0.0, 0.3) for b in (-0.3, 0.0, 0.3)], axis=0)
        assert np.all((cover >= asked - 0.02) | tapered | begins)
        assert np.all((z - pipe.wall - spec.bedding >= _between(field, field.deepest, x, y) - 0.03) | begins)
        if field.barred is not None:  # a basin beside a wall is left by a stub
            through = shapely.intersection(field.barred, LineString(line.xy)).length
            assert through <= 0.5 * (line.from_id in starts) + 1e-6
        for crossing in field.crossings:
            hit = shapely.intersection(LineString(line.xy), crossing.shape)
            for px, py in shapely.get_coordinates(hit) if crossing.elevation is not None else []:
                at = z[np.argmin(np.hypot(x - px, y - py))]
                assert crossing.id in line.crossings
                assert at - pipe.wall >= crossing.elevation + crossing.clearance - 0.005 or (
                    at + pipe.crown <= crossing.elevation - crossing.clearance + 0.005)


def test_a_plane_that_falls_to_a_swale_drains_straight(route_grid, spec) -> None:
    field = _plane(route_grid)
    basin = Collector("basin", _at(field, 10, 2), 100.0 - 0.04 - 0.45)
    swale = OutfallTarget("swale", _at(field, 10, 40), 98.6)
    forest = route_forest(field, [basin], [swale], spec)
    (line,) = forest.lines
    assert line.fittings == ()
    assert line.length == pytest.approx(38.0)
    assert np.ptp(line.xy[:, 1]) == 0.0
    assert line.to_id == "swale"
    check_limits(field, forest, [basin], [swale], spec)


def test_a_straight_line_off_the_eight_directions_is_straight(route_grid, spec) -> None:
    field = _plane(route_grid)
    basin, swale = Collector("basin", _at(field, 2, 2), 99.4), OutfallTarget("swale", _at(field, 17, 40), 98.6)
    forest = route_forest(field, [basin], [swale], spec)
    (line,) = forest.lines
    assert line.length == pytest.approx(basin.point.distance(swale.point))
    assert line.fittings == ()


def test_a_septic_field_in_the_way_is_gone_round(route_grid, spec) -> None:
    septic = box(1018.0, 1983.0, 1026.0, 1993.0)
    open_field, field = _plane(route_grid), _plane(route_grid, barred=septic)
    basin, swale = Collector("basin", _at(field, 10, 2), 99.5), OutfallTarget("swale", _at(field, 10, 40), 98.6)
    straight = route_forest(open_field, [basin], [swale], spec)
    forest = route_forest(field, [basin], [swale], spec)
    assert not forest.unserved
    assert forest.cost > straight.cost
    # round the corners of a rectangle 10 m high, 38 m from end to end
    assert straight.lines[0].length < sum(line.length for line in forest.lines) < 38.0 + 4.5
    assert all(angle in (22.5, 45.0) for line in forest.lines for _, angles in line.fittings for angle in angles)
    check_limits(field, forest, [basin], [swale], spec)


def test_a_bowl_below_its_outlet_has_no_gravity_line(route_grid, spec) -> None:
    field = _plane(route_grid, fall=0.0)
    basin, swale = Collector("basin", _at(field, 10, 2), 99.5), OutfallTarget("swale", _at(field, 10, 40), 100.2)
    forest = route_forest(field, [basin], [swale], spec)
    assert forest.lines == ()
    assert forest.unserved["basin"] == route_search.NO_FALL


@pytest.mark.parametrize("row", [10, 4])
@pytest.mark.parametrize(("spare", "served"), [(0.001, True), (0.0, True), (-0.001, False)])
def test_fall_exactly_at_the_limit(route_grid, spec, spare: float, served: bool, row: int) -> None:
    """The level that leaves no fall to spare, from both sides, also off the grid's own directions."""
    field = _plane(route_grid, fall=0.005)
    start, end = _at(field, row, 2), _at(field, 10, 40)
    pipe = spec.pipes[0]
    invert = 100.0 - 0.005 * 2 - 0.3 - pipe.crown
    level = invert - pipe.min_slope * start.distance(end) - spec.dig_tolerance - spare
    target = OutfallTarget("swale", end, level)
    fall = fall_to_spare(field, target, pipe, replace(spec, basin_drop=0.0))
    assert fall.spare[row, 2] == pytest.approx(spare, abs=1e-9)
    only_four = replace(spec, pipes=(pipe,))
    forest = route_forest(field, [Collector("basin", start, invert)], [target], only_four)
    assert (not forest.unserved) == served


def test_two_collectors_side_by_side_share_a_trunk(route_grid, spec) -> None:
    field = _plane(route_grid)
    basins = [Collector(f"b{row}", _at(field, row, 2), 99.5, 0.002) for row in (8, 12)]
    swale = OutfallTarget("swale", _at(field, 10, 40), 98.4)
    forest = route_forest(field, basins, [swale], spec)
    trunk = [line for line in forest.lines if set(line.serves) == {"b8", "b12"}]
    assert len(trunk) == 1
    assert trunk[0].length > 25.0
    assert forest.exact
    check_limits(field, forest, basins, [swale], spec)


def test_two_collectors_far_apart_keep_their_own_outfalls(route_grid, spec) -> None:
    field = _plane(route_grid, rows=41)
    basins = [Collector(f"b{row}", _at(field, row, 20), 99.1, 0.002) for row in (2, 38)]
    swales = [OutfallTarget(f"s{row}", _at(field, row, 40), 98.4) for row in (2, 38)]
    forest = route_forest(field, basins, swales, spec)
    assert {(line.from_id, line.to_id) for line in forest.lines} == {("b2", "s2"), ("b38", "s38")}
    assert all(len(line.serves) == 1 for line in forest.lines)


@pytest.mark.parametrize("inside", [0.0, 0.3])
def test_downspouts_at_a_wall_are_tied_into_one_line(inside: float, route_grid, spec) -> None:
    """Four corners of a roof whose outline is the wall, or lies over its eaves, and a swale to the east."""
    house = box(1008.0, 1985.0, 1016.0, 1995.0)
    field = _plane(route_grid, barred=house)
    corners = [(x, y) for x in (1008.0 + inside, 1016.0 - inside) for y in (1985.0 + inside, 1995.0 - inside)]
    spouts = [Collector(f"spout-{k}", Point(*at), 99.45 - 0.02 * (at[0] - 1008.0)) for k, at in enumerate(corners)]
    swale = OutfallTarget("swale", _at(field, 10, 40), 98.4)
    forest = route_forest(field, spouts, [swale], spec)
    assert not forest.unserved
    assert sum(line.to_id == "swale" for line in forest.lines) == 1  # they share a trunk
    check_limits(field, forest, spouts, [swale], spec)
    lines = {line.id: line for line in forest.lines}
    for line in forest.lines:
        if inside == 0.0:  # it leaves the wall outwards
            assert shapely.intersection(LineString(line.xy), house).length < 0.005
        after = lines[line.to_id].xy[:2] if line.to_id in lines else np.zeros((0, 2))
        heading = np.degrees(np.arctan2(*np.diff(np.vstack([line.xy, after[1:]]), axis=0).T[::-1]))
        turns = np.abs((np.diff(heading) + 180.0) % 360.0 - 180.0)
        assert np.all(turns <= 90.0 + spec.joint_angle + 1e-6), "no wye against the flow"


@pytest.mark.parametrize("most", [16, 200, 800])
def test_a_search_that_grows_too_long_is_given_up_for_a_cheap_forest(
    most: int, route_grid, spec, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With room for one label a way out, for each line by itself, and for the cheapest joints alone."""
    field = _plane(route_grid)
    basins = [Collector(f"b{row}", _at(field, row, 2), 99.5, 0.001) for row in (4, 8, 12, 16)]
    swale = OutfallTarget("swale", _at(field, 10, 40), 98.4)
    whole = route_forest(field, basins, [swale], spec)
    monkeypatch.setattr("pipelines.layout.routing.task.MOST_LABELS", most)
    short = route_forest(field, basins, [swale], spec)
    assert whole.exact
    assert not short.exact
    assert not short.unserved
    assert short.lower_bound <= whole.grid_cost * (1.0 + 1e-6)
    apart = sum(route_forest(field, [each], [swale], spec).grid_cost for each in basins)
    assert whole.grid_cost - 1e-6 <= short.grid_cost <= apart * (1.0 + 1e-6)
    check_limits(field, short, basins, [swale], spec)


def test_once_as_much_was_searched_as_may_be_each_line_is_laid_by_itself(route_grid, spec) -> None:
    """What a forest takes is a count, the same each time; with less than that its lines are no longer joined."""
    field = _plane(route_grid)
    basins = [Collector(f"b{row}", _at(field, row, 2), 99.5, 0.001) for row in (8, 12)]
    swale = OutfallTarget("swale", _at(field, 10, 40), 98.4)
    whole, again = (route_forest(field, basins, [swale], spec) for _ in range(2))
    assert whole.places == again.places > 0
    assert not whole.cut_short
    short = route_forest(field, basins, [swale], spec, most=0)
    assert short.cut_short
    assert not short.exact
    assert not short.unserved
    assert short.lower_bound <= whole.grid_cost <= short.grid_cost
    assert short.grid_cost == pytest.approx(sum(route_forest(field, [b], [swale], spec).grid_cost for b in basins))
    check_limits(field, short, basins, [swale], spec)
    effort = SearchEffort(whole.places)
    effort.add(whole)
    assert (effort.left, effort.cut_short) == (0, False)
    effort.add(short)
    assert effort.cut_short


def test_a_line_runs_through_a_basin_on_its_way(route_grid, spec) -> None:
    field = _plane(route_grid)
    basins = [Collector("up", _at(field, 10, 2), 99.5, 0.001, through=True),
              Collector("down", _at(field, 10, 20), 99.15, 0.001, through=True)]
    swale = OutfallTarget("swale", _at(field, 10, 40), 98.4)
    forest = route_forest(field, basins, [swale], spec)
    assert [(line.from_id, line.to_id) for line in forest.lines] == [("up", "down"), ("down", "swale")]
    check_limits(field, forest, basins, [swale], spec)


def test_a_shared_line_takes_the_pipe_that_carries_its_flow(route_grid, spec) -> None:
    field = _plane(route_grid)
    basins = [Collector(f"b{row}", _at(field, row, 2), 99.5, 0.004) for row in (9, 11)]
    swale = OutfallTarget("swale", _at(field, 10, 40), 98.3)
    forest = route_forest(field, basins, [swale], spec)
    for line in forest.lines:
        assert line.pipe == (0 if len(line.serves) == 1 else 1)
    check_limits(field, forest, basins, [swale], spec)


def test_gas_is_passed_under_where_it_lies_in_the_way(route_grid, spec) -> None:
    field = _plane(route_grid, crossings=(Crossing("gas", "gas", LineString([(1020, 1900), (1020, 2100)]), 50.0,
                                                   99.1, 0.15),), max_depth=1.5)
    basin, swale = Collector("basin", _at(field, 10, 2), 99.4), OutfallTarget("swale", _at(field, 10, 40), 98.2)
    forest = route_forest(field, [basin], [swale], spec)
    assert forest.lines[0].crossings == ("gas",)
    check_limits(field, forest, [basin], [swale], spec)
    crossing = np.interp(1020.0, forest.lines[0].xy[:, 0], forest.lines[0].inverts)
    assert crossing + spec.pipes[0].crown <= 99.1 - 0.15 + 1e-6


def test_the_end_taper_alone_may_have_less_cover(route_grid, spec) -> None:
    """The ground drops to a ditch in its last 2 m: only the taper lets the line come out there."""
    _, c = np.indices((21, 41))
    ground = np.where(c < 39, 100.0 - 0.005 * c, 99.3)
    field = field_from_arrays(route_grid(21, 41), ground, cover=0.3)
    basin, ditch = Collector("basin", _at(field, 10, 2), 99.55), OutfallTarget("ditch", _at(field, 10, 40), 99.1)
    forest = route_forest(field, [basin], [ditch], spec)
    check_limits(field, forest, [basin], [ditch], spec)
    assert not forest.unserved
    assert route_forest(field, [basin], [ditch], replace(spec, taper_length=0.0)).unserved


def test_a_strip_without_right_of_way_and_a_permit_are_flagged(route_grid, spec) -> None:
    permit, assumed = np.zeros((21, 41), bool), np.zeros((21, 41), bool)
    permit[:, 30:] = True
    assumed[:, 38:] = True
    free, asked = _plane(route_grid), _plane(route_grid, permit=permit, assumed=assumed, permit_cost=100.0)
    basin, swale = Collector("basin", _at(free, 10, 2), 99.5), OutfallTarget("swale", _at(free, 10, 40), 98.6)
    (line,) = route_forest(asked, [basin], [swale], spec).lines
    assert (line.permit, line.assumed, line.near_line) == (True, True, False)
    assert line.cost == pytest.approx(route_forest(free, [basin], [swale], spec).cost + 100.0)


def _random_lot(seed: int, make_grid, rough) -> tuple[RouteField, list[Collector], list[OutfallTarget]]:
    rng = np.random.default_rng(seed)
    rows, columns = 18, 24
    grid = make_grid(rows, columns)
    ground = rough(seed, (rows, columns), rng.uniform(0.005, 0.03), 0.04)
    x, y = rng.uniform(1006, 1013), rng.uniform(1985, 1991)
    house = box(x, y, x + rng.uniform(3, 7), y + rng.uniform(3, 6))
    surface = np.full((rows, columns), 6.0)
    cover = np.full((rows, columns), 0.2)
    first = int(rng.integers(2, 14))
    surface[first: first + 3, 9:], cover[first: first + 3, 9:] = 70.0, 0.35
    line = LineString([(1000.0 + rng.uniform(14, 21), 1970.0), (1000.0 + rng.uniform(14, 21), 2001.0)])
    gas = Crossing("gas", "gas", line, 60.0, float(ground.mean()) - rng.uniform(0.3, 0.9), 0.15)
    tree = Point(rng.uniform(1003, 1020), rng.uniform(1984, 1998))
    roots = Crossing("roots", "tree", tree.buffer(1.5), 30.0, None, 0.0)
    trunk = Point(rng.uniform(1003, 1020), rng.uniform(1984, 1998)).buffer(rng.uniform(0.2, 0.8))
    away = shapely.distance(shapely.points(*grid.centres(*np.indices(grid.shape))), house)
    field = field_from_arrays(
        grid, ground, surface_cost=surface, cover=cover, barred=house.union(trunk), crossings=(gas, roots),
        deepest=99.4 - away if seed % 2 else None, permit=np.indices(grid.shape)[1] > 20, permit_cost=40.0,
    )
    collectors, outfalls = [], []
    for k in range(int(rng.integers(1, 4))):
        px, py = 1000.0 + rng.uniform(1, 10), 1982.0 + rng.uniform(1, 17)
        if house.buffer(-0.4).contains(Point(px, py)):
            continue
        at = grid.cells(px, py)
        collectors.append(Collector(f"c{k}", Point(px, py), float(ground[at]) - rng.uniform(0.32, 0.5),
                                    rng.uniform(0.0005, 0.004), bool(rng.integers(2))))
    for k in range(int(rng.integers(1, 3))):
        px, py = 1023.5, 1982.0 + rng.uniform(1, 17)
        at = grid.cells(px, py)
        outfalls.append(OutfallTarget(f"o{k}", Point(px, py), float(ground[at]) - rng.uniform(0.1, 0.6), 40.0 * k))
    return field, collectors, outfalls


@given(seed=st.integers(0, 100_000))
def test_limits_hold_on_random_lots(seed: int, route_grid, rough, spec) -> None:
    field, collectors, outfalls = _random_lot(seed, route_grid, rough)
    forest = route_forest(field, collectors, outfalls, spec)
    check_limits(field, forest, collectors, outfalls, spec)
    assert forest.cost == pytest.approx(sum(line.cost for line in forest.lines))
    assert forest.lower_bound <= forest.grid_cost * (1.0 + 1e-9)


@given(seed=st.integers(0, 100_000))
def test_a_forest_is_never_dearer_than_straight_lines(seed: int, route_grid, rough, spec) -> None:
    field, collectors, outfalls = _random_lot(seed, route_grid, rough)
    free = field_from_arrays(field.grid, field.ground, surface_cost=field.surface_cost, cover=field.cover)
    straight = 0.0
    for collector in collectors:
        alone = [route_forest(_only_the_line(free, collector.point, end.point), [collector], [end], spec)
                 for end in outfalls]
        straight += min((a.cost for a in alone if not a.unserved), default=np.inf)
    forest = route_forest(free, collectors, outfalls, spec)
    if np.isfinite(straight) and straight > 0.0:
        assert not forest.unserved
        assert forest.cost <= straight * (1.0 + 1e-9)


def _only_the_line(field: RouteField, start: Point, end: Point) -> RouteField:
    """The field with walls beside the straight line, so that nothing else is left."""
    line = LineString([start, end])
    walls = []
    for side in (0.05, -0.05):
        xy = shapely.get_coordinates(line.parallel_offset(abs(side), "left" if side > 0 else "right"))
        walls.append([*xy[0], *xy[-1]])
    return replace(field, walls=np.array(walls), passable=np.zeros_like(field.passable))


@given(seed=st.integers(0, 100_000), quarter=st.integers(0, 3), mirrored=st.booleans())
def test_turning_mirroring_and_moving_a_lot_changes_no_cost(
    seed: int, quarter: int, mirrored: bool, route_grid, rough, spec
) -> None:
    field, collectors, outfalls = _random_lot(seed, route_grid, rough)
    # centres of cells, so that a turn maps them on each other
    snap = [_snapped(field, c.point) for c in collectors], [_snapped(field, o.point) for o in outfalls]
    if len({p.wkt for p in snap[0] + snap[1]}) < len(snap[0] + snap[1]):
        return
    collectors = [replace(c, point=p) for c, p in zip(collectors, snap[0], strict=True)]
    outfalls = [replace(o, point=p) for o, p in zip(outfalls, snap[1], strict=True)]
    plain = field_from_arrays(field.grid, field.ground, field.allowed, surface_cost=field.surface_cost,
                              cover=field.cover)
    rows, columns = field.grid.shape
    shape = (columns, rows) if quarter % 2 else (rows, columns)
    grid = route_grid(*shape, 1.0, 5000.0, 400.0)
    shift = 37.25

    def seen(cells: np.ndarray) -> np.ndarray:
        return np.rot90(cells[:, ::-1] if mirrored else cells, quarter)

    def turned(p: Point) -> Point:
        mark = np.zeros((rows, columns))
        mark[tuple(int(v) for v in field.grid.cells(p.x, p.y))] = 1.0
        r, c = (int(v[0]) for v in np.nonzero(seen(mark)))
        return Point(*(float(v) for v in grid.centres(r, c)))

    other = field_from_arrays(
        grid, seen(field.ground) + shift, seen(field.allowed),
        surface_cost=seen(field.surface_cost), cover=seen(field.cover),
    )
    first = route_forest(plain, collectors, outfalls, spec)
    second = route_forest(
        other, [replace(c, point=turned(c.point), invert=c.invert + shift) for c in collectors],
        [replace(o, point=turned(o.point), level=o.level + shift) for o in outfalls], spec,
    )
    assert first.grid_cost == pytest.approx(second.grid_cost, rel=1e-9)
    assert first.cost == pytest.approx(second.cost, rel=1e-6)
    assert first.unserved == second.unserved
    ends = [each.id for each in outfalls]
    for line, same in zip(first.lines, second.lines, strict=True):
        assert (line.from_id, line.to_id) == (same.from_id, same.to_id)
        assert line.length == pytest.approx(same.length, abs=1e-5)
        if line.to_id in ends:  # it ends at the outfall's very place, not near it
            place = next(each.point for each in outfalls if each.id == line.to_id)
            assert tuple(line.xy[-1]) == (place.x, place.y)


def test_a_view_takes_every_place_back_to_the_map(route_grid, rough, spec) -> None:
    field, collectors, outfalls = _random_lot(11, route_grid, rough)
    view = settled_view(field, [*(c.point for c in collectors), *(o.point for o in outfalls)])
    rng = np.random.default_rng(3)
    west, south, east, north = field.grid.bounds
    for x, y in zip(rng.uniform(west, east, 200), rng.uniform(south, north, 200), strict=True):
        seen = view.point(Point(x, y))
        assert view.on_map(np.array([[seen.x, seen.y]]))[0] == pytest.approx((x, y), abs=1e-6)
        there = tuple(int(v) for v in view.field.grid.cells(seen.x, seen.y))
        here = tuple(int(v) for v in field.grid.cells(x, y))
        assert view.field.ground[there] == field.ground[here]
        # each way out of the cell keeps its length, whether it is open and what it costs
        told, same = (
            sorted(zip(f.step_lengths(), f.passable[at], f.crossing_cost[at], f.band_low[at], strict=True))
            for f, at in ((view.field, there), (field, here))
        )
        assert told == same


def _snapped(field: RouteField, point: Point) -> Point:
    return _at(field, *field.nearest_allowed(point.x, point.y))


def test_feet_and_metres_give_the_same_cost_and_verdict(route_grid, rough, spec) -> None:
    """All lengths in feet, money by the foot: the same money."""
    field, collectors, outfalls = _random_lot(4, route_grid, rough)
    k = 1.0 / FOOT

    def scaled(shape):
        return shapely.transform(shape, lambda xy: xy * k)

    grid = route_grid(*field.grid.shape, k, 1000.0 * k, 2000.0 * k)
    crossings = tuple(replace(c, shape=scaled(c.shape), clearance=c.clearance * k,
                              elevation=None if c.elevation is None else c.elevation * k) for c in field.crossings)
    in_feet = field_from_arrays(
        grid, field.ground * k, surface_cost=field.surface_cost / k, cover=field.cover * k, max_depth=1.2 * k,
        barred=scaled(field.barred), crossings=crossings, permit=field.permit, permit_cost=field.permit_cost,
    )
    pipes = tuple(replace(p, outside=p.outside * k, wall=p.wall * k, cost=p.cost / k) for p in spec.pipes)
    feet = replace(
        spec, pipes=pipes, trench_depths=tuple(d * k for d in spec.trench_depths),
        trench_costs=tuple(c / k for c in spec.trench_costs), taper_length=spec.taper_length * k,
        dig_tolerance=spec.dig_tolerance * k, basin_drop=spec.basin_drop * k,
    )
    first = route_forest(field, collectors, outfalls, spec)
    second = route_forest(
        in_feet, [replace(c, point=scaled(c.point), invert=c.invert * k) for c in collectors],
        [replace(o, point=scaled(o.point), level=o.level * k) for o in outfalls], feet,
    )
    assert set(first.unserved) == set(second.unserved)
    assert first.grid_cost == pytest.approx(second.grid_cost, rel=1e-9)


@pytest.mark.parametrize(
    ("collector", "outfall", "text"),
    [
        (Collector("a", Point(1002.5, 1990.5), np.nan), OutfallTarget("o", Point(1030.5, 1990.5), 98.0), "invert nan"),
        (Collector("a", Point(1002.5, 1990.5), 99.0, -1.0), OutfallTarget("o", Point(1030.5, 1990.5), 98.0), "flow"),
        (Collector("a", Point(1002.5, 1990.5), 99.0), OutfallTarget("a", Point(1030.5, 1990.5), 98.0), "more than"),
        (Collector("a", Point(1002.5, 1990.5), 99.0), OutfallTarget("o", Point(1030.5, 1990.5), np.inf), "level inf"),
    ],
)
def test_what_makes_no_sense_is_named(route_grid, spec, collector, outfall, text: str) -> None:
    with pytest.raises(RouteError, match=text):
        route_forest(_plane(route_grid), [collector], [outfall], spec)


@pytest.mark.parametrize(
    ("change", "text"),
    [({"pipes": ()}, "no pipe"), ({"trench_costs": (5.0, 4.0, 9.0, 9.0, 9.0, 9.0)}, "never cheaper"),
     ({"trench_depths": (0.0, 0.0)}, "must rise"), ({"bend_45": -1.0}, "bend_45")],
)
def test_a_spec_that_makes_no_sense_is_refused(spec, change: dict, text: str) -> None:
    with pytest.raises(RouteError, match=text):
        replace(spec, **change)


def test_no_collectors_and_no_outfalls_give_no_lines(route_grid, spec) -> None:
    field = _plane(route_grid)
    assert route_forest(field, [], [OutfallTarget("o", _at(field, 3, 3), 98.0)], spec).lines == ()
    alone = route_forest(field, [Collector("a", _at(field, 3, 3), 99.0)], [], spec)
    assert alone.unserved["a"].code == "no_outfall_for_line"


@given(seed=st.integers(0, 100_000))
def test_lower_bounds_cut_nothing_off(seed: int, route_grid, rough, spec) -> None:
    """With bounds of nothing the search looks everywhere, and finds no cheaper forest."""
    field, collectors, outfalls = _random_lot(seed, route_grid, rough)
    bounded = search_grid(field, collectors[:2], outfalls, spec)

    def no_bounds(*arguments, **named):
        def nothing(values):
            return np.where(np.isfinite(values), 0.0, np.inf)

        bounds = lower_bounds(*arguments, **named)
        return replace(bounds, gathered=nothing(bounds.gathered), rows=nothing(bounds.rows), tree=nothing(bounds.tree),
                       costs=nothing(bounds.costs), meet=nothing(bounds.meet))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pipelines.layout.routing.task.lower_bounds", no_bounds)
        patch.setattr("pipelines.layout.routing.search.WIDER", ())
        plain = search_grid(field, collectors[:2], outfalls, spec)
    assert bounded.cost == pytest.approx(plain.cost, rel=1e-9)
    assert bounded.unserved.keys() == plain.unserved.keys()


@given(seed=st.integers(0, 100_000))
def test_no_collector_is_lost_where_only_some_joints_are_searched(seed: int, route_grid, rough, spec) -> None:
    field, collectors, outfalls = _random_lot(seed, route_grid, rough)
    with pytest.MonkeyPatch.context() as patched:
        # as rough as can be: what is known of single lines must still be found again
        patched.setattr("pipelines.layout.routing.search.ROUGH", 5.0)
        patched.setattr("pipelines.layout.routing.search.ROUGHER", 5.0)
        patched.setattr("pipelines.layout.routing.search.EXACT_UP_TO", 0)
        some = route_forest(field, collectors, outfalls, spec)
    every = route_forest(field, collectors, outfalls, spec)
    assert set(some.unserved) == set(every.unserved)
    assert np.isfinite(some.cost)
    assert some.grid_cost >= every.grid_cost - 1e-6
    check_limits(field, some, collectors, outfalls, spec)


def test_what_a_rough_search_misses_is_looked_for_again(
    route_grid, spec, monkeypatch: pytest.MonkeyPatch
) -> None:
    field = _plane(route_grid, rows=41)
    basins = [Collector(f"b{row}", _at(field, row, 20), 99.1, 0.002) for row in (2, 38)]
    swales = [OutfallTarget(f"s{row}", _at(field, row, 40), 98.4) for row in (2, 38)]
    whole = route_forest(field, basins, swales, spec)
    search = route_search._together

    def missing(*args):
        found = search(*args)
        if found is None or args[-1] == route_search.FINE:
            return found
        return np.full_like(found[0], np.inf), np.zeros_like(found[1]), found[2]

    monkeypatch.setattr(route_search, "_together", missing)
    monkeypatch.setattr(route_search, "EXACT_UP_TO", 0)
    some = route_forest(field, basins, swales, spec)
    assert some.grid_cost == pytest.approx(whole.grid_cost, rel=1e-9)
    check_limits(field, some, basins, swales, spec)


def _grid_run(serves: tuple[int, ...], start: int | None, into: GridRun | None) -> GridRun:
    return GridRun(serves, 0, start, into, 0, np.zeros(1, dtype=np.int64), np.zeros(1))


def _laid(*xy: tuple[float, float]) -> Laid:
    return Laid(np.array(xy), np.zeros(len(xy)), 1.0)


def test_a_line_begins_at_the_collector_that_its_junction_came_to_lie_on() -> None:
    trunk = _grid_run((0, 1, 2), None, None)
    middle = _grid_run((0, 1), 1, trunk)
    upper, beside = _grid_run((0,), 0, middle), _grid_run((2,), 2, trunk)
    runs = [upper, middle, beside, trunk]
    laid = [_laid((0, 5), (0, 3)), _laid((0, 3), (0, 3)), _laid((4, 3), (0, 3)), _laid((0, 3), (0, 0))]
    kept, lines = _without_empty(runs, laid)
    assert lines == [laid[0], laid[2], laid[3]]
    assert [run.start for run in kept] == [0, 2, 1]
    assert [run.serves for run in kept] == [(0,), (2,), (0, 1, 2)]
    assert [run.into for run in kept] == [kept[2], kept[2], None]


def test_two_collectors_in_one_place_are_not_laid() -> None:
    trunk = _grid_run((0, 2), 2, None)
    branch = _grid_run((0,), 0, trunk)
    with pytest.raises(CannotLay):
        _without_empty([branch, trunk], [_laid((0, 3), (0, 3)), _laid((0, 3), (0, 0))])
