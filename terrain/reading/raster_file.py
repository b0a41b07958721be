"""A raster file held open; whatever goes wrong in it is one message of ours."""

import contextlib
import warnings
from collections.abc import Iterator
from contextvars import ContextVar
from pathlib import Path
from typing import Any

from terrain.errors import GroundFileError
from terrain.reading.gdal_guard import open_named_raster, raster_options
from terrain.reading.named_file import address_of, refuse_no_file

_Held = dict[Path, tuple[contextlib.ExitStack, Any, dict[Any, Any]]]
_KEPT: ContextVar[_Held | None] = ContextVar("rasters_kept_open", default=None)


@contextlib.contextmanager
def kept_open() -> Iterator[None]:
    """Keep rasters open for as long as this lasts, so that places near each other share what GDAL has unpacked."""
    held: _Held = {}
    before = _KEPT.set(held)
    try:
        yield
    finally:
        _KEPT.reset(before)
        for stack, *_ in held.values():
            stack.close()


@contextlib.contextmanager
def opened(path: Path) -> Iterator[Any]:
    """Open a raster with rasterio; what goes wrong in it is one message of ours."""
    held = _KEPT.get()
    if held is None:
        with _opened(path) as file:
            yield file
        return
    if path not in held:
        with contextlib.ExitStack() as stack:
            file = stack.enter_context(_opened(path))
            held[path] = (stack.pop_all(), file, {})
    with _told(path), raster_options(path):
        yield held[path][1]


def kept_beside(path: Path) -> dict[Any, Any] | None:
    """A place for what is known of a raster for as long as it is kept open; None where it is not."""
    held = _KEPT.get()
    return held[path][2] if held is not None and path in held else None


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[Any]:
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
        with file, _told(path):
            yield file


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    """A raster that turns out to be torn while it is read, in our words."""
    from rasterio.errors import RasterioError

    try:
        yield
    except RasterioError as error:
        cause = error.__cause__ or error
        raise GroundFileError(
            f"elevation raster {address_of(path) or path} is torn: part of it cannot be read ({_first_line(cause)}); "
            "fetch it again"
        ) from None


def _first_line(error: BaseException) -> str:
    return str(error).strip().splitlines()[0] if str(error).strip() else type(error).__name__
