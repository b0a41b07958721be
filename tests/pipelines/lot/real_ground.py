"""A lot drawn on the real lidar raster among the tests' data: house, patio, right of way, and a swale north of it."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
from shapely import LineString, Point, box
from shapely.geometry.base import BaseGeometry

RASTER = Path(__file__).parents[2] / "data" / "one_metre_ground.tif"

with rasterio.open(RASTER) as file:
    HEIGHTS = file.read(1).astype(np.float64)
    LEFT, TOP = file.bounds.left, file.bounds.top


def drawn(west: float, north: float, east: float, south: float) -> BaseGeometry:
    """A rectangle given by columns and rows of the raster, which are metres from its upper left corner."""
    return box(LEFT + west, TOP - south, LEFT + east, TOP - north)


def place(column: float, row: float) -> tuple[float, float]:
    """Where a column and row of the raster lie on the map."""
    return LEFT + column, TOP - row


LOT = drawn(226, 360, 262, 389)
HOUSE = drawn(247, 364, 257, 371)
PATIO = drawn(238, 371, 246, 379)
SHAPES = {
    "parcel": [{"address": "Made-up lot", "geometry": LOT}],
    "roofs": [{"open_below": False, "geometry": HOUSE}],
    "hardscape": [{"kind": "patio", "protect": True, "geometry": PATIO}],
    "right_of_way": [{"kind": "street", "geometry": drawn(220, 338, 268, 360)}],
    "outfalls": [{"kind": "swale", "geometry": LineString([place(240.5, 356.5), place(235.5, 346.5)])}],
    "complaints": [{"what": "stands on the patio", "geometry": Point(place(242, 376))}],
}
MORE = """
[house]
foundation = "slab"

[rain]
depth = "3 in"
duration = "60 min"

[soil]
group = "C"
"""


def write_real_lot(folder: Path) -> Path:
    """Write its shapes and a site file without a name."""
    tables = [f'units = "si"\n[elevation]\nfile = "{RASTER}"\n']
    for name, rows in SHAPES.items():
        values = {key: [row[key] for row in rows] for key in rows[0] if key != "geometry"}
        frame = gpd.GeoDataFrame(values, geometry=[row["geometry"] for row in rows], crs="EPSG:26915")
        frame.to_file(folder / "shapes.gpkg", layer=name, engine="pyogrio")
        tables.append(f'[{name}]\nfile = "shapes.gpkg"\nlayer = "{name}"\n')
    site = folder / "site.toml"
    site.write_text("\n".join(tables) + MORE, encoding="utf-8")
    return site
