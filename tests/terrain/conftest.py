"""Rasters written for a test, by GDAL, so that our reading is held against what another program wrote."""

import warnings

import numpy as np
import pytest
import rasterio
from affine import Affine


@pytest.fixture
def write_raster(tmp_path):
    """Write `heights` as a raster: `write_raster(heights, crs=..., transform=..., scale=..., unit=..., **profile)`."""

    def write(
        heights, *, name="ground.tif", crs="EPSG:32610", transform=None, scale=None, offset=None, unit=None, **profile
    ):
        heights = np.atleast_3d(heights.T).T if heights.ndim == 2 else heights
        transform = Affine(1.0, 0.0, 500000.0, 0.0, -1.0, 4100000.0) if transform is None else transform
        settings = {
            "driver": "GTiff", "count": heights.shape[0], "height": heights.shape[1], "width": heights.shape[2],
            "dtype": heights.dtype, "crs": crs, "transform": transform,
        } | profile  # fmt: skip
        path = tmp_path / name
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a raster without a place is written on purpose
            with rasterio.open(path, "w", **settings) as file:
                file.write(heights)
                if scale is not None:
                    file.scales, file.offsets = [scale], [offset or 0.0]
                if unit is not None:
                    file.units = [unit]
        return path

    return write


@pytest.fixture
def rolling():
    """Heights of 120 x 90 cells that no two neighbours share. [m]"""
    row, column = np.mgrid[0:120, 0:90]
    return 100.0 + 0.02 * row - 0.01 * column + 0.5 * np.sin(row / 9.0) * np.cos(column / 7.0)
