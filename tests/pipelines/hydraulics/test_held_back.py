"""A line that ends in water: less head, less flow, and a pond that waits for it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.held_back import HeldBack, RatingInTime
from pipelines.hydraulics.ratings import StageOutflow
from pipelines.hydrology.standing_water import route_storage
from pipelines.hydrology.storage import StageStorage
from pipelines.hydrology.sub_catchment import Hydrograph

FREE = StageOutflow(np.array([10.0, 10.02, 11.0]), np.array([0.0, 0.002, 0.002]))
TANK = StageStorage(np.array([10.0, 11.0]), np.array([20.0, 20.0]), np.array([0.0, 20.0]))
HOUR = 3600.0


def held(*stage: float, head: float = 0.5, crown: float = 9.5, step: float = HOUR) -> HeldBack:
    return HeldBack(crown, head, np.array(stage), step)


@pytest.mark.parametrize(
    ("level", "stage", "share"),
    [
        (10.0, 9.4, 1.0), (10.0, 9.5, 1.0),  # below the crown nothing is held back
        (10.0, 9.875, 0.5), (10.5, 10.375, 0.5),  # a quarter of the head, half of the flow
        (10.0, 10.0, 0.0), (10.0, 12.0, 0.0), (12.0, 10.0, 1.0),
    ],
)  # fmt: skip
def test_flow_goes_with_the_root_of_the_head_that_is_left(level: float, stage: float, share: float) -> None:
    assert float(held(stage).share(level, stage)) == pytest.approx(share)


@given(st.floats(9.0, 12.0), st.floats(9.0, 12.0), st.floats(0.0, 1.0))
def test_more_water_at_the_outlet_never_carries_more(level: float, stage: float, more: float) -> None:
    line = held(stage)
    low, high = float(line.share(level, stage + more)), float(line.share(level, stage))
    assert 0.0 <= low <= high + 1e-12 <= 1.0 + 1e-12
    assert float(line.share(level + more, stage)) >= high - 1e-12


def test_what_means_nothing_is_refused() -> None:
    with pytest.raises(HydraulicsError, match="finite levels"):
        HeldBack(9.5, 0.5, np.zeros(0), 60.0)


def test_a_low_outfall_leaves_a_pond_as_it_is() -> None:
    inflow = Hydrograph(60.0, np.full(30, 0.005))
    free = route_storage(inflow, TANK, outflow=FREE)
    same = route_storage(inflow, TANK, outflow=held(9.0, 9.3, 9.1).rating(FREE))
    assert same.depths == pytest.approx(free.depths)
    assert same.outflow.volume == pytest.approx(free.outflow.volume)


def test_a_pond_waits_while_its_outlet_stands_as_high_as_its_sill() -> None:
    # for four hours nothing can leave; then the free outlet takes 9 m3 at 2 l/s from the full tank's level
    inflow = Hydrograph(60.0, np.array([0.0, *np.full(30, 0.005)]))
    free = route_storage(inflow, TANK, outflow=FREE)
    rating = held(*[11.0] * 4, 9.0, 9.0).rating(FREE)
    assert isinstance(rating, RatingInTime)
    waits = route_storage(inflow, TANK, outflow=rating)
    volume = 0.005 * 30 * 60.0
    level = 0.05 * volume
    assert waits.depth == pytest.approx(level, rel=1e-6)
    assert free.depth < waits.depth
    # from the fourth hour on the level falls by 2 l/s over 20 m2: down to 0.1 m
    over = 4.0 * HOUR + (level - 0.1) * 20.0 / 0.002
    begins = 60.0 * (1 + 0.1 * 20.0 / 0.005 / 60.0)
    assert waits.time_over(0.1) == pytest.approx(over - begins, abs=180.0)
    assert waits.balance == pytest.approx(0.0, abs=1e-9)
    assert free.time_over(0.1) < waits.time_over(0.1) - 2.5 * HOUR
