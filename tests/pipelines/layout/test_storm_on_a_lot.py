"""The storm on divided ground: the balance closes, takers take no more than they can, surplus goes on downstream."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydrology.lot_balance import runoff_volumes
from pipelines.hydrology.rain.design_rain import rain_given
from pipelines.hydrology.surface_map import map_surfaces
from pipelines.inputs.rules import load_rules
from pipelines.layout.catching.design_flows import rating_of
from pipelines.layout.diagnosis.division import SIDES, CollectingPlace, divide_ground
from pipelines.layout.diagnosis.lot_water import LotWater, Taking, WaterSettings, excess_by_cell, run_storm
from terrain.flow.drainage import Drainage, drain_ground
from terrain.flow.low_spots import LowSpot, find_low_spots
from terrain.ground import OPEN, ROOF

RAIN = rain_given(0.06, 3600.0, two_year_24h_depth=0.08, distribution="constant")
SETTINGS = WaterSettings(compacted=True, tolerable={})


def _surfaces(drainage: Drainage):
    return map_surfaces(
        drainage.ground.grid, cover="lawn, fair", roofs=drainage.ground.kind == ROOF, paving=[], soils=[],
        default_group="C",
    )


def _storm(
    drainage: Drainage, on_lot: np.ndarray, places: list[CollectingPlace], takings: dict[str, Taking],
    spots: dict[str, LowSpot] | None = None,
) -> LotWater:
    division = divide_ground(drainage, on_lot, places)
    return run_storm(division, drainage, spots or {}, _surfaces(drainage), RAIN, takings, SETTINGS)


def closes(water: LotWater) -> bool:
    return abs(water.balance) <= 1e-9 * water.rain


@pytest.fixture
def slope(ground_of):
    """A plane of 30 x 20 cells that falls due south by 2 %."""
    return drain_ground(ground_of(np.repeat(100.0 - 0.02 * np.arange(30)[:, None], 20, axis=1)))


def _everywhere(drainage: Drainage) -> np.ndarray:
    return np.ones(drainage.ground.grid.shape, dtype=bool)


def test_without_works_all_that_runs_off_leaves_over_the_low_side(slope) -> None:
    water = _storm(slope, _everywhere(slope), [], {})
    assert closes(water)
    assert water.rain == pytest.approx(0.06 * 600.0, rel=1e-12)
    assert water.collected == water.stands == 0.0
    assert water.left == pytest.approx(water.leaving["edge_s"].volume, rel=1e-12)
    assert all(water.leaving[side].volume == 0.0 for side in SIDES if side != "edge_s")
    assert water.left == pytest.approx(sum(row.runoff_volume for row in water.runoff), rel=1e-9)
    assert water.soaked == pytest.approx(water.rain - water.left, rel=1e-9)


def test_a_taker_takes_what_it_can_at_each_moment_and_passes_the_rest_on(slope) -> None:
    line = CollectingPlace("works", "taker", np.arange(20) + 20 * 15)
    free = _storm(slope, _everywhere(slope), [line], {})
    peak = free.arriving["works"].peak
    assert peak > 0.0
    assert free.collected == 0.0
    for capacity in (0.0, 0.4 * peak, peak, 2.0 * peak, np.inf):
        water = _storm(slope, _everywhere(slope), [line], {"works": Taking("drain-1", capacity)})
        arrives, takes = water.arriving["works"].flow, water.taken["works"].flow
        assert np.array_equal(takes, np.minimum(arrives, capacity))
        assert closes(water)
        assert water.collected + water.left == pytest.approx(free.left, rel=1e-9)
    assert water.left == pytest.approx(sum(r.runoff_volume for r in water.runoff if r.drains_to == "edge_s"), rel=1e-9)


def test_what_one_lets_by_comes_to_the_next(slope) -> None:
    upper = CollectingPlace("upper", "taker", np.arange(20) + 20 * 10)
    lower = CollectingPlace("lower", "taker", np.arange(20) + 20 * 20)
    takings = {"upper": Taking("upper", 1e-4), "lower": Taking("lower", np.inf)}
    water = _storm(slope, _everywhere(slope), [upper, lower], takings)
    assert closes(water)
    below = next(row for row in water.runoff if row.drains_to == "lower")
    let_by = water.arriving["upper"].volume - water.taken["upper"].volume
    assert let_by > 0.0
    assert water.arriving["lower"].volume == pytest.approx(let_by + below.runoff_volume, rel=1e-9)


def test_a_low_spot_holds_soaks_and_spills_and_a_basin_empties_it(ground_of) -> None:
    at = np.arange(31) - 15.0
    bowl = np.minimum(100.0 + 0.004 * (at[:, None] ** 2 + at[None, :] ** 2), 100.3)
    drainage = drain_ground(ground_of(bowl))
    (spot,) = find_low_spots(drainage, rmse=0.02, prefix="low-")
    place = CollectingPlace(spot.id, "spot", spot.cells)
    before = _storm(drainage, _everywhere(drainage), [place], {}, {spot.id: spot})
    assert closes(before)
    stood = before.standing[spot.id]
    assert stood.depth > 0.05
    # a basin's works are named in the runoff table, and nothing is counted twice
    takes = {spot.id: Taking("basin-1", rating=rating_of(spot, spot.bottom_elevation, 0.01, load_rules()))}
    after = _storm(drainage, _everywhere(drainage), [place], takes, {spot.id: spot})
    assert closes(after)
    assert after.standing[spot.id].depth < stood.depth
    assert after.collected == pytest.approx(after.standing[spot.id].outflow.volume, rel=1e-12)
    assert after.taken["basin-1"].peak <= 0.01 * (1.0 + 1e-12)
    assert "basin-1" in {row.drains_to for row in after.runoff}


def test_roof_water_runs_off_at_its_downspout(ground_of) -> None:
    plane = np.repeat(100.0 - 0.02 * np.arange(20)[:, None], 20, axis=1)
    kind = np.full((20, 20), OPEN)
    kind[4:10, 4:10] = ROOF
    spout = 10 * 20 + 6
    drainage = drain_ground(ground_of(plane, kind=kind, receiver=np.where(kind == ROOF, spout, -1)))
    roof = CollectingPlace("spout", "taker", np.flatnonzero(kind.ravel() == ROOF))
    water = _storm(drainage, np.ones((20, 20), dtype=bool), [roof], {"spout": Taking("downspout-1", piped=True)})
    assert closes(water)
    row = next(each for each in water.runoff if each.drains_to == "downspout-1")
    assert row.area == pytest.approx(36.0)
    assert row.impervious_fraction == 1.0
    # curve number 98 (NRCS TR-55, Table 2-2a) on 60 mm of rain: S = 25400/98 - 254 = 5.184 mm
    s = 0.0254 * (1000.0 / 98.0 - 10.0)
    assert row.runoff_depth == pytest.approx((0.06 - 0.2 * s) ** 2 / (0.06 + 0.8 * s), rel=1e-6)
    assert water.collected == pytest.approx(row.runoff_volume, rel=1e-9)


def test_excess_by_cell_holds_the_same_water_as_the_regions(slope) -> None:
    line = CollectingPlace("works", "taker", np.arange(20) + 20 * 15)
    division = divide_ground(slope, _everywhere(slope), [line])
    surfaces = _surfaces(slope)
    water = run_storm(division, slope, {}, surfaces, RAIN, {}, SETTINGS)
    excess = excess_by_cell(division, water, surfaces)
    assert excess.sum() == pytest.approx(sum(row.runoff_volume for row in water.runoff), rel=1e-9)
    one = division.regions[0]
    assert np.array_equal(
        excess.ravel()[one.cells], runoff_volumes(surfaces, one.cells, water.runoff[0].shares, 0.06)
    )


@given(
    seed=st.integers(0, 10**6),
    gpm=st.lists(st.floats(0.0, 60.0), min_size=0, max_size=4),
    rounded=st.booleans(),
)
def test_the_balance_closes_on_any_ground_with_any_works(ground_of, seed, gpm, rounded) -> None:
    rng = np.random.default_rng(seed)
    heights = 100.0 + rng.normal(0.0, 0.08, (20, 20)) - 0.01 * np.arange(20)[:, None]
    heights = np.round(heights, 2) if rounded else heights
    drainage = drain_ground(ground_of(heights))
    on_lot = np.zeros((20, 20), dtype=bool)
    on_lot[3:17, 4:16] = True
    spots = {
        spot.id: spot
        for spot in find_low_spots(drainage, rmse=0.02, prefix="low-")
        if spot.contained_in is None
    }
    inside = np.flatnonzero(on_lot)
    places = [CollectingPlace(name, "spot", spot.cells) for name, spot in spots.items()]
    takings = {}
    for number, flow in enumerate(gpm):
        name = f"works-{number}"
        places.append(CollectingPlace(name, "taker", np.unique(rng.choice(inside, size=4))))
        takings[name] = Taking(name, flow * 6.309e-5)
    for name in list(spots)[::2]:
        rating = rating_of(spots[name], spots[name].bottom_elevation, 0.001, load_rules())
        takings[name] = Taking(f"basin-{name}", rating=rating)
    water = _storm(drainage, on_lot, places, takings, spots)
    assert closes(water)
    for number, flow in enumerate(gpm):
        assert water.taken[f"works-{number}"].peak <= flow * 6.309e-5 + 1e-15


def test_a_grate_takes_only_water_that_stands_over_it() -> None:
    def bowl(depth: float) -> SimpleNamespace:
        levels = np.linspace(100.0, 100.0 + depth, 11)
        return SimpleNamespace(levels=levels, areas=np.full(11, 50.0), volumes=50.0 * (levels - 100.0))

    rules, spot = load_rules(), bowl(0.3)
    at_bottom, above = (rating_of(spot, 100.0 + up, 0.01, rules) for up in (0.0, 0.12))
    for level in np.linspace(99.9, 100.5, 61):
        flows = [float(np.interp(level, each.levels, each.flows, left=0.0)) for each in (at_bottom, above)]
        assert flows[0] >= flows[1]
        assert (flows[1] > 0.0) == (level > 100.12 + 1e-12)
    # one that the pond never reaches takes nothing before it spills
    never = rating_of(spot, 100.4, 0.01, rules)
    assert not never.flows.any()


def test_runoff_known_of_another_division_is_taken_where_cells_and_way_are_the_same(slope, ground_of) -> None:
    """As with settings that know nothing; ground that was moved, and pipes, are reckoned anew."""
    everywhere, surfaces = _everywhere(slope), _surfaces(slope)
    basin = CollectingPlace("basin", "basin", np.array([25 * 20 + 10]))
    moved = ground_of(slope.ground.elevation + np.where(np.arange(30)[:, None] == 20, 0.005, 0.0))
    piped = {"basin": Taking("basin", 1.0, piped=True)}
    shared = WaterSettings(compacted=True, tolerable={})
    for drainage in (slope, drain_ground(moved), slope):
        division = divide_ground(drainage, everywhere, [basin])
        for takings in ({}, piped):
            known, alone = (
                run_storm(division, drainage, {}, surfaces, RAIN, takings, settings)
                for settings in (shared, WaterSettings(compacted=True, tolerable={}))
            )
            assert [row.id for row in known.runoff] == [row.id for row in alone.runoff]
            for ours, theirs in zip(known.runoff, alone.runoff, strict=True):
                assert (ours.drains_to, ours.shares, ours.slope) == (theirs.drains_to, theirs.shares, theirs.slope)
                assert ours.shape.equals(theirs.shape)
                np.testing.assert_array_equal(ours.hydrograph.flow, theirs.hydrograph.flow)
    assert len({id(row.hydrograph) for row in known.runoff}) == len(known.runoff)
