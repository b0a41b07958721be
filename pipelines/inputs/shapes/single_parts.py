"""Shapes of many parts or many vertices, made what the layers inside are: single, and no finer than anything built."""

from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from pipelines.inputs.errors import LayerError
from pipelines.inputs.shapes.shape_repair import some

Bounds = tuple[float, float, float, float]
MOST_FEATURES = 50_000
"""Of a layer near one lot. [-]"""
MOST_VERTICES = 20_000
"""Of one feature near a lot. [-]"""
MOST_ON_LOT = 500
"""Of a layer on one lot. [-]"""
MANY = 1_000
"""Vertices of a shape from which it is cut and made coarser. [-]"""
_FINE = 0.01
"""No stake is set finer. [m]"""


def refuse_too_many(count: int, where: str) -> None:
    """Raise where a layer has more features near a lot than make sense for one."""
    if count > MOST_FEATURES:
        raise LayerError(
            f"{where}: {count:,} features lie near the lot, and at most {MOST_FEATURES:,} are read; select those of "
            "the lot and its neighbors, as with where"
        )


def refuse_too_many_on_lot(shapes: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame, where: str) -> None:
    """Raise where more features of a layer lie on one lot than make sense for it."""
    if len(shapes) <= MOST_ON_LOT:
        return
    counts = np.bincount(shapes.sindex.query(parcels.geometry.to_numpy(), "intersects")[0], minlength=1)
    if counts.max() > MOST_ON_LOT:
        raise LayerError(
            f"{where}: {counts.max():,} features lie on one lot, and at most {MOST_ON_LOT} are read; dissolve those of "
            "a kind into one, or strike out what stands twice"
        )


def slimmed(shapes: Any, ids: Any, within: Bounds | None, where: str) -> Any:
    """Shapes of very many vertices cut at what is read around the lot, without vertices finer than a stake is set."""
    many = shapely.get_num_coordinates(shapes) > MANY
    if not many.any():
        return shapes
    shapes = shapes.copy()
    heavy = shapes[many]
    if within is not None:
        cut = shapely.intersection(heavy, shapely.box(*within))
        # what touches the rim in a point or a line too is left as it is
        same = (shapely.get_dimensions(cut) == shapely.get_dimensions(heavy)) & (shapely.get_type_id(cut) != 7)
        heavy = np.where(same, cut, heavy)
    shapes[many] = shapely.simplify(heavy, _FINE, preserve_topology=True)
    too_many = shapely.get_num_coordinates(shapes) > MOST_VERTICES
    if too_many.any():
        raise LayerError(
            f"{where}: feature {some(ids[too_many])} has more than {MOST_VERTICES:,} vertices near the lot; simplify it"
        )
    return shapes


def in_single_parts(layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """A row for each part of a feature; parts of a line that meet end to start are one, and parts are numbered."""
    shapes = layer.geometry.to_numpy()
    lines = shapely.get_type_id(shapes) == 5
    if lines.any():
        shapes = shapes.copy()
        shapes[lines] = shapely.line_merge(shapes[lines], directed=True)
    parts, owners = shapely.get_parts(shapes, return_index=True)
    if len(parts) == len(layer):
        return layer.set_geometry(parts)
    numbers = np.arange(len(parts)) - np.searchsorted(owners, owners) + 1
    several = np.bincount(owners, minlength=len(layer))[owners] > 1
    rows = layer.iloc[owners].reset_index(drop=True).set_geometry(parts)
    rows["id"] = [
        f"{each}-{number}" if split else each
        for each, number, split in zip(rows["id"], numbers, several, strict=True)
    ]
    return rows
