"""Lots along a swale whose names are alike are told apart."""

import pytest

from pipelines.layout.swale.lot_names import told_apart


@pytest.mark.parametrize(
    ("names", "told"),
    [
        (["Lot 3", "Lot 4"], ["Lot 3", "Lot 4"]),
        (["Lot 3", "Lot 3"], ["Lot 3 (a)", "Lot 3 (b)"]),
        (["Lot 3", "", "Lot 3", "Lot 4"], ["Lot 3 (a)", "b", "Lot 3 (c)", "Lot 4"]),
        (["", ""], ["a", "b"]),
    ],
)
def test_only_names_that_stand_twice_carry_their_id(names, told) -> None:
    assert told_apart(names, "abcd"[: len(names)]) == told
    assert len(set(told)) == len(told)
