"""Cover under ground that a field's cells smooth over: profiles are laid lower where there is fall for it."""

import numpy as np

from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.kernels.laying import Bed, Tube, station
from pipelines.layout.routing.kernels.ways import ground_at
from terrain.arrays import FloatArray, IntArray

PARTS = 4
"""Parts into which the way between two stations of a profile is cut."""
LAID_TO = 1e-3
"""Kept over a line's least cover, since ground bends between two places that are looked at. [m]"""


def under_fine_ground(
    field: RouteField, bed: Bed, tube: Tube, profile: FloatArray, places: IntArray, xy: FloatArray, taper: float,
    end_level: float,
) -> tuple[FloatArray, IntArray]:
    """A profile and its vertices' places in it, laid lower where its cover asks for that and its fall allows it."""
    if field.fine is None:
        return profile, places
    at = np.arange((len(profile) - 1) * PARTS + 1) / PARTS
    close = np.column_stack([np.interp(at, np.arange(len(profile)), column) for column in profile.T])
    along, vertices = close[:, 0], places * PARTS
    x, y = (np.interp(along, along[vertices], xy[:, k]) for k in range(2))
    caps = np.array([_cap(field.fine, bed, tube, a, b) for a, b in zip(x, y, strict=True)])
    caps[(along > along[-1] - taper) & (along > 0.0)] = np.inf
    floor = floor_with_need(close, tube.slope, end_level)
    highest, lowered = close[:, 4], np.minimum(close[:, 4], caps)
    for k in range(1, len(lowered)):
        lowered[k] = min(lowered[k], lowered[k - 1] - tube.slope * (along[k] - along[k - 1]))
    close[:, 4] = np.minimum(highest, np.maximum(lowered, floor))
    return close, vertices


def floor_with_need(profile: FloatArray, slope: float, end_level: float) -> FloatArray:
    """Lowest inverts along a line from which the rest of it can still be laid. [m]"""
    along, highest, floor = profile[:, 0], profile[:, 4], profile[:, 3].copy()
    need = end_level
    for k in range(len(along) - 1, -1, -1):
        need = max(need, floor[k])
        floor[k] = min(need, highest[k])
        need += slope * (along[k] - along[k - 1]) if k else 0.0
    return floor


def _cap(fine: FloatArray, bed: Bed, tube: Tube, x: float, y: float) -> float:
    """Highest invert under the fine ground at a point, with the cover of the cells around it. [m]"""
    ground, cap = station(bed, tube._replace(taper=-1.0), x, y)[:2]
    down, across = bed.height * bed.ground.shape[0] / fine.shape[0], bed.width * bed.ground.shape[1] / fine.shape[1]
    here = ground_at(fine, (bed.top - y) / down - 0.5, (x - bed.left) / across - 0.5)
    return float(here - (ground - cap) - LAID_TO) if np.isfinite(here) else np.inf
