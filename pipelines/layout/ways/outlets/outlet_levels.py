"""An outfall's level that nobody gave: its range by kind, and the bed beside a point that was drawn on the bank."""

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.rules import Rules
from terrain.flow.drainage import Drainage
from terrain.ground import OPEN

CARRIES_ON = ("swale", "ditch")
"""Outfalls whose bottom a pipe must stay clear of."""
UNDER = {
    "swale": "outlet_under_swale",
    "ditch": "outlet_under_ditch",
    "curb": "outlet_under_curb",
    "inlet": "outlet_under_inlet",
    "pond": "outlet_under_pond",
}
"""Rule that says how far an outfall's level lies under the ground that lidar shows at it, by kind."""
BED_SHARE = 0.25
"""Ground within this share of the way up from the lowest is bed. [-]"""


def level_range(kind: str, rules: Rules) -> tuple[float, float, float]:
    """How far a level that nobody gave lies under the ground; how much lower and higher than that it may lie. [m]"""
    if kind not in UNDER:
        return 0.0, 0.0, 0.0
    depth = rules[UNDER[kind]]
    over = rules["outlet_over_pond"].likely if kind == "pond" else 0.0
    return depth.likely, depth.high - depth.likely, depth.likely - depth.low + over


def bed_beside(point: Point, drainage: Drainage, parcel: BaseGeometry, rules: Rules) -> Point | None:
    """The lowest place across the line of a swale from a point on its bank; None where it lies in the bed already."""
    grid, reach = drainage.ground.grid, rules["outfall_bed_reach"].likely
    open_ground = np.where(drainage.ground.kind == OPEN, drainage.ground.elevation, np.nan)

    def heights(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        rows, columns = grid.cells(x, y)
        inside = (rows >= 0) & (rows < grid.shape[0]) & (columns >= 0) & (columns < grid.shape[1])
        found = np.full(x.shape, np.nan)
        found[inside] = open_ground[rows[inside], columns[inside]]
        return found

    step = min(grid.cell_width, grid.cell_height)
    offsets = np.arange(-reach, reach + 0.5 * step, step)
    x, y = (each.ravel() for each in np.meshgrid(point.x + offsets, point.y + offsets))
    near = np.hypot(x - point.x, y - point.y) <= reach
    x, y = x[near], y[near]
    z, own = heights(x, y), float(heights(np.array([point.x]), np.array([point.y]))[0])
    if not np.isfinite(own) or own - np.nanmin(z) < rules["outfall_bed_drop"].likely:
        return None
    bed = z <= np.nanmin(z) + BED_SHARE * (own - np.nanmin(z))
    spread = np.cov(np.vstack([x[bed], y[bed]])) if np.count_nonzero(bed) > 1 else np.zeros((2, 2))
    along = np.linalg.eigh(spread)[1][:, 1]
    across = np.array([-along[1], along[0]])
    x, y = point.x + offsets * across[0], point.y + offsets * across[1]
    profile = heights(x, y)
    if shapely.disjoint(parcel, point):
        # what lies off the lot is not moved onto it
        profile = np.where(shapely.intersects_xy(parcel, x, y), np.nan, profile)
    if not np.isfinite(profile).any() or own - np.nanmin(profile) < rules["outfall_bed_drop"].likely:
        return None
    lowest = np.flatnonzero(profile <= np.nanmin(profile) + 1e-9)
    at = lowest[np.argmin(np.abs(offsets[lowest]))]
    return Point(float(x[at]), float(y[at]))
