"""The ground that lines are laid in, with what the gate found of a plan: laid there again, they keep clear of it."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.hydraulics.pipe_catalogue import find_pipe, sizes_of
from pipelines.layout.diagnosis.houses import footing_plane
from pipelines.layout.gate.footing import trench_edges
from pipelines.layout.gate.room import clear_of, stretch_in
from pipelines.layout.gate.structures import basin_footprint
from pipelines.layout.plan import CatchBasin, PipeRun, Plan, Sump
from pipelines.layout.quantities.quantities import trench_width
from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.kernels.ways import ground_at
from pipelines.layout.routing.lot_field import footing_depth
from pipelines.layout.ways.segments import stations
from pipelines.layout.ways.settings import STANDARD, WayGround
from terrain.arrays import FloatArray, IntArray
from terrain.reason import Reason

WAY_OUT = 0.7
"""How much farther than the shortest way ground is left open around where a line begins or ends in it. [m]"""
SPARE = 2e-3
"""What is kept more than a limit, so that it is kept for sure. [m]"""
KEPT_OFF = {"pipe_near_wall", "saw_cut"}
"""What is found of lines in ground that they should keep off."""
REACH = 0.75
"""Cells whose centre lies this near to a place, in their own size, decide how a line lies there. [-]"""


def mended_field(plan: Plan, faults: Sequence[Reason], ground: WayGround, field: RouteField) -> RouteField | None:
    """A field in which a plan's lines would not be laid as they are; None where no other field helps."""
    runs, codes = {run.id: run for run in plan.pipe_runs}, {fault.code for fault in faults}
    off = list(_kept_off(plan, codes, ground))
    off += [_found_stretch(runs[fault["run"]], fault, ground) for fault in faults if fault.code in KEPT_OFF]
    off += [_pit(plan, fault["basin"], runs[fault["run"]]) for fault in faults if fault.code == "line_through_basin"]
    cover, deepest = field.cover.copy(), field.deepest.copy()
    for fault in faults:
        if fault.code == "thin_cover":
            _deepen(cover, runs[fault["run"]], fault, field, plan, ground)
        elif fault.code == "trench_under_footing" and fault["trench"] in runs:
            _raise(deepest, runs[fault["trench"]], fault["into"], field, ground)
    if not off and (cover == field.cover).all() and (deepest == field.deepest).all():
        return None
    field = clear_of(field, shapely.union_all(np.array(off, dtype=object)), 0.0) if off else field
    return replace(field, cover=np.maximum(field.cover, cover), deepest=np.maximum(field.deepest, deepest))


def _kept_off(plan: Plan, codes: set[str], ground: WayGround) -> Iterator[BaseGeometry]:
    """Strips along walls, and paving, less what the ends of lines in them need to come out of them."""
    widest = max((find_pipe(run.pipe_key).outside for run in plan.pipe_runs), default=0.0)
    lines = {run.id for run in plan.pipe_runs}
    ends = [Point(run.line.coords[0]) for run in plan.pipe_runs if run.from_id not in lines]
    ends += [Point(run.line.coords[-1]) for run in plan.pipe_runs if run.to_id not in lines]
    for code in sorted(codes & KEPT_OFF):
        held = whole = _ground_of(code, widest, ground)
        for end in ends:
            if shapely.intersects(whole, end):
                out = float(shapely.distance(shapely.boundary(whole), end)) + WAY_OUT
                held = shapely.difference(held, shapely.buffer(end, out))
        yield held


def _found_stretch(run: PipeRun, fault: Reason, ground: WayGround) -> BaseGeometry:
    """Such ground around the stretch that a line runs in it: what other lines need to come out of it opens no way for
    this one."""
    held, stretch = stretch_in(run, _ground_of(fault.code, find_pipe(run.pipe_key).outside, ground))
    return shapely.intersection(shapely.buffer(stretch, WAY_OUT), held)


def _ground_of(code: str, outside: float, ground: WayGround) -> BaseGeometry:
    """Ground that pipe of a width keeps off, by what was found."""
    if code == "saw_cut":
        return ground.protected_paving
    wanted = ground.situation.rules["pipe_wall_offset"].likely
    return shapely.buffer(ground.situation.roofs, wanted + outside / 2.0 + SPARE)


def _pit(plan: Plan, name: str, run: PipeRun) -> BaseGeometry:
    """A basin, and beside it as much as a line needs to pass it."""
    pits: list[CatchBasin | Sump] = [*plan.catch_basins, *plan.sumps]
    pit = next(each for each in pits if each.id == name)
    return shapely.buffer(basin_footprint(pit), find_pipe(run.pipe_key).outside / 2.0 + SPARE)


def _deepen(
    cover: FloatArray, run: PipeRun, fault: Reason, field: RouteField, plan: Plan, ground: WayGround
) -> None:
    """Ask for more cover in the cells of a run's thin stretch, by what the cells' mean hides of the ground there."""
    pipe = find_pipe(run.pipe_key)
    # lines are laid out by the smallest size, and one that carries more hides that much of the cover
    wider = pipe.outside - sizes_of(STANDARD)[0].outside
    along, inverts = stations(run.line)
    bare = np.asarray(run.ground) - inverts - pipe.outside + pipe.wall
    taper = ground.situation.rules["outlet_taper"].likely if run.to_id in {each.id for each in plan.outfalls} else 0.0
    told = (along >= fault["start"]) & (along <= min(fault["end"], along[-1] - taper)) | (along == fault["start"])
    grid = field.grid
    for k in np.flatnonzero(told & (bare < fault["floor"])):
        x, y = run.line.coords[int(k)][:2]
        rows, columns = _around(field, x, y)
        smooth = float(ground_at(
            field.ground, (grid.top - y) / grid.cell_height - 0.5, (x - grid.left) / grid.cell_width - 0.5
        ))
        hidden = smooth - run.ground[int(k)] if np.isfinite(smooth) else 0.0
        asked = fault["floor"] + max(hidden, 0.0) + wider + SPARE
        near = cover[rows, columns]
        # where that is asked for already, more of it is needed than what is missing
        cover[rows, columns] = np.where(near >= asked - 1e-9, near + (fault["floor"] - bare[k]) + SPARE, asked)


def _raise(deepest: FloatArray, run: PipeRun, into: float, field: RouteField, ground: WayGround) -> None:
    """Let no trench lie as deep as a run's, nor below the plane, near where its edge cuts into the footing's plane."""
    situation = ground.situation
    edges, bottoms = trench_edges(run.line, trench_width(run, situation.rules), -find_pipe(run.pipe_key).wall)
    plane = footing_plane(situation.each_house, footing_depth(situation), *edges.T, half=0.0)
    for (x, y), least in zip(edges[plane > bottoms], plane[plane > bottoms], strict=True):
        rows, columns = _around(field, x, y)
        np.maximum.at(deepest, (rows, columns), np.maximum(field.deepest[rows, columns] + into, least) + SPARE)


def _around(field: RouteField, x: float, y: float) -> tuple[IntArray, IntArray]:
    """Cells that decide how a line lies at a place."""
    grid = field.grid
    row, column = (grid.top - y) / grid.cell_height - 0.5, (x - grid.left) / grid.cell_width - 0.5
    rows, columns = np.indices(field.ground.shape)
    near_rows, near_columns = np.nonzero((np.abs(rows - row) <= REACH) & (np.abs(columns - column) <= REACH))
    return near_rows, near_columns
