"""The drawn line is moved to the bottom that the raster shows."""

import numpy as np
import pytest
from shapely import LineString

from terrain.errors import GeometryError
from terrain.swale.thalweg import snap_thalweg


def vee(t):
    return np.minimum(np.abs(t) / 5.0, 0.3)


def trapezoid(t):
    return np.clip((np.abs(t) - 0.5) / 3.0, 0.0, 0.3)


@pytest.mark.parametrize("angle", [0.0, 37.0, 90.0, 200.0])
@pytest.mark.parametrize("off", [-2.0, 1.3])
def test_a_line_drawn_beside_the_bottom_is_moved_to_it_and_the_shift_is_told(made_swale, angle, off):
    made = made_swale(vee, angle=angle, drawn_off=off)
    found = snap_thalweg(made.surface, made.drawn)
    turn = np.radians(angle)
    away = -found.x * np.sin(turn) + found.y * np.cos(turn)
    assert np.abs(away).max() < 0.3
    assert np.abs(away).mean() < 0.12
    # drawn to the left of the bottom, the bottom lies to the right of the drawn line
    middle = found.shift[len(found.shift) // 2]
    assert middle == pytest.approx(-off, abs=0.35)
    assert found.length == pytest.approx(100.0, rel=0.01)
    assert found.grade == pytest.approx(0.01, rel=0.02)
    assert not found.turned


def test_a_line_drawn_upstream_is_turned_and_changes_nothing_else(made_swale):
    made = made_swale(vee, angle=37.0, drawn_off=1.0)
    down = snap_thalweg(made.surface, made.drawn)
    up = snap_thalweg(made.surface, made.drawn.reverse())
    assert up.turned
    assert np.hypot(up.x - down.x, up.y - down.y).max() < 0.15
    np.testing.assert_allclose(up.bottom, down.bottom, atol=0.02)
    np.testing.assert_allclose(up.shift, down.shift, atol=0.15)


def test_of_equally_low_ground_the_line_stays_near_the_drawn_one(made_swale):
    made = made_swale(trapezoid, angle=0.0)
    found = snap_thalweg(made.surface, made.drawn)
    assert np.abs(found.shift).max() < 1e-9


def test_a_bend_is_followed(made_swale):
    # a ring of radius 30 m falling along its course, in the raster's own frame
    made = made_swale(lambda t: np.zeros_like(t), lambda s: 0.0 * s, length=80.0, beside=45.0)
    grid = made.surface.grid
    x, y = grid.centres(*np.mgrid[0 : grid.shape[0], 0 : grid.shape[1]])
    made.surface.elevation[:] = 100.0 + vee(np.hypot(x, y) - 30.0) - 0.3 * np.arctan2(y, x)
    turns = np.linspace(-1.2, 1.2, 9)
    drawn = LineString(np.column_stack([30 * np.cos(turns), 30 * np.sin(turns)]))
    found = snap_thalweg(made.surface, drawn)
    assert np.abs(np.hypot(found.x, found.y) - 30.0).max() < 0.35
    assert found.length == pytest.approx(72.0, rel=0.02)


def test_the_edge_of_the_search_is_told(made_swale):
    made = made_swale(lambda t: 0.05 * t)
    assert snap_thalweg(made.surface, made.drawn, reach=2.0).at_reach > 0.5


def test_a_surveyed_line_is_left_where_it_is(made_swale):
    made = made_swale(vee, drawn_off=1.0)
    found = snap_thalweg(made.surface, made.drawn, reach=0.0)
    assert np.abs(found.shift).max() < 1e-9
    assert found.length == pytest.approx(made.drawn.length)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (LineString([(0, 0), (0, 0)]), "no length"),
        (LineString(), "no length"),
        (LineString([(-20, 0), (20, 0), (20, 5), (0, -5)]), "crosses itself"),
        (LineString([(0, 0), (500, 0)]), "of it lies where the raster has no ground"),
        (LineString([(900, 0), (950, 0)]), "all of it lies where the raster has no ground"),
    ],
)
def test_a_line_that_cannot_be_used_is_told_once(made_swale, line, says):
    with pytest.raises(GeometryError, match=says):
        snap_thalweg(made_swale(vee).surface, line)
