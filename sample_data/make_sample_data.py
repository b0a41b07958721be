"""Write Claywick Hills and Ember Lane, both invented, into the folder of this script or one that is named."""

import sys
from pathlib import Path

import claywick_ground
import claywick_layers
import claywick_lots
import claywick_sites
import ember_lane
import geopandas as gpd
import pyogrio
import rasterio
from affine import Affine
from garage_lot import write_garage_lot
from ground_forms import NODATA

# lots with level shots and measured culverts
SURVEYED = (1, 2, 7, 8)
# a GeoPackage otherwise carries the time of writing
WRITTEN = "2024-07-01T00:00:00.000Z"


def write_ground(path: Path, place, heights) -> None:
    """Write a ground raster of a place, the module that says where it lies."""
    profile = {
        "driver": "GTiff", "width": place.COLUMNS, "height": place.ROWS, "count": 1, "dtype": "float32",
        "crs": f"EPSG:{place.EPSG}", "transform": Affine(place.CELL, 0.0, place.WEST, 0.0, -place.CELL, place.NORTH),
        "nodata": NODATA, "tiled": True, "blockxsize": 256, "blockysize": 256, "compress": "deflate", "zlevel": 9,
    }
    with rasterio.open(path, "w", **profile) as file:
        file.write(heights, 1)
        file.set_band_description(1, "bare earth, invented")


def write_layers(path: Path, layers: dict[str, gpd.GeoDataFrame]) -> None:
    """Write every layer of vectors into one GeoPackage."""
    path.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": WRITTEN})
    try:
        for name, frame in layers.items():
            pyogrio.write_dataframe(frame, path, layer=name, driver="GPKG", append=path.exists(), SPATIAL_INDEX="NO")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def write_all(folder: Path) -> None:
    """Write the neighbourhood and the lane into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    write_ground(folder / "ground.tif", claywick_lots, claywick_ground.build())
    write_layers(folder / "neighbourhood.gpkg", claywick_layers.layers())
    write_ground(folder / "ember_lane.tif", ember_lane, ember_lane.build())
    write_layers(folder / "ember_lane.gpkg", ember_lane.layers())
    texts = ember_lane.texts() | {
        "rain.csv": claywick_sites.rain_csv(),
        "pump.csv": claywick_sites.pump_csv(),
        "prices.csv": claywick_sites.prices_csv(),
        "lot_only.toml": claywick_sites.lot_only_toml(),
        "swale.toml": claywick_sites.swale_toml(),
    }
    texts |= {f"lot_{each.number:02d}.toml": claywick_sites.site_toml(each.number) for each in claywick_lots.LOTS}
    for number in SURVEYED:
        texts[f"shots_{number:02d}.csv"] = claywick_sites.shots_csv(number)
        texts[f"lot_{number:02d}_levels.toml"] = claywick_sites.site_toml(number, levels=True)
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    write_garage_lot(folder)


if __name__ == "__main__":
    write_all(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
