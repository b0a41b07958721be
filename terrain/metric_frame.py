"""The metric frame of a raster's CRS: vertical part dropped, linear unit and local scale found."""

import math
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from pyproj import CRS, Geod, Transformer
from pyproj.exceptions import ProjError

from terrain.arrays import FloatArray
from terrain.errors import GroundError
from terrain.grid import Frame

# the local scale of the projections that surveyors use stays well within this; web maps' does not
_SCALE_TOLERANCE = 0.002
_LONLAT = CRS.from_epsg(4326)


def horizontal_part(crs: CRS, where: str) -> CRS:
    """A CRS without its vertical part and without the shift to another datum that some files bind to it."""
    part = crs
    if part.is_bound and part.source_crs is not None:
        part = part.source_crs
    if part.is_compound:
        part = part.sub_crs_list[0]
        if part.is_bound and part.source_crs is not None:
            part = part.source_crs
    if len(part.axis_info) == 3 and not part.is_geocentric:
        part = part.to_2d()
    if not (part.is_projected or part.is_geographic):
        raise GroundError(
            f'{where}: its CRS "{crs.name}" says nothing of where on earth it lies (it is neither projected nor '
            "geographic); assign the CRS that the data was made in"
        )
    return part


def metric_frame(crs: CRS, near: tuple[float, float]) -> Frame:
    """The metric frame of a projected CRS at a place.

    Scales are the CRS's linear unit, unless the projection stretches lengths there by more than 0.2 %: then
    they are measured along the ellipsoid, east-west and north-south apart.
    """
    unit = float(crs.axis_info[0].unit_conversion_factor)
    x_scale, y_scale = _measured_scales(crs, near, unit)
    if abs(x_scale / unit - 1.0) <= _SCALE_TOLERANCE and abs(y_scale / unit - 1.0) <= _SCALE_TOLERANCE:
        x_scale = y_scale = unit
    return Frame(crs, x_scale, y_scale, unit)


@lru_cache(maxsize=120)
def _zone(code: int) -> CRS:
    return CRS.from_epsg(code)


def utm_zone(near: tuple[float, float]) -> CRS:
    """The UTM zone of a place on WGS 84."""
    longitude, latitude = near
    zone = min(max(int((longitude + 180.0) // 6.0) + 1, 1), 60)
    return _zone((32600 if latitude >= 0.0 else 32700) + zone)


def lonlat_of(crs: CRS, x: float, y: float, where: str) -> tuple[float, float]:
    """Longitude and latitude of a place in map coordinates. [deg]"""
    try:
        lon, lat = Transformer.from_crs(crs, _LONLAT, always_xy=True).transform(x, y)
    except ProjError as error:
        raise GroundError(f'{where}: its CRS "{crs.name}" cannot be tied to the earth: {error}') from None
    if not (math.isfinite(lon) and math.isfinite(lat) and abs(lat) <= 90.0):
        raise GroundError(
            f'{where}: the place ({x:.6g}, {y:.6g}) lies outside what its CRS "{crs.name}" can mean; '
            "its CRS tag is probably wrong: assign the CRS that the data was made in"
        )
    return float(lon), float(lat)


def moved_points(source: CRS, target: CRS, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points of one CRS in another, easting before northing whatever the CRSs say of their axes. [map unit]"""
    transformer = Transformer.from_crs(source, target, always_xy=True)
    if x.size == 1:
        # pyproj takes an array of one for a number, which numpy is about to forbid
        one_x, one_y = transformer.transform(float(x.item()), float(y.item()))
        return np.full(x.shape, one_x), np.full(y.shape, one_y)
    moved_x, moved_y = transformer.transform(x, y)
    return moved_x, moved_y


def moved_shapes(source: CRS, target: CRS, shapes: Any) -> Any:
    """Shapely geometries of one CRS in another; z untouched."""
    if source == target:
        return shapes

    def moved(points: FloatArray) -> FloatArray:
        return np.column_stack([*moved_points(source, target, points[:, 0], points[:, 1]), points[:, 2:]])

    return shapely.transform(shapes, moved, include_z=bool(np.any(shapely.has_z(shapes))))


def _measured_scales(crs: CRS, near: tuple[float, float], unit: float) -> tuple[float, float]:
    to_map = Transformer.from_crs(_LONLAT, crs, always_xy=True)
    x, y = to_map.transform(*near)
    if not (math.isfinite(x) and math.isfinite(y)):
        return unit, unit
    half = 100.0 / unit
    lon, lat = to_map.transform(
        [x - half, x + half, x, x], [y, y, y - half, y + half], direction="INVERSE"
    )
    geod = crs.get_geod() or Geod(ellps="WGS84")
    _, _, lengths = geod.inv([lon[0], lon[2]], [lat[0], lat[2]], [lon[1], lon[3]], [lat[1], lat[3]])
    return float(lengths[0]) / (2.0 * half), float(lengths[1]) / (2.0 * half)
