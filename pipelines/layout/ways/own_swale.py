"""A shallow swale of one's own, where run-on can be turned aside over the lawn to where water may leave."""

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.rules import Rules
from pipelines.layout.diagnosis.diagnose import Diagnosis
from pipelines.layout.diagnosis.troubles import Trouble
from pipelines.layout.plan import Cure
from pipelines.layout.routing.fall_to_spare import fall_to_spare
from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.spec import OutfallTarget
from pipelines.layout.ways.settings import route_spec, settings_to_try
from pipelines.layout.ways.way_values import WayInputs
from terrain.arrays import FloatArray
from terrain.reason import reason
from terrain.sampling import sample_known

STATION = 0.5
"""Its ground is looked at so often. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class OwnSwale:
    """A swale on the lot: its cure in words, its way and its bottom along it. [m]"""

    cure: Cure
    way: FloatArray
    bottom: FloatArray


def own_swale(inputs: WayInputs, found: Diagnosis, share: float) -> OwnSwale | None:
    """A shallow swale or berm that turns run-on aside, where the ground falls enough on an allowed way."""
    sites = (*inputs.outfalls, *inputs.daylights)
    rules = inputs.situation.rules
    if share < rules["own_swale_run_on"].likely or not found.troubles or not sites:
        return None
    start = _where_it_arrives(found.troubles[0], inputs)
    field = inputs.ground.field
    # a swale is no pipe: no cover is asked of it
    bare = replace(field, cover=np.zeros_like(field.cover))
    spec, _ = route_spec(inputs.ground, settings_to_try(inputs.situation.rules, inputs.site.layout)[0])
    around = shapely.buffer(start, 3.0)
    rows, columns = np.indices(field.grid.shape)
    beside = field.allowed & shapely.contains_xy(around, *field.grid.centres(rows, columns))
    best: tuple[float, FloatArray, FloatArray] | None = None
    for site in sites:
        fall = fall_to_spare(bare, OutfallTarget(site.id, site.point, site.bottom), spec.pipes[0], spec)
        for row, column in np.argwhere(beside & np.isfinite(fall.length)):
            found_way = _along(fall.way_from(int(row), int(column)), field, inputs.situation.parcel, rules)
            if found_way is not None and (best is None or found_way[0] > best[0]):
                best = found_way
    if best is None:
        return None
    slope, way, bottom = best
    length = float(LineString(way).length)
    cure = Cure(
        "cure-swale", reason("own_swale", length=length, slope=slope), reason("own_swale_why", share=share),
        reason("own_swale_changes"),
    )
    return OwnSwale(cure, way, bottom)


def _along(
    way: FloatArray, field: RouteField, parcel: BaseGeometry, rules: Rules
) -> tuple[float, FloatArray, FloatArray] | None:
    """Mean slope, way and bottom of a swale as far as the lot reaches; None where it would be dug too deep."""
    # an outfall may lie on the very cell
    if len(way) < 2 or not LineString(way).length:
        return None
    xy = shapely.get_coordinates(shapely.segmentize(LineString(way), STATION))
    outside = np.flatnonzero(~shapely.intersects_xy(parcel, xy[:, 0], xy[:, 1]))
    xy = xy[: outside[0]] if outside.size else xy
    if len(xy) < 2:
        return None
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    ground = sample_known(field.ground, field.grid, xy[:, 0], xy[:, 1])
    # as high as it can lie: never over the ground, falling by the least slope everywhere
    slope = rules["own_swale_slope"].likely
    bottom = np.minimum.accumulate(ground + slope * along) - slope * along
    if along[-1] < rules["own_swale_length"].likely or not np.isfinite(ground).all():
        return None
    if (ground - bottom).max() > rules["own_swale_depth"].likely:
        return None
    return float((bottom[0] - bottom[-1]) / along[-1]), xy, bottom


def _where_it_arrives(trouble: Trouble, inputs: WayInputs) -> Point:
    """The cell by which most water steps onto an edge, or the middle of a low spot."""
    if trouble.edge is not None and trouble.edge.cells.size:
        grid = inputs.situation.grid
        cell = int(trouble.edge.cells[int(np.argmax(trouble.edge.areas))])
        x, y = grid.centres(cell // grid.shape[1], cell % grid.shape[1])
        return Point(float(x), float(y))
    return shapely.centroid(trouble.spot.shape) if trouble.spot is not None else Point()
