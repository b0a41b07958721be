"""A picture that is drawn under the maps: any raster that GDAL reads, brought to the map's plane."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from affine import Affine

from pipelines.inputs.errors import InputFileError
from terrain.grid import Frame
from terrain.reading.gdal_guard import open_named_raster, raster_options

MOST_PIXELS = 1600
"""Along the longer side. [-]"""

Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class UnderPicture:
    """A picture north up over a rectangle.

    Attributes
    ----------
    pixels : (rows, cols, 3) uint8 ndarray
        Red, green, blue; white where it has none.
    bounds : tuple of float
        West, south, east, north. [m]
    """

    pixels: np.ndarray
    bounds: Bounds


def read_picture(path: Path, frame: Frame, bounds: Bounds) -> UnderPicture:
    """Read what a raster shows of a rectangle of the metric frame."""
    from rasterio.errors import RasterioError

    west, south, east, north = bounds
    try:
        with raster_options(path), open_named_raster(path, f"[picture] {path.name}", InputFileError) as file:
            if file.crs is None:
                raise InputFileError(f"[picture] {path.name} doesn't say where it lies; give one with a CRS")
            # no finer than the picture is
            wide, high = (max(1, min(MOST_PIXELS, round(side / max(size, 0.02)))) for side, size in (
                (east - west, _pixel(file, frame)), (north - south, _pixel(file, frame))))  # fmt: skip
            transform = Affine((east - west) / wide / frame.x_scale, 0.0, west / frame.x_scale,
                               0.0, (south - north) / high / frame.y_scale, north / frame.y_scale)  # fmt: skip
            bands, mask = _warped(file, frame, transform, (high, wide))
    except RasterioError as error:
        raise InputFileError(f"[picture] {path.name} is no raster that can be read ({error}); correct it") from None
    if not mask.any():
        raise InputFileError(f"[picture] {path.name} shows nothing of the lot; correct the path or leave [picture] out")
    pixels = np.where(mask[..., None], bands, 255).astype(np.uint8)
    return UnderPicture(pixels, bounds)


def _pixel(file: Any, frame: Frame) -> float:
    """Side of a pixel of the picture. [m]"""
    from rasterio.vrt import WarpedVRT

    with WarpedVRT(file, crs=frame.crs.to_wkt()) as vrt:
        return float(vrt.res[0]) * frame.x_scale


def _warped(file: Any, frame: Frame, transform: Any, shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    from rasterio.enums import ColorInterp, Resampling
    from rasterio.vrt import WarpedVRT

    coloured = file.colorinterp[0] == ColorInterp.palette
    options = {"crs": frame.crs.to_wkt(), "transform": transform, "height": shape[0], "width": shape[1],
               "resampling": Resampling.nearest if coloured else Resampling.bilinear, "add_alpha": not _alpha(file)}
    with WarpedVRT(file, **options) as vrt:
        mask = vrt.dataset_mask() > 0
        if coloured:
            table = np.zeros((256, 3))
            for value, colour in file.colormap(1).items():
                table[value] = colour[:3]
            return table[vrt.read(1)], mask
        shown = [1, 2, 3] if file.count >= 3 else [1, 1, 1]
        bands = np.moveaxis(vrt.read(shown), 0, -1).astype(np.float64)
    if file.dtypes[0] != "uint8" and mask.any():
        # deeper bands are brought to what a screen shows, their outermost hundredths left out
        low, high = np.nanpercentile(bands[mask], (1.0, 99.0))
        bands = np.clip((bands - low) / max(high - low, 1e-12), 0.0, 1.0) * 255.0
    return np.nan_to_num(bands), mask


def _alpha(file: Any) -> bool:
    from rasterio.enums import ColorInterp

    return ColorInterp.alpha in file.colorinterp
