"""The lots of a town: which are selected, in an order in which neighbors follow each other, and one of them opened."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.errors import LayerError
from pipelines.inputs.shapes.layer_table import LAYER_KINDS
from pipelines.inputs.shapes.layers import locate_layer
from pipelines.inputs.shapes.parcel_names import lot_name
from pipelines.inputs.shapes.vector_file import find_layer, read_shapes
from pipelines.inputs.site_file import SiteFile
from terrain.grid import Frame, Grid
from terrain.reading.raster_source import open_raster


@dataclass(frozen=True, slots=True)
class TownLot:
    """A lot that was selected.

    Attributes
    ----------
    id, name : str
        Its feature's number in the file, and what people call it.
    parcel : shapely Geometry
        In the map's CRS.
    """

    id: str
    name: str
    parcel: BaseGeometry


@dataclass(frozen=True, slots=True, eq=False)
class TownLots:
    """Lots of a town in the order in which they are worked on, and the frame of their map."""

    lots: tuple[TownLot, ...]
    frame: Frame


def find_lots(site: SiteFile) -> TownLots:
    """Lots that a town's site file selects, neighbors after each other along a curve that fills the map.

    Parameters
    ----------
    site : SiteFile
        Of the town.

    Returns
    -------
    TownLots
        At least one.

    Raises
    ------
    LayerError
        If the parcels cannot be read, or none is selected.
    """
    source = open_raster(site.elevation.file, unit=site.elevation.unit, near=locate_layer(site.parcel))
    frame = source.grid.frame
    layer = find_layer(site.parcel, "parcel")
    parcels, _ = read_shapes(layer, LAYER_KINDS["parcel"], frame)
    if parcels.empty:
        raise LayerError(f"{layer.words}: no parcel is selected; correct where")
    placed = frame.to_map(parcels.geometry)
    stems = (site.parcel.file.stem,)
    order = np.argsort(placed.hilbert_distance().to_numpy(), kind="stable")
    names = [lot_name(row, stems) for row in parcels.drop(columns="geometry").itertuples(index=False)]
    ids = parcels["id"].astype(str).to_numpy()
    geometries = placed.to_numpy()
    return TownLots(tuple(TownLot(ids[at], names[at], geometries[at]) for at in order), frame)


def site_of_lot(site: SiteFile, lot: str) -> SiteFile:
    """A town's site file as the one of a single lot: what `lotshed screen` reads with that lot's `where`, no swales."""
    parcel = site.parcel.model_copy(update={"where": f"{number_column(site.parcel.file, site.parcel.layer)} = {lot}"})
    return site.model_copy(update={"parcel": parcel, "swales": None, "name": ""})


def neighbors_of(site: SiteFile, grid: Grid) -> gpd.GeoDataFrame:
    """Lots that touch the ground around one, with their ids in `lot`, in the metric frame."""
    layer = find_layer(site.parcel.model_copy(update={"where": None}), "parcel")
    shapes, _ = read_shapes(layer, LAYER_KINDS["parcel"], grid.frame, within=grid.bounds)
    return gpd.GeoDataFrame({"lot": shapes["id"].array, "geometry": shapes.geometry.array}, geometry="geometry")


_COLUMNS: dict[tuple[Path, str | None], str] = {}


def number_column(file: Path, layer: str | None) -> str:
    """What a filter calls the number of a feature."""
    if (file, layer) not in _COLUMNS:
        import pyogrio

        info: dict[str, Any] = pyogrio.read_info(file.absolute(), layer=layer)
        _COLUMNS[file, layer] = str(info.get("fid_column") or "fid")
    return _COLUMNS[file, layer]
