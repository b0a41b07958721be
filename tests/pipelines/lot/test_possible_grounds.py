"""A lot on the grounds that its lidar allows: its rules act, counts make verdicts, the same input the same answer."""

import numpy as np
import pytest
from shapely import Point

from pipelines.deliverables.words.say import say
from pipelines.layout.ways.fall import verdict_by_count
from pipelines.lot import screen_lot
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages

POSSIBLE_GROUNDS = {
    "grounds": 5,
    "lidar_white_share": 0.3,
    "lidar_over_lawn": '"5 cm"',
    "lidar_over_long_grass": '"12 cm"',
    "long_grass_reach": '"0 m"',
    "seen_reach": '"0 m"',
    "lidar_over_water": '"30 cm"',
    "called_from": '"100 %"',
}
"""Rules that act on the best estimate and on the grounds around it, and what moves them."""


@pytest.fixture(scope="module")
def site(tmp_path_factory, made_lots):
    """The small lot seen through noise, and its site file with so many grounds and further rules."""
    noise = np.random.default_rng(2).normal(0.0, 0.02, made_lots.small_ground().shape)
    folder = tmp_path_factory.mktemp("grounds")
    path = made_lots.write_lot(folder, made_lots.small_ground() + noise, made_lots.SMALL_LAYERS,
                               more=made_lots.SMALL_MORE)
    whole = path.read_text().replace('rmse = "2 cm"', 'rmse = "10 cm"')

    def write(name, rules="", grounds="\n"):
        text = whole.replace("\ngrounds = 1\n", grounds)
        changed = path.with_name(f"{name}.toml")
        changed.write_text(text.replace("[rules]\n", rules) if "[rules]" in text else f"{text}\n{rules}")
        return changed

    return write


def _drawn(path):
    stages = LotStages(open_lot(path))
    return stages.ground[0].elevation, stages.possible.above


@pytest.mark.parametrize("key", [key for key in POSSIBLE_GROUNDS if key not in ("lidar_over_water", "called_from")])
def test_a_rule_of_lidar_moves_the_grounds(site, key):
    before = _drawn(site("before", "[rules]\ngrounds = 10\n" if key != "grounds" else "[rules]\n"))
    base = "" if key == "grounds" else "grounds = 10\n"
    now = _drawn(site(key, f"[rules]\n{base}{key} = {POSSIBLE_GROUNDS[key]}\n"))
    assert not all(np.array_equal(one, other) for one, other in zip(before, now, strict=True))


def test_the_level_of_a_pond_moves_the_grounds_at_it_alone(tmp_path, made_lots):
    pond = {"outfalls": [{"kind": "pond", "geometry": Point(15.0, 1.62)}]}
    path = made_lots.write_lot(tmp_path, made_lots.small_ground(), made_lots.SMALL_LAYERS | pond,
                               more=made_lots.SMALL_MORE)
    whole = path.read_text().replace("\ngrounds = 1\n", "\ngrounds = 10\n")
    drawn = []
    for rule in ("", f"lidar_over_water = {POSSIBLE_GROUNDS['lidar_over_water']}\n"):
        path.write_text(f"{whole}\n[rules]\n{rule}")
        drawn.append(_drawn(path)[1])
    moved = (drawn[0] != drawn[1]).any(axis=0)
    assert 0 < np.count_nonzero(moved) < 0.02 * moved.size


def test_what_two_in_three_grounds_show_is_called_and_no_less(site):
    spots = LotStages(open_lot(site("called", grounds="\ngrounds = 40\n"))).low_spots
    few = LotStages(open_lot(site("fewer", "[rules]\ncalled_from = \"100 %\"\n", grounds="\ngrounds = 40\n"))).low_spots
    found = [spot for spot in spots if spot.found is not None]
    assert [spot.within_lidar_error for spot in found] == [spot.found < 0.67 for spot in found]
    assert {spot.id for spot in few if spot.within_lidar_error} > {spot.id for spot in spots if spot.within_lidar_error}


def test_one_ground_is_the_raster_as_it_is(site):
    one = LotStages(open_lot(site("one", grounds="\ngrounds = 1\n")))
    assert one.possible is None
    assert all(spot.found is None for spot in one.low_spots)
    asked = LotStages(open_lot(site("many"), grounds=1))
    np.testing.assert_array_equal(asked.ground[0].elevation, one.ground[0].elevation)


def test_the_fall_is_told_by_counts_and_comes_again(site):
    path = site("told", grounds="\ngrounds = 40\n")
    first, again = screen_lot(path), screen_lot(path)
    assert repr(first.plan.discharges) == repr(again.plan.discharges)
    (line,) = [each for each in first.plan.discharges if each.mode in ("gravity", "pump")]
    assert "of the 40 grounds that this lidar allows" in say(line.why, "us")
    assert all(water.spot.found is None or 0.0 <= water.spot.found <= 1.0 for water in first.low_spots)


@pytest.mark.parametrize(
    ("count", "of", "verdict"),
    [
        (100, 100, "sure"), (90, 100, "sure"), (89, 100, "cannot_tell"), (11, 100, "cannot_tell"), (10, 100, "no"),
        # the one-sided 90 % bound of all of n is 0.1 ** (1 / n): 0.85 is reached from 15 on
        (14, 14, "cannot_tell"), (15, 15, "sure"), (0, 15, "no"), (18, 20, "cannot_tell"), (1, 1, "cannot_tell"),
    ],
)  # fmt: skip
def test_what_is_sure_by_count(count, of, verdict):
    assert verdict_by_count(np.arange(of) < count) == verdict


def test_a_fall_is_never_less_sure_as_the_outfall_drops():
    order = ("no", "cannot_tell", "sure")
    spare = np.random.default_rng(1).normal(0.0, 0.1, 100)
    states = [order.index(verdict_by_count(spare + drop >= 0.0)) for drop in np.linspace(-0.3, 0.3, 61)]
    assert states == sorted(states)
    assert len(set(states)) == 3
