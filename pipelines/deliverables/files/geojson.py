"""Layers for a phone's map: GeoJSON by RFC 7946, in longitude and latitude."""

import json
import math
from collections.abc import Iterator, Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS, Transformer
from shapely import Geometry

from pipelines.deliverables.files.text_file import json_text

DECIMALS = 8
"""About a millimetre on the ground."""


def geojson_text(layers: Mapping[str, pd.DataFrame], crs: CRS) -> str:
    """All features of all layers as one collection; each says its layer.

    References
    ----------
    .. [1] Butler et al., "The GeoJSON Format", RFC 7946, 2016, sections 3.1.6 and 4, doi:10.17487/RFC7946.
    """
    to_globe = Transformer.from_crs(crs, "OGC:CRS84", always_xy=True)
    features = [
        feature
        for name, frame in layers.items()
        if isinstance(frame, gpd.GeoDataFrame)
        for feature in _features(name, frame, to_globe)
    ]
    collection = {"type": "FeatureCollection", "features": features}
    return json_text(collection)


def _features(layer: str, frame: gpd.GeoDataFrame, to_globe: Transformer) -> Iterator[dict[str, Any]]:
    columns = [name for name in frame.columns if name != frame.geometry.name]
    for shape, *values in zip(frame.geometry, *(frame[name] for name in columns), strict=True):
        properties = {"layer": layer} | {name: _plain(value) for name, value in zip(columns, values, strict=True)}
        yield {"type": "Feature", "geometry": on_globe(shape, to_globe), "properties": properties}


def on_globe(shape: Geometry, to_globe: Transformer) -> dict[str, Any]:
    """A shape as a geometry of GeoJSON."""
    def move(points: Any) -> Any:
        longitude, latitude = to_globe.transform(points[:, 0].tolist(), points[:, 1].tolist())
        return np.round(np.column_stack([longitude, latitude]), DECIMALS)

    moved = shapely.transform(shapely.force_2d(shape), move)
    # the outer ring runs against the clock
    mapped: dict[str, Any] = json.loads(shapely.to_geojson(shapely.orient_polygons(moved)))
    return mapped


def _plain(value: Any) -> Any:
    if value is None or value is pd.NA:
        return None
    plain = value.item() if hasattr(value, "item") else value
    if isinstance(plain, float):
        return plain + 0.0 if math.isfinite(plain) else None
    return plain
