"""What a raster and a parcel file are, in words, and the site file that they make together."""

import json
import os
from dataclasses import dataclass
from pathlib import Path

from pipelines.inputs.errors import LayerError
from pipelines.inputs.input_files import path_from
from pipelines.inputs.layer_table import LAYER_KINDS
from pipelines.inputs.layers import locate_layer
from pipelines.inputs.quantity_words import Units, format_quantity
from pipelines.inputs.rules import load_rules
from pipelines.inputs.site_sections import VectorFile
from pipelines.inputs.vector_file import VectorLayer, find_layer, read_shapes
from terrain.lot_ground import LotGround, cover_of_lot, refuse_unfit, refuse_unknown
from terrain.raster_source import RasterSource, open_raster
from terrain.surface import read_window

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


def describe_inputs(
    ground: str | os.PathLike[str],
    parcel: str | os.PathLike[str],
    *,
    layer: str | None = None,
    where: str | None = None,
    unit: str | None = None,
) -> Description:
    """Look at a raster and a parcel file.

    Parameters
    ----------
    ground, parcel : path
        The files.
    layer, where : str or None
        Which layer and feature of the parcel file, where it holds several.
    unit : str or None
        Vertical unit, m, ft or ftUS, where the person knows it.

    Returns
    -------
    Description
        What they are and how they fit.

    Raises
    ------
    GroundFileError
        If the raster cannot be read.
    GroundError
        If it cannot serve this lot.
    InputFileError
        If the parcel file cannot be read.
    LayerError
        If it does not hold one parcel.
    """
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
    """What was found, as pairs of what and value, for a terminal.

    Parameters
    ----------
    description : Description
        As found.
    units : str
        us or si.

    Returns
    -------
    list of tuple of str
        In reading order.
    """
    source, cover = description.source, description.cover
    low, high = (format_quantity(each, "level", units) for each in description.heights)
    rows, columns = source.file_shape
    return [
        ("ground", f"{source.path.name}, {columns:,} x {rows:,} cells of {_cell(source)}"),
        ("ground's CRS", source.crs.name),
        ("map of the results", source.grid.frame.crs.name),
        ("heights are in", f"{source.vertical.unit}, {_told_by(source)}"),
        ("vertical datum", source.vertical_datum),
        ("heights around the lot", f"{low} to {high}"),
        ("accuracy assumed", f"{_rmse_text()} root mean square error, as of common lidar; the file does not say"),
        ("parcel", f"{description.parcel.source.file.name}, layer {description.parcel.layer}"),
        ("parcel's CRS", description.parcel.crs.name),
        ("parcel's area", format_quantity(description.parcel_area, "area", units)),
        ("lot inside the raster", "yes, whole" if cover.inside else "in part only"),
        ("cells on the lot", f"{cover.cells:,}"),
        ("nodata on the lot", f"{cover.unknown_share:.1%}"),
    ]


def site_file_text(description: Description, folder: str | os.PathLike[str], units: Units = "us") -> str:
    """A site file that runs as it is, with what may be added as comments.

    Parameters
    ----------
    description : Description
        As found.
    folder : path
        Where the site file will lie, which its paths are relative to.
    units : str
        us or si.

    Returns
    -------
    str
        TOML.
    """
    folder = Path(folder)
    source, parcel = description.source, description.parcel
    facts = "\n".join(f"#   {what}: {value}" for what, value in description_lines(description, units))
    warned = "".join(f"#   warning: {' '.join(each.split())}\n" for each in description.warnings)
    unit = (
        f'unit = "{description.unit_given}"'
        if description.unit_given
        else f'# unit = "{source.vertical.unit}"            # {_told_by(source)}'
    )
    where = f"\nwhere = {_toml(parcel.source.where)}" if parcel.source.where else ""
    return _TEMPLATE.format(
        facts=facts,
        warned=warned,
        name=_toml(parcel.source.file.stem),
        units=units,
        ground=_toml(path_from(folder, source.path)),
        unit=unit,
        rmse=_rmse_text(),
        parcel=_toml(path_from(folder, parcel.source.file)),
        layer=_toml(parcel.layer),
        where=where,
    )


def _told_by(source: RasterSource) -> str:
    told = source.vertical.told_by
    return told if told.startswith(("assumed", "given")) else f"said by {told}"


def _cell(source: RasterSource) -> str:
    if abs(source.cell_width / source.cell_height - 1.0) < 1e-6:
        return f"{source.cell_width:.3g} m"
    return f"{source.cell_width:.3g} x {source.cell_height:.3g} m"


def _rmse_text() -> str:
    return load_rules()["lidar_rmse"].words.split(" / ")[1] + " cm"


def _toml(text: str | None) -> str:
    # TOML's basic strings are JSON's, but for the one control character that JSON leaves bare
    return json.dumps(text or "", ensure_ascii=False).replace("\x7f", "\\u007f")


_TEMPLATE = """\
# A lot, as lotshed reads it. Paths are relative to this file. Quantities are texts with a unit: "10 cm", "2 ft 6 in".
# What was found:
{facts}
{warned}
name = {name}
units = "{units}"               # of what is handed over: "us" or "si"

[elevation]
file = {ground}
{unit}
# rmse = "{rmse}"         # vertical accuracy of the lidar
# flown = 2019            # year of the flight; older than the house, it shows another lot

[parcel]
file = {parcel}
layer = {layer}{where}

# From here on add what is known: take the # away and put in your own files. Without roofs nothing is sited
# against a house. Every table of shapes takes file, layer and where.

# [house]
# foundation = "slab"     # "slab", "crawl" or "basement": decides what may stand by the wall
# floor = "101.2 ft"      # lowest sill, in the raster's vertical datum
# footing_depth = "18 in"
# built = 2015

# [roofs]                 # building outlines; open_below marks carports, decks and porches
# file = "buildings.gpkg"

# [hardscape]             # patios, drives, walks; protect marks what must stay dry
# file = "hardscape.gpkg"

# [barriers]              # lines that dam: fences with kickboards, walls, edging
# file = "barriers.gpkg"

# [keep_out]              # septic, wells, trees, easements: kind, setback_m, crossing = never or careful
# file = "keep_out.gpkg"

# [utilities]             # lines: kind, crossing, depth_m. Call before you dig all the same
# file = "utilities.gpkg"

# [right_of_way]          # polygons
# file = "right_of_way.gpkg"

# [downspouts]            # points
# file = "downspouts.gpkg"

# [culverts]              # lines: diameter_in or diameter_mm, material
# file = "culverts.gpkg"

# [outfalls]              # points or lines: kind = swale, ditch, curb, inlet, pond, daylight or soakaway
# file = "outfalls.gpkg"

# [complaints]            # points: what, date, depth_in, hours
# file = "complaints.gpkg"

# [levels]                # shots of a level: point, easting, northing, height_m or height_ft
# file = "shots.csv"

# [rain]
# table = "rain.csv"      # or depth = "3 in" and duration = "20 min"
# return_period = "10 yr"

# [soil]
# group = "C"             # hydrologic soil group A, B, C or D; or file and layer with an attribute group
# cover = "lawn, fair"

# [pump]
# curve = "pump.csv"      # flow_gpm or flow_l_s, head_ft or head_m

# [prices]
# file = "prices.csv"     # item, unit, low, likely, high

# [rules]                 # any default of the trade by its name
# cover_lawn = "12 in"
"""
