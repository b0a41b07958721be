"""The window of a raster that a lot needs: grown until the ground that drains to the lot is inside.

`grow_window(source, parcel, drain, margin=20.0, limit=4_000_000)` where `drain(surface)` marks the cells that lie
on the parcel or drain to it.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from shapely.geometry.base import BaseGeometry

from terrain.arrays import BoolArray
from terrain.flow.lot_ground import refuse_unfit, refuse_unknown
from terrain.reading.raster_source import RasterSource
from terrain.reading.surface import Bounds, Surface, read_window, snapped_cells

Drain = Callable[[Surface], BoolArray]

_SIDES = ("n", "e", "s", "w")
_IN_WORDS = {"n": "north", "e": "east", "s": "south", "w": "west"}


def grow_window(
    source: RasterSource,
    parcel: BaseGeometry,
    drain: Drain,
    *,
    margin: float = 20.0,
    limit: int = 4_000_000,
    largest_hole: int = 25,
) -> Surface:
    """Read the ground around a lot, and more on each side until all that drains to the lot is inside.

    A side grows while ground that drains to the lot touches it, by twice as much each time. When none does, the
    window grows once more by the margin all round: where that changes what drains to the lot (a low spot cut by
    the old edge spills the other way), growing goes on.
    """
    refuse_unfit(source, parcel)
    west, south, east, north = parcel.bounds
    bounds = (west - margin, south - margin, east + margin, north + margin)
    surface = read_window(source, bounds, largest_hole=largest_hole)
    found = refuse_unknown(source, surface, parcel)
    step = dict.fromkeys(_SIDES, margin)
    mask = drain(surface)
    look_around = margin
    settled = False
    while True:
        cut = [side for side in _touched(mask) if side not in surface.raster_ends]
        if not cut:
            if settled or len(surface.raster_ends) == len(_SIDES):
                break
            growing = [side for side in _SIDES if side not in surface.raster_ends]
            wider = _moved(surface.grid.bounds, growing, dict.fromkeys(_SIDES, look_around))
            look_around *= 2.0
        else:
            step = {side: 2.0 * step[side] if side in cut else step[side] for side in _SIDES}
            wider = _moved(surface.grid.bounds, cut, step)
        if _cells(source, wider) > limit:
            if cut:
                found += (_stopped_in_words(source, cut, limit),)
            break
        before, surface = surface, read_window(source, wider, largest_hole=largest_hole)
        old_mask, mask = mask, drain(surface)
        settled = not cut and _same_ground(before, old_mask, surface, mask)
    return replace(surface, warnings=surface.warnings + found + _ends_in_words(source, surface, mask))


def _touched(mask: BoolArray) -> list[str]:
    # two cells deep, since the outermost may all be taken to leave over the edge
    rim = {"n": mask[:2], "e": mask[:, -2:], "s": mask[-2:], "w": mask[:, :2]}
    return [side for side in _SIDES if rim[side].any()]


def _moved(bounds: Bounds, sides: list[str], step: dict[str, float]) -> Bounds:
    west, south, east, north = bounds
    return (
        west - (step["w"] if "w" in sides else 0.0),
        south - (step["s"] if "s" in sides else 0.0),
        east + (step["e"] if "e" in sides else 0.0),
        north + (step["n"] if "n" in sides else 0.0),
    )


def _cells(source: RasterSource, bounds: Bounds) -> int:
    rows, columns = snapped_cells(source.grid, bounds)
    return (rows[1] - rows[0]) * (columns[1] - columns[0])


def _same_ground(before: Surface, old_mask: BoolArray, after: Surface, mask: BoolArray) -> bool:
    """Whether the very same cells drain to the lot in both windows."""
    old, new = before.grid, after.grid
    row = round((new.top - old.top) / new.cell_height)
    column = round((old.left - new.left) / new.cell_width)
    inner = mask[row : row + old.shape[0], column : column + old.shape[1]]
    return bool(np.array_equal(inner, old_mask)) and int(mask.sum()) == int(old_mask.sum())


def _stopped_in_words(source: RasterSource, sides: list[str], limit: int) -> str:
    return (
        f"{source.path.name}: ground that drains to the parcel reaches past the {_joined(sides)} of the window, which "
        f"stopped growing at its limit of {limit:,} cells; run-on from there is under-counted"
    )


def _ends_in_words(source: RasterSource, surface: Surface, mask: BoolArray) -> tuple[str, ...]:
    lines = []
    ends = [side for side in _touched(mask) if side in surface.raster_ends]
    if ends:
        lines.append(
            f"{source.path.name}: the raster ends on the {_joined(ends)} within ground that drains to the parcel; "
            "run-on from there is under-counted"
        )
    unknown = np.isnan(surface.elevation)
    beside = np.zeros(mask.shape, dtype=np.bool_)
    beside[1:] |= unknown[:-1]
    beside[:-1] |= unknown[1:]
    beside[:, 1:] |= unknown[:, :-1]
    beside[:, :-1] |= unknown[:, 1:]
    at_hole = mask & beside & ~unknown
    if at_hole.any():
        rows, columns = np.nonzero(at_hole)
        x, y = surface.grid.centres(rows.mean(), columns.mean())
        frame = surface.grid.frame
        lines.append(
            f"{source.path.name}: ground that drains to the parcel borders on unknown ground (nodata) around "
            f"({float(x) / frame.x_scale:.0f}, {float(y) / frame.y_scale:.0f}); run-on from there is not counted"
        )
    return tuple(lines)


def _joined(sides: list[str]) -> str:
    words = [_IN_WORDS[side] for side in sides]
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
