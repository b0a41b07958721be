"""The gate: it finds nothing on a plan as it is made, and each fault on one that is broken by hand in that respect.

Distances are those of common practice, no source; the plane under a footing is Uniform Plumbing Code 314.1.
"""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, box

from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.summary import summary
from pipelines.deliverables.report.lot.answer import proposed
from pipelines.deliverables.words.say import say, sentence
from pipelines.deliverables.words.slopes import slopes_of
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.inputs.rules import RuleOverride
from pipelines.layout.gate.faults import faults_of, without_room
from pipelines.layout.gate.mended import mended_field
from pipelines.layout.plan import CatchBasin, FrenchDrain, PipeRun, Plan, Sump
from pipelines.layout.ways.settings import WayGround
from pipelines.lot import screen_lot
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from terrain.reason import reason
from terrain.unit_table import FOOT

EAST, NORTH = 500_000.0, 4_400_000.0
HOUSE, PATIO, LOT = box(14.0, 18.0, 24.0, 26.0), box(15.0, 30.0, 21.0, 34.0), box(8.0, 10.0, 34.0, 44.0)
FOOTING = 0.45


def _site(made_lots: Any, folder: Path) -> Path:
    """A lot with a crawl space whose patio lies in a hollow, drained by gravity to a swale in the street."""
    row, column = np.mgrid[0:100, 0:84]
    x, y = (column + 0.5) * 0.5, (100 - row - 0.5) * 0.5
    ground = 100.0 + 0.012 * (y - 10.0) - 0.2 * np.exp(-((x - 18.0) ** 2 + (y - 35.5) ** 2) / 6.0)
    ground = np.where(np.abs(y - 5.0) < 3.0, ground - 0.8 * (1.0 - np.abs(y - 5.0) / 3.0), ground)
    layers = {
        "parcel": [{"geometry": LOT}], "roofs": [{"geometry": HOUSE}],
        "hardscape": [{"geometry": PATIO, "kind": "patio", "protect": True}],
        "right_of_way": [{"geometry": box(0.0, 0.0, 42.0, 10.0)}],
        "outfalls": [{"geometry": Point(28.25, 5.25), "kind": "swale"}],
        "downspouts": [{"geometry": Point(24.0, 26.0)}],
    }
    more = f'[house]\nfoundation = "crawl"\nfooting_depth = "{FOOTING} m"\n'
    more += '[rain]\ndepth = "75 mm"\nduration = "60 min"\n'
    site: Path = made_lots.write_lot(folder, ground, layers, more=more)
    return site


def _narrow(made_lots: Any, folder: Path) -> Path:
    """A lot whose patio drains between the house and a septic field, or round the house."""
    row, column = np.mgrid[0:90, 0:72]
    x, y = (column + 0.5) * 0.5, (90 - row - 0.5) * 0.5
    ground = 100.0 + 0.02 * (y - 8.0) - 0.2 * np.exp(-((x - 22.0) ** 2 + (y - 20.0) ** 2) / 4.0)
    ground = np.where(np.abs(y - 3.6) < 2.4, ground - 0.9 * (1.0 - np.abs(y - 3.6) / 2.4), ground)
    septic = {"kind": "septic field", "setback_m": 1.5, "crossing": "never"}
    layers = {
        "parcel": [{"geometry": box(6.0, 8.0, 30.0, 40.0)}], "roofs": [{"geometry": box(13.0, 17.0, 20.0, 24.0)}],
        "hardscape": [{"geometry": box(20.0, 18.0, 24.0, 22.0), "kind": "patio", "protect": True}],
        "right_of_way": [{"geometry": box(0.0, 0.0, 36.0, 8.0)}],
        "outfalls": [{"geometry": Point(10.25, 3.75), "kind": "swale"}],
        "keep_out": [{"geometry": box(20.0, 10.0, 26.0, 14.7), **septic}],
    }
    more = '[house]\nfoundation = "slab"\n[rain]\ndepth = "75 mm"\nduration = "60 min"\n'
    site: Path = made_lots.write_lot(folder, ground, layers, more=more)
    return site


@pytest.fixture(scope="module")
def made(made_lots: Any, tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, WayGround]:
    """The lot's plan, and what its lines are laid in."""
    stages = LotStages(open_lot(_site(made_lots, tmp_path_factory.mktemp("gate") / "lot")))
    assert stages.way_ground is not None
    return stages.planned.plan, stages.way_ground.ground


def found(plan: Plan, ground: WayGround) -> dict[str, dict[str, Any]]:
    """Values of what the gate finds, by code; each has a sentence."""
    faults = faults_of(plan, ground)
    assert all(say(fault, units) for fault in faults for units in ("us", "si"))
    return {fault.code: dict(fault.values) for fault in faults}


def put(*xyz: tuple[float, float, float]) -> LineString:
    """A line on the map from the made lot's own coordinates."""
    return LineString([(EAST + x, NORTH + y, z) for x, y, z in xyz])


def at(x: float, y: float) -> Point:
    return Point(EAST + x, NORTH + y)


def laid(run: PipeRun, line: LineString, ground: float | tuple[float, ...], **more: Any) -> PipeRun:
    """A run along another line, the ground over it level or given at its vertices."""
    heights = ground if isinstance(ground, tuple) else (ground,) * len(line.coords)
    return replace(run, line=line, ground=heights, length=line.length, **more)


def with_runs(plan: Plan, *runs: PipeRun) -> Plan:
    """A plan with some of its runs in place of those of the same id, and new ones."""
    new = {run.id: run for run in runs}
    kept = [new.pop(run.id, run) for run in plan.pipe_runs]
    return replace(plan, pipe_runs=(*kept, *new.values()))


def a_sump(x: float, y: float) -> Sump:
    return Sump("sump-9", "run-9", at(x, y), 1.0, 0.001, 3.0, 1.0, 0.001, 4.0, reason("sump_basin_size", width=0.61,
                depth=1.0), 100.3, 99.9, 99.7, 99.5, 10.0, ())  # fmt: skip


def a_basin(x: float, y: float, name: str = "basin-9") -> CatchBasin:
    return CatchBasin(name, "run-9", at(x, y), "12 in", 0.001, 0.002, "grate", 0.02, 100.3, 99.9, False, "")


def a_drain(line: LineString, depth: float) -> FrenchDrain:
    return FrenchDrain("drain-9", "run-9", line, line.length, 0.3, depth, "4 in D2729 perforated", 0.005, 0.001, "")


def test_a_plan_as_it_is_made_passes(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    assert plan.catch_basins
    assert len(plan.pipe_runs) >= 2
    assert not plan.faults
    assert found(plan, ground) == {}


def test_structures_that_stand_in_each_other_are_found(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    place = shapely.transform(plan.catch_basins[0].point, lambda xy: xy - (EAST, NORTH))
    broken = replace(plan, sumps=(a_sump(place.x + 0.3, place.y),))
    fault = found(broken, ground)["structures_overlap"]
    assert {fault["one"], fault["other"]} == {plan.catch_basins[0].id, "sump-9"}
    # side by side they are sound, and so is the grate on the sump's own lid
    assert "structures_overlap" not in found(replace(plan, sumps=(a_sump(place.x + 0.8, place.y),)), ground)
    taken = replace(plan.catch_basins[0], drains_to="sump-9")
    own = replace(plan, catch_basins=(taken, *plan.catch_basins[1:]), sumps=(a_sump(place.x, place.y),))
    assert "structures_overlap" not in found(own, ground)
    # stone that stores water beside the sump starts under that grate, and runs into no other
    stone = replace(a_drain(put((place.x, place.y, 99.5), (place.x + 4.0, place.y, 99.5)), 0.6), id="stone-1",
                    drains_to="sump-9")  # fmt: skip
    assert "structures_overlap" not in found(replace(own, french_drains=(stone,)), ground)
    there = replace(a_basin(place.x + 2.0, place.y), point=at(place.x + 2.0, place.y))
    more = replace(own, french_drains=(stone,), catch_basins=(*own.catch_basins, there))
    assert "structures_overlap" in found(more, ground)
    trench = a_drain(put((place.x - 2.0, place.y, 99.9), (place.x + 2.0, place.y, 99.88)), 0.45)
    assert "structures_overlap" in found(replace(plan, french_drains=(trench,)), ground)


def test_a_line_through_another_lines_basin_is_found(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    run = max(plan.pipe_runs, key=lambda each: each.length)
    middle = shapely.line_interpolate_point(shapely.force_2d(run.line), 0.4 * run.length)
    basin = replace(a_basin(0.0, 0.0), point=middle)
    fault = found(replace(plan, catch_basins=(*plan.catch_basins, basin)), ground)["line_through_basin"]
    assert (fault["run"], fault["basin"]) == (run.id, "basin-9")


def test_lines_that_cross_without_room_between_them_are_found(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    run = plan.pipe_runs[0]
    one = laid(run, put((10.0, 38.0, 99.8), (14.0, 38.0, 99.76)), 100.3, id="run-8", from_id="a", to_id="b")
    for apart, seen in ((0.05, True), (0.25 + 0.11, False)):
        z = 99.78 - apart
        line = put((12.0, 36.0, z + 0.02), (12.0, 40.0, z - 0.02))
        other = laid(run, line, 100.3, id="run-9", from_id="c", to_id="d")
        assert ("lines_too_close" in found(with_runs(plan, one, other), ground)) == seen


def test_pipe_beside_a_wall_is_found_where_there_is_room_and_only_there(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    run = plan.pipe_runs[0]
    beside = put((26.0, 27.0, 99.9), (24.4, 26.0, 99.88), (24.4, 18.5, 99.80), (26.0, 17.0, 99.78))
    broken = laid(run, beside, 100.2, id="run-9", from_id="a", to_id="b")
    fault = found(with_runs(plan, broken), ground)["pipe_near_wall"]
    assert fault["run"] == "run-9"
    assert fault["away"] == pytest.approx(0.4, abs=1e-6)
    assert fault["wanted"] == pytest.approx(3.0 * FOOT)
    # with the rest of the lot barred but a strip along the wall there is no room, and so no fault
    strip = shapely.buffer(shapely.force_2d(beside), 1.0, cap_style="square")
    narrow = box(*ground.field.grid.bounds).difference(strip)
    shut = replace(ground, field=replace(ground.field, barred=shapely.union(ground.field.barred, narrow)))
    assert "pipe_near_wall" not in found(with_runs(plan, broken), shut)
    apart = put((26.0, 27.0, 99.9), (25.2, 26.0, 99.88), (25.2, 18.5, 99.80), (26.0, 17.0, 99.78))
    assert "pipe_near_wall" not in found(with_runs(plan, laid(broken, apart, 100.2)), ground)


def test_stone_beside_a_crawl_space_is_found(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    for off, seen in ((1.0, True), (4.0 * FOOT + 0.15 + 0.02, False)):
        drain = a_drain(put((24.0 + off, 25.0, 99.9), (24.0 + off, 19.0, 99.87)), 0.4)
        fault = found(replace(plan, french_drains=(drain,)), ground).get("stone_near_wall")
        assert (fault is not None) == seen
        if fault:
            assert fault["away"] == pytest.approx(off - 0.15)


def test_a_sump_beside_a_wall_is_found(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    for off, seen in ((1.0, True), (0.4, True), (-0.1, True), (5.0 * FOOT + 0.02, False)):
        fault = found(replace(plan, sumps=(a_sump(24.0 + off + 0.305, 22.0),)), ground).get("sump_near_wall")
        assert (fault is not None) == seen
        if fault:
            assert fault["away"] == pytest.approx(max(off, 0.0))


def test_a_saw_cut_through_a_protected_patio_is_found(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    run = plan.pipe_runs[0]
    through = put((22.5, 32.0, 99.95), (13.5, 32.0, 99.68))
    fault = found(with_runs(plan, laid(run, through, 100.25, id="run-9", from_id="a", to_id="b")), ground)["saw_cut"]
    assert fault["length"] == pytest.approx(6.0)
    # what comes out of the patio by the shortest way has no other
    out = put((20.0, 32.0, 99.95), (22.5, 32.0, 99.92))
    assert "saw_cut" not in found(with_runs(plan, laid(run, out, 100.25, id="run-9", from_id="a", to_id="b")), ground)


@pytest.mark.parametrize(("deeper", "seen"), [(0.05, True), (-0.05, False)])
def test_the_edge_of_a_trench_is_held_off_the_footings_plane_at_every_vertex(
    made: tuple[Plan, WayGround], deeper: float, seen: bool
) -> None:
    plan, ground = made
    run = plan.pipe_runs[0]
    x, y = 25.5, 22.0
    # the ground beside the walls is taken at its median; the bottom of a 10 in trench lies under the pipe's wall
    beside = 100.0 + 0.012 * (0.5 * (18.0 + 26.0) - 10.0)
    bottom = beside - FOOTING - (x - 24.0 - 0.127) - deeper
    line = put((x, y + 3.0, bottom + 0.004 + 0.02), (x, y, bottom + 0.004), (x, y - 3.0, bottom + 0.004 - 0.02))
    fault = found(with_runs(plan, laid(run, line, beside, id="run-9", from_id="a", to_id="b")), ground).get(
        "trench_under_footing"
    )
    assert (fault is not None) == seen
    if fault:
        assert fault["trench"] == "run-9"


@pytest.mark.parametrize(("deeper", "seen"), [(0.05, True), (-0.05, False)])
def test_stone_and_pits_are_held_off_the_footings_plane(
    made: tuple[Plan, WayGround], deeper: float, seen: bool
) -> None:
    plan, ground = made
    x, beside = 26.0, 100.0 + 0.012 * (0.5 * (18.0 + 26.0) - 10.0)
    # a trench of 30 cm with 2 in of stone under its pipe; the side of a basin of 61 cm
    invert = beside - FOOTING - (x - 24.0 - 0.15) - deeper + 2.0 * FOOT / 12.0
    drain = a_drain(put((x, 24.0, invert + 0.02), (x, 22.0, invert), (x, 20.0, invert - 0.02)), 0.45)
    bottom = beside - FOOTING - (x - 24.0 - 0.305) - deeper
    sump = replace(a_sump(x, 22.0), bottom_elevation=bottom)
    for broken, name in ((replace(plan, french_drains=(drain,)), "drain-9"), (replace(plan, sumps=(sump,)), "sump-9")):
        fault = found(broken, ground).get("trench_under_footing")
        assert (fault is not None) == seen
        if fault:
            assert fault["trench"] == name
            assert fault["into"] == pytest.approx(deeper, abs=0.03)


def test_pipe_that_hangs_in_the_air_is_found(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    run = next(each for each in plan.pipe_runs if each.to_id.startswith("outfall"))
    vertex = len(run.ground) // 3
    crown = run.line.coords[vertex][2] + 0.107
    hollow = tuple(crown - 0.2 if k == vertex else z for k, z in enumerate(run.ground))
    fault = found(with_runs(plan, replace(run, ground=hollow)), ground)["pipe_in_the_air"]
    assert fault["run"] == run.id
    assert fault["over"] > 0.15


@pytest.mark.parametrize("item", ["mitred end", "animal guard", "splash pad"])
def test_an_end_without_its_protection_in_the_take_off_is_found(made: tuple[Plan, WayGround], item: str) -> None:
    plan, ground = made
    assert item in [line.item for line in plan.take_off]
    broken = replace(plan, take_off=tuple(line for line in plan.take_off if line.item != item))
    assert found(broken, ground)["end_not_protected"]["missing"] == (item,)


def test_an_end_without_its_fitting_is_found(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    broken = replace(plan, fittings=tuple(each for each in plan.fittings if not each.kind.startswith("mitred")))
    assert "end_not_protected" in found(broken, ground)


def test_a_break_of_slope_without_a_fitting_is_found(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    run = next(each for each in plan.pipe_runs if len(each.segments) > 1)
    assert max(each.slope for each in run.segments) > min(each.slope for each in run.segments) + 0.001
    broken = replace(plan, fittings=tuple(each for each in plan.fittings if not each.kind.startswith("slope")))
    assert found(broken, ground)["break_without_fitting"]["run"] == run.id


def test_thin_cover_is_found_in_its_segment(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    run = plan.pipe_runs[0]
    # 10 m at 1 % and 10 m at 2 %, under ground that lies low over the second half alone
    line = put(*((10.0 + s, 40.0, 99.9 - 0.01 * min(s, 10.0) - 0.02 * max(s - 10.0, 0.0)) for s in range(21)))
    heights = tuple(100.3 if s <= 12 else 99.6 + 0.104 + 0.10 + 0.02 * (20 - s) for s in range(21))
    broken = laid(run, line, heights, id="run-9", from_id="a", to_id="b", kind="gravity")
    fault = found(with_runs(plan, broken), ground)["thin_cover"]
    assert (fault["start"], fault["end"]) == (pytest.approx(10.0), pytest.approx(20.0))
    assert fault["cover"] < 0.1524
    given = RuleOverride("cover_tolerance", None, 0.06, None)
    lenient = replace(ground.situation, rules=ground.situation.rules.with_overrides((given,)))
    assert "thin_cover" not in found(with_runs(plan, broken), replace(ground, situation=lenient))


def test_a_field_is_mended_by_what_is_found_of_lines_in_it(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    run = plan.pipe_runs[0]
    ends = {"id": "run-9", "from_id": "a", "to_id": "b", "kind": "gravity"}
    beside = put((26.0, 27.0, 99.9), (24.4, 26.0, 99.88), (24.4, 18.5, 99.80), (26.0, 17.0, 99.78))
    near = with_runs(plan, laid(run, beside, 100.2, **ends))
    through = put((22.5, 32.0, 99.95), (13.5, 32.0, 99.68))
    cut = with_runs(plan, laid(run, through, 100.25, **ends))
    basin = replace(a_basin(0.0, 0.0), point=at(18.0, 38.0))
    over = laid(run, put((14.0, 38.0, 99.8), (22.0, 38.0, 99.7)), 100.3, **ends)
    pit = replace(with_runs(plan, over), catch_basins=(*plan.catch_basins, basin))
    # what is found is asked for: no line can be laid there again
    for broken, place in ((near, at(24.4, 22.0)), (cut, at(18.0, 32.0)), (pit, at(18.0, 38.0))):
        mended = mended_field(broken, faults_of(broken, ground), ground, ground.field)
        assert mended is not None
        assert shapely.intersects(mended.barred, place)
        assert not shapely.intersects(ground.field.barred, place)
    assert mended_field(plan, (), ground, ground.field) is None


def test_a_way_out_for_one_lines_end_is_no_way_for_another_line(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    run = plan.pipe_runs[0]
    _, _, east, north = ground.protected_paving.bounds
    east, north = east - EAST, north - NORTH
    over = put((east + 1.4, north - 2.0, 99.9), (east - 2.0, north + 1.4, 99.7))
    cut = laid(run, over, 100.25, id="run-8", from_id="a", to_id="b", kind="gravity")
    out = put((east - 1.0, north - 1.0, 99.9), (east - 1.0, north + 3.0, 99.86))
    own = laid(run, out, 100.25, id="run-9", from_id="c", to_id="d", kind="gravity")
    broken = with_runs(plan, cut, own)
    faults = tuple(fault for fault in faults_of(broken, ground) if fault.code == "saw_cut")
    assert [fault["run"] for fault in faults] == ["run-8"]
    mended = mended_field(broken, faults, ground, ground.field)
    assert mended is not None
    place = shapely.centroid(shapely.intersection(shapely.force_2d(over), ground.protected_paving))
    assert shapely.intersects(mended.barred, place)
    # the other one can still begin where it does
    assert not shapely.intersects(mended.barred, at(east - 1.0, north - 1.0))


def test_thin_cover_that_no_line_there_could_better_is_a_note(made: tuple[Plan, WayGround]) -> None:
    plan, ground = made
    run = plan.pipe_runs[0]
    ends = {"id": "run-9", "from_id": "a", "to_id": "b", "kind": "gravity"}
    pipe = find_pipe(run.pipe_key)
    heights = ground.field.ground[ground.field.grid.cells(EAST + 12.0, NORTH + 38.0)]
    for cover, known in ((0.05, True), (0.10, False)):
        # level ground: a line that begins and ends with so little cover has as little between
        high = float(heights) - cover - pipe.outside + pipe.wall
        level = 0.0 if known else -1.0
        line = put((12.0, 38.0, high), (16.0, 38.0, high - 0.02), (20.0, 38.0, high - 0.04 + level))
        broken = with_runs(plan, laid(run, line, float(heights), **ends))
        faults = tuple(fault for fault in faults_of(broken, ground) if fault.code == "thin_cover")
        assert faults
        notes = without_room(faults, broken, ground)
        assert [note.code for note in notes.values()] == (["thin_cover_no_room"] * len(faults) if known else [])


@pytest.mark.parametrize(("short", "in_taper"), [(0.3, True), (1.2, False)])
def test_thin_cover_where_lines_join_in_the_taper_is_a_note(
    made: tuple[Plan, WayGround], short: float, in_taper: bool
) -> None:
    plan, ground = made
    taper, (outfall,) = ground.situation.rules["outlet_taper"].likely, plan.outfalls
    run, end = plan.pipe_runs[0], outfall.point.x - EAST
    meet, joined = put((end, 12.0, 99.5), (end, 24.0, 99.6)), put((end, 12.0 - taper + 0.5, 99.4), (end, 12.0, 99.5))
    upper = laid(run, meet.reverse(), 99.9, id="run-8", from_id="basin-1", to_id="run-9")
    lower = laid(run, joined.reverse(), 99.8, id="run-9", from_id="run-8", to_id=outfall.id)
    fault = reason("thin_cover", run="run-8", cover=0.1, floor=0.15, start=upper.length - short, end=upper.length)
    notes = without_room((fault,), with_runs(plan, upper, lower), ground)
    assert [note.code == "thin_cover_at_outlet" for note in notes.values()] == [True] * in_taper


@pytest.mark.parametrize("missing", [0.01, 0.04])
def test_a_field_asks_for_the_cover_that_is_missing(made: tuple[Plan, WayGround], missing: float) -> None:
    plan, ground = made
    run = plan.pipe_runs[0]
    line = put((12.0, 40.0, 99.9), (16.0, 40.0, 99.86), (20.0, 40.0, 99.82))
    pipe = find_pipe(run.pipe_key)
    crown = np.array([99.9, 99.86, 99.82]) + pipe.outside - pipe.wall
    heights = tuple(float(z) for z in crown + 0.1524 + np.array([0.1, -missing, 0.1]))
    broken = with_runs(plan, laid(run, line, heights, id="run-9", from_id="a", to_id="b", kind="gravity"))
    mended = mended_field(broken, faults_of(broken, ground), ground, ground.field)
    assert mended is not None
    row, column = mended.grid.cells(EAST + 16.0, NORTH + 40.0)
    least = 0.1524 + missing
    assert mended.cover[row, column] >= least - 1e-6
    # and only there
    assert 1 <= np.count_nonzero(mended.cover > ground.field.cover) <= 9


def test_lines_are_laid_again_where_the_gate_finds_something(made_lots: Any, tmp_path: Path, monkeypatch: Any) -> None:
    """A way between a house and a septic field too narrow for a line: it goes round on the other side."""
    # the least works, since larger pipes go another way
    monkeypatch.setattr("pipelines.layout.two_catchings.flows_that_catch", lambda *_: None)
    with monkeypatch.context() as once:
        once.setattr("pipelines.layout.options.MOST_TIMES", 0)
        first = LotStages(open_lot(_narrow(made_lots, tmp_path / "once"))).planned.plan
    assert "pipe_near_wall" in {fault.code for fault in first.faults}
    again = LotStages(open_lot(_narrow(made_lots, tmp_path / "again"))).planned.plan
    assert again.discharges[0].mode == first.discharges[0].mode
    assert not again.faults


def test_what_is_found_is_named_on_the_plan(made_lots: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fault = reason("line_through_basin", run="run-1", basin="basin-9")
    monkeypatch.setattr("pipelines.layout.planner.faults_of", lambda plan, ground: (fault,))
    findings = screen_lot(_site(made_lots, tmp_path / "lot"))
    assert findings.plan.faults == (fault,)
    assert fault in findings.warnings
    told = say(fault, "si")
    assert summary(findings)["not_buildable"] == [told]
    lines = proposed(findings, lot_tables(findings, "us"), "us")
    answer = "\n".join("".join(str(word) for word in words) for words in lines)
    assert f"Cannot be built as drawn: {sentence(fault, 'us')}" in answer


def test_a_broken_grade_is_told_by_segment_and_never_as_a_mean(made: tuple[Plan, WayGround]) -> None:
    plan, _ = made
    run = next(each for each in plan.pipe_runs if len(each.segments) > 1)
    inverts = shapely.get_coordinates(run.line, include_z=True)
    fall = sum(each.slope * (each.end - each.start) for each in run.segments)
    assert fall == pytest.approx(inverts[0, 2] - inverts[-1, 2])
    assert run.segments[-1].end == pytest.approx(run.length)
    words = str(say(slopes_of(run), "si"))
    assert words.count(" for ") == len(run.segments)
    assert run.flattest == min(each.slope for each in run.segments)
    # it carries what its flattest segment carries full; Manning's formula, and 1.08 of full at 0.94 of its depth
    pipe = find_pipe(run.pipe_key)
    full = 0.31169 / pipe.roughness * pipe.inside ** (8.0 / 3.0) * run.flattest**0.5
    assert run.capacity == pytest.approx(full, rel=0.09)


def test_an_end_in_a_bank_is_priced_with_its_protection(made: tuple[Plan, WayGround]) -> None:
    plan, _ = made
    ends = [fitting for fitting in plan.fittings if fitting.kind.startswith("mitred end")]
    assert len(ends) == sum(run.to_id in {each.id for each in plan.outfalls} for run in plan.pipe_runs)
    priced = {line.item: line for line in plan.take_off}
    for item in ("mitred end", "animal guard", "splash pad"):
        assert priced[item].quantity == len(ends)
        assert priced[item].likely > 0.0
