"""Low spots of made ground, whose volume and nesting are known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.flow.cells_to_polygons import cells_polygon, nested_polygons
from terrain.flow.drainage import drain_ground
from terrain.flow.low_spots import find_low_spots
from terrain.ground import BARRIER, OPEN
from terrain.lidar_error import fall_error


def twin_pits(west=8.0, east=8.5, saddle=9.0, rim=9.5):
    """Two pits of 3 x 3 cells with a saddle between them, in a plain at 10 that lets water out in the north-east."""
    z = np.full((7, 11), 10.0)
    z[2:5, 2:5] = west
    z[2:5, 6:9] = east
    z[3, 5] = saddle
    z[1, 9:], z[2, 9] = rim, rim
    return z


def test_pits_nest_in_what_they_merge_into(ground_of):
    spots = find_low_spots(drain_ground(ground_of(twin_pits())), rmse=0.1)
    whole, west, east = spots
    assert [spot.id for spot in spots] == ["L1", "L2", "L3"]
    assert (whole.contained_in, west.contained_in, east.contained_in) == (None, "L1", "L1")
    assert (west.volume, east.volume) == (9.0, 4.5)
    assert whole.volume == pytest.approx(9 * 1.5 + 9 * 1.0 + 0.5)
    assert (whole.spill_elevation, west.spill_elevation, east.spill_elevation) == (9.5, 9.0, 9.0)
    assert divmod(west.spill_cell, 11) == (3, 5)
    assert (west.depth, west.area, west.bottom_elevation) == (1.0, 9.0, 8.0)
    assert not any(spot.enclosed for spot in spots)


def test_stage_and_storage_go_up_to_the_spill(ground_of):
    whole = find_low_spots(drain_ground(ground_of(twin_pits())), rmse=0.1)[0]
    np.testing.assert_array_equal(whole.levels, [8.0, 8.5, 9.0, 9.5])
    np.testing.assert_array_equal(whole.areas, [9.0, 18.0, 19.0, 19.0])
    np.testing.assert_allclose(whole.volumes, [0.0, 4.5, 13.5, 23.0])


def test_a_puddle_swallowed_on_the_way_up_is_no_spot_of_its_own(ground_of):
    z = twin_pits()
    z[2:5, 6:9] = 10.0
    z[3, 6] = 8.99
    spots = find_low_spots(drain_ground(ground_of(z)), rmse=0.1, min_area=2.0)
    assert len(spots) == 1
    assert spots[0].spill_elevation == 10.0


@pytest.mark.parametrize("options, kept", [({"min_depth": 1.4}, 1), ({"min_area": 15.0}, 1), ({"min_depth": 3.0}, 0)])
def test_thresholds(ground_of, options, kept):
    assert len(find_low_spots(drain_ground(ground_of(twin_pits())), rmse=0.1, **options)) == kept


def test_three_pits_that_meet_at_one_level_are_three_spots_in_one(ground_of):
    z = np.full((7, 13), 10.0)
    z[3, 1:12] = 9.0
    for first, low in ((1, 8.0), (5, 8.2), (9, 8.4)):
        z[3, first : first + 3] = low
    z[3, 12] = 9.5
    spots = find_low_spots(drain_ground(ground_of(z)), rmse=0.1)
    assert sorted(spot.spill_elevation for spot in spots) == [9.0, 9.0, 9.0, 9.5]
    outer = spots[0].id
    assert [spot.contained_in for spot in spots] == [None, outer, outer, outer]


def courtyard(floor):
    """A yard of 5 x 5 cells within walls."""
    z = np.full((9, 9), 5.0)
    z[2:7, 2:7] = floor
    kind = np.full(z.shape, BARRIER)
    kind[2:7, 2:7] = OPEN
    kind[0], kind[-1], kind[:, 0], kind[:, -1] = OPEN, OPEN, OPEN, OPEN
    return z, kind


def test_a_shut_in_yard_is_a_spot_up_to_where_water_meets_its_wall(ground_of):
    row, column = np.indices((5, 5)) - 2
    z, kind = courtyard(4.0 + 0.1 * np.maximum(abs(row), abs(column)))
    (spot,) = find_low_spots(drain_ground(ground_of(z, kind=kind)), rmse=0.1)
    assert spot.enclosed
    assert (spot.spill_cell, spot.spill_elevation) == (None, None)
    assert spot.depth == pytest.approx(0.2)
    assert spot.volume == pytest.approx(0.2 + 8 * 0.1)


def test_a_shut_in_slope_is_kept_though_it_holds_nothing_before_its_wall(ground_of):
    z, kind = courtyard(4.0 + 0.1 * np.arange(5))
    (spot,) = find_low_spots(drain_ground(ground_of(z, kind=kind)), rmse=0.1)
    assert spot.enclosed
    assert spot.depth == 0.0
    assert spot.cells.size == 5  # its whole lowest column


@pytest.mark.parametrize("depth, doubtful", [(0.05, True), (0.3, False)])
def test_a_pond_no_deeper_than_the_lidar_errs_is_flagged(ground_of, depth, doubtful):
    z = np.full((9, 9), 10.0)
    z[2:7, 2:7] = 10.0 - depth
    (spot,) = find_low_spots(drain_ground(ground_of(z)), rmse=0.1)
    assert spot.within_lidar_error is doubtful


def test_the_error_of_a_fall_grows_from_none_to_that_of_two_heights_less_what_they_share():
    errors = fall_error(0.1, np.array([0.0, 1.0, 10.0, 1e6]))
    assert (np.diff(errors) > 0).all()
    assert errors[0] == 0.0
    assert errors[-1] == pytest.approx(0.1 * np.sqrt(2.0 * 0.65))
    assert fall_error(0.1, 1e6, shared_variance=0.0) == pytest.approx(0.1 * np.sqrt(2))


@given(seed=st.integers(0, 2**32 - 1), whole=st.booleans())
def test_turning_the_ground_keeps_volumes_and_nesting(ground_of, seed, whole):
    z = np.random.default_rng(seed).uniform(0, 4, (12, 15))
    z = np.round(z) if whole else z
    spots = find_low_spots(drain_ground(ground_of(z)), rmse=0.1)
    for turned in (np.rot90(z), z[:, ::-1], z.T):
        again = find_low_spots(drain_ground(ground_of(turned)), rmse=0.1)
        assert [spot.volume for spot in again] == pytest.approx([spot.volume for spot in spots])
        assert sorted(spot.area for spot in again) == sorted(spot.area for spot in spots)
        assert sum(spot.contained_in is None for spot in again) == sum(spot.contained_in is None for spot in spots)
        if not whole:
            assert [spot.contained_in for spot in again] == [spot.contained_in for spot in spots]


@given(seed=st.integers(0, 2**32 - 1))
def test_those_that_reach_some_cells_are_listed_as_they_are_among_all(ground_of, seed):
    random = np.random.default_rng(seed)
    drained = drain_ground(ground_of(random.integers(0, 6, (14, 16)).astype(float)))
    cells = random.random((14, 16)) < 0.05
    every = find_low_spots(drained, rmse=0.1)
    some = find_low_spots(drained, rmse=0.1, within=cells)
    assert [spot.id for spot in some] == [spot.id for spot in every if cells.ravel()[spot.cells].any()]
    for spot in some:
        same = next(each for each in every if each.id == spot.id)
        np.testing.assert_array_equal(spot.volumes, same.volumes)
        assert (spot.contained_in, spot.within_lidar_error) == (same.contained_in, same.within_lidar_error)


@given(seed=st.integers(0, 2**32 - 1))
def test_shifting_and_rescaling_the_ground_keeps_low_spots(ground_of, seed):
    z = np.random.default_rng(seed).uniform(0, 4, (12, 15))
    spots = find_low_spots(drain_ground(ground_of(z)), rmse=0.1)
    lifted = find_low_spots(drain_ground(ground_of(z + 250.0)), rmse=0.1)
    assert [spot.volume for spot in lifted] == pytest.approx([spot.volume for spot in spots], rel=1e-9)
    in_feet = find_low_spots(
        drain_ground(ground_of(z / 0.3048, cell_width=1 / 0.3048, cell_height=1 / 0.3048)),
        rmse=0.1 / 0.3048, min_depth=0.02 / 0.3048, min_area=1 / 0.3048**2,
    )  # fmt: skip
    assert [spot.volume * 0.3048**3 for spot in in_feet] == pytest.approx([spot.volume for spot in spots], rel=1e-9)
    assert [spot.cells.tolist() for spot in in_feet] == [spot.cells.tolist() for spot in spots]


@pytest.mark.parametrize("z", [np.full((3, 3), np.nan), [[1.0]], np.zeros((5, 5))], ids=["nodata", "one cell", "flat"])
def test_ground_without_low_spots(ground_of, z):
    assert find_low_spots(drain_ground(ground_of(z)), rmse=0.1) == ()


def test_outlines_of_nested_low_spots_are_those_of_each_by_itself(ground_of):
    heights = np.cumsum(np.random.default_rng(3).normal(0.0, 0.1, (20, 26)), axis=0)
    ground = ground_of(heights)
    spots = find_low_spots(drain_ground(ground), rmse=0.05, min_area=0.0)
    shapes = nested_polygons([spot.cells for spot in spots], ground.grid)
    assert max(sum(spot.bottom in each.cells for each in spots) for spot in spots) > 2
    assert len(shapes) == len(spots)
    for spot, shape in zip(spots, shapes, strict=True):
        assert shape.wkb == cells_polygon(spot.cells, ground.grid).wkb
