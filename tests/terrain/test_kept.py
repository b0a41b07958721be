"""What is kept between runs answers to the same bytes alone, as a copy, and never holds more bytes than it may."""

import numpy as np
import pytest

from terrain.kept import KeptAnswers, keeping, kept


@pytest.fixture
def doubled():
    asked = []

    @kept
    def double(values, *, by=2.0):
        asked.append(by)
        return {"values": values * by}

    return double, asked


def test_the_same_is_worked_out_once_within_keeping_alone(doubled):
    double, asked = doubled
    values = np.arange(4.0)
    double(values), double(values)
    assert len(asked) == 2
    with keeping():
        first, again = double(values), double(values.copy())
    assert len(asked) == 3
    np.testing.assert_array_equal(first["values"], again["values"])
    with keeping():
        double(values)
    assert len(asked) == 4


@pytest.mark.parametrize("other", [np.array([0.0, 1.0, 2.0, 3.0 + 1e-15]), np.arange(4), np.arange(4.0).reshape(2, 2)])
def test_one_digit_type_or_shape_is_another_question(doubled, other):
    double, asked = doubled
    with keeping():
        double(np.arange(4.0))
        np.testing.assert_array_equal(double(other)["values"], other * 2.0)
        double(np.arange(4.0), by=3.0)
    assert len(asked) == 3


def test_whoever_writes_into_an_answer_spoils_none(doubled):
    double, _ = doubled
    with keeping():
        for _ in range(3):
            answer = double(np.ones(3))
            np.testing.assert_array_equal(answer["values"], np.full(3, 2.0))
            answer["values"][:] = -1.0


def test_what_was_asked_for_longest_ago_goes_first():
    answers = KeptAnswers(most=30)
    for name in (b"a", b"b", b"c"):
        answers.put(name, name * 10)
    answers.get(b"a")
    answers.put(b"d", b"d" * 10)
    assert answers.get(b"b") is None
    assert answers.held == 30
    assert all(answers.get(name) == name * 10 for name in (b"a", b"c", b"d"))
    answers.put(b"e", b"e" * 31)
    assert answers.get(b"e") is None
    assert answers.held <= 30
