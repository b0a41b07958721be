"""What of a lot's answer hangs on how wide the raster's cells are."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.layout.diagnosis.hidden_culverts import side_of
from pipelines.layout.diagnosis.situation import Situation
from terrain.arrays import BoolArray
from terrain.grid import Grid
from terrain.reason import Reason, reason


@dataclass(frozen=True, slots=True)
class CellDoubt:
    """An answer that hangs on the raster's cells.

    Attributes
    ----------
    cell : float
        Width of the raster's cells. [m]
    run_on, run_on_wider : float
        Ground outside that drains to the lot: in these cells, and in cells twice as wide. [m2]
    narrow : tuple of Reason
        Places that too few cells span.
    decides : bool
        How much water the lot has to cope with hangs on it.
    why : Reason
        All of this, and what settles it.
    """

    cell: float
    run_on: float
    run_on_wider: float
    narrow: tuple[Reason, ...]
    decides: bool
    why: Reason


def what_hangs_on_cells(lot: Situation, wider: Sequence[tuple[Grid, BoolArray]]) -> CellDoubt | None:
    """The lot beside its drainage area in cells twice as wide, as they may lie; None where nothing hangs on them."""
    grid, rules = lot.grid, lot.rules
    cell, share = max(grid.cell_width, grid.cell_height), rules["cells_run_on"].likely
    outside = lot.studied & ~lot.on_parcel
    tried = [_on_fine(studied, each, grid) & ~lot.on_parcel for each, studied in wider]
    then = max(tried, key=lambda each: abs(np.count_nonzero(each) - np.count_nonzero(outside)))
    run_on, run_on_wider = (float(np.count_nonzero(each)) * grid.cell_area for each in (outside, then))
    differs = abs(run_on - run_on_wider) > share * max(run_on, run_on_wider)
    narrow = _narrow_places(lot, rules["cells_across"].likely * cell)
    if not differs and not narrow:
        return None
    why = reason(
        "hangs_on_cells", cell=cell, run_on=run_on if differs else None, run_on_wider=run_on_wider,
        side=_where(outside ^ then, grid, lot.parcel) if differs else None, narrow=narrow,
    )  # fmt: skip
    studied = float(np.count_nonzero(lot.studied)) * grid.cell_area
    decides = differs and abs(run_on - run_on_wider) > share * studied
    return CellDoubt(cell, run_on, run_on_wider, narrow, decides, why)


def on_cells(verdict: Reason | str, doubt: CellDoubt) -> Reason:
    """An answer that says in one sentence that it hangs on the cells."""
    return reason(
        "verdict_on_cells", verdict=verdict, cell=doubt.cell, run_on=doubt.run_on, run_on_wider=doubt.run_on_wider,
        side=doubt.why["side"],
    )  # fmt: skip


def _on_fine(mask: BoolArray, wider: Grid, grid: Grid) -> BoolArray:
    found = np.zeros(grid.shape, dtype=np.bool_)
    fours = np.repeat(np.repeat(mask, 2, axis=0), 2, axis=1)
    row, column = round((grid.top - wider.top) / grid.cell_height), round((wider.left - grid.left) / grid.cell_width)
    found[row : row + fours.shape[0], column : column + fours.shape[1]] = fours
    return found


def _narrow_places(lot: Situation, least: float) -> tuple[Reason, ...]:
    """Protected paving, and the yard between house and lot line, that are narrower than a width. [m]"""
    found = [
        reason("place_narrow", place=reason("place_named", name=edge.name), width=width)
        for edge in lot.edges
        if edge.kind == "paving" and (width := _width(edge.shape)) < least
    ]
    yard = 0.0 if lot.houses.is_empty else float(shapely.distance(lot.houses, shapely.boundary(lot.parcel)))
    if 0.0 < yard < least:
        found.append(reason("place_narrow", place=reason("place_side_yard"), width=yard))
    return tuple(found)


def _width(shape: BaseGeometry) -> float:
    """Shorter side of the smallest rectangle around a shape. [m]"""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))
    return float(np.hypot(*np.diff(corners[:3], axis=0).T).min())


def _where(cells: BoolArray, grid: Grid, parcel: BaseGeometry) -> Reason:
    rows, columns = np.nonzero(cells)
    x, y = grid.centres(rows.mean(), columns.mean())
    return side_of(Point(float(x), float(y)), parcel.centroid)
