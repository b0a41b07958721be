"""Trenches and pits against the plane that runs down at 45 degrees from a footing."""

from collections.abc import Iterator

import numpy as np
import shapely

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.diagnosis.houses import footing_plane
from pipelines.layout.gate.structures import sump_width
from pipelines.layout.plan import Plan
from pipelines.layout.quantities.quantities import trench_width
from pipelines.layout.routing.lot_field import footing_depth
from pipelines.layout.ways.settings import WayGround
from terrain.arrays import FloatArray
from terrain.reason import Reason, reason

APART = 0.25
"""Distance between the places along a trench that are looked at. [m]"""
EXACT = 0.01
"""A trench is dug to this at best. [m]"""


def below_footing(plan: Plan, ground: WayGround) -> Iterator[Reason]:
    """Trenches whose edge, and pits whose side, cut into the plane under a footing, at any place along them.

    References
    ----------
    .. [1] Influence plane at 45 degrees: Uniform Plumbing Code 314.1, International Residential Code P2604.4.
    """
    situation, rules = ground.situation, ground.situation.rules
    if not situation.each_house:
        return
    deep = footing_depth(situation)

    def depth_in(edges: FloatArray, bottoms: FloatArray) -> float:
        return float((footing_plane(situation.each_house, deep, *edges.T, half=0.0) - bottoms).max())

    for run in plan.pipe_runs:
        if not run.beside:
            edges, bottoms = trench_edges(run.line, trench_width(run, rules), -find_pipe(run.pipe_key).wall)
            into = depth_in(edges, bottoms)
            if into > EXACT:
                yield reason("trench_under_footing", trench=run.id, into=into)
    under = rules["stone_under_pipe"].likely
    for drain in plan.french_drains:
        into = depth_in(*trench_edges(drain.line, drain.width, -under))
        if into > EXACT:
            yield reason("trench_under_footing", trench=drain.id, into=into)
    for sump in plan.sumps:
        at = np.array([[sump.point.x], [sump.point.y]])
        plane = footing_plane(situation.each_house, deep, *at, half=sump_width(sump) / 2.0)
        into = float(plane[0]) - sump.bottom_elevation
        if into > EXACT:
            yield reason("trench_under_footing", trench=sump.id, into=into)


def trench_edges(line: shapely.LineString, width: float, under: float) -> tuple[FloatArray, FloatArray]:
    """Points on both edges of a trench along its line, and its bottom there. [m]"""
    xyz = shapely.get_coordinates(shapely.segmentize(line, APART), include_z=True)
    heading = np.gradient(xyz[:, :2], axis=0)
    lengths = np.maximum(np.hypot(*heading.T), 1e-9)
    across = 0.5 * width * np.column_stack([-heading[:, 1], heading[:, 0]]) / lengths[:, None]
    edges = np.vstack([xyz[:, :2] + across, xyz[:, :2] - across])
    return edges, np.tile(xyz[:, 2] + under, 2)
