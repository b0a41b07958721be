"""Grades for the crew, told from a benchmark on site: nobody digs to a lidar's elevation."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point

from pipelines.deliverables.findings.lot import Benchmark, Findings
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.plan import PipeRun
from terrain.arrays import FloatArray
from terrain.reason import reason

DECIMALS = 4
"""Of metres: nobody stakes to less than a tenth of a millimetre."""
SAME_PLACE = 0.3
"""A stake this near a fitting or an end is that stake. [m]"""
GRADE = "grade"
"""What stands at a stake where nothing else does."""
SAME_STAKE = 0.01
"""What stands this near to each other is one stake. [m]"""
STRAIGHT = 0.002
"""The invert strays no farther than this from the straight line between two stakes. [m]"""
TURNS = 0.05
"""A line strays no farther than this, seen from above, from the straight line between two stakes. [m]"""


@dataclass(frozen=True, slots=True)
class Stake:
    """A point to stake.

    Attributes
    ----------
    point, run, what : str
        Its name, the run it is on, what stands there.
    station : float
        Along the run. [m]
    place : shapely Point
        In the metric frame.
    above_benchmark : float
        Invert less the benchmark. [m]
    cut : float or None
        Ground less the trench's bottom under the pipe; None where no level was read on site. [m]
    slope : float or None
        Of the straight line to the next stake; None at a run's end and under pressure. [-]
    """

    point: str
    run: str
    what: str
    station: float
    place: Point
    above_benchmark: float
    cut: float | None
    slope: float | None = None


def benchmark_of(findings: Findings) -> Benchmark | None:
    """What grades are told from: the benchmark that is known, else the end of the line, to be chosen on site."""
    if not findings.plan.pipe_runs:
        return None
    if findings.benchmark is not None:
        return findings.benchmark
    last = min(findings.plan.pipe_runs, key=lambda run: run.invert_down)
    return Benchmark(reason("benchmark_invert", run=last.id, end=last.to_id), last.invert_down, False)


def stakes_of(findings: Findings) -> tuple[Stake, ...]:
    """Stakes of every run: its ends, its fittings, and every few metres between them."""
    benchmark = benchmark_of(findings)
    if benchmark is None:
        return ()
    return tuple(stake for run in findings.plan.pipe_runs for stake in _of_run(run, findings, benchmark))


def _of_run(run: PipeRun, findings: Findings, benchmark: Benchmark) -> Iterator[Stake]:
    flat = shapely.force_2d(run.line)
    stations, inverts = profile_of(run)
    length = float(stations[-1])
    named: list[tuple[float, str]] = [(0.0, run.from_id), (length, run.to_id)]
    for fitting in findings.plan.fittings:
        if fitting.on_run == run.id:
            named.append((float(shapely.line_locate_point(flat, fitting.point)), fitting.kind))
    named += [each for each in breaks_of(run) if all(abs(each[0] - other) > SAME_STAKE for other, _ in named)]
    spacing = findings.rules["stake_spacing"].likely
    regular = np.arange(spacing, length, spacing).tolist()
    named += [(at, GRADE) for at in regular if all(abs(at - other) > SAME_PLACE for other, _ in named)]
    merged: dict[float, list[str]] = {}
    for at, what in sorted(named, key=lambda each: each[0]):
        near = next((other for other in merged if abs(other - at) <= SAME_STAKE), at)
        merged.setdefault(near, []).append(what)
    below = find_pipe(run.pipe_key).wall
    placed = np.array(list(merged))
    levels = np.interp(placed, stations, inverts)
    grounds = np.interp(placed, stations, np.asarray(run.ground, dtype=np.float64))
    slopes = [*(-np.diff(levels) / np.diff(placed)).tolist(), None]
    for number, (at, invert, ground, slope) in enumerate(zip(placed, levels, grounds, slopes, strict=True), start=1):
        yield Stake(
            f"{run.id}.{number}", run.id, ", ".join(dict.fromkeys(merged[at])), round(float(at), DECIMALS),
            shapely.line_interpolate_point(flat, at), round(float(invert - benchmark.elevation), DECIMALS),
            round(max(float(ground - invert) + below, 0.0), DECIMALS) if findings.levels_given else None,
            slope if run.kind == "gravity" else None,
        )  # fmt: skip


def breaks_of(run: PipeRun) -> list[tuple[float, str]]:
    """Stations along a run where its slope breaks or it turns, each with what it is. [m]"""
    stations, inverts = profile_of(run)
    bends = _kept(shapely.get_coordinates(run.line), stations, TURNS)
    breaks = _kept(np.column_stack([stations, inverts]), stations, STRAIGHT)
    return [(at, "break of slope") for at in breaks] + [(at, "bend") for at in bends]


def _kept(points: FloatArray, stations: FloatArray, tolerance: float) -> list[float]:
    """Stations of the vertices between the ends without which a line would stray by more than a tolerance. [m]"""
    simple = shapely.get_coordinates(LineString(points).simplify(tolerance, preserve_topology=False))
    return [float(at) for at, point in zip(stations[1:-1], points[1:-1], strict=True)
            if (np.abs(simple - point) < 1e-9).all(axis=1).any()]


def profile_of(run: PipeRun) -> tuple[FloatArray, FloatArray]:
    """Stations and inverts of a run's vertices. [m]"""
    points = shapely.get_coordinates(run.line, include_z=True)
    stations = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points[:, :2], axis=0).T))])
    return stations, points[:, 2]
