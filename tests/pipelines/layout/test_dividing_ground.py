"""Studied ground divided: regions tile it, places pass their surplus on, sides and shut-in ground are told apart."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import box

from pipelines.layout.diagnosis.division import (
    ENCLOSED,
    SIDES,
    CollectingPlace,
    Division,
    divide_ground,
    parcel_cells,
    studied_ground,
)
from terrain.flow.drainage import drain_ground
from terrain.ground import BARRIER, OPEN

ROWS, COLUMNS = 12, 10


def _flat_index(row: int, column: int, columns: int = COLUMNS) -> int:
    return row * columns + column


def _lot(rows: slice, columns: slice, shape: tuple[int, int] = (ROWS, COLUMNS)) -> np.ndarray:
    on_lot = np.zeros(shape, dtype=bool)
    on_lot[rows, columns] = True
    return on_lot


@pytest.fixture
def slope(ground_of):
    """A plane that falls due south by 10 cm a cell: water runs straight down its column."""
    return drain_ground(ground_of(np.repeat(100.0 - 0.1 * np.arange(ROWS)[:, None], COLUMNS, axis=1)))


def tiles(division: Division) -> bool:
    cells = np.concatenate([region.cells for region in division.regions])
    return bool(np.array_equal(np.sort(cells), np.flatnonzero(division.studied)))


def test_plane_leaves_over_its_low_side_and_takes_run_on_from_above(slope) -> None:
    on_lot = _lot(slice(4, 8), slice(3, 7))
    division = divide_ground(slope, on_lot, [])
    assert tiles(division)
    lot, run_on = division.regions
    assert (lot.place, lot.drains_to, lot.run_on) == ("edge_s", "edge_s", False)
    assert (run_on.place, run_on.drains_to, run_on.run_on) == ("edge_s", lot.id, True)
    assert np.array_equal(lot.cells, np.flatnonzero(on_lot))
    assert np.array_equal(run_on.cells, np.flatnonzero(_lot(slice(0, 4), slice(3, 7))))
    # from the top of the run-on down to the last cell on the lot
    assert run_on.path.size == 8
    assert (run_on.path[0] // COLUMNS, run_on.path[-1] // COLUMNS) == (0, 7)
    assert division.places == ()
    assert division.next_place == {}


def test_studied_ground_is_the_lot_and_all_that_drains_to_it(slope) -> None:
    on_lot = _lot(slice(4, 8), slice(3, 7))
    assert np.array_equal(studied_ground(slope, on_lot), _lot(slice(0, 8), slice(3, 7)))


def test_two_takers_in_a_row_pass_on_downstream(slope) -> None:
    on_lot = _lot(slice(0, 12), slice(3, 7))
    upper = CollectingPlace("upper", "taker", np.array([_flat_index(3, 4)]))
    lower = CollectingPlace("lower", "taker", np.array([_flat_index(8, c) for c in range(3, 7)]))
    # in whatever order they are named
    for named in ([upper, lower], [lower, upper]):
        division = divide_ground(slope, on_lot, named)
        assert tiles(division)
        assert [place.id for place in division.places] == ["upper", "lower"]
        assert division.next_place == {"upper": "lower", "lower": "edge_s"}
        sizes = {region.place: region.cells.size for region in division.regions}
        assert sizes == {"upper": 4, "lower": 9 * 4 - 4, "edge_s": 3 * 4}


def test_where_two_places_share_cells_the_earlier_has_them_and_the_other_passes_on_to_it(slope) -> None:
    on_lot = _lot(slice(0, 12), slice(3, 7))
    shared = np.array([_flat_index(6, c) for c in range(3, 7)])
    first, second = CollectingPlace("first", "taker", shared), CollectingPlace("second", "taker", shared[:2])
    division = divide_ground(slope, on_lot, [first, second])
    assert tiles(division)
    assert {region.place for region in division.regions} == {"first", "edge_s"}
    # nothing comes to the other; it stays a place, so that its flow can be asked for
    assert division.next_place == {"second": "first", "first": "edge_s"}


def test_of_two_places_that_share_their_lowest_cell_the_one_that_has_it_comes_last(slope) -> None:
    shared = _flat_index(6, 4)
    first = CollectingPlace("first", "taker", np.array([shared]))
    second = CollectingPlace("second", "taker", np.array([_flat_index(3, 4), shared]))
    division = divide_ground(slope, _lot(slice(0, 12), slice(3, 7)), [first, second])
    assert [place.id for place in division.places] == ["second", "first"]
    assert division.next_place == {"second": "first", "first": "edge_s"}


def test_water_that_leaves_and_comes_back_has_not_left(slope) -> None:
    # two pieces of one lot, one above the other: the upper one's water crosses the lower one
    on_lot = _lot(slice(1, 3), slice(3, 7)) | _lot(slice(6, 9), slice(3, 7))
    division = divide_ground(slope, on_lot, [])
    assert tiles(division)
    lot = next(region for region in division.regions if not region.run_on)
    assert lot.cells.size == 5 * 4
    between = next(region for region in division.regions if region.run_on)
    assert between.cells.size == (1 + 3) * 4


def test_each_side_is_named_by_where_water_crosses_it(ground_of) -> None:
    # a ridge in the middle of each direction: a quarter of the lot falls to each side
    at = np.arange(-10, 11)
    cone = 100.0 - np.maximum(np.abs(at)[:, None], np.abs(at)[None, :]) * 0.1
    drainage = drain_ground(ground_of(cone))
    division = divide_ground(drainage, _lot(slice(4, 17), slice(4, 17), (21, 21)), [])
    assert tiles(division)
    assert {region.place for region in division.regions} == set(SIDES)


def test_ground_shut_in_by_barriers_keeps_its_water(ground_of) -> None:
    kind = np.full((9, 9), OPEN)
    kind[2, 2:7] = kind[6, 2:7] = kind[2:7, 2] = kind[2:7, 6] = BARRIER
    bowl = np.full((9, 9), 100.0) - 0.1 * np.arange(9)[:, None]
    drainage = drain_ground(ground_of(bowl, kind=kind, receiver=np.where(kind == BARRIER, 4 * 9 + 4, -1)))
    division = divide_ground(drainage, np.ones((9, 9), dtype=bool), [])
    assert tiles(division)
    held = next(region for region in division.regions if region.place == ENCLOSED)
    assert held.cells.size == 25


def test_lot_is_the_cells_whose_centre_lies_on_it(slope) -> None:
    grid = slope.ground.grid
    lot = box(grid.left + 2.6, grid.top - 5.4, grid.left + 6.4, grid.top - 2.6)
    # centres at 3.5 to 5.5 m from the left, and at 3.5 and 4.5 m from the top
    assert np.array_equal(parcel_cells(lot, slope), _lot(slice(3, 5), slice(3, 6)))


@given(
    seed=st.integers(0, 10**6),
    step=st.sampled_from([0.0, 0.01]),
    corner=st.tuples(st.integers(1, 8), st.integers(1, 8)),
    size=st.tuples(st.integers(3, 8), st.integers(3, 8)),
    count=st.integers(0, 5),
)
def test_any_ground_is_tiled_and_surplus_never_runs_in_a_circle(ground_of, seed, step, corner, size, count) -> None:
    rng = np.random.default_rng(seed)
    heights = 100.0 + rng.normal(0.0, 0.1, (18, 18)) - 0.03 * np.arange(18)[:, None]
    if step:
        heights = np.round(heights / step) * step
    heights[rng.random((18, 18)) < 0.02] = np.nan
    drainage = drain_ground(ground_of(heights))
    on_lot = _lot(slice(corner[0], corner[0] + size[0]), slice(corner[1], corner[1] + size[1]), (18, 18))
    on_lot &= np.isfinite(heights)
    inside = np.flatnonzero(on_lot)
    places = [
        CollectingPlace(f"works-{k}", "taker", np.unique(rng.choice(inside, size=min(3, inside.size))))
        for k in range(count if inside.size else 0)
    ]
    division = divide_ground(drainage, on_lot, places)
    assert tiles(division)
    assert set(division.next_place) == {place.id for place in division.places}
    order = {place.id: number for number, place in enumerate(division.places)}
    for place, onward in division.next_place.items():
        assert onward in (*SIDES, ENCLOSED) or order[onward] > order[place]
    for region in division.regions:
        assert set(region.path) <= set(np.flatnonzero(division.studied)) | set(inside)
        assert region.path[0] in region.cells
