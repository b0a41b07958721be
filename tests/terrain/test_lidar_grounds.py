"""The best estimate under lidar's noise, and the grounds that are drawn around it."""

from types import SimpleNamespace

import numpy as np
import pytest
from pyproj import CRS
from scipy import ndimage
from scipy.interpolate import LinearNDInterpolator

from pipelines.inputs.possible_ground import known_heights, lidar_model
from pipelines.inputs.rules import load_rules
from terrain.flow.drainage import drain_ground
from terrain.flow.found_spots import found_on
from terrain.flow.low_spots import find_low_spots
from terrain.grid import Frame, Grid
from terrain.ground import OPEN, Ground
from terrain.lidar.best_estimate import Estimate, best_estimate
from terrain.lidar.error_model import LAWN, LONG_GRASS, PAVED, WATER, Bias, LidarModel
from terrain.lidar.filled_gaps import filled_gaps
from terrain.lidar.grounds import draw_grounds
from terrain.lidar.on_shots import KnownHeights, brought_to_shots
from terrain.lidar.rounding import rounding_step
from tests.quick_share import in_full

NONE = Bias(0.0, 0.0, 0.0)
MODEL = LidarModel(white=0.03, correlated=0.06, noise_length=10.0, lawn=NONE, long_grass=NONE)


def grid_of(shape, cell=1.0):
    frame = Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0)
    return Grid(shape, 0.0, shape[0] * cell, cell, cell, frame)


def swale(shape=(60, 80)):
    """A plane of 1 % with a swale half a meter deep across it."""
    row, column = np.indices(shape, dtype=float)
    return 100.0 + 0.01 * row - 0.5 * np.clip(1.0 - np.abs(column - 40.0) / 3.0, 0.0, 1.0)


def noise_of(shape, seed):
    """The model's own noise, drawn the slow way: a Cholesky factor of its covariance, 2 m apart and repeated."""
    row, column = (each.ravel() for each in np.indices((shape[0] // 2, shape[1] // 2), dtype=float))
    apart = 2.0 * np.hypot(row[:, None] - row, column[:, None] - column)
    factor = np.linalg.cholesky(MODEL.correlated**2 * np.exp(-apart / MODEL.noise_length) + 1e-9 * np.eye(row.size))
    rng = np.random.default_rng(seed)
    coarse = (factor @ rng.normal(size=row.size)).reshape(shape[0] // 2, shape[1] // 2)
    return np.kron(coarse, np.ones((2, 2))) + rng.normal(0.0, MODEL.white, shape)


def estimate_of(heights, **options):
    return best_estimate(heights, np.ones(heights.shape, bool), grid_of(heights.shape), MODEL, **options)


def test_ground_without_noise_is_its_own_best_estimate():
    np.testing.assert_array_equal(estimate_of(swale()).elevation, swale())
    flat = np.full((40, 40), 7.0)
    np.testing.assert_array_equal(estimate_of(flat).elevation, flat)


def test_noise_goes_and_the_swale_stays():
    before, after, kept = [], [], []
    for seed in range(4):
        noise = noise_of((60, 80), seed)
        found = estimate_of(swale() + noise)
        before.append(np.std(noise[5:-5, 5:30]))
        after.append(np.std((found.elevation - swale())[5:-5, 5:30]))
        # the swale's depth below its banks, mean along it
        depth = np.mean(found.elevation[5:-5, [33, 47]]) - np.mean(found.elevation[5:-5, 40])
        kept.append(depth - (np.mean((swale() + noise)[5:-5, [33, 47]]) - np.mean((swale() + noise)[5:-5, 40])))
    assert np.mean(after) < 0.85 * np.mean(before)
    assert np.abs(kept).max() < 0.02


def test_a_hollow_that_somebody_saw_is_not_smoothed():
    shape = (60, 60)
    row, column = np.indices(shape, dtype=float)
    hollow = -0.10 * np.exp(-((row - 30.0) ** 2 + (column - 30.0) ** 2) / 9.0)
    heights = 100.0 + 0.01 * row + hollow + noise_of(shape, 3)
    seen = np.clip(2.0 - np.hypot(row - 30.0, column - 30.0) / 5.0, 0.0, 1.0)
    np.testing.assert_array_equal(estimate_of(heights, seen=seen).elevation[28:33, 28:33], heights[28:33, 28:33])
    assert not np.array_equal(estimate_of(heights).elevation[28:33, 28:33], heights[28:33, 28:33])


def as_it_is(heights, **options):
    """Grounds around a raster that holds all of its noise."""
    estimate = Estimate(heights, (), np.empty((0, *heights.shape)), np.ones(1))
    options = {"count": 300, "seed": [4], **options}
    cover = options.pop("cover", np.full(heights.shape, PAVED))
    window = (slice(0, heights.shape[0]), slice(0, heights.shape[1]))
    return draw_grounds(estimate, cover, grid_of(heights.shape), options.pop("model", MODEL), window, **options)


def test_grounds_differ_as_the_exponential_covariance_says():
    above = as_it_is(np.zeros((30, 30))).above.astype(float)
    assert above.var() == pytest.approx(MODEL.white**2 + MODEL.correlated**2, rel=0.12)
    for apart in (3, 8, 20):
        found = np.mean(above[:, :, apart:] * above[:, :, :-apart])
        # Cressie, "Statistics for Spatial Data", 1993, section 2.3: c^2 exp(-d / L)
        assert found == pytest.approx(MODEL.correlated**2 * np.exp(-apart / 10.0), abs=0.15 * MODEL.correlated**2)


def test_the_same_grounds_come_again_however_many():
    few, many = as_it_is(swale(), count=3), as_it_is(swale(), count=5)
    np.testing.assert_array_equal(few.above, many.above[:3])
    assert not np.array_equal(few.above, as_it_is(swale(), count=3, seed=[5]).above)


def test_grass_is_taken_off_lawn_alone():
    model = LidarModel(0.0, 0.0, 10.0, Bias(0.0, 0.03, 0.06), NONE)
    cover = np.full((20, 20), PAVED)
    cover[:10] = LAWN
    above = as_it_is(np.zeros((20, 20)), model=model, cover=cover).above.astype(float)
    assert not above[:, 10:].any()
    assert above[:, :10].mean() == pytest.approx(-0.03, abs=0.002)
    # a triangle from a over c to b: (a2 + b2 + c2 - ab - ac - bc) / 18
    assert above[:, 0, 0].var() == pytest.approx(0.06**2 / 24.0, rel=0.2)
    assert above.min() >= -0.06


GRASS = LidarModel(0.03, 0.06, 10.0, Bias(0.0, 0.03, 0.06), Bias(0.0, 0.07, 0.15))


def conditioned(covers, cells, off, error):
    """Mean and covariance of what lidar reads too high on each cell, by the joint normal distribution of all of it."""
    row, column = (each.ravel() for each in np.indices(covers.shape, dtype=float))
    apart = np.hypot(row[:, None] - row, column[:, None] - column)
    joint = GRASS.correlated**2 * np.exp(-apart / GRASS.noise_length) + GRASS.white**2 * np.eye(row.size)
    mean = np.zeros(row.size)
    # triangles from 0 over 3 to 6 cm and from 0 over 7 to 15 cm
    for kind, likely, variance in (
        (LAWN, 0.03, 0.06**2 / 24.0), (LONG_GRASS, 0.22 / 3.0, (0.15**2 + 0.07**2 - 0.15 * 0.07) / 18.0)
    ):
        on = covers.ravel() == kind
        mean[on] = likely
        joint += variance * np.outer(on, on)
    joint += 100.0**2
    read = np.ravel_multi_index(cells, covers.shape)
    gain = np.linalg.solve(joint[np.ix_(read, read)] + error**2 * np.eye(read.size), joint[read]).T
    return (mean + gain @ (off - mean[read])).reshape(covers.shape), joint - gain @ joint[read]


def test_heights_between_levels_are_those_of_the_joint_distribution():
    covers = np.full((6, 7), LAWN)
    covers[:, :2], covers[5] = PAVED, LONG_GRASS
    heights = swale()[:6, :7]
    cells = (np.array([0, 3, 5]), np.array([1, 4, 6]))
    off = np.array([0.02, 0.07, 0.16]) + 42.0
    known = KnownHeights(*cells, heights[cells] - off, 0.01)
    grid = grid_of(covers.shape)
    found = brought_to_shots(heights, known, covers, grid, GRASS)
    mean, spread = conditioned(covers, cells, off, 0.01)
    np.testing.assert_array_equal(found[cells], known.heights)
    above = as_it_is(heights, model=GRASS, cover=covers, count=2000, known=known).above.astype(float)
    likeliest = found + above.mean(axis=0)
    # 2,000 grounds that differ by 7 cm: their mean is good to 2 mm, over all cells to three times that
    np.testing.assert_allclose(likeliest, heights - mean, atol=0.006)
    np.testing.assert_allclose(above.std(axis=0).ravel(), np.sqrt(np.diag(spread)), rtol=0.12)


def test_a_fall_between_two_levels_is_as_sure_as_they_are():
    known = KnownHeights(np.array([10, 30]), np.array([10, 30]), np.array([0.0, -0.4]), 0.01)
    above = as_it_is(np.zeros((40, 40)), known=known, model=GRASS, cover=np.full((40, 40), LAWN)).above.astype(float)
    assert (above[:, 10, 10] - above[:, 30, 30]).std() == pytest.approx(np.sqrt(2.0) * 0.01, rel=0.2)
    assert above[:, 10, 10].std() == pytest.approx(0.01, rel=0.2)
    # what is far from both is as far off as before, and by what the shots' own noise makes of the shift
    assert above[:, 38, 2].std() > np.hypot(GRASS.white, GRASS.correlated)


def test_levels_off_the_raster_move_nothing_on_it():
    x, y, heights = np.array([5.5, -3.5, 45.5]), np.array([12.5, 9.5, 3.5]), np.array([1.0, 7.0, 9.0])
    shots = SimpleNamespace(x=x, y=y, heights=heights)
    inputs = SimpleNamespace(shots=shots, site=SimpleNamespace(rules=load_rules()))
    known = known_heights(inputs, grid_of((20, 40))).moved(0, 0, (20, 40))
    assert (known.rows.tolist(), known.columns.tolist(), known.heights.tolist()) == ([7], [5], [1.0])


def test_levels_in_another_datum_leave_the_same_ground():
    covers = np.full((20, 20), LAWN)
    cells, grid = (np.array([3, 15]), np.array([4, 12])), grid_of((20, 20))
    here, there = (
        brought_to_shots(
            swale((20, 20)), KnownHeights(*cells, np.array([100.0, 99.9]) + datum, 0.01), covers, grid, GRASS
        )
        for datum in (0.0, -90.0)
    )
    np.testing.assert_allclose(there, here - 90.0, atol=1e-9)


def test_a_deep_low_spot_is_found_and_a_puddle_of_noise_is_not():
    shape = (50, 60)
    row, column = np.indices(shape, dtype=float)
    heights = 100.0 + 0.01 * column
    heights -= 0.40 * np.exp(-((row - 15.0) ** 2 + (column - 20.0) ** 2) / 16.0)
    heights -= 0.09 * np.exp(-((row - 35.0) ** 2 + (column - 40.0) ** 2) / 9.0)
    kind = np.full(shape, OPEN)
    ground = Ground(grid_of(shape), heights, kind, np.full(shape, -1), np.full(shape, -1))
    drainage = drain_ground(ground)
    spots = find_low_spots(drainage, rmse=0.1)
    deep, shallow = found_on(spots, drainage, as_it_is(heights, count=100), called_from=0.67)
    assert deep.found >= 0.9
    assert shallow.found < 0.6 < deep.found
    assert [each.within_lidar_error for each in (deep, shallow)] == [each.found < 0.67 for each in (deep, shallow)]
    assert found_on(spots, drainage, None, called_from=0.67) == spots


@pytest.mark.parametrize("step", [0.01, 0.05, 0.3048, 0.03048])
def test_steps_of_a_rounded_raster_are_seen(step):
    heights = np.random.default_rng(6).normal(200.0, 1.0, (200, 200))
    rounded = (np.round(heights / step) * step).astype(np.float32).astype(float)
    assert rounding_step(rounded) == pytest.approx(step, rel=1e-2)
    assert rounding_step(heights) == 0.0
    # holes that were drawn across hold other heights
    drawn = rounded.copy()
    drawn[20, 20:40] = heights[20, 20:40]
    drawn[21, 21] = drawn[20, 20]
    assert rounding_step(drawn) == pytest.approx(step, rel=1e-2)
    # JCGM 100:2008, F.2.2.1: what rounding adds has a variance of q^2 / 12
    assert np.var(rounded - heights) == pytest.approx(step**2 / 12.0, rel=0.05)
    assert lidar_model(load_rules(), 0.3048).white == pytest.approx(np.sqrt(0.1 * 0.1**2 + 0.3048**2 / 12.0))


def with_gap(heights, radius):
    """Heights drawn across a round gap in the middle, as a triangulation of its rim does."""
    row, column = np.indices(heights.shape)
    middle = np.hypot(row - heights.shape[0] / 2.0, column - heights.shape[1] / 2.0) <= radius
    known = np.argwhere(~middle)
    drawn = heights.copy()
    drawn[middle] = LinearNDInterpolator(known, heights[~middle])(np.argwhere(middle))
    return drawn, middle


def test_a_gap_is_found_where_it_was_drawn_across_and_nowhere_else():
    shape, elsewhere, count = (80, 80), 0, 5 if in_full() else 2
    row = np.indices(shape, dtype=float)[0]
    for seed in range(count):
        heights = 100.0 + 0.01 * row + noise_of(shape, seed)
        drawn, middle = with_gap(heights, 4.0)
        everywhere = np.ones(shape, bool)
        found = filled_gaps(drawn, everywhere, grid_of(shape))
        inside = np.zeros(shape, bool)
        inside[found.cells] = True
        assert np.mean(inside[middle]) > 0.8
        elsewhere += filled_gaps(heights, everywhere, grid_of(shape)).gap.size
    assert elsewhere < 0.01 * count * heights.size
    assert not filled_gaps(swale(), np.ones((60, 80), bool), grid_of((60, 80))).gap.size, "no noise, no gap"


def test_ground_in_a_gap_may_lie_off_as_far_as_ground_does_elsewhere():
    shape = (80, 80)
    row, column = np.indices(shape, dtype=float)
    rolling = 0.10 * np.sin(row / 3.0) * np.sin(column / 4.0)
    heights = rolling + np.random.default_rng(3).normal(0.0, 0.01, shape)
    drawn, middle = with_gap(heights, 4.0)
    found = filled_gaps(drawn, np.ones(shape, bool), grid_of(shape))
    window = (slice(20, 60), slice(10, 70))
    above = np.array([found.drawn(np.random.default_rng(seed), window) for seed in range(400)])
    spread = np.zeros(shape)
    spread[window] = above.std(axis=0)
    # as far off at the middle as rolling ground is off a line over 8 m, worked out apart
    off = [np.abs(each[4:-4] - 0.5 * (each[:-8] + each[8:])).ravel() for each in (rolling, rolling.T)]
    expected = np.median(np.concatenate(off)) / 0.6745
    assert spread[38:43, 38:43].max() == pytest.approx(expected, rel=0.25)
    assert not spread[~ndimage.binary_dilation(middle, iterations=2)].any()
    estimate = Estimate(drawn, (), np.empty((0, *shape)), np.ones(1), gaps=found)
    still = LidarModel(0.0, 0.0, 10.0, NONE, NONE)
    grounds = draw_grounds(estimate, np.full(shape, PAVED), grid_of(shape), still, window, count=3, seed=[4])
    assert grounds.above.any()
    assert not grounds.above[:, :, :20].any()


def test_water_stands_higher_or_lower_than_when_it_was_flown():
    model = LidarModel(0.0, 0.0, 10.0, NONE, NONE, water=Bias(-0.10, 0.0, 0.10))
    cover = np.full((20, 20), PAVED)
    cover[:10] = WATER
    above = as_it_is(np.zeros((20, 20)), model=model, cover=cover).above.astype(float)
    assert not above[:, 10:].any()
    assert above[:, :10].std() == pytest.approx(0.10 / np.sqrt(6.0), rel=0.15)
    assert (above[:, :10] == above[:, :1, :1]).all(), "a pond is level"
