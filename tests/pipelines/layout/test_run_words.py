"""What a run crosses."""

import numpy as np

from pipelines.deliverables.words.say import say
from pipelines.layout.routing.spec import RoutedLine
from pipelines.layout.ways.lines import crossings_of

KINDS = {"utility-1": "gas", "utility-2": "water", "utility-3": "gas"}


def test_each_kind_is_told_once_and_how_often() -> None:
    line = RoutedLine(
        id="run-1", from_id="basin-1", to_id="outfall-1", serves=("basin-1",), pipe=0,
        xy=np.array([[0.0, 0.0], [5.0, 0.0]]), inverts=np.array([99.0, 98.9]), ground=np.array([100.0, 100.0]),
        cost=10.0, flow=1e-3, crossings=("utility-1", "utility-2", "utility-3", "drive"), permit=True,
    )
    assert [say(each, "us") for each in crossings_of(line, KINDS)] == [
        "gas line 2 times: dig by hand", "water line: dig by hand", "drive: dig by hand",
        "right of way: a permit is needed",
    ]
