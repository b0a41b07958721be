"""A file of lidar points as its header describes it: where it lies, in what units, how many points it says it holds.

LAS 1.2 to 1.4, LAZ and COPC through laspy; classes and flags are those of the ASPRS LAS Specification 1.4-R15.
"""

import contextlib
import math
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pyproj import CRS
from pyproj.exceptions import CRSError

from terrain.errors import GroundError, GroundFileError
from terrain.metric_frame import horizontal_part
from terrain.reading.named_file import refuse_no_file
from terrain.reading.vertical_unit import VerticalUnit, decide_vertical_unit
from terrain.reason import Reason, reason

POINT_ENDINGS = (".las", ".laz")
# GeoTIFF keys of the vertical part, and the codes of its units
_VERTICAL_CRS_KEY, _VERTICAL_UNIT_KEY = 4096, 4099
_UNIT_TAGS = {9001: "m", 9002: "ft", 9003: "us-ft"}
_EPSG_CODES = range(1024, 32767)
_REMEDY = "give --crs as the tile's index or metadata names it, such as --crs EPSG:6347+5703"


@dataclass(frozen=True, slots=True, eq=False)
class PointsSource:
    """Header of a file of points.

    Attributes
    ----------
    crs : pyproj.CRS
        As read or given, its vertical part with it.
    bounds : tuple of float
        West, south, east, north as the header says. [map unit]
    points : int
        How many the header declares. [-]
    tree : bool
        Whether it is sorted as a COPC tree, of which a window can be read by itself.
    """

    path: Path
    crs: CRS
    horizontal: CRS
    vertical: VerticalUnit
    bounds: tuple[float, float, float, float]
    points: int
    tree: bool
    warnings: tuple[Reason, ...] = ()


def is_points_file(path: str | os.PathLike[str]) -> bool:
    """Whether a file's name says that it holds points."""
    return Path(path).suffix.lower() in POINT_ENDINGS


def open_points(path: str | os.PathLike[str], *, crs: str | None = None, unit: str | None = None) -> PointsSource:
    """Read a points file's header and decide its CRS and vertical unit; a CRS that is given wins over the file's."""
    path = Path(path)
    refuse_no_file(path, f"points file {path}", GroundFileError, missing="does not exist; check the path")
    with reading_points(path):
        import laspy

        with laspy.open(path) as reader:
            header = reader.header
    _check_header(header, path)
    own = _own_crs(header, path) if crs is None else None
    used = own if crs is None else _given_crs(crs)
    if used is None:
        raise GroundError(f"points file {path.name}: it has no CRS; {_REMEDY}")
    horizontal = horizontal_part(used, path.name)
    tag = _UNIT_TAGS.get(_geo_keys(header).get(_VERTICAL_UNIT_KEY, 0)) if crs is None else None
    vertical = decide_vertical_unit(unit, used, tag, horizontal, path.name)
    west, south, east, north = (float(each) for each in (*header.mins[:2], *header.maxs[:2]))
    return PointsSource(
        path, used, horizontal, vertical, (west, south, east, north), int(header.point_count),
        any(vlr.user_id == "copc" and vlr.record_id == 1 for vlr in header.vlrs),
        (*_crs_warnings(header, path, crs, horizontal), *vertical.warnings),
    )  # fmt: skip


@contextlib.contextmanager
def reading_points(path: Path) -> Iterator[None]:
    """Whatever a reader makes of a torn file is one message of ours; only calls of laspy stand inside."""
    try:
        yield
    except GroundError:
        raise
    except BaseException as error:
        # a panic of the Rust backend is no Exception; an interrupt is none of ours
        if not isinstance(error, Exception) and type(error).__name__ != "PanicException":
            raise
        said = (str(error).strip() or type(error).__name__).splitlines()[0]
        raise GroundFileError(
            f"points file {path} cannot be read, or is cut short: {said}; give a whole LAS or LAZ file, and fetch it "
            "again if it was a download"
        ) from None


def _check_header(header: Any, path: Path) -> None:
    numbers = [*header.scales, *header.offsets, *header.mins, *header.maxs]
    if not all(math.isfinite(float(each)) for each in numbers) or any(float(each) == 0.0 for each in header.scales):
        raise GroundError(
            f"points file {path.name}: its header holds scales, offsets or bounds that are no numbers; the file is "
            "damaged, fetch it again"
        )
    if any(low > high for low, high in zip(header.mins, header.maxs, strict=True)) or not header.point_count:
        raise GroundError(f"points file {path.name}: it holds no points; give a tile that covers the lot")
    held = path.stat().st_size - int(header.offset_to_point_data)
    needed = int(header.point_count) * int(header.point_format.size)
    if not header.are_points_compressed and needed > held:
        raise GroundFileError(
            f"points file {path.name} is cut short: its header declares {header.point_count:,} points, and it holds "
            f"{max(held, 0) // int(header.point_format.size):,}; fetch it again"
        )


def _own_crs(header: Any, path: Path) -> CRS | None:
    with _crs_of(f"points file {path.name}"):
        found = header.parse_crs()
        if found is None:
            return None
        vertical = _geo_keys(header).get(_VERTICAL_CRS_KEY, 0)
        if vertical in _EPSG_CODES and not found.is_compound and found.to_epsg() is not None:
            # laspy reads the horizontal keys alone; a vertical code that means nothing leaves them as they are
            with contextlib.suppress(CRSError):
                return CRS.from_user_input(f"EPSG:{found.to_epsg()}+{vertical}")
        return CRS.from_user_input(found)


def _given_crs(text: str) -> CRS:
    with _crs_of("--crs"):
        return CRS.from_user_input(text)


@contextlib.contextmanager
def _crs_of(where: str) -> Iterator[None]:
    try:
        yield
    except (CRSError, ValueError, UnicodeError) as error:
        said = str(error).strip().splitlines()[0][:160]
        raise GroundError(f"{where}: its CRS means nothing here: {said}; {_REMEDY}") from None


def _geo_keys(header: Any) -> dict[int, int]:
    found = [vlr for vlr in header.vlrs if type(vlr).__name__ == "GeoKeyDirectoryVlr"]
    return {int(key.id): int(key.value_offset) for vlr in found for key in vlr.geo_keys}


def _crs_warnings(header: Any, path: Path, given: str | None, used: CRS) -> tuple[Reason, ...]:
    if given is None:
        return ()
    try:
        own = header.parse_crs()
    except (CRSError, ValueError, UnicodeError):
        return ()
    if own is None or horizontal_part(CRS.from_user_input(own), path.name) == used:
        return ()
    return (reason("points_crs_given_differs", file=path.name, given=used.name, own=own.name),)
