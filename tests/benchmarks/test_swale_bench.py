"""A kilometre of swale at 0.5 m with stations every 5 m, as a process of its own: reading, checking and writing.

Run with `python -m pytest tests/benchmarks --benchmark-only`. The aim is under 10 s.
"""

import subprocess
import sys
import time

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
from shapely import LineString, box

LENGTH, BESIDE, CELL = 1000.0, 60.0, 0.5
X0, Y0 = 500_000.0, 3_300_000.0


def write_site(folder):
    """A street's swale with a drive every 25 m, each over a culvert; lawns fall to it from both sides."""
    columns, rows = int((LENGTH + 20) / CELL), int(2 * BESIDE / CELL)
    x = (np.arange(columns) + 0.5) * CELL - 10.0
    y = BESIDE - (np.arange(rows) + 0.5) * CELL
    xx, yy = np.meshgrid(x, y)
    away = np.abs(yy)
    z = 120.0 - 0.01 * xx + np.clip((away - 0.5) / 2.5, 0.0, 0.5) + 0.02 * np.maximum(away - 1.75, 0.0)
    z += 0.01 * np.random.default_rng(3).standard_normal(z.shape)
    middles = np.arange(12.0, LENGTH, 25.0)
    for middle in middles:
        fill = 120.0 - 0.01 * middle + 0.55 - np.maximum(np.abs(xx - middle) - 1.6, 0.0) / 1.5
        z = np.where((away < 6.0) & (fill > z), fill, z)
    transform = Affine(CELL, 0, X0 - 10.0, 0, -CELL, Y0 + BESIDE)
    profile = {"driver": "GTiff", "height": rows, "width": columns, "count": 1, "dtype": "float32"}
    profile |= {"crs": "EPSG:32617", "transform": transform, "nodata": -9999.0}
    with rasterio.open(folder / "ground.tif", "w", **profile) as file:
        file.write(z.astype("float32"), 1)
    swale = LineString([(X0, Y0), (X0 + LENGTH, Y0)])
    culverts = [LineString([(X0 + at - 4.0, Y0), (X0 + at + 4.0, Y0)]) for at in middles]
    lots = [box(X0 + at - 12.0, Y0 - 50.0, X0 + at + 12.0, Y0 - 3.0) for at in middles]
    for name, shapes, more in (
        ("swales", [swale], {"name": ["swale"]}),
        ("culverts", culverts, {"diameter_in": [15.0] * len(culverts), "material": ["corrugated"] * len(culverts)}),
        ("parcels", lots, {"lot": list(range(len(lots)))}),
    ):
        gpd.GeoDataFrame(more, geometry=shapes, crs="EPSG:32617").to_file(folder / "site.gpkg", layer=name)
    (folder / "rain.csv").write_text(
        "duration_min,depth_in_2yr,depth_in_10yr,depth_in_25yr,depth_in_100yr\n5,0.4,0.6,0.7,0.9\n60,1.6,2.2,2.6,3.3\n"
        "1440,3.4,4.6,5.4,7.0\n"
    )
    tables = "".join(
        f'[{table}]\nfile = "site.gpkg"\nlayer = "{layer}"\n'
        for table, layer in (("parcel", "parcels"), ("culverts", "culverts"), ("swales", "swales"))
    )
    (folder / "site.toml").write_text(
        f'[elevation]\nfile = "ground.tif"\nunit = "m"\n{tables}spacing = "5 m"\n[rain]\ntable = "rain.csv"\n'
        'return_period = "10 yr"\n[soil]\ngroup = "C"\ncover = "lawn, fair"\n'
    )
    return columns * rows


@pytest.mark.benchmark
def test_a_kilometre_of_swale_as_a_process(benchmark, report, tmp_path):
    cells = write_site(tmp_path)
    took = []

    def run():
        start = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "cli", "swale", str(tmp_path / "site.toml"), "--out", str(tmp_path / "out"), "-q",
             "--overwrite"],
            check=True, capture_output=True,
        )  # fmt: skip
        took.append(time.perf_counter() - start)

    run()  # compiles what is compiled once
    benchmark.pedantic(run, rounds=2)
    report("1 km, 40 drives", "swale", "lotshed", min(took[1:]), cells, "whole process; aim: under 10 s")
