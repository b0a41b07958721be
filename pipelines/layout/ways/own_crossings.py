"""Where lines of one plan cross each other in plan, and how far apart they lie there."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import shapely

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.plan import PipeRun
from terrain.reason import Reason, reason

AT_END = 0.05
"""Lines that meet this near to an end of one of them are joined there. [m]"""


def own_crossings(runs: Sequence[PipeRun], clearance: float) -> tuple[Reason, ...]:
    """What a crew must know of lines of a plan that cross each other, against the clear height wanted."""
    said: list[Reason] = []
    for one, other in combinations(runs, 2):
        if one.id == other.beside or other.id == one.beside:
            continue
        first, second = shapely.force_2d(one.line), shapely.force_2d(other.line)
        ends = shapely.get_coordinates([shapely.get_point(line, at) for line in (first, second) for at in (0, -1)])
        for place in shapely.get_coordinates(shapely.intersection(first, second)):
            if float(np.hypot(*(ends - place).T).min()) <= AT_END:
                continue
            heights = {run.id: _invert_at(run, place) for run in (one, other)}
            lower, upper = sorted((one, other), key=lambda run: heights[run.id])
            above, below = find_pipe(upper.pipe_key), find_pipe(lower.pipe_key)
            clear = heights[upper.id] - above.wall - (heights[lower.id] + below.outside - below.wall)
            if clear >= clearance:
                said.append(reason("line_passes_over", upper=upper.id, lower=lower.id, clear=clear))
            else:
                said.append(
                    reason(
                        "lines_too_close", upper=upper.id, lower=lower.id, wanted=clearance, clear=max(clear, 0.0)
                    )
                )
    return tuple(dict.fromkeys(said))


def _invert_at(run: PipeRun, place: np.ndarray) -> float:
    points = shapely.get_coordinates(run.line, include_z=True)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points[:, :2], axis=0).T))])
    at = shapely.line_locate_point(shapely.force_2d(run.line), shapely.Point(*place))
    return float(np.interp(at, along, points[:, 2]))
