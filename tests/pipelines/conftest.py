"""A swale's site as files: made ground, a line, and whatever else a test needs."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
from shapely import LineString, box

ORIGIN = (500_000.0, 3_300_000.0)
RAIN = """duration_min,depth_in_2yr,depth_in_10yr,depth_in_100yr
5,0.4,0.6,0.9
15,0.8,1.2,1.8
60,1.6,2.2,3.3
360,2.4,3.4,5.2
1440,3.4,4.6,7.0
"""


def write_layer(path: Path, layer: str, shapes, crs="EPSG:32617", **columns) -> None:
    gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs).to_file(path, layer=layer, driver="GPKG")


@pytest.fixture
def swale_files(tmp_path, write_swale_site):
    """What writes a site into the test's own folder and gives its site file."""

    def make(across, along=lambda s: -0.01 * s, *, name="site", **options):
        return write_swale_site(tmp_path / name, across, along, **options)

    return make


@pytest.fixture(scope="session")
def write_swale_site():
    """What writes a site of straight swales along the x axis, falling east, into a folder and gives its site file."""

    def make(
        folder,
        across,
        along=lambda s: -0.01 * s,
        *,
        length=120.0,
        beside=25.0,
        cell=0.5,
        quarter_turns=0,
        unit="m",
        crs="EPSG:32617",
        scale=1.0,
        origin=ORIGIN,
        lines=None,
        culverts=(),
        roofs=(),
        outfalls=(),
        utilities=(),
        ground=None,
        settings="",
        rain='table = "rain.csv"\nreturn_period = "10 yr"',
        soil='group = "C"\ncover = "lawn, fair"',
        noise=None,
        reverse=False,
        elevation='rmse = "10 cm"',
        units="si",
    ):
        folder.mkdir()
        columns, rows = round((length + 30.0) / cell) + 1, round(2 * beside / cell) + 1
        x = (np.arange(columns) - (columns - 1) / 2) * cell
        y = ((rows - 1) / 2 - np.arange(rows)) * cell
        xx, yy = np.meshgrid(x, y)
        z = 100.0 + across(yy) + along(xx)
        if ground is not None:
            z = ground(xx, yy, z)
        if noise is not None:
            z = z + noise(z.shape)

        def turned(points):
            points = np.asarray(points, dtype=float)
            for _ in range(quarter_turns):
                points = np.column_stack([-points[:, 1], points[:, 0]])
            return points * scale + np.array(origin)

        z = np.rot90(z, quarter_turns)
        height, width = z.shape
        transform = Affine(cell * scale, 0, origin[0] - width * cell * scale / 2, 0, -cell * scale,
                           origin[1] + height * cell * scale / 2)  # fmt: skip
        with rasterio.open(
            folder / "ground.tif", "w", driver="GTiff", height=height, width=width, count=1, dtype="float64",
            crs=crs, transform=transform, nodata=-9999.0,
        ) as file:  # fmt: skip
            file.write(z / (0.3048 if unit == "ft" else 1.0), 1)
        drawn = lines if lines is not None else [[(-length / 2, 0.0), (length / 2, 0.0)]]
        shapes = [LineString(turned(points)[::-1] if reverse else turned(points)) for points in drawn]
        file = folder / "site.gpkg"
        write_layer(file, "swales", shapes, crs, name=[f"swale {k + 1}" for k in range(len(shapes))])
        corners = turned([(-length / 2, -beside + 1), (length / 2, -1.0)])
        write_layer(file, "parcels", [box(*corners.min(axis=0), *corners.max(axis=0))], crs, lot=[1])
        tables = ""
        if culverts:
            lines_, inches = zip(*culverts, strict=True)
            write_layer(file, "culverts", [LineString(turned(line)) for line in lines_], crs,
                        diameter_in=list(inches), material=["corrugated"] * len(inches))  # fmt: skip
            tables += '\n[culverts]\nfile = "site.gpkg"\nlayer = "culverts"\n'
        if roofs:
            corners_ = [turned(corners) for corners in roofs]
            write_layer(file, "roofs", [box(*c.min(axis=0), *c.max(axis=0)) for c in corners_], crs)
            tables += '\n[roofs]\nfile = "site.gpkg"\nlayer = "roofs"\n'
        if outfalls:
            points = gpd.points_from_xy(*turned([place for place, _ in outfalls]).T)
            write_layer(file, "outfalls", points, crs, kind=["swale"] * len(points),
                        level=[level for _, level in outfalls])  # fmt: skip
            tables += '\n[outfalls]\nfile = "site.gpkg"\nlayer = "outfalls"\n'
        if utilities:
            write_layer(file, "utilities", [LineString(turned(line)) for line, _ in utilities], crs,
                        kind=["gas"] * len(utilities), depth_m=[depth for _, depth in utilities])  # fmt: skip
            tables += '\n[utilities]\nfile = "site.gpkg"\nlayer = "utilities"\n'
        (folder / "rain.csv").write_text(RAIN)
        (folder / "site.toml").write_text(
            f'units = "{units}"\n[elevation]\nfile = "ground.tif"\nunit = "{unit}"\n{elevation}\n'
            '[parcel]\nfile = "site.gpkg"\nlayer = "parcels"\n'
            f'[swales]\nfile = "site.gpkg"\nlayer = "swales"\n{settings}\n'
            f"[rain]\n{rain}\n[soil]\n{soil}\n{tables}"
        )
        return folder / "site.toml"

    return make
