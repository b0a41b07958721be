"""A line held where it is: as its outfall drops it is never less sure, and near the tipping point it is not sure."""

from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point

from pipelines.inputs.rules import load_rules
from pipelines.layout.routing.field import field_from_arrays
from pipelines.layout.routing.spec import Collector, RoutePipe, RouteSpec
from pipelines.layout.ways.fall import spare_along, verdict_by_count
from pipelines.layout.ways.outfall_sites import OutfallSite
from terrain.ground import OPEN
from terrain.lidar.grounds import PossibleGrounds
from terrain.reason import reason

ORDER = ("no", "cannot_tell", "sure")


@pytest.fixture(scope="module")
def falls(route_grid, four_inch: RoutePipe):
    """Fall to spare of one line on random ground, for outfalls of falling level."""

    def told(seed: int, verified: bool, drops: np.ndarray, grounds: int = 100) -> list:
        rng = np.random.default_rng(seed)
        grid = route_grid(15, 41)
        heights = 100.0 - 0.01 * np.indices((15, 41))[1] + rng.normal(0.0, 0.03, (15, 41))
        field = field_from_arrays(grid, heights, cover=0.3)
        # what neighbors share, and what is their own
        above = rng.normal(0.0, 0.06, (grounds, 1, 1)) + rng.normal(0.0, 0.03, (grounds, 15, 41))
        situation = SimpleNamespace(
            grounds=PossibleGrounds(above.astype(np.float32), 0, 0), grid=grid, rules=load_rules(), shots=None,
            rmse=0.1,
            drainage=SimpleNamespace(ground=SimpleNamespace(elevation=heights, kind=np.full((15, 41), OPEN))),
        )
        ground = SimpleNamespace(field=field, situation=situation)
        start, end = Point(1003.5, 1992.5), Point(1037.5, 1992.5)
        collector = Collector("basin-1", start, heights[7, 3] - 0.45, through=True)
        line = SimpleNamespace(from_id="basin-1", xy=np.array(LineString([start, end]).coords))
        spec = RouteSpec(pipes=(four_inch,))
        sites = [
            OutfallSite("outfall-1", "swale", end, 99.0 - drop, 99.0 - drop, verified, reason("confirm_pond"))
            for drop in drops
        ]
        way = [(line, four_inch)]
        return [spare_along(ground, {"basin-1": collector}, way, site, spec, 0.3) for site in sites]

    return told


@given(seed=st.integers(0, 10_000), verified=st.booleans())
def test_a_fall_is_never_less_sure_as_the_outfall_drops(seed: int, verified: bool, falls) -> None:
    drops = np.linspace(-0.6, 0.8, 29)
    found = falls(seed, verified, drops)
    for higher, lower in pairwise(found):
        assert (lower.on_grounds >= higher.on_grounds - 1e-12).all(), "on each ground, so in each count"
    states = [ORDER.index(verdict_by_count(each.on_grounds >= 0.0)) for each in found]
    assert states == sorted(states)
    assert (states[0], states[-1]) == (0, 2)


def test_within_one_error_of_the_tipping_point_it_is_seldom_sure(falls) -> None:
    near = [each for seed in range(20) for each in falls(seed, True, np.linspace(-0.3, 0.3, 25))
            if abs(each.spare) <= each.error]  # fmt: skip
    assert len(near) > 50
    sure = [verdict_by_count(each.on_grounds >= 0.0) == "sure" for each in near]
    assert np.mean(sure) < 0.10
