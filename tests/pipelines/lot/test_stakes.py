"""The crew's stakes: strings stretched from stake to stake follow the invert, on every sample lot."""

import itertools

import numpy as np
import pytest
import shapely

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.stakeout import stakeout_table
from pipelines.deliverables.words.say import say
from pipelines.deliverables.words.slopes import fall_for_crew
from tests.screened_samples import EVERY_LOT, screened

FOOT = 0.3048


@pytest.fixture(params=EVERY_LOT)
def findings(request: pytest.FixtureRequest) -> Findings:
    return screened(request.param)


def test_straight_lines_between_stakes_follow_the_invert(findings: Findings) -> None:
    if not findings.plan.pipe_runs:
        pytest.skip("nothing is laid")
    # as the file holds it
    table = stakeout_table(findings, "us").round(3)
    for run in findings.plan.pipe_runs:
        mine = table[table["run"] == run.id]
        station, level = mine["station_ft"].to_numpy(), mine["invert_above_benchmark_ft"].to_numpy()
        assert (np.diff(station) > 0.0).all()
        points = shapely.get_coordinates(run.line, include_z=True)
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points[:, :2], axis=0).T))]) / FOOT
        # the benchmark is the same for all: what the first stake says
        invert = (points[:, 2] - points[0, 2]) / FOOT + level[0]
        at = np.unique(np.concatenate([along, station, np.linspace(0.0, along[-1], 500)]))
        off = np.interp(at, station, level) - np.interp(at, along, invert)
        assert np.abs(off).max() <= 0.02, (run.id, float(np.abs(off).max()))
        # and seen from above they follow the trench
        xy = findings.frame.from_map(shapely.points(mine[["easting", "northing"]].to_numpy()))
        assert shapely.hausdorff_distance(shapely.linestrings(shapely.get_coordinates(xy)),
                                          shapely.force_2d(run.line), densify=0.1) <= 0.2 * FOOT  # fmt: skip


def test_every_break_and_fitting_has_its_stake(findings: Findings) -> None:
    if not findings.plan.pipe_runs:
        pytest.skip("nothing is laid")
    table = stakeout_table(findings, "si")
    for run in findings.plan.pipe_runs:
        stations = table[table["run"] == run.id]["station_m"].to_numpy()
        breaks = [segment.end for segment in run.segments[:-1]]
        flat = shapely.force_2d(run.line)
        fittings = [shapely.line_locate_point(flat, each.point) for each in findings.plan.fittings
                    if each.on_run == run.id]  # fmt: skip
        for at in (*breaks, *fittings):
            assert np.abs(stations - at).min() <= 0.011, (run.id, at)


def test_a_stake_stands_every_3_m_or_something_else_near_it(findings: Findings) -> None:
    """Common practice, no source: 10 ft, the length over which a crew stretches a string."""
    if not findings.plan.pipe_runs:
        pytest.skip("nothing is laid")
    table = stakeout_table(findings, "si")
    for run in findings.plan.pipe_runs:
        stations = table[table["run"] == run.id]["station_m"].to_numpy()
        for at in np.arange(3.0, run.length, 3.0):
            assert np.abs(stations - at).min() <= 0.31, (run.id, at)


def test_each_fall_is_that_between_its_stakes(findings: Findings) -> None:
    if not findings.plan.pipe_runs:
        pytest.skip("nothing is laid")
    table = stakeout_table(findings, "us")
    for one, other in itertools.pairwise(table.itertuples()):
        if one.run == other.run and not np.isnan(one.fall_in_10_ft_in):
            fall = one.invert_above_benchmark_ft - other.invert_above_benchmark_ft
            told = one.fall_in_10_ft_in / 120.0
            assert told == pytest.approx(fall / (other.station_ft - one.station_ft), abs=2e-3)


def test_a_slope_is_told_as_fall_over_ten() -> None:
    # 1 % is 1/8 in to the foot to within a twelfth: 1.2 in in 10 ft
    assert say(fall_for_crew(0.01), "us") == "1.2 in per 10 ft"
    assert say(fall_for_crew(0.005), "si") == "50 mm per 10 m"
