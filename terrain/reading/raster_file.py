"""A raster file held open; whatever goes wrong in it is one message of ours."""

import contextlib
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from terrain.errors import GroundFileError
from terrain.reading.gdal_guard import open_named_raster, raster_options
from terrain.reading.named_file import address_of, refuse_no_file


@contextlib.contextmanager
def opened(path: Path) -> Iterator[Any]:
    """Open a raster with rasterio; what goes wrong in it is one message of ours."""
    from rasterio.errors import RasterioError

    what = f"elevation raster {address_of(path) or path}"
    with raster_options(path):
        if address_of(path) is None:
            refuse_no_file(path, what, GroundFileError, missing="does not exist; check the path")
            if path.stat().st_size == 0:
                raise GroundFileError(f"{what} is empty (0 bytes); fetch it again")
        try:
            with warnings.catch_warnings():
                # a raster without a place is refused by us, with our own words
                warnings.simplefilter("ignore")
                file = open_named_raster(path, what, GroundFileError)
        except RasterioError as error:
            raise GroundFileError(
                f"{what} is no raster that can be read, or is cut short: {_first_line(error)}; "
                "give a GeoTIFF or another raster, and fetch it again if it was a download"
            ) from None
        with file:
            try:
                yield file
            except RasterioError as error:
                cause = error.__cause__ or error
                raise GroundFileError(
                    f"{what} is torn: part of it cannot be read ({_first_line(cause)}); fetch it again"
                ) from None


def _first_line(error: BaseException) -> str:
    return str(error).strip().splitlines()[0] if str(error).strip() else type(error).__name__
