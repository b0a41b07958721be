"""What lines are laid by, in what order it is tried, and how sure a fall is."""

from types import SimpleNamespace

import numpy as np
import pytest
from shapely import Point

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.inputs.rules import load_rules
from pipelines.inputs.site_sections import Layout
from pipelines.inputs.tables.prices import default_prices
from pipelines.layout.ways.fall import error_of_fall, verdict_as_laid, verdict_of
from pipelines.layout.ways.outfall_sites import OutfallSite
from pipelines.layout.ways.settings import outfall_names, route_spec, settings_to_try
from terrain.reason import reason

INCH, FOOT = 0.0254, 0.3048
RULES = load_rules()
SHOT_ERROR, SIGMAS = RULES["shot_error"].likely, RULES["verdict_sigmas"].likely


def ground(layout: Layout | None = None, *, rmse: float = 0.1, shots: tuple[Point, ...] = ()) -> SimpleNamespace:
    """As much of a lot as these functions look at."""
    return SimpleNamespace(
        situation=SimpleNamespace(rules=RULES, rmse=rmse, shots=shots), prices=default_prices(),
        layout=layout or Layout(),
    )


def test_the_trades_target_is_tried_first_and_its_floors_last() -> None:
    tried = settings_to_try(RULES, Layout())
    assert [(each.slope, each.cover) for each in tried] == [
        pytest.approx(pair)
        for pair in ((0.01, 12 * INCH), (0.01, 6 * INCH), (0.005, 12 * INCH), (0.005, 6 * INCH))
    ]
    flat, thin = ("laid_at_floor", 0.005), ("covered_thinly", 6 * INCH)
    assert [[(note.code, note.values[0][1]) for note in each.notes] for each in tried] == [
        [], [thin], [flat], [flat, thin]
    ]


def test_what_the_site_file_fixes_is_kept_in_all_that_is_tried() -> None:
    (only,) = settings_to_try(RULES, Layout(slope="0.8 %", cover="9 in"))
    assert (only.slope, only.cover) == pytest.approx((0.008, 9 * INCH))
    assert {each.slope for each in settings_to_try(RULES, Layout(slope="0.8 %"))} == {0.008}
    assert {each.cover for each in settings_to_try(RULES, Layout(cover="9 in"))} == {9 * INCH}


@pytest.mark.parametrize("layout", [Layout(), Layout(slope="0.8 %"), Layout(pipe="6 in SDR-35")])
def test_no_pipe_is_laid_flatter_than_its_floor_or_than_what_is_fixed(layout: Layout) -> None:
    floors = {True: 0.005, False: 0.003}
    for settings in settings_to_try(RULES, layout):
        spec, pipes = route_spec(ground(layout), settings)
        assert len(spec.pipes) == len(pipes)
        for routed, pipe in zip(spec.pipes, pipes, strict=True):
            small = pipe.nominal < 0.14
            assert routed.min_slope >= floors[small] - 1e-12
            assert routed.key == pipe.key
            assert not layout.slope or routed.min_slope == layout.slope
            assert not layout.pipe or pipe.inside >= find_pipe(layout.pipe).inside
            if small:
                assert routed.min_slope >= settings.slope
        # by price of what it carries: steeper carries more
        by_key: dict[str, list[float]] = {}
        for routed in spec.pipes:
            by_key.setdefault(routed.key, []).append(routed.capacity)
        assert all(capacities == sorted(capacities) for capacities in by_key.values())


def test_deeper_digging_costs_more_a_foot_below_three_feet() -> None:
    spec, _ = route_spec(ground(), settings_to_try(RULES, Layout())[0])
    metre = np.diff(spec.trench_costs) / np.diff(spec.trench_depths)
    assert (np.diff(metre) >= -1e-9).all()
    # 10 in wide and 1 m deep by hand at 12 ft3/h and 65 an hour, and the last 10 cm twice over
    cost = np.interp(1.0, spec.trench_depths, spec.trench_costs)
    assert cost == pytest.approx(10 * INCH * (1.0 + 0.1) / FOOT**3 / 12.0 * 65.0, rel=1e-6)


@pytest.mark.parametrize(
    ("spare", "verdict"),
    [(0.20, "sure"), (0.1281, "sure"), (0.128, "cannot_tell"), (0.0, "cannot_tell"), (-0.128, "cannot_tell"),
     (-0.1281, "no")],
)
def test_a_fall_must_stand_clear_of_its_error(spare: float, verdict: str) -> None:
    # 1.28 standard errors leave one in ten wrong
    assert verdict_of(spare, 0.1, SIGMAS) == verdict


@pytest.mark.parametrize(
    ("spare", "margin", "verdict"),
    [
        (0.20, 0.20, "sure"),
        (0.05, 0.30, "cannot_tell"),
        (-0.05, 0.20, "cannot_tell"),
        # the target is clearly missed, and the floors that it is laid by clearly hold
        (-0.20, 0.20, "sure"),
        (-0.20, 0.05, "cannot_tell"),
        (-0.20, -0.05, "cannot_tell"),
    ],
)
def test_a_line_that_is_laid_is_never_a_plain_no(spare: float, margin: float, verdict: str) -> None:
    assert verdict_as_laid(spare, margin, 0.1, SIGMAS) == verdict


def test_shots_at_both_ends_settle_what_lidar_leaves_open() -> None:
    upper, lower = Point(0.0, 0.0), Point(30.0, 0.0)
    lidar = error_of_fall(upper, lower, ground())
    # 35 % of the variance is a bias that a fall does not feel; the rest has forgotten itself over 30 m
    assert lidar == pytest.approx(0.1 * np.sqrt(2.0 * 0.65 * (1.0 - np.exp(-3.0))))
    both = ground(shots=(Point(0.0, 0.0, 99.0), Point(30.0, 0.0, 98.0)))
    assert error_of_fall(upper, lower, both) == SHOT_ERROR
    near = ground(shots=(Point(1.0, 0.0, 99.0), Point(30.0, 0.0, 98.0)))
    assert SHOT_ERROR < error_of_fall(upper, lower, near) < lidar
    one = ground(shots=(Point(0.0, 0.0, 99.0),))
    assert error_of_fall(upper, lower, one) == pytest.approx(lidar)


def test_places_of_one_outfall_are_told_apart() -> None:
    def site(name: str) -> OutfallSite:
        return OutfallSite(name, "swale", Point(0, 0), 99.0, 99.15, True, reason("confirm_daylight"))

    places = {"a#0": site("outfall-1"), "a#1": site("outfall-1"), "b#2": site("outfall-2")}
    assert outfall_names(places) == {"a#0": "outfall-1-1", "a#1": "outfall-1-2", "b#2": "outfall-2"}
