"""Lines of one plan that cross are named, with the room between them."""

import pytest
from shapely import LineString

from pipelines.deliverables.words.say import say
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.plan import PipeRun
from pipelines.layout.ways.own_crossings import own_crossings

PIPE = find_pipe("4 in SDR-35")
CLEAR = 0.15


def run(name: str, line: list[tuple[float, float, float]]) -> PipeRun:
    shape = LineString(line)
    return PipeRun(
        id=name, from_id=f"from {name}", to_id="outfall-1", kind="gravity", purpose="collector", size=PIPE.size,
        standard=PIPE.standard, pipe_key=PIPE.key, line=shape, ground=(101.0,) * len(line), length=shape.length,
        slope=0.01, invert_up=line[0][2], invert_down=line[-1][2], peak_flow=0.001, velocity=0.6, capacity=0.005,
        filled=0.3, least_cover=0.3, deepest=1.0, under_paving=0.0, crossings=(),
    )  # fmt: skip


@pytest.mark.parametrize(("apart", "words"), [
    (0.10 + PIPE.outside, "run-2 crosses run-1 with 3.9 in between them where 6 in is needed"),
    (0.05, "with 0.0 in between them"),
    (0.31 + PIPE.outside, "run-2 passes 12 in over run-1: lay run-1 first"),
])  # fmt: skip
def test_the_room_between_two_lines_is_told_where_they_cross(apart: float, words: str) -> None:
    # both fall by 10 cm on 10 m: 99.95 and `apart` above it where they cross in their middles
    lower = run("run-1", [(0.0, 0.0, 100.0), (10.0, 0.0, 99.9)])
    upper = run("run-2", [(5.0, -5.0, 100.0 + apart), (5.0, 5.0, 99.9 + apart)])
    (said,) = own_crossings([lower, upper], CLEAR)
    assert words in say(said, "us")
    assert own_crossings([upper, lower], CLEAR) == (said,)


def test_lines_that_join_do_not_cross() -> None:
    trunk = run("run-1", [(0.0, 0.0, 100.0), (10.0, 0.0, 99.9)])
    branch = run("run-2", [(10.0, 8.0, 100.2), (10.0, 0.0, 99.9)])
    aside = run("run-3", [(0.0, 3.0, 100.0), (9.0, 3.0, 99.9)])
    assert own_crossings([trunk, branch, aside], CLEAR) == ()
