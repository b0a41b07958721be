"""Whether a raster can say anything about a lot."""

from dataclasses import dataclass

import numpy as np
from shapely import box
from shapely.geometry.base import BaseGeometry

from terrain.arrays import BoolArray, FloatArray
from terrain.errors import GroundError
from terrain.grid import Grid
from terrain.metric_frame import lonlat_of
from terrain.reading.raster_source import RasterSource
from terrain.reading.surface import Bounds, Surface

LEAST_CELLS = 100
COARSE = 2.0
# Bare earth steps this much between neighbours only at walls and cliffs; eaves and tree crowns do all over.
STEEP_STEP = 1.5
ROUGH_SHARE = 0.02


@dataclass(frozen=True, slots=True)
class LotGround:
    """How a raster covers a lot.

    Attributes
    ----------
    cells : int
        Cells of the raster's own size that fit on the lot.
    inside : bool
        Whether the raster's rectangle holds the whole lot.
    unknown_share : float
        Share of the lot without known ground, outside the raster included. [-]
    """

    cells: int
    inside: bool
    unknown_share: float


def refuse_unfit(source: RasterSource, parcel: BaseGeometry) -> None:
    """Refuse a raster that lies elsewhere or is too coarse for a lot, before any of it is read."""
    if not parcel.intersects(box(*source.grid.bounds)):
        raise GroundError(
            f"the parcel lies outside the raster {source.path.name}: the parcel is at {_place(source, parcel.bounds)}, "
            f"the raster at {_place(source, source.grid.bounds)} (longitude, latitude); give the raster of this "
            "place, or correct the CRS of whichever file is tagged wrongly"
        )
    cells = parcel.area / (source.cell_width * source.cell_height)
    if cells < LEAST_CELLS:
        raise GroundError(
            f"the raster {source.path.name} is too coarse for this lot: {cells:.0f} cells of "
            f"{source.cell_width:.3g} x {source.cell_height:.3g} m lie on its {parcel.area:,.0f} m2, and at least "
            f"{LEAST_CELLS} are needed to tell its low spots; give a finer raster (1 m or less)"
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


def refuse_unknown(source: RasterSource, surface: Surface, parcel: BaseGeometry) -> tuple[str, ...]:
    """Refuse ground that is mostly unknown on the lot; say what else of it a reader must know."""
    cover = cover_of_lot(source, surface, parcel)
    name = source.path.name
    if cover.unknown_share > 0.5:
        raise GroundError(
            f"the raster {name} is nodata over {cover.unknown_share:.0%} of the parcel, and at most half may be; "
            "give a raster that covers the lot"
        )
    warnings = []
    if cover.unknown_share > 0.005:
        warnings.append(f"{name}: ground is unknown over {cover.unknown_share:.0%} of the parcel")
    coarse = max(source.cell_width, source.cell_height)
    if coarse > COARSE * (1.0 + 1e-9):
        warnings.append(
            f"{name}: its cells are {coarse:.3g} m, coarser than {COARSE:g} m; swales, edges and low spots of a lot "
            "are smoothed away, and findings are rough"
        )
    share = share_of_steps(surface)
    if share > ROUGH_SHARE:
        warnings.append(
            f"{name}: {share:.0%} of its cells step by more than {STEEP_STEP:g} m to a neighbour; it looks like roofs "
            "and trees rather than bare earth, and then every flow path here is wrong: give the bare-earth raster"
        )
    return tuple(warnings)


def share_of_steps(surface: Surface) -> float:
    """Share of known cells that step to a neighbour as eaves and tree crowns do. [-]

    A step counts above 1.5 m, or above one and a half cells on rasters coarser than 1 m, where a steep bank
    alone makes as much. Common practice has no figure for it: on bare earth with garden walls the share stays
    under 1 %, with houses and trees left standing it is 5 to 20 %; more than 2 % is warned about.
    """
    z = surface.elevation
    known = np.isfinite(z)
    if not known.any():
        return 0.0
    steep = np.zeros(z.shape, dtype=np.bool_)
    _mark_steps(z, steep, max(STEEP_STEP, 1.5 * surface.grid.cell_width))
    _mark_steps(z.T, steep.T, max(STEEP_STEP, 1.5 * surface.grid.cell_height))
    return float(steep.sum() / known.sum())


def cells_inside(grid: Grid, shape: BaseGeometry) -> BoolArray:
    """Cells whose centre lies in a shape."""
    from rasterio.features import geometry_mask

    inside: BoolArray = geometry_mask([shape], grid.shape, grid.transform, invert=True)
    return inside


def _mark_steps(z: FloatArray, steep: BoolArray, limit: float) -> None:
    step = np.abs(np.diff(z, axis=1)) > limit
    steep[:, :-1] |= step
    steep[:, 1:] |= step


def _place(source: RasterSource, bounds: Bounds) -> str:
    frame = source.grid.frame
    x, y = (bounds[0] + bounds[2]) / 2.0 / frame.x_scale, (bounds[1] + bounds[3]) / 2.0 / frame.y_scale
    lon, lat = lonlat_of(frame.crs, x, y, source.path.name)
    return f"{lon:.4f}, {lat:.4f}"
