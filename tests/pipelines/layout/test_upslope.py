"""Low spots upslope of the lot's surroundings come in as flows: the lot's own water is the same as with all of them."""

import numpy as np
import pytest
from shapely import Polygon, box

from pipelines.hydrology.rain.design_rain import rain_given
from pipelines.hydrology.surface_map import map_surfaces
from pipelines.layout.diagnosis.division import SIDES, CollectingPlace, divide_ground, studied_ground
from pipelines.layout.diagnosis.lot_water import run_storm
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.upslope import bearing_ground, ground_upslope, still_upslope
from pipelines.layout.diagnosis.water_settings import WaterSettings
from terrain.flow.drainage import drain_ground
from terrain.flow.low_spots import find_low_spots

SETTINGS = WaterSettings(compacted=True, tolerable={})
RAIN = rain_given(0.06, 3600.0, two_year_24h_depth=0.08, distribution="constant")
LONG, WIDE = 160, 40


@pytest.fixture(scope="module", params=[1, 2, 3])
def hillside(request, ground_of):
    """A rough hillside above a lot at its foot: drainage, lot, its cells, its drainage area, the low spots there."""
    rng = np.random.default_rng(request.param)
    row, column = np.mgrid[0:LONG, 0:WIDE]
    rough = np.repeat(np.repeat(rng.normal(0.0, 0.05, (LONG // 4, WIDE // 4)), 4, axis=0), 4, axis=1)
    hollow = 0.02 * np.abs(column - 19.5)
    drainage = drain_ground(ground_of(100.0 - 0.02 * row + hollow + rough + rng.normal(0.0, 0.002, rough.shape)))
    grid = drainage.ground.grid
    west, south, *_ = grid.bounds
    lot: Polygon = box(west + 12.0, south + 6.0, west + 28.0, south + 22.0)
    on_lot = mask_of(lot, grid)
    studied = studied_ground(drainage, on_lot)
    spots = [
        spot for spot in find_low_spots(drainage, rmse=0.02, min_depth=0.01)
        if spot.contained_in is None and studied.flat[spot.cells].any()
    ]
    return drainage, lot, on_lot, studied, spots


def _run(drainage, on_lot, studied, spots, upslope):
    places = [CollectingPlace(spot.id, "spot", spot.cells) for spot in spots]
    division = divide_ground(drainage, on_lot, places, skip=studied, upslope=upslope)
    surfaces = map_surfaces(
        drainage.ground.grid, cover="lawn, fair", roofs=on_lot & False, paving=[], soils=[], default_group="C"
    )
    named = {spot.id: spot for spot in spots}
    return division, run_storm(division, drainage, named, surfaces, RAIN, {}, SETTINGS)


def test_the_lot_has_the_same_water_whether_the_ground_upslope_is_told_or_comes_as_flows(hillside) -> None:
    drainage, lot, on_lot, studied, spots = hillside
    bears = bearing_ground(lot, drainage, 15.0)
    near = [spot for spot in spots if bears.flat[spot.cells].any()]
    far = [spot for spot in spots if not bears.flat[spot.cells].any()]
    assert len(far) > 10
    assert near
    upslope = ground_upslope(drainage, on_lot, studied, far)
    division, reduced = _run(drainage, on_lot, studied, near, upslope)
    _, whole = _run(drainage, on_lot, studied, spots, None)
    assert len(reduced.runoff) < 0.7 * len(whole.runoff)
    # the same water falls, soaks, stands and leaves, and stands as deep in each low spot of the lot
    for name in ("rain", "soaked", "left", "stands"):
        assert getattr(reduced, name) == pytest.approx(getattr(whole, name), rel=1e-9, abs=1e-9), name
    assert abs(reduced.balance) <= 1e-9 * reduced.rain
    for side in SIDES:
        assert reduced.leaving[side].peak == pytest.approx(whole.leaving[side].peak, rel=1e-9, abs=1e-15)
    for spot in near:
        if spot.id in reduced.standing:
            assert reduced.standing[spot.id].depth == pytest.approx(whole.standing[spot.id].depth, rel=1e-9)
    # the sub-catchments still tile the drainage area
    cells = np.concatenate([region.cells for region in division.regions])
    assert np.array_equal(np.sort(cells), np.flatnonzero(studied))


def test_no_water_of_the_lot_runs_to_what_counts_as_upslope(hillside) -> None:
    drainage, lot, on_lot, studied, spots = hillside
    bears = bearing_ground(lot, drainage, 15.0)
    upslope = ground_upslope(
        drainage, on_lot, studied, [spot for spot in spots if not bears.flat[spot.cells].any()]
    )
    far = upslope.entry_of >= 0
    assert not (far & bears.ravel()).any()
    target = drainage.target
    below = np.flatnonzero(target >= 0)
    # all that drains to it is of it
    assert far[below[far[target[below]]]].all()
    assert still_upslope(upslope, drainage, drainage, studied)


def test_earth_moved_upslope_is_seen(hillside) -> None:
    drainage, lot, on_lot, studied, spots = hillside
    bears = bearing_ground(lot, drainage, 15.0)
    upslope = ground_upslope(
        drainage, on_lot, studied, [spot for spot in spots if not bears.flat[spot.cells].any()]
    )
    fewer = studied.copy()
    fewer.flat[upslope.entries[0]] = False
    assert not still_upslope(upslope, drainage, drainage, fewer)
