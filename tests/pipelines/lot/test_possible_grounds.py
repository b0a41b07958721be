"""A lot on the grounds that its lidar allows: its rules act, counts make verdicts, the same input the same answer."""

import numpy as np
import pytest

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


@pytest.mark.parametrize("key", POSSIBLE_GROUNDS)
def test_a_rule_of_lidar_moves_the_grounds(site, key):
    before = _drawn(site("before", "[rules]\ngrounds = 10\n" if key != "grounds" else "[rules]\n"))
    base = "" if key == "grounds" else "grounds = 10\n"
    now = _drawn(site(key, f"[rules]\n{base}{key} = {POSSIBLE_GROUNDS[key]}\n"))
    assert not all(np.array_equal(one, other) for one, other in zip(before, now, strict=True))


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
