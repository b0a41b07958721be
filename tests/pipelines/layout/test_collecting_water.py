"""Where water is caught: arrival told on a square, trenches with known inverts, basins off keep-outs, downspouts."""

from functools import partial

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, box

from pipelines.deliverables.words.say import say
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.inputs.rules import load_rules, read_overrides
from pipelines.layout.catching.basins import fixed_basins
from pipelines.layout.catching.collection import is_minor, site_collectors
from pipelines.layout.catching.downspouts import site_downspouts
from pipelines.layout.catching.sites import CatchGround, LayoutError, free_ground, heights_along
from pipelines.layout.catching.trench_sizes import stone_offset, trench_depth
from pipelines.layout.catching.trenches import channel_across
from pipelines.layout.diagnosis.protected import ProtectedEdge, arriving_water, mask_of
from pipelines.layout.diagnosis.protected import arrival_at as arrival
from pipelines.layout.diagnosis.troubles import SpotPlace, Trouble
from terrain.flow.drainage import drain_ground, upstream_labels
from terrain.flow.low_spots import find_low_spots
from terrain.ground import OPEN, ROOF
from terrain.reason import reason
from terrain.unit_table import FOOT, INCH

RULES = load_rules()
LEAST_SLOPE, BEDDING, OVERLAP = (
    RULES["slope_4in_smooth"].low, RULES["stone_under_pipe"].likely, RULES["trench_overlap"].likely
)
arrival_at = partial(
    arrival, share=RULES["arrival_share"].likely, cluster_reach=RULES["arrival_cluster"].likely,
    cluster_share=RULES["arrival_cluster_share"].likely,
)
LEFT, TOP = 500000.0, 4000000.0
SIZE = 20


def shifted(shape: shapely.Geometry) -> shapely.Geometry:
    """A shape given from the lower left corner of a grid of 20 x 20 cells of a metre."""
    return shapely.transform(shape, lambda xy: xy + np.array([LEFT, TOP - SIZE]))


@pytest.fixture
def grid(ground_of):
    return ground_of(np.zeros((SIZE, SIZE))).grid


@pytest.fixture
def slope(ground_of):
    """Falls due south by 2 %."""
    return drain_ground(ground_of(np.repeat(100.0 - 0.02 * np.arange(SIZE)[:, None], SIZE, axis=1)))


def cell(row: int, column: int) -> int:
    return row * SIZE + column


def ruled(**given):
    return RULES.with_overrides(read_overrides(given))


PATIO = shifted(box(6.0, 6.0, 12.0, 12.0))
NO_TREES = shapely.Polygon()


def edge(cells: list[int], areas: list[float]) -> ProtectedEdge:
    return ProtectedEdge("patio", "paving", PATIO, np.array(cells), np.array(areas))


def test_water_steps_onto_a_patio_from_the_cells_above_it(slope) -> None:
    found = arriving_water("patio", "paving", PATIO, slope)
    # the patio's top row is row 8, so that row 7 steps onto it, each cell with the 8 m2 of its column
    assert found.cells.tolist() == [cell(7, column) for column in range(6, 12)]
    assert found.areas == pytest.approx([8.0] * 6)
    assert found.arriving_area == pytest.approx(48.0)


def test_sheet_flow_over_one_side_is_met_along_that_side_and_an_overlap(grid) -> None:
    side = edge([cell(7, column) for column in range(6, 12)], [8.0] * 6)
    arrival = arrival_at(side, grid, offset=0.5, overlap=0.9)
    assert not arrival.concentrated
    # centres stand from 6.5 to 11.5 m; all six are needed for 95 % of the water
    assert arrival.stretch.length == pytest.approx(5.0 + 2.0 * 0.9)
    x, y = shapely.get_coordinates(arrival.stretch).T
    assert (x.min() - LEFT, x.max() - LEFT) == pytest.approx((5.6, 12.4))
    assert y == pytest.approx(np.full(len(y), TOP - SIZE + 12.5))


def test_the_shortest_arc_leaves_out_what_little_comes_elsewhere(grid) -> None:
    # 1 % of the water comes to the far side
    side = edge([*(cell(7, column) for column in range(6, 12)), cell(14, 9)], [16.5] * 6 + [1.0])
    arrival = arrival_at(side, grid, offset=0.5, overlap=0.0)
    assert arrival.stretch.length == pytest.approx(5.0)


def test_water_at_a_corner_is_met_round_the_corner(grid) -> None:
    # the ring begins at a corner: the arc runs on past its seam
    for corner in ((7, 6, 8, 5), (7, 11, 8, 12), (14, 6, 13, 5), (14, 11, 13, 12)):
        top, across, beside, out = corner
        step = 1 if top == 7 else -1
        cells = [cell(top, across), cell(beside, out), cell(beside + step, out)]
        arrival = arrival_at(edge(cells, [10.0, 10.0, 10.0]), grid, offset=0.5, overlap=0.0, cluster_share=1.1)
        # half a metre and the offset to the corner on one side, a metre and a half and the offset on the other
        assert arrival.stretch.length == pytest.approx(0.5 + 0.5 + 0.5 + 1.5)


def test_most_of_the_water_at_one_place_is_concentrated(grid) -> None:
    cells = [cell(7, 6), cell(7, 8), cell(7, 11)]
    exactly = arrival_at(edge(cells, [60.0, 20.0, 20.0]), grid, offset=0.5, overlap=0.0)
    assert exactly.concentrated
    assert (exactly.place.x - LEFT, exactly.place.y - TOP) == (6.5, -7.5)
    assert not arrival_at(edge(cells, [59.0, 21.0, 20.0]), grid, offset=0.5, overlap=0.0).concentrated
    # cells within a metre count as one place
    beside = arrival_at(edge([cell(7, 6), cell(7, 7), cell(7, 11)], [40.0, 20.0, 40.0]), grid, offset=0.5, overlap=0.0)
    assert beside.concentrated


@given(areas=st.lists(st.floats(0.1, 50.0), min_size=2, max_size=14), data=st.data())
def test_the_stretch_faces_its_share_of_the_water_and_no_shorter_arc_does(route_grid, areas, data) -> None:
    grid = route_grid(SIZE, SIZE, 1.0, LEFT, TOP)
    around = [cell(7, c) for c in range(6, 12)] + [cell(r, 12) for r in range(8, 14)]
    around += [cell(14, c) for c in range(6, 12)] + [cell(r, 5) for r in range(8, 14)]
    chosen = data.draw(st.permutations(around))[: len(areas)]
    side = edge(chosen, areas)
    stretch = arrival_at(side, grid, offset=0.5, overlap=0.0, cluster_share=2.0).stretch
    ring = shapely.LineString(shapely.buffer(PATIO, 0.5, join_style="mitre").exterior.coords)
    points = shapely.points(*grid.centres(np.array(chosen) // SIZE, np.array(chosen) % SIZE))
    at = shapely.line_locate_point(ring, points)

    def shortest() -> float:
        # by trying every pair of cells as the arc's ends
        best = ring.length
        for start in at:
            ahead = np.mod(at - start, ring.length)
            for end in ahead:
                if sum(a for a, s in zip(areas, ahead, strict=True) if s <= end + 1e-9) >= 0.95 * sum(areas) - 1e-9:
                    best = min(best, end)
        return best

    assert stretch.length == pytest.approx(shortest(), abs=1e-6)


# Trenches, basins, downspouts


def trouble_at(side: ProtectedEdge) -> Trouble:
    name = reason("place_named", name=side.name)
    why = reason("water_arrives", flow=0.001, area=side.arriving_area, place=name, seen=None)
    return Trouble("arriving", name, why, None, side)


def everywhere() -> shapely.Geometry:
    return shifted(box(0.0, 0.0, SIZE, SIZE))


def ground(drainage, *, free=None, stone=None, paving=PATIO, trees=NO_TREES, rules=RULES, shots=()):
    free = everywhere() if free is None else free
    return CatchGround(drainage, free, free if stone is None else stone, paving, trees, rules, 4.0 * FOOT, shots)


def sited(troubles, drainage, **more):
    return site_collectors(troubles, ground(drainage, **more))


def test_a_channel_is_sited_only_where_ground_drains_into_it(slope, ground_of) -> None:
    trouble = trouble_at(arriving_water("patio", "paving", PATIO, slope))
    stretch = shifted(LineString([(6.2, 12.5), (11.8, 12.5)]))
    open_ground = channel_across(trouble, stretch, ground(slope, paving=everywhere()), 1)
    assert open_ground.cells.tolist() == [cell(7, column) for column in range(6, 12)]
    kind = np.full((SIZE, SIZE), OPEN)
    kind[7, 6:12] = ROOF
    roofed = drain_ground(ground_of(slope.ground.elevation, kind=kind))
    assert channel_across(trouble, stretch, ground(roofed, paving=everywhere()), 1) is None


def test_a_trench_along_a_contour_is_as_deep_as_the_rules_say_and_falls_to_one_end(slope) -> None:
    side = arriving_water("patio", "paving", PATIO, slope)
    basins, (drain,), refused = sited([trouble_at(side)], slope)
    assert (basins, refused) == ((), ())
    length = 5.0 + 2.0 * OVERLAP
    assert drain.length == pytest.approx(length)
    # on the plane, 45 cm before the patio's edge: 5 cm on from the middle of row 7
    ground = 100.0 - 0.02 * 7.05
    assert drain.ground == pytest.approx(ground)
    assert drain.inverts[0] == pytest.approx(ground - trench_depth(RULES) + BEDDING)
    assert drain.inverts[-1] == pytest.approx(drain.inverts[0] - LEAST_SLOPE * length)
    assert drain.slope == pytest.approx(LEAST_SLOPE)
    assert drain.depth == pytest.approx(trench_depth(RULES) + LEAST_SLOPE * length)
    assert (drain.low_end.x, drain.low_end.y) == drain.line.coords[-1][:2]


def test_a_trench_down_a_slope_follows_it(ground_of) -> None:
    # 4 % along the patio's side, 2 % towards it
    at = np.arange(SIZE)
    tilted = drain_ground(ground_of(100.0 - 0.02 * at[:, None] - 0.04 * at[None, :]))
    cells = [cell(7, column) for column in range(6, 12)]
    _, (drain,), _ = sited([trouble_at(edge(cells, [8.0] * 6))], tilted)
    # the ground falls faster than the pipe must: the same depth everywhere, drawn downstream
    assert drain.ground - drain.inverts == pytest.approx(np.full(len(drain.ground), trench_depth(RULES) - BEDDING))
    assert (np.diff(drain.inverts) <= 0.0).all()
    assert drain.line.coords[-1][0] > drain.line.coords[0][0]


def test_a_trench_that_would_be_too_deep_gives_way_to_a_basin(slope) -> None:
    side = arriving_water("patio", "paving", PATIO, slope)
    shallow = ruled(depth_hand_dig={"low": "0.1 m", "likely": f"{trench_depth(RULES) + 0.01} m", "high": "4 ft"})
    (basin,), drains, _ = sited([trouble_at(side)], slope, rules=shallow)
    assert drains == ()
    assert basin.spot is None
    assert basin.cells.size


def test_stone_keeps_to_its_own_ground_and_a_short_rest_gets_a_basin(slope) -> None:
    side = arriving_water("patio", "paving", PATIO, slope)
    half = shifted(box(0.0, 0.0, 9.0, SIZE))
    _, (drain,), _ = sited([trouble_at(side)], slope, stone=half)
    assert shapely.covers(shapely.buffer(half, 1e-9), drain.line)
    assert drain.length == pytest.approx(9.0 - 5.6)
    basins, drains, _ = sited([trouble_at(side)], slope, stone=shifted(box(0.0, 0.0, 7.0, SIZE)))
    assert (len(basins), drains) == (1, ())


def test_concentrated_flow_gets_a_basin_where_it_arrives(slope) -> None:
    side = edge([cell(7, 6), cell(7, 8), cell(7, 11)], [80.0, 10.0, 10.0])
    (basin,), drains, _ = sited([trouble_at(side)], slope)
    assert drains == ()
    assert basin.point.distance(shifted(Point(6.5, 12.5))) <= 1.0
    assert not basin.paved


def bowl(ground_of, *, kind=None):
    at = np.arange(SIZE) - 9.0
    return drain_ground(ground_of(np.minimum(100.0 + 0.01 * (at[:, None] ** 2 + at[None, :] ** 2), 100.3), kind=kind))


def low_of(drainage, place: str = "lawn", *, seen: str | None = "a pond") -> Trouble:
    (spot,) = find_low_spots(drainage, rmse=0.02, prefix="low-")
    x, y = drainage.ground.grid.centres(spot.cells // SIZE, spot.cells % SIZE)
    shape = shapely.union_all(shapely.box(x - 0.5, y - 0.5, x + 0.5, y + 0.5))
    name = reason("place_named", name=place)
    what = None if seen is None else reason("water_seen", what=seen, date=None)
    why = reason("water_stands", depth=0.1, area=None, place=name, over=None, seen=what)
    return Trouble("standing", name, why, SpotPlace(spot, shape, place, name, what, True, np.inf), None)


def test_a_basin_stands_at_the_lowest_free_cell_of_its_low(ground_of) -> None:
    drainage = bowl(ground_of)
    (basin,), _, _ = sited([low_of(drainage)], drainage)
    x, y = drainage.ground.grid.centres(9, 9)
    assert (basin.point.x, basin.point.y) == (float(x), float(y))
    assert basin.ground == 100.0
    assert basin.spot == "low-1"
    assert basin.cells.size == 0
    # the middle is taken: the lowest cell that is free
    keep = shapely.buffer(Point(float(x), float(y)), 2.2)
    (moved,), _, _ = sited([low_of(drainage)], drainage, free=shapely.difference(everywhere(), keep))
    assert moved.point.distance(keep) > 0.0
    assert moved.ground == pytest.approx(100.0 + 0.01 * (1 + 4))


def test_a_basin_snaps_off_a_keep_out_that_covers_its_low_but_not_far(ground_of) -> None:
    drainage = bowl(ground_of)
    trouble = low_of(drainage)
    covered = shapely.buffer(trouble.spot.shape, 0.6)
    (basin,), _, refused = sited(
        [trouble], drainage, free=shapely.difference(everywhere(), covered), rules=ruled(basin_snap="8 m")
    )
    assert refused == ()
    assert not shapely.intersects(covered, basin.point)
    none, _, refused = sited([trouble], drainage, free=shapely.difference(everywhere(), covered))
    assert none == ()
    (why,) = refused
    assert say(why, "si") == "no basin fits at the lawn: no free ground within 3.0 m of it"


def test_a_basin_stands_at_the_lowest_level_shot_of_its_low(ground_of) -> None:
    drainage = bowl(ground_of)
    shots = [shifted(Point(10.3, 10.1)), shifted(Point(8.2, 9.0)), shifted(Point(1.0, 1.0))]
    shots = [Point(p.x, p.y, z) for p, z in zip(shots, (99.97, 99.95, 90.0), strict=True)]
    (basin,), _, _ = sited([low_of(drainage)], drainage, shots=shots)
    assert (basin.point.x, basin.point.y, basin.ground) == (shots[1].x, shots[1].y, 99.95)


def test_a_small_hollow_in_a_lawn_that_nobody_minds_is_filled_rather_than_drained(ground_of) -> None:
    drainage = bowl(ground_of)
    large = ruled(small_hollow="1000 m2")
    unseen = low_of(drainage, seen=None)
    assert is_minor(unseen.spot, large)
    assert sited([unseen], drainage, rules=large) == ((), (), ())
    assert not is_minor(low_of(drainage).spot, large)
    assert not is_minor(low_of(drainage, "paving", seen=None).spot, large)
    exactly = ruled(small_hollow=f"{unseen.spot.spot.area!r} m2")
    assert not is_minor(unseen.spot, exactly)


def test_a_basin_near_a_tree_stands_under_its_leaves(ground_of) -> None:
    drainage = bowl(ground_of)
    middle = Point(*map(float, drainage.ground.grid.centres(9, 9)))
    for away, under in ((10.0 * FOOT - 0.01, True), (10.0 * FOOT + 0.01, False)):
        tree = Point(middle.x + away, middle.y)
        (basin,), _, _ = sited([low_of(drainage)], drainage, trees=tree)
        assert basin.under_tree == under


def test_stone_over_the_pipe_deepens_a_trench() -> None:
    pipe = find_pipe("4 in D2729 perforated").outside
    # 2 in under the pipe and so much over it, or the trade's 18 in, the more of the two
    assert trench_depth(RULES) == pytest.approx(18.0 * INCH)
    assert trench_depth(ruled(stone_over_pipe="14 in")) == pytest.approx(2.0 * INCH + pipe + 14.0 * INCH)


def test_few_basins_do_the_job(ground_of) -> None:
    # the same low is wrong twice over: as standing water, and as water that arrives at a patio around it
    drainage = bowl(ground_of)
    patio = shifted(box(8.0, 9.0, 11.0, 12.0))
    point = ProtectedEdge("patio", "paving", patio, np.array([cell(7, 9)]), np.array([100.0]))
    basins, drains, refused = sited([trouble_at(point), low_of(drainage, "paving")], drainage)
    assert (len(basins), drains, refused) == (1, (), ())
    assert basins[0].spot == "low-1"


def test_fixed_basins_stand_where_they_are_wanted_or_are_refused(ground_of) -> None:
    drainage = bowl(ground_of)
    low = low_of(drainage).spot
    inside, beside = shifted(Point(10.4, 9.6)), shifted(Point(1.5, 1.5))
    first, second = fixed_basins([inside, beside], [low], ground(drainage))
    assert (first.point, first.spot, first.id) == (inside, "low-1", "basin-1")
    assert (second.point, second.spot, second.id) == (beside, None, "basin-2")
    assert second.cells.size
    with pytest.raises(LayoutError, match="point 2 lies off the lot, under a roof"):
        fixed_basins([inside, beside], [low], ground(drainage, free=shifted(box(5.0, 5.0, 15.0, 15.0))))


def test_free_ground_keeps_the_lines_offset_and_gives_way_on_a_narrow_lot() -> None:
    assert free_ground(box(0, 0, 10, 8), [], line_offset=2.0).bounds == (2.0, 2.0, 8.0, 6.0)
    assert free_ground(box(0, 0, 10, 3), [], line_offset=2.0).bounds == (1.0, 1.0, 9.0, 2.0)
    taken = free_ground(box(0, 0, 10, 8), [box(0, 0, 5, 8)], line_offset=1.0)
    assert taken.area == pytest.approx(4.0 * 6.0)


def test_heights_along_a_line_are_those_of_the_cells_and_bridge_what_is_unknown(ground_of) -> None:
    plane = np.repeat(100.0 - 0.1 * np.arange(SIZE)[None, :], SIZE, axis=0)
    plane[:, 5] = np.nan
    drainage = drain_ground(ground_of(plane))
    line = shifted(LineString([(3.5, 9.5), (4.5, 9.5), (5.5, 9.5), (6.5, 9.5)]))
    assert heights_along(line, drainage) == pytest.approx([99.7, 99.6, 99.5, 99.4])


def test_downspouts_are_tied_in_where_their_water_runs_to_a_trouble(ground_of) -> None:
    plane = np.repeat(100.0 - 0.02 * np.arange(SIZE)[:, None], SIZE, axis=1)
    kind = np.full((SIZE, SIZE), OPEN)
    kind[4:8, 4:12] = ROOF
    receiver = np.full((SIZE, SIZE), -1)
    receiver[4:8, 4:8], receiver[4:8, 8:12] = cell(8, 4), cell(8, 11)
    made = ground_of(plane, kind=kind, receiver=receiver)
    made = type(made)(made.grid, made.elevation, made.kind, made.receiver, np.where(kind == ROOF, 0, -1))
    drainage = drain_ground(made)
    # the left half of the row below is in trouble
    seeds = np.full((SIZE, SIZE), -1)
    seeds[14, 0:8] = 0
    labels = upstream_labels(drainage, seeds)
    spouts = [("1", shifted(Point(4.5, 12.0))), ("2", shifted(Point(11.5, 12.0))), ("3", shifted(Point(18.0, 2.0)))]
    patio = reason("place_named", name="patio")
    (tied,) = site_downspouts(spouts, drainage, {0: patio}, labels, reach=2.0)
    assert tied.id == "downspout-1"
    assert tied.area == 16.0
    assert np.array_equal(tied.cells, np.flatnonzero(receiver.ravel() == cell(8, 4)))
    assert say(tied.why, "us") == "Its roof water runs to the patio."
    assert site_downspouts([], drainage, {0: patio}, labels, reach=2.0) == ()


def test_mask_is_of_cells_whose_centre_lies_inside(grid) -> None:
    assert np.flatnonzero(mask_of(shifted(box(2.6, 16.6, 4.6, 18.4)), grid)).tolist() == [cell(2, 3), cell(2, 4)]
    assert not mask_of(shapely.Polygon(), grid).any()


@pytest.mark.parametrize("foundation", ["slab", "crawl", "basement", None])
@pytest.mark.parametrize("footing", [None, 0.3, 0.6, 1.5])
def test_stone_is_sited_by_the_kind_of_foundation(foundation: str | None, footing: float | None) -> None:
    offset, deepest = stone_offset(RULES, foundation, footing), RULES["depth_hand_dig"].likely
    if foundation == "slab":
        # 45 degrees down from the footing's bottom to the bottom of the deepest trench that is proposed
        assert offset >= deepest - (0.3 if footing is None else footing) - 1e-12
        assert offset >= 0.3
    else:
        assert offset == pytest.approx(4.0 * FOOT)
    assert RULES["trench_width_stone"].likely == pytest.approx(12.0 * INCH)
    # two inches of stone under the pipe (International Residential Code R405.1)
    assert pytest.approx(2.0 * INCH) == BEDDING
