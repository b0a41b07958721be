"""What a raster and a parcel file are, and how they fit."""

import os
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd

from pipelines.inputs.errors import LayerError
from pipelines.inputs.ground_rules import ground_limits
from pipelines.inputs.rules import load_rules
from pipelines.inputs.shapes.layer_table import LAYER_KINDS
from pipelines.inputs.shapes.layers import locate_layer
from pipelines.inputs.shapes.parcel_names import first_of, lot_name
from pipelines.inputs.shapes.vector_file import VectorLayer, find_layer, read_shapes
from pipelines.inputs.site_sections import VectorFile
from terrain.flow.lot_ground import LotGround, cover_of_lot, refuse_unfit, refuse_unknown
from terrain.grid import Frame
from terrain.reading.raster_source import RasterSource, open_raster
from terrain.reading.surface import read_window
from terrain.reason import Reason

_MARGIN = 20.0


@dataclass(frozen=True, slots=True, eq=False)
class Description:
    """Two files and how they fit.

    Attributes
    ----------
    source : RasterSource
        The ground.
    name : str
        Of the lot.
    parcel_area : float
        [m2]
    cover : LotGround
        Cells on the lot, whether it lies inside, share unknown.
    heights : tuple of float
        Lowest and highest known ground around the lot. [m]
    rmse : float
        Accuracy of the heights that is assumed. [m]
    unit_given : str or None
        Vertical unit that the person gave.
    """

    source: RasterSource
    parcel: VectorLayer
    name: str
    parcel_area: float
    cover: LotGround
    heights: tuple[float, float]
    rmse: float
    unit_given: str | None
    warnings: tuple[Reason, ...]


def describe_inputs(
    ground: str | os.PathLike[str],
    parcel: str | os.PathLike[str],
    *,
    layer: str | None = None,
    where: str | None = None,
    parcel_crs: str | None = None,
    unit: str | None = None,
) -> Description:
    """Look at a raster and a parcel file."""
    vector = VectorFile.model_construct(file=Path(parcel), layer=layer, where=where, crs=parcel_crs)
    near = locate_layer(vector)
    source = open_raster(ground, unit=unit, near=near)
    found = find_layer(vector, "parcel")
    shapes, repaired = the_one_parcel(found, source.grid.frame)
    shape = shapes.geometry.iloc[0]
    limits = ground_limits(load_rules())
    refuse_unfit(source, shape, limits)
    west, south, east, north = shape.bounds
    surface = read_window(source, (west - _MARGIN, south - _MARGIN, east + _MARGIN, north + _MARGIN))
    warnings = refuse_unknown(source, surface, shape, limits)
    known = surface.elevation[surface.elevation == surface.elevation]
    return Description(
        source=source,
        parcel=found,
        name=lot_name(first_of(shapes), (found.source.file.stem, source.path.stem)),
        parcel_area=float(shape.area),
        cover=cover_of_lot(source, surface, shape),
        heights=(float(known.min()), float(known.max())),
        rmse=load_rules()["lidar_rmse"].likely,
        unit_given=unit,
        warnings=(*surface.warnings, *warnings, *repaired),
    )



def the_one_parcel(found: VectorLayer, frame: Frame) -> tuple[gpd.GeoDataFrame, tuple[Reason, ...]]:
    """The only parcel that a layer's table selects, and what was repaired of it."""
    shapes, repaired = read_shapes(found, LAYER_KINDS["parcel"], frame)
    if len(shapes) > 1:
        raise LayerError(
            f"{found.words}: it selects {len(shapes)} parcels; select one with --where, by one of its attributes "
            f"{', '.join(found.attributes) or 'none'}, or by its feature id, as in --where \"fid = {shapes['id'][0]}\""
        )
    return shapes, repaired
