"""Between the page's metres and longitude and latitude: two polynomials, held against pyproj before a page is made."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from pyproj import CRS, Geod

from terrain.arrays import FloatArray
from terrain.errors import GroundError
from terrain.grid import Frame
from terrain.metric_frame import moved_points

MOST_OFF = 0.01
"""Off pyproj's own transform, anywhere on the page, there and back. [m]"""
POWERS = tuple((i, j) for i in range(4) for j in range(4 - i))
FITTED, TRIED = 9, 31

Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class GlobeFit:
    """A window's metric plane and the globe.

    Attributes
    ----------
    to_globe, to_plane : dict
        Middle, reach and coefficients by `POWERS` of each coordinate.
    off : float
        Most that either differs from pyproj on the window. [m]
    """

    to_globe: dict[str, Any]
    to_plane: dict[str, Any]
    off: float


def fit_globe(frame: Frame, bounds: Bounds) -> GlobeFit:
    """Fit the transform of a rectangle of the metric frame; the page's metres count from its south-west corner."""
    x, y, longitude, latitude = _known(frame, bounds, FITTED)
    to_globe, to_plane = _fit((x, y), (longitude, latitude)), _fit((longitude, latitude), (x, y))
    x, y, longitude, latitude = _known(frame, bounds, TRIED)
    here = moved_fit(to_plane, longitude, latitude)
    there = moved_fit(to_globe, x, y)
    _, _, off_globe = Geod(ellps="WGS84").inv(longitude, latitude, *there)
    off = float(max(np.hypot(here[0] - x, here[1] - y).max(), np.max(off_globe)))
    if not off <= MOST_OFF:
        raise GroundError(
            f"the page's transform would be {off:.3f} m off on this window, and may be {MOST_OFF} m; "
            "give a raster in a projected CRS of this place, such as its UTM zone"
        )
    return GlobeFit(to_globe, to_plane, off)


def moved_fit(fit: dict[str, Any], u: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points through a fit, as the page does it."""
    terms = _terms((u - fit["middle"][0]) / fit["reach"][0], (v - fit["middle"][1]) / fit["reach"][1])
    first, second = (terms @ np.array(each) for each in fit["factors"])
    return first + fit["base"][0], second + fit["base"][1]


def _known(frame: Frame, bounds: Bounds, count: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    west, south, east, north = bounds
    x, y = (each.ravel() for each in np.meshgrid(np.linspace(west, east, count), np.linspace(south, north, count)))
    longitude, latitude = moved_points(frame.crs, CRS("OGC:CRS84"), x / frame.x_scale, y / frame.y_scale)
    return x - west, y - south, longitude, latitude


def _fit(source: tuple[FloatArray, FloatArray], target: tuple[FloatArray, FloatArray]) -> dict[str, Any]:
    middle, reach = [float(each.mean()) for each in source], [max(float(np.ptp(each)) / 2.0, 1e-9) for each in source]
    base = [float(each.mean()) for each in target]
    terms = _terms(*((each - at) / long for each, at, long in zip(source, middle, reach, strict=True)))
    factors = [np.linalg.lstsq(terms, each - at, rcond=None)[0].tolist() for each, at in zip(target, base, strict=True)]
    return {"middle": middle, "reach": reach, "base": base, "factors": factors}


def _terms(u: FloatArray, v: FloatArray) -> FloatArray:
    return np.column_stack([u**i * v**j for i, j in POWERS])
