"""What costs little: where a downspout can be led, which lows can be filled, and what is said of both."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon, box

from pipelines.deliverables.words.say import say
from pipelines.inputs.rules import load_rules
from pipelines.layout.catching.cures import cheap_cures
from pipelines.layout.catching.downspouts import extension_place
from pipelines.layout.catching.sites import DownspoutSite
from pipelines.layout.diagnosis.troubles import SpotPlace, Trouble
from terrain.flow.drainage import drain_ground
from terrain.flow.low_spots import find_low_spots
from terrain.reason import reason
from terrain.unit_table import CUBIC_YARD, FOOT

LEFT, TOP, SIZE = 500000.0, 4000000.0, 40
NOTHING = Polygon()
RULES = load_rules()
LONGEST_EXTENSION, MOST_FILL = RULES["extension_longest"].likely, RULES["fill_most"].likely


def shifted(shape: shapely.Geometry) -> shapely.Geometry:
    """A shape given from the lower left corner of a grid of 40 x 40 cells of a metre."""
    return shapely.transform(shape, lambda xy: xy + np.array([LEFT, TOP - SIZE]))


LOT = shifted(box(2.0, 2.0, 38.0, 38.0))
HOUSE = shifted(box(10.0, 20.0, 20.0, 28.0))


@pytest.fixture
def slope(ground_of):
    """Falls due south by 2 %."""
    return drain_ground(ground_of(np.repeat(100.0 - 0.02 * np.arange(SIZE)[:, None], SIZE, axis=1)))


RUNS_THERE = reason("downspout_runs_to", place=reason("place_lawn"))


def spout_at(x: float, y: float, drainage) -> DownspoutSite:
    row, column = drainage.ground.grid.cells(LEFT + x, TOP - SIZE + y)
    height = float(drainage.ground.elevation[row, column])
    return DownspoutSite("downspout-1", shifted(Point(x, y)), height, np.arange(20), 20.0, RUNS_THERE)


def place(spout, drainage, *, wet=None, paving=NOTHING, houses=HOUSE, parcel=LOT):
    wet = np.zeros((SIZE, SIZE), dtype=bool) if wet is None else wet
    lot = SimpleNamespace(drainage=drainage, parcel=parcel, paving=paving, houses=houses, rules=RULES)
    return extension_place(spout, lot, wet)


def test_a_downspout_is_led_to_the_nearest_lower_dry_lawn_off_house_paving_and_line(slope) -> None:
    spout = spout_at(20.2, 20.5, slope)
    end = place(spout, slope)
    # five feet from the house is nearest to the south and east
    assert end.distance(HOUSE) >= 5.0 * FOOT - 1e-9
    assert end.distance(spout.point) <= 2.5
    row, column = slope.ground.grid.cells(end.x, end.y)
    assert slope.ground.elevation[row, column] < spout.ground
    paving = shifted(box(20.0, 16.0, 30.0, 24.0))
    moved = place(spout, slope, paving=paving)
    assert moved is None or moved.distance(paving) >= 5.0 * FOOT - 1e-9
    near_line = shifted(box(2.0, 17.0, 38.0, 38.0))
    along = place(spout, slope, parcel=near_line)
    assert along is None or along.distance(shapely.boundary(near_line)) >= 10.0 * FOOT - 1e-9


def test_no_place_is_offered_that_is_wet_or_higher_or_too_far(slope) -> None:
    spout = spout_at(20.2, 20.5, slope)
    assert place(spout, slope, wet=np.ones((SIZE, SIZE), dtype=bool)) is None
    row, _ = slope.ground.grid.cells(spout.point.x, spout.point.y)
    # all that is lower within reach is wet: what is left lies uphill
    wet = np.zeros((SIZE, SIZE), dtype=bool)
    wet[row:] = True
    assert place(spout, slope, wet=wet) is None
    far = np.ones((SIZE, SIZE), dtype=bool)
    far[int(row) + int(LONGEST_EXTENSION) + 1 :] = False
    assert place(spout, slope, wet=far) is None


def test_an_extension_does_not_run_under_the_house(slope) -> None:
    # north of the house, and only ground south of it is dry and lower
    narrow = shifted(box(8.0, 24.0, 22.0, 26.0))
    spout = spout_at(15.0, 26.5, slope)
    wet = np.ones((SIZE, SIZE), dtype=bool)
    row, _ = slope.ground.grid.cells(LEFT, TOP - SIZE + 22.0)
    wet[int(row) :] = False
    end = place(spout, slope, wet=wet, houses=narrow)
    assert end is None
    assert place(spout, slope, wet=wet, houses=NOTHING) is not None


def low_in(drainage, name: str = "lawn") -> Trouble:
    (spot,) = find_low_spots(drainage, rmse=0.01, prefix="low-")
    named = reason("place_named", name=name)
    where = SpotPlace(spot, box(0, 0, 1, 1), name, named, None, True, np.inf)
    why = reason("water_stands", depth=0.0762, area=None, place=named, over=None, seen=None)
    return Trouble("standing", named, why, where, None)


def pit(ground_of, fall: float, deep: float = 0.2):
    """A slope to the south with one pit in it."""
    plane = np.repeat(100.0 - fall * np.arange(SIZE)[:, None], SIZE, axis=1)
    plane[18:22, 18:22] -= deep
    return drain_ground(ground_of(plane))


def cures(troubles, drainage, *, spouts=(), extensions=None, gutters=False):
    return cheap_cures(troubles, spouts, extensions or {}, drainage, RULES, gutters=gutters)


def test_a_low_in_a_lawn_is_filled_where_the_ground_falls_on(ground_of) -> None:
    drainage = pit(ground_of, 0.03)
    (fill,) = cures([low_in(drainage)], drainage)
    volume = low_in(drainage).spot.spot.volume
    assert say(fill.what, "si").startswith(f"Fill the low in the lawn with {volume:.1f} m3 of soil")
    assert say(fill.what, "us").startswith(f"Fill the low in the lawn with {volume / CUBIC_YARD:.1f} yd3 of soil")
    assert say(fill.why, "us") == "Water stands 3.0 in deep on the lawn."
    # ground that hardly falls would only move the water
    flat = pit(ground_of, 0.005)
    assert cures([low_in(flat)], flat) == ()
    # paving is not filled with soil
    assert cures([low_in(drainage, "paving")], drainage) == ()


def test_what_takes_a_truck_is_no_cheap_fill(ground_of) -> None:
    deep = pit(ground_of, 0.03, deep=0.5)
    trouble = low_in(deep)
    assert trouble.spot.spot.volume > MOST_FILL
    assert cures([trouble], deep) == ()


def test_a_fill_counts_the_lawn_s_own_hollow_and_no_barrow_or_two_are_a_work(ground_of) -> None:
    drainage = pit(ground_of, 0.03)
    trouble = low_in(drainage)
    spot = trouble.spot.spot

    def on_lawn(cells):
        heights = drainage.ground.elevation.ravel()[spot.cells[:cells]] - spot.bottom_elevation
        return replace(trouble, spot=replace(trouble.spot, heights=heights, cell_area=1.0))

    # half of the low spot's cells are the lawn's, the rest is the neighbor's
    half = spot.cells.size // 2
    (fill,) = cures([on_lawn(half)], drainage)
    heights = drainage.ground.elevation.ravel()[spot.cells[:half]]
    assert fill.what["volume"] == pytest.approx(float((spot.spill_elevation - heights).sum()))
    assert fill.what["volume"] < spot.volume
    shallowest = int(np.argmax(drainage.ground.elevation.ravel()[spot.cells]))
    heights = drainage.ground.elevation.ravel()[spot.cells[[shallowest]]] - spot.bottom_elevation
    little = replace(trouble, spot=replace(trouble.spot, heights=heights, cell_area=1.0))
    assert little.spot.volume_under(spot.depth) < RULES["surface_least_soil"].likely
    assert cures([little], drainage) == ()


def test_gutters_come_first_and_ids_count_up(ground_of) -> None:
    drainage = pit(ground_of, 0.03)
    spout = spout_at(20.2, 24.5, drainage)
    end = shifted(Point(23.2, 20.5))
    first, second, third = cures(
        [low_in(drainage)], drainage, spouts=[spout], extensions={"downspout-1": end}, gutters=True
    )
    assert first.what == reason("clean_gutters")
    # three metres east and four south: 5 m, 16 ft
    assert second.what["length"] == pytest.approx(5.0)
    assert say(second.what, "us") == "Lead downspout-1 16 ft over the ground to lower lawn."
    assert say(second.what, "si") == "Lead downspout-1 5 m over the ground to lower lawn."
    assert say(second.changes, "us") == "Keeps the water of 215 ft2 of roof from it."
    assert third.what.code == "fill_low"
    assert [cure.id for cure in (first, second, third)] == ["cure-1", "cure-2", "cure-3"]
    # a downspout that can be led nowhere is not spoken of
    assert len(cures([], drainage, spouts=[spout], gutters=True)) == 1
