"""A shallow swale of one's own, where run-on can be turned aside over the lawn to where water may leave."""

from dataclasses import replace

import numpy as np
import shapely
from shapely import Point

from pipelines.layout.fall_to_spare import fall_to_spare
from pipelines.layout.laying import route_spec, settings_to_try
from pipelines.layout.plan import Cure
from pipelines.layout.proposal import Diagnosis
from pipelines.layout.route_spec import OutfallTarget
from pipelines.layout.troubles import Trouble
from pipelines.layout.way_values import WayInputs

LEAST_SLOPE = 0.01
"""Least fall of a shallow swale of one's own; common practice, no source. [-]"""
RUN_ON_SHARE = 0.5
"""Share of the ground behind a trouble that must be run-on before turning it aside is offered. [-]"""


def own_swale(inputs: WayInputs, found: Diagnosis, share: float) -> Cure | None:
    """A shallow swale or berm that turns run-on aside, where the ground falls enough on an allowed way.

    Parameters
    ----------
    inputs : WayInputs
        The lot, and where water may leave.
    found : Diagnosis
        What is wrong.
    share : float
        Of the ground behind it that lies outside the lot. [-]

    Returns
    -------
    Cure or None
        None where little of it is run-on, or no way falls by 1 % and more.
    """
    sites = (*inputs.outfalls, *inputs.daylights)
    if share < RUN_ON_SHARE or not found.troubles or not sites:
        return None
    start = _where_it_arrives(found.troubles[0], inputs)
    field = inputs.ground.field
    # a swale is no pipe: no cover is asked of it
    bare = replace(field, cover=np.zeros_like(field.cover))
    spec, _ = route_spec(inputs.ground, settings_to_try(inputs.situation.rules, inputs.site.layout)[0])
    around = shapely.buffer(start, 3.0)
    rows, columns = np.indices(field.grid.shape)
    beside = field.allowed & shapely.contains_xy(around, *field.grid.centres(rows, columns))
    best: tuple[float, float] | None = None
    for site in sites:
        length = fall_to_spare(bare, OutfallTarget(site.id, site.point, site.bottom), spec.pipes[0]).length
        reached = beside & np.isfinite(length) & (length > 0.0)
        if not reached.any():
            continue
        fall = np.where(reached, (field.ground - site.bottom) / np.where(reached, length, 1.0), -np.inf)
        at = int(np.argmax(fall))
        if best is None or fall.flat[at] > best[0]:
            best = (float(fall.flat[at]), float(length.flat[at]))
    if best is None or best[0] < LEAST_SLOPE:
        return None
    slope, way = best
    return Cure(
        "cure-swale",
        f"A shallow swale or berm on this lot, about {way / 0.3048:.0f} ft ({way:.0f} m) at {100.0 * slope:.1f} %.",
        f"{100.0 * share:.0f} % of the ground behind the trouble lies outside this lot.",
        "Turns the run-on aside before it reaches what must stay dry; it must not send it onto a neighbour.",
    )


def _where_it_arrives(trouble: Trouble, inputs: WayInputs) -> Point:
    """The cell by which most water steps onto an edge, or the middle of a low spot."""
    if trouble.edge is not None and trouble.edge.cells.size:
        grid = inputs.situation.grid
        cell = int(trouble.edge.cells[int(np.argmax(trouble.edge.areas))])
        x, y = grid.centres(cell // grid.shape[1], cell % grid.shape[1])
        return Point(float(x), float(y))
    return shapely.centroid(trouble.spot.shape) if trouble.spot is not None else Point()
