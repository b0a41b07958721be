"""The ridge of a made drive."""

import numpy as np
import pytest

from terrain.swale.drive_ridge import find_ridge
from terrain.swale.thalweg import snap_thalweg


def test_ridge_of_a_drive_that_dips_over_the_swale(made_swale):
    made = made_swale(lambda t: np.clip((np.abs(t) - 0.5) / 2.5, 0.0, 0.4), angle=25.0, beside=15.0)
    grid = made.surface.grid
    x, y = grid.centres(*np.mgrid[0 : grid.shape[0], 0 : grid.shape[1]])
    turn = np.radians(25.0)
    s, t = x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn)
    drive = np.abs(s) < 2.0
    made.surface.elevation[drive] = (100.5 + 0.02 * np.abs(t))[drive]
    thalweg = snap_thalweg(made.surface, made.drawn, reach=0.0)
    ridge = find_ridge(made.surface, thalweg, 45.0, 55.0, left=4.0, right=5.0)
    assert ridge.crest == pytest.approx(50.0, abs=2.5)
    assert ridge.lowest == pytest.approx(100.5, abs=0.01)
    np.testing.assert_allclose(ridge.heights, 100.5 + 0.02 * np.abs(ridge.offsets), atol=0.02)
    assert (ridge.offsets[0], ridge.offsets[-1]) == (-4.0, 5.0)
    assert len(ridge.line.coords) == len(ridge.offsets)
