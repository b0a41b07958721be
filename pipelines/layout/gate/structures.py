"""Structures that overlap, and lines that run through a basin of another line."""

from collections.abc import Iterator, Mapping
from itertools import combinations

import shapely
from shapely.geometry.base import BaseGeometry

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.plan import CatchBasin, ChannelDrain, FrenchDrain, Plan, Sump
from terrain.reason import Reason, reason
from terrain.unit_table import INCH

LEAST_OVERLAP = 1e-3
"""Structures that touch or share less are built side by side. [m2]"""
SAME_PLACE = 1e-3
"""Nearer to each other than this two structures stand in one place. [m]"""
LEAST_THROUGH = 0.01
"""A line that runs less far through a basin passes it. [m]"""


def overlapping(plan: Plan) -> Iterator[Reason]:
    """Pairs of structures that stand in each other; a trench may end at what it drains into, a sump take a grate."""
    found = footprints(plan)
    collectors: list[CatchBasin | FrenchDrain | ChannelDrain] = [
        *plan.french_drains, *plan.channel_drains, *plan.catch_basins
    ]
    into = {each.id: each.drains_to for each in collectors}
    beside, lids = _stone_of_sumps(plan), _lids(plan)
    for (name, first), (other_name, second) in combinations(found.items(), 2):
        one, other = lids.get(name, name), lids.get(other_name, other_name)
        if one == other or other in (into.get(one), beside.get(one)) or one in (into.get(other), beside.get(other)):
            continue
        if one in beside and beside[one] == beside.get(other):
            continue
        area = float(shapely.area(shapely.intersection(first, second)))
        if area > LEAST_OVERLAP:
            yield reason("structures_overlap", one=name, other=other_name)


def lines_through_basins(plan: Plan) -> Iterator[Reason]:
    """Lines that run through a basin or a sump that they neither leave nor end at."""
    shapes = _pits(plan)
    grates = {basin.id: basin.drains_to for basin in plan.catch_basins}
    for run in plan.pipe_runs:
        line = shapely.force_2d(run.line)
        half = find_pipe(run.pipe_key).outside / 2.0
        for name, shape in shapes.items():
            # a sump that takes a basin's grate itself is where its own line leaves
            if {name, grates.get(name)} & {run.from_id, run.to_id} or run.beside:
                continue
            length = float(shapely.length(shapely.intersection(line, shapely.buffer(shape, half))))
            if length > LEAST_THROUGH and not _joined_there(plan, run.id, name):
                yield reason("line_through_basin", run=run.id, basin=name)


def footprints(plan: Plan) -> Mapping[str, BaseGeometry]:
    """Ground that each structure takes, by id. [m]"""
    shapes = _pits(plan)
    drains: list[FrenchDrain | ChannelDrain] = [*plan.french_drains, *plan.channel_drains]
    for drain in drains:
        line = shapely.force_2d(drain.line)
        shapes[drain.id] = shapely.buffer(line, drain.width / 2.0, cap_style="flat", join_style="mitre")
    return shapes


def _pits(plan: Plan) -> dict[str, BaseGeometry]:
    pits: list[CatchBasin | Sump] = [*plan.catch_basins, *plan.sumps]
    return {pit.id: basin_footprint(pit) for pit in pits}


def basin_footprint(basin: CatchBasin | Sump) -> BaseGeometry:
    """Ground that a basin takes: a square of its grate, a circle of a sump's width. [m]"""
    if isinstance(basin, CatchBasin):
        # a basin whose roofs are not known has no grate yet
        side = float(basin.grate.split()[0]) * INCH if basin.grate else 0.0
        return shapely.buffer(basin.point, side / 2.0, cap_style="square")
    return shapely.buffer(basin.point, sump_width(basin) / 2.0)


def sump_width(sump: Sump) -> float:
    """Inside width of a pumped basin. [m]"""
    return 0.0 if isinstance(sump.basin, str) else float(sump.basin["width"])


def _stone_of_sumps(plan: Plan) -> dict[str, str]:
    """Stone trenches that store water beside a sump start at it, and so at each other: id of the sump by trench."""
    sumps = {sump.id for sump in plan.sumps}
    return {drain.id: drain.drains_to for drain in plan.french_drains if drain.drains_to in sumps}


def _lids(plan: Plan) -> dict[str, str]:
    """Basins that stand in a sump's place, whose grate is its lid: id of the sump by basin."""
    return {
        basin.id: sump.id for basin in plan.catch_basins for sump in plan.sumps
        if basin.drains_to == sump.id and shapely.dwithin(basin.point, sump.point, SAME_PLACE)
    }


def _joined_there(plan: Plan, run: str, basin: str) -> bool:
    """Whether a run ends at the line that leaves a basin, or the basin's own line ends at the run."""
    by_id = {each.id: each for each in plan.pipe_runs}
    own = [each for each in plan.pipe_runs if each.from_id == basin]
    return by_id[run].to_id in {each.id for each in own} or any(each.to_id == run for each in own)
