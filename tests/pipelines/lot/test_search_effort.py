"""A plan for whose lines as much was searched as may be: what is left is laid line by line, and that is told."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest
from shapely import Point, box

from pipelines.deliverables.lot.summary import summary
from pipelines.deliverables.lot.written import answer_text, report_page
from pipelines.deliverables.words.say import say
from pipelines.layout.routing.spec import MOST_OF_PLAN, SearchEffort
from pipelines.lot import screen_lot
from tests.pipelines.lot.conftest import CELL, SMALL_LAYERS, SMALL_MORE, SMALL_WIDE, small_ground, write_lot
from tests.screened_samples import EVERY_LOT, screened

PATIOS = [box(6.2, 18.6, 12.2, 23.8), box(17.8, 18.6, 23.8, 23.8)]
LAYERS = SMALL_LAYERS | {
    "hardscape": [{"kind": "patio", "protect": True, "geometry": patio} for patio in PATIOS],
    "complaints": [{"what": "stands there", "geometry": patio.centroid} for patio in PATIOS],
}


def two_hollows() -> np.ndarray:
    rows, columns = np.indices(small_ground().shape)
    ground = small_ground()
    for patio in PATIOS:
        middle: Point = patio.centroid
        away = np.hypot((columns + 0.5) * CELL - middle.x, SMALL_WIDE - (rows + 0.5) * CELL - middle.y)
        ground -= 0.25 * np.exp(-((away / 2.0) ** 2))
    return ground


def test_it_is_told_in_every_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(SearchEffort, "left", property(lambda effort: 0))
    found = screen_lot(write_lot(tmp_path / "lot", two_hollows(), LAYERS, more=SMALL_MORE))
    (told,) = (each for each in found.plan.warnings if each.code == "search_cut_short")
    assert told["places"] == MOST_OF_PLAN
    # each line ends where its water leaves
    assert len(found.plan.pipe_runs) > 1
    ends = {outfall.id for outfall in found.plan.outfalls}
    assert all(run.to_id in ends for run in found.plan.pipe_runs)
    sentence = say(told, found.units)
    assert sentence in " ".join(answer_text(found, 80).split())
    assert sentence in report_page(found, made_on=date(2026, 1, 1))
    assert sentence in str(summary(found))


@pytest.mark.parametrize("name", EVERY_LOT)
def test_no_sample_lot_takes_as_much(name: str) -> None:
    assert "search_cut_short" not in {getattr(each, "code", "") for each in screened(name).plan.warnings}
