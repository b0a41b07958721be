"""What a reader must know of a layer that was read: where it lies, and what it was brought from."""

import geopandas as gpd
import numpy as np
from pyproj import CRS

from pipelines.inputs.errors import LayerError
from pipelines.inputs.shapes.vector_file import VectorLayer
from terrain.arrays import FloatArray
from terrain.flow.conditioning import DOWNSPOUT_REACH
from terrain.grid import Frame
from terrain.metric_frame import moved_points

FAR = 200.0


def remarks_on_place(
    layer: VectorLayer, shapes: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame, reach: float
) -> list[str]:
    """Refuse an empty layer; say where one has nothing near the lot."""
    if not layer.features:
        raise LayerError(f"{layer.words}: the layer is empty; leave out the table [{layer.key}] if there is none")
    selected = f' (where = "{layer.source.where}")' if layer.source.where else ""
    if not len(shapes):
        return [
            f"{layer.words}{selected}: none of its {layer.features} features is used: none is selected within "
            f"{reach:,.0f} m of the parcel; check where, and the CRS of both files"
        ]
    nearest = min(float(shapes.distance(parcel).min()) for parcel in parcels.geometry)
    if nearest > FAR:
        return [f"{layer.words}{selected}: its nearest feature lies {nearest:,.0f} m from the parcel; check its CRS"]
    return []


def remarks_on_downspouts(
    layer: VectorLayer, downspouts: gpd.GeoDataFrame, roofs: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame
) -> list[str]:
    """Say which downspouts of the lot stand too far from any roof to drain it."""
    walls = roofs[~roofs["open_below"].astype(bool)].geometry
    own = downspouts[downspouts.intersects(parcels.union_all())]
    if not len(walls) or not len(own):
        return []
    stray = own["id"][own.distance(walls.union_all()) > DOWNSPOUT_REACH]
    if not len(stray):
        return []
    return [
        f"{layer.words}: feature {', '.join(stray)} stands farther than {DOWNSPOUT_REACH:g} m from any roof and drains "
        "none; move it to its roof's edge"
    ]


def remarks_on_crs(sources: list[VectorLayer], parcels: gpd.GeoDataFrame, frame: Frame) -> list[str]:
    """Say which layers came in another CRS, since nothing is brought over silently."""
    west, south, _, _ = parcels.total_bounds
    here = np.array([west / frame.x_scale]), np.array([south / frame.y_scale])
    by_crs: dict[str, list[VectorLayer]] = {}
    for layer in sources:
        if layer.crs != frame.crs and not _same_plane(layer.crs, frame.crs, *here):
            by_crs.setdefault(layer.crs.name, []).append(layer)
    lines = []
    for name, layers in by_crs.items():
        datum, own = layers[0].crs.geodetic_crs, frame.crs.geodetic_crs
        differ = datum is not None and own is not None and datum.datum != own.datum
        keys = ", ".join(layer.key for layer in layers)
        lines.append(
            f"{keys}: brought from {name} to the map's {frame.crs.name}"
            + ("; they rest on different datums, which may leave a shift of a metre or two" if differ else "")
        )
    return lines


def _same_plane(one: CRS, other: CRS, x: FloatArray, y: FloatArray) -> bool:
    """Whether two CRSs differ in name alone, as a shapefile's from the code that it was written with."""
    moved_x, moved_y = moved_points(other, one, x, y)
    return bool(np.hypot(moved_x - x, moved_y - y)[0] < 1e-3)
