"""Lidar points of a window, and no others: read in chunks, or from the tree of a COPC file."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pyproj import Transformer

from terrain.arrays import BoolArray, FloatArray
from terrain.errors import GroundError
from terrain.grid import Frame
from terrain.metric_frame import moved_points
from terrain.reading.points_file import PointsSource, reading_points
from terrain.reading.surface import Bounds

# classes of the ASPRS LAS Specification 1.4-R15, table 17
UNCLASSIFIED, GROUND, BUILDING, LOW_NOISE, WATER, OVERLAP, HIGH_NOISE = (0, 1), 2, 6, 7, 9, 12, 18
VEGETATION = (3, 4, 5)
_CHUNK = 1_000_000
_MOST_POINTS = 40_000_000
# the lowest dry land lies at some -430 m, the highest at 8,849 m
_LOWEST_LAND, _HIGHEST_LAND = -450.0, 9000.0

Float32Array = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class PointCloud:
    """Points of a window.

    Attributes
    ----------
    x, y : (points,) float32 ndarray
        East and north of the window's south-western corner, which half a millimetre of round-off leaves as they are.
        [m]
    z : (points,) float32 ndarray
        Above `base`. [m]
    kind : (points,) uint8 ndarray
        Class of the LAS specification.
    last : (points,) bool ndarray
        The last return of its pulse.
    bounds : tuple of float
        West, south, east, north of the window in the metric frame. [m]
    base : float
        [m]
    left_out : int
        Withheld, overlap, noise and heights of no land. [-]
    every : int
        Only each so many-th point was kept, since there were too many. [-]
    """

    x: Float32Array
    y: Float32Array
    z: Float32Array
    kind: NDArray[np.uint8]
    last: BoolArray
    bounds: Bounds
    base: float
    left_out: int = 0
    every: int = 1

    def of(self, chosen: BoolArray | slice) -> "PointCloud":
        """Some of the points."""
        return PointCloud(
            self.x[chosen], self.y[chosen], self.z[chosen], self.kind[chosen], self.last[chosen], self.bounds,
            self.base, self.left_out, self.every,
        )  # fmt: skip


def read_points(
    sources: Sequence[PointsSource], frame: Frame, bounds: Bounds, *, most: int = _MOST_POINTS
) -> PointCloud:
    """Read the points of some files that lie in a rectangle of the metric frame.

    Parameters
    ----------
    sources : sequence of PointsSource
        Files that may overlap.
    frame : Frame
        The metric plane.
    bounds : tuple of float
        West, south, east, north. [m]
    most : int
        Where more points lie in the rectangle, every second is left out, again and again. [-]

    Returns
    -------
    PointCloud
        In metres, without what its producer says is no return of the ground or of what stands on it.

    Raises
    ------
    GroundError
        If no point lies in the rectangle.
    GroundFileError
        If a file is torn.
    """
    kept: list[tuple[Any, ...]] = []
    left_out, count, every, base = 0, 0, 1, None
    for source in sources:
        for points in _chunks(source, _box_in_file(source, frame, bounds)):
            good = _is_return(points)
            columns, inside = _in_frame(points, source, frame, bounds)
            left_out += int((inside & ~good).sum())
            chosen = np.flatnonzero(inside & good)[::every]
            if not chosen.size:
                continue
            if base is None:
                base = float(np.floor(np.median(columns[2][chosen])))
            x, y, z = (each[chosen] for each in columns)
            last = np.asarray(points.return_number)[chosen] >= np.asarray(points.number_of_returns)[chosen]
            kept.append((
                (x - bounds[0]).astype(np.float32), (y - bounds[1]).astype(np.float32), (z - base).astype(np.float32),
                np.asarray(points.classification)[chosen].astype(np.uint8), last,
            ))  # fmt: skip
            count += chosen.size
            while count > most:
                kept = [tuple(column[::2].copy() for column in each) for each in kept]
                count, every = sum(each[0].size for each in kept), every * 2
    if base is None:
        names = ", ".join(source.path.name for source in sources)
        raise GroundError(
            f"no point of {names} that is a return lies around the parcel, although the header's bounds say so; give "
            "the tile of this place"
        )
    joined = []
    for _ in range(5):
        # column by column, so that points are held twice in one column only
        joined.append(np.concatenate([each[0] for each in kept]))
        kept = [each[1:] for each in kept]
    x, y, z, kind, last = joined
    return PointCloud(x, y, z, kind, last, bounds, base, left_out, every)


def _chunks(source: PointsSource, box: Bounds) -> Iterator[Any]:
    """Records of a file that may lie in a rectangle of its own CRS. [map unit]"""
    import laspy
    from laspy.copc import Bounds as Box

    # colours, times and extra bytes stay packed where the format allows it
    parts = laspy.DecompressionSelection
    wanted = parts.base().decompress_z().decompress_classification().decompress_flags()
    west, south, east, north = box
    if source.tree:
        with reading_points(source.path), laspy.CopcReader.open(source.path, decompression_selection=wanted) as reader:
            found = reader.query(bounds=Box(mins=np.array([west, south]), maxs=np.array([east, north])))
        yield found
        return
    with reading_points(source.path):
        reader = laspy.open(source.path, decompression_selection=wanted)
    with reader:
        for first in range(0, source.points, _CHUNK):
            # what the header declares beyond what is there is refused by `open_points`, or by the unpacking
            with reading_points(source.path):
                points = reader.read_points(min(_CHUNK, source.points - first))
            yield points


def _is_return(points: Any) -> BoolArray:
    """Points that are neither withheld nor overlap nor noise."""
    kind = np.asarray(points.classification)
    good = ~np.asarray(points.withheld).astype(np.bool_) & (kind != LOW_NOISE) & (kind != HIGH_NOISE)
    if points.point_format.id >= 6:
        good &= ~np.asarray(points.overlap).astype(np.bool_)
    else:
        good &= kind != OVERLAP
    return np.asarray(good, dtype=np.bool_)


def _in_frame(
    points: Any, source: PointsSource, frame: Frame, bounds: Bounds
) -> tuple[tuple[FloatArray, FloatArray, FloatArray], BoolArray]:
    """Columns of a chunk in metres, and which lie in the window and have heights that land has."""
    x, y = np.asarray(points.x, dtype=np.float64), np.asarray(points.y, dtype=np.float64)
    z = np.asarray(points.z, dtype=np.float64) * source.vertical.metres
    if source.horizontal != frame.crs:
        x, y = moved_points(source.horizontal, frame.crs, x, y)
    x, y = x * frame.x_scale, y * frame.y_scale
    west, south, east, north = bounds
    inside = (x >= west) & (x < east) & (y >= south) & (y < north) & (z > _LOWEST_LAND) & (z < _HIGHEST_LAND)
    return (x, y, z), np.asarray(inside, dtype=np.bool_)


def _box_in_file(source: PointsSource, frame: Frame, bounds: Bounds) -> Bounds:
    west, south, east, north = bounds
    box = west / frame.x_scale, south / frame.y_scale, east / frame.x_scale, north / frame.y_scale
    if source.horizontal == frame.crs:
        return box
    moved = Transformer.from_crs(frame.crs, source.horizontal, always_xy=True).transform_bounds(*box, densify_pts=21)
    return float(moved[0]), float(moved[1]), float(moved[2]), float(moved[3])
