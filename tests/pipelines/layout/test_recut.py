"""The re-cut digs the least, keeps every limit, and drains."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.inputs.rules import RuleOverride, load_rules
from pipelines.layout.swale.remedies.recut import LevelLimit, NoRecut, plan_recut
from pipelines.layout.swale.remedies.recut_section import recut_section
from terrain.errors import GeometryError
from terrain.reason import reason
from terrain.swale.sections import SwaleSection

END = reason("swale_limit_lower_end")
UPPER = reason("swale_limit_upper_invert")
GAS = reason("swale_limit_utility", kind="gas", depth_known=True)


def _rules(**likely):
    """The rules with some of the swale's given. [SI]"""
    given = {"max_depth": 0.9, "max_top_width": 6.0, "fill": 0.1} | likely
    overrides = [RuleOverride(f"swale_{key}", None, value, None) for key, value in given.items()]
    return load_rules().with_overrides(tuple(overrides))


def _recut_section(section, bottom_width=0.3, side_slope=3.0):
    return recut_section(section, bottom_width=bottom_width, side_slope=side_slope)


def _section(station, bottom, *, width=3.0, depth=0.3, flat=0.5):
    offsets = np.linspace(-width / 2, width / 2, 61)
    rise = np.clip((np.abs(offsets) - flat / 2) / (width / 2 - flat / 2), 0.0, 1.0) * depth
    level = bottom + depth
    return SwaleSection(station, station, 0.0, (0.0, -1.0), offsets, bottom + rise, level, level, "shelf", "shelf")


def _prepared(bottoms, spacing=5.0, **shape):
    return [_recut_section(_section(spacing * index, bottom, **shape)) for index, bottom in enumerate(bottoms)]


def test_area_dug_is_quadratic_in_depth_on_level_ground():
    section = recut_section(_section(0.0, 10.0, width=8.0, depth=1e-9, flat=7.9), bottom_width=0.4, side_slope=2.0)
    for depth in (0.1, 0.3, 0.6):
        assert section.dug(10.0 - depth) == pytest.approx(0.4 * depth + 2.0 * depth**2, rel=0.02)
        assert section.top_width(10.0 - depth) == pytest.approx(0.4 + 4.0 * depth, abs=0.11)
    assert section.dug(10.01) == 0.0


@given(st.floats(9.0, 10.2), st.floats(9.0, 10.2))
def test_tangents_lie_below_the_cost(at, elsewhere):
    section = _recut_section(_section(0.0, 10.0))
    value, gradient = section.tangent(at, 0.02)
    assert value + gradient * at == pytest.approx(section.cost(at, 0.02), abs=1e-9)
    assert value + gradient * elsewhere <= section.cost(elsewhere, 0.02) + 1e-9


@pytest.mark.parametrize(
    "bottoms",
    [
        (10.00, 9.97, 10.03, 9.90),
        (10.00, 10.05, 9.98, 9.93),
        (10.00, 9.86, 9.95, 9.85),
        (9.90, 9.95, 10.00, 9.80),
    ],
)
def test_least_digging_against_brute_force(bottoms):
    sections = _prepared(bottoms)
    limits = [LevelLimit(15.0, bottoms[-1] - 0.02, bottoms[-1] - 0.02, END)]
    rules = _rules(slope=0.004, fill=0.05)
    found = plan_recut(sections, limits, rules)
    assert found.as_asked
    lengths = np.array([2.5, 5.0, 5.0, 2.5])

    def cost(levels):
        return sum(
            length * section.cost(level, 0.02)
            for length, section, level in zip(lengths, sections, levels, strict=True)
        )

    least = np.inf
    choices = [np.arange(bottom + 0.05, bottom - 0.25, -0.01) for bottom in bottoms[:3]]
    for levels in itertools.product(*choices):
        full = (*levels, bottoms[-1] - 0.02)
        if all(a - b >= 0.004 * 5.0 - 1e-9 for a, b in itertools.pairwise(full)):
            least = min(least, cost(full))
    assert cost(found.bottom) <= least + 1e-6
    assert cost(found.bottom) >= 0.9 * least - 0.02
    assert found.gap <= 1e-5


@given(st.lists(st.floats(-0.15, 0.15), min_size=4, max_size=25), st.floats(0.0, 0.02))
def test_every_limit_is_kept(bumps, slope):
    bottoms = [10.0 - 0.05 * index + bump for index, bump in enumerate(bumps)]
    sections = _prepared(bottoms)
    utility = LevelLimit(10.0, bottoms[2] - 0.4, np.inf, GAS)
    rules = _rules(slope=slope, max_depth=0.7, max_top_width=4.0, fill=0.05)
    found = plan_recut(sections, [utility, LevelLimit(5.0 * len(bumps), -np.inf, np.inf, END)], rules)
    if isinstance(found, NoRecut):
        assert found.rise > 0.0
        return
    falls = -np.diff(found.bottom) / np.diff(found.station)
    assert (falls >= found.slope - 1e-6).all()
    assert found.bottom[2] >= bottoms[2] - 0.4 - 1e-9
    assert (found.bottom <= np.array(bottoms) + 0.05 + 1e-9).all()
    for section, level in zip(sections, found.bottom, strict=True):
        assert section.bank - level <= 0.7 + 1e-9
        assert section.top_width(level) <= 4.0 + 1e-9
    assert found.gap < 1e-3
    assert (np.diff(found.volume) >= -1e-12).all()


def test_a_swale_with_the_slope_it_needs_is_hardly_touched():
    found = plan_recut(_prepared([10.0 - 0.06 * index for index in range(10)], flat=0.6), [], _rules(slope=0.01))
    assert found.total < 0.02
    assert found.as_asked


def test_volume_is_by_average_end_areas():
    found = plan_recut(_prepared([10.0, 10.1, 9.9, 9.8]), [], _rules(slope=0.01, fill=0.0))
    pieces = (found.area[1:] + found.area[:-1]) / 2.0 * 5.0
    assert found.total == pytest.approx(pieces.sum())
    assert found.total > 0.0


def test_an_invert_that_leaves_too_little_slope_is_named_and_the_steepest_is_given():
    sections = _prepared([10.0, 9.98, 9.99, 9.97])
    limits = [
        LevelLimit(0.0, 10.0, 10.0, UPPER),
        LevelLimit(15.0, 9.97, 9.97, END),
    ]
    found = plan_recut(sections, limits, _rules(slope=0.01, fill=0.05))
    assert not found.as_asked
    assert found.slope == pytest.approx(0.03 / 15.0)
    assert found.binding == ((UPPER, 0.0), (END, 15.0))


def test_not_even_level():
    limits = [LevelLimit(0.0, 9.5, 9.5, UPPER), LevelLimit(15.0, 9.97, 9.97, END)]
    found = plan_recut(_prepared([10.0, 9.98, 9.99, 9.97]), limits, _rules())
    assert found == NoRecut((UPPER, 0.0), (END, 15.0), pytest.approx(0.47))


def test_the_section_afterwards_holds_the_new_bottom():
    section = _recut_section(_section(0.0, 10.0))
    offsets, ground = section.after(9.8)
    assert ground.min() == pytest.approx(9.8)
    assert (ground <= section.elevations + 1e-12).all()
    _, raised = section.after(10.05)
    assert raised[np.abs(offsets) < 0.15].min() == pytest.approx(10.05)


def test_one_station_is_no_stretch():
    with pytest.raises(GeometryError, match="two stations or more"):
        plan_recut(_prepared([10.0]), [], _rules())
