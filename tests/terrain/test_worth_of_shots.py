"""Which level shots lessen the doubt: against the closed form for two normals, and against readings that are played."""

import numpy as np
import pytest

from terrain.lidar.worth_of_shots import doubt_after, shots_worth_taking


def drawn(count: int = 4000, places: int = 6, seed: int = 0) -> tuple[np.ndarray, np.random.Generator]:
    """Heights of places that share a bias of the whole lot. [m]"""
    rng = np.random.default_rng(seed)
    return rng.normal(0.0, 0.08, (1, count)) + rng.normal(0.0, 0.05, (places, count)), rng


@pytest.mark.parametrize("noise", [0.01, 0.03, 0.08])
def test_the_doubt_left_is_that_of_two_normals(noise: float) -> None:
    # Sheppard 1899, "On the application of the theory of error", Phil. Trans. A 192: two normals of correlation r
    # differ in sign in arccos(r) / pi of cases (from memory)
    heights, rng = drawn()
    figure = heights[0] - heights[1] + rng.normal(0.0, noise, heights.shape[1])
    error = 0.01
    fall = 2.0 * 0.05**2
    by_formula = np.arccos(fall / np.sqrt((fall + noise**2) * (fall + error**2))) / np.pi
    assert doubt_after(figure, heights[:2], error, known=False) == pytest.approx(by_formula, abs=0.015)


def test_what_is_expected_happens_when_the_shots_are_read() -> None:
    # a figure that is likelier above 0 than below, and readings that are played on grounds drawn apart from the first
    heights, rng = drawn(seed=1)
    figure = heights[2] - heights[4] + 0.04 + rng.normal(0.0, 0.02, heights.shape[1])
    expected = doubt_after(figure, heights[[2, 4]], 0.02, known=False)
    others, rng = drawn(seed=2)
    true = others[2] - others[4] + 0.04 + rng.normal(0.0, 0.02, others.shape[1])
    read = others[2] - others[4] + rng.normal(0.0, 0.02, others.shape[1])
    slope = np.cov(true, read)[0, 1] / read.var()
    said = true.mean() + slope * (read - read.mean()) >= 0.0
    assert expected == pytest.approx(float(np.mean(said != (true >= 0.0))), abs=0.02)


def test_the_ends_of_the_fall_are_asked_for_and_nothing_else() -> None:
    heights, _ = drawn(count=100, places=8)
    figure = heights[5] - heights[3]
    first, second = shots_worth_taking(figure[None, :], heights, 0.01, known=False)
    assert {first.candidate, second.candidate} == {3, 5}
    assert first.figure is None
    assert second.figure == 0
    assert second.before == pytest.approx(min(np.mean(figure >= 0.0), np.mean(figure < 0.0)))
    assert second.after < 0.1 < second.before


def test_where_a_height_is_known_one_shot_is_enough() -> None:
    heights, rng = drawn(count=100)
    (only,) = shots_worth_taking(heights[2:3] + rng.normal(0.0, 0.005, 100), heights, 0.01, known=True)
    assert (only.candidate, only.figure) == (2, 0)


def test_nothing_is_asked_for_where_nothing_is_in_doubt_or_no_shot_helps() -> None:
    heights, rng = drawn(count=100)
    assert shots_worth_taking(heights[:1] + 5.0, heights, 0.01, known=False) == ()
    assert shots_worth_taking(np.empty((0, 100)), heights, 0.01, known=False) == ()
    # what no height tells
    alone = rng.normal(0.0, 1.0, (1, 4000))
    assert shots_worth_taking(alone, drawn(seed=3)[0], 0.01, known=False) == ()


def test_each_shot_lessens_the_doubt_and_no_more_are_asked_for_than_wanted() -> None:
    heights, _ = drawn(count=100, places=10)
    figures = np.array([heights[:5].sum(axis=0) - heights[5:].sum(axis=0), heights[0] - heights[9]])
    found = shots_worth_taking(figures, heights, 0.01, known=False, most=5)
    assert 2 <= len(found) <= 5
    assert len({each.candidate for each in found}) == len(found)
    assert all(each.after < each.before for each in found if each.figure is not None)
    assert found == shots_worth_taking(figures, heights, 0.01, known=False, most=5)
