"""An outfall's level that nobody gave is a range by its kind, and a point on a bank belongs in the bed beside it."""

import numpy as np
import pytest
import shapely
from shapely import Point, box

from pipelines.inputs.rules import load_rules
from pipelines.layout.ways.fall import verdict_as_laid
from pipelines.layout.ways.outfall_sites import given_outfalls
from pipelines.layout.ways.outlets.outlet_levels import UNDER, bed_beside, level_range
from terrain.flow.drainage import drain_ground

LEFT, TOP, SIZE = 500000.0, 4000000.0, 40
RULES = load_rules()
MIDDLE = np.array([LEFT + SIZE / 2.0, TOP - SIZE / 2.0])
FAR_LOT = shapely.box(LEFT - 500.0, TOP, LEFT - 490.0, TOP + 10.0)


def ditch(ground_of, angle: float):
    """A ditch that falls by 1 % through the middle of flat ground, 0.8 m deep, its banks at 1 in 2."""
    row, column = np.indices((SIZE, SIZE))
    x, y = LEFT + column + 0.5 - MIDDLE[0], TOP - row - 0.5 - MIDDLE[1]
    along = x * np.cos(angle) + y * np.sin(angle)
    away = np.abs(-x * np.sin(angle) + y * np.cos(angle))
    return drain_ground(ground_of(np.minimum(100.0, 99.2 + 0.5 * away) - 0.01 * along))


def at(along: float, away: float, angle: float) -> Point:
    turned = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return Point(MIDDLE + np.array([along, away]) @ turned)


@pytest.mark.parametrize("kind", sorted(UNDER))
def test_a_range_holds_what_is_taken(kind: str) -> None:
    depth, under, over = level_range(kind, RULES)
    assert depth >= 0.0
    assert under > 0.0
    assert over >= 0.0
    # a pond's water may stand higher than on the day of the lidar; grass, grates and gutters only hide what is lower
    assert (over > depth) == (kind == "pond")


def test_what_is_let_out_on_the_lot_has_no_range() -> None:
    assert level_range("daylight", RULES) == level_range("soakaway", RULES) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("angle", [0.0, 0.4, np.pi / 4.0, 1.2, np.pi / 2.0])
@pytest.mark.parametrize("away", [-3.0, -1.5, 2.0, 3.4])
def test_a_point_on_the_bank_is_moved_across_the_ditch_to_its_bed(ground_of, angle: float, away: float) -> None:
    drainage, drawn = ditch(ground_of, angle), at(2.0, away, angle)
    bed = bed_beside(drawn, drainage, FAR_LOT, RULES)
    assert bed is not None
    dx, dy = bed.x - MIDDLE[0], bed.y - MIDDLE[1]
    # in the bed by a cell, and beside the point, not down the ditch
    assert abs(-dx * np.sin(angle) + dy * np.cos(angle)) <= 1.0 + 1e-6
    assert abs(dx * np.cos(angle) + dy * np.sin(angle) - 2.0) <= 1.5


@pytest.mark.parametrize("angle", [0.0, 0.4, np.pi / 4.0])
def test_a_point_in_the_bed_stays_and_one_too_far_off_too(ground_of, angle: float) -> None:
    drainage = ditch(ground_of, angle)
    assert bed_beside(at(2.0, 0.0, angle), drainage, FAR_LOT, RULES) is None
    assert bed_beside(at(2.0, 9.0, angle), drainage, FAR_LOT, RULES) is None


def test_a_point_is_not_moved_onto_the_lot(ground_of) -> None:
    lot = box(MIDDLE[0] - 15.0, MIDDLE[1] - 15.0, MIDDLE[0] + 15.0, MIDDLE[1] + 1.9)
    assert bed_beside(at(2.0, 2.0, 0.0), ditch(ground_of, 0.0), lot, RULES) is None


def test_only_what_was_drawn_as_a_point_without_a_shot_moves(ground_of) -> None:
    drainage, drawn = ditch(ground_of, 0.0), at(2.0, 2.0, 0.0)
    (ditch_site,) = given_outfalls([(drawn, "ditch", None)], drainage, FAR_LOT, RULES)
    assert ditch_site.moved_from == drawn
    assert ditch_site.point != drawn
    assert ditch_site.bottom == pytest.approx(99.2 - 0.02, abs=0.3)
    for kind, shots in (("inlet", ()), ("ditch", (Point(drawn.x, drawn.y, 99.9),))):
        (stays,) = given_outfalls([(drawn, kind, None)], drainage, FAR_LOT, RULES, shots=shots)
        assert (stays.point, stays.moved_from) == (drawn, None)


@pytest.mark.parametrize("over", [0.0, 0.05, 0.2, 1.0])
def test_a_line_is_as_sure_as_it_is_to_the_highest_level(over: float) -> None:
    for spare in np.linspace(-0.5, 1.5, 21):
        laid = verdict_as_laid(spare, spare + 0.1, 0.05, 1.28, over=over)
        assert laid == verdict_as_laid(spare - over, spare + 0.1 - over, 0.05, 1.28)
