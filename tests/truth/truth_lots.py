"""Lots of known ground, made from a seed: flat and rolling, slab and crawl, fences, swales, a fifth of them dry."""

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from affine import Affine
from shapely import LineString, Point, Polygon, box
from shapely.affinity import translate

from pipelines import Site

CELL = 1.0
EAST, NORTH = 500_000.0, 4_400_000.0
CRS = "EPSG:32617"
FRONT, SWALE, HALF = 11.0, 7.0, 3.0
"""Front line of the lots, bottom and half width of the swale in the street before them. [m]"""
PAVING, LAWN, SWALE_BOTTOM, ROOF = 0, 1, 2, 3


@dataclass(frozen=True, slots=True, eq=False)
class TruthLot:
    """A lot whose ground is known exactly; shapes in metres from the ground's lower left corner."""

    seed: int
    ground: np.ndarray
    cover: np.ndarray
    parcel: Polygon
    house: Polygon
    layers: dict[str, list[dict[str, Any]]]
    rolling: bool
    foundation: str
    fenced: bool
    swale_depth: float
    meant_dry: bool

    def site(self, ground: np.ndarray, rmse: str, levels: pd.DataFrame | None = None) -> Site:
        """The lot as somebody brings it, with one raster or another, the accuracy that is stated of it, and levels."""
        frames = {
            name: gpd.GeoDataFrame(
                {key: [row[key] for row in rows] for key in rows[0] if key != "geometry"},
                geometry=[translate(row["geometry"], EAST, NORTH) for row in rows], crs=CRS,
            )
            for name, rows in self.layers.items()
        }
        place = Affine(CELL, 0.0, EAST, 0.0, -CELL, NORTH + ground.shape[0] * CELL)
        return Site(
            {"file": (ground, place, CRS), "unit": "m", "rmse": rmse}, frames.pop("parcel"), name=f"Made {self.seed}",
            units="si", house={"foundation": self.foundation, "footing_depth": "2 ft"},
            rain={"depth": "75 mm", "duration": "60 min"}, soil={"group": "C"},
            levels=levels, **frames,
        )


def make_lot(seed: int) -> TruthLot:
    """The lot of a seed, the same one every time; every fifth is graded so that nothing stands on it."""
    rng = np.random.default_rng([seed, 1])
    dry = seed % 5 == 0
    rolling, fenced = bool(rng.random() < 0.5), bool(rng.random() < 0.45) and not dry
    wide, deep = rng.uniform(20.0, 32.0), rng.uniform(30.0, 46.0)
    width, height = round(wide + 24.0), round(FRONT + deep + 14.0)
    parcel = box(12.0, FRONT, 12.0 + wide, FRONT + deep)
    house_wide, house_deep = rng.uniform(9.0, 12.0), rng.uniform(8.0, 11.0)
    west, south = 12.0 + (wide - house_wide) * rng.uniform(0.35, 0.65), FRONT + rng.uniform(6.0, 10.0)
    house = box(west, south, west + house_wide, south + house_deep)
    w, s, e, n = house.bounds
    patio = box(w + 1.0, n, w + 1.0 + rng.uniform(5.0, 7.5), n + rng.uniform(3.0, 4.5))
    rows, columns = int(height / CELL), int(width / CELL)
    row, column = np.mgrid[0:rows, 0:columns]
    x, y = (column + 0.5) * CELL, (rows - row - 0.5) * CELL
    cells = shapely.points(x, y)
    grade = rng.uniform(0.015, 0.03) if dry else rng.uniform(0.01, 0.05) if rolling else rng.uniform(0.002, 0.012)
    cross = rng.choice([-1.0, 1.0]) * (rng.uniform(0.008, 0.015) if dry else rng.uniform(0.0, 0.004))
    # a lot that is graded to stay dry falls from the back of its house to the street and to the rear
    uphill = np.minimum(y, 2.0 * n - y) if dry else y
    ground = 100.0 + grade * (uphill - FRONT) + cross * (x - width / 2.0)
    hills = rng.uniform(0.03, 0.09) if rolling and not dry else 0.0
    for _ in range(3):
        turn, length, phase = rng.uniform(0.0, 6.3), rng.uniform(18.0, 40.0), rng.uniform(0.0, 6.3)
        ground = ground + hills * np.cos(2.0 * np.pi / length * (x * np.cos(turn) + y * np.sin(turn)) + phase)
    # soil falls away from the walls, 6 in over the first 10 ft on a lot that was graded well
    away = shapely.distance(cells, house)
    ground = ground + (0.15 if dry else rng.uniform(0.0, 0.10)) * np.clip(1.0 - away / 3.0, 0.0, 1.0)
    spots = [patio.centroid] if not dry else []
    if not dry and rng.random() < 0.4:
        spots.append(Point(rng.uniform(15.0, 9.0 + wide), rng.uniform(n + 6.0, FRONT + deep - 3.0)))
    for spot in spots:
        low, reach = rng.uniform(0.04, 0.25), rng.uniform(2.0, 4.0)
        ground = ground - low * np.exp(-((x - spot.x) ** 2 + (y - spot.y) ** 2) / reach**2)
    swale_depth, along = rng.uniform(0.2, 1.0), rng.uniform(0.003, 0.008)
    flat = 0.5
    shape = np.clip((HALF - np.abs(y - SWALE)) / (HALF - flat), 0.0, 1.0)
    bottom = 100.0 + cross * (x - width / 2.0) - swale_depth - along * (x if cross <= 0.0 else width - x)
    ground = ground + shape * (bottom - ground)
    # roughness of a few millimetres, so that no two cells tie
    ground = ground + rng.normal(0.0, 0.003, ground.shape)
    cover = np.full(ground.shape, LAWN)
    cover[shapely.contains_xy(patio, x, y) | (y < 3.0)] = PAVING
    cover[np.abs(y - SWALE) <= 1.2] = SWALE_BOTTOM
    cover[shapely.contains_xy(house, x, y)] = ROOF
    outfall = Point(np.floor(rng.uniform(15.0, 9.0 + wide)) + 0.5, SWALE)
    layers: dict[str, list[dict[str, Any]]] = {
        "parcel": [{"lot": 1, "geometry": parcel}],
        "roofs": [{"open_below": False, "geometry": house}],
        "hardscape": [{"kind": "patio", "protect": True, "geometry": patio}],
        "right_of_way": [{"kind": "street", "geometry": box(0.0, 0.0, width, FRONT)}],
        "downspouts": [{"roof": 1, "geometry": Point(*at)} for at in ((w, s), (e, s), (w, n), (e, n))],
        "outfalls": [{"kind": "swale", "geometry": outfall}],
    }
    if fenced:
        back = FRONT + deep - 0.3
        fence = LineString([(12.3, n), (12.3, back), (11.7 + wide, back)])
        layers["barriers"] = [{"kind": "fence boards", "geometry": fence}]
    if not dry and rng.random() < 0.5:
        layers["complaints"] = [{"what": "stands on the patio", "geometry": patio.centroid}]
    return TruthLot(
        seed, ground, cover, parcel, house, layers, rolling and not dry,
        str(rng.choice(["slab", "crawl"])), fenced, float(swale_depth), dry,
    )
