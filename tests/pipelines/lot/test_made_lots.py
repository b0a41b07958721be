"""Lots made so that the answer is known before: by hand, from the rules of the trade and the lot's own dimensions."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import Point, box

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.words.say import say, say_all
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.planner import plan_lot
from pipelines.lot import screen_lot
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages

ROWS, COLUMNS, CELL = 120, 100, 0.5
EAST, NORTH = 500_000.0, 4_400_000.0
COVER, DROP, DIG, CLEARANCE, SLOPE = 0.3048, 0.03048, 0.03048, 0.1524, 0.01
"""The trade's cover of 12 in, 0.1 ft at a basin, 0.1 ft of digging tolerance, 6 in over a swale's bottom, 1 %."""
PIPE = find_pipe("4 in SDR-35")
CROWN = PIPE.outside - PIPE.wall
RAIN = '[rain]\ndepth = "75 mm"\nduration = "60 min"\ndistribution = "constant"\n'
LOT = box(10.0, 10.0, 40.0, 50.0)
STREET = box(0.0, 0.0, 50.0, 10.0)
SWALE = Point(25.25, 5.25)
PATIO = box(22.0, 24.0, 28.0, 30.0)
LOW = Point(25.25, 27.25)
"""The lowest cell of the patio."""

Screen = Callable[..., Findings]
pytestmark = pytest.mark.usefixtures("kept_in_file")


def places() -> tuple[np.ndarray, np.ndarray]:
    """Easting and northing of the cells from the lower left corner."""
    row, column = np.mgrid[0:ROWS, 0:COLUMNS]
    return (column + 0.5) * CELL, (ROWS - row - 0.5) * CELL


def falling_to_swale(slope: float, bottom: float, *, ridge: float = 31.0, top: float = 100.0) -> np.ndarray:
    """A plane that falls south to `top` at the head of a swale's bank, and north of a ridge the other way."""
    _, y = places()
    ground = top + slope * (y - 8.0) - 2.0 * slope * np.clip(y - ridge, 0.0, None)
    ground = np.where(y < 8.0, np.maximum(top - 0.5 * (top - bottom) * (8.0 - y), bottom), ground)
    return np.where(y < 4.0, bottom + 0.25 * (4.0 - y), ground)


def with_low_patio(ground: np.ndarray, low: float) -> np.ndarray:
    """The patio 2 cm over its lowest cell, which is at `LOW`."""
    x, y = places()
    sunken = np.where((np.abs(x - 25.0) < 2.0) & (np.abs(y - 27.0) < 2.0), low + 0.02, ground)
    return np.where((np.abs(x - LOW.x) < 0.2) & (np.abs(y - LOW.y) < 0.2), low, sunken)


def layers(**more: list[dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    """A house west of a patio, a street south of the lot, and a swale in it."""
    return {
        "parcel": [{"geometry": LOT}],
        "roofs": [{"geometry": box(12.0, 16.0, 19.0, 29.0), "foundation": "slab"}],
        "hardscape": [{"geometry": PATIO, "kind": "patio", "protect": True}],
        "right_of_way": [{"geometry": STREET}],
        "outfalls": [{"geometry": SWALE, "kind": "swale"}],
    } | more


@pytest.fixture
def screen(make_lot) -> Screen:
    """Screens a made lot; `shots` are level shots (name, x, y, height), `rmse` the lidar's."""

    def run(ground, shapes, *, more: str = RAIN, rmse: str = "2 cm", shots=(), folder: str = "lot") -> Findings:
        if shots:
            more += '[levels]\nfile = "shots.csv"\n'
        site: Path = make_lot(ground, shapes, more=more, folder=folder)
        site.write_text(site.read_text(encoding="utf-8").replace('rmse = "2 cm"', f'rmse = "{rmse}"'), encoding="utf-8")
        if shots:
            rows = [f"{name},{EAST + x},{NORTH + y},{z}" for name, x, y, z in shots]
            (site.parent / "shots.csv").write_text("\n".join(["point,easting,northing,height_m", *rows]))
        return screen_lot(site)

    return run


def modes(findings: Findings) -> set[str]:
    return {line.mode for line in findings.plan.discharges}


def in_plan(run) -> shapely.LineString:
    """A run as seen from above, from the made lot's corner."""
    return shapely.transform(shapely.force_2d(run.line), lambda xy: xy - (EAST, NORTH))


# A plane that falls to a swale, and what stands in the way


def test_a_plane_that_falls_to_a_swale_is_drained_straight_by_gravity(screen: Screen) -> None:
    # flatter than the pipe, so that the patio's basin is where the line has least to spare
    low, bottom, slope = 100.00, 99.10, 0.005
    plan = screen(with_low_patio(falling_to_swale(slope, bottom), low), layers()).plan
    (line,) = plan.discharges
    assert (line.mode, plan.parts.fall.state, line.outfall, line.lift) == ("gravity", "sure", "outfall-1", None)
    (run,) = plan.pipe_runs
    straight = in_plan(run)
    assert straight.length == pytest.approx(LOW.distance(SWALE), rel=2e-3)
    invert = low - COVER - CROWN - DROP
    assert run.invert_up == pytest.approx(invert, abs=1e-6)
    spare = invert - (bottom + CLEARANCE + DIG + SLOPE * LOW.distance(SWALE))
    # the way is measured from the middle of a cell of 1 m
    assert line.fall_to_spare == pytest.approx(spare, abs=0.71 * SLOPE)
    assert plan.catch_basins[0].ground_elevation == low
    assert Point(plan.catch_basins[0].point.x - EAST, plan.catch_basins[0].point.y - NORTH) == LOW


def test_a_septic_field_in_the_way_is_gone_round_with_its_setback(screen: Screen) -> None:
    field, setback = box(21.0, 13.0, 33.0, 18.0), 1.5
    ground = with_low_patio(falling_to_swale(0.03, 99.40), 100.40)
    keep_out = [{"geometry": field, "kind": "septic field", "setback_m": setback, "crossing": "never"}]
    plan = screen(ground, layers(keep_out=keep_out)).plan
    (run,) = plan.pipe_runs
    assert run.kind == "gravity"
    assert in_plan(run).distance(field) >= setback - 1e-6
    assert run.length > LOW.distance(SWALE) + 3.0
    # the target's slope and cover are missed by going round; the floors hold, and a pump is not called for
    (line,) = plan.discharges
    assert (line.mode, plan.parts.fall.state) == ("gravity", "sure")
    assert line.fall_to_spare < 0.0
    assert "short of target slope and cover" in say(line.why, "us")
    assert any("covered by 6 in" in warning for warning in say_all(plan.warnings, "us"))


@pytest.mark.parametrize("off", [0.02, -0.02])
def test_fall_at_the_limit_is_gravity_on_one_side_and_not_on_the_other(screen: Screen, off: float) -> None:
    low, slope = 100.00, 0.005
    # the level at which the basin of the patio has nothing to spare
    bottom = low - COVER - CROWN - DROP - SLOPE * LOW.distance(SWALE) - DIG - CLEARANCE
    ground = with_low_patio(falling_to_swale(slope, bottom - off), low)
    # and where the swale's bottom lies is known
    known = '[rules]\noutlet_under_swale = { likely = "0 in", high = "0 in" }\n'
    fixed = f'[layout]\nslope = "1 %"\ncover = "12 in"\n{known}'
    plan = screen(ground, layers(), more=RAIN + fixed, rmse="2 mm").plan
    (line,) = plan.discharges
    assert line.fall_to_spare == pytest.approx(off, abs=0.71 * SLOPE)
    assert (line.mode, plan.parts.fall.state) == (("gravity", "sure") if off > 0.0 else ("pump", "sure"))
    assert {way.mode: way.possible for way in plan.alternatives}["gravity"] == (off > 0.0)
    # the site file's slope and cover are kept by the line to a sump too
    first = next(run for run in plan.pipe_runs if run.from_id == "basin-1")
    assert first.invert_up == pytest.approx(low - COVER - CROWN - DROP, abs=1e-6)
    assert first.slope >= SLOPE - 1e-9
    # what the site file leaves open is laid by the trade's floors before a pump is thought of
    free = screen(ground, layers(), rmse="2 mm", folder="free").plan
    assert {each.mode for each in free.discharges} == {"gravity"}


def sunken_patio(bottom: float, low: float, *, rim: float = 1.0) -> np.ndarray:
    """Flat ground at 100 m before a swale; a patio sunk to `low`, its banks `rim` m wide, a little lower at `LOW`."""
    x, y = places()
    ground = falling_to_swale(0.002, bottom)
    away = np.maximum(np.abs(x - 25.0), np.abs(y - 27.0)) - 3.0
    bank = low + 0.02 + (ground - low) * np.clip(away, 0.0, None) / rim
    ground = np.where(away < rim, np.minimum(ground, bank), ground)
    return np.where((np.abs(x - LOW.x) < 0.2) & (np.abs(y - LOW.y) < 0.2), low, ground)


def test_a_bowl_below_its_outlet_is_pumped_by_outlet_less_pump_off_level(screen: Screen) -> None:
    # the swale lies 0.5 m over the patio and the ground between lies low, so that the outlet is the line's high point
    bottom, low = 99.20, 98.70
    plan = screen(sunken_patio(bottom, low, rim=3.0), layers()).plan
    (line,) = plan.discharges
    (sump,) = plan.sumps
    assert (line.mode, plan.parts.fall.state, line.outfall) == ("pump", "sure", "outfall-1")
    feed = [run for run in plan.pipe_runs if run.kind == "gravity"]
    (pushed,) = [run for run in plan.pipe_runs if run.kind == "pressure"]
    fed = sum(run.length for run in feed)
    inlet = low - 0.1524 - CROWN - DROP - SLOPE * fed
    assert sump.inlet_elevation == pytest.approx(inlet, abs=1e-6)
    # the trade's yard sump: inlet 24 in over the bottom, pump off 8 in over it
    off = inlet - 16.0 * 0.0254
    assert sump.off_elevation == pytest.approx(off, abs=1e-6)
    highest = max(bottom + CLEARANCE, max(z for _, _, z in pushed.line.coords))
    assert sump.lift == line.lift == pytest.approx(highest - off, abs=1e-6)
    assert pushed.invert_down == pytest.approx(bottom + CLEARANCE, abs=1e-9)
    assert line.fall_to_spare < -0.5
    # 8 ft/s is the most that a pressure line is laid for
    assert sump.velocity <= 8.0 * 0.3048


def test_a_low_downspout_is_lifted_only_where_no_extension_leads_it_away(make_lot) -> None:
    # it comes out on the bank of the sunken patio, below the swale, and every lower place drains to the patio
    roofs = [{"geometry": box(12.0, 16.0, 20.0, 29.0), "foundation": "slab"}]
    shapes = layers(downspouts=[{"geometry": Point(20.0, 22.1)}], roofs=roofs)
    stages = LotStages(open_lot(make_lot(sunken_patio(99.20, 98.70, rim=3.0), shapes, more=RAIN)))
    (spout,) = stages.sited.catching.downspouts
    assert not spout.extends
    plan = stages.planned.plan
    (pumped,) = [line for line in plan.discharges if line.mode == "pump"]
    assert spout.id in pumped.serves
    (fed,) = [run for run in plan.pipe_runs if run.from_id == spout.id]
    assert (fed.kind, fed.purpose) == ("gravity", "downspout")
    assert any(warning.code == "roof_through_lift" for warning in plan.warnings)
    # the same downspout with lower lawn to lead it to stays out of the lift
    led = replace(stages.sited.catching, downspouts=(replace(spout, extends=True),))
    other = plan_lot(stages.inputs, stages.diagnosis, replace(stages.sited, catching=led), stages.way_ground).plan
    assert not any(spout.id in line.serves for line in other.discharges)
    assert not any(warning.code == "roof_through_lift" for warning in other.warnings)


def weak_pump(gpm: float, **rules: str) -> str:
    """Rain, and a pump whose curve ends at a flow; with other rules."""
    more = {"assumed_pump_end_flow": f'"{gpm} gpm"'} | rules
    return RAIN + "[rules]\n" + "".join(f"{key} = {value}\n" for key, value in more.items())


def test_a_second_pump_is_taken_where_one_moves_half_of_what_arrives(screen: Screen) -> None:
    found = screen(sunken_patio(99.20, 98.70, rim=3.0), layers(), more=weak_pump(12.0))
    (sump,) = found.plan.sumps
    lines = [run for run in found.plan.pipe_runs if run.kind == "pressure"]
    # one pump delivers about half of the inflow and two of them take it; 0.61 A (2 g h)^0.5 goes back by each hole
    assert (sump.pumps, len(lines), sump.copes) == (2, 2, True)
    relief = 0.61 * np.pi * (3 / 16 * 0.0254) ** 2 / 4 * (2 * 9.80665 * sump.operating_head) ** 0.5
    assert sump.delivered_flow == pytest.approx(2 * (sump.operating_flow - relief), rel=1e-9)
    assert sum(run.peak_flow for run in lines) == pytest.approx(sump.delivered_flow, rel=1e-12)
    assert sump.delivered_flow / 2 < sump.inflow <= sump.delivered_flow
    # the second line lies in the first one's trench, and each pump is bought, alarmed and wired
    assert (lines[0].beside, lines[1].beside) == ("", lines[0].id)
    bought = {line.item: line.quantity for line in found.plan.take_off}
    assert [bought[item] for item in ("pump", "alarm", "check valve", "electrician")] == [2, 2, 2, 2]
    told = [say(other, "us") for other in sump.compared]
    assert any(said.startswith("one pump") and "storage needed" in said for said in told)
    assert any(said.startswith("two pumps") and "more" in said for said in told)
    # nothing of the patio's trouble is left
    assert found.plan.parts.cure.state == "sure"


def test_stone_beside_the_sump_stores_what_two_pumps_leave_over(screen: Screen) -> None:
    def stone(name: str, **rules: str):
        more = weak_pump(10.0, **rules)
        plan = screen(sunken_patio(99.20, 98.70, rim=3.0), layers(), more=more, folder=name).plan
        (sump,) = plan.sumps
        return sump, [drain for drain in plan.french_drains if drain.id.startswith("stone")]

    sump, trenches = stone("as it is")
    assert (sump.pumps, sump.copes) == (2, True)
    assert trenches
    widths = {round(each.width, 9) for each in trenches}
    # where it may not be long enough the storage does not fit, and is not said to
    short, none = stone("short", lift_stone_longest='"1 m"')
    assert (short.copes, none) == (False, [])
    _, wider = stone("wider", lift_stone_width='"4 ft"')
    assert {round(each.width, 9) for each in wider} != widths


def test_ten_times_what_a_pump_moves_is_refused_in_words(screen: Screen) -> None:
    ground = sunken_patio(99.20, 98.70, rim=3.0)
    plan = screen(ground, layers(), more=weak_pump(4.0)).plan
    (pumped,) = [way for way in plan.alternatives if way.mode == "pump"]
    assert (pumped.possible, plan.sumps) == (False, ())
    fact = pumped.depends_on
    assert fact.code == "lift_far_over"
    assert fact["inflow"] > fact["times"] * fact["delivered"]
    said = say(fact, "us")
    assert "of storage that it takes does not fit" in said
    assert "roof water on its own gravity line" in said
    # where more is bearable the way is laid out, and says that it does not cope
    short = screen(ground, layers(), more=weak_pump(4.0, lift_far_over="50"), folder="short").plan
    (sump,), (line,) = short.sumps, short.discharges
    assert (sump.copes, line.verdict) == (False, "no")
    assert sump.inflow > sump.delivered_flow
    assert "does not cope" in say(line.why, "us")
    assert (short.parts.fall.state, short.parts.cure.state) == ("no", "no")


# Collectors that share a trunk, and such that don't


def two_patios(x_left: float, x_right: float, y_low: float) -> tuple[np.ndarray, list[dict[str, Any]]]:
    """Two patios in a plane of 3 %, each with a low cell, and their shapes."""
    x, y = places()
    ground = falling_to_swale(0.03, 99.20, ridge=y_low + 4.0)
    shapes = []
    for x_low in (x_left, x_right):
        level = 100.0 + 0.03 * (y_low - 8.0) - 0.10
        ground = np.where((np.abs(x - x_low) < 1.5) & (np.abs(y - y_low) < 1.5), level + 0.02, ground)
        ground = np.where((np.abs(x - x_low) < 0.3) & (np.abs(y - y_low) < 0.3), level, ground)
        shapes.append({"geometry": box(x_low - 2, y_low - 2, x_low + 2, y_low + 2), "kind": "patio", "protect": True})
    return ground, shapes


def test_two_collectors_side_by_side_and_far_from_the_swale_share_a_trunk(screen: Screen) -> None:
    ground, patios = two_patios(22.25, 28.25, 38.25)
    # the house stands beyond the ridge
    house = [{"geometry": box(22.0, 43.5, 30.0, 49.0), "foundation": "slab"}]
    plan = screen(ground, layers(hardscape=patios, roofs=house)).plan
    assert modes_of(plan) == {"gravity"}
    assert len(plan.catch_basins) == 2
    last = [run for run in plan.pipe_runs if run.to_id == "outfall-1"]
    assert len(last) == 1
    assert last[0].peak_flow == pytest.approx(sum(basin.peak_flow for basin in plan.catch_basins))
    # less pipe than two lines of their own
    assert sum(run.length for run in plan.pipe_runs) < 1.3 * 34.0
    (line,) = plan.discharges
    assert set(line.serves) == {basin.id for basin in plan.catch_basins}


def test_two_collectors_far_apart_beside_the_swale_have_lines_of_their_own(screen: Screen) -> None:
    ground, patios = two_patios(15.25, 35.25, 18.25)
    house = [{"geometry": box(22.0, 24.0, 28.0, 34.0), "foundation": "slab"}]
    swale = [{"geometry": shapely.LineString([(1.0, 5.0), (49.0, 5.0)]), "kind": "swale"}]
    plan = screen(ground, layers(hardscape=patios, roofs=house, outfalls=swale)).plan
    assert modes_of(plan) == {"gravity"}
    assert len(plan.catch_basins) == 2
    assert len(plan.pipe_runs) == 2
    assert {run.from_id for run in plan.pipe_runs} == {basin.id for basin in plan.catch_basins}
    assert len({run.to_id for run in plan.pipe_runs}) == 2
    for run in plan.pipe_runs:
        # straight down to the swale, but for the spacing of places along it
        assert run.length < 14.0


# Sites that a tool of this kind must be right on


def test_flat_lot_cannot_tell_by_lidar_and_is_sure_with_two_shots(screen: Screen) -> None:
    low = 100.00
    spare = 0.03048
    bottom = low - COVER - CROWN - DROP - SLOPE * LOW.distance(SWALE) - DIG - CLEARANCE - spare
    ground = with_low_patio(falling_to_swale(0.002, bottom), low)
    seen = [{"geometry": Point(25.0, 27.0), "what": "the patio stands under water", "date": "2024-05-02"}]
    lidar = screen(ground, layers(complaints=seen), rmse="10 cm").plan
    (line,) = lidar.discharges
    assert (line.mode, lidar.parts.fall.state) == ("gravity", "cannot_tell")
    assert line.fall_to_spare == pytest.approx(spare, abs=0.71 * SLOPE)
    assert lidar.parts.weakest == ("fall", lidar.parts.fall)
    first = say(lidar.site_checks[0], "us")
    assert "basin-1" in first
    assert "bottom of outfall-1 (swale)" in first
    shots = [("patio low", LOW.x, LOW.y, low), ("swale bottom", SWALE.x, SWALE.y, bottom)]
    level = screen(ground, layers(complaints=seen), rmse="10 cm", shots=shots, folder="level").plan
    (line,) = level.discharges
    assert (line.mode, level.parts.fall.state) == ("gravity", "sure")
    assert line.fall_to_spare == pytest.approx(spare, abs=0.71 * SLOPE)
    assert line.fall_error < 0.02


def test_a_patio_below_its_swale_is_pumped_alone_and_the_roofs_leave_by_gravity(screen: Screen) -> None:
    bottom = 99.40
    low = bottom - 0.6 * 0.3048
    x, y = places()
    # the house stands on the ridge, north of the patio
    ground = 100.0 + 0.04 * (y - 8.0) - 0.08 * np.clip(y - 30.0, 0.0, None)
    ground = np.where(y < 8.0, np.maximum(100.0 - 0.3 * (8.0 - y), bottom), ground)
    ground = np.where(y < 4.0, bottom + 0.25 * (4.0 - y), ground)
    away = np.maximum(np.abs(x - 34.0), np.abs(y - 20.0)) - 2.5
    ground = np.where(away < 4.0, np.minimum(ground, low + 0.02 + 0.6 * np.clip(away, 0.0, None)), ground)
    ground = np.where((np.abs(x - 34.25) < 0.2) & (np.abs(y - 20.25) < 0.2), low, ground)
    spouts = [{"geometry": Point(at, 26.8)} for at in (30.0, 34.0, 38.0)]
    shapes = layers(
        parcel=[{"geometry": box(10.0, 10.0, 46.0, 50.0)}],
        roofs=[{"geometry": box(28.0, 27.0, 40.0, 34.0), "foundation": "slab"}],
        hardscape=[{"geometry": box(31.5, 17.5, 36.5, 22.5), "kind": "patio", "protect": True}],
        downspouts=spouts,
    )
    findings = screen(ground, shapes)
    plan = findings.plan
    assert modes(findings) == {"gravity", "pump"}
    (pumped,) = [line for line in plan.discharges if line.mode == "pump"]
    assert pumped.serves == ("basin-1",)
    by_gravity = {name for line in plan.discharges if line.mode == "gravity" for name in line.serves}
    assert by_gravity == {"downspout-1", "downspout-2", "downspout-3"}
    roofs = {run.id for run in plan.pipe_runs if run.purpose == "downspout"}
    sump_feeds = {run.from_id for run in plan.pipe_runs if run.to_id == plan.sumps[0].id}
    assert not roofs & sump_feeds
    assert not any("Water comes out of" in warning for warning in say_all(plan.warnings, "us"))


def modes_of(plan) -> set[str]:
    return {line.mode for line in plan.discharges}


def test_a_dry_lot_with_a_false_pit_and_a_clogged_gutter_has_nothing_to_build(screen: Screen) -> None:
    x, y = places()
    # graded away from the house, which stands on the ridge
    ground = falling_to_swale(0.015, 99.40, ridge=27.0)
    pit = np.hypot(x - 34.0, y - 36.0)
    ground = np.where(pit < 1.5, np.minimum(ground, ground - 0.0508 * (1.0 - (pit / 1.5) ** 2)), ground)
    shapes = layers(
        roofs=[{"geometry": box(20.0, 22.0, 32.0, 32.0), "foundation": "crawl"}],
        hardscape=[{"geometry": box(22.0, 12.0, 26.0, 22.0), "kind": "drive", "protect": False}],
        downspouts=[{"geometry": Point(19.8, 27.0)}, {"geometry": Point(32.2, 23.0)}],
        complaints=[{"geometry": Point(19.6, 27.0), "what": "the gutter runs over and it is wet beside the wall"}],
    )
    plan = screen(ground, shapes, rmse="10 cm").plan
    assert modes_of(plan) == {"none"}
    assert say(plan.verdict, "us").startswith("Nothing to build")
    assert not plan.pipe_runs
    assert not plan.catch_basins
    assert not plan.french_drains
    assert not plan.take_off
    said = " ".join(say(cure.what, "us") for cure in plan.cures)
    assert "gutters" in said
    assert "Lead downspout-1" in said
    (nothing,) = plan.alternatives
    assert nothing.high < 300.0


def test_septic_well_gas_and_water_make_the_way_dearer_and_rule_a_soakaway_out(screen: Screen) -> None:
    ground = with_low_patio(falling_to_swale(0.03, 99.20), 100.40)
    field, well = box(12.0, 12.0, 24.5, 20.0), Point(36.0, 14.0)
    across = [shapely.LineString([(0.0, 11.0 + 0.8 * k), (50.0, 11.0 + 0.8 * k)]) for k in range(2)]
    shapes = layers(
        keep_out=[
            {"geometry": field, "kind": "septic field", "setback_m": 3.0, "crossing": "never"},
            {"geometry": well.buffer(0.3), "kind": "well", "setback_m": 3.0, "crossing": "never"},
        ],
        utilities=[
            {"geometry": across[0], "kind": "gas", "crossing": "careful", "depth_m": None},
            {"geometry": across[1], "kind": "water", "crossing": "careful", "depth_m": None},
        ],
        roofs=[{"geometry": box(12.0, 22.0, 19.0, 30.0), "foundation": "slab"}],
    )
    plan = screen(ground, shapes).plan
    assert modes_of(plan) == {"gravity"}
    (run,) = plan.pipe_runs
    assert {"gas line: dig by hand", "water line: dig by hand"} <= set(say_all(run.crossings, "us"))
    # round a corner the setback is drawn by chords
    assert in_plan(run).distance(field) >= 3.0 - 0.01
    assert in_plan(run).distance(well) >= 3.3 - 0.01
    ways = {way.mode: way for way in plan.alternatives}
    assert not ways["soakaway"].possible
    assert ways["soakaway"].depends_on.code == "dry_well_not_assessed"
    # what lies in the way costs more than the same lot without it
    plain = screen(ground, layers(roofs=shapes["roofs"]), folder="plain").plan
    free = {way.mode: way for way in plain.alternatives}
    assert ways["gravity"].likely > free["gravity"].likely
    assert "septic_wells" in {caution.id for caution in screen(ground, shapes, folder="again").cautions}
