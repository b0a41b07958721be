"""Downspouts that run into a pipe: one that runs takes their water off, any other is looked at first."""

from typing import Any

import numpy as np
import pytest
import shapely
from shapely import LineString, Point

from pipelines.deliverables.words.say import say
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages

CELL = 0.5
pytestmark = pytest.mark.usefixtures("kept_in_file")
CORNERS = (Point(10.2, 17.8), Point(19.8, 17.8))
"""At the back, where the ground falls to the patio."""
DITCH = Point(2.1, 1.6)
LINES = tuple(LineString([corner, (2.1, corner.y + 6.0), DITCH]) for corner in CORNERS)


@pytest.fixture
def stages(make_lot: Any, made_lots: Any) -> Any:
    made = 0

    def make(spout: dict[str, Any], drain: dict[str, Any] | None = None, more: str = "", **layers: Any) -> LotStages:
        nonlocal made
        made += 1
        spouts = [{"goes_to": "", "condition": "", "geometry": each} | spout for each in CORNERS]
        shapes = made_lots.SMALL_LAYERS | {"downspouts": spouts}
        if drain is not None:
            base = {"kind": "existing drain", "condition": "", "diameter_in": 4.0, "end": ""}
            shapes["utilities"] = [base | drain | {"geometry": line} for line in LINES]
        more = made_lots.SMALL_MORE + more
        site = make_lot(made_lots.small_ground(), shapes | layers, more=more, folder=f"lot-{made}")
        return LotStages(open_lot(site))

    return make


def roof_falls_at(found: LotStages) -> shapely.Geometry:
    """Centres of the cells that roof water comes out at."""
    ground = found.situation.drainage.ground
    cells = np.unique(ground.receiver[ground.roof >= 0])
    columns = ground.grid.shape[1]
    return shapely.multipoints(np.column_stack(ground.grid.centres(cells // columns, cells % columns)))


def at(found: LotStages, place: Point) -> Point:
    west, south = found.situation.grid.bounds[:2]
    return Point(west + place.x, south + place.y)


def codes(said: Any) -> list[str]:
    return [getattr(each, "code", "") for each in said]


def test_a_drain_that_runs_takes_roof_water_off_the_lot(stages: Any) -> None:
    today, led = stages({"goes_to": "drain"}), stages({"goes_to": "drain"}, {"condition": "runs"})
    for found, places in ((today, CORNERS), (led, (DITCH,))):
        ends = roof_falls_at(found)
        wanted = shapely.multipoints([at(found, place) for place in places])
        assert shapely.hausdorff_distance(ends, wanted) < 2.0 * CELL
    assert led.situation.downspouts == ()
    plan = led.planned.plan
    assert "roof_in_drain" in codes(plan.warnings)
    assert "off the lot" in say(next(each for each in plan.warnings if each.code == "roof_in_drain"), "us")
    # a good one is no trouble
    assert "check_existing_drain" not in codes(plan.site_checks)
    # no water is lost, and each corner has half the roof's less
    gathers = []
    for found in (today, led):
        water, grid = found.planned.diagnosis.water, found.situation.grid
        assert water.rain == pytest.approx(water.soaked + water.left + water.stands + water.collected, rel=1e-6)
        ground = today.situation.drainage.ground
        gathers.append(found.situation.drainage.accumulation.ravel()[np.unique(ground.receiver[ground.roof >= 0])])
    less = gathers[0] - gathers[1]
    roof = np.count_nonzero(today.situation.drainage.ground.roof >= 0) * grid.cell_area
    assert less == pytest.approx([roof / 2, roof / 2], rel=0.05)


@pytest.mark.parametrize("state", ["slow", "clogged", "broken", "unknown", ""])
def test_a_poor_drain_is_not_relied_on_and_is_the_first_check(state: str, stages: Any) -> None:
    today, found = stages({"goes_to": "lawn"}), stages({"goes_to": "drain"}, {"condition": state})
    assert shapely.equals(roof_falls_at(found), roof_falls_at(today))
    assert len(found.situation.downspouts) == 2
    check = found.planned.plan.site_checks[0]
    assert check.code == "check_existing_drain"
    words = say(check, "us")
    assert "before anything is built" in words
    assert "never goes into a sanitary sewer" in words


@pytest.mark.parametrize(
    ("drain", "said"),
    [
        ({"condition": "runs", "end": "the sanitary sewer"}, "take the water off it"),
        ({"condition": "runs", "end": "city sewer"}, "take the water off it"),
        ({"condition": "runs", "diameter_in": 2.0}, "it is small"),
    ],
)
def test_a_forbidden_or_small_drain_is_not_relied_on(drain: dict[str, Any], said: str, stages: Any) -> None:
    found = stages({"goes_to": "drain"}, drain)
    assert len(found.situation.downspouts) == 2
    assert said in say(found.planned.plan.site_checks[0], "us")
    # a storm sewer is no sanitary one
    good = stages({"goes_to": "drain"}, {"condition": "runs", "end": "storm sewer"})
    assert good.situation.downspouts == ()


def test_rules_say_how_near_and_how_large(stages: Any) -> None:
    small = {"condition": "runs", "diameter_in": 2.0}
    assert stages({"goes_to": "drain"}, small, '[rules]\ndrain_least_size = "2 in"\n').situation.downspouts == ()
    off = tuple(Point(each.x, each.y + 0.5) for each in CORNERS)
    moved = {"downspouts": [{"goes_to": "drain", "condition": "", "geometry": each} for each in off]}
    good = {"condition": "runs"}
    assert len(stages({}, good, '[rules]\ndrain_reach = "0.1 m"\n', **moved).situation.downspouts) == 2
    assert stages({}, good, **moved).situation.downspouts == ()


def test_a_pipe_to_the_street_counts_only_where_it_runs(stages: Any) -> None:
    unknown, runs = stages({"goes_to": "pipe_to_street"}), stages({"goes_to": "pipe_to_street", "condition": "runs"})
    assert len(unknown.situation.downspouts) == 2
    assert unknown.planned.plan.site_checks[0].code == "check_spout_pipes"
    assert runs.situation.downspouts == ()
    street = at(runs, Point(0.0, 4.0)).y
    assert shapely.bounds(roof_falls_at(runs))[3] < street + CELL
    assert "roof_to_street" in codes(runs.planned.plan.warnings)
    # water in the lawn or a bed stays where it is
    assert len(stages({"goes_to": "bed", "condition": "runs"}).situation.downspouts) == 2
