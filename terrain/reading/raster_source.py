"""A raster of heights as its header describes it: where it lies, in what units, what stands for unknown.

`open_raster(path, unit=None, near=(lon, lat))` reads the header only and decides the metric frame; heights
are read by `terrain.reading.surface.read_window` and `terrain.flow.window.grow_window`.
"""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from affine import Affine
from pyproj import CRS

from terrain.errors import GroundError
from terrain.grid import Grid
from terrain.metric_frame import horizontal_part, lonlat_of, metric_frame, utm_zone
from terrain.reading.raster_file import kept_beside, opened
from terrain.reading.source_grid import apply_affine, file_cell_size, north_up_grid, own_grid
from terrain.reading.vertical_unit import VerticalUnit, decide_vertical_unit
from terrain.reason import Reason, reason


@dataclass(frozen=True, slots=True, eq=False)
class RasterSource:
    """A raster's header, and the grid of cells its heights are delivered on.

    Attributes
    ----------
    grid : Grid
        Cells of the whole raster in the metric plane; where the file is geographic, turned or upside down,
        those of the north-up grid that it is brought onto.
    crs : pyproj.CRS
        As read, its vertical part with it.
    cell_width, cell_height : float
        Size of the file's own cells at the lot. [m]
    nodata : float or None
        Declared nodata, before scale and offset.
    scale, offset : float
        Height in the file's unit = number * scale + offset.
    warped : bool
        Heights are interpolated (bilinear) from the file's cells onto `grid`.
    file_transform, file_crs, file_shape : Affine, pyproj.CRS, tuple of int
        The file's own cells: from (column, row) to its horizontal CRS.
    """

    path: Path
    grid: Grid
    crs: CRS
    vertical: VerticalUnit
    cell_width: float
    cell_height: float
    nodata: float | None
    scale: float
    offset: float
    warped: bool
    file_transform: Affine
    file_crs: CRS
    file_shape: tuple[int, int]
    warnings: tuple[Reason, ...] = ()

    @property
    def vertical_datum(self) -> Reason | str:
        """Name of the heights' datum, or what is said in its place."""
        if self.crs.is_compound:
            return str(self.crs.sub_crs_list[1].name)
        if len(self.crs.axis_info) == 3:
            return reason("datum_ellipsoid", crs=self.crs.name)
        return reason("datum_not_stated")

_LEAST_SCALE, _MOST_SCALE, _MOST_OFFSET = 1e-9, 1e6, 1e6


def open_raster(
    path: str | os.PathLike[str], *, unit: str | None = None, near: tuple[float, float] | None = None
) -> RasterSource:
    """Read a raster's header and decide the metric frame and the vertical unit.

    A projected raster keeps its CRS with the vertical part dropped. A geographic one is brought to the UTM zone
    of `near`; a turned or upside-down one is brought onto a north-up grid of its own CRS.
    """
    path = Path(path)
    where, beside = path.name, kept_beside(path)
    known: _Header | None = None if beside is None else beside.get(("header", unit))
    if known is None:
        known = _read_header(path, unit)
        if (beside := kept_beside(path)) is not None:
            beside["header", unit] = known
    crs, horizontal, vertical, transform, shape, numbers, own, header_warnings = known
    near = near or own
    straight = horizontal.is_projected and transform.b == 0 == transform.d and transform.a > 0 > transform.e
    frame = metric_frame(horizontal if horizontal.is_projected else utm_zone(near), near)
    width, height = file_cell_size(transform, horizontal, frame, near)
    if straight:
        grid = own_grid(transform, shape, frame)
    else:
        grid = north_up_grid(transform, shape, horizontal, frame, near, (width, height))
        header_warnings += (
            reason("raster_in_degrees", file=where, map=frame.crs.name)
            if horizontal.is_geographic
            else reason("raster_turned", file=where),
        )
    return RasterSource(
        path, grid, crs, vertical, width, height, *numbers, not straight, transform, horizontal, shape,
        header_warnings + vertical.warnings,
    )


class _Header(NamedTuple):
    crs: CRS
    horizontal: CRS
    vertical: VerticalUnit
    transform: Affine
    shape: tuple[int, int]
    numbers: tuple[float | None, float, float]
    middle: tuple[float, float]
    warnings: tuple[Reason, ...]


def _read_header(path: Path, unit: str | None) -> _Header:
    """What the header says wherever a lot lies, and the raster's middle. [deg]"""
    with opened(path) as file:
        warnings = _check_bands(file, path)
        crs = _read_crs(file, path)
        transform = file.transform
        shape = (int(file.height), int(file.width))
        tag = file.units[0] if file.units else None
        numbers = (file.nodata, float(file.scales[0]), float(file.offsets[0]))
    where = path.name
    _check_scale(numbers[1], numbers[2], where)
    horizontal = horizontal_part(crs, where)
    vertical = decide_vertical_unit(unit, crs, tag, horizontal, where)
    x, y = apply_affine(transform, shape[1] / 2.0, shape[0] / 2.0)
    middle = lonlat_of(horizontal, float(x), float(y), where)
    return _Header(crs, horizontal, vertical, transform, shape, numbers, middle, warnings)


def _check_bands(file: Any, path: Path) -> tuple[Reason, ...]:
    dtype = str(file.dtypes[0])
    if dtype.startswith("complex"):
        raise GroundError(f"{path.name}: its numbers are complex; give a raster of heights")
    if file.count >= 3 and set(file.dtypes) == {"uint8"}:
        raise GroundError(
            f"{path.name}: {file.count} bands of whole numbers to 255 are a picture; give a raster of heights"
        )
    if file.count > 1:
        return (reason("raster_bands", file=path.name, bands=int(file.count)),)
    return ()


def _check_scale(scale: float, offset: float, where: str) -> None:
    if not (_LEAST_SCALE <= abs(scale) <= _MOST_SCALE and abs(offset) <= _MOST_OFFSET):
        raise GroundError(
            f"{where}: its band has the scale {scale:g} and the offset {offset:g}, which make no heights "
            f"of its numbers: a scale lies between {_LEAST_SCALE:g} and {_MOST_SCALE:g}, an offset within "
            f"{_MOST_OFFSET:g}. Write the band again without them"
        )


def _read_crs(file: Any, path: Path) -> CRS:
    if file.crs is None:
        raise GroundError(f"{path.name}: it has no CRS; assign the one that the data was made in")
    if file.transform.is_identity or file.transform.determinant == 0:
        raise GroundError(f"{path.name}: it has no place on the map (no geotransform); georeference it")
    from rasterio.errors import CRSError

    try:
        # WKT of 2019 keeps the vertical part and its unit, which older forms lose
        return CRS.from_wkt(file.crs.to_wkt(version="WKT2_2019"))
    except CRSError:
        return CRS.from_wkt(file.crs.to_wkt())
