"""What must not change an answer, on one made lot; the three balances, on lots made at random."""

from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import event, given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, box
from shapely.affinity import rotate, scale

from pipelines.deliverables.findings.lot import Findings
from pipelines.layout.plan import Plan
from pipelines.lot import screen_lot
from terrain.reading.vertical_unit import METRES_IN
from tests.quick_share import one_in

Layers = dict[str, list[dict[str, Any]]]

WIDE = 30.0
COST = 1e-6


def moved(layers: Layers, change: Callable[[Any], Any]) -> Layers:
    return {name: [{**row, "geometry": change(row["geometry"])} for row in rows] for name, rows in layers.items()}


@pytest.fixture(scope="module")
def small(made_lots: Any) -> tuple[np.ndarray, Layers]:
    return made_lots.small_ground(), made_lots.SMALL_LAYERS


@pytest.fixture(scope="module")
def screened(made_lots: Any, small: tuple[np.ndarray, Layers], tmp_path_factory: pytest.TempPathFactory) -> Any:
    """What screens the small lot, changed: `screened(ground, layers, **options)`."""

    def run(ground: np.ndarray | None = None, layers: Layers | None = None, **options: Any) -> Findings:
        site = made_lots.write_lot(
            tmp_path_factory.mktemp("lot") / "lot", small[0] if ground is None else ground, layers or small[1],
            more=made_lots.SMALL_MORE, **options,
        )
        return screen_lot(site)

    return run


@pytest.fixture(scope="module")
def as_made(screened: Any) -> Findings:
    return screened()


def assert_same(found: Findings, made: Findings, *, rel: float = 1e-9) -> None:
    """Areas, volumes, low spots, verdicts and what is proposed and what it costs are the same."""
    for name in ("studied_area", "parcel_area", "run_on_area", "roof_area"):
        assert getattr(found, name) == pytest.approx(getattr(made, name), rel=rel), name
    for name in ("rain", "infiltrated", "leaves", "stands", "collected"):
        assert getattr(found.balance, name) == pytest.approx(getattr(made.balance, name), rel=1e-6, abs=1e-9), name
    spots, same = (
        sorted(
            (water.spot.depth, water.spot.area, water.spot.volume, water.storm_depth, water.storm_volume,
             water.storm_depth_after, water.storm_volume_after, water.on_parcel, water.spot.enclosed)
            for water in each.low_spots
        )
        for each in (found, made)
    )  # fmt: skip
    assert len(spots) == len(same)
    for spot, other in zip(spots, same, strict=True):
        assert spot == pytest.approx(other, rel=1e-6, abs=1e-9)
    assert sum(row.runoff_volume for row in found.runoff) == pytest.approx(
        sum(row.runoff_volume for row in made.runoff), rel=1e-6
    )
    assert_same_plan(found.plan, made.plan)


def assert_same_plan(found: Plan, made: Plan) -> None:
    assert [(line.mode, line.verdict) for line in found.discharges] == [
        (line.mode, line.verdict) for line in made.discharges
    ]
    assert [(way.mode, way.possible, way.chosen) for way in found.alternatives] == [
        (way.mode, way.possible, way.chosen) for way in made.alternatives
    ]
    assert [basin.grate for basin in found.catch_basins] == [basin.grate for basin in made.catch_basins]
    assert [basin.peak_flow for basin in found.catch_basins] == pytest.approx(
        [basin.peak_flow for basin in made.catch_basins], rel=1e-6
    )
    for way, other in zip(found.alternatives, made.alternatives, strict=True):
        if other.possible:
            assert (way.low, way.likely, way.high) == pytest.approx((other.low, other.likely, other.high), rel=COST)


def test_the_hill_above_the_lot_runs_on(as_made: Findings) -> None:
    # the ground straight uphill of the lot, 19.6 m wide and 4.3 m deep to the end of the raster, falls at 3 % to it
    # but what comes over a corner and leaves again passes by
    assert as_made.run_on_area + as_made.passing_area > 0.95 * 19.6 * 4.3
    assert as_made.studied_area == pytest.approx(as_made.parcel_area + as_made.run_on_area, rel=0.02)


@pytest.mark.parametrize("quarters", one_in(3, [1, 2, 3]))
def test_turned_by_right_angles(quarters: int, small: Any, screened: Any, as_made: Findings) -> None:
    ground, layers = small
    turned = moved(layers, lambda shape: rotate(shape, 90.0 * quarters, origin=(WIDE / 2.0, WIDE / 2.0)))
    assert_same(screened(np.rot90(ground, quarters), turned), as_made)


def test_seen_in_a_mirror(small: Any, screened: Any, as_made: Findings) -> None:
    ground, layers = small
    mirrored = moved(layers, lambda shape: scale(shape, -1.0, 1.0, origin=(WIDE / 2.0, WIDE / 2.0)))
    assert_same(screened(np.fliplr(ground), mirrored), as_made)


def test_elsewhere_on_the_map(screened: Any, as_made: Findings) -> None:
    assert_same(screened(east=612_345.5, north=4_321_098.5), as_made)


def test_higher_up(small: Any, screened: Any, as_made: Findings) -> None:
    found = screened(small[0] + 1234.5)
    assert_same(found, as_made)
    for basin, other in zip(found.plan.catch_basins, as_made.plan.catch_basins, strict=True):
        assert basin.ground_elevation - other.ground_elevation == pytest.approx(1234.5, abs=1e-9)
        assert basin.invert_elevation - other.invert_elevation == pytest.approx(1234.5, abs=1e-6)


@pytest.mark.parametrize("unit", one_in(2, ["ft", "ftUS"]))
def test_heights_in_feet_on_a_map_in_metres(unit: str, screened: Any, as_made: Findings) -> None:
    assert_same(screened(unit=unit, unit_metres=METRES_IN[unit]), as_made)


@st.composite
def lots(draw: st.DrawFn) -> tuple[np.ndarray, Layers, str, float]:
    """Ground, shapes, the rest of the site file, cell size: a lot above a street, with what a lot may have."""
    rows, columns = 50, 60
    cell = draw(st.sampled_from([0.5, 1.0]))
    high, wide = rows * cell, columns * cell
    share = st.floats(0.0, 1.0)
    row, column = np.mgrid[0:rows, 0:columns]
    x, y = (column + 0.5) * cell, high - (row + 0.5) * cell
    street = 0.14 * high
    ground = 100.0 + draw(st.floats(-0.02, 0.06)) * y + draw(st.floats(-0.02, 0.02)) * x
    ground = ground - draw(st.floats(0.0, 0.8)) * np.clip(1.0 - np.abs(y - street / 2.0) / (street / 2.0), 0.0, None)
    for _ in range(draw(st.integers(0, 3))):
        at_x, at_y, reach = draw(share) * wide, draw(share) * high, draw(st.floats(1.0, 6.0)) * cell * 2.0
        ground = ground - draw(st.floats(-0.2, 0.4)) * np.exp(-((x - at_x) ** 2 + (y - at_y) ** 2) / reach**2)
    ground = ground + np.random.default_rng(draw(st.integers(0, 999))).normal(0.0, 0.01, (rows, columns))
    if draw(st.booleans()):
        ground = np.round(ground, 2)
    if draw(st.booleans()):
        hole = (x - draw(share) * wide) ** 2 + (y - draw(share) * high) ** 2 < (draw(st.floats(0.5, 3.0)) * 2.0) ** 2
        ground = np.where(hole, -999999.0, ground)
    west, south, east, north = 0.12 * wide, street, 0.88 * wide, 0.9 * high
    left, low = west + (0.1 + 0.4 * draw(share)) * (east - west), south + (0.15 + 0.3 * draw(share)) * (north - south)
    right, top = left + 0.35 * (east - west), low + 0.35 * (north - south)
    layers: Layers = {"parcel": [{"geometry": box(west, south, east, north)}]}
    if draw(st.integers(0, 3)):
        layers["right_of_way"] = [{"geometry": box(0.0, 0.0, wide, street)}]
    if draw(st.integers(0, 4)):
        layers["roofs"] = [{"open_below": draw(st.booleans()), "geometry": box(left, low, right, top)},
                           {"open_below": False, "geometry": box(left, low, (left + right) / 2.0, top)}]  # fmt: skip
        if draw(st.booleans()):
            layers["downspouts"] = [{"geometry": Point(left, low)}, {"geometry": Point(right, top)}]
    if draw(st.booleans()):
        layers["hardscape"] = [{"kind": "patio", "protect": True, "geometry": box(left, top, right, top + 3.0)}]
    if draw(st.booleans()):
        # a fence along two sides, or all round
        ends = draw(st.sampled_from([3, 5]))
        fence = [(west, north), (east, north), (east, south), (west, south), (west, north)][:ends]
        layers["barriers"] = [{"geometry": LineString(fence)}]
    outfall = draw(st.sampled_from(["", "swale", "inlet", "curb", "pond"]))
    if outfall in ("swale", "pond"):
        layers["outfalls"] = [{"kind": outfall, "geometry": LineString([(0.0, street / 2.0), (wide, street / 2.0)])}]
    elif outfall:
        layers["outfalls"] = [{"kind": outfall, "geometry": Point(draw(share) * wide, street / 2.0)}]
    if draw(st.booleans()):
        layers["complaints"] = [{"what": "wet", "geometry": Point((left + right) / 2.0, top + 1.0)}]
    more = (
        f'[house]\nfoundation = "{draw(st.sampled_from(["slab", "crawl", "basement"]))}"\n'
        f'[rain]\ndepth = "{draw(st.integers(1, 150))} mm"\nduration = "{draw(st.sampled_from([15, 60, 1440]))} min"\n'
        f'[soil]\ngroup = "{draw(st.sampled_from("ABCD"))}"\n'
    )
    return ground, layers, more, cell


@pytest.fixture(scope="module")
def screen_made(made_lots: Any, tmp_path_factory: pytest.TempPathFactory) -> Callable[[Any], Findings]:
    folder, numbers = tmp_path_factory.mktemp("lots"), count()

    def run(lot: Any) -> Findings:
        ground, layers, more, cell = lot
        site: Path = made_lots.write_lot(folder / str(next(numbers)), ground, layers, more=more, cell=cell)
        return screen_lot(site)

    return run


# a lot takes half a second
@settings(max_examples=settings().max_examples // 8)
@given(lot=lots())
def test_three_balances_on_made_lots(lot: Any, screen_made: Callable[[Any], Findings]) -> None:
    found = screen_made(lot)
    event(" and ".join(sorted({line.mode for line in found.plan.discharges})))
    assert_tiled(found)
    assert_water_kept(found)
    assert_forest(found.plan)


def assert_tiled(found: Findings) -> None:
    """Sub-catchments tile the studied ground without gap or overlap."""
    shapes = [row.shape for row in found.runoff]
    areas = sum(shape.area for shape in shapes)
    assert areas == pytest.approx(found.studied_area, rel=1e-9)
    assert shapely.union_all(shapes).area == pytest.approx(areas, rel=1e-9)
    for row in found.runoff:
        assert row.area == pytest.approx(row.shape.area, rel=1e-9)
    assert sum(row.area for row in found.runoff if row.run_on) == pytest.approx(found.run_on_area, rel=1e-9)


def assert_water_kept(found: Findings) -> None:
    """What falls soaks, stands, leaves or is collected."""
    balance = found.balance
    gone = balance.infiltrated + balance.leaves + balance.stands + balance.collected
    assert gone == pytest.approx(balance.rain, rel=1e-9)
    assert min(balance.infiltrated, balance.leaves, balance.stands, balance.collected) >= -1e-9
    for water in found.low_spots:
        assert -1e-9 <= water.storm_volume <= water.spot.volume + 1e-9 or water.spot.enclosed


def assert_forest(plan: Plan) -> None:
    """Every line ends at an outfall, and no two lines leave one place."""
    outfalls = {outfall.id for outfall in plan.outfalls}
    onward = {run.id: run.to_id for run in plan.pipe_runs}
    begun = [run.from_id for run in plan.pipe_runs if run.from_id not in onward and not run.beside]
    assert len(begun) == len(set(begun))
    leaves = {run.from_id: run.id for run in plan.pipe_runs if run.from_id not in onward}
    for run in plan.pipe_runs:
        at, seen = run.id, set()
        while at not in outfalls:
            assert at not in seen, "lines run in a circle"
            seen.add(at)
            at = onward[at] if at in onward else leaves[at]
    for drain in (*plan.catch_basins, *plan.french_drains):
        if drain.drains_to:
            assert drain.drains_to in onward or drain.drains_to in {sump.id for sump in plan.sumps}, drain.id
