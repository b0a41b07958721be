"""Lots that are large, and sample lots under noise, written as the files a person would bring.

    python tests/benchmarks/large_lots.py FOLDER --sides 60 150 300 --noise-cm 15
"""

import argparse
import shutil
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
from affine import Affine
from scipy.ndimage import gaussian_filter
from shapely import LineString, Point, box

CELL, AROUND, EAST, NORTH, CRS = 0.5, 30.0, 500_000.0, 4_400_000.0, "EPSG:32617"
SAMPLES = Path(__file__).parents[2] / "sample_data"
MORE = """
[house]
foundation = "slab"

[rain]
depth = "3 in"
duration = "60 min"

[soil]
group = "C"
"""


def write_large_lot(folder: Path, side: float, *, noise: float = 0.03, cell: float = CELL, seed: int = 5) -> Path:
    """A square parcel: flat ground that falls to a swale, a house, a patio in a hollow, a drive. [m]"""
    wide = side + 2.0 * AROUND
    count = round(wide / cell)
    row, column = np.mgrid[0:count, 0:count]
    x, y = (column + 0.5) * cell, wide - (row + 0.5) * cell
    random = np.random.default_rng(seed)
    waves = gaussian_filter(random.normal(size=(count, count)), 8.0 / cell)
    middle, swale = wide / 2.0, AROUND - 4.0
    ground = 100.0 + 0.008 * y + 0.05 * waves / waves.std() + random.normal(0.0, noise, (count, count))
    ground -= np.where(np.abs(y - swale) < 2.0, 0.5 * (1.0 - np.abs(y - swale) / 2.0), 0.0)
    ground -= 0.2 * np.exp(-((x - middle) ** 2 + (y - middle - 14.0) ** 2) / 16.0)
    layers = {
        "parcel": [{"lot": 1, "geometry": box(AROUND, AROUND, wide - AROUND, wide - AROUND)}],
        "roofs": [{"open_below": False, "geometry": box(middle - 8.0, middle - 5.0, middle + 8.0, middle + 5.0)}],
        "hardscape": [
            {"kind": "patio", "protect": True, "geometry": box(middle - 5.0, middle + 7.0, middle + 5.0, middle + 16)},
            {"kind": "drive", "protect": False, "geometry": box(middle + 9.0, AROUND, middle + 13.0, middle + 5.0)},
        ],
        "downspouts": [
            {"geometry": Point(middle + east, middle + north)} for east in (-8.0, 8.0) for north in (-5.0, 5.0)
        ],
        "outfalls": [{"kind": "swale", "geometry": LineString([(2.0, swale), (wide - 2.0, swale)])}],
        "complaints": [{"what": "stands on the patio", "geometry": Point(middle, middle + 14.0)}],
    }
    folder.mkdir(parents=True, exist_ok=True)
    _write_raster(folder / "ground.tif", ground, Affine(cell, 0.0, EAST, 0.0, -cell, NORTH + wide))
    tables = ['[elevation]\nfile = "ground.tif"\nunit = "m"\n']
    for name, rows in layers.items():
        frame = gpd.GeoDataFrame(rows, crs=CRS)
        frame.geometry = frame.translate(EAST, NORTH)
        frame.to_file(folder / "shapes.gpkg", layer=name, engine="pyogrio")
        tables.append(f'[{name}]\nfile = "shapes.gpkg"\nlayer = "{name}"\n')
    site = folder / "site.toml"
    site.write_text(f'name = "Square of {side:g} m"\n' + "\n".join(tables) + MORE, encoding="utf-8")
    return site


def write_noisy_samples(folder: Path, noise: float, *, seed: int = 5) -> list[Path]:
    """The sample lots of the neighbourhood on ground with white noise added. [m]"""
    shutil.copytree(SAMPLES, folder, ignore=shutil.ignore_patterns("*.py", "notebooks", "pictures", "__pycache__"))
    with rasterio.open(SAMPLES / "ground.tif") as file:
        heights, profile = file.read(1), file.profile
    known = heights != profile["nodata"]
    heights[known] += np.random.default_rng(seed).normal(0.0, noise, int(known.sum())).astype(heights.dtype)
    with rasterio.open(folder / "ground.tif", "w", **profile) as file:
        file.write(heights, 1)
    return sorted(folder.glob("lot_[0-9][0-9].toml"))


def _write_raster(path: Path, heights: np.ndarray, transform: Affine) -> None:
    rows, columns = heights.shape
    with rasterio.open(
        path, "w", driver="GTiff", height=rows, width=columns, count=1, dtype="float32", crs=CRS,
        transform=transform, nodata=-999999.0,
    ) as file:
        file.write(heights.astype(np.float32), 1)


def main() -> None:
    """Write them into a folder."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("folder", type=Path)
    reader.add_argument("--sides", type=float, nargs="*", default=[60.0, 150.0, 300.0])
    reader.add_argument("--noise-cm", type=float, default=15.0)
    given = reader.parse_args()
    for side in given.sides:
        print(write_large_lot(given.folder / f"square_{side:g}", side))
    for site in write_noisy_samples(given.folder / "noisy", given.noise_cm / 100.0):
        print(site)


if __name__ == "__main__":
    main()
