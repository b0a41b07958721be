"""What two files are, in words, and a site file written from it."""

import json
import os
from pathlib import Path

from pipelines.deliverables.words.quantities import format_quantity
from pipelines.deliverables.words.say import say, say_all
from pipelines.inputs.describe import Description
from pipelines.inputs.input_files import path_from
from terrain.unit_table import Units


def description_lines(description: Description, units: Units = "us") -> list[tuple[str, str]]:
    """What was found, as pairs of what and value, for a terminal."""
    source, cover, parcel = description.source, description.cover, description.parcel
    low, high = (format_quantity(each, "level", units) for each in description.heights)
    across, down = (format_quantity(each, "length", units) for each in (source.cell_width, source.cell_height))
    size = across if across == down else f"{across} x {down}"
    rows, columns = source.file_shape
    return [
        ("ground", f"{source.path.name}, {columns:,} x {rows:,} cells of {size}"),
        ("ground's CRS", source.crs.name),
        ("map of the results", source.grid.frame.crs.name),
        ("elevations are in", f"{source.vertical.unit} ({say(source.vertical.told_by, units)})"),
        ("vertical datum", say(source.vertical_datum, units)),
        ("elevations around the lot", f"{low} to {high}"),
        ("accuracy assumed", f"{format_quantity(description.rmse, 'depth', units)} root mean square error"),
        ("parcel", f"{parcel.source.file.name}, layer {parcel.layer}"),
        ("parcel's CRS", parcel.crs.name),
        ("parcel's area", format_quantity(description.parcel_area, "area", units)),
        ("lot inside the raster", "yes, whole" if cover.inside else "in part only"),
        ("cells on the lot", f"{cover.cells:,}"),
        ("nodata on the lot", f"{cover.unknown_share:.1%}"),
    ]


def site_file_text(description: Description, folder: str | os.PathLike[str], units: Units = "us") -> str:
    """A site file that runs as it is, with what may be added as comments."""
    folder = Path(folder)
    source, parcel = description.source, description.parcel
    facts = "\n".join(f"#   {what}: {value}" for what, value in description_lines(description, units))
    said = say_all(description.warnings, units)
    warned = "".join(f"#   warning: {' '.join(each.split())}\n" for each in said)
    unit = (
        f'unit = "{description.unit_given}"'
        if description.unit_given
        else f'# unit = "{source.vertical.unit}"            # {say(source.vertical.told_by, units)}'
    )
    where = f"\nwhere = {_toml(parcel.source.where)}" if parcel.source.where else ""
    where += f"\ncrs = {_toml(parcel.source.crs)}" if parcel.source.crs else ""
    return _TEMPLATE.format(
        facts=facts,
        warned=warned,
        name=_toml(description.name),
        units=units,
        ground=_toml(path_from(folder, source.path)),
        unit=unit,
        # nominal: who flies lidar states it in centimeters
        rmse=format_quantity(description.rmse, "depth", "si"),
        parcel=_toml(path_from(folder, parcel.source.file)),
        layer=_toml(parcel.layer),
        where=where,
    )


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
# grounds = 100           # grounds that this lidar allows, on which the answer is tried; 1: the raster as it is
# flown = 2019            # year of the flight; older than the house, it shows another lot

[parcel]
file = {parcel}
layer = {layer}{where}
# street_side = "south"   # side or sides of the lot that the street is on, where the other parcels don't show it

# From here on add what is known: take the # away and put in your own files. Without roofs nothing is sited
# against a house. Every table of shapes takes file, layer and where.

# [house]
# foundation = "slab"     # "slab", "crawl" or "basement": decides what may stand by the wall
# floor = "101.2 ft"      # lowest sill, in the raster's vertical datum
# footing_depth = "18 in"
# built = 2015

# [traced]                # what was drawn on the page of `lotshed trace`, in the place of the tables that it holds
# file = "traced.geojson"

# [roofs]                 # building outlines; open_below marks carports, decks and porches;
#                         # outline = walls where drawn along walls: ties are measured from their corners
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

# [culverts]              # lines: diameter_in or diameter_mm, material, silt_in or silt_mm
# file = "culverts.gpkg"

# [outfalls]              # points or lines: kind = swale, ditch, curb, inlet, pond, daylight or soakaway
# file = "outfalls.gpkg"

# [complaints]            # points: what, date, depth_in, hours; and, since they tell surface from ground water:
#                         # where: basement, crawl_space, wall, patio, lawn, drive or street
#                         # season: in_rain, days_after, always or thaw
# file = "complaints.gpkg"

# [picture]               # any raster, drawn under the maps
# file = "photo.tif"

# [levels]                # shots of a level: point, easting, northing, height_m or height_ft
# file = "shots.csv"

# [rain]
# table = "rain.csv"      # best; or depth = "4.5 in" and duration = "24 h", which is spread as a nested storm by the
#                         # ratios of type = "II" (NRCS I, IA, II or III), or not: distribution = "constant"
# return_period = "10 yr" # with a table

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
