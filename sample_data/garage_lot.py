"""One invented lot below its street: the drive falls to the garage door. Ground, shapes and site file of its own."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
from affine import Affine
from claywick_lots import CELL, EPSG
from shapely import LineString, Point, box
from shapely.affinity import translate

WEST, NORTH = 712_600.0, 3_320_100.0
SIZE = 60.0
SEED = 11
LOT = box(16.0, 10.0, 44.0, 54.0)
HOUSE = box(21.0, 28.0, 39.0, 38.0)
DRIVE = box(32.0, 6.0, 37.0, 28.0)
STREET = box(0.0, 0.0, 60.0, 10.0)
DITCH = LineString([(0.5, 57.0), (59.5, 57.0)])
DOOR = Point(34.5, 27.8)
WRITTEN = "2024-07-01T00:00:00.000Z"

SITE = """\
# Invented. Shows: a drive that falls to its garage door, and a grated channel before it.
name = "Sedge Hollow, garage lot"
units = "us"

[elevation]
file = "garage_lot.tif"
unit = "m"
rmse = "10 cm"
flown = 2021

[house]
foundation = "slab"
footing_depth = "2 ft"
built = 2002

[rain]
table = "rain.csv"
return_period = "10 yr"

[soil]
group = "B"
cover = "lawn, fair"

[pump]
curve = "pump.csv"

[prices]
file = "prices.csv"
"""
LAYERS = ("parcel", "roofs", "hardscape", "right_of_way", "downspouts", "outfalls", "complaints")


def write_garage_lot(folder: Path) -> None:
    """Write the lot's three files; its rain, pump and prices are the neighbourhood's."""
    count = round(SIZE / CELL)
    profile = {
        "driver": "GTiff", "width": count, "height": count, "count": 1, "dtype": "float32", "crs": f"EPSG:{EPSG}",
        "transform": Affine(CELL, 0.0, WEST, 0.0, -CELL, NORTH), "nodata": -999999.0, "compress": "deflate",
    }
    with rasterio.open(folder / "garage_lot.tif", "w", **profile) as file:
        file.write(ground(), 1)
    shapes = {
        "parcel": [{"lot": 1, "geometry": LOT}],
        "roofs": [{"part": "house", "open_below": False, "geometry": HOUSE}],
        "hardscape": [{"kind": "drive", "protect": False, "geometry": DRIVE}],
        "right_of_way": [
            {"kind": "street", "geometry": STREET}, {"kind": "drainage tract", "geometry": box(0.0, 54.0, 60.0, 60.0)}
        ],
        "downspouts": [{"geometry": Point(x, 38.3)} for x in (21.5, 38.5)],
        "outfalls": [{"kind": "ditch", "geometry": DITCH}],
        "complaints": [{"what": "water under the garage door", "date": "2024-04-18", "geometry": DOOR}],
    }
    path = folder / "garage_lot.gpkg"
    path.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": WRITTEN})
    try:
        for name, rows in shapes.items():
            frame = gpd.GeoDataFrame(rows, geometry="geometry", crs=EPSG)
            frame["geometry"] = [translate(shape, WEST, NORTH - SIZE) for shape in frame.geometry]
            pyogrio.write_dataframe(frame, path, layer=name, driver="GPKG", append=path.exists(), SPATIAL_INDEX="NO")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
    tables = "".join(f'\n[{name}]\nfile = "garage_lot.gpkg"\nlayer = "{name}"\n' for name in LAYERS)
    (folder / "garage_lot.toml").write_text(SITE + tables, encoding="utf-8", newline="\n")


def ground() -> np.ndarray:
    """Heights: a slope from the street down to a ditch at the rear, a crown before the house that parts the lawn's
    water, and the drive let into it; rounded to 1 cm. [m]"""
    row, column = np.mgrid[0 : round(SIZE / CELL), 0 : round(SIZE / CELL)]
    x, y = (column + 0.5) * CELL, SIZE - (row + 0.5) * CELL
    # the lawn falls away to both sides before the house, and to the rear beside it
    land = 100.0 - 0.035 * y - 0.03 * np.abs(x - 30.0) + 0.5 * np.clip(1.0 - (27.8 - y) / 3.0, 0.0, 1.0) * (y < 28.0)
    # the drive is dished, so that its water comes to the door, and there turns east
    drive = 100.0 - 0.055 * y + 0.04 * np.abs(x - 34.5) - 0.03 * np.clip(y - 26.9, 0.0, 1.0) * (x - 32.0)
    beside = np.maximum(np.abs(x - 34.5) - 2.5, 0.0)
    on_drive = (y > 4.0) & (y < 28.5)
    share = np.clip(beside / 1.0, 0.0, 1.0)
    land = np.where(on_drive, np.minimum(land, drive + share * (land - drive)), land)
    # from the door's east end the ground falls on round the house
    swale = 98.40 - 0.03 * np.maximum(y - 26.0, 0.0) - 0.04 * (x - 37.0) + 0.25 * np.maximum(x - 42.0, 0.0)
    land = np.where((x > 37.0) & (y > 26.9), np.minimum(land, swale), land)
    ditch = 96.4 + 0.002 * (60.0 - x) + 0.3 * np.abs(y - 57.0)
    land = np.minimum(land, ditch)
    noise = np.random.default_rng(SEED).normal(0.0, 0.004, land.shape)
    return np.round(land + noise, 2).astype(np.float32)
