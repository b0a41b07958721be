"""A pipe that a person chose: where it fails it is told, and larger ones of its standard are laid."""

from dataclasses import replace
from math import pi
from types import SimpleNamespace

import pytest
from fluids.open_flow import V_Manning
from shapely import LineString

from pipelines.deliverables.words.say import say
from pipelines.inputs.rules import load_rules
from pipelines.inputs.site_sections import Layout
from pipelines.layout.plan import PipeRun
from pipelines.layout.ways.gravity import run_warnings

RUN = PipeRun(
    id="run-1", from_id="basin-1", to_id="outfall-1", kind="gravity", purpose="collector", size="4 in",
    standard="corrugated", pipe_key="4 in corrugated", line=LineString([(0, 0, 1.1), (10, 0, 1.0)]),
    ground=(2.0, 1.5), length=10.0, slope=0.01, invert_up=1.1, invert_down=1.0, peak_flow=0.003, velocity=1.0,
    capacity=0.0058, filled=0.5, least_cover=0.3, deepest=0.9, under_paving=0.0, crossings=(),
)  # fmt: skip


def told(run: PipeRun, pipe: str) -> list[SimpleNamespace]:
    said = run_warnings([run], load_rules(), Layout(pipe=pipe))
    return [SimpleNamespace(code=each.code, words=say(each, "si"), values=dict(each.values)) for each in said]


def test_a_pipe_that_is_too_small_is_told_with_what_it_carries() -> None:
    found = [each for each in told(RUN, "3 in corrugated") if each.code == "chosen_pipe_too_small"]
    inside = 3 * 0.0254
    # Manning's equation by a general library: full, so a quarter of the diameter is the hydraulic radius
    carries = V_Manning(Rh=inside / 4, S=0.01, n=0.018) * pi / 4 * inside**2
    assert found[0].values["carries"] == pytest.approx(carries, rel=1e-6)
    assert carries < RUN.peak_flow
    assert "3 in corrugated" in found[0].words
    assert "laid in 4 in corrugated" in found[0].words


def test_a_pipe_that_does_is_not_told() -> None:
    assert not [each for each in told(replace(RUN, peak_flow=0.001), "3 in corrugated") if "chosen" in each.code]
    assert not [each for each in told(RUN, "4 in corrugated") if "chosen" in each.code]


def test_a_thin_pipe_below_paving_is_told() -> None:
    below = replace(RUN, under_paving=3.0)
    assert [each.code for each in told(below, "4 in corrugated") if "chosen" in each.code] == ["chosen_pipe_thin"]
    assert not [each for each in told(below, "4 in SDR-35") if each.code == "chosen_pipe_thin"]
