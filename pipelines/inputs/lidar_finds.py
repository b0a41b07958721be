"""What is found in lidar around a lot: ground and roofs in tiles of points, or roofs in a surface raster."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from pyproj import CRS
from pyproj.crs import CompoundCRS
from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.describe import the_one_parcel
from pipelines.inputs.shapes.layers import locate_layer
from pipelines.inputs.shapes.vector_file import find_layer
from pipelines.inputs.site_sections import VectorFile
from terrain.errors import GroundError, LotshedError
from terrain.flow.burnt_cells import cells_inside
from terrain.grid import Frame
from terrain.metric_frame import lonlat_of, metric_frame, utm_zone
from terrain.points.ground_raster import ground_of_points
from terrain.points.outlines import outlines_of
from terrain.points.quality import PointQuality, point_quality
from terrain.points.roofs import roofs_by_class, roofs_standing
from terrain.points.surface_cells import cells_as_points
from terrain.raster import Raster
from terrain.reading.points_file import PointsSource, open_points
from terrain.reading.points_window import WATER, read_points
from terrain.reading.raster_source import open_raster
from terrain.reading.surface import Bounds, read_window
from terrain.reason import Reason, reason

# farther than banks that may hide a culvert are looked for (150 m); run-on from beyond is told as under-counted
_REACH = 200.0
_LEAST_WATER = 20.0
# a lot with more of its open ground unseen than this is told. Common practice, no source
_TOLD_BARE = 0.05
# smooth surface repeatability that goes with an accuracy of 10 cm: USGS Lidar Base Specification, quality level 2
_REPEATABILITY, _ACCURACY = 0.06, 0.10
_SIDES = (
    reason("part_east"), reason("part_northeast"), reason("part_north"), reason("part_northwest"), reason("part_west"),
    reason("part_southwest"), reason("part_south"), reason("part_southeast"),
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class LidarFinds:
    """What is found around a lot.

    Attributes
    ----------
    roofs, water : list of Polygon
        In the metric frame. [m]
    by_class : bool
        The producer classed the buildings; else what stands and is planar was taken for roofs.
    """

    frame: Frame
    files: tuple[Path, ...]
    roofs: list[Polygon]
    water: list[Polygon]
    by_class: bool
    roofs_on_lot: int
    warnings: tuple[Reason, ...]


@dataclass(frozen=True, slots=True, eq=False)
class GroundFinds:
    """Ground made from tiles of points.

    Attributes
    ----------
    raster : Raster
        In the tiles' own vertical unit.
    crs : pyproj.CRS
        Of the raster, its vertical part with it.
    points : int
        That were used. [-]
    left_out : int
        Withheld, overlap, noise. [-]
    spacing : float
        Of ground points. [m]
    rmse : float or None
        Where the points scatter more than goes with the accuracy that is assumed otherwise. [m]
    """

    raster: Raster
    crs: CRS
    points: int
    left_out: int
    spacing: float
    quality: PointQuality
    rmse: float | None


def ground_from_points(
    tiles: Sequence[str | os.PathLike[str]],
    parcel: str | os.PathLike[str],
    *,
    layer: str | None = None,
    where: str | None = None,
    parcel_crs: str | None = None,
    unit: str | None = None,
    crs: str | None = None,
) -> tuple[GroundFinds, LidarFinds]:
    """Read the points around a lot, and make ground, roofs and water of them."""
    vector = VectorFile.model_construct(file=Path(parcel), layer=layer, where=where, crs=parcel_crs)
    near = locate_layer(vector)
    sources = [open_points(tile, crs=crs, unit=unit) for tile in tiles]
    first = sources[0]
    frame = metric_frame(first.horizontal if first.horizontal.is_projected else utm_zone(near), near)
    lot = _lot(vector, frame)
    used, bounds = _around(sources, lot, frame)
    names = ", ".join(source.path.name for source in used)
    cloud = read_points(used, frame, bounds)
    ground = ground_of_points(cloud, frame, names)
    classed = roofs_by_class(cloud, ground)
    roofs = classed or roofs_standing(cloud, ground)
    water = outlines_of(cloud.of(cloud.kind == WATER), frame, least_area=_LEAST_WATER, square=False)
    together = shapely.union_all(roofs)
    quality = point_quality(cloud, frame, lot, together)
    roofed = cells_inside(ground.grid, together) if roofs else np.zeros(ground.grid.shape, dtype=np.bool_)
    vertical = used[0].vertical
    heights = ground.known(roofed) / vertical.metres
    raster = Raster(ground.grid, heights, vertical.unit, "height of the ground, triangulated from lidar points")
    worse = quality.roughness * _ACCURACY / _REPEATABILITY
    warned = [each for source in used for each in source.warnings]
    warned += [reason("points_tile_unused", file=source.path.name) for source in sources if source not in used]
    warned += _bare_ground(quality, lot, names)
    if cloud.every > 1:
        warned.append(reason("points_thinned", every=cloud.every))
    made = GroundFinds(
        raster, _with_vertical(frame.crs, used[0]), cloud.kind.size, cloud.left_out, ground.spacing, quality,
        worse if worse > _ACCURACY else None,
    )  # fmt: skip
    return made, _finds(frame, used, roofs, water, bool(classed), lot, tuple(dict.fromkeys(warned)))


def roofs_from_surface(
    ground: str | os.PathLike[str],
    surface: str | os.PathLike[str],
    parcel: str | os.PathLike[str],
    *,
    layer: str | None = None,
    where: str | None = None,
    parcel_crs: str | None = None,
    unit: str | None = None,
) -> LidarFinds:
    """Find roofs where a raster of the surface stands 2 m above that of the ground and is planar."""
    vector = VectorFile.model_construct(file=Path(parcel), layer=layer, where=where, crs=parcel_crs)
    near = locate_layer(vector)
    below, above = open_raster(ground, unit=unit, near=near), open_raster(surface, unit=unit, near=near)
    frame = below.grid.frame
    if above.grid.frame.crs != frame.crs:
        raise GroundError(
            f"the surface {above.path.name} is in {above.grid.frame.crs.name} and the ground {below.path.name} in "
            f"{frame.crs.name}; give both in one CRS"
        )
    lot = _lot(vector, frame)
    bounds = _meeting(lot.buffer(_REACH).bounds, below.grid.bounds, above.grid.bounds)
    if bounds is None or not lot.intersects(box(*bounds)):
        raise GroundError(f"the surface {above.path.name} does not cover the parcel; give the one of this place")
    cloud, under = cells_as_points(read_window(above, bounds), read_window(below, bounds))
    roofs = roofs_standing(cloud, under)
    warned = () if roofs else (reason("surface_without_roofs", file=above.path.name),)
    return _finds(frame, [above], roofs, [], False, lot, warned)


def _lot(vector: VectorFile, frame: Frame) -> BaseGeometry:
    shapes, _ = the_one_parcel(find_layer(vector, "parcel"), frame)
    return shapes.geometry.iloc[0]


def _finds(
    frame: Frame, sources: Sequence[object], roofs: list[Polygon], water: list[Polygon], by_class: bool,
    lot: BaseGeometry, warned: tuple[Reason, ...],
) -> LidarFinds:  # fmt: skip
    files = tuple(source.path for source in sources)  # type: ignore[attr-defined]
    on_lot = sum(1 for roof in roofs if roof.representative_point().intersects(lot))
    return LidarFinds(frame, files, roofs, water, by_class, on_lot, warned)


def _around(
    sources: Sequence[PointsSource], lot: BaseGeometry, frame: Frame
) -> tuple[list[PointsSource], Bounds]:
    """The tiles that reach into the window of a lot, and that window as far as they cover it."""
    window = lot.buffer(_REACH).bounds
    covered = [_covered(source, frame) for source in sources]
    if not any(lot.intersects(box(*each)) for each in covered):
        west, south, east, north = covered[0]
        lon, lat = _lonlat(frame, lot.bounds, "the parcel")
        try:
            there = "{:.4f}, {:.4f}".format(*_lonlat(frame, (west, south, east, north), sources[0].path.name))
        except LotshedError as error:
            raise GroundError(f"{error} (with --crs)") from None
        raise GroundError(
            f"the parcel lies outside {', '.join(source.path.name for source in sources)}: the parcel is at "
            f"{lon:.4f}, {lat:.4f}, the points of {sources[0].path.name} at {there} (longitude, latitude); give the "
            "tile of this place, or its right CRS with --crs"
        )
    used = [
        (source, each) for source, each in zip(sources, covered, strict=True) if _meeting(window, each) is not None
    ]
    outer = shapely.union_all([box(*each) for _, each in used]).bounds
    bounds = _meeting(window, outer)
    assert bounds is not None, "a tile that meets the lot meets its window"
    return [source for source, _ in used], bounds


def _covered(source: PointsSource, frame: Frame) -> Bounds:
    """What a tile covers by its header, in the metric frame."""
    from pyproj import Transformer

    found = source.bounds
    if source.horizontal != frame.crs:
        moved = Transformer.from_crs(source.horizontal, frame.crs, always_xy=True)
        found = moved.transform_bounds(*found, densify_pts=21)
    west, south, east, north = (float(each) for each in found)
    if not np.isfinite([west, south, east, north]).all():
        raise GroundError(
            f'points file {source.path.name}: its points lie where its CRS "{source.horizontal.name}" has no '
            "meaning; give its right CRS with --crs"
        )
    return west * frame.x_scale, south * frame.y_scale, east * frame.x_scale, north * frame.y_scale


def _meeting(*bounds: Bounds) -> Bounds | None:
    west, south = max(each[0] for each in bounds), max(each[1] for each in bounds)
    east, north = min(each[2] for each in bounds), min(each[3] for each in bounds)
    return (west, south, east, north) if west < east and south < north else None


def _lonlat(frame: Frame, bounds: Bounds, where: str) -> tuple[float, float]:
    x, y = (bounds[0] + bounds[2]) / 2.0 / frame.x_scale, (bounds[1] + bounds[3]) / 2.0 / frame.y_scale
    return lonlat_of(frame.crs, x, y, where)


def _with_vertical(crs: CRS, source: PointsSource) -> CRS:
    """The map's CRS with the tile's vertical one, unless a unit was given that this is not in."""
    if not source.crs.is_compound or any(each.code == "unit_given_differs" for each in source.vertical.warnings):
        return crs
    vertical = source.crs.sub_crs_list[1]
    return CompoundCRS(f"{crs.name} + {vertical.name}", [crs, vertical])


def _bare_ground(quality: PointQuality, lot: BaseGeometry, names: str) -> list[Reason]:
    if 1.0 - quality.ground_share <= _TOLD_BARE or quality.bare_middle is None:
        return []
    east, north = quality.bare_middle
    middle = np.hypot(east, north) < 0.1 * np.sqrt(lot.area)
    side = reason("part_middle") if middle else _SIDES[round(np.degrees(np.arctan2(north, east)) / 45.0) % 8]
    share = 1.0 - quality.ground_share
    return [reason("few_ground_points", file=names, area=quality.bare_area, share=share, side=side)]


