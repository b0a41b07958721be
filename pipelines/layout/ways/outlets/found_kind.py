"""What a low line that was found before a lot is taken for: a gutter, a swale or a ditch, by how deep it lies."""

import numpy as np
import shapely
from geopandas import GeoDataFrame
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.rules import Rules
from terrain.arrays import FloatArray
from terrain.flow.drainage import Drainage
from terrain.ground import OPEN

STREET_WORDS = "street|road|lane|gutter|curb"
"""Kinds of paving that may have a gutter at their edge."""
RUN = 4.0
"""Along so much of it a low line's direction is read. [m]"""


def street_paving(hardscape: GeoDataFrame, right_of_way: GeoDataFrame) -> BaseGeometry:
    """Paving of streets, and street land that is said to be paved. [m]"""
    paved = hardscape[hardscape["kind"].str.contains(STREET_WORDS, case=False)].geometry
    land = right_of_way[right_of_way["kind"].str.contains("pav|curb", case=False)].geometry
    found: BaseGeometry = shapely.union_all(np.array([*paved, *land], dtype=object))
    return found


def kind_of_low_line(
    drainage: Drainage, cell: int, point: Point, paving: BaseGeometry, rules: Rules
) -> tuple[str, float | None]:
    """What it is taken for, and how deep it lies below the lower of the banks beside it; None where they are not seen.

    A shallow line at the edge of a street's paving is a gutter at a curb, a deep one a ditch, all else a swale.
    """
    deep = _depth(drainage, cell, point, rules["found_section_reach"].likely)
    if deep is None:
        return "swale", None
    by_paving = not paving.is_empty and shapely.distance(paving.boundary, point) <= rules["found_gutter_reach"].likely
    if by_paving and deep <= rules["found_gutter_depth"].likely:
        return "curb", deep
    return "ditch" if deep >= rules["found_ditch_depth"].likely else "swale", deep


def _depth(drainage: Drainage, cell: int, point: Point, reach: float) -> float | None:
    """Height of the lower bank over a cell, square to the way its water runs. [m]"""
    grid = drainage.ground.grid
    columns, at, gone = grid.shape[1], cell, np.zeros(2)
    while drainage.target[at] >= 0 and float(np.hypot(*gone)) < RUN:
        at = int(drainage.target[at])
        x, y = grid.centres(at // columns, at % columns)
        gone = np.array([float(x) - point.x, float(y) - point.y])
    if not gone.any():
        return None
    across = np.array([-gone[1], gone[0]]) / float(np.hypot(*gone))
    offsets = np.arange(0.0, reach + 0.1, 0.5 * min(grid.cell_width, grid.cell_height))
    bottom = float(drainage.ground.elevation.ravel()[cell])
    tops = [_highest(drainage, point.x + side * offsets * across[0], point.y + side * offsets * across[1])
            for side in (-1.0, 1.0)]  # fmt: skip
    known = [top - bottom for top in tops if np.isfinite(top)]
    return min(known) if len(known) == 2 else None


def _highest(drainage: Drainage, x: FloatArray, y: FloatArray) -> float:
    grid = drainage.ground.grid
    rows, columns = grid.cells(x, y)
    inside = (rows >= 0) & (rows < grid.shape[0]) & (columns >= 0) & (columns < grid.shape[1])
    here = (rows[inside], columns[inside])
    heights = drainage.ground.elevation[here][drainage.ground.kind[here] == OPEN]
    return float(heights.max()) if heights.size > 1 else np.nan
