"""Rasters as GeoTIFF."""

import os
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import rasterio
from pyproj import CRS

from pipelines.deliverables.errors import HandoverError
from terrain.raster import Raster

NODATA = -999_999.0


def write_geotiff(
    path: Path, raster: Raster, *more: Raster, crs: CRS | None = None, tags: Mapping[str, str] | None = None
) -> None:
    """Write rasters of one grid as the bands of a new file, replacing an earlier one only when whole.

    A CRS that is given is the grid's with a vertical part; tags say what the raster was made of.
    """
    beside = path.with_name(f"{path.stem}.tmp.tif")
    rows, columns = raster.grid.shape
    try:
        with rasterio.open(
            beside,
            "w",
            driver="GTiff",
            height=rows,
            width=columns,
            count=1 + len(more),
            dtype="float64",
            crs=(crs or raster.grid.frame.crs).to_wkt(),
            transform=raster.grid.map_transform,
            nodata=NODATA,
            # predictor 3 would be smaller and is misread by at least one library
            compress="deflate",
            tiled=True,
        ) as file:
            for band, each in enumerate((raster, *more), start=1):
                file.write(np.where(np.isfinite(each.values), each.values, NODATA), band)
                file.set_band_unit(band, each.unit)
                file.set_band_description(band, each.meaning)
            file.update_tags(**(tags or {}))
        os.replace(beside, path)
    except (OSError, rasterio.errors.RasterioError) as error:
        raise HandoverError(f"{path} cannot be written: {error}. Give a folder with room to write in.") from error
    finally:
        beside.unlink(missing_ok=True)
