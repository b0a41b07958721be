"""A raster file held open; whatever goes wrong in it is one message of ours."""

import contextlib
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from terrain.errors import GroundFileError


@contextlib.contextmanager
def opened(path: Path) -> Iterator[Any]:
    """Open a raster with rasterio; what goes wrong in it is one message of ours."""
    import rasterio
    from rasterio.errors import RasterioError

    if not path.exists():
        raise GroundFileError(f"elevation raster {path} does not exist; check the path")
    if path.is_file() and path.stat().st_size == 0:
        raise GroundFileError(f"elevation raster {path} is empty (0 bytes); fetch it again")
    try:
        with warnings.catch_warnings():
            # a raster without a place is refused by us, with our own words
            warnings.simplefilter("ignore")
            file = rasterio.open(path)
    except RasterioError as error:
        raise GroundFileError(
            f"elevation raster {path} is no raster that can be read, or is cut short: {_first_line(error)}; "
            "give a GeoTIFF or another raster, and fetch it again if it was a download"
        ) from None
    with file:
        try:
            yield file
        except RasterioError as error:
            cause = error.__cause__ or error
            raise GroundFileError(
                f"elevation raster {path} is torn: part of it cannot be read ({_first_line(cause)}); fetch it again"
            ) from None


def _first_line(error: BaseException) -> str:
    return str(error).strip().splitlines()[0] if str(error).strip() else type(error).__name__
