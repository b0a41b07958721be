"""Whether a raster can say anything about a lot."""

from dataclasses import dataclass

import numpy as np
from shapely import box
from shapely.geometry.base import BaseGeometry

from terrain.arrays import BoolArray, FloatArray
from terrain.errors import GroundError
from terrain.flow.burnt_cells import cells_inside
from terrain.metric_frame import lonlat_of
from terrain.reading.raster_source import RasterSource
from terrain.reading.surface import Bounds, Surface
from terrain.reason import Reason, reason

THE_PARCEL = reason("the_parcel")


@dataclass(frozen=True, slots=True)
class GroundLimits:
    """What a raster must be to say anything about a lot. Common practice, no source.

    Attributes
    ----------
    least_cells : float
        On the lot. [-]
    coarse : float
        Larger cells are told. [m]
    most_unknown, told_unknown : float
        Share of the lot without known ground that is refused, and that is told. [-]
    step, share_of_steps : float
        A surface model with roofs and trees left in steps by more than this between neighbours, over more than this
        share of its cells. [m], [-]
    """

    least_cells: float = 100.0
    coarse: float = 2.0
    most_unknown: float = 0.5
    told_unknown: float = 0.005
    step: float = 1.5
    share_of_steps: float = 0.02


@dataclass(frozen=True, slots=True)
class LotGround:
    """How a raster covers a lot.

    Attributes
    ----------
    cells : int
        Cells of the raster's own size that fit on the lot.
    unknown_share : float
        Share of the lot without known ground, outside the raster included. [-]
    """

    cells: int
    inside: bool
    unknown_share: float


def refuse_unfit(source: RasterSource, parcel: BaseGeometry, limits: GroundLimits) -> None:
    """Refuse a raster that lies elsewhere or is too coarse for a lot, before any of it is read."""
    if not parcel.intersects(box(*source.grid.bounds)):
        raise GroundError(
            f"the parcel lies outside the raster {source.path.name}: the parcel is at {_place(source, parcel.bounds)}, "
            f"the raster at {_place(source, source.grid.bounds)} (longitude, latitude); give the raster of this "
            "place, or correct the CRS of whichever file is tagged wrongly"
        )
    cells = parcel.area / (source.cell_width * source.cell_height)
    if cells < limits.least_cells:
        raise GroundError(
            f"the raster {source.path.name} is too coarse for this lot: {cells:.0f} cells of "
            f"{source.cell_width:.3g} x {source.cell_height:.3g} m lie on its {parcel.area:,.0f} m2, and at least "
            f"{limits.least_cells:g} are needed to tell its low spots; give a finer raster (1 m or less)"
        )


def cover_of_lot(source: RasterSource, surface: Surface, parcel: BaseGeometry) -> LotGround:
    """How the ground read covers a lot."""
    on_lot = cells_inside(surface.grid, parcel)
    inside = box(*source.grid.bounds).covers(parcel)
    whole = float(on_lot.sum())
    if not inside:
        # what sticks out of the raster has no cells here and counts as unknown
        whole = max(whole, parcel.area / surface.grid.cell_area)
    known = float(np.isfinite(surface.elevation[on_lot]).sum())
    return LotGround(
        cells=int(parcel.area / (source.cell_width * source.cell_height)),
        inside=inside,
        unknown_share=1.0 - known / whole if whole else 1.0,
    )


def refuse_unknown(
    source: RasterSource, surface: Surface, parcel: BaseGeometry, limits: GroundLimits, named: Reason = THE_PARCEL
) -> tuple[Reason, ...]:
    """Refuse ground that is mostly unknown on the lot; say what else of it a reader must know."""
    cover = cover_of_lot(source, surface, parcel)
    name = source.path.name
    if cover.unknown_share > limits.most_unknown:
        raise GroundError(
            f"the raster {name} is nodata over {cover.unknown_share:.0%} of the parcel, and at most "
            f"{limits.most_unknown:.0%} may be; "
            "give a raster that covers the lot"
        )
    warnings = []
    if cover.unknown_share > limits.told_unknown:
        warnings.append(reason("lot_unknown", file=name, share=cover.unknown_share, place=named))
    coarse = max(source.cell_width, source.cell_height)
    if coarse > limits.coarse * (1.0 + 1e-9):
        warnings.append(reason("raster_coarse", file=name, cell=coarse, limit=limits.coarse))
    share = share_of_steps(surface, limits.step)
    if share > limits.share_of_steps:
        warnings.append(reason("raster_of_roofs_and_trees", file=name, share=share, step=limits.step))
    return tuple(warnings)


def share_of_steps(surface: Surface, step: float) -> float:
    """Share of known cells that step to a neighbour as eaves and tree crowns do. [-]

    A step counts above `step`, or above one and a half cells on coarse rasters, where a steep bank alone makes as
    much. Common practice has no figure for it: on bare earth with garden walls the share stays under 1 %, with houses
    and trees left standing it is 5 to 20 %.
    """
    z = surface.elevation
    known = np.isfinite(z)
    if not known.any():
        return 0.0
    steep = np.zeros(z.shape, dtype=np.bool_)
    _mark_steps(z, steep, max(step, 1.5 * surface.grid.cell_width))
    _mark_steps(z.T, steep.T, max(step, 1.5 * surface.grid.cell_height))
    return float(steep.sum() / known.sum())


def _mark_steps(z: FloatArray, steep: BoolArray, limit: float) -> None:
    step = np.abs(np.diff(z, axis=1)) > limit
    steep[:, :-1] |= step
    steep[:, 1:] |= step


def _place(source: RasterSource, bounds: Bounds) -> str:
    frame = source.grid.frame
    x, y = (bounds[0] + bounds[2]) / 2.0 / frame.x_scale, (bounds[1] + bounds[3]) / 2.0 / frame.y_scale
    lon, lat = lonlat_of(frame.crs, x, y, source.path.name)
    return f"{lon:.4f}, {lat:.4f}"
