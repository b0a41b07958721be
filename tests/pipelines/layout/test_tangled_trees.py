"""Lines of one tree that cross, touch or lie in one another are told, and those that only meet at an end are not."""

import numpy as np
import pytest

from pipelines.layout.routing.kernels.moving import tangles
from pipelines.layout.routing.tree_shape import filled_up

TRUNK = [(0.0, 0.0), (4.0, 0.0), (8.0, 2.0)]
BRANCHES = {
    "crosses": ([(2.0, 1.0), (3.0, -1.0), (8.0, 2.0)], True),
    "bends on it": ([(2.0, 1.0), (3.0, 0.0), (8.0, 2.0)], True),
    "by one of its bends": ([(4.0, 2.0), (4.0, -2.0), (8.0, 2.0)], True),
    "lies in it before the junction": ([(6.0, 3.0), (7.0, 1.5), (8.0, 2.0)], True),
    "comes to the junction": ([(6.0, 3.0), (8.0, 2.0)], False),
    "comes to the junction beside it": ([(4.0, 1.0), (8.0, 2.0)], False),
    "apart": ([(0.0, 5.0), (8.0, 5.0)], False),
}


@pytest.mark.parametrize("name", BRANCHES)
@pytest.mark.parametrize("turned", [False, True])
def test_tangled_lines_are_told(name: str, turned: bool) -> None:
    branch, tangled = BRANCHES[name]
    shapes = [np.array(TRUNK), np.array(branch), np.array([(8.0, 2.0), (12.0, 2.0)])]
    if turned:
        shapes = [shape[:, ::-1].copy() for shape in (shapes[1], shapes[0], shapes[2])]
    assert (tangles(filled_up(shapes)) > 0) == tangled
