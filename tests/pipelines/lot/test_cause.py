"""Is it surface water? Made lots whose answer is known, told of with and without where and when it is wet.

What belongs to an engineer or a septic contractor, and that a test hole tells ground water, is common practice: no
source.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from shapely import Point, box

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.words.say import say_all
from pipelines.inputs.errors import LayerError
from pipelines.layout import planner
from pipelines.layout.diagnosis.cause import Cause
from pipelines.lot import screen_lot

ROWS, COLUMNS, CELL = 120, 100, 0.5
MORE = '[rain]\ndepth = "75 mm"\nduration = "60 min"\n[house]\nfoundation = "basement"\n'
HOUSE = box(18.0, 20.0, 32.0, 28.0)
POND = Point(25.0, 40.0)
PATIO = {"geometry": box(23.0, 38.0, 27.0, 42.0), "kind": "patio", "protect": True}

Screened = Callable[..., tuple[Findings, Cause]]
pytestmark = pytest.mark.usefixtures("kept_in_file")


def ground(*, cut: float = 0.0, pond: bool = False) -> np.ndarray:
    """A slope of 2 % to a swale in the south, with a low of 20 cm in the lawn where one is asked for.

    Above the house it falls to the north, so that nothing runs at its walls; or a bank `cut` high stands there.
    """
    row, column = np.mgrid[0:ROWS, 0:COLUMNS]
    x, y = (column + 0.5) * CELL, (ROWS - row - 0.5) * CELL
    made = 100.0 + 0.02 * (y - 8.0)
    made += cut * np.clip((y - 30.0) / 4.0, 0.0, 1.0) if cut else -0.04 * np.clip(y - 28.5, 0.0, None)
    made = np.where(y < 8.0, np.maximum(100.0 - 0.5 * (8.0 - y), 99.0), made)
    made = np.where(y < 4.0, 99.0 + 0.25 * (4.0 - y), made)
    away = np.hypot(x - POND.x, y - POND.y)
    low = np.minimum(made, made[away < 3.0].min() - 0.20 * (1.0 - (away / 3.0) ** 2))
    return np.where((away < 3.0) & pond, low, made)


def complaint(what: str, point: Point, **told: str) -> dict[str, Any]:
    return {"what": what, "geometry": point, "where": None, "season": None} | told


@pytest.fixture
def screened(make_lot, monkeypatch) -> Screened:
    """Screens a made lot of complaints, and hears what the planner was told of their cause."""

    def run(heights: np.ndarray, *complaints: dict[str, Any], more: str = "", rules: str = "", **layers: Any):
        shapes = {
            "parcel": [{"geometry": box(8.0, 10.0, 42.0, 50.0)}],
            "roofs": [{"geometry": HOUSE}],
            "right_of_way": [{"geometry": box(0.0, 0.0, 50.0, 10.0)}],
            "outfalls": [{"geometry": Point(36.25, 5.25), "kind": "swale"}],
        } | layers
        if complaints:
            shapes["complaints"] = list(complaints)
        heard: list[Cause] = []

        def listen(*given: Any) -> Cause:
            heard.append(cause_of(*given))
            return heard[-1]

        monkeypatch.setattr(planner, "cause_of", listen)
        # a bank is steeper than ground that is referred out for its slope alone
        rules = f'[rules]\nrefer_slope_share = "60 %"\n{rules}'
        findings = screen_lot(make_lot(heights, shapes, more=MORE + more + rules))
        return findings, heard[-1]

    cause_of = planner.cause_of
    return run


def codes(told) -> list[str]:
    return [each.code for each in told]


IN_HOUSE = Point(25.0, 24.0)
WALK_OUT = {"where": "basement", "season": "days_after"}


def test_hillside_water_in_a_walk_out_basement_is_referred_out_with_a_test_hole(screened: Screened) -> None:
    findings, cause = screened(ground(cut=2.5), complaint("the floor is wet", IN_HOUSE, **WALK_OUT))
    plan = findings.plan
    assert (cause.state, cause.why.code) == ("no", "refer_hillside_water")
    assert (plan.parts.cause.state, plan.parts.verdict) == ("no", "no")
    # the ground above the house: the bank, and the slope's 2 % over no more than the house and 7.5 m around it
    assert 2.5 < cause.why["rise"] < 2.5 + 0.02 * 16.0
    assert codes(plan.refer_out) == ["refer_hillside_water"]
    built = (*plan.pipe_runs, *plan.catch_basins, *plan.french_drains, *plan.channel_drains, *plan.sumps)
    assert (built, plan.take_off) == ((), ())
    assert "check_hole_for_ground_water" in codes(plan.site_checks)
    # a test hole is dug too: the call before it goes with it
    assert "before_you_dig" in [each.id for each in findings.cautions]
    (told,) = say_all(plan.refer_out, "us")
    assert "test hole" in told
    assert "Refer it to an engineer; nothing is proposed here" in told


@pytest.mark.parametrize("season", ["always", "thaw"])
def test_so_is_a_basement_below_a_bank_that_is_wet_always_or_in_thaw(screened: Screened, season: str) -> None:
    _, cause = screened(ground(cut=2.5), complaint("wet floor", IN_HOUSE, where="basement", season=season))
    assert cause.state == "no"


@pytest.mark.parametrize(
    ("what", "told", "state"),
    [
        ("water in the basement", {}, "cannot_tell"),
        ("the floor is wet", {"where": "basement"}, "cannot_tell"),
        # the bank's water runs at the wall in rain, which is when it is wet
        ("the floor is wet", {"where": "basement", "season": "in_rain"}, "sure"),
    ],
)
def test_without_where_and_when_no_bank_stops_a_lot(screened: Screened, what: str, told, state: str) -> None:
    findings, cause = screened(ground(cut=2.5), complaint(what, IN_HOUSE, **told))
    assert (cause.state, findings.plan.refer_out) == (state, ())
    if state == "cannot_tell":
        assert cause.why.code == "may_be_hillside_water"
        assert "surface improvements may not cure it" in " ".join(say_all(findings.plan.warnings, "us"))


def test_a_basement_wet_days_after_on_a_plain_lot_cannot_be_told(screened: Screened) -> None:
    findings, cause = screened(ground(), complaint("wet floor", IN_HOUSE, **WALK_OUT))
    assert (cause.state, cause.why.code) == ("cannot_tell", "surface_may_not_cure")
    assert not findings.plan.refer_out
    assert "check_hole_for_ground_water" in codes(findings.plan.site_checks)
    assert "surface improvements may not cure it" in " ".join(say_all(findings.plan.warnings, "us"))


def test_a_crawl_space_wet_days_after_cannot_be_told(screened: Screened) -> None:
    _, cause = screened(ground(pond=True), complaint("damp", IN_HOUSE, where="crawl_space", season="days_after"))
    assert (cause.state, cause.why.code, cause.why["inside"]) == ("cannot_tell", "surface_may_not_cure", True)


@pytest.mark.parametrize("where", ["basement", "crawl_space"])
def test_water_in_a_house_that_never_goes_is_referred_out(screened: Screened, where: str) -> None:
    findings, cause = screened(ground(), complaint("wet", IN_HOUSE, where=where, season="always"))
    assert (cause.state, codes(findings.plan.refer_out)) == ("no", ["refer_seepage"])


def test_a_patio_wet_in_rain_with_a_low_there_is_surely_surface_water(screened: Screened) -> None:
    said = complaint("patio floods", POND, where="patio", season="in_rain")
    findings, cause = screened(ground(pond=True), said, hardscape=[PATIO])
    assert (cause.state, cause.doubts) == ("sure", ())
    assert cause.why.code == "cause_is_rain"
    assert findings.plan.parts.cause.state == "sure"
    assert findings.plan.catch_basins or findings.plan.french_drains or findings.plan.channel_drains
    assert "check_hole_for_ground_water" not in codes(findings.plan.site_checks)


SOIL = '[soil]\ngroup = "{}"\n'


@pytest.mark.parametrize(
    ("season", "group", "pond", "state", "why"),
    [
        ("always", "D", True, "cannot_tell", "never_dries_on_clay"),
        ("always", "C/D", True, "cannot_tell", "never_dries_on_clay"),
        ("always", "B", False, "cannot_tell", "surface_may_not_cure"),
        ("days_after", "B", True, "sure", "cause_is_rain"),
        ("days_after", "D", True, "sure", "cause_is_rain"),
        ("days_after", "D", False, "cannot_tell", "surface_may_not_cure"),
        ("thaw", "D", True, "sure", "cause_is_rain"),
        ("in_rain", "D", False, "sure", "rain_explains_it"),
    ],
)
def test_a_spot_in_the_lawn(screened: Screened, season: str, group: str, pond: bool, state: str, why: str) -> None:
    said = complaint("wet", POND, where="lawn", season=season)
    findings, cause = screened(ground(pond=pond), said, more=SOIL.format(group))
    assert (cause.state, cause.why.code) == (state, why)
    assert not findings.plan.refer_out


def test_words_alone_are_read_as_before_and_where_and_when_stand_before_them(screened: Screened) -> None:
    words = complaint("a spot that never dries", POND)
    findings, cause = screened(ground(pond=True), words, more=SOIL.format("D"))
    assert (cause.state, cause.why.code) == ("cannot_tell", "never_dries_on_clay")
    assert "never_dries_on_clay" in codes(findings.plan.warnings)
    _, cause = screened(ground(pond=True), complaint("wet crawl space", IN_HOUSE))
    assert (cause.state, cause.why.code) == ("cannot_tell", "may_be_ground_water")
    _, cause = screened(ground(pond=True), complaint("seeps", POND, where="lawn", season="days_after"))
    assert cause.state == "sure"
    _, cause = screened(ground(pond=True), complaint("water runs from the basement door", POND, where="lawn"))
    assert cause.state == "sure"


@pytest.mark.parametrize(("what", "state"), [("gutter runs over", "sure"), ("a wet spot", "cannot_tell")])
def test_where_no_water_stands_words_of_rain_explain_what_was_seen(screened: Screened, what: str, state: str) -> None:
    _, cause = screened(ground(), complaint(what, POND))
    assert cause.state == state


def test_neither_trouble_nor_complaint_needs_no_cause(screened: Screened) -> None:
    assert screened(ground())[1].state == "not_needed"
    _, cause = screened(ground(pond=True), hardscape=[PATIO])
    assert (cause.state, cause.why.code) == ("sure", "cause_is_rain")


def test_each_complaint_must_be_explained(screened: Screened) -> None:
    floods = complaint("patio floods", POND, where="patio", season="in_rain")
    damp = complaint("damp", IN_HOUSE, where="crawl_space", season="days_after")
    _, cause = screened(ground(pond=True), floods, damp, hardscape=[PATIO])
    assert (cause.state, [each["seen"]["what"] for each in cause.doubts]) == ("cannot_tell", ["damp"])


def test_what_is_seen_on_another_lot_is_not_this_one_s(screened: Screened) -> None:
    _, cause = screened(ground(cut=2.5), complaint("wet floor", Point(48.9, 40.0), **WALK_OUT))
    assert (cause.state, cause.why.code) == ("sure", "cause_is_rain")


def test_cracks_and_septic_water_are_referred_out(screened: Screened) -> None:
    cracked = complaint("a crack, and water through it", Point(17.5, 24.0), where="wall")
    assert codes(screened(ground(), cracked)[0].plan.refer_out) == ["refer_cracks"]
    field = [{"geometry": box(34.0, 30.0, 40.0, 36.0), "kind": "septic field", "setback_m": 3.0, "crossing": "never"}]
    soggy = complaint("soggy", Point(37.0, 33.0), where="lawn", season="always")
    assert codes(screened(ground(), soggy, keep_out=field)[0].plan.refer_out) == ["refer_septic"]
    in_rain = soggy | {"season": "in_rain"}
    assert not screened(ground(), in_rain, keep_out=field)[0].plan.refer_out


@pytest.mark.parametrize("rule", ['refer_hillside_rise = "3 m"', 'refer_hillside_reach = "1.6 m"'])
def test_what_counts_as_a_bank_is_a_rule(screened: Screened, rule: str) -> None:
    assert screened(ground(cut=2.5), complaint("wet", IN_HOUSE, **WALK_OUT), rules=rule + "\n")[1].state != "no"


@pytest.mark.parametrize(
    ("told", "message"),
    [
        ({"where": "cellar"}, 'feature 1, where: "cellar" is not known; it may be basement or crawl_space or wall or'),
        ({"season": "summer"}, 'season: "summer" is not known; it may be in_rain or days_after or always or thaw'),
    ],
)
def test_what_is_neither_place_nor_season_is_refused_by_its_feature(screened: Screened, told, message: str) -> None:
    with pytest.raises(LayerError, match=message):
        screened(ground(), complaint("wet", POND, **told))


def test_no_answer_is_unknown(screened: Screened) -> None:
    assert screened(ground(pond=True), complaint("wet", POND, where="", season=None))[1].state == "sure"
