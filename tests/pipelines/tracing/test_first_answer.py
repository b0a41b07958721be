"""The live page's first answer leaves out what it does not tell, and changes nothing of what it does."""

from pathlib import Path

import pytest

from pipelines.lot import screen_lot
from pipelines.tracing.live.desk import FIRST_GROUNDS, shown_answer

SAMPLES = Path(__file__).parents[3] / "sample_data"


@pytest.mark.parametrize(
    "number", [1, 12, *(pytest.param(each, marks=pytest.mark.thorough) for each in (2, 3, 5, 8, 9, 11, 16))]
)
def test_what_is_told_first_is_told_of_all_ways_too(number: int) -> None:
    site = SAMPLES / f"lot_{number:02d}.toml"
    first, whole = (screen_lot(site, grounds=FIRST_GROUNDS, chosen_alone=alone) for alone in (True, False))
    assert shown_answer(first) == shown_answer(whole)
    told, of = ([(way.mode, way.chosen) for way in each.plan.alternatives] for each in (first, whole))
    # where nothing is laid there is no other way to leave out
    assert told == ([way for way in of if way[1]] if whole.plan.pipe_runs else of)
