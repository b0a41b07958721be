"""Labelled cells as polygons that tile without gap or overlap."""

import numpy as np
import shapely
from rasterio.features import shapes
from shapely import Geometry

from terrain.arrays import IntArray
from terrain.grid import Grid


def label_polygons(labels: IntArray, grid: Grid) -> dict[int, Geometry]:
    """Outline of each label's cells, along cell edges; labels below 2**31, negative where there is none."""
    coded = labels.astype(np.int32)
    parts: dict[int, list[Geometry]] = {}
    for outline, code in shapes(coded, mask=coded >= 0, connectivity=4, transform=grid.transform):
        shape = shapely.geometry.shape(outline)
        parts.setdefault(int(code), []).append(shape if shape.is_valid else shapely.make_valid(shape))
    return {label: _one(parts[label]) for label in sorted(parts)}


def _one(parts: list[Geometry]) -> Geometry:
    polygons = [polygon for part in parts for polygon in shapely.get_parts(part)]
    return polygons[0] if len(polygons) == 1 else shapely.MultiPolygon(polygons)
