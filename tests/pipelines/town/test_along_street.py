"""Water along a swale in time: by hand where one can, and held against the balance."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pipelines.hydrology.along_swale import add_along
from pipelines.hydrology.runoff_table import STEP
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.town.lot_flows import held_to
from pipelines.town.swales.along_street import Pool, from_above, route_along


def swale(*stations: float) -> Any:
    return SimpleNamespace(station=np.array(stations))


def low_spot(volume: float, area: float = 10.0) -> Any:
    """A box with upright walls."""
    depth = volume / area
    return SimpleNamespace(
        levels=np.array([0.0, depth]), areas=np.array([area, area]), volumes=np.array([0.0, volume]),
        bottom_elevation=0.0, spill_elevation=depth,
    )  # fmt: skip


def burst(volume: float, steps: int = 10) -> Hydrograph:
    return Hydrograph(STEP, np.full(steps, volume / steps / STEP))


def test_without_pools_it_is_the_swale_checks_own_flow() -> None:
    site, side = swale(0.0, 5.0, 12.0, 20.0), {0: [burst(3.0)], 2: [burst(1.0, 4), burst(0.5)]}
    routed = route_along(site, side, (), velocity=0.4, soaking_rate=0.0)
    np.testing.assert_array_equal(routed.flow.flow, add_along(site.station, side, 0.4).flow)
    assert routed.arrives == pytest.approx(4.5)


def test_a_pool_keeps_its_volume_and_lets_the_rest_on() -> None:
    site, pool = swale(0.0, 10.0, 20.0), Pool(low_spot(4.0), 1, 1)
    routed = route_along(site, {0: [burst(10.0)]}, (pool,), velocity=0.5, soaking_rate=0.0)
    assert routed.sent == pytest.approx(10.0)
    assert routed.stands == pytest.approx(4.0)
    assert routed.arrives == pytest.approx(6.0)
    # until it is full nothing passes: 4 of 10 m3 take four of ten steps, and twenty seconds of way before
    passed = np.flatnonzero(routed.flow.flow[1] > 1e-12)[0]
    assert 4 <= passed <= 6


def test_a_pool_that_takes_all_lets_nothing_on() -> None:
    site, pool = swale(0.0, 10.0, 20.0), Pool(low_spot(40.0), 0, 1)
    routed = route_along(site, {0: [burst(10.0)], 2: [burst(1.0)]}, (pool,), velocity=0.5, soaking_rate=0.0)
    assert routed.arrives == pytest.approx(1.0)
    assert routed.stands == pytest.approx(10.0)


@pytest.mark.parametrize("seed", range(5))
def test_all_that_enters_arrives_stands_or_soaks_in(seed: int) -> None:
    random = np.random.default_rng(seed)
    site = swale(*np.cumsum(random.uniform(2.0, 9.0, 12)))
    side = {int(k): [burst(float(random.uniform(0.1, 9.0)), int(random.integers(1, 60)))]
            for k in random.integers(0, 12, 6)}  # fmt: skip
    pools = (Pool(low_spot(float(random.uniform(0.1, 4.0))), 1, 3), Pool(low_spot(2.0), 7, 7),
             Pool(low_spot(float(random.uniform(0.1, 4.0))), 10, 11))  # fmt: skip
    routed = route_along(site, side, pools, velocity=0.3, soaking_rate=float(random.choice([0.0, 2e-6])))
    assert routed.sent == pytest.approx(sum(each.volume for several in side.values() for each in several))
    assert routed.arrives + routed.stands + routed.soaked == pytest.approx(routed.sent, rel=1e-9)


def test_swales_are_routed_after_all_that_end_in_them() -> None:
    # 3 ends in 1, 1 and 2 end in 0
    order = from_above({3: (1, 4), 1: (0, 2), 2: (0, 0)}, 4)
    assert order.index(3) < order.index(1) < order.index(0)
    assert order.index(2) < order.index(0)


def test_a_pump_lets_on_all_that_came_at_its_own_pace() -> None:
    let_on = held_to(Hydrograph(STEP, np.array([0.0, 4.0, 1.0, 0.0])), 1.5)
    assert let_on.flow.tolist() == pytest.approx([0.0, 1.5, 1.5, 1.5, 0.5])
    assert let_on.volume == pytest.approx(5.0 * STEP)
