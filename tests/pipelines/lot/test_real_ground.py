"""A lot drawn on real lidar, screened once: what its answer claims is read off the raster again, by other libraries."""

import re

import numpy as np
import pytest
import shapely
from scipy import ndimage
from skimage.measure import label
from skimage.morphology import reconstruction
from skimage.segmentation import watershed

from pipelines.deliverables.lot.written import answer_text
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.lot import screen_lot
from tests.pipelines.lot.real_ground import HEIGHTS, HOUSE, LEFT, LOT, PATIO, TOP, write_real_lot

ROWS, COLUMNS = np.indices(HEIGHTS.shape)
MIDDLES = shapely.points(LEFT + COLUMNS + 0.5, TOP - ROWS - 0.5)
ROUND = np.ones((3, 3))
CENTIMETER = 0.01
FIRST_ROW, FIRST_COLUMN = 340, 220
AROUND = slice(FIRST_ROW, 400), slice(FIRST_COLUMN, 270)
"""The lot with some ground on every side."""


def inside(shape) -> np.ndarray:
    """Cells of the raster whose middle lies in a shape."""
    return shapely.contains(shape, MIDDLES)


# water goes round a house, not through it
GROUND = np.where(inside(HOUSE), HEIGHTS.max(), HEIGHTS)
SEED = np.full_like(GROUND, GROUND.max())
SEED[0], SEED[-1], SEED[:, 0], SEED[:, -1] = GROUND[0], GROUND[-1], GROUND[:, 0], GROUND[:, -1]


@pytest.fixture(scope="module")
def findings(tmp_path_factory):
    # on the raster as it is, against which all is held
    return screen_lot(write_real_lot(tmp_path_factory.mktemp("real")), grounds=1)


@pytest.fixture(scope="module")
def answer(findings) -> str:
    return answer_text(findings, 100_000)


def pond_at(bottom: int, level: float) -> np.ndarray:
    """Ground under water of a level around a cell."""
    under = label(level > GROUND, connectivity=2)
    return under == under.ravel()[bottom]


def on_raster(spot) -> int:
    """Flat index in the whole raster of a low spot's lowest cell."""
    found = np.flatnonzero(np.abs(GROUND - spot.bottom_elevation) < 1e-6)
    (cell,) = [each for each in found if LOT.contains(MIDDLES.ravel()[each])]
    return int(cell)


@pytest.fixture(scope="module")
def hollow(findings):
    """The low spot at the patio."""
    return max((water for water in findings.low_spots if water.on_parcel), key=lambda water: water.spot.volume)


def test_low_spots_have_the_depth_area_volume_and_spill_level_of_the_raster(findings) -> None:
    assert len(findings.low_spots) >= 2
    for water in findings.low_spots:
        spot = water.spot
        cell = on_raster(spot)
        pond = pond_at(cell, spot.spill_elevation - 1e-9)
        assert spot.bottom_elevation == pytest.approx(GROUND[pond].min(), abs=CENTIMETER)
        assert spot.depth == pytest.approx(spot.spill_elevation - GROUND[pond].min(), abs=CENTIMETER)
        assert spot.area == np.count_nonzero(pond)
        assert spot.volume == pytest.approx((spot.spill_elevation - GROUND[pond]).sum(), abs=CENTIMETER * spot.area)
        # a centimeter higher it would run on, to lower ground
        over = pond_at(cell, spot.spill_elevation + CENTIMETER)
        assert GROUND[over].min() < spot.bottom_elevation - 1e-6 or spot.contained_in is not None


def test_the_hollow_s_water_level_is_that_of_the_filled_ground_around_it(hollow) -> None:
    """The pit that the lot lies in the rim of is filled to the lot's own edge only, so that its hollow shows."""
    window = GROUND[AROUND]
    seed = np.full_like(window, GROUND.max())
    edge = np.ones_like(window, dtype=bool)
    edge[1:-1, 1:-1] = False
    seed[edge] = window[edge]
    filled = reconstruction(seed, window, method="erosion")
    row, column = divmod(on_raster(hollow.spot), HEIGHTS.shape[1])
    assert hollow.spot.spill_elevation == pytest.approx(filled[row - FIRST_ROW, column - FIRST_COLUMN], abs=CENTIMETER)
    depth = filled - window
    pond = label(depth > 0.0, connectivity=2)
    here = pond == pond[row - FIRST_ROW, column - FIRST_COLUMN]
    assert hollow.spot.volume == pytest.approx(depth[here].sum(), abs=CENTIMETER * hollow.spot.area)


def test_the_patio_s_depth_is_the_water_level_less_its_own_ground(findings, hollow, answer) -> None:
    level = hollow.spot.bottom_elevation + hollow.storm_depth
    # more than it holds comes to it, so that it stands at its sill
    assert level == pytest.approx(hollow.spot.spill_elevation, abs=CENTIMETER)
    patio = HEIGHTS[inside(PATIO)]
    why = hollow.why["why"]
    assert why["depth"] == pytest.approx(level - patio.min(), abs=CENTIMETER)
    assert why["area"] == np.count_nonzero(patio < level)
    under = np.count_nonzero(patio < level)
    assert f"Water stands {100 * (level - patio.min()):.0f} cm deep on the patio, over {under} m²" in answer
    on_lot = pond_at(on_raster(hollow.spot), level) & inside(LOT)
    assert hollow.area_on_lot == np.count_nonzero(on_lot)
    deep, area = 100 * (level - HEIGHTS[on_lot].min()), np.count_nonzero(on_lot)
    assert f"{hollow.spot.id}: {deep:.0f} cm deep over up to {area} m²" in answer


def test_water_beside_the_house_is_over_the_lowest_ground_along_its_walls(findings, hollow, answer) -> None:
    level = hollow.spot.bottom_elevation + hollow.storm_depth
    design = next(row for row in findings.edges if row.kind == "wall" and row.storm.design)
    # north of the house the ground is lower and falls away: no water of the hollow stands there
    touching = ndimage.binary_dilation(inside(HOUSE), ROUND) & ~inside(HOUSE)
    wet = touching & pond_at(on_raster(hollow.spot), level)
    assert design.depth == pytest.approx(level - HEIGHTS[wet].min(), abs=CENTIMETER)
    told = f"As it is: wet in the lightest storm that was run; in the design storm {100 * design.depth:.0f} cm deep for"
    assert any(line.strip().startswith("- The house") and told in line for line in answer.splitlines())
    # where it is told again for clogged drains it is the same water over the same ground
    (clogged,) = [said for said in findings.warnings if said.code == "clogged"]
    assert clogged["at_wall"] == pytest.approx(design.depth, abs=1e-9)


def test_areas_are_the_lot_s_and_the_ground_that_a_flood_from_the_hollow_claims(findings, hollow, answer) -> None:
    assert findings.parcel_area == pytest.approx(LOT.area)
    assert findings.roof_area == pytest.approx(HOUSE.area)
    assert findings.studied_area == pytest.approx(findings.parcel_area + findings.run_on_area)
    # Meyer's flooding knows no directions of flow: every other low of the ground is a basin of its own
    here = pond_at(on_raster(hollow.spot), hollow.spot.spill_elevation - 1e-9)
    lows = reconstruction(GROUND + 0.3, GROUND, method="erosion") - GROUND >= 0.3 - 1e-9
    basins = label(lows & ~here, connectivity=2)
    edge = np.ones_like(lows)
    edge[1:-1, 1:-1] = False
    markers = np.where(here, basins.max() + 1, np.where(edge & (basins == 0), basins.max() + 2, basins))
    catchment = watershed(GROUND, markers, connectivity=2) == basins.max() + 1
    comes = [row for row in findings.runoff if row.drains_to in (hollow.spot.id, "basin-1", "area-1")]
    drained = sum(row.area for row in comes)
    assert drained == pytest.approx(np.count_nonzero(catchment), rel=0.1)
    run_on = np.count_nonzero(catchment & ~inside(LOT))
    assert sum(row.area for row in comes if row.run_on) == pytest.approx(run_on, rel=0.1)
    told = re.search(r"the lot ([\d,]+) m², including ([\d,]+) m² of roof, and ([\d,]+) m² of run-on", answer)
    assert told is not None
    assert [int(each.replace(",", "")) for each in told.groups()] == [
        round(LOT.area), round(HOUSE.area), round(findings.run_on_area),
    ]


def test_pipes_lie_under_the_raster_s_ground_as_deep_and_as_steep_as_they_say(findings, answer) -> None:
    plan = findings.plan
    outfalls = {outfall.id: outfall for outfall in plan.outfalls}
    (run,) = plan.pipe_runs
    xyz = shapely.get_coordinates(run.line, include_z=True)
    station = np.concatenate([[0.0], np.hypot(*np.diff(xyz[:, :2], axis=0).T).cumsum()])
    assert run.length == pytest.approx(station[-1])
    assert run.slope == pytest.approx((xyz[0, 2] - xyz[-1, 2]) / station[-1], rel=1e-6)
    assert f"Pipe: {station[-1]:.1f} m of {run.size} {run.standard}, trench up to {run.deepest:.1f} m deep" in answer
    # within a cell of the line the ground is no lower and no higher than this
    fine = np.linspace(0.0, station[-1], 400)
    x, y, z = (np.interp(fine, station, each) for each in xyz.T)
    row, column = (TOP - y).astype(int), (x - LEFT).astype(int)
    low = ndimage.minimum_filter(HEIGHTS, footprint=ROUND)[row, column]
    high = ndimage.maximum_filter(HEIGHTS, footprint=ROUND)[row, column]
    ground = ndimage.map_coordinates(HEIGHTS, [TOP - y - 0.5, x - LEFT - 0.5], order=1)
    drawn = np.interp(fine, station, np.asarray(run.ground))
    assert (low - CENTIMETER <= drawn).all()
    assert (drawn <= high + CENTIMETER).all()
    assert np.abs(drawn - ground).mean() < 0.03
    pipe = find_pipe(run.pipe_key)
    top = z + pipe.outside - pipe.wall
    taper = fine <= station[-1] - findings.rules["outlet_taper"].likely
    assert (ground - top)[taper].min() > findings.rules["cover_lawn"].low - 0.03
    assert run.deepest == pytest.approx((ground - z + pipe.wall).max(), abs=0.05)
    # it ends over the swale's bottom, which is the lowest ground at the outlet
    outfall = outfalls[run.to_id]
    near = shapely.distance(MIDDLES, outfall.point) <= findings.rules["outfall_bottom_reach"].likely
    above = findings.rules["outlet_above_swale"].likely
    assert outfall.level == pytest.approx(HEIGHTS[near].min() + above, abs=CENTIMETER)
    assert xyz[-1, 2] >= outfall.level - 1e-6
    (basin,) = plan.catch_basins
    at = int(TOP - basin.point.y), int(basin.point.x - LEFT)
    assert basin.ground_elevation == pytest.approx(HEIGHTS[at], abs=CENTIMETER)
    assert not PATIO.contains(basin.point)
    # off the patio, on ground lower than any of it
    assert HEIGHTS[at] < HEIGHTS[inside(PATIO)].min()
    assert "At the low point beside the patio: water stands" in answer
    assert xyz[0, 2] == pytest.approx(basin.invert_elevation)


def test_the_fall_to_spare_is_what_the_levels_leave(findings, answer) -> None:
    (line,), (run,) = findings.plan.discharges, findings.plan.pipe_runs
    (basin,) = findings.plan.catch_basins
    rules, pipe = findings.rules, find_pipe(run.pipe_key)
    outfall = next(each for each in findings.plan.outfalls if each.id == run.to_id)
    below = basin.ground_elevation - basin.invert_elevation
    begins = HEIGHTS[int(TOP - basin.point.y), int(basin.point.x - LEFT)] - below
    kept = begins - outfall.level - rules["loss_at_basin"].likely - rules["digging_tolerance"].likely
    # Manning's equation, full pipe: the slope that carries the flow, and up to a fifth more by which a line is laid
    carries = np.pi * pipe.inside**2 / 4.0 * (pipe.inside / 4.0) ** (2.0 / 3.0) / pipe.roughness
    slope = (run.peak_flow / carries) ** 2
    assert slope > rules["slope_6in_smooth"].likely
    least, most = kept - 1.2 * slope * run.length, kept - slope * run.length
    assert least <= line.fall_to_spare <= most + CENTIMETER
    assert f"fall to spare {100 * line.fall_to_spare:.0f} cm" in answer
    assert f"{line.fall_to_spare:.2f} m of fall to spare from basin-1" in answer


def test_what_runs_off_stands_or_leaves(findings, hollow, answer) -> None:
    ran_off = sum(row.runoff_volume for row in findings.runoff)
    before = sum(row[2] for row in findings.leaving)
    assert before + hollow.spot.volume == pytest.approx(ran_off, rel=0.02)
    assert sum(row[4] for row in findings.leaving) == pytest.approx(ran_off, rel=0.02)
    # it fills and runs over to the north: the sill is the raster's lowest way out of the hollow
    row, column = divmod(on_raster(hollow.spot), HEIGHTS.shape[1])
    around = GROUND[AROUND]
    under = label(around <= hollow.spot.spill_elevation + CENTIMETER, connectivity=2)
    here = under == under[row - FIRST_ROW, column - FIRST_COLUMN]
    out = np.argwhere(here & (around < hollow.spot.bottom_elevation))
    assert out.size
    assert (out[:, 0] + FIRST_ROW < row).all()
    assert "Over the north edge: peak before" in answer


def test_a_lot_without_a_name_in_its_site_file_has_its_parcel_s(answer) -> None:
    assert answer.startswith("Made-up lot: ")
