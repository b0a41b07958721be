"""What a reader must know of a layer that was read: where it lies, and what it was brought from."""

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from pipelines.inputs.errors import LayerError
from pipelines.inputs.rules import Rules
from pipelines.inputs.shapes.vector_file import VectorLayer
from terrain.arrays import FloatArray
from terrain.grid import Frame
from terrain.metric_frame import moved_points
from terrain.reason import Reason, reason


def remarks_on_place(
    layer: VectorLayer, shapes: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame, rules: Rules
) -> list[Reason]:
    """Refuse an empty layer; say where one has nothing near the lot."""
    if not layer.features:
        raise LayerError(f"{layer.words}: the layer is empty; leave out the table [{layer.key}] if there is none")
    name, where = layer.words, layer.source.where
    if not len(shapes):
        reach = rules["layer_reach"].likely
        return [reason("layer_unused", layer=name, where=where, features=layer.features, reach=reach)]
    if len(parcels) == 1:
        nearest = float(shapely.distance(shapes.geometry.to_numpy(), parcels.geometry.to_numpy()[0]).min())
    else:
        _, away = shapes.sindex.nearest(parcels.geometry, return_all=False, return_distance=True)
        nearest = float(away.min())
    if nearest > rules["layer_far"].likely:
        return [reason("layer_far", layer=name, where=where, distance=nearest)]
    return []


def remarks_on_downspouts(
    layer: VectorLayer, downspouts: gpd.GeoDataFrame, roofs: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame, reach: float
) -> list[Reason]:
    """Say which downspouts of the lot stand too far from any roof to drain it."""
    walls = roofs.geometry.to_numpy()[~roofs["open_below"].to_numpy().astype(bool)]
    own = shapely.intersects(downspouts.geometry.to_numpy(), shapely.union_all(parcels.geometry.to_numpy()))
    if not walls.size or not own.any():
        return []
    points = downspouts.geometry.to_numpy()[own]
    _, away = shapely.STRtree(walls).query_nearest(points, return_distance=True, all_matches=False)
    stray = downspouts["id"].to_numpy()[own][away > reach]
    return [reason("downspouts_stray", layer=layer.words, features=tuple(stray), reach=reach)] if len(stray) else []


def remarks_on_roofs(layer: VectorLayer, roofs: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame) -> list[Reason]:
    """Say that roofs of the lot were found in lidar, and drawn by nobody."""
    found = roofs["found_in_lidar"].to_numpy().astype(bool)
    own = int(roofs.intersects(parcels.union_all())[found].sum()) if found.any() else 0
    return [reason("roofs_found_in_lidar", layer=layer.words, roofs=own)] if own else []


def remarks_on_crs(sources: list[VectorLayer], parcels: gpd.GeoDataFrame, frame: Frame) -> list[Reason]:
    """Say which layers came in another CRS, since nothing is brought over silently."""
    west, south, _, _ = parcels.total_bounds
    here = np.array([west / frame.x_scale]), np.array([south / frame.y_scale])
    by_crs: dict[str, list[VectorLayer]] = {}
    for layer in sources:
        if layer.crs != frame.crs and not _same_plane(layer.crs, frame.crs, *here):
            by_crs.setdefault(layer.crs.name, []).append(layer)
    found = []
    for name, layers in by_crs.items():
        datum, own = layers[0].crs.geodetic_crs, frame.crs.geodetic_crs
        differ = datum is not None and own is not None and datum.datum != own.datum
        keys = tuple(layer.key for layer in layers)
        found.append(reason("layers_reprojected", layers=keys, source=name, map=frame.crs.name, datums_differ=differ))
    return found


def _same_plane(one: CRS, other: CRS, x: FloatArray, y: FloatArray) -> bool:
    """Whether two CRSs differ in name alone, as a shapefile's from the code that it was written with."""
    moved_x, moved_y = moved_points(other, one, x, y)
    return bool(np.hypot(moved_x - x, moved_y - y)[0] < 1e-3)
