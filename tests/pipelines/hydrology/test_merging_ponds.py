"""Ponds that spill and merge in time: the same water at rest as fill-spill-merge, and mass to round-off on the way."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from pipelines.hydrology.contributing import RunoffNode, contributing_area, rain_that_fills, route_down
from pipelines.hydrology.errors import StorageError
from pipelines.hydrology.losses import runoff_of_shares
from pipelines.hydrology.low_spot_ponds import ponds_of_low_spots
from pipelines.hydrology.ponds import PondNode
from pipelines.hydrology.standing_water import route_storage
from pipelines.hydrology.storage import StageOutflow, StageStorage, storage_of_levels
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.hydrology.surfaces import surface_share
from terrain.drainage import drain_ground
from terrain.grid import Frame, Grid
from terrain.ground import OPEN, Ground
from terrain.low_spots import find_low_spots, settle_water

STEP = 30.0
TRIANGLE = np.interp(np.arange(120) * STEP, [0, 900, 3600], [0, 0.01, 0])


def burst(volume):
    return Hydrograph(STEP, TRIANGLE * volume / (TRIANGLE.sum() * STEP))


def twins(rate=0.0):
    """Two pits with one sill at 1 m, and the pond both make up to 1.5 m."""
    left = PondNode("left", storage_of_levels([0.0, 1.0], [0.0, 10.0]), "right", "both", rate)
    right = PondNode("right", storage_of_levels([0.5, 1.0], [0.0, 12.0]), "left", "both", rate)
    whole = StageStorage(np.array([0.0, 0.5, 1.0, 1.5]), np.array([0.0, 5.0, 22.0, 30.0]), np.array([0, 1.25, 8.0, 21]))
    return [left, right, PondNode("both", whole, "edge_n", None, rate)]


@pytest.mark.parametrize(
    "volume, left, right, above, out",
    [(3, 3, 0, 0, 0), (6, 5, 1, 0, 0), (8, 5, 3, 0, 0), (15, 5, 3, 7, 0), (21, 5, 3, 13, 0), (30, 5, 3, 13, 9)],
)
def test_water_fills_spills_and_merges(volume, left, right, above, out):
    routed = route_down([*twins(), RunoffNode("lawn", "left", burst(volume))], step=STEP)
    assert [routed[id].stored for id in ("left", "right", "both")] == pytest.approx([left, right, above], abs=1e-9)
    assert (routed["edge_n"].inflow.volume if "edge_n" in routed else 0.0) == pytest.approx(out, abs=1e-9)
    assert routed["both"].spills == (out > 0)


def test_merged_water_has_one_surface():
    routed = route_down([*twins(), RunoffNode("lawn", "left", burst(15.0))], step=STEP)
    level = 1.0 + 0.5 * 7.0 / 13.0
    assert routed["left"].depth == pytest.approx(level)
    assert routed["right"].depth == pytest.approx(level - 0.5)
    assert routed["both"].depth == pytest.approx(level)


@given(st.floats(0.1, 60.0), st.floats(0.1, 60.0), st.sampled_from([0.0, 1e-6, 1e-4]), st.booleans())
def test_water_balances_down_the_tree(first, second, rate, piped):
    ponds = twins(rate)
    if piped:
        pipe = StageOutflow(np.array([0.2, 1.5]), np.array([0.0, 0.004]))
        ponds[0] = PondNode("left", ponds[0].storage, "right", "both", rate, pipe, "basin")
    nodes = [*ponds, RunoffNode("a", "left", burst(first)), RunoffNode("b", "a", burst(second))]
    routed = route_down(nodes, step=STEP)
    kept = sum(routed[pond.id].stored + routed[pond.id].infiltrated for pond in ponds)
    gone = sum(routed[id].inflow.volume for id in ("edge_n", "basin") if id in routed)
    assert kept + gone == pytest.approx(first + second, rel=1e-9)


def test_merged_water_falls_apart_again_as_it_soaks():
    routed = route_down([*twins(1e-4), RunoffNode("lawn", "left", burst(15.0))], step=STEP)
    assert sum(routed[id].stored for id in ("left", "right", "both")) == pytest.approx(0.0, abs=1e-6)
    assert routed["left"].time_above > routed["right"].time_above > routed["both"].time_above > 0.0


def test_a_lone_pond_stands_as_long_as_one_routed_by_itself():
    pit = storage_of_levels([0.0, 0.1, 0.25], [2.0, 30.0, 80.0])
    alone = route_storage(burst(20.0), pit, infiltration_rate=2e-6, tolerable_depth=0.02)
    routed = route_down(
        [PondNode("pit", pit, "edge_n", None, 2e-6), RunoffNode("lawn", "pit", burst(20.0))],
        step=STEP,
        tolerable_depths={"pit": 0.02},
    )
    assert routed["pit"].depth == pytest.approx(alone.depth, rel=1e-12)
    assert routed["pit"].time_above == pytest.approx(alone.time_above, abs=1200.0)
    assert routed["edge_n"].inflow.volume == pytest.approx(alone.spill.volume, rel=1e-9)


def test_an_outlet_drains_the_pond_it_lies_in_while_that_is_merged():
    pipe = StageOutflow(np.array([0.0, 1.5]), np.array([0.0, 0.02]))
    ponds = twins()
    ponds[0] = PondNode("left", ponds[0].storage, "right", "both", 0.0, pipe, "basin")
    routed = route_down([*ponds, RunoffNode("lawn", "left", burst(20.0))], step=STEP)
    assert routed["basin"].inflow.volume == pytest.approx(20.0 - routed["right"].stored, abs=0.05)
    assert routed["left"].drained.volume == pytest.approx(routed["basin"].inflow.volume, rel=1e-12)


def test_ground_behind_a_pond_that_does_not_spill_adds_nothing():
    nodes = [*twins(), RunoffNode("behind", "left", burst(10.0), 400.0), RunoffNode("open", "edge_n", burst(1.0), 50.0)]
    areas = contributing_area(nodes, route_down(nodes, step=STEP))
    assert areas["edge_n"] == 50.0
    assert areas["both"] == 400.0
    wet = [*twins(), RunoffNode("behind", "left", burst(40.0), 400.0), RunoffNode("open", "edge_n", burst(1.0), 50.0)]
    assert contributing_area(wet, route_down(wet, step=STEP))["edge_n"] == 450.0


def test_hydrographs_are_added_where_they_meet():
    early = Hydrograph(STEP, np.array([0.0, 1.0, 0.0, 0.0]))
    late = Hydrograph(STEP, np.array([0.0, 0.0, 0.0, 1.0]))
    routed = route_down([RunoffNode("a", "swale", early), RunoffNode("b", "swale", late)], step=STEP)
    assert routed["swale"].inflow.peak == 1.0
    assert routed["swale"].inflow.volume == 2.0 * STEP


def test_networks_that_cannot_be_are_refused():
    with pytest.raises(StorageError, match=r"water runs in a circle: .*a.*b"):
        route_down([RunoffNode("a", "b", None), RunoffNode("b", "a", None)], step=STEP)
    with pytest.raises(StorageError, match="ids repeat in the network: a"):
        route_down([RunoffNode("a", "x", None), RunoffNode("a", "y", None)], step=STEP)
    lonely = PondNode("pit", storage_of_levels([0, 1], [1, 1]), None, "gone")
    with pytest.raises(StorageError, match="contained in gone, which is not in the network"):
        route_down([lonely], step=STEP)
    small = PondNode("both", storage_of_levels([0, 1], [1, 1]), None)
    with pytest.raises(StorageError, match="give a merged pond its whole volume"):
        route_down([*twins()[:2], small], step=STEP)


def test_rain_that_fills_a_low_spot():
    ground = [surface_share("lawn, fair", 500.0, "B"), surface_share("roof", 100.0, "B")]
    rain = rain_that_fills(6.0, ground)
    assert runoff_of_shares(rain, ground) * 600.0 == pytest.approx(6.0, rel=1e-4)
    assert rain_that_fills(1e6, ground) is None


def rough_ground(seed, shape=(24, 31)):
    rng = np.random.default_rng(seed)
    height = np.round(rng.random(shape) * 1.5 + 0.02 * np.arange(shape[1]), 1 if seed % 2 else 6)
    frame = Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0)
    nowhere = np.full(shape, -1, dtype=np.int64)
    return Ground(Grid(shape, 0.0, 0.0, 1.0, 1.0, frame), height, np.full(shape, OPEN), nowhere, nowhere)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("most", [0.5, 3.0, 20.0])
def test_water_comes_to_rest_as_fill_spill_merge_says(seed, most):
    """Water poured into the pits: the ground's own solution knows nothing of time, and they end alike."""
    drainage = drain_ground(rough_ground(seed))
    spots = find_low_spots(drainage, rmse=0.1, min_depth=0.0, min_area=0.0)
    outer = {spot.contained_in for spot in spots}
    pits = [spot for spot in spots if spot.id not in outer]
    poured = dict(zip([spot.id for spot in pits], np.random.default_rng(seed).random(len(pits)) * most, strict=True))
    runoff = np.zeros(drainage.ground.elevation.shape)
    for spot in pits:
        runoff.flat[spot.bottom] += poured[spot.id]
    settled = settle_water(drainage, runoff, spots)
    ponds = ponds_of_low_spots(spots, {}, onward={spot.id: "edge" for spot in spots})
    runs = [RunoffNode(f"to {id}", id, burst(volume)) for id, volume in poured.items()]
    routed = route_down([*ponds, *runs], step=STEP)
    kept = sum(routed[spot.id].stored for spot in spots)
    assert kept == pytest.approx(settled.stands, rel=1e-9)
    # where more than two pits meet at one rounded level, which of them takes a surplus is open
    for spot in pits if seed % 2 == 0 else ():
        level = settled.level[spot.id]
        within = 0.0 if level is None else level - spot.bottom_elevation
        assert routed[spot.id].depth == pytest.approx(within, abs=1e-6), spot.id
