"""What is said to stand at a place is the water over that place's own ground, on random grounds and storms."""

from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from pyproj import CRS
from shapely import box

from pipelines.hydrology.standing_water import route_storage
from pipelines.hydrology.storage import StageStorage
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.inputs.rules import load_rules
from pipelines.layout.diagnosis.diagnose import spot_places
from pipelines.layout.diagnosis.protected import arriving_water
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import StandingTime, find_troubles, trouble_rules
from terrain.flow.drainage import drain_ground
from terrain.flow.low_spots import find_low_spots
from terrain.grid import Frame, Grid
from terrain.ground import OPEN, Ground
from terrain.reason import reason

RULES = load_rules()
LIMITS = trouble_rules(RULES)
CELL, COUNT = 0.5, 60
PATIO, HOUSE, LOT = box(12.0, 12.0, 18.0, 17.0), box(19.0, 10.0, 26.0, 18.0), box(6.0, 4.0, 30.0, 26.0)
"""The lot ends within the ground, so that a hollow may reach beyond it."""


def plain_grid(rows: int, columns: int, cell: float) -> Grid:
    return Grid((rows, columns), 0.0, rows * cell, cell, cell, Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0))


def lot_on(heights: np.ndarray, grid: Grid) -> Situation:
    kind = np.full(heights.shape, OPEN)
    none = np.full(heights.shape, -1)
    drainage = drain_ground(Ground(grid, heights, kind, none, none))
    spots = find_low_spots(drainage, rmse=0.001, prefix="low-")
    rows, columns = np.indices(heights.shape)
    x, y = grid.centres(rows, columns)
    on_parcel = shapely.contains_xy(LOT, x, y)
    edges = (arriving_water("patio", "paving", PATIO, drainage),)
    studied = np.ones(heights.shape, dtype=bool)
    counted = tuple(spot for spot in spots if spot.contained_in is None and spot.volume >= RULES["least_pond"].likely)
    return SimpleNamespace(  # type: ignore[return-value]
        drainage=drainage, spots=spots, rules=RULES, grid=grid, parcel=LOT, on_parcel=on_parcel, studied=studied,
        houses=HOUSE, edges=edges, complaints=(), counted_spots=counted,
    )


@pytest.mark.parametrize("seed", range(12))
def test_depth_is_level_less_the_lowest_ground_of_the_place(seed: int) -> None:
    random = np.random.default_rng(seed)
    grid = plain_grid(COUNT, COUNT, CELL)
    rows, columns = np.indices((COUNT, COUNT))
    x, y = grid.centres(rows, columns)
    heights = 100.0 + 0.01 * y + random.normal(0.0, 0.002, x.shape)
    for _ in range(4):
        east, north = random.uniform(4.0, 27.0, 2)
        heights = heights - random.uniform(0.2, 0.9) * np.exp(-((x - east) ** 2 + (y - north) ** 2) / 12.0)
    lot = lot_on(heights, grid)
    places = spot_places(lot)
    assert places
    for fill in random.uniform(0.1, 1.0, 5):
        depths = {name: fill * place.spot.depth for name, place in places.items()}
        standing = {name: StandingTime(depth, 1e9, (1e9,) * len(places[name].others)) for name, depth in depths.items()}
        troubles = find_troubles(list(places.values()), standing, (), (), unit_peak=0.0, rules=LIMITS)
        told = {each.spot.spot.id: each for each in troubles if each.spot is not None}
        for name, place in places.items():
            level = place.spot.bottom_elevation + depths[name]
            wet = np.zeros(x.size, dtype=bool)
            wet[place.spot.cells] = True
            wet = wet.reshape(x.shape) & (heights < level)
            on_lot = float(np.max(level - heights[wet & lot.on_parcel], initial=0.0))
            on_patio = float(np.max(level - heights[wet & shapely.contains_xy(PATIO, x, y)], initial=0.0))
            patio = shapely.contains_xy(PATIO, x, y)
            wall = shapely.distance(HOUSE, shapely.points(x, y)) <= LIMITS.wall_reach
            at_wall = float(np.max(level - heights[wet & lot.on_parcel & wall & ~patio], initial=0.0))
            on_lawn = float(np.max(level - heights[wet & lot.on_parcel & ~wall & ~patio], initial=0.0))
            if name in told:
                trouble = told[name]
                here = {reason("place_lawn"): on_lawn, reason("place_beside_house"): at_wall,
                        reason("place_named", name="patio"): on_patio}
                ground = {reason("place_lawn"): ~wall & ~patio, reason("place_beside_house"): wall & ~patio,
                          reason("place_named", name="patio"): patio}
                if trouble.name in ground:
                    # area and volume are those of the place, not of the whole low spot
                    there = wet & lot.on_parcel & ground[trouble.name]
                    cell = CELL**2
                    assert trouble.why["area"] == pytest.approx(there.sum() * cell)
                    volume = float((level - heights[there]).sum()) * cell
                    assert trouble.spot.volume_under(depths[name]) == pytest.approx(volume)
                if trouble.name in here:
                    # within 1 cm of level minus raster, and never said of ground that stays dry
                    assert trouble.why["depth"] == pytest.approx(here[trouble.name], abs=0.01)
                assert trouble.why["depth"] <= on_lot + 0.01
            else:
                # what is not told is a film, or within what is tolerated, at each place of the lot
                assert on_lawn <= max(LIMITS.film, LIMITS.lawn.depth) + 0.01
                assert at_wall <= LIMITS.film + 0.01
                assert on_patio <= max(LIMITS.film, LIMITS.paving.depth) + 0.01


def test_a_pond_whose_deepest_part_lies_off_the_lot_is_told_by_what_stands_on_it() -> None:
    grid = plain_grid(COUNT, COUNT, CELL)
    rows, columns = np.indices((COUNT, COUNT))
    x, y = grid.centres(rows, columns)
    # a bowl of 1 m centred beyond the lot's west line, its rim reaching the lot
    heights = 100.0 + 0.02 * np.abs(x) - 1.0 * np.exp(-((x - 3.5) ** 2 + (y - 15.0) ** 2) / 8.0)
    lot = lot_on(heights, grid)
    (place,) = spot_places(lot).values()
    full = place.spot.depth
    standing = {place.spot.id: StandingTime(full, 1e9, (1e9,) * len(place.others))}
    told = find_troubles([place], standing, (), (), unit_peak=0.0, rules=LIMITS)
    on_lot = place.spot.bottom_elevation + full - heights[lot.on_parcel].min()
    assert full > on_lot + 0.2
    for trouble in told:
        assert trouble.why["depth"] == pytest.approx(on_lot, abs=0.01)


@pytest.mark.parametrize("on_patio", [-0.03, 0.01])
def test_a_patio_that_is_dry_or_hardly_wet_hides_no_lawn_that_stands_deep(on_patio: float) -> None:
    grid = plain_grid(COUNT, COUNT, CELL)
    rows, columns = np.indices((COUNT, COUNT))
    x, y = grid.centres(rows, columns)
    level, deep = 100.0, 0.3
    # a flat pan south of the patio, which it reaches: its water stands 30 cm deep, at the patio hardly or not at all
    heights = 100.5 + 0.01 * np.hypot(x - 15.0, y - 15.0)
    heights[(x > 12.0) & (x < 16.0) & (y > 7.0) & (y < 12.0)] = level - deep
    heights[shapely.contains_xy(PATIO, x, y)] = level - on_patio
    lot = lot_on(heights, grid)
    (place,) = spot_places(lot).values()
    standing = {place.spot.id: StandingTime(deep, 1e9, (1e9,) * len(place.others))}
    (told,) = find_troubles([place], standing, (), (), unit_peak=0.0, rules=LIMITS)
    assert (told.name, told.why["depth"]) == (reason("place_lawn"), pytest.approx(deep))


def test_time_over_any_depth_is_that_of_a_run_with_that_depth_tolerated() -> None:
    storage = StageStorage(np.array([0.0, 0.5]), np.array([100.0, 100.0]), np.array([0.0, 50.0]))
    inflow = Hydrograph(60.0, np.array([0.0, *[0.02] * 30, 0.0]))
    for rate in (0.0, 1e-7, 2e-6):
        once = route_storage(inflow, storage, infiltration_rate=rate, tolerable_depth=0.2)
        for depth in (0.001, 0.05, 0.2, 0.3, 0.36, 0.4):
            told = route_storage(inflow, storage, infiltration_rate=rate, tolerable_depth=depth)
            if not told.stands_at_end:
                assert once.time_over(depth) == pytest.approx(told.time_above)
            else:
                # the watch is over, the soil goes on: nothing stands for ever but where it takes nothing
                longer = told.depths[-1] - depth - 3.0 * 86400.0 * rate
                assert longer > 0.0
                assert once.time_over(depth) == pytest.approx(told.time_above + longer / rate if rate else np.inf)


def test_a_wide_low_spot_is_ranked_by_what_lies_on_the_lot_and_seen_where_it_was_seen() -> None:
    grid = plain_grid(COUNT, COUNT, CELL)
    rows, columns = np.indices((COUNT, COUNT))
    x, y = grid.centres(rows, columns)
    # a wide pan off the lot that reaches onto it by 2 m, and a smaller one within the lot
    heights = 100.0 + 0.001 * y
    heights[(x > 0.5) & (x < 8.0) & (y > 2.0) & (y < 28.0)] = 99.8
    heights[(x > 9.0) & (x < 16.0) & (y > 5.0) & (y < 11.0)] = 99.8
    lot = lot_on(heights, grid)
    lot.complaints = ((shapely.Point(10.0, 8.0), reason("water_seen", what="a pond", date=None)),)
    places = list(spot_places(lot).values())
    wide = max(places, key=lambda place: place.spot.area)
    small = min(places, key=lambda place: place.spot.area)
    # the complaint lies 2 m from the wide pan too, and was seen at the small one: a low spot each, by its own ground
    assert small.complaint is not None
    assert wide.area_under(np.inf) < wide.spot.area / 3.0
    lot.complaints = ()
    standing = {each.spot.id: StandingTime(0.2, 1e9, (1e9,) * len(each.others)) for each in places}
    unseen = find_troubles(list(spot_places(lot).values()), standing, (), (), unit_peak=0.0, rules=LIMITS)
    on_lot = [each.spot.area_under(0.2) for each in unseen]
    assert on_lot == sorted(on_lot, reverse=True)
    own = {each.spot.spot.id: lot.on_parcel.ravel()[each.spot.spot.cells].sum() * CELL**2 for each in unseen}
    for each in unseen:
        assert each.spot.area_under(0.2) == pytest.approx(own[each.spot.spot.id])


def test_what_was_seen_on_the_lawn_is_not_said_of_the_wall() -> None:
    grid = plain_grid(COUNT, COUNT, CELL)
    rows, columns = np.indices((COUNT, COUNT))
    x, y = grid.centres(rows, columns)
    # one pan from the lawn to the house's west wall, wet within what a lawn bears
    heights = 100.0 + 0.001 * y
    heights[(x > 7.0) & (x < 19.0) & (y > 5.0) & (y < 11.5)] = 99.97
    lot = lot_on(heights, grid)
    lot.complaints = ((shapely.Point(8.0, 8.0), reason("water_seen", what="a pond", date=None)),)
    (place,) = spot_places(lot).values()
    assert {each.place: each.complaint is not None for each in place.every} == {"wall": False, "lawn": True}


def test_time_over_what_is_tolerated_counts_from_a_film_at_the_least() -> None:
    """At a wall nothing is tolerated, and a film does not stand: else water would be over it longer than it stands."""
    given = load_rules()
    rules = trouble_rules(given)
    film = given["standing_film"].likely
    assert rules.wall.depth < film < rules.paving.depth
    assert rules.counts_from(rules.wall) == film
    assert rules.counts_from(rules.paving) == rules.paving.depth
