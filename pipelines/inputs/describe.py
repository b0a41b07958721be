"""What a raster and a parcel file are, in words."""

import os
from dataclasses import dataclass
from pathlib import Path

from pipelines.inputs.errors import LayerError
from pipelines.inputs.quantity_words import format_quantity
from pipelines.inputs.rules import load_rules
from pipelines.inputs.shapes.layer_table import LAYER_KINDS
from pipelines.inputs.shapes.layers import locate_layer
from pipelines.inputs.shapes.vector_file import VectorLayer, find_layer, read_shapes
from pipelines.inputs.site_sections import VectorFile
from terrain.flow.lot_ground import LotGround, cover_of_lot, refuse_unfit, refuse_unknown
from terrain.reading.raster_source import RasterSource, open_raster
from terrain.reading.surface import read_window
from terrain.unit_table import Units

_MARGIN = 20.0


@dataclass(frozen=True, slots=True, eq=False)
class Description:
    """Two files and how they fit.

    Attributes
    ----------
    source : RasterSource
        The ground.
    parcel : VectorLayer
        The layer of the lot.
    parcel_area : float
        [m2]
    cover : LotGround
        Cells on the lot, whether it lies inside, share unknown.
    heights : tuple of float
        Lowest and highest known ground around the lot. [m]
    unit_given : str or None
        Vertical unit that the person gave.
    warnings : tuple of str
        What a reader must know.
    """

    source: RasterSource
    parcel: VectorLayer
    parcel_area: float
    cover: LotGround
    heights: tuple[float, float]
    unit_given: str | None
    warnings: tuple[str, ...]

    @property
    def unit_told_by(self) -> str:
        """What said the vertical unit, in words."""
        told = self.source.vertical.told_by
        return told if told.startswith(("assumed", "given")) else f"said by {told}"

    @property
    def accuracy_assumed(self) -> str:
        """Root mean square error of the heights that is taken where the site file gives none."""
        return format_quantity(load_rules()["lidar_rmse"].likely, "depth", "si")


def describe_inputs(
    ground: str | os.PathLike[str],
    parcel: str | os.PathLike[str],
    *,
    layer: str | None = None,
    where: str | None = None,
    unit: str | None = None,
) -> Description:
    """Look at a raster and a parcel file."""
    vector = VectorFile.model_construct(file=Path(parcel), layer=layer, where=where)
    near = locate_layer(vector)
    source = open_raster(ground, unit=unit, near=near)
    found = find_layer(vector, "parcel")
    shapes, repaired = read_shapes(found, LAYER_KINDS["parcel"], source.grid.frame)
    if len(shapes) > 1:
        raise LayerError(
            f"{found.words}: it selects {len(shapes)} parcels; select one with --where, by one of its attributes "
            f"{', '.join(found.attributes) or 'none'}, or by its feature id, as in --where \"fid = {shapes['id'][0]}\""
        )
    shape = shapes.geometry.iloc[0]
    refuse_unfit(source, shape)
    west, south, east, north = shape.bounds
    surface = read_window(source, (west - _MARGIN, south - _MARGIN, east + _MARGIN, north + _MARGIN))
    warnings = refuse_unknown(source, surface, shape)
    known = surface.elevation[surface.elevation == surface.elevation]
    return Description(
        source=source,
        parcel=found,
        parcel_area=float(shape.area),
        cover=cover_of_lot(source, surface, shape),
        heights=(float(known.min()), float(known.max())),
        unit_given=unit,
        warnings=(*surface.warnings, *warnings, *repaired),
    )


def description_lines(description: Description, units: Units = "us") -> list[tuple[str, str]]:
    """What was found, as pairs of what and value, for a terminal."""
    source, cover = description.source, description.cover
    low, high = (format_quantity(each, "level", units) for each in description.heights)
    rows, columns = source.file_shape
    return [
        ("ground", f"{source.path.name}, {columns:,} x {rows:,} cells of {_cell(source)}"),
        ("ground's CRS", source.crs.name),
        ("map of the results", source.grid.frame.crs.name),
        ("heights are in", f"{source.vertical.unit}, {description.unit_told_by}"),
        ("vertical datum", source.vertical_datum),
        ("heights around the lot", f"{low} to {high}"),
        ("accuracy assumed", f"{description.accuracy_assumed} root mean square error, as of common lidar"),
        ("parcel", f"{description.parcel.source.file.name}, layer {description.parcel.layer}"),
        ("parcel's CRS", description.parcel.crs.name),
        ("parcel's area", format_quantity(description.parcel_area, "area", units)),
        ("lot inside the raster", "yes, whole" if cover.inside else "in part only"),
        ("cells on the lot", f"{cover.cells:,}"),
        ("nodata on the lot", f"{cover.unknown_share:.1%}"),
    ]


def _cell(source: RasterSource) -> str:
    if abs(source.cell_width / source.cell_height - 1.0) < 1e-6:
        return f"{source.cell_width:.3g} m"
    return f"{source.cell_width:.3g} x {source.cell_height:.3g} m"
