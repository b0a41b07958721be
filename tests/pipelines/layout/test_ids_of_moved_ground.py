"""Low spots of moved ground keep the id of the one before that they share most with: held against a plain twin."""

from dataclasses import replace

import numpy as np
import pytest

from pipelines.layout.surface.surface_only import _same_ids
from terrain.flow.drainage import drain_ground
from terrain.flow.low_spots import LowSpot, find_low_spots


def _ids_by_hand(spots: tuple[LowSpot, ...], before: tuple[LowSpot, ...]) -> list[str | None]:
    shares = []
    for new, spot in enumerate(spots):
        for old, was in enumerate(before):
            own, earlier = set(spot.cells.tolist()), set(was.cells.tolist())
            if was.bottom in own or spot.bottom in earlier:
                shares.append((len(own & earlier) / len(own | earlier), new, old))
    names: dict[int, str] = {}
    for _, new, old in sorted(shares, reverse=True):
        if new not in names and before[old].id not in names.values():
            names[new] = before[old].id
    return [names.get(new) for new in range(len(spots))]


@pytest.mark.parametrize("seed", range(4))
def test_ids_stay_with_the_ground(seed: int, ground_of) -> None:
    random = np.random.default_rng(seed)
    heights = np.cumsum(random.normal(0.0, 0.05, (24, 30)), axis=1)
    moved = heights.copy()
    moved[8:14, 5:20] += random.normal(0.0, 0.1, (6, 15))
    found = [find_low_spots(drain_ground(ground_of(each)), rmse=0.05, min_area=0.0) for each in (heights, moved)]
    before, now = found[0], tuple(replace(spot, id=f"new-{spot.id}", contained_in=None) for spot in found[1])
    named = _same_ids(now, before)
    assert len(named) > 10
    assert len({spot.id for spot in named}) == len(named)
    known = {spot.id for spot in before}
    assert [spot.id if spot.id in known else None for spot in named] == _ids_by_hand(now, before)
    assert any(spot.id not in known for spot in named) or len(now) <= len(before)
