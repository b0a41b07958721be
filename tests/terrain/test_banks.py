"""Where a bank's top is."""

import numpy as np
import pytest

from terrain.swale.banks import find_bank

DISTANCE = np.arange(0.0, 8.01, 0.125)


def _height(*points):
    return np.interp(DISTANCE, *zip(*points, strict=True))


@pytest.mark.parametrize(
    ("points", "kind", "at"),
    [
        (((0, 0), (1.5, 0.3), (8, 0.3)), "shelf", 1.5),
        (((0, 0), (0.3, 0), (2.0, 0.5), (8, 0.62)), "shelf", 2.0),
        (((0, 0), (1.5, 0.3), (3.5, 0.34), (5, 1.8), (8, 2.4)), "shelf", 1.5),
        (((0, 0), (1.5, 0.3), (4.0, 0.1), (8, 0.0)), "crest", 1.5),
        (((0, 0), (2.0, 0.5), (3.0, 0.54), (4.0, 0.1), (8, 2.0)), "shelf", 2.0),
        (((0, 0), (8, 1.6)), "none", 8.0),
    ],
    ids=["lawn level", "lawn rising", "road embankment behind a shelf", "berm", "berm with a flat top", "valley side"],
)
def test_banks_of_made_ground(points, kind, at):
    bank = find_bank(DISTANCE, _height(*points))
    assert bank.kind == kind
    assert DISTANCE[bank.index] == pytest.approx(at, abs=0.13)


def test_a_wall_ends_the_section_before_it():
    height = _height((0, 0), (8, 1.6))
    bank = find_bank(DISTANCE, height, wall=20)
    assert (bank.index, bank.kind) == (19, "wall")


def test_unknown_ground_ends_the_section():
    height = _height((0, 0), (8, 1.6))
    height[30:] = np.nan
    bank = find_bank(DISTANCE, height)
    assert (bank.index, bank.kind) == (29, "none")


def test_nothing_known_beside_the_bottom():
    height = np.full(len(DISTANCE), np.nan)
    height[0] = 0.0
    assert find_bank(DISTANCE, height).index == 0
