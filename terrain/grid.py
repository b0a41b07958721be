"""Where cells lie: one value for shape, origin, cell size and the way back to the map."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from affine import Affine
from pyproj import CRS

from terrain.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Frame:
    """The metric plane in which everything inside is measured, and its way back to the map.

    Inside, a coordinate is the map coordinate times a scale, so every length is true metres, whatever
    the unit or the distortion of the map's CRS.

    Attributes
    ----------
    x_scale, y_scale : float
        True metres in one unit of the map's easting and northing. [m per map unit]
    unit : float
        Metres in one linear unit of the CRS, in which z is written. [m per map unit]
    """

    crs: CRS
    x_scale: float
    y_scale: float
    unit: float

    def from_map(self, shape: Any) -> Any:
        """Shapely geometry, GeoSeries or GeoDataFrame from map units to metres of this frame; z untouched."""
        return _scaled(shape, self.x_scale, self.y_scale, 1.0)

    def to_map(self, shape: Any) -> Any:
        """The reverse of `from_map`; z goes from metres to the CRS's linear unit."""
        return _scaled(shape, 1.0 / self.x_scale, 1.0 / self.y_scale, 1.0 / self.unit)


@dataclass(frozen=True, slots=True)
class Grid:
    """A north-up raster's cells in the metric plane.

    Attributes
    ----------
    left, top : float
        Easting and northing of the outer corner of cell (0, 0). [m]
    cell_width, cell_height : float
        Size of a cell, both positive. [m]
    """

    shape: tuple[int, int]
    left: float
    top: float
    cell_width: float
    cell_height: float
    frame: Frame

    @property
    def cell_area(self) -> float:
        """Area of one cell. [m2]"""
        return self.cell_width * self.cell_height

    @property
    def transform(self) -> Affine:
        """Affine transform from (column, row) to metric easting and northing."""
        return Affine(self.cell_width, 0.0, self.left, 0.0, -self.cell_height, self.top)

    @property
    def map_transform(self) -> Affine:
        """Affine transform from (column, row) to the map's coordinates."""
        sx, sy = self.frame.x_scale, self.frame.y_scale
        return Affine(self.cell_width / sx, 0.0, self.left / sx, 0.0, -self.cell_height / sy, self.top / sy)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north of the grid. [m]"""
        rows, columns = self.shape
        return (
            self.left,
            self.top - rows * self.cell_height,
            self.left + columns * self.cell_width,
            self.top,
        )

    def centres(self, rows: Any, columns: Any) -> tuple[FloatArray, FloatArray]:
        """Easting and northing of cell centres. [m]"""
        x = self.left + (np.asarray(columns, dtype=np.float64) + 0.5) * self.cell_width
        y = self.top - (np.asarray(rows, dtype=np.float64) + 0.5) * self.cell_height
        return x, y

    def cells(self, x: Any, y: Any) -> tuple[IntArray, IntArray]:
        """Row and column that hold each point; may lie outside `shape`."""
        rows = np.floor((self.top - np.asarray(y, dtype=np.float64)) / self.cell_height).astype(np.int64)
        columns = np.floor((np.asarray(x, dtype=np.float64) - self.left) / self.cell_width).astype(np.int64)
        return rows, columns


def _scaled(shape: Any, x_factor: float, y_factor: float, z_factor: float) -> Any:
    import geopandas as gpd
    import shapely

    def scale(coordinates: FloatArray) -> FloatArray:
        scaled: FloatArray = coordinates * np.array([x_factor, y_factor, z_factor])[: coordinates.shape[1]]
        return scaled

    if isinstance(shape, gpd.GeoDataFrame):
        return shape.set_geometry(gpd.GeoSeries(_scaled(shape.geometry.array, x_factor, y_factor, z_factor),
                                                index=shape.index, crs=shape.crs))
    if isinstance(shape, gpd.GeoSeries):
        return gpd.GeoSeries(_scaled(shape.array, x_factor, y_factor, z_factor), index=shape.index, crs=shape.crs)
    array = np.asarray(shape, dtype=object)
    scaled = shapely.transform(array, scale, include_z=bool(np.any(shapely.has_z(array))))
    return scaled if array.ndim else scaled[()] if isinstance(scaled, np.ndarray) else scaled
