"""Banks that may hide a culvert, on made ground whose banks are known."""

import numpy as np
import pytest
import shapely
from shapely.affinity import translate

from terrain.flow.drainage import drain_ground
from terrain.flow.embankments import EmbankmentRules, find_embankments
from terrain.flow.low_spots import find_low_spots

RULES = EmbankmentRules(length=20.0, width=15.0, height=0.4, evenness=0.15, over=0.2)
ROWS, COLUMNS = 110, 130
EAST, NORTH = np.meshgrid(np.arange(COLUMNS) + 0.5, ROWS - np.arange(ROWS) - 0.5)
MIDDLE, BANK = 65.0, 40.0
# banks are lowest over the valley's floor, so that it is there that they spill
DIP = np.where(np.abs(EAST - MIDDLE) < 4.0, 0.05, 0.0)


def valley(slope=0.03, behind=0.0):
    """A valley that falls south, filled behind the bank to `behind` over its floor there. [m]"""
    z = 100.0 + slope * NORTH + 0.05 * np.abs(EAST - MIDDLE)
    filled = 100.0 + slope * BANK + behind - 0.005 * (BANK - NORTH)
    return np.where((NORTH < BANK) & (behind > 0.0), np.maximum(z, filled), z)


def rail(high=1.6, half_top=2.0, batter=2.0, waves=0.0):
    """Heights of a bank across the valley: level but for its dip, flat on top, with steep sides. [m]"""
    crest = 100.0 + 0.03 * BANK + high + waves * np.sin(EAST / 6.0) - DIP
    return crest - np.maximum(np.abs(NORTH - BANK) - half_top, 0.0) / batter


def found_on(ground_of, z, rules=RULES):
    drainage = drain_ground(ground_of(z))
    return find_embankments(drainage, find_low_spots(drainage, rmse=0.05), rules)


def placed(shape):
    """A shape of the made ground, from its lower left corner."""
    return translate(shape, -500000.0, ROWS - 4000000.0)


def test_a_rail_embankment_across_a_valley_is_found_where_it_lies(ground_of):
    rough = np.random.default_rng(3).normal(0.0, 0.02, (ROWS, COLUMNS))
    (bank,) = found_on(ground_of, np.maximum(valley(), rail()) + rough)
    assert placed(bank.point).coords[0] == pytest.approx((MIDDLE, BANK), abs=2.0)
    # half way down a side of 1 in 2 to the valley's floor, plus the flat top
    assert 1.0 < bank.height <= 1.7
    assert 4.0 < bank.width < 9.0
    ends = [place[1] for place in placed(bank.opening).coords]
    assert ends[0] > BANK + 2.0
    assert ends[1] < BANK - 2.0
    assert bank.opening.intersects(bank.crest.buffer(1.0))
    # an opening there leaves nothing that the bank dams
    assert bank.behind <= bank.spot.bottom_elevation + RULES.over


@pytest.mark.parametrize("crown, grade", [(0.0, 0.0), (0.02, 0.0), (0.02, 0.01)], ids=["level", "crowned", "climbing"])
@pytest.mark.parametrize("half_top", [3.0, 4.0, 5.0], ids=lambda half: f"{2 * half:g} m")
def test_a_road_with_a_wide_top_is_found_where_it_lies(ground_of, half_top, crown, grade):
    rough = np.random.default_rng(3).normal(0.0, 0.02, (ROWS, COLUMNS))
    road = rail(half_top=half_top) - crown * np.minimum(np.abs(NORTH - BANK), half_top) + grade * (EAST - MIDDLE)
    (bank,) = found_on(ground_of, np.maximum(valley(), road) + rough)
    assert placed(bank.point).coords[0] == pytest.approx((MIDDLE, BANK), abs=4.0)
    assert 2 * half_top < bank.width <= RULES.width
    (_, before), (_, behind) = placed(bank.opening).coords
    assert before > BANK + half_top
    assert behind < BANK - half_top
    # it is as long as the valley is wide, and follows the road
    assert placed(bank.crest).hausdorff_distance(shapely.LineString([(30.0, BANK), (100.0, BANK)])) < 30.0
    assert all(abs(y - BANK) < half_top for _, y in placed(bank.crest).coords)


@pytest.mark.parametrize(
    "z",
    [
        np.maximum(valley(), rail(half_top=5.0, batter=9.0)),
        np.maximum(valley(), rail(waves=0.4)),
        np.maximum(valley(behind=0.8), rail()),
        np.maximum(valley(), np.where(np.abs(EAST - MIDDLE) < 9.0, rail(), rail() - 0.7)),
        valley(),
        valley() - 0.8 * np.exp(-((EAST - MIDDLE) ** 2 + (NORTH - BANK) ** 2) / 60.0),
    ],
    ids=["broad", "uneven", "higher ground behind", "short", "no bank", "a hollow"],
)
def test_other_ground_that_dams_is_none(ground_of, z):
    assert found_on(ground_of, z) == ()


def test_a_natural_ridge_of_the_same_height_dams_as_much_and_does_not_count(ground_of):
    ridge = np.maximum(valley(), rail(batter=12.0))
    deepest = [
        max(spot.depth for spot in find_low_spots(drain_ground(ground_of(z)), rmse=0.05))
        for z in (ridge, np.maximum(valley(), rail()))
    ]
    assert deepest[0] > 0.5 * deepest[1] > 0.4


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turning_the_ground_turns_the_bank(ground_of, turns):
    z = np.maximum(valley(), rail()) + np.random.default_rng(3).normal(0.0, 0.02, (ROWS, COLUMNS))
    (bank,), (turned,) = found_on(ground_of, z), found_on(ground_of, np.rot90(z, turns))
    assert turned.height == pytest.approx(bank.height, abs=0.1)
    assert turned.width == pytest.approx(bank.width, abs=1.0)
    assert turned.opening.length == pytest.approx(bank.opening.length, abs=1.5)


@pytest.mark.parametrize(
    "changed",
    [{"length": 70.0}, {"width": 3.0}, {"height": 2.5}, {"evenness": 0.001}, {"over": -1.0}],
    ids=lambda changed: next(iter(changed)),
)
def test_each_rule_decides(ground_of, changed):
    z = np.maximum(valley(), rail()) + np.random.default_rng(3).normal(0.0, 0.02, (ROWS, COLUMNS))
    values = {name: getattr(RULES, name) for name in RULES.__slots__}
    assert found_on(ground_of, z)
    assert found_on(ground_of, z, EmbankmentRules(**{**values, **changed})) == ()


def test_a_bank_that_bends_is_followed(ground_of):
    away = np.hypot(EAST - MIDDLE, NORTH - (BANK - 60.0))
    bent = 102.8 - np.maximum(np.abs(away - 60.0) - 2.0, 0.0) / 2.0
    (bank,) = found_on(ground_of, np.maximum(valley(), bent - DIP))
    ring = shapely.Point(MIDDLE, BANK - 60.0).buffer(60.0).exterior
    assert max(ring.distance(shapely.Point(place)) for place in placed(bank.crest).coords) < 2.0


def test_a_bank_that_bends_by_more_than_a_quarter_turn_is_followed(ground_of):
    away = np.hypot(EAST - MIDDLE, NORTH - (BANK + 25.0))
    bent = 102.8 - np.maximum(np.abs(away - 25.0) - 2.0, 0.0) / 2.0
    (bank,) = found_on(ground_of, np.maximum(100.0 + 0.03 * NORTH, bent - DIP))
    ring = shapely.Point(MIDDLE, BANK + 25.0).buffer(25.0).exterior
    assert max(ring.distance(shapely.Point(place)) for place in placed(bank.crest).coords) < 2.0
    assert placed(bank.crest).bounds[3] > BANK + 30.0
