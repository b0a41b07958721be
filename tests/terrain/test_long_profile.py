"""What rises downstream, and what dams a swale."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.swale.long_profile import fill_downstream, read_profile
from terrain.swale.thalweg import snap_thalweg


def trapezoid(t):
    return np.clip((np.abs(t) - 0.5) / 2.5, 0.0, 0.4)


def _profile(made_swale, along, **options):
    made = made_swale(trapezoid, along, length=200.0)
    return read_profile(snap_thalweg(made.surface, made.drawn, reach=0.0), **options)


def test_an_even_grade_shows_nothing(made_swale):
    profile = _profile(made_swale, lambda s: -0.01 * s)
    assert (profile.adverse, profile.dams) == ((), ())


def test_a_stretch_against_the_grade_is_found_with_its_rise(made_swale):
    knots = ([-100.0, 0.0, 30.0, 100.0], [1.0, 0.0, 0.3, -0.5])
    (found,) = _profile(made_swale, lambda s: np.interp(s, *knots)).adverse
    assert (found.start, found.end) == pytest.approx((100.0, 130.0), abs=1.0)
    assert found.rise == pytest.approx(0.3, abs=0.02)
    assert found.sure


def test_a_drive_is_a_dam_and_no_adverse_grade(made_swale):
    profile = _profile(made_swale, lambda s: np.maximum(-0.01 * s, np.where(np.abs(s) < 2.5, 0.35, -9.0)))
    (dam,) = profile.dams
    assert profile.adverse == ()
    assert dam.crest == pytest.approx(100.0, abs=2.0)
    assert dam.height == pytest.approx(0.35 - 0.03, abs=0.03)
    assert dam.low < dam.crest
    assert dam.sure


def test_a_rise_within_the_error_is_not_sure(made_swale):
    knots = ([-100.0, 0.0, 40.0, 100.0], [1.0, 0.0, 0.06, -0.5])
    (found,) = _profile(made_swale, lambda s: np.interp(s, *knots), rmse=0.10).adverse
    assert not found.sure
    (found,) = _profile(made_swale, lambda s: np.interp(s, *knots), rmse=0.02).adverse
    assert found.sure


@given(st.lists(st.floats(-5, 5), min_size=2, max_size=40), st.floats(-3, 3))
def test_filling_downstream(bottom, lift):
    bottom = np.array(bottom)
    level = fill_downstream(bottom)
    assert (level >= bottom).all()
    assert level[-1] == bottom[-1]
    assert (np.diff(level) <= 0).all()
    np.testing.assert_allclose(fill_downstream(level), level)
    np.testing.assert_allclose(fill_downstream(bottom + lift), level + lift, atol=1e-12)


@pytest.mark.thorough
def test_noise_on_an_even_swale_shows_at_most_one_thing_a_kilometre(made_swale):
    flags = 0
    for seed in range(100):
        generator = np.random.default_rng(seed)
        made = made_swale(
            trapezoid, length=250.0, noise=lambda shape, generator=generator: 0.06 * generator.standard_normal(shape)
        )
        profile = read_profile(snap_thalweg(made.surface, made.drawn, reach=0.0))
        flags += sum(found.sure for found in (*profile.adverse, *profile.dams))
    assert flags <= 25
