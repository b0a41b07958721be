"""Lots made at random: whatever is proposed keeps the limits, ends at an outfall, adds up and loses no water."""

from dataclasses import dataclass
from itertools import combinations
from itertools import count as count_up
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import Phase, event, given, seed, settings
from hypothesis import strategies as st
from shapely import LineString, Point, box

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.words.say import say_all
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.inputs.rules import load_rules
from pipelines.layout.plan import PipeRun, Plan
from pipelines.layout.quantities.take_off import total_cost
from pipelines.lot import screen_lot
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from terrain.unit_table import CUBIC_YARD, FOOT, INCH, SHORT_TON

ROWS, COLUMNS, CELL = 90, 72, 0.5
EAST, NORTH = 500_000.0, 4_400_000.0
TAPER = 5.0
"""Last stretch before an outlet in which the cover may taper out. [m]"""
RULES = load_rules()
# a lot takes some seconds
MANY = settings().max_examples // 5
LOT = box(6.0, 8.0, 30.0, 40.0)
STREET = box(0.0, 0.0, 36.0, 8.0)
RAIN = '[rain]\ndepth = "{depth} mm"\nduration = "60 min"\n'


@dataclass(frozen=True)
class Made:
    """A random lot: its ground, its shapes in the made lot's coordinates, and what its site file says besides."""

    ground: np.ndarray
    layers: dict[str, list[dict[str, Any]]]
    more: str
    walls: shapely.Geometry
    forbidden: shapely.Geometry
    footing: float


def _places() -> tuple[np.ndarray, np.ndarray]:
    row, column = np.mgrid[0:ROWS, 0:COLUMNS]
    return (column + 0.5) * CELL, (ROWS - row - 0.5) * CELL


@st.composite
def lots(draw) -> Made:
    """Gentle ground with a house, a patio that may lie low, a swale in the street, and what is buried or kept off."""
    x, y = _places()
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    fall, tilt = draw(st.floats(-0.005, 0.03)), draw(st.floats(-0.01, 0.01))
    ground = 100.0 + fall * (y - 8.0) + tilt * (x - 18.0)
    hills = draw(st.floats(0.0, 0.12))
    for _ in range(4):
        u, v, phase = rng.uniform(-0.35, 0.35), rng.uniform(-0.35, 0.35), rng.uniform(0.0, 6.3)
        ground = ground + 0.5 * hills * np.sin(u * x + v * y + phase)
    west, south = draw(st.integers(10, 14)), draw(st.integers(16, 22))
    house = box(west, south, west + draw(st.integers(7, 11)), south + draw(st.integers(6, 9)))
    side = draw(st.sampled_from(["north", "east", "apart"]))
    w, s, e, n = house.bounds
    patio = {
        "north": box(w + 1.0, n, w + 6.0, n + 4.0), "east": box(e, s + 1.0, min(e + 4.0, 29.0), s + 5.0),
        "apart": box(11.0, 33.0, 16.0, 37.0),
    }[side]
    low = draw(st.floats(0.0, 0.30))
    px, py = patio.centroid.x + 0.3, patio.centroid.y - 0.2
    ground = ground - low * np.exp(-(((x - px) / 2.0) ** 2) - ((y - py) / 2.0) ** 2)
    if draw(st.booleans()):
        hx, hy = draw(st.integers(9, 27)), draw(st.integers(11, 38))
        ground = ground - draw(st.floats(0.05, 0.25)) * np.exp(-((x - hx) ** 2 + (y - hy) ** 2) / 6.0)
    depth = draw(st.floats(0.2, 1.0))
    ground = ground - np.where(np.abs(y - 3.6) < 2.4, depth * (1.0 - np.abs(y - 3.6) / 2.4), 0.0)
    ground = ground + rng.normal(0.0, draw(st.sampled_from([0.0, 0.0, 0.01, 0.02])), ground.shape)
    ground = np.round(ground, 2) if draw(st.booleans()) else ground
    kind = draw(st.sampled_from(["line", "point", "none", "given level"]))
    layers: dict[str, list[dict[str, Any]]] = {
        "parcel": [{"geometry": LOT}],
        "roofs": [{"geometry": house}],
        "hardscape": [{"geometry": patio, "kind": "patio", "protect": True}],
        "right_of_way": [{"geometry": STREET}],
    }
    if kind == "line":
        layers["outfalls"] = [{"geometry": LineString([(0.5, 3.6), (35.5, 3.6)]), "kind": "swale"}]
    elif kind != "none":
        at = Point(draw(st.integers(4, 32)) + 0.25, 3.75)
        layers["outfalls"] = [{"geometry": at, "kind": draw(st.sampled_from(["swale", "inlet", "curb"]))}]
        if kind == "given level":
            layers["outfalls"][0]["level_m"] = 100.0 - draw(st.floats(0.2, 1.2))
    if draw(st.booleans()):
        layers["downspouts"] = [{"geometry": Point(*at)} for at in ((w, s), (e, s), (w, n), (e, n))]
    kept: list[shapely.Geometry] = [house]
    if draw(st.booleans()):
        shed = box(24.0, 34.0, 28.0, 37.0)
        open_below = draw(st.booleans())
        layers["roofs"] = [{"geometry": house, "open_below": False}, {"geometry": shed, "open_below": open_below}]
        kept += [] if open_below else [shed]
    if draw(st.booleans()):
        fence = LineString([(8.0, 31.5), (draw(st.integers(14, 28)), 31.5)])
        layers["barriers"] = [{"geometry": fence, "kind": "fence with a kickboard"}]
    if draw(st.booleans()):
        at = draw(st.integers(8, 22))
        field = box(at, 10.0, at + 6.0, 14.0)
        layers["keep_out"] = [{"geometry": field, "kind": "septic field", "setback_m": 1.5, "crossing": "never"}]
        kept.append(shapely.buffer(field, 1.5))
    if draw(st.booleans()):
        gas = LineString([(0.0, 9.3), (36.0, 9.3)])
        layers["utilities"] = [{"geometry": gas, "kind": "gas", "crossing": "careful",
                                "depth_m": draw(st.sampled_from([None, 0.5, 0.8]))}]
    if draw(st.booleans()):
        layers["complaints"] = [{"geometry": patio.centroid, "what": "water on the patio"}]
    foundation = draw(st.sampled_from(["slab", "crawl", "basement"]))
    walls = [row["geometry"] for row in layers["roofs"] if not row.get("open_below")]
    footing = draw(st.sampled_from([0.3, 0.6]))
    more = f'[house]\nfoundation = "{foundation}"\nfooting_depth = "{footing} m"\n'
    more += RAIN.format(depth=draw(st.sampled_from([40, 75, 110])))
    more += f'[soil]\ngroup = "{draw(st.sampled_from(["A", "B", "C", "D"]))}"\n'
    kept.append(shapely.difference(box(-50, -50, 100, 100), shapely.union(LOT, STREET)))
    return Made(ground, layers, more, shapely.union_all(walls), shapely.union_all(kept), footing)


@pytest.fixture(scope="module")
def screen(made_lots: Any, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Screens a random lot."""
    folder: Path = tmp_path_factory.mktemp("random")
    number = count_up()

    def run(lot: Made) -> Findings:
        return screen_lot(
            made_lots.write_lot(folder / f"lot-{next(number)}", lot.ground, lot.layers, more=lot.more, cell=CELL)
        )

    return run


@given(lot=lots())
@settings(max_examples=MANY)
def test_whatever_is_proposed_keeps_every_limit(screen: Any, lot: Made) -> None:
    findings = screen(lot)
    plan = findings.plan
    event(" and ".join(sorted({line.mode for line in plan.discharges})))
    _check_water(findings)
    _check_flow_paths(findings)
    _check_forest(plan)
    for run in plan.pipe_runs:
        _check_profile(run, plan, lot)
        _check_ground(run, lot)
    _check_crossings(plan)
    _check_stone(plan, lot)
    _check_grates(plan)
    _check_sumps(plan)
    _check_money(plan)
    _check_verdicts(plan)
    _check_gate(plan)


def _check_water(findings: Findings) -> None:
    balance = findings.balance
    gone = balance.infiltrated + balance.leaves + balance.stands + balance.collected
    assert gone == pytest.approx(balance.rain, rel=1e-9)
    shapes = [row.shape for row in findings.runoff]
    assert shapely.union_all(shapes).area == pytest.approx(sum(shape.area for shape in shapes), rel=1e-9)
    assert sum(row.area for row in findings.runoff) == pytest.approx(findings.studied_area, rel=1e-9)
    for water in findings.low_spots:
        assert water.storm_depth_after <= water.storm_depth + 1e-6


def _check_flow_paths(findings: Findings) -> None:
    least = findings.rules["low_spot_least_depth"].likely
    for path in findings.flow_paths:
        rows, columns = findings.grid.cells(*shapely.get_coordinates(path.line).T)
        heights = findings.ground[rows, columns]
        assert path.climb < least + 1e-9
        if not path.when_full:
            assert np.max(heights - np.minimum.accumulate(heights)) == pytest.approx(path.climb, abs=1e-9)


def _onward(run: PipeRun, plan: Plan) -> PipeRun | None:
    """The run that takes what a run carries; None where that is an outfall."""
    return next((each for each in plan.pipe_runs if run.to_id in (each.id, each.from_id) and each is not run), None)


def _check_forest(plan: Plan) -> None:
    ids = [each.id for group in (plan.catch_basins, plan.french_drains, plan.channel_drains, plan.pipe_runs,
                                 plan.sumps, plan.outfalls, plan.fittings) for each in group]
    assert len(ids) == len(set(ids))
    ends = {outfall.id for outfall in plan.outfalls}
    # a second pump's line lies in the first one's trench
    starts = [run.from_id for run in plan.pipe_runs if not run.from_id.startswith("run-") and not run.beside]
    assert len(starts) == len(set(starts))
    for run in plan.pipe_runs:
        at, steps = run, 0
        while at.to_id not in ends:
            after = _onward(at, plan)
            assert after is not None, f"{at.id} ends nowhere"
            assert after.invert_up <= at.invert_down + 1e-6 or after.kind == "pressure"
            at, steps = after, steps + 1
            assert steps <= len(plan.pipe_runs)
    runs = {run.id: run for run in plan.pipe_runs}
    for collector in (*plan.catch_basins, *plan.french_drains, *plan.channel_drains):
        assert collector.drains_to in (*runs, *(sump.id for sump in plan.sumps))
    served = [name for line in plan.discharges for name in line.serves]
    assert len(served) == len(set(served))
    for sump in plan.sumps:
        assert runs[sump.drains_to].kind == "pressure"
        # a roof goes through it only where nothing else takes it, and that is said
        through = {warning["name"] for warning in plan.warnings if getattr(warning, "code", "") == "roof_through_lift"}
        assert {name for name in _all_upstream(sump.id, plan) if name.startswith("downspout")} <= through


def _all_upstream(name: str, plan: Plan) -> set[str]:
    found: set[str] = set()
    waiting = [name]
    while waiting:
        at = waiting.pop()
        for run in plan.pipe_runs:
            if run.to_id == at and run.id not in found:
                found |= {run.id, run.from_id}
                waiting += [run.id, run.from_id]
    return found


def _stations(run: PipeRun) -> tuple[np.ndarray, np.ndarray]:
    """Points every quarter metre along a run (x, y, invert) in the made lot's coordinates, and how far along."""
    points = shapely.get_coordinates(shapely.segmentize(run.line, 0.25), include_z=True) - (EAST, NORTH, 0.0)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points[:, :2], axis=0).T))])
    return points, along


def _ground_near(lot: Made, x: float, y: float, reach: float = 1.01) -> tuple[float, float]:
    """Lowest and highest ground within a cell of the field that lines are laid in."""
    cells_x, cells_y = _places()
    near = np.hypot(cells_x - x, cells_y - y) <= reach
    return float(lot.ground[near].min()), float(lot.ground[near].max())


def _to_outfall(run: PipeRun, plan: Plan) -> float:
    """Length of the lines below a run, infinite where they end in a sump."""
    ends = {outfall.id for outfall in plan.outfalls}
    below = 0.0
    while run.to_id not in ends:
        after = _onward(run, plan)
        if after is None or after.kind == "pressure":
            return np.inf
        below += after.length
        run = after
    return below


def _check_profile(run: PipeRun, plan: Plan, lot: Made) -> None:
    pipe, said = find_pipe(run.pipe_key), say_all(plan.warnings, "us")
    points, along = _stations(run)
    assert run.length == pytest.approx(along[-1], rel=1e-9)
    stop = RULES["depth_hand_dig"].high
    below = _to_outfall(run, plan)
    gravity = run.kind == "gravity"
    if gravity:
        least = RULES["slope_4in_smooth" if pipe.nominal < 0.14 else "slope_6in_smooth"].low
        coordinates = shapely.get_coordinates(run.line, include_z=True)
        steps = np.hypot(*np.diff(coordinates[:, :2], axis=0).T)
        assert (-np.diff(coordinates[:, 2]) >= least * steps - 1e-6).all(), f"{run.id} is too flat"
        assert run.peak_flow <= run.capacity * 1.08 or any("Water comes out of" in warning for warning in said)
    cover = RULES["cover_lawn"].low
    if gravity:  # what the field's cells of 1 m hide of the ground is told where it takes cover under the floor
        told = any(f"{run.id} has" in warning and "of cover at its least" in warning for warning in said)
        assert told == (run.least_cover < cover - 0.003), run.id
    # where a pipe leaves a basin its cover is that of the size its flow asks for, though it may be laid a size larger
    # for its flatter slope; a channel's own depth is all the cover there is beside it
    at_start = {"basin": cover - 2.06 * INCH, "channel": 0.0}.get(run.from_id.split("-")[0], cover)
    for (x, y, invert), station in zip(points, along, strict=True):
        lowest, highest = _ground_near(lot, x, y)
        assert invert - pipe.wall >= lowest - stop - 1e-6, f"{run.id} is too deep at {station:.1f} m"
        tapers = along[-1] - station + (below if gravity else 0.0) <= TAPER + 0.5
        if not tapers:
            bare = highest - (invert + pipe.outside - pipe.wall)
            least_here = at_start if station < 1.0 else cover
            assert bare >= least_here - 1e-6, f"{run.id}: cover {bare:.3f} m at {station:.1f} of {run.length:.1f} m"


def _check_ground(run: PipeRun, lot: Made) -> None:
    points, _ = _stations(run)
    line = LineString(points[:, :2])
    # a downspout stands at the wall, and a stub of half a metre leads off it
    assert shapely.intersection(line, shapely.buffer(lot.forbidden, -0.01)).length <= 0.55, run.id
    away = shapely.distance(lot.walls, shapely.points(points[:, :2]))
    pipe = find_pipe(run.pipe_key)
    for (x, y, invert), off in zip(points, away, strict=True):
        _, highest = _ground_near(lot, x, y)
        assert highest - (invert - pipe.wall) <= lot.footing + off + 1.0 + 0.25, f"{run.id} undermines the footing"


def _check_crossings(plan: Plan) -> None:
    """Where lines of a plan cross, which is rare, the plan names them."""
    for one, other in combinations(plan.pipe_runs, 2):
        if one.id == other.beside:
            continue
        a, b = (shapely.force_2d(run.line) for run in (one, other))
        nodes = shapely.MultiPoint([a.coords[0], a.coords[-1], b.coords[0], b.coords[-1]])
        met = shapely.get_parts(shapely.difference(shapely.intersection(a, b), shapely.buffer(nodes, 0.06)))
        # a line may run over the stub of a downspout that it passes, and join it there
        if any(not part.is_empty and (part.geom_type == "Point" or part.length > 0.55) for part in met):
            assert any(one.id in warning and other.id in warning for warning in say_all(plan.warnings, "us"))


def _check_gate(plan: Plan) -> None:
    """Nothing of a plan could not be built as drawn."""
    assert not plan.faults
    assert set(plan.faults) <= set(plan.warnings)


def _check_stone(plan: Plan, lot: Made) -> None:
    slab = 'foundation = "slab"' in lot.more
    for drain in plan.french_drains:
        line = shapely.transform(shapely.force_2d(drain.line), lambda xy: xy - (EAST, NORTH))
        nearest = line.distance(lot.walls) - drain.width / 2.0
        if slab:
            assert nearest >= drain.depth - lot.footing - 1e-6
        else:
            assert nearest >= 4.0 * FOOT - 1e-6
        assert shapely.covers(LOT, line)
        inverts = shapely.get_coordinates(drain.line, include_z=True)[:, 2]
        assert (np.diff(inverts) <= 1e-9).all()
        assert drain.depth <= RULES["depth_hand_dig"].likely + 1e-6


def _check_grates(plan: Plan) -> None:
    """No grate surcharges by friction alone, full pipes from the outfall up, unless the plan says so."""
    said = " ".join(say_all(plan.warnings, "us"))
    bottoms = {outfall.id: outfall.level for outfall in plan.outfalls}
    bottoms |= {sump.id: sump.inlet_elevation for sump in plan.sumps}
    rims = {basin.id: basin.ground_elevation for basin in plan.catch_basins}

    def head(run: PipeRun) -> float:
        """Level of the water at the upper end of a run."""
        pipe = find_pipe(run.pipe_key)
        below = bottoms.get(run.to_id)
        after = _onward(run, plan)
        if below is None:
            assert after is not None
            below = head(after)
        full = 0.31169 / pipe.roughness * pipe.inside ** (8.0 / 3.0)
        return max(below + (run.peak_flow / full) ** 2 * run.length, run.invert_up)

    for run in plan.pipe_runs:
        if run.kind == "gravity" and run.from_id in rims and f"Water comes out of {run.from_id}" not in said:
            assert head(run) <= rims[run.from_id] + 1e-6, f"{run.from_id} surcharges"
    for basin in plan.catch_basins:
        if not basin.provisional:
            # a grate on a sump's own lid has the sump's inlet below it
            onward = {run.id: run.invert_up for run in plan.pipe_runs}
            onward |= {sump.id: sump.inlet_elevation for sump in plan.sumps}
            assert basin.invert_elevation == pytest.approx(onward[basin.drains_to], abs=1e-9)
            assert basin.invert_elevation < basin.ground_elevation
            assert basin.capacity > 0.0


def _check_sumps(plan: Plan) -> None:
    for sump in plan.sumps:
        line = next(r for r in plan.pipe_runs if r.id == sump.drains_to)
        outfall = next(o for o in plan.outfalls if o.id == line.to_id)
        # it lifts to the water that the line ends in, and to the highest that an outlet whose level nobody gave may lie
        water = -np.inf if outfall.highest_level is None else outfall.highest_level
        outlet = max(outfall.level + outfall.over, water)
        highest = max(outlet, max(z for _, _, z in line.line.coords))
        assert sump.lift == pytest.approx(highest - sump.off_elevation, abs=1e-9)
        lines = [r for r in plan.pipe_runs if r.from_id == sump.id]
        assert (len(lines), sum(r.peak_flow for r in lines)) == (sump.pumps, pytest.approx(sump.delivered_flow))
        assert sump.delivered_flow < sump.pumps * sump.operating_flow
        codes = {warning.code for warning in sump.warnings}
        assert ("more_than_the_pump_moves" in codes) <= (not sump.copes)
        (pumped,) = [each for each in plan.discharges if each.mode == "pump"]
        assert sump.copes or pumped.verdict == "no"
        assert sump.bottom_elevation < sump.off_elevation < sump.inlet_elevation < sump.ground_elevation


def _check_money(plan: Plan) -> None:
    if not plan.take_off:
        assert not plan.pipe_runs
        return
    quantities = {line.item: line.quantity for line in plan.take_off}
    laid: dict[str, float] = {}
    for key, line in [(run.pipe_key, run.line) for run in plan.pipe_runs] + [
        (drain.pipe, drain.line) for drain in plan.french_drains
    ]:
        laid[f"{key} pipe"] = laid.get(f"{key} pipe", 0.0) + shapely.force_2d(line).length
    for item, length in laid.items():
        assert quantities[item] == pytest.approx(length * 1.075, rel=1e-6)
    stone = sum(
        drain.length * (drain.width * drain.depth - np.pi * find_pipe(drain.pipe).outside ** 2 / 4.0)
        for drain in plan.french_drains
    )
    pits = [basin for basin in plan.catch_basins if not basin.drains_to.startswith("sump")]
    ends = [fitting for fitting in plan.fittings if fitting.kind.startswith("mitred end")]
    stone += 0.025 * len(pits) + 0.064 * len(plan.sumps) + 0.05 * len(ends)
    assert quantities.get("washed stone", 0.0) == pytest.approx(stone / CUBIC_YARD * 1.4 * SHORT_TON * 1.1, rel=1e-6)
    total = total_cost(plan.take_off)
    assert total.low <= total.likely <= total.high
    alone = plan.surface is not None and plan.surface.chosen
    (chosen,) = [plan.surface] if alone else [way for way in plan.alternatives if way.chosen]
    assert (total.low, total.likely, total.high) == pytest.approx((chosen.low, chosen.likely, chosen.high))
    assert total.likely == pytest.approx(sum(line.likely for line in plan.take_off))


def _check_verdicts(plan: Plan) -> None:
    """Gravity before a pump, a doubt never sold as certain, and a reason for everything."""
    ways = {way.mode: way for way in plan.alternatives}
    for line in plan.discharges:
        assert line.why
        if line.mode == "gravity":
            assert line.verdict != "no"
            outfall = next(each for each in plan.outfalls if each.id == line.outfall)
            assert outfall.given or line.verdict == "cannot_tell"
        if line.mode == "pump":
            assert line.lift is not None
    if any(line.mode == "pump" for line in plan.discharges):
        assert not ways["gravity"].possible
    for way in plan.alternatives:
        assert way.possible or way.depends_on


def _planned(made_lots: Any, folder: Path, lot: Made) -> Plan:
    site = made_lots.write_lot(folder, lot.ground, lot.layers, more=lot.more, cell=CELL)
    return LotStages(open_lot(site)).planned.plan


@pytest.mark.parametrize(
    ("draw", "count"), [(2, 4), pytest.param(20, 300, marks=pytest.mark.thorough)], ids=["few", "many"]
)
def test_the_gate_finds_nothing(draw: int, count: int, made_lots: Any, tmp_path: Path) -> None:
    found: dict[int, tuple[Any, ...]] = {}
    number = count_up()

    @seed(draw)
    @given(lot=lots())
    @settings(max_examples=count, phases=[Phase.generate], database=None)
    def look(lot: Made) -> None:
        at = next(number)
        faults = _planned(made_lots, tmp_path / f"lot-{at}", lot).faults
        if faults:
            found[at] = faults

    look()
    assert not found
