"""Labelled cells as polygons that tile without gap or overlap."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from rasterio.features import shapes
from shapely import Geometry

from terrain.arrays import IntArray
from terrain.grid import Grid


def label_polygons(labels: IntArray, grid: Grid) -> dict[int, Geometry]:
    """Outline of each label's cells, along cell edges; negative where there is none."""
    if labels.max() > np.iinfo(np.int32).max:
        values, positions = np.unique(labels, return_inverse=True)
        found = label_polygons(np.where(labels >= 0, positions.reshape(labels.shape), -1), grid)
        return {int(values[code]): shape for code, shape in found.items()}
    coded = labels.astype(np.int32)
    parts: dict[int, list[Geometry]] = {}
    for outline, code in shapes(coded, mask=coded >= 0, connectivity=4, transform=grid.transform):
        shape = shapely.geometry.shape(outline)
        parts.setdefault(int(code), []).append(shape if shape.is_valid else shapely.make_valid(shape))
    return {label: _one(parts[label]) for label in sorted(parts)}


def cells_polygon(cells: IntArray, grid: Grid) -> Geometry:
    """Outline of some cells."""
    rows, columns = np.divmod(cells, grid.shape[1])
    first, left = int(rows.min()), int(columns.min())
    labels = np.full((int(rows.max()) - first + 1, int(columns.max()) - left + 1), -1, dtype=np.int64)
    labels[rows - first, columns - left] = 0
    part = replace(
        grid, shape=labels.shape, left=grid.left + left * grid.cell_width, top=grid.top - first * grid.cell_height
    )
    return label_polygons(labels, part)[0]


def nested_polygons(
    listed: Sequence[IntArray], grid: Grid, known: Mapping[int, Geometry] | None = None
) -> list[Geometry]:
    """Outline of each of many sets of cells that may lie in one another, as low spots do; those known by position
    are taken as they are."""
    layers: list[dict[int, IntArray]] = []
    deep = np.zeros(grid.shape[0] * grid.shape[1], dtype=np.int64)
    found: dict[int, Geometry] = dict(known or {})
    for position in sorted(set(range(len(listed))) - found.keys(), key=lambda each: (-listed[each].size, each)):
        layer = int(deep[listed[position]].max())
        deep[listed[position]] = layer + 1
        if layer == len(layers):
            layers.append({})
        layers[layer][position] = listed[position]
    for inside in layers:
        labels = np.full(deep.size, -1, dtype=np.int64)
        for position, cells in inside.items():
            labels[cells] = position
        found |= label_polygons(labels.reshape(grid.shape), grid)
    return [found[position] for position in range(len(listed))]


def _one(parts: list[Geometry]) -> Geometry:
    polygons = [polygon for part in parts for polygon in shapely.get_parts(part)]
    return polygons[0] if len(polygons) == 1 else shapely.MultiPolygon(polygons)
