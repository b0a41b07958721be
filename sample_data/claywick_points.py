"""Claywick Hills as an aircraft's lidar would give it in points, of any density: ground, houses, trees, pond, noise.

    python sample_data/claywick_points.py FILE.laz [DENSITY]

Classes and flags are those of the ASPRS LAS Specification 1.4-R15. Nothing of it is kept in this folder.
"""

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import laspy
import numpy as np
from claywick_ground import is_paved, true_surface
from claywick_lots import CELL, COLUMNS, EPSG, LOTS, NORTH, POND_RADII, POND_S, ROWS, UPPER_HOUSES, WEST, to_st, to_xy
from ground_forms import distance
from pyproj import CRS

GROUND, LOW, HIGH, BUILDING, NOISE, WATER, HIGH_NOISE = 2, 3, 5, 6, 7, 9, 18
EXTENT = (WEST, NORTH - ROWS * CELL, WEST + COLUMNS * CELL, NORTH)
EAVES, PITCH = 2.8, 0.4
WHITE = 0.02


@dataclass(frozen=True)
class Returns:
    """Returns by column, as a LAS file holds them."""

    x: np.ndarray
    y: np.ndarray
    z: np.ndarray
    kind: np.ndarray
    number: np.ndarray
    returns: np.ndarray
    overlap: np.ndarray
    withheld: np.ndarray

    def of(self, chosen) -> "Returns":
        return Returns(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))


def house_walls():
    """Middle, side and rectangle of every house."""
    own = [(each.middle, each.side, each.house) for each in LOTS]
    return own + [(0.0, 1, walls) for _, walls in UPPER_HOUSES]


def returns(density: float, *, seed: int = 5, bounds=EXTENT, trees: int = 70) -> Returns:
    """Returns of a flight: two strips of which a part overlaps, so many first returns to a square metre in each."""
    generator = np.random.default_rng(seed)
    west, south, east, north = bounds
    count = generator.poisson(density * (east - west) * (north - south) * 1.15)
    x, y = generator.uniform(west, east, count), generator.uniform(south, north, count)
    # the second strip lies over the first on 15 % of the points, 2 cm higher
    overlap = np.arange(count) > count / 1.15
    z = true_surface(x, y) + WHITE * generator.standard_normal(count) + 0.02 * overlap
    s, t = to_st(x, y)
    z = np.where(is_paved(s, t), true_surface(x, y) + 0.5 * WHITE * generator.standard_normal(count), z)
    kind = np.full(count, GROUND)
    kind[np.hypot((s - POND_S) / POND_RADII[0], t / POND_RADII[1]) < 1.0] = WATER
    _put_houses(z, kind, s, t, generator)
    number, total = np.ones(count, dtype=int), np.ones(count, dtype=int)
    first, ground_under = _put_trees(z, kind, x, y, number, total, generator, trees)
    found = Returns(x, y, z, kind, number, total, overlap, np.zeros(count, dtype=bool))
    below = found.of(first & ground_under)
    below = replace(
        below, z=true_surface(below.x, below.y) + 0.03 * generator.standard_normal(below.x.size),
        kind=np.full(below.x.size, GROUND), number=below.returns,
    )
    both = (np.concatenate([getattr(found, name), getattr(below, name)]) for name in found.__dataclass_fields__)
    return _with_noise(Returns(*both), generator)


def _put_houses(z, kind, s, t, generator) -> None:
    """Gable roofs over the walls."""
    for middle, side, walls in house_walls():
        u0, u1, v0, v1 = walls
        u, v = s - middle, side * t
        inside = distance(u, v, *walls) == 0.0
        off = np.minimum(np.minimum(u - u0, u1 - u), np.inf) if u1 - u0 < v1 - v0 else np.minimum(v - v0, v1 - v)
        base = float(true_surface(*to_xy(middle + (u0 + u1) / 2, side * (v0 + v1) / 2)))
        z[inside] = base + EAVES + PITCH * off[inside] + WHITE * generator.standard_normal(int(inside.sum()))
        kind[inside] = BUILDING


def _put_trees(z, kind, x, y, number, total, generator, trees: int):
    """Crowns between 2 and 11 m, some against a house; a third of their pulses reach the ground."""
    west, south, east, north = x.min(), y.min(), x.max(), y.max()
    first, reaches = np.zeros(x.size, dtype=bool), generator.random(x.size) < 0.35
    for _ in range(trees):
        cx, cy, radius = generator.uniform(west, east), generator.uniform(south, north), generator.uniform(2.0, 4.5)
        under = (np.hypot(x - cx, y - cy) < radius) & (kind == GROUND)
        n = int(under.sum())
        z[under] += 2.0 + generator.uniform(0.3, 1.0, n) ** 0.7 * (4.0 + radius)
        kind[under], first[under], total[under] = HIGH, True, 1 + reaches[under]
    hedge = generator.random(x.size) < 0.02
    low = hedge & (kind == GROUND) & (number == 1)
    z[low] += generator.uniform(0.2, 0.6, int(low.sum()))
    kind[low] = LOW
    return first, reaches


def _with_noise(found: Returns, generator) -> Returns:
    count = found.x.size
    z, kind, withheld = found.z.copy(), found.kind.copy(), found.withheld.copy()
    birds, multipath = generator.random(count) < 2e-4, generator.random(count) < 2e-4
    z[birds] += 60.0
    z[multipath] -= 8.0
    kind[birds], kind[multipath] = HIGH_NOISE, NOISE
    bad = generator.random(count) < 2e-4
    z[bad] += 3.0
    withheld[bad] = True
    return replace(found, z=z, kind=kind, withheld=withheld)


def write_points(
    path: Path, found: Returns, *, crs: str | None = f"EPSG:{EPSG}+5703", version: str = "1.4", form: int = 6,
    classes: bool = True, plants: bool = True, buildings: bool = True, scale: float = 1.0,
) -> Path:
    """Write returns as a LAS or LAZ file; those of a kind that is False stay at 1."""
    header = laspy.LasHeader(version=version, point_format=form)
    header.scales, header.offsets = np.full(3, 0.001), np.floor([found.x[0] * scale, found.y[0] * scale, 0.0])
    if crs is not None:
        # GeoTIFF keys, which files before 1.4 carry, hold no vertical part by laspy's hand
        header.add_crs(CRS.from_user_input(crs if form > 5 else crs.partition("+")[0]))
    las = laspy.LasData(header)
    las.x, las.y, las.z = found.x * scale, found.y * scale, found.z * scale
    kind = found.kind if classes else np.ones_like(found.kind)
    kind = kind if buildings else np.where(kind == BUILDING, 1, kind)
    kind = kind if plants else np.where((kind == LOW) | (kind == HIGH), 1, kind)
    if form < 6:
        # before formats 6 to 10 overlap was a class, and flags stood beside five bits of class
        kind = np.where(found.overlap & classes, 12, kind)
    else:
        las.overlap = found.overlap
    las.classification, las.withheld = kind.astype(np.uint8), found.withheld
    las.return_number, las.number_of_returns = found.number, found.returns
    las.write(path)
    return path


if __name__ == "__main__":
    density_asked = float(sys.argv[2]) if len(sys.argv) > 2 else 8.0
    write_points(Path(sys.argv[1]), returns(density_asked))
