"""A raster of heights as its header describes it: where it lies, in what units, what stands for unknown.

`open_raster(path, unit=None, near=(lon, lat))` reads the header only and decides the metric frame; heights
are read by `terrain.surface.read_window` and `terrain.window.grow_window`.
"""

import contextlib
import os
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from affine import Affine
from pyproj import CRS, Transformer

from terrain.errors import GroundError, GroundFileError
from terrain.grid import Frame, Grid
from terrain.metric_frame import horizontal_part, lonlat_of, metric_frame, moved_points, utm_zone
from terrain.vertical_unit import VerticalUnit, decide_vertical_unit

# a geographic raster may span a continent; ground beyond this of the lot is never asked for
_WARPED_REACH_DEGREES = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class RasterSource:
    """A raster's header, and the grid of cells its heights are delivered on.

    Attributes
    ----------
    path : Path
        The file.
    grid : Grid
        Cells of the whole raster in the metric plane; where the file is geographic, turned or upside down,
        those of the north-up grid that it is brought onto.
    crs : pyproj.CRS
        As read, its vertical part with it.
    vertical : VerticalUnit
        Unit of the file's heights, and what said so.
    cell_width, cell_height : float
        Size of the file's own cells at the lot. [m]
    dtype : str
        Of the file's numbers.
    nodata : float or None
        Declared nodata, before scale and offset.
    scale, offset : float
        Height in the file's unit = number * scale + offset.
    warped : bool
        Heights are interpolated (bilinear) from the file's cells onto `grid`.
    file_transform, file_crs, file_shape : Affine, pyproj.CRS, tuple of int
        The file's own cells: from (column, row) to its horizontal CRS.
    warnings : tuple of str
        What a reader of results must know.
    """

    path: Path
    grid: Grid
    crs: CRS
    vertical: VerticalUnit
    cell_width: float
    cell_height: float
    dtype: str
    nodata: float | None
    scale: float
    offset: float
    warped: bool
    file_transform: Affine
    file_crs: CRS
    file_shape: tuple[int, int]
    warnings: tuple[str, ...] = ()

    @property
    def vertical_datum(self) -> str:
        """Datum of the heights in words."""
        if self.crs.is_compound:
            return str(self.crs.sub_crs_list[1].name)
        if len(self.crs.axis_info) == 3:
            return f"ellipsoid of {self.crs.name}"
        return "not stated by the file"


def open_raster(
    path: str | os.PathLike[str], *, unit: str | None = None, near: tuple[float, float] | None = None
) -> RasterSource:
    """Read a raster's header and decide the metric frame and the vertical unit.

    A projected raster keeps its CRS with the vertical part dropped. A geographic one is brought to the UTM zone
    of `near`; a turned or upside-down one is brought onto a north-up grid of its own CRS.

    Parameters
    ----------
    path : path
        Any raster that GDAL reads.
    unit : str or None
        Vertical unit, m, ft or ftUS, where the person gives it; it wins over the file's tags.
    near : tuple of float or None
        Longitude and latitude of the lot; the raster's middle where not given. [deg]

    Returns
    -------
    RasterSource
        The header.

    Raises
    ------
    GroundFileError
        If the file is missing, no raster, or torn.
    GroundError
        If it has no CRS, no place, or numbers that are no heights.
    """
    path = Path(path)
    with opened(path) as file:
        header_warnings = _check_bands(file, path)
        crs = _read_crs(file, path)
        transform = file.transform
        shape = (int(file.height), int(file.width))
        tag = file.units[0] if file.units else None
        numbers = (str(file.dtypes[0]), file.nodata, float(file.scales[0]), float(file.offsets[0]))
    where = path.name
    horizontal = horizontal_part(crs, where)
    vertical = decide_vertical_unit(unit, crs, tag, horizontal, where)
    x, y = apply_affine(transform, shape[1] / 2.0, shape[0] / 2.0)
    own = lonlat_of(horizontal, float(x), float(y), where)
    if near is None:
        near = own
    straight = horizontal.is_projected and transform.b == 0 == transform.d and transform.a > 0 > transform.e
    frame = metric_frame(horizontal if horizontal.is_projected else utm_zone(near), near)
    width, height = _cell_size(transform, horizontal, frame, near)
    if straight:
        grid = _own_grid(transform, shape, frame)
    else:
        grid = _north_up_grid(transform, shape, horizontal, frame, near, (width, height))
        header_warnings += (_warp_in_words(where, horizontal, frame),)
    return RasterSource(
        path, grid, crs, vertical, width, height, *numbers, not straight, transform, horizontal, shape,
        header_warnings + vertical.warnings,
    )


def apply_affine(transform: Affine, across: Any, down: Any) -> tuple[Any, Any]:
    """Where an affine transform takes points; spelt out, since releases of affine differ in how they write it.

    Parameters
    ----------
    transform : Affine
        From (across, down) to another plane.
    across, down : float or ndarray
        Points. [-]

    Returns
    -------
    tuple
        Their places. [-]
    """
    return (
        transform.a * across + transform.b * down + transform.c,
        transform.d * across + transform.e * down + transform.f,
    )


@contextlib.contextmanager
def opened(path: Path) -> Iterator[Any]:
    """Open a raster with rasterio; what goes wrong in it is one message of ours.

    Parameters
    ----------
    path : Path
        The file.

    Yields
    ------
    rasterio.DatasetReader
        The open file.

    Raises
    ------
    GroundFileError
        If the file is missing, no raster, or cannot be read to its end.
    """
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


def _check_bands(file: Any, path: Path) -> tuple[str, ...]:
    dtype = str(file.dtypes[0])
    if dtype.startswith("complex"):
        raise GroundError(f"{path.name}: its numbers are complex; give a raster of heights")
    if file.count >= 3 and set(file.dtypes) == {"uint8"}:
        raise GroundError(
            f"{path.name}: {file.count} bands of whole numbers to 255 are a picture; give a raster of heights"
        )
    if file.count > 1:
        return (f"{path.name}: it has {file.count} bands; heights are read from band 1",)
    return ()


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


def _cell_size(transform: Affine, crs: CRS, frame: Frame, near: tuple[float, float]) -> tuple[float, float]:
    """True length of a cell's sides along the file's columns and rows."""
    dx, dy = np.array([transform.a, transform.b]), np.array([transform.d, transform.e])
    if crs != frame.crs:
        x, y = Transformer.from_crs(CRS.from_epsg(4326), crs, always_xy=True).transform(*near)
        xs, ys = moved_points(crs, frame.crs, np.array([x, x + dx[0], x + dx[1]]), np.array([y, y + dy[0], y + dy[1]]))
        dx, dy = xs[1:] - xs[0], ys[1:] - ys[0]
    dx, dy = dx * frame.x_scale, dy * frame.y_scale
    width, height = np.hypot(dx, dy)
    return float(width), float(height)


def _own_grid(transform: Affine, shape: tuple[int, int], frame: Frame) -> Grid:
    sx, sy = frame.x_scale, frame.y_scale
    return Grid(shape, transform.c * sx, transform.f * sy, transform.a * sx, -transform.e * sy, frame)


def _north_up_grid(
    transform: Affine,
    shape: tuple[int, int],
    crs: CRS,
    frame: Frame,
    near: tuple[float, float],
    cell: tuple[float, float],
) -> Grid:
    """North-up cells over a file whose own are not; exact where it is only flipped or turned by a right angle."""
    rows, columns = shape
    quarter_turns = crs.is_projected and (transform.b == 0 == transform.d or transform.a == 0 == transform.e)
    along = np.linspace(0.0, 1.0, 21)
    zero, one = np.zeros_like(along), np.ones_like(along)
    x, y = apply_affine(
        transform,
        np.concatenate([along, along, zero, one]) * columns,
        np.concatenate([zero, one, along, along]) * rows,
    )
    if quarter_turns:
        width, height = cell if transform.b == 0 else cell[::-1]
    else:
        width = height = min(cell)
        if crs.is_geographic and x.min() <= near[0] <= x.max() and y.min() <= near[1] <= y.max():
            x = np.clip(x, near[0] - _WARPED_REACH_DEGREES, near[0] + _WARPED_REACH_DEGREES)
            y = np.clip(y, near[1] - _WARPED_REACH_DEGREES, near[1] + _WARPED_REACH_DEGREES)
    if crs != frame.crs:
        x, y = moved_points(crs, frame.crs, x, y)
    x, y = x[np.isfinite(x)] * frame.x_scale, y[np.isfinite(y)] * frame.y_scale
    left, top = float(x.min()), float(y.max())
    if not quarter_turns:
        left, top = float(np.floor(left / width) * width), float(np.ceil(top / height) * height)
    count = (int(np.ceil((top - y.min()) / height - 1e-6)), int(np.ceil((x.max() - left) / width - 1e-6)))
    return Grid(count, left, top, width, height, frame)


def _warp_in_words(where: str, horizontal: CRS, frame: Frame) -> str:
    if horizontal.is_geographic:
        return (
            f"{where}: its cells are in degrees; heights were interpolated (bilinear) onto cells in metres of "
            f"{frame.crs.name}, which smooths low spots of a cell or two"
        )
    return f"{where}: its rows do not run west to east, north first; heights were brought (bilinear) onto such cells"


def _first_line(error: BaseException) -> str:
    return str(error).strip().splitlines()[0] if str(error).strip() else type(error).__name__
