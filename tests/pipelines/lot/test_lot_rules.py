"""Rules that decide what may be proposed at all: foundations, stops, missing roofs and outfalls, no lawful way."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import Point, box

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.words.say import say, say_all
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.lot import screen_lot
from terrain.reason import Reason
from tests.quick_share import one_in

ROWS, COLUMNS, CELL = 120, 100, 0.5
EAST, NORTH = 500_000.0, 4_400_000.0
RAIN = '[rain]\ndepth = "75 mm"\nduration = "60 min"\n'
FOUR_FEET = 1.2192
HOUSE = box(18.0, 20.0, 32.0, 28.0)

Screen = Callable[..., Findings]
pytestmark = pytest.mark.usefixtures("kept_in_file")


def places() -> tuple[np.ndarray, np.ndarray]:
    """Easting and northing of the cells from the lower left corner."""
    row, column = np.mgrid[0:ROWS, 0:COLUMNS]
    return (column + 0.5) * CELL, (ROWS - row - 0.5) * CELL


def slope_to_swale(slope: float = 0.03, bottom: float = 99.0) -> np.ndarray:
    """A plane that falls south the whole way, to a swale 1 m deep."""
    _, y = places()
    ground = 100.0 + slope * (y - 8.0)
    ground = np.where(y < 8.0, np.maximum(100.0 - 0.5 * (100.0 - bottom) * (8.0 - y), bottom), ground)
    return np.where(y < 4.0, bottom + 0.25 * (4.0 - y), ground)


def layers(**more: list[dict[str, Any]] | None) -> dict[str, list[dict[str, Any]]]:
    """A house in the middle of a lot that slopes to the street."""
    shapes = {
        "parcel": [{"geometry": box(8.0, 10.0, 42.0, 50.0)}],
        "roofs": [{"geometry": HOUSE}],
        "right_of_way": [{"geometry": box(0.0, 0.0, 50.0, 10.0)}],
        "outfalls": [{"geometry": Point(36.25, 5.25), "kind": "swale"}],
    } | more
    return {name: rows for name, rows in shapes.items() if rows is not None}


@pytest.fixture
def screen(make_lot) -> Screen:
    """Screens a made lot; `elevation` is added to its [elevation], `rmse` is said there."""

    def run(ground, shapes, more="", *, elevation: str = "", rmse: str = "2 cm", folder: str = "lot") -> Findings:
        site: Path = make_lot(ground, shapes, more=RAIN + more, folder=folder)
        text = site.read_text(encoding="utf-8")
        site.write_text(text.replace('rmse = "2 cm"\n', f'rmse = "{rmse}"\n{elevation}\n'), encoding="utf-8")
        return screen_lot(site)

    return run


def in_plan(line: shapely.Geometry) -> shapely.Geometry:
    return shapely.transform(shapely.force_2d(line), lambda xy: xy - (EAST, NORTH))


def house(foundation: str | None, depth: float | None = None) -> str:
    """[house] of a site file."""
    text = "[house]\n"
    text += f'foundation = "{foundation}"\n' if foundation else ""
    return text + (f'footing_depth = "{depth} m"\n' if depth else "")


@pytest.mark.parametrize("foundation", one_in(3, ["slab", "crawl", "basement", None]))
def test_stone_stands_as_far_from_a_wall_as_its_foundation_asks(screen: Screen, foundation: str | None) -> None:
    footing = 0.45 if foundation == "slab" else None
    # a patio whose upper side runs on past the house's own wall, so that a trench along it would come near
    patio = [{"geometry": box(33.0, 20.0, 38.0, 26.0), "kind": "patio", "protect": True}]
    plan = screen(slope_to_swale(), layers(hardscape=patio), house(foundation, footing)).plan
    assert plan.french_drains
    for drain in plan.french_drains:
        nearest = in_plan(drain.line).distance(HOUSE) - drain.width / 2.0
        if foundation == "slab":
            # outside the plane that falls at 45 degrees from the footing's bottom (Uniform Plumbing Code 314.1)
            assert nearest >= drain.depth - footing - 1e-6
        else:
            assert nearest >= FOUR_FEET - 1e-6


def test_trenches_of_pipe_stay_outside_the_footings_plane(screen: Screen) -> None:
    footing = 0.3
    spouts = [{"geometry": Point(17.8, 27.8)}, {"geometry": Point(32.2, 27.8)}]
    plan = screen(slope_to_swale(), layers(downspouts=spouts), house("slab", footing)).plan
    assert plan.pipe_runs
    for run in plan.pipe_runs:
        path = shapely.get_coordinates(shapely.segmentize(run.line, 0.25), include_z=True)
        along = np.hypot(*np.diff(path[:, :2], axis=0).T).cumsum()
        stations = np.hypot(*np.diff(shapely.get_coordinates(run.line), axis=0).T).cumsum()
        ground = np.interp(np.concatenate([[0.0], along]), np.concatenate([[0.0], stations]), run.ground)
        away = shapely.distance(HOUSE, shapely.points(path[:, :2] - (EAST, NORTH)))
        # the field's cells of 1 m tell ground and distance no closer than this
        assert (ground - path[:, 2] <= footing + away + 0.75).all()


def proposes_nothing(findings: Findings) -> bool:
    plan = findings.plan
    return not (plan.pipe_runs or plan.catch_basins or plan.french_drains or plan.channel_drains or plan.sumps)


@pytest.mark.parametrize(("flown", "stops"), [(2015, True), (2020, True), (2021, False)])
def test_a_house_newer_than_the_lidar_stops_everything(screen: Screen, flown: int, stops: bool) -> None:
    more = house("slab") + "built = 2021\n"
    findings = screen(slope_to_swale(), layers(), more, elevation=f"flown = {flown}")
    plan = findings.plan
    assert bool(plan.refer_out) == stops
    assert proposes_nothing(findings) == stops
    if stops:
        (reason,) = plan.refer_out
        assert (reason.code, reason["flown"], reason["built"]) == ("lidar_before_house", flown, 2021)
        (line,) = plan.discharges
        assert (line.mode, line.verdict) == ("none", "no")
        assert not plan.take_off
        assert not plan.alternatives


@pytest.mark.parametrize(("slope", "stops"), [(0.24, False), (0.26, True)])
def test_a_lot_steeper_than_25_percent_is_referred_out(screen: Screen, slope: float, stops: bool) -> None:
    findings = screen(slope_to_swale(slope), layers(), house("slab"))
    assert bool(findings.plan.refer_out) == stops
    if stops:
        (told,) = say_all(findings.plan.refer_out, "us")
        assert "steeper than 25" in told
        assert "engineer" in told
        assert proposes_nothing(findings)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ({"barriers": [{"geometry": shapely.LineString([(12.0, 32.0), (20.0, 32.0)]), "kind": "retaining wall",
                        "height_ft": 5.0}]}, "A wall 1.5 m high"),
        ({"keep_out": [{"geometry": box(30.0, 12.0, 34.0, 16.0), "kind": "wetland", "setback_m": 3.0,
                        "crossing": "never"}]}, "a wetland"),
        ({"keep_out": [{"geometry": box(30.0, 12.0, 34.0, 16.0), "kind": "sinkhole", "setback_m": 3.0,
                        "crossing": "never"}]}, "a sinkhole"),
        ({"keep_out": [{"geometry": box(9.0, 11.0, 41.0, 16.0), "kind": "100-year floodplain", "setback_m": 0.0,
                        "crossing": "careful"}]}, "a floodplain"),
    ],
)
def test_what_is_an_engineers_is_referred_out(screen: Screen, rows, words: str) -> None:
    findings = screen(slope_to_swale(), layers(**rows), house("slab"))
    assert words in " ".join(say_all(findings.plan.refer_out, "si"))
    assert proposes_nothing(findings)


def test_a_wall_under_4_ft_is_no_stop(screen: Screen) -> None:
    wall = [{"geometry": shapely.LineString([(12.0, 32.0), (20.0, 32.0)]), "kind": "wall", "height_ft": 3.5}]
    assert not screen(slope_to_swale(), layers(barriers=wall), house("slab")).plan.refer_out


def pitted(ground: np.ndarray, middle: float = 36.0) -> np.ndarray:
    """A low of 20 cm and 4 m across in the lawn."""
    x, y = places()
    away = np.hypot(x - 25.0, y - middle)
    return np.where(away < 4.0, np.minimum(ground, ground[away < 4.0].min() - 0.20 * (1.0 - (away / 4.0) ** 2)), ground)


def test_without_roofs_low_spots_get_provisional_basins_and_nothing_else(screen: Screen) -> None:
    findings = screen(pitted(slope_to_swale(0.01)), layers(roofs=None))
    plan = findings.plan
    assert plan.verdict.code == "roofs_not_given"
    (basin,) = plan.catch_basins
    assert basin.provisional
    assert basin.why.code == "basin_provisional"
    assert basin.drains_to == ""
    assert plan.pipe_runs == plan.french_drains == plan.sumps == plan.take_off == ()
    (line,) = plan.discharges
    assert (line.mode, line.verdict) == ("none", "cannot_tell")
    assert any("No roofs are given" in say(warning, "us") for warning in findings.warnings)
    # the ground is read all the same
    assert findings.low_spots
    assert findings.flow_paths


def test_without_outfalls_places_in_the_right_of_way_are_found_and_never_sure(screen: Screen) -> None:
    findings = screen(pitted(slope_to_swale(0.01)), layers(outfalls=None), house("slab"))
    plan = findings.plan
    assert plan.pipe_runs
    assert plan.outfalls
    street = box(EAST, NORTH, EAST + 50.0, NORTH + 10.0)
    for outfall in plan.outfalls:
        assert not outfall.given
        assert not outfall.verified
        assert outfall.to_confirm.code == "confirm_found"
        assert street.intersects(outfall.point)
    assert all(line.verdict != "sure" for line in plan.discharges)
    assert plan.parts.outfall.state == "cannot_tell"
    assert "nobody has confirmed it" in say(plan.parts.outfall.why, "us")
    assert plan.parts.verdict != "sure"
    assert any("No outfall is given" in say(warning, "us") for warning in findings.warnings)


def test_no_lawful_way_is_said_and_the_water_stays_in_the_balance(screen: Screen) -> None:
    # the street lies uphill, so that the ground falls to a neighbour and nothing carries water away in the street
    uphill = [{"geometry": box(0.0, 52.0, 50.0, 60.0)}]
    shapes = layers(outfalls=None, right_of_way=uphill)
    findings = screen(pitted(slope_to_swale(0.01)), shapes, house("slab"))
    plan = findings.plan
    # nobody gave an outfall, so nobody knows that there is none
    assert plan.verdict["missing"] == ("outfalls",)
    (line,) = plan.discharges
    assert (line.mode, line.verdict, line.outfall) == ("none", "cannot_tell", None)
    assert proposes_nothing(findings)
    assert not any(way.possible for way in plan.alternatives)
    assert findings.balance.collected == 0.0
    assert findings.balance.stands + findings.balance.infiltrated + findings.balance.leaves == pytest.approx(
        findings.balance.rain, rel=1e-9
    )
    assert max(water.storm_depth for water in findings.low_spots) > 0.1


def test_a_pump_is_never_a_way_onto_a_neighbour(screen: Screen) -> None:
    # an outfall beyond the side line, in no right of way: no line may go there, whatever pushes it
    beside = [{"geometry": Point(45.25, 30.25), "kind": "ditch"}]
    findings = screen(pitted(slope_to_swale(0.01)), layers(outfalls=beside), house("slab"))
    assert proposes_nothing(findings)
    assert findings.plan.verdict.code == "headline_no_way"
    assert findings.plan.parts.fall.state == "no"


@pytest.mark.parametrize("fixed", ["gravity", "pump"])
def test_the_site_files_choice_of_gravity_or_pump_is_kept(screen: Screen, fixed: str) -> None:
    more = house("slab") + f'[layout]\nlift = "{fixed}"\n'
    plan = screen(pitted(slope_to_swale(0.01)), layers(), more).plan
    (chosen,) = [way for way in plan.alternatives if way.chosen]
    assert chosen.mode == fixed
    assert bool(plan.sumps) == (fixed == "pump")


def test_what_is_wrong_where_no_works_fit_is_not_called_fine(screen: Screen) -> None:
    # the low of the lawn lies in an easement, wider than a basin may be moved
    easement = [{"geometry": box(17.0, 28.0, 33.0, 43.0), "kind": "easement", "crossing": "never"}]
    seen = [{"geometry": Point(25.0, 36.0), "what": "a pond after rain"}]
    shapes = layers(keep_out=easement, complaints=seen, roofs=[{"geometry": box(18.0, 45.0, 32.0, 49.0)}])
    _, y = places()
    # the house stands on a ridge at the back
    ground = pitted(slope_to_swale(0.01) - 0.04 * np.clip(y - 46.0, 0.0, None))
    plan = screen(ground, shapes, house("slab")).plan
    assert plan.catch_basins == ()
    told = say(plan.verdict, "us")
    assert "Something is wrong on this lot and no improvement fits: no basin fits at the lawn" in told
    assert plan.parts.cure.state == "no"
    (line,) = plan.discharges
    assert (line.mode, line.verdict) == ("none", "no")


def test_a_house_drawn_in_parts_is_protected_at_each_of_them(screen: Screen) -> None:
    # two hollows of 15 cm against the uphill walls, one at each part of the house
    x, y = places()
    wells = sum(0.15 * np.exp(-((x - east) ** 2 + (y - 29.0) ** 2) / 3.0) for east in (14.0, 34.0))
    parts = [box(11.0, 20.0, 17.0, 28.0), box(31.0, 20.0, 37.0, 28.0)]
    together = [{"geometry": shapely.MultiPolygon(parts)}]
    apart = [{"geometry": part} for part in parts]
    plans = [
        screen(slope_to_swale(0.01) - wells, layers(roofs=roofs), house("slab"), folder=name).plan
        for name, roofs in (("together", together), ("apart", apart))
    ]
    # basins and drains may be numbered in another order
    works, others = (
        [each.point for each in plan.catch_basins] + [each.line for each in plan.french_drains] for plan in plans
    )
    assert {each.wkt for each in works} == {each.wkt for each in others}
    for part in parts:
        assert min(part.distance(in_plan(each)) for each in works) < 4.0


@pytest.mark.parametrize("seen", [False, True])
def test_nothing_is_built_for_water_that_only_the_lidar_shows_within_its_error(screen: Screen, seen: bool) -> None:
    # a hollow of 3 cm in a patio at 1 in 100, with the house beyond the crest: nothing else is wrong
    x, y = places()
    hollow = 0.07 * np.exp(-((x - 28.0) ** 2 + (y - 35.0) ** 2) / 4.0)
    ground = slope_to_swale(0.01) - hollow - 0.02 * np.clip(y - 40.5, 0.0, None)
    shapes = layers(
        hardscape=[{"geometry": box(23.0, 30.0, 33.0, 40.0), "kind": "patio", "protect": True}],
        roofs=[{"geometry": box(10.0, 42.0, 17.0, 47.0)}],
    )
    if seen:
        shapes["complaints"] = [{"geometry": Point(28.0, 35.0), "what": "a pond after rain"}]
    plan = screen(ground, shapes, house("slab"), rmse="4 cm").plan
    assert bool(plan.catch_basins) == seen
    if not seen:
        # a hollow that lidar alone cannot show, and that nobody saw, is no trouble
        assert plan.parts.verdict == "sure"
        assert say(plan.verdict, "us").startswith("Nothing to build")
        return
    assert plan.parts.fall.state == "sure"
    assert plan.parts.cause.state == "sure"


def test_a_pump_to_a_place_that_was_only_found_is_never_sure(screen: Screen) -> None:
    more = house("slab") + '[layout]\nlift = "pump"\n'
    plan = screen(pitted(slope_to_swale(0.01)), layers(outfalls=None), more).plan
    assert plan.sumps
    for line in plan.discharges:
        assert line.verdict == "cannot_tell"
        assert "found in the lidar, not given" in say(line.why, "us")


@pytest.mark.parametrize("slope", ["0.5 %", "1 %"])
def test_a_pipe_too_slow_to_keep_itself_clean_is_told(screen: Screen, slope: str) -> None:
    plan = screen(pitted(slope_to_swale(0.003)), layers(), house("slab") + f'[layout]\nslope = "{slope}"\n').plan
    # 2 ft/s in a full pipe (common practice, as check of Manning's n = 0.012): 4 in asks 0.74 %, 6 in 0.43 %
    least = {4: 0.0074, 6: 0.0043}
    slow = {
        run.id for run in plan.pipe_runs
        if run.kind == "gravity" and run.slope < least[round(find_pipe(run.pipe_key).nominal / 0.0254)]
    }
    told = " ".join(warning for warning in say_all(plan.warnings, "us") if "keep the pipe clean" in warning)
    assert {run.id for run in plan.pipe_runs if run.id in told} == slow
    assert bool(slow) == (slope == "0.5 %")


def test_water_high_in_the_outfall_holds_a_line_back(screen: Screen) -> None:
    ground = pitted(slope_to_swale(0.01))

    def planned(level: float | None):
        place: dict[str, Any] = {"geometry": Point(36.25, 5.25), "kind": "swale", "highest_level_m": level}
        return screen(ground, layers(outfalls=[place]), house("slab"), folder=f"lot-{level}").plan

    free = planned(None)
    (basin,) = free.catch_basins
    low = planned(99.2)  # over the swale's bottom at 99.0, below the line
    (same,) = low.catch_basins
    assert (same.ground_elevation, low.discharges[0].verdict) == (basin.ground_elevation, free.discharges[0].verdict)
    assert low.parts.fall.state == "sure"
    high = planned(basin.ground_elevation + 0.127)
    (line,) = high.discharges
    # water comes back through the grate, by more than the lidar's error
    assert (line.mode, line.verdict) == ("gravity", "no")
    assert high.parts.outfall.state == "no"
    assert "stands higher than basin-1" in say(line.why, "us")
    told = say_all(high.warnings, "us")
    assert any("stands 5.0 in over it, whatever the pipe's size" in said for said in told)


def test_a_pump_lifts_to_the_water_in_its_outfall(screen: Screen) -> None:
    ground = pitted(slope_to_swale(0.01))

    def lift(level: float) -> float:
        place = {"geometry": Point(36.25, 5.25), "kind": "swale", "highest_level_m": level}
        more = house("slab") + '[layout]\nlift = "pump"\n'
        (sump,) = screen(ground, layers(outfalls=[place]), more, folder=f"lift-{level}").plan.sumps
        return sump.lift

    assert lift(102.0) - lift(101.5) == pytest.approx(0.5)


def test_water_that_comes_down_a_drive_at_a_garage_falls_into_a_grated_channel(screen: Screen) -> None:
    drive = box(18.0, 28.0, 32.0, 45.0)
    paved = [{"geometry": drive, "kind": "drive", "protect": False}]
    findings = screen(slope_to_swale(), layers(hardscape=paved), house("slab", 0.45))
    plan = findings.plan
    (channel,) = plan.channel_drains
    assert not plan.french_drains
    line = in_plan(channel.line)
    assert shapely.covers(drive, line)
    assert line.distance(HOUSE) < 0.9  # before the garage, not where stone would have to stand
    assert channel.length == pytest.approx(14.0)  # all of the drive's width
    # 75 mm in an hour on 14 x 17 m of paving alone are 5 l/s; the lawn above it adds to that
    assert channel.peak_flow > 0.9 * 14.0 * 17.0 * 0.075 / 3600.0
    run = next(each for each in plan.pipe_runs if each.id == channel.drains_to)
    assert (run.from_id, run.to_id) == (channel.id, "outfall-1")
    assert run.invert_up <= 101.0 - 0.18  # below the channel's own bottom
    quantities = {row.item: row.quantity for row in plan.take_off}
    assert quantities["channel drain"] == pytest.approx(channel.length)
    # but for the stone where its pipe comes out, 0.05 m3, with its waste: at 1.4 ton/yd3 2,000 lb in 0.765 m3
    assert quantities["washed stone"] == pytest.approx(0.05 * 1.4 * 907.18 / 0.76455 * 1.1, rel=1e-3)


@pytest.mark.parametrize(("ridge", "offered"), [(0.0, True), (1.0, False)])
def test_an_own_swale_is_offered_where_the_lot_falls_all_the_way(screen: Screen, ridge: float, offered: bool) -> None:
    _, y = places()
    # a bank across the lot, 3 m wide, over which no shallow swale leads
    ground = slope_to_swale(0.03) + np.where(np.abs(y - 15.0) < 1.5, ridge, 0.0)
    lawn = [{"geometry": box(33.0, 20.0, 38.0, 26.0), "kind": "patio", "protect": True}]
    small = [{"geometry": box(14.0, 10.0, 42.0, 30.0)}]  # most of what runs at the patio comes from outside
    cures = screen(ground, layers(hardscape=lawn, parcel=small), house("slab", 0.45)).plan.cures
    found = [cure for cure in cures if cure.id == "cure-swale"]
    assert bool(found) == offered
    for cure in found:
        length, slope = cure.what["length"], 100.0 * cure.what["slope"]
        assert 10.0 <= length <= 26.0  # from the patio to the street's line, not on to the swale
        assert 1.0 <= slope <= 3.1  # the plane's own 3 % at the most: a way askew falls less


def test_a_narrow_gate_and_clay_cost_hours_and_loads(screen: Screen) -> None:
    def amounts(more: str) -> dict[str, float]:
        plan = screen(pitted(slope_to_swale(0.01)), layers(), house("slab") + more, folder=f"lot-{len(more)}").plan
        return {row.item: row.quantity for row in plan.take_off}

    plain = amounts("")
    narrow = amounts('[layout]\ngate = "34 in"\nsoil = "clay"\n')
    wide = amounts('[layout]\ngate = "4 ft"\n')
    plain, narrow, wide = (
        each | {"labour": sum(hours for item, hours in each.items() if item.startswith("labour, "))}
        for each in (plain, narrow, wide)
    )
    set_up = plain["labour, set-up"]
    assert set_up == 2.0 * 3600.0
    # gate under 36 in x 1.5, set-up 2 h, swell of earth 25 %: common practice, no source; of clay 30 %: published
    assert narrow["labour"] - set_up == pytest.approx(1.5 * (plain["labour"] - set_up))
    assert narrow["spoil disposal, loose"] / plain["spoil disposal, loose"] == pytest.approx(1.30 / 1.25)
    assert wide == plain


@pytest.mark.parametrize(("floor", "words"), [
    (None, "the elevation of the sill is not given"),
    (102.0, "below the sill: the floor stays dry in that storm. It runs over on the south side"),
    (100.3, "in below the sill, where 6 in of freeboard is required. It runs over on the south side"),
    (100.2, "in above the sill, where 6 in of freeboard is required"),
])  # fmt: skip
def test_what_happens_when_all_is_clogged_is_told_against_the_sill(
    screen: Screen, floor: float | None, words: str
) -> None:
    more = house("slab") + ("" if floor is None else f'floor = "{floor} m"\n')
    findings = screen(pitted(slope_to_swale(0.01)), layers(), more)
    (told,) = [each for each in findings.warnings if not isinstance(each, str) and each.code == "clogged"]
    assert words in say(told, "us")
    # the lot drains by gravity: no power can fail
    assert say(told, "us").startswith("With the improvements clogged, the")
    if floor == 102.0:
        room = told["room"]
        (low,) = [water.spot for water in findings.low_spots if water.spot.depth > 0.1]
        # a pond that runs over stands at its rim, and a little above it
        assert floor - room == pytest.approx(low.spill_elevation, abs=0.03)


@pytest.mark.parametrize(("floor", "near"), [(100.3, 1), (102.0, 0)])
def test_no_place_leaves_the_floor_dry_where_another_reaches_up_to_it(screen: Screen, floor: float, near: int) -> None:
    # a low above the house, and one below it that stands 20 cm lower
    ground = pitted(pitted(slope_to_swale(0.01)), 16.0)
    findings = screen(ground, layers(), house("slab") + f'floor = "{floor} m"\n')
    told = [fact for fact in findings.warnings if isinstance(fact, Reason) and fact.code == "clogged"]
    assert len(told) == 2
    assert sum(fact["room"] < fact["freeboard"] for fact in told) == near
    assert sum("the floor stays dry" in say(fact, "us") for fact in told) == (0 if near else 2)
