"""Fill, directions, accumulation and low spots, beside pysheds' own chain and pyflwdir on the same ground.

Run with `python -m pytest tests/benchmarks --benchmark-only`, and with `-m "thorough or not thorough"` for 5000 x 5000
cells too. The aims, for 2000 x 2000 cells in float64: 45 ns a cell for heights rounded to 1 cm and 65 for unrounded
ones, 20 times as fast as pysheds' chain, 5 times as fast as pyflwdir, and no undrained cell.
"""

import time

import numba
import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from terrain.flow.drainage import LEAVES, drain_ground, undrained
from terrain.flow.low_spots import find_low_spots, settle_water

# time of this process, so that a busy machine measures the same
pytestmark = pytest.mark.benchmark(timer=time.process_time)
SIZES = [400, 2000, pytest.param(5000, marks=pytest.mark.thorough)]
ROUNDED = pytest.mark.parametrize("rounded", [True, False], ids=["rounded", "unrounded"])


def lot_ground(size, rounded):
    """Lots of 20 m by 40 m on a gentle slope, at 0.5 m: house pads, swales, and noise as of lidar. [m]"""
    random = np.random.default_rng(5)
    y, x = np.mgrid[:size, :size] * 0.5
    z = 100.0 + 0.012 * y + 0.006 * x + 12.0 * gaussian_filter(random.standard_normal((size, size)), 40)
    across, along = np.abs(x % 20 - 10), np.abs(y % 40 - 15)
    z += 0.4 * np.clip(1 - np.maximum(across - 6, along - 8) / 4, 0, 1)
    z -= 0.35 * np.exp(-(((y % 80 - 40) / 1.5) ** 2)) + 0.1 * np.exp(-((x % 20) ** 2))
    noise = gaussian_filter(random.standard_normal((size, size)), 1.5)
    z += 0.015 * noise / noise.std()
    return np.round(z, 2) if rounded else z


def pysheds_chain(z):
    """Its own conditioning with an epsilon small enough to drain, directions and accumulation; cells that leave."""
    from pysheds.grid import Grid
    from pysheds.view import Raster, ViewFinder

    raster = Raster(z.copy(), ViewFinder(shape=z.shape, nodata=np.float64(np.nan)))
    grid = Grid(viewfinder=raster.viewfinder)
    inflated = grid.resolve_flats(grid.fill_depressions(grid.fill_pits(raster)), eps=1e-12, max_iter=10**9)
    directions = grid.flowdir(inflated)
    return np.asarray(directions), np.asarray(grid.accumulation(directions))


def pyflwdir_chain(z):
    """Directions and accumulation."""
    import pyflwdir

    return pyflwdir.from_dem(z, nodata=-9999.0).upstream_area("cell")


@pytest.fixture(scope="module")
def pysheds_cache(request):
    """A cache of compiled code for pysheds alone, since single precision from elsewhere would spoil it."""
    before = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = str(request.config.cache.mkdir("pysheds-compiled"))
    import pysheds.grid  # noqa: F401

    numba.config.CACHE_DIR = before


@pytest.fixture(scope="module")
def made():
    """The ground of a size, made once."""
    kept = {}

    def make(size, rounded):
        if (size, rounded) not in kept:
            kept.clear()
            kept[size, rounded] = lot_ground(size, rounded)
        return kept[size, rounded]

    return make


def measured(benchmark, report, work, size, rounded, function, *, program="lotshed", rounds=5, remark=""):
    name = f"{size} x {size} {'1 cm' if rounded else 'unrounded'}"
    benchmark.group = f"{work}, {name}"
    result = benchmark.pedantic(function, rounds=rounds, warmup_rounds=1)
    seconds = benchmark.stats.stats.min
    benchmark.extra_info["ns_per_cell"] = 1e9 * seconds / size**2
    report(name, work, program, seconds, size**2, remark(result) if callable(remark) else remark)
    return result


@ROUNDED
@pytest.mark.parametrize("size", SIZES)
def test_drain(benchmark, report, made, ground_of, size, rounded):
    ground = ground_of(made(size, rounded), cell_width=0.5, cell_height=0.5)
    drained = measured(
        benchmark, report, "drain", size, rounded, lambda: drain_ground(ground),
        remark=lambda drained: f"{undrained(drained)} undrained",
    )  # fmt: skip
    assert undrained(drained) == 0


@pytest.mark.filterwarnings("ignore:`in1d` is deprecated")
@ROUNDED
@pytest.mark.parametrize("size", SIZES)
def test_drain_by_pysheds(benchmark, report, made, pysheds_cache, size, rounded):
    z = made(size, rounded)
    measured(
        benchmark, report, "drain", size, rounded, lambda: pysheds_chain(z), program="pysheds", rounds=1,
        remark=lambda result: f"{int((result[0][1:-1, 1:-1] < 0).sum())} undrained",
    )  # fmt: skip


@ROUNDED
@pytest.mark.parametrize("size", SIZES)
def test_drain_by_pyflwdir(benchmark, report, made, size, rounded):
    z = made(size, rounded)
    measured(benchmark, report, "drain", size, rounded, lambda: pyflwdir_chain(z), program="pyflwdir", rounds=2)


@ROUNDED
@pytest.mark.parametrize("size", SIZES)
def test_low_spots(benchmark, report, made, ground_of, size, rounded):
    drained = drain_ground(ground_of(made(size, rounded), cell_width=0.5, cell_height=0.5))
    spots = measured(
        benchmark, report, "low spots", size, rounded, lambda: find_low_spots(drained, rmse=0.1), rounds=3,
        remark=lambda spots: f"{len(spots)} listed",
    )  # fmt: skip
    assert spots


@ROUNDED
@pytest.mark.parametrize("size", SIZES)
def test_settle(benchmark, report, made, ground_of, size, rounded):
    drained = drain_ground(ground_of(made(size, rounded), cell_width=0.5, cell_height=0.5))
    rain = np.full((size, size), 0.05 * 0.25)
    settled = measured(
        benchmark, report, "settle water", size, rounded, lambda: settle_water(drained, rain), rounds=3
    )
    assert settled.stands + settled.leaves == pytest.approx(rain.sum(), rel=1e-9)


@pytest.mark.filterwarnings("ignore:`in1d` is deprecated")
@ROUNDED
@pytest.mark.thorough
def test_what_the_benchmarks_run_gives_right_results(ground_of, rounded):
    z = lot_ground(60, rounded)
    drained = drain_ground(ground_of(z, cell_width=0.5, cell_height=0.5))
    assert undrained(drained) == 0
    assert drained.accumulation.ravel()[drained.target == LEAVES].sum() == pytest.approx(z.size * 0.25)
    rain = np.full(z.shape, 0.0125)
    settled = settle_water(drained, rain, find_low_spots(drained, rmse=0.1))
    assert settled.stands + settled.leaves == pytest.approx(rain.sum(), rel=1e-9)
    directions, cells = pysheds_chain(z)
    assert (directions[1:-1, 1:-1] > 0).all(), "with that epsilon its chain drains every cell inside the rim"
    assert cells.max() > 60
    assert pyflwdir_chain(z).max() > 60
