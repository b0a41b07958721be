"""From routed lines to runs of pipe: sizes, depths, velocities, fittings, and the grade line through them."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from pipelines.hydraulics.grade_line import GradeLine, GradeNode, GradeRun, grade_line
from pipelines.hydraulics.manning import pipe_flow
from pipelines.hydraulics.pipe_catalogue import Pipe
from pipelines.inputs.rules import Rules
from pipelines.layout.catching.sites import heights_along
from pipelines.layout.plan import Fitting, PipeRun
from pipelines.layout.routing.spec import RoutedForest, RoutedLine
from pipelines.layout.ways.segments import break_vertices, segments_of
from terrain.flow.drainage import Drainage
from terrain.reason import Reason, reason

STATION = 1.0
"""Vertices of a run lie this far apart at the most, so that its profile follows the ground. [m]"""
AT_BEND = 0.01
"""A break of slope this near to a bend is made with it. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class PipeLines:
    """Gravity lines as runs of pipe.

    Attributes
    ----------
    runs : tuple of PipeRun
        Upstream before downstream.
    fittings : tuple of Fitting
        Bends, wyes and cleanouts.
    grade : GradeLine or None
        Grade line through them in the design storm; None without runs.
    served : dict of str to str
        Outfall by collector.
    """

    runs: tuple[PipeRun, ...]
    fittings: tuple[Fitting, ...]
    grade: GradeLine | None
    served: dict[str, str]

    @property
    def surcharged(self) -> tuple[str, ...]:
        """Ids of collectors out of which water comes in the design storm."""
        return () if self.grade is None else self.grade.surcharged


@dataclass(frozen=True, slots=True, eq=False)
class LineSurroundings:
    """What lines are laid through.

    Attributes
    ----------
    drainage : Drainage
        For the ground.
    paving : shapely Geometry
        All paving. [m]
    crossing_kinds : dict of str to str
        Kind of what is crossed, by its id.
    rims : dict of str to float
        Level at which water comes out, by collector. [m]
    surface_flows : dict of str to float
        What falls in through a grate, by collector. [m3/s]
    outfall_ids : dict of str to str
        Outfall by id of the router's target.
    tailwater : dict of str to float
        Water level by outfall. [m]
    rules : Rules
        Of the trade.
    """

    drainage: Drainage
    paving: BaseGeometry
    crossing_kinds: Mapping[str, str]
    rims: Mapping[str, float]
    surface_flows: Mapping[str, float]
    outfall_ids: Mapping[str, str]
    tailwater: Mapping[str, float]
    rules: Rules


def lay_lines(
    forest: RoutedForest, pipes: Sequence[Pipe], where: LineSurroundings, *, first: int = 1, downspouts: frozenset[str]
) -> PipeLines:
    """Runs of pipe along routed lines."""
    names = {line.id: f"run-{first + k}" for k, line in enumerate(forest.lines)}
    runs = tuple(_run(line, names, pipes[line.pipe], where, downspouts) for line in forest.lines)
    fittings = _fittings(forest, runs, names, where.rules)
    served: dict[str, str] = {}
    onward = {run.id: run.to_id for run in runs}
    starts = {run.from_id: run.id for run in runs}
    for line, run in zip(forest.lines, runs, strict=True):
        end = run.to_id
        while end in onward or end in starts:
            end = onward[end] if end in onward else onward[starts[end]]
        served |= dict.fromkeys(line.serves, end)
    return PipeLines(runs, fittings, _grade(forest, runs, pipes, where) if runs else None, served)


def crossings_of(line: RoutedLine, kinds: Mapping[str, str]) -> tuple[Reason, ...]:
    """What a line crosses, each kind once."""
    times = Counter(kinds.get(name, name) for name in line.crossings)
    return (
        *(reason("crosses", kind=kind, times=count) for kind, count in times.items()),
        *((reason("right_of_way_permit"),) if line.permit else ()),
        *((reason("strip_unconfirmed"),) if line.assumed else ()),
    )


def _run(
    line: RoutedLine, names: Mapping[str, str], pipe: Pipe, where: LineSurroundings, downspouts: frozenset[str]
) -> PipeRun:
    dense = shapely.segmentize(line.line, STATION)
    xyz = shapely.get_coordinates(dense, include_z=True)
    stations = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line.xy, axis=0).T))])
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xyz[:, :2], axis=0).T))])
    inverts = np.interp(at, stations, line.inverts)
    laid = LineString(np.column_stack([xyz[:, :2], inverts]))
    ground = heights_along(laid, where.drainage)
    length = float(at[-1])
    # at a declared end taper the pipe comes out of the bank, and its cover is none
    taper = where.rules["outlet_taper"].likely if line.to_id in where.outfall_ids else 0.0
    covered = at <= length - taper
    covered[0] = True
    slope = float((inverts[0] - inverts[-1]) / length)
    segments = segments_of(laid, ground, pipe, tolerance=where.rules["slope_break"].likely, taper=taper)
    # the flattest of them is what a run carries
    flattest = min(segment.slope for segment in segments)
    flow = pipe_flow(line.flow, pipe.inside, max(flattest, 1e-5), pipe.roughness)
    purpose: Literal["downspout", "collector"] = (
        "downspout" if all(name in downspouts for name in line.serves) else "collector"
    )
    return PipeRun(
        id=names[line.id],
        from_id=names.get(line.from_id, line.from_id),
        to_id=names.get(line.to_id, where.outfall_ids.get(line.to_id, line.to_id)),
        kind="gravity",
        purpose=purpose,
        size=pipe.size,
        standard=pipe.standard,
        pipe_key=pipe.key,
        line=laid,
        ground=tuple(float(z) for z in ground),
        length=length,
        slope=slope,
        invert_up=float(inverts[0]),
        invert_down=float(inverts[-1]),
        peak_flow=line.flow,
        velocity=flow.velocity,
        capacity=flow.capacity,
        filled=flow.filled,
        least_cover=float((ground - inverts)[covered].min() - pipe.outside + pipe.wall),
        deepest=float((ground - inverts).max() + pipe.wall),
        under_paving=float(shapely.length(shapely.intersection(shapely.force_2d(laid), where.paving))),
        crossings=crossings_of(line, where.crossing_kinds),
        segments=segments,
    )


def _fittings(
    forest: RoutedForest, runs: Sequence[PipeRun], names: Mapping[str, str], rules: Rules
) -> tuple[Fitting, ...]:
    fittings: list[Fitting] = []
    spacing, from_end = rules["cleanout_spacing"].likely, rules["cleanout_from_end"].likely

    def add(kind: str, run: PipeRun, point: Point) -> None:
        fittings.append(Fitting(f"fitting-{run.id}-{len(fittings) + 1}", kind, run.id, point))

    joined = {line.to_id for line in forest.lines}
    for line, run in zip(forest.lines, runs, strict=True):
        for vertex, angles in line.fittings:
            for angle in angles:
                add(f"{angle:g} degree bend, {run.size}", run, Point(line.xy[vertex]))
        bends = [Point(line.xy[vertex]) for vertex, _ in line.fittings]
        for vertex in break_vertices(run.line, rules["slope_break"].likely):
            place = Point(run.line.coords[vertex][:2])
            if not any(shapely.dwithin(place, bend, AT_BEND) for bend in bends):
                add(f"slope fitting, {run.size}", run, place)
        if line.to_id in names:
            add(f"wye, {run.size}", run, Point(line.xy[-1]))
        head_of_line = line.id not in joined and not line.from_id.startswith("basin")
        if head_of_line:
            add(f"cleanout, {run.size}", run, Point(line.xy[0]))
        plan = shapely.force_2d(run.line)
        for k in range(1, int(run.length // spacing) + 1 if spacing > 0.0 else 1):
            if run.length - k * spacing > from_end:
                add(f"cleanout, {run.size}", run, shapely.line_interpolate_point(plan, k * spacing))
    return tuple(fittings)


def _grade(forest: RoutedForest, runs: Sequence[PipeRun], pipes: Sequence[Pipe], where: LineSurroundings) -> GradeLine:
    """Grade line through all lines; the upper end of a run below a junction is a node of its own."""
    upper = {run.id: _upper_node(run) for run in runs}
    nodes: dict[str, GradeNode] = {}
    grade_runs: list[GradeRun] = []
    for line, run in zip(forest.lines, runs, strict=True):
        node = upper[run.id]
        collector = run.from_id in where.rims
        nodes[node] = GradeNode(
            rim=where.rims[run.from_id] if collector else run.ground[0],
            surface_flow=where.surface_flows.get(run.from_id, 0.0) if collector else 0.0,
            floor="depressed" if run.from_id.startswith("basin") else "flat",
        )
        grade_runs.append(
            GradeRun(
                id=run.id,
                from_id=node,
                to_id=upper.get(run.to_id, run.to_id),
                flow=run.peak_flow,
                diameter=pipes[line.pipe].inside,
                length=run.length,
                roughness=pipes[line.pipe].roughness,
                invert_up=run.invert_up,
                invert_down=run.invert_down,
            )
        )
    return grade_line(grade_runs, nodes, dict(where.tailwater))


def _upper_node(run: PipeRun) -> str:
    return f"head of {run.id}" if run.from_id.startswith("run-") else run.from_id
