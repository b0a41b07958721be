"""What runs onto a patio with works in place, on ground whose every square metre is known by hand."""

import numpy as np
import pytest
import shapely
from shapely import box

from pipelines.hydrology.rain.design_rain import rain_given
from pipelines.hydrology.surface_map import map_surfaces
from pipelines.inputs.rules import load_rules
from pipelines.layout.catching.design_flows import rating_of
from pipelines.layout.diagnosis.diagnose import unit_peak
from pipelines.layout.diagnosis.division import CollectingPlace, divide_ground
from pipelines.layout.diagnosis.lot_water import Taking, WaterSettings, run_storm
from pipelines.layout.diagnosis.protected import arriving_water
from pipelines.layout.diagnosis.running import running_at
from terrain.flow.drainage import drain_ground
from terrain.flow.low_spots import find_low_spots

SIZE, LEFT, TOP = 20, 500000.0, 4000000.0
EVERYWHERE = np.ones((SIZE, SIZE), dtype=bool)


def cells(rows, columns) -> np.ndarray:
    return (np.asarray(rows)[:, None] * SIZE + np.asarray(columns)[None, :]).ravel()


def patio(rows: range, columns: range) -> shapely.Polygon:
    """The cells of some rows and columns, each a square metre."""
    return box(LEFT + columns.start, TOP - rows.stop, LEFT + columns.stop, TOP - rows.start)


PATIO = patio(range(8, 14), range(6, 12))
"""On the plane 48 m2 drain over its upper edge: 6 columns of 8 rows."""
BEFORE = cells([7], range(6, 12))


@pytest.fixture
def plane(ground_of):
    """Falls due south by 2 %."""
    return drain_ground(ground_of(np.repeat(100.0 - 0.02 * np.arange(SIZE)[:, None], SIZE, axis=1)))


def stormed(drainage, places, takings, *, depth=0.06, spots=()):
    division = divide_ground(drainage, EVERYWHERE, places)
    surfaces = map_surfaces(drainage.ground.grid, cover="lawn, fair", paving=[], soils=[], default_group="C",
                            roofs=np.zeros((SIZE, SIZE), dtype=bool))
    rain = rain_given(depth, 3600.0, two_year_24h_depth=0.08, distribution="constant")
    settings = WaterSettings(compacted=True, tolerable={})
    by_id = {spot.id: spot for spot in spots}
    return division, run_storm(division, drainage, by_id, surfaces, rain, takings, settings)


def running(drainage, places, takings, *, shape=PATIO, caught=(), **more) -> float:
    """What runs onto the patio, in square metres of ground whose peak it is."""
    division, water = stormed(drainage, places, takings, **more)
    edge, peak = arriving_water("patio", "paving", shape, drainage), unit_peak(water)
    return running_at(edge, division, water, peak, caught).flow / peak


def test_without_works_all_that_arrives_runs(plane) -> None:
    assert running(plane, [], {}) == pytest.approx(48.0)


def test_a_trench_before_the_edge_leaves_what_it_is_offered_and_does_not_take(plane) -> None:
    trench = CollectingPlace("drain-1", "taker", BEFORE)
    division, water = stormed(plane, [trench], {})
    offered = water.arriving["drain-1"].peak
    edge = arriving_water("patio", "paving", PATIO, plane)
    for share in (0.0, 0.5, 0.999, 1.0, 3.0):
        division, water = stormed(plane, [trench], {"drain-1": Taking("drain-1", share * offered)})
        most = 48.0 * unit_peak(water)
        expected = min(max(1.0 - share, 0.0) * offered, most)
        assert running_at(edge, division, water, unit_peak(water), ()).flow == pytest.approx(expected, abs=1e-12)


def test_a_trench_along_half_the_edge_leaves_the_other_half(plane) -> None:
    half = CollectingPlace("drain-1", "taker", cells([7], range(6, 9)))
    assert running(plane, [half], {"drain-1": Taking("drain-1")}) == pytest.approx(24.0)


def test_a_trench_farther_up_takes_what_comes_from_above_it(plane) -> None:
    # 3 of the 8 rows lie below it
    up = CollectingPlace("drain-1", "taker", cells([4], range(6, 12)))
    assert running(plane, [up], {"drain-1": Taking("drain-1")}) == pytest.approx(18.0)


def test_a_trench_in_the_first_cells_of_the_patio_takes_it_at_the_edge(plane) -> None:
    on_edge = CollectingPlace("drain-1", "taker", cells([7, 8], range(6, 12)))
    assert running(plane, [on_edge], {"drain-1": Taking("drain-1")}) == 0.0


def test_water_that_runs_over_the_patio_to_a_grate_far_off_runs_at_it(plane) -> None:
    amid = CollectingPlace("basin-1", "taker", cells([11], range(6, 12)))
    for capacity in (0.0, 1e-4, np.inf):
        assert running(plane, [amid], {"basin-1": Taking("basin-1", capacity)}) == pytest.approx(48.0)


def test_of_what_runs_over_the_patio_to_its_grate_that_share_runs_which_the_grate_lets_by(plane) -> None:
    amid = CollectingPlace("basin-1", "taker", cells([11], range(6, 12)))
    division, water = stormed(plane, [amid], {})
    offered, edge = water.arriving["basin-1"].peak, arriving_water("patio", "paving", PATIO, plane)
    for share in (0.0, 0.25, 0.999, 1.0, 2.0):
        division, water = stormed(plane, [amid], {"basin-1": Taking("basin-1", share * offered)})
        # 6 columns of 12 rows come to the grate, 8 of these rows over the edge
        expected = min(max(1.0 - share, 0.0) * offered * 8.0 / 12.0, 48.0 * unit_peak(water))
        found = running_at(edge, division, water, unit_peak(water), {"basin-1"})
        assert found.flow == pytest.approx(expected, abs=1e-12)
        assert found.through == {}


def test_a_low_spot_behind_the_edge_with_a_grate_holds_what_comes_over_the_edge_until_it_spills(ground_of) -> None:
    """The plane drains over the edge into a hollow amid the patio, which a grate empties."""
    heights = np.repeat(100.0 - 0.02 * np.arange(SIZE)[:, None], SIZE, axis=1)
    heights[10:13, 7:11] = 99.7
    drainage = drain_ground(ground_of(heights))
    (spot,) = (each for each in find_low_spots(drainage, rmse=0.001, prefix="low-") if each.contained_in is None)
    pond, edge = CollectingPlace(spot.id, "spot", spot.cells), arriving_water("patio", "paving", PATIO, drainage)
    runs = []
    for capacity in (1e-6, 2e-4, 4e-4, 1.0):
        takes = {spot.id: Taking("basin-1", rating=rating_of(spot, spot.bottom_elevation, capacity, load_rules()))}
        division, water = stormed(drainage, [pond], takes, spots=(spot,))
        caught = running_at(edge, division, water, unit_peak(water), {spot.id}).flow
        away = running_at(edge, division, water, unit_peak(water), ()).flow
        # the columns beside the hollow run on over the patio and past it
        beside = float((division.label[edge.cells] != division.names.index(spot.id)).sum()) * 8.0 * unit_peak(water)
        runs.append(caught - beside)
        assert caught <= away
        assert (runs[-1] > 1e-12) == (water.standing[spot.id].spill.peak > 0.0)
    assert runs == sorted(runs, reverse=True)
    assert runs[0] > runs[-1] == pytest.approx(0.0, abs=1e-12)


def test_what_weaves_over_the_edge_is_counted_once(ground_of) -> None:
    """A ditch of one cell's width runs along the patio's edge and three times over it."""
    rows, columns = np.indices((SIZE, SIZE))
    heights = 101.0 + 0.02 * np.abs(rows - 8) - 0.001 * columns
    way = [(8 if column in (7, 8, 10, 12) else 7, column) for column in range(SIZE)]
    for row, column in way:
        heights[row, column] = 100.0 - 0.02 * column
    drainage = drain_ground(ground_of(heights))
    shape = patio(range(8, 9), range(6, 14))
    edge = arriving_water("patio", "paving", shape, drainage)
    comes = drainage.accumulation.ravel()
    assert edge.arriving_area <= SIZE * SIZE < comes[edge.cells].sum()
    seen = np.zeros(SIZE * SIZE, dtype=bool)
    for start in range(SIZE * SIZE):  # the slow way: every cell's water followed down
        cell = start
        while not seen[start] and (onward := int(drainage.target[cell])) >= 0:
            inside = [shape.covers(shapely.Point(LEFT + at % SIZE + 0.5, TOP - at // SIZE - 0.5))
                      for at in (start, cell, onward)]
            seen[start] = inside[2] and not inside[1] and not inside[0]
            cell = onward
    assert edge.arriving_area == pytest.approx(float(seen.sum()))


@pytest.fixture
def hollow(ground_of):
    """A plane with a hollow of 6 x 3 cells, 6 cm deep, right above the patio: 30 m2 drain to it and 12 m2 lie below."""
    heights = np.repeat(100.0 - 0.02 * np.arange(SIZE)[:, None], SIZE, axis=1)
    heights[3:6, 6:12] = 99.84
    drainage = drain_ground(ground_of(heights))
    spots = find_low_spots(drainage, rmse=0.001, prefix="low-")
    (spot,) = (each for each in spots if each.contained_in is None)
    return drainage, spot


def test_a_low_spot_holds_its_water_and_what_it_spills_runs_on_over_the_edge(hollow) -> None:
    drainage, spot = hollow
    edge = arriving_water("patio", "paving", PATIO, drainage)
    pond = CollectingPlace(spot.id, "spot", spot.cells)
    told = []
    for capacity in (1e-6, 1e-4, 1.0):
        rating = rating_of(spot, spot.bottom_elevation, capacity, load_rules())
        division, water = stormed(drainage, [pond], {spot.id: Taking("basin-1", rating=rating)}, spots=(spot,))
        below = float((division.label[edge.cells] != division.names.index(spot.id)).sum()) * 2.0
        spills = water.standing[spot.id].spill.peak
        assert running_at(edge, division, water, unit_peak(water), ()).flow == pytest.approx(
            min(below * unit_peak(water) + spills, edge.arriving_area * unit_peak(water))
        )
        told.append(running_at(edge, division, water, unit_peak(water), ()).flow)
    assert told[0] > told[-1]
    assert spills == 0.0


def test_what_passes_through_a_pond_on_the_patio_is_told_apart(ground_of) -> None:
    heights = np.repeat(100.0 - 0.02 * np.arange(SIZE)[:, None], SIZE, axis=1)
    heights[7:14, 5:13] = 99.6
    drainage = drain_ground(ground_of(heights))
    (spot,) = (each for each in find_low_spots(drainage, rmse=0.001, prefix="low-") if each.contained_in is None)
    pond = CollectingPlace(spot.id, "spot", spot.cells)
    edge = arriving_water("patio", "paving", PATIO, drainage)
    comes = 0.0
    for capacity in (None, 1e-4, 1.0):
        rating = None if capacity is None else rating_of(spot, spot.bottom_elevation, capacity, load_rules())
        takings = {} if rating is None else {spot.id: Taking("basin-1", rating=rating)}
        division, water = stormed(drainage, [pond], takings, spots=(spot,), depth=0.2)
        runs = running_at(edge, division, water, unit_peak(water), ())
        # all the water there stands in the pond, and none runs onto the patio over dry ground
        assert runs.flow == 0.0
        through, spills = sum(runs.through.values()), water.standing[spot.id].spill.peak
        assert through <= spills
        comes = max(comes, through)
        assert (through > 0.0) == (spills > 0.0)
    assert comes > 0.0
    assert spills == 0.0


@pytest.mark.parametrize("capacity", [0.0, 2e-5, 1e-4, 4e-4])
def test_more_rain_never_runs_less(hollow, plane, capacity: float) -> None:
    drainage, spot = hollow
    pond, trench = CollectingPlace(spot.id, "spot", spot.cells), CollectingPlace("drain-1", "taker", BEFORE)
    takings = {spot.id: Taking("basin-1", rating=rating_of(spot, spot.bottom_elevation, capacity, load_rules())),
               "drain-1": Taking("drain-1", capacity)}
    edge = arriving_water("patio", "paving", PATIO, drainage)
    storms = [stormed(drainage, [pond, trench], takings, depth=depth, spots=(spot,)) for depth in
              (0.01, 0.02, 0.03, 0.05, 0.08, 0.12, 0.2)]
    runs = [running_at(edge, *storm, unit_peak(storm[1]), ()).flow for storm in storms]
    assert runs == sorted(runs)
    assert runs[-1] > 0.0
