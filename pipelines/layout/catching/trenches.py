"""Stone trenches along edges, and grated channels across paving."""

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.rules import Rules
from pipelines.layout.catching.sites import CatchGround, DrainSite, heights_along, open_cells_within
from pipelines.layout.catching.trench_sizes import trench_depth
from pipelines.layout.diagnosis.troubles import Trouble
from terrain.arrays import FloatArray
from terrain.reason import Reason, reason


def trench_along(trouble: Trouble, stretch: LineString, ground: CatchGround, number: int) -> DrainSite | None:
    """A stone trench along the part of an edge that faces the water; None where it is too short or too deep."""
    rules = ground.rules
    longest = longest_line(shapely.intersection(stretch, ground.free_for_stone))
    if longest is None or longest.length < rules["trench_shortest"].likely:
        return None
    tidy = shapely.simplify(longest, 0.1)
    # of both ways along it the one that is dug less deep
    why = reason("trench_along", place=trouble.name, why=trouble.why)
    both = [dug(line, ground, number, why) for line in (tidy, shapely.reverse(tidy))]
    best = min(both, key=lambda drain: drain.depth)
    return best if best.depth <= rules["depth_hand_dig"].likely else None


def channel_across(trouble: Trouble, stretch: LineString, ground: CatchGround, number: int) -> DrainSite | None:
    """A grated channel across the paving that water comes over, before a garage or a wall."""
    rules = ground.rules
    line = longest_line(shapely.intersection(shapely.intersection(stretch, ground.free), ground.paving))
    if line is None or line.length < rules["channel_shortest"].likely:
        return None
    ends = heights_along(line, ground.drainage)
    dense = shapely.segmentize(shapely.reverse(line) if ends[0] < ends[-1] else line, 1.0)
    cells = open_cells_within(dense, ground.drainage)
    if not cells.size:
        return None
    heights = heights_along(dense, ground.drainage)
    inverts = np.minimum.accumulate(heights) - rules["channel_depth"].likely
    return DrainSite(
        id=f"channel-{number}",
        line=dense,
        ground=heights,
        inverts=inverts,
        cells=cells,
        length=float(dense.length),
        width=rules["channel_width"].likely,
        depth=float((heights - inverts).max()),
        slope=float((inverts[0] - inverts[-1]) / dense.length),
        why=reason("channel_across", place=trouble.name, why=trouble.why),
        channel=True,
    )


def dug(line: LineString, ground: CatchGround, number: int, why: Reason) -> DrainSite:
    """A stone trench along a line, falling to its end."""
    dense = shapely.segmentize(line, 1.0)
    heights = heights_along(dense, ground.drainage)
    inverts = _inverts(dense, heights, ground.rules)
    return DrainSite(
        id=f"drain-{number}",
        line=dense,
        ground=heights,
        inverts=inverts,
        cells=open_cells_within(dense, ground.drainage),
        length=float(dense.length),
        width=ground.rules["trench_width_stone"].likely,
        depth=float((heights - inverts).max()) + ground.rules["stone_under_pipe"].likely,
        slope=float((inverts[0] - inverts[-1]) / dense.length),
        why=why,
    )


def _inverts(line: LineString, ground: FloatArray, rules: Rules) -> FloatArray:
    """Highest inverts downstream at which the trench is deep enough and its pipe falls by the least slope."""
    steps = np.hypot(*np.diff(shapely.get_coordinates(line), axis=0).T)
    inverts = ground - (trench_depth(rules) - rules["stone_under_pipe"].likely)
    for k in range(1, len(inverts)):
        inverts[k] = min(inverts[k], inverts[k - 1] - rules["slope_4in_smooth"].low * steps[k - 1])
    return inverts


def longest_line(shape: BaseGeometry) -> LineString | None:
    """The longest line of a shape; None where it has none."""
    merged = shapely.line_merge(shape) if shape.geom_type == "MultiLineString" else shape
    lines = [part for part in shapely.get_parts(merged) if part.geom_type == "LineString" and part.length > 0.0]
    return max(lines, key=lambda part: float(part.length), default=None)
