"""What stands at what must stay dry, storm by storm, and the size that keeps it dry in a lighter one."""

from itertools import groupby, pairwise
from pathlib import Path

import numpy as np
import pytest

from pipelines.deliverables.findings.lot import Findings
from pipelines.inputs.rules import load_rules
from pipelines.lot import screen_lot
from tests.pipelines.lot.conftest import SAMPLES, SMALL_MORE, write_small_lot
from tests.screened_samples import EVERY_LOT, screened

FILM = load_rules()["wet_film"].likely
TABLE = SMALL_MORE.replace('depth = "3 in"\nduration = "60 min"', 'table = "rain.csv"\nreturn_period = "10 yr"')


@pytest.mark.parametrize("name", EVERY_LOT)
def test_nothing_is_shallower_in_a_heavier_storm(name: str) -> None:
    found = screened(name)
    for lighter, heavier in pairwise(found.storms):
        assert lighter.depth < heavier.depth
        before = {spot: depths for spot, *depths in lighter.standing}
        for spot, *depths in heavier.standing:
            assert all(now >= then - 1e-6 for then, now in zip(before[spot], depths, strict=True))
    for _, rows in groupby(found.edges, key=lambda row: row.edge):
        for then, now in pairwise(rows):
            assert now.depth >= then.depth - 1e-6
            assert now.depth_after >= then.depth_after - 1e-6


@pytest.mark.parametrize("name", EVERY_LOT)
def test_depth_at_an_edge_is_water_over_its_own_ground(name: str) -> None:
    """Held against the low spots' own levels: no edge stands deeper than the deepest low spot, nor dry ones wet."""
    found = screened(name)
    deepest = {storm.name: max((depths[0] for _, *depths in storm.standing), default=0.0) for storm in found.storms}
    for row in found.edges:
        assert 0.0 <= row.depth <= deepest[row.storm.rain.storm.name] + 1e-9
        assert (row.time > 0.0) == (row.depth > 0.0)
        assert row.room is None or row.kind == "wall"


def test_what_keeps_paving_dry_in_a_lighter_storm_is_priced_and_taken_where_asked_for(tmp_path: Path) -> None:
    def planned(folder: str, more: str) -> Findings:
        site = write_small_lot(tmp_path / folder, more=TABLE + more)
        (site.parent / "rain.csv").write_text((SAMPLES / "rain.csv").read_text())
        return screen_lot(site)

    least = planned("least", '\n[rules]\nkeep_dry_extra = "0 %"\n')
    asked = planned("asked", '\n[layout]\nkeep_dry = "2 yr"\n')
    (catches, drains, large) = asked.plan.sizes
    assert [each.catches for each in (catches, drains)] == [True, False]
    assert [each.keeps_dry for each in (catches, drains, large)] == [None, None, 2.0]
    assert [each.chosen for each in (catches, drains, large)] == [False, False, True]
    assert large.likely >= catches.likely >= drains.likely
    assert [size.chosen for size in least.plan.sizes] == [True, False, False]
    wet = {row.edge: row.depth for row in asked.edges if row.storm.rain.return_period == 2.0}
    after = {row.edge: row.depth_after for row in asked.edges if row.storm.rain.return_period == 2.0}
    assert wet["patio"] > FILM
    assert large.holds == (after["patio"] <= FILM + 1e-9)
    # more is taken, never less
    taken = [sum(basin.capacity for basin in each.plan.catch_basins) for each in (least, asked)]
    assert taken[1] > taken[0]
    assert np.isfinite(large.likely)
