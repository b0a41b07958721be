"""All layers of a site, in the metric frame.

`locate_parcel(site) -> (lon, lat)` says where the lot is, for `open_raster(..., near=...)`;
`read_layers(site, frame, several_parcels=False) -> SiteLayers` reads them. Each GeoDataFrame has the columns `id`
(feature id in its file, as text), those declared in `pipelines.inputs.shapes.layer_table` and `geometry`; crs None; the
attributes' lengths are metres. Layers that the site file does not name are empty with the same columns.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from typing import cast

import geopandas as gpd
import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.errors import LayerError
from pipelines.inputs.rules import Rules
from pipelines.inputs.shapes.frontage import Frontage, find_frontage
from pipelines.inputs.shapes.layer_columns import read_columns
from pipelines.inputs.shapes.layer_remarks import (
    remarks_on_crs,
    remarks_on_downspouts,
    remarks_on_place,
    remarks_on_roofs,
)
from pipelines.inputs.shapes.layer_table import LAYER_KINDS, LayerKind
from pipelines.inputs.shapes.single_parts import refuse_too_many_on_lot
from pipelines.inputs.shapes.vector_file import Bounds, ListedLayers, VectorLayer, find_layer, read_shapes
from pipelines.inputs.site_file import SiteFile
from pipelines.inputs.site_sections import VectorFile
from terrain.grid import Frame
from terrain.metric_frame import lonlat_of
from terrain.reason import Reason

_BESIDE = 0.01
"""Of a closed line's area that may lie on the lot where it is a parcel beside it. [-]"""
_SAME_PLACE = 0.1
"""Basins nearer than this are one. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class SiteLayers:
    """The shapes of a site, in the metric frame.

    Attributes
    ----------
    parcel : shapely Polygon or MultiPolygon
        The lot; all lots together where several were asked for.
    parcels : GeoDataFrame
        Each lot by itself.
    soils : GeoDataFrame
        Of [soil], with `group` in capitals.
    basins, forbidden : GeoDataFrame
        Of [layout]: basins whose place is fixed, and ground that no works may enter.
    frontage : Frontage
        Where the lot may face a street, by the parcels around it.
    sources : tuple of VectorLayer
        Which files and layers were read, in the order of the site file.
    warnings : tuple of Reason
        What was repaired, passed over or lies far off.
    """

    parcel: Polygon | MultiPolygon
    parcels: gpd.GeoDataFrame
    roofs: gpd.GeoDataFrame
    hardscape: gpd.GeoDataFrame
    barriers: gpd.GeoDataFrame
    keep_out: gpd.GeoDataFrame
    utilities: gpd.GeoDataFrame
    right_of_way: gpd.GeoDataFrame
    downspouts: gpd.GeoDataFrame
    culverts: gpd.GeoDataFrame
    outfalls: gpd.GeoDataFrame
    complaints: gpd.GeoDataFrame
    soils: gpd.GeoDataFrame
    swales: gpd.GeoDataFrame
    basins: gpd.GeoDataFrame
    forbidden: gpd.GeoDataFrame
    frontage: Frontage
    sources: tuple[VectorLayer, ...]
    warnings: tuple[Reason, ...]


def locate_parcel(site: SiteFile) -> tuple[float, float]:
    """Longitude and latitude of the middle of a site's parcel. [deg]"""
    return locate_layer(site.parcel)


def locate_layer(source: VectorFile) -> tuple[float, float]:
    """Longitude and latitude of the middle of what a parcel's table selects. [deg]"""
    layer = find_layer(source, "parcel")
    # a frame that leaves coordinates as they are in the file
    frame, found = read_shapes(layer, LAYER_KINDS["parcel"], Frame(layer.crs, 1.0, 1.0, 1.0))
    _refuse_none(layer, frame, found)
    west, south, east, north = frame.total_bounds
    return lonlat_of(layer.crs, (west + east) / 2.0, (south + north) / 2.0, layer.words)


def read_layers(site: SiteFile, frame: Frame, *, several_parcels: bool = False) -> SiteLayers:
    """Read every layer that a site file names."""
    rules = site.rules
    reach = rules["layer_reach"].likely
    files = ListedLayers()
    parcel_layer, parcels, warnings = _read_parcels(site, frame, several_parcels, files)
    sources = [parcel_layer]
    around = _bounds_around(parcels, reach)
    read: dict[str, gpd.GeoDataFrame] = {}
    for key, source in named_layers(site).items():
        kind = LAYER_KINDS[key]
        if source is None:
            read[key] = empty_layer(kind)
            continue
        layer = find_layer(source, key, files)
        # a swale may run on for miles; other layers of a city are read around the lot only
        shapes, found = read_shapes(layer, kind, frame, within=None if key == "swales" else around)
        refuse_too_many_on_lot(shapes, parcels, layer.words)
        sources.append(layer)
        warnings += (*remarks_on_place(layer, shapes, parcels, rules), *found)
        read[key] = shapes
        if key == "swales" and len(shapes):
            around = _union(around, _bounds_around(shapes, reach))
        if key == "roofs":
            warnings += remarks_on_roofs(layer, shapes, parcels)
        if key == "downspouts":
            near = rules["downspout_reach"].likely
            warnings += remarks_on_downspouts(layer, shapes, read["roofs"], parcels, near)
    read["soil"]["group"] = read["soil"]["group"].str.upper()
    read["layout.basins"] = _with_points(site, read["layout.basins"], frame)
    _refuse_same_place(read["layout.basins"])
    renamed = {"soil": "soils", "layout.basins": "basins", "layout.forbidden": "forbidden"}
    return SiteLayers(
        parcel=_together(parcels),
        parcels=parcels,
        **{renamed.get(key, key): shapes for key, shapes in read.items()},
        frontage=read_frontage(parcel_layer, parcels, frame, rules, said=site.parcel.street_side),
        sources=tuple(sources),
        warnings=(*warnings, *remarks_on_crs(sources, parcels, frame)),
    )


def read_frontage(
    layer: VectorLayer, parcels: gpd.GeoDataFrame, frame: Frame, rules: Rules, *, said: Sequence[str] = ()
) -> Frontage:
    """Where a lot may face a street, by the other parcels of its layer; one of several lots together has none."""
    lot = _together(parcels)
    whole = replace(layer, source=layer.source.model_copy(update={"where": None}))
    others: list[BaseGeometry] = []
    if layer.features > len(parcels) == 1:
        around = _bounds_around(parcels, rules["frontage_across"].likely)
        # what is amiss with another's shape stops nobody
        with suppress(LayerError):
            shapes, _ = read_shapes(whole, LAYER_KINDS["parcel"], frame, within=around)
            own = set(parcels["id"])
            others = [
                shape for shape, number in zip(shapes.geometry.to_numpy(), shapes["id"], strict=True)
                if number not in own
            ]  # fmt: skip
            if layer.is_drawing:
                # what else is drawn on the lot is a house or a patio, and no parcel
                others = [each for each in others if each.intersection(lot).area < _BESIDE * each.area]
    return find_frontage(lot, others, rules, said=said)


def empty_layer(kind: LayerKind) -> gpd.GeoDataFrame:
    """A layer without features, with its declared columns."""
    return _empty_layer(kind).copy()


@cache
def _empty_layer(kind: LayerKind) -> gpd.GeoDataFrame:
    return read_columns(gpd.GeoDataFrame({"id": []}, geometry=[]).astype({"id": object}), kind.columns, kind.key)


def named_layers(site: SiteFile) -> dict[str, VectorFile | None]:
    """Tables of the layers around the parcel, in the order in which they are read."""
    sources: dict[str, VectorFile | None] = {
        "swales": site.swales,
        "soil": site.soil.source,
        "layout.basins": site.layout.basins.source if site.layout.basins else None,
        "layout.forbidden": site.layout.forbidden,
    }
    return {key: sources[key] if key in sources else getattr(site, key) for key in _READING_ORDER}


# swales first, since what lies around them is read too
_READING_ORDER = ("swales", *(key for key in LAYER_KINDS if key not in ("parcel", "swales")))


def _read_parcels(
    site: SiteFile, frame: Frame, several: bool, files: ListedLayers
) -> tuple[VectorLayer, gpd.GeoDataFrame, list[Reason]]:
    layer = find_layer(site.parcel, "parcel", files)
    parcels, found = read_shapes(layer, LAYER_KINDS["parcel"], frame)
    _refuse_none(layer, parcels, found)
    if len(parcels) > 1 and not several:
        ids = ", ".join(parcels["id"][:8]) + (", ..." if len(parcels) > 8 else "")
        how = f'where = "{site.parcel.where}"' if site.parcel.where else "no where is given and the layer"
        raise LayerError(
            f"{layer.words}: {how} selects {len(parcels)} parcels (features {ids}); select one, as in "
            f'where = "fid = {parcels["id"][0]}"'
        )
    return layer, parcels, list(found)


def _refuse_none(layer: VectorLayer, shapes: gpd.GeoDataFrame, found: tuple[Reason, ...]) -> None:
    if len(shapes):
        return
    if found:
        which = found[0]["features"]
        raise LayerError(f"{layer.words}: feature {which} has no shape, so no parcel is left; draw it again")
    if layer.source.where is not None and layer.features:
        raise LayerError(
            f'{layer.words}: where = "{layer.source.where}" selects none of its {layer.features} features; '
            f"its attributes are {', '.join(layer.attributes)}"
        )
    raise LayerError(f"{layer.words}: the layer is empty; give one that holds the parcel")


def _with_points(site: SiteFile, basins: gpd.GeoDataFrame, frame: Frame) -> gpd.GeoDataFrame:
    if site.layout.basins is None or not site.layout.basins.points:
        return basins
    given = np.array(site.layout.basins.points, dtype=np.float64)
    if not np.isfinite(given).all():
        raise LayerError("[layout] basins: a coordinate is no finite number; give [easting, northing] of each basin")
    places = shapely.points(given)
    ids = [str(number) for number in range(1, len(places) + 1)]
    return gpd.GeoDataFrame({"id": ids}, geometry=frame.from_map(places))


def _refuse_same_place(basins: gpd.GeoDataFrame) -> None:
    """No two basins are built in each other."""
    apart = shapely.STRtree(basins.geometry.to_numpy()).query(basins.geometry.to_numpy(), "dwithin", _SAME_PLACE)
    twice = apart[:, apart[0] < apart[1]]
    if twice.size:
        one, other = (basins["id"].iloc[each] for each in twice[:, 0])
        raise LayerError(
            f"[layout] basins: basins {one} and {other} stand less than {_SAME_PLACE:g} m apart; strike one of them out"
        )


def _together(parcels: gpd.GeoDataFrame) -> Polygon | MultiPolygon:
    return cast("Polygon | MultiPolygon", shapely.union_all(parcels.geometry.to_numpy()))


def _bounds_around(shapes: gpd.GeoDataFrame, reach: float) -> Bounds:
    west, south, east, north = (float(each) for each in shapes.total_bounds)
    return west - reach, south - reach, east + reach, north + reach


def _union(one: Bounds, other: Bounds) -> Bounds:
    return min(one[0], other[0]), min(one[1], other[1]), max(one[2], other[2]), max(one[3], other[3])
