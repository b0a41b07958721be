"""The window of a raster that a lot needs: grown until the ground that drains to the lot is inside.

`grow_window(source, parcel, drain)` where `drain(surface)` marks the cells that lie on the parcel or drain to it.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from shapely.geometry.base import BaseGeometry

from terrain.arrays import BoolArray
from terrain.flow.lot_ground import THE_PARCEL, GroundLimits, refuse_unfit, refuse_unknown
from terrain.reading.raster_source import RasterSource
from terrain.reading.surface import Bounds, Surface, read_window, snapped_cells
from terrain.reason import Reason, reason

Drain = Callable[[Surface], BoolArray]


@dataclass(frozen=True, slots=True)
class Look:
    """A look at ground farther off than a lot's own water comes from, before its window is read.

    Attributes
    ----------
    ponds : callable
        Marks the cells of ponds that the lot's answer hangs on.
    reach : float
        How far beyond the window that is read first. [m]
    """

    ponds: Drain
    reach: float


_SIDES = ("n", "e", "s", "w")
_NAMES = {
    "n": reason("side_north"), "e": reason("side_east"), "s": reason("side_south"), "w": reason("side_west"),
}  # fmt: skip


def grow_window(
    source: RasterSource,
    parcel: BaseGeometry,
    drain: Drain,
    *,
    margin: float = 20.0,
    limit: int = 4_000_000,
    largest_hole: int = 25,
    limits: GroundLimits | None = None,
    named: Reason = THE_PARCEL,
    look: Look | None = None,
) -> Surface:
    """Read the ground around a lot, and more on each side until all that drains to the lot is inside.

    A side grows while ground that drains to the lot touches it, by twice as much each time. When none does, the
    window grows once more by the margin all round: where that changes what drains to the lot (a low spot cut by
    the old edge spills the other way), growing goes on. `named` is what the ground is read for. Ponds that a look
    farther off finds are read whole, with what dams them. What the limit of cells leaves unread is warned about.
    """
    limits = limits or GroundLimits()
    refuse_unfit(source, parcel, limits)
    west, south, east, north = parcel.bounds
    bounds = (west - margin, south - margin, east + margin, north + margin)
    file = source.path.name
    unseen: tuple[Reason, ...] = ()
    if look is not None:
        wide = _moved(bounds, list(_SIDES), dict.fromkeys(_SIDES, look.reach))
        if _cells(source, wide) > limit:
            unseen = (reason("window_look_stopped", file=file, cells=limit, drains_to=named),)
        else:
            bounds = _with_ponds(source, bounds, wide, look, 2.0 * margin)
    surface = read_window(source, bounds, largest_hole=largest_hole)
    found = (*refuse_unknown(source, surface, parcel, limits, named), *unseen)
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
                stopped = reason("window_stopped", file=file, sides=_named(cut), cells=limit, drains_to=named)
            else:
                stopped = reason("window_unsettled", file=file, cells=limit, drains_to=named)
            found = (*found, stopped)
            break
        before, surface = surface, read_window(source, wider, largest_hole=largest_hole)
        old_mask, mask = mask, drain(surface)
        settled = not cut and _same_ground(before, old_mask, surface, mask)
    return replace(surface, warnings=(*surface.warnings, *found, *_remarks_on_ends(source, surface, mask, named)))


def _with_ponds(source: RasterSource, bounds: Bounds, wide: Bounds, look: Look, margin: float) -> Bounds:
    """A rectangle that holds the ponds of a wide one too, with a margin."""
    seen = read_window(source, wide)
    rows, columns = np.nonzero(look.ponds(seen))
    if not rows.size:
        return bounds
    (west, east), (north, south) = seen.grid.centres(
        np.array([rows.min(), rows.max()]), np.array([columns.min(), columns.max()])
    )
    return (
        min(bounds[0], float(west) - margin), min(bounds[1], float(south) - margin),
        max(bounds[2], float(east) + margin), max(bounds[3], float(north) + margin),
    )  # fmt: skip


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


def _remarks_on_ends(source: RasterSource, surface: Surface, mask: BoolArray, named: Reason) -> Iterator[Reason]:
    file = source.path.name
    ends = [side for side in _touched(mask) if side in surface.raster_ends]
    if ends:
        yield reason("raster_ends", file=file, sides=_named(ends), drains_to=named)
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
        place = f"{float(x) / frame.x_scale:.0f}, {float(y) / frame.y_scale:.0f}"
        yield reason("run_on_from_unknown", file=file, place=place, drains_to=named)


def _named(sides: list[str]) -> tuple[Reason, ...]:
    return tuple(_NAMES[side] for side in sides)
