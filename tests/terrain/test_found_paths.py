"""Odds of a line of flow: exact where each ground's valley is known."""

import numpy as np
import pytest

from terrain.flow.drainage import drain_ground
from terrain.flow.flow_paths import find_flow_paths
from terrain.flow.found_paths import found_paths
from terrain.lidar.grounds import PossibleGrounds

ROWS, COLUMNS = 40, 41


def valley(at: int) -> np.ndarray:
    """A valley along a column, falling south."""
    row, column = np.mgrid[0:ROWS, 0:COLUMNS]
    return 10.0 - 0.01 * row + 0.05 * np.abs(column - at)


def grounds_with(columns: list[int]) -> PossibleGrounds:
    above = np.array([valley(at) - valley(20) for at in columns], dtype=np.float32)
    return PossibleGrounds(above[:, 5:35, 3:38], 5, 3)


@pytest.mark.parametrize(
    "columns, share",
    [([20] * 4, 1.0), ([20, 20, 20, 8], 0.75), ([21, 19, 8, 30], 0.5), ([23, 17], 0.0)],
    ids=["as drawn", "elsewhere on one", "in the cell beside", "three cells off"],
)
@pytest.mark.parametrize("turned", [0, 1])
def test_a_line_runs_on_the_grounds_whose_valley_lies_there(ground_of, columns, share, turned) -> None:
    drainage = drain_ground(ground_of(np.rot90(valley(20), turned)))
    drawn = find_flow_paths(drainage, min_area=300.0)
    straight = grounds_with(columns)
    above = np.rot90(straight.above, turned, axes=(1, 2))
    grounds = PossibleGrounds(above, *((5, 3) if turned == 0 else (3, 5)))
    (path,) = found_paths(drawn, drainage, grounds)
    assert path.found == share
    assert found_paths(drawn, drainage, None) == drawn
