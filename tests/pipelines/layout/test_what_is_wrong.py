"""From when water is a trouble: what people put up with, exactly at its limits, and what comes first."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import Point, box

from pipelines.deliverables.words.say import say
from pipelines.inputs.rules import load_rules
from pipelines.layout.diagnosis.protected import ProtectedEdge
from pipelines.layout.diagnosis.troubles import (
    BESIDE_HOUSE,
    LAWN,
    SpotPlace,
    StandingTime,
    find_troubles,
    place_of,
    trouble_rules,
)
from terrain.flow.low_spots import LowSpot
from terrain.reason import Reason, reason
from terrain.unit_table import HOUR, INCH

RULES = trouble_rules(load_rules())


def named(name: str) -> Reason:
    return reason("place_named", name=name)


def saw(what: str) -> Reason:
    return reason("water_seen", what=what, date=None)


def low(name: str = "low-1", *, area: float = 20.0, doubtful: bool = False) -> LowSpot:
    levels = np.array([99.8, 100.0])
    return LowSpot(
        id=name, cells=np.arange(4), bottom=0, spill_cell=9, spill_elevation=100.0, bottom_elevation=99.8, depth=0.2,
        area=area, volume=0.1 * area, contained_in=None, enclosed=False, levels=levels,
        areas=np.array([0.0, area]), volumes=np.array([0.0, 0.1 * area]), within_lidar_error=doubtful,
    )


def spot_on(place: str, *, seen: str | None = None, on_parcel: bool = True, **more) -> SpotPlace:
    what = None if seen is None else saw(seen)
    return SpotPlace(low(**more), box(0, 0, 2, 2), place, named(place), what, on_parcel, np.inf)


def standing(place: SpotPlace, depth: float, over: float | None):
    return find_troubles([place], {place.spot.id: StandingTime(depth, over)}, [], [], unit_peak=0.0, rules=RULES)


def edge(name: str, kind: str, *areas: float) -> ProtectedEdge:
    return ProtectedEdge(name, kind, box(0, 0, 4, 4), np.arange(len(areas)), np.array(areas))


def test_the_trades_tolerances_are_those_of_the_rules() -> None:
    # common practice, no source: 2 in for 24 h on a lawn, 0.5 in for 2 h on a patio, none at a sill
    rules = RULES
    assert (rules.lawn.depth, rules.lawn.duration) == pytest.approx((2.0 * INCH, 24.0 * HOUR))
    assert (rules.paving.depth, rules.paving.duration) == pytest.approx((0.5 * INCH, 2.0 * HOUR))
    assert (rules.wall.depth, rules.wall.duration) == (0.0, 0.0)


@pytest.mark.parametrize(("place", "depth", "hours"), [("lawn", 2.0, 24.0), ("paving", 0.5, 2.0)])
def test_exactly_what_is_put_up_with_is_no_trouble(place: str, depth: float, hours: float) -> None:
    deep, long = depth * INCH, hours * HOUR
    where = spot_on(place)
    limit = RULES.at(place)
    assert (limit.depth, limit.duration) == pytest.approx((deep, long))
    assert standing(where, limit.depth, 1e9) == ()
    assert standing(where, limit.depth + 0.01, limit.duration) == ()
    (trouble,) = standing(where, limit.depth + 1e-6, limit.duration + 1.0)
    assert (trouble.kind, trouble.name) == ("standing", named(place))
    assert say(trouble.why, "us").startswith(f"water stands {depth:.1f} in deep on the {place}, above the tolerated")
    # where nobody knows for how long, depth alone decides
    assert standing(where, limit.depth, None) == ()
    assert len(standing(where, limit.depth + 1e-6, None)) == 1


def test_any_water_at_a_wall_that_is_more_than_a_wet_surface_is_a_trouble() -> None:
    assert len(standing(spot_on("wall"), RULES.film + 1e-6, 60.0)) == 1
    assert standing(spot_on("wall"), RULES.film, 1e9) == ()
    assert standing(spot_on("wall"), 0.0, 0.0) == ()
    assert len(standing(spot_on("wall", seen="wet sill"), RULES.film / 2.0, 60.0)) == 1


def test_a_low_that_lidar_cannot_tell_counts_only_where_someone_saw_it() -> None:
    deep = (0.2, 1e9)
    for place in ("lawn", "paving", "wall"):
        assert standing(spot_on(place, doubtful=True), *deep) == ()
    (seen,) = standing(spot_on("lawn", doubtful=True, seen="a pond after rain"), *deep)
    assert say(seen.why, "us").endswith("seen: a pond after rain")
    # what was seen is believed even where the reckoning holds it tolerable
    assert len(standing(spot_on("lawn", seen="wet"), 0.01, 0.0)) == 1


def test_a_low_off_the_lot_is_somebody_elses() -> None:
    assert standing(spot_on("lawn", on_parcel=False), 1.0, 1e9) == ()


@pytest.mark.parametrize(("kind", "limit"), [("paving", RULES.arriving_paving), ("wall", RULES.arriving_wall)])
def test_water_that_runs_at_something_is_a_trouble_above_its_limit(kind: str, limit: float) -> None:
    def arriving(peak: float, complaints=()):
        # 100 m2 behind it, at a peak of so much a square metre
        return find_troubles([], {}, [edge("it", kind, 60.0, 40.0)], complaints, unit_peak=peak / 100.0, rules=RULES)

    assert arriving(limit * (1.0 - 1e-9)) == ()
    (trouble,) = arriving(limit * (1.0 + 1e-9))
    assert (trouble.kind, trouble.name) == ("arriving", named("it"))
    assert "from 100 m2 of ground" in say(trouble.why, "si")
    assert "from 1,076 ft2 of ground" in say(trouble.why, "us")
    near, far = [(Point(6.0, 2.0), saw("runs in"))], [(Point(60.0, 2.0), saw("elsewhere"))]
    assert arriving(0.26 * limit, far) == ()
    assert len(arriving(0.26 * limit, near)) == 1
    assert arriving(0.25 * limit, near) == ()


def test_an_edge_that_no_water_steps_onto_is_dry() -> None:
    assert find_troubles([], {}, [edge("patio", "paving")], [], unit_peak=1.0, rules=RULES) == ()


def test_water_that_runs_at_a_wet_patio_belongs_to_its_trouble() -> None:
    patio, peak = edge("patio", "paving", 100.0), 0.3 * RULES.arriving_paving / 100.0
    wet = SpotPlace(low(), box(0, 0, 2, 2), "paving", named("patio"), None, True, np.inf)
    assert find_troubles([], {}, [patio], [], unit_peak=peak, rules=RULES) == ()
    both = find_troubles([wet], {"low-1": StandingTime(0.1, 1e5)}, [patio], [], unit_peak=peak, rules=RULES)
    assert {trouble.kind for trouble in both} == {"standing", "arriving"}


def test_complaint_first_then_place_then_area_and_depth_last() -> None:
    spots = [
        spot_on("lawn", name="deep", area=11.0),
        spot_on("lawn", name="wide", area=50.0),
        spot_on("paving", name="patio", area=5.0),
        spot_on("wall", name="wall", area=2.0),
        spot_on("lawn", name="seen", area=3.0, seen="a pond"),
    ]
    # each wholly on the lot, so that the place is as wide as the low spot
    spots = [replace(spot, heights=np.zeros(4), cell_area=spot.spot.area / 4.0) for spot in spots]
    depths = {"deep": 0.6, "wide": 0.1, "patio": 0.05, "wall": 0.02, "seen": 0.06}
    troubles = find_troubles(
        spots, {name: StandingTime(depth, 1e6) for name, depth in depths.items()}, [], [], unit_peak=0.0, rules=RULES
    )
    assert [each.spot.spot.id for each in troubles if each.spot] == ["seen", "wall", "patio", "wide", "deep"]


def test_a_low_is_the_pavings_where_it_touches_it_else_the_walls_near_a_house() -> None:
    patio, house = box(10, 0, 14, 4), box(0, 10, 4, 14)
    edges = [ProtectedEdge("patio", "paving", patio, np.empty(0, dtype=np.int64), np.empty(0))]

    def told(shape: shapely.Geometry, complaints=()) -> SpotPlace:
        return place_of(
            low(), shape, parcel=box(0, 0, 20, 20), edges=edges, houses=[house], complaints=complaints, rules=RULES
        )

    assert told(box(13, 3, 16, 6)).place == "paving"
    assert told(box(13, 3, 16, 6)).name == named("patio")
    assert (told(box(5.5, 10, 7, 12)).place, told(box(5.5, 10, 7, 12)).name) == ("wall", BESIDE_HOUSE)
    assert (told(box(5.5 + 1e-6, 10, 7, 12)).place, told(box(6, 10, 7, 12)).name) == ("lawn", LAWN)
    assert told(box(6, 10, 7, 12)).sill_distance == 2.0
    assert not told(box(30, 30, 32, 32)).on_parcel
    near, far = Point(14.0, 10.0), Point(14.1, 10.0)
    assert told(box(7, 9, 9, 11), [(near, saw("wet"))]).complaint == saw("wet")
    assert told(box(7, 9, 9, 11), [(far, saw("wet"))]).complaint is None


def test_little_water_that_runs_on_counts_only_beside_a_pond_that_counts() -> None:
    patio = edge("paving", "paving", 100.0)
    peak = RULES.arriving_paving / 2.0
    water = {"low-1": StandingTime(0.03, 1e9)}
    for doubtful in (True, False):
        pond = spot_on("paving", doubtful=doubtful)
        found = find_troubles([pond], water, [patio], [], unit_peak=peak / 100.0, rules=RULES)
        assert [each.kind for each in found] == ([] if doubtful else ["arriving", "standing"])
        # enough of it is a trouble of its own
        found = find_troubles([pond], water, [patio], [], unit_peak=peak / 25.0, rules=RULES)
        assert "arriving" in [each.kind for each in found]


@pytest.mark.parametrize(
    ("time", "told"),
    [(26.4 * HOUR, "above the tolerated depth for 26 h"), (60.0 * HOUR, "above the tolerated depth for 2.5 d"),
     (np.inf, "above the tolerated depth longer than the storm was followed")],
)
def test_how_long_it_stands_is_told_in_hours_then_days(time: float, told: str) -> None:
    (trouble,) = standing(spot_on("paving"), 3.0 * INCH, time)
    assert say(trouble.why, "us") == f"water stands 3.0 in deep on the paving, {told}"
