"""A picture under the maps: any raster GDAL reads, brought to the map's plane, small, or refused in words."""

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS
from rasterio.warp import transform_bounds

from pipelines.deliverables.report.figures.ground_picture import photo_jpeg
from pipelines.inputs.errors import InputFileError
from pipelines.inputs.under_picture import read_picture
from terrain.grid import Frame

FRAME = Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0)
WEST, SOUTH = 500_000.0, 3_900_000.0
BOUNDS = (WEST, SOUTH, WEST + 100.0, SOUTH + 100.0)


def halves(dtype: str, high: int) -> np.ndarray:
    """Red in the west, green in the east. (3, rows, cols)"""
    bands = np.zeros((3, 200, 200), dtype=dtype)
    bands[0, :, :100] = high
    bands[1, :, 100:] = high
    return bands


def written(path: Path, bands: np.ndarray, bounds: Any = BOUNDS, crs: Any = 32617, **more: Any) -> Path:
    count, rows, columns = bands.shape
    west, south, east, north = bounds
    transform = Affine((east - west) / columns, 0.0, west, 0.0, (south - north) / rows, north)
    with rasterio.open(path, "w", driver="GTiff", width=columns, height=rows, count=count, dtype=bands.dtype,
                       crs=crs and f"EPSG:{crs}", transform=transform, **more) as file:  # fmt: skip
        file.write(bands)
    return path


@pytest.mark.parametrize(("dtype", "high"), [("uint8", 255), ("uint16", 4000), ("float32", 1)])
def test_colours_lie_where_they_lie(tmp_path: Path, dtype: str, high: int) -> None:
    under = read_picture(written(tmp_path / "photo.tif", halves(dtype, high)), FRAME, BOUNDS)
    rows, columns, _ = under.pixels.shape
    assert under.bounds == BOUNDS
    assert under.pixels[rows // 2, columns // 4].tolist() == [255, 0, 0]
    assert under.pixels[rows // 2, 3 * columns // 4].tolist() == [0, 255, 0]


def test_another_crs_is_brought_over(tmp_path: Path) -> None:
    # EPSG:4326, a picture twice as wide as the lot: the half that is seen keeps its middle
    wide = (WEST - 50.0, SOUTH - 50.0, WEST + 150.0, SOUTH + 150.0)
    path = written(tmp_path / "photo.tif", halves("uint8", 255), transform_bounds(32617, 4326, *wide), 4326)
    under = read_picture(path, FRAME, BOUNDS)
    rows, columns, _ = under.pixels.shape
    west = under.pixels[rows // 2, :, 0] > under.pixels[rows // 2, :, 1]
    assert np.count_nonzero(west) / columns == pytest.approx(0.5, abs=0.03)


def test_a_table_of_colours_and_one_band_are_read(tmp_path: Path) -> None:
    band = np.full((1, 20, 20), 7, dtype="uint8")
    path = written(tmp_path / "photo.tif", band, photometric="palette")
    with rasterio.open(path, "r+") as file:
        file.write_colormap(1, {7: (10, 200, 30, 255)})
    assert read_picture(path, FRAME, BOUNDS).pixels[10, 10].tolist() == [10, 200, 30]
    grey = read_picture(written(tmp_path / "grey.tif", band), FRAME, BOUNDS).pixels
    assert grey[10, 10].tolist() == [7, 7, 7]


def test_ground_without_picture_is_white(tmp_path: Path) -> None:
    half = (WEST, SOUTH, WEST + 50.0, SOUTH + 100.0)
    under = read_picture(written(tmp_path / "photo.tif", halves("uint8", 255), half), FRAME, BOUNDS)
    assert under.pixels[5, -5].tolist() == [255, 255, 255]


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
@pytest.mark.parametrize("what", ["no place", "elsewhere", "no raster"])
def test_what_cannot_be_shown_is_refused_in_words(tmp_path: Path, what: str) -> None:
    path = tmp_path / "photo.tif"
    if what == "no raster":
        path.write_text("no picture", encoding="utf-8")
    else:
        far = (WEST + 9000.0, SOUTH, WEST + 9100.0, SOUTH + 100.0)
        written(path, halves("uint8", 255), far, None if what == "no place" else 32617)
    words = {"no place": "CRS", "elsewhere": "shows nothing of the lot", "no raster": "no raster that can be read"}
    with pytest.raises(InputFileError, match=re.escape(words[what])):
        read_picture(path, FRAME, BOUNDS)


def test_even_noise_stays_under_a_million_bytes_in_a_page() -> None:
    noise = np.random.default_rng(3).integers(0, 256, (1600, 1600, 3), dtype=np.uint8)
    assert 4 * len(photo_jpeg(noise)) / 3 < 1_000_000
