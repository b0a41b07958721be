"""An invented town of as many lots as one likes: streets, blocks, hills and flats, swales, ponds.

    python tests/town/make_town.py --lots 2000 --out DIR

Writes `town.toml`, `town.gpkg`, `rain.csv` and tiles of ground. All of it is invented and far out at sea; the same
numbers give the same town. Streets run east, lots lie on either side, a swale before each row of lots leads east.
"""

import argparse
import math
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
from rasterio.transform import from_origin
from scipy.ndimage import gaussian_filter
from shapely import LineString, Point, box

EPSG = 32617
X0, Y0 = 705_000.0, 3_340_000.0
CELL, TILE = 1.0, 1000
WIDTH, DEPTH, STREET, IN_ROW = 22.0, 36.0, 18.0, 20
BLOCK, BAND = IN_ROW * WIDTH + STREET, STREET + 2.0 * DEPTH
MARGIN = 60.0
SWALE_OFF, SWALE_DEEP = 6.0, 0.45
NODATA = -999999.0
RAIN = """duration_min,depth_in_2yr,depth_in_10yr
5,0.42,0.62
15,0.85,1.24
30,1.20,1.78
60,1.55,2.40
120,1.85,2.95
360,2.30,3.70
1440,3.00,4.80
"""
TABLES = ("roofs", "hardscape", "right_of_way", "downspouts", "culverts", "outfalls")


def layout(lots: int) -> list[tuple[float, float, int, int, int]]:
    """West side and frontage of each lot, which way it lies from its street (1 north), its block and its street."""
    runs = math.ceil(lots / (2 * IN_ROW))
    across = max(1, round(math.sqrt(runs * BAND / BLOCK)))
    found = []
    for run in range(runs):
        street, block = divmod(run, across)
        for side in (1, -1):
            for number in range(IN_ROW):
                west = X0 + block * BLOCK + number * WIDTH
                found.append((west, Y0 - street * BAND + side * STREET / 2.0, side, block, street))
    return found[:lots]


def base_height(x, y):
    """Hills in the west, flats in the east, all of it falling east a little."""
    u, v = x - X0, y - Y0
    hills = 2.5 * np.sin(u / 310.0) * np.cos(v / 270.0) + 1.2 * np.sin((u + v) / 170.0)
    flat = 1.0 / (1.0 + np.exp(-(np.sin(u / 1900.0 + 0.7)) * 4.0))
    return 30.0 - 0.004 * u + hills * (1.0 - 0.9 * flat)


def ground(x, y, generator, hollows):
    """Ground at cell centres: streets with swales, lots that fall to them, houses' pads, hollows behind some."""
    street = np.round((Y0 - y) / BAND)
    centre = Y0 - street * BAND
    off = np.abs(y - centre)
    along = x - X0
    z = base_height(x, centre) + np.where(off > STREET / 2.0, 0.015 * (off - STREET / 2.0), 0.0)
    z -= np.where(off < STREET / 2.0, 0.02 * off, 0.02 * STREET / 2.0)
    in_block = np.mod(along, BLOCK)
    cut = np.maximum(SWALE_DEEP - np.abs(off - SWALE_OFF) / 3.0, 0.0)
    number = np.mod(in_block, WIDTH)
    drive = (np.abs(number - 3.5) < 1.6) & (in_block < IN_ROW * WIDTH)
    z -= np.where(drive | (in_block > IN_ROW * WIDTH), 0.0, cut)
    away = np.maximum(np.abs(number - 12.0) - 6.0, np.abs(off - STREET / 2.0 - 13.0) - 5.0)
    z += np.where(in_block < IN_ROW * WIDTH, 0.22 * np.clip(1.0 - np.maximum(away, 0.0) / 5.0, 0.0, 1.0), 0.0)
    for east, north, deep in hollows:
        z -= deep * np.exp(-((x - east) ** 2 + (y - north) ** 2) / 18.0)
    noise = 0.015 * generator.standard_normal(z.shape)
    slow = gaussian_filter(generator.standard_normal(z.shape), 8.0)
    return np.round(z + noise + 0.015 * slow / max(float(slow.std()), 1e-9), 2)


def shapes_of(lots, seed: int) -> tuple[dict[str, gpd.GeoDataFrame], np.ndarray]:
    """Layers of the town, and hollows as east, north, depth."""
    generator = np.random.default_rng(seed)
    rows: dict[str, list[dict]] = {name: [] for name in ("parcels", *TABLES, "swales")}
    hollows = []
    ways: dict[int, list[float]] = {}
    for number, (west, front, side, block, street) in enumerate(lots, start=1):
        def part(u0, u1, v0, v1, west=west, front=front, side=side):
            return box(west + u0, min(front + side * v0, front + side * v1), west + u1,
                       max(front + side * v0, front + side * v1))  # fmt: skip

        rows["parcels"].append(
            {"lot": number, "address": f"{number} {street_name(street)}", "geometry": part(0.0, WIDTH, 0.0, DEPTH)}
        )
        rows["roofs"].append({"geometry": part(6.0, 18.0, 8.0, 18.0)})
        rows["hardscape"].append({"kind": "drive", "protect": "no", "geometry": part(2.0, 5.0, -STREET / 2, 17.0)})
        rows["hardscape"].append({"kind": "patio", "protect": "yes", "geometry": part(8.0, 14.0, 18.5, 22.0)})
        for u, v in ((6.0, 8.0), (18.0, 8.0), (6.0, 18.0), (18.0, 18.0)):
            off = (-0.3 if u < 10 else 0.3, -0.3 if v < 10 else 0.3)
            rows["downspouts"].append({"geometry": Point(west + u + off[0], front + side * (v + off[1]))})
        at = front - side * (STREET / 2.0 - SWALE_OFF)
        rows["culverts"].append(
            {"diameter_in": 12.0, "geometry": LineString([(west + 0.5, at), (west + 6.5, at)])}
        )
        if generator.uniform() < 0.45:
            hollows.append((west + generator.uniform(6.0, 17.0), front + side * generator.uniform(20.5, 30.0),
                            generator.uniform(0.06, 0.3)))  # fmt: skip
        ways.setdefault(street, []).append(west)
        if (number - 1) % IN_ROW == 0:
            line = LineString([(west - 4.0, at), (west + IN_ROW * WIDTH + 4.0, at)])
            name = f"{street_name(street)} {block + 1}{'north' if side > 0 else 'south'}"
            rows["swales"].append({"name": name, "street": street, "geometry": line})
            rows["outfalls"].append({"kind": "swale", "geometry": line})
    for street, wests in ways.items():
        y = Y0 - street * BAND
        way = box(min(wests) - 9.0, y - STREET / 2.0, max(wests) + WIDTH + 9.0, y + STREET / 2.0)
        rows["right_of_way"].append({"kind": "street", "name": street_name(street), "geometry": way})
    layers = {name: gpd.GeoDataFrame(each, geometry="geometry", crs=EPSG) for name, each in rows.items()}
    return layers, np.array(hollows)


def street_name(street: int) -> str:
    """Of letters that mean nothing."""
    first, second = ("Bram", "Tol", "Wick", "Harn", "Sed", "Ould"), ("mere", "fold", "ley", "garth", "den")
    return f"{first[street % 6]}{second[street // 6 % 5]} {('Lane', 'Row', 'Rise')[street // 30 % 3]}"


def make_town(folder: Path, lots: int, seed: int = 11) -> Path:
    """Write a town into a folder and give its site file."""
    folder.mkdir(parents=True, exist_ok=True)
    placed = layout(lots)
    layers, hollows = shapes_of(placed, seed)
    for name, layer in layers.items():
        layer.to_file(folder / "town.gpkg", layer=name, driver="GPKG")
    west, south, east, north = layers["parcels"].total_bounds
    west, north = math.floor(west - MARGIN), math.ceil(north + MARGIN)
    columns, rows = math.ceil(east + MARGIN - west), math.ceil(north - south + MARGIN)
    (folder / "ground").mkdir(exist_ok=True)
    for row in range(0, rows, TILE):
        for column in range(0, columns, TILE):
            _tile(folder / "ground", west, north, (row, column), (rows, columns), hollows, seed)
    (folder / "rain.csv").write_text(RAIN)
    named = "\n".join(f'[{name}]\nfile = "town.gpkg"\nlayer = "{name}"\n' for name in (*TABLES, "swales"))
    site = folder / "town.toml"
    site.write_text(
        f'name = "A town of {lots:,} lots"\nunits = "us"\n\n[elevation]\nfile = "ground"\nunit = "m"\n'
        'rmse = "10 cm"\n\n'
        f'[parcel]\nfile = "town.gpkg"\nlayer = "parcels"\n\n{named}\n'
        '[rain]\ntable = "rain.csv"\nreturn_period = "10 yr"\n\n[soil]\ngroup = "C"\ncover = "lawn, fair"\n'
    )
    return site


def _tile(folder: Path, west: float, north: float, at, size, hollows, seed: int) -> None:
    (row, column), (rows, columns) = at, size
    high, wide = min(TILE, rows - row), min(TILE, columns - column)
    x = west + column + np.arange(wide) + 0.5
    y = north - row - np.arange(high) - 0.5
    generator = np.random.default_rng((seed, row, column))
    here = hollows[
        (hollows[:, 0] > x[0] - 20) & (hollows[:, 0] < x[-1] + 20) & (hollows[:, 1] < y[0] + 20)
        & (hollows[:, 1] > y[-1] - 20)
    ] if len(hollows) else []  # fmt: skip
    z = ground(*np.meshgrid(x, y), generator, [])
    for east, top, deep in here:
        r, c = slice(*_near(y[0] - top, high)), slice(*_near(east - x[0], wide))
        z[r, c] -= deep * np.exp(-((x[None, c] - east) ** 2 + (y[r, None] - top) ** 2) / 18.0)
    with rasterio.open(
        folder / f"ground_{row // TILE:02d}_{column // TILE:02d}.tif", "w", driver="GTiff", width=wide, height=high,
        count=1, dtype="float32", crs=EPSG, transform=from_origin(west + column, north - row, CELL, CELL),
        nodata=NODATA, tiled=True, blockxsize=256, blockysize=256, compress="deflate",
    ) as file:  # fmt: skip
        file.write(np.round(z, 2).astype("float32"), 1)


def _near(at: float, most: int) -> tuple[int, int]:
    return max(int(at) - 15, 0), max(min(int(at) + 16, most), 0)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Make an invented town.")
    parser.add_argument("--lots", type=int, default=2000)
    parser.add_argument("--out", type=Path, required=True)
    asked = parser.parse_args()
    print(make_town(asked.out, asked.lots))
