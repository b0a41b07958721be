"""The best estimate under lidar's noise, and the grounds that are drawn around it."""

import numpy as np
import pytest
from pyproj import CRS

from terrain.flow.drainage import drain_ground
from terrain.flow.found_spots import found_on
from terrain.flow.low_spots import find_low_spots
from terrain.grid import Frame, Grid
from terrain.ground import OPEN, Ground
from terrain.lidar.best_estimate import Estimate, best_estimate
from terrain.lidar.error_model import LAWN, PAVED, Bias, LidarModel
from terrain.lidar.grounds import KnownHeights, draw_grounds

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


def test_grounds_go_through_what_was_read_with_a_level():
    known = KnownHeights(np.array([10, 30]), np.array([10, 30]), 0.01)
    spread = as_it_is(np.zeros((40, 40)), known=known).above.astype(float).std(axis=0)
    assert spread[10, 10] == pytest.approx(0.01, rel=0.15)
    assert spread[30, 30] == pytest.approx(0.01, rel=0.15)
    whole = np.hypot(MODEL.white, MODEL.correlated)
    # simple kriging from one shot 3 m away leaves c2 (1 - r exp(-2 d / L)), r the share of its variance that is c2
    read = MODEL.correlated**2 / (MODEL.correlated**2 + MODEL.white**2 + 0.01**2)
    near = np.sqrt(MODEL.white**2 + MODEL.correlated**2 * (1.0 - read * np.exp(-0.6)))
    assert spread[10, 13] == pytest.approx(near, rel=0.12)
    assert spread[38, 2] == pytest.approx(whole, rel=0.15)


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
    deep, shallow = found_on(spots, drainage, as_it_is(heights, count=100))
    assert deep.found >= 0.9
    assert shallow.found < 0.6 < deep.found
    assert [each.within_lidar_error for each in (deep, shallow)] == [each.found < 0.5 for each in (deep, shallow)]
    assert found_on(spots, drainage, None) == spots
