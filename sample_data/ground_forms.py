"""Forms that invented ground is put together from, and the error that an aircraft's lidar adds to it."""

from itertools import pairwise

import numpy as np
from scipy.interpolate import LinearNDInterpolator
from scipy.ndimage import gaussian_filter

NODATA = -999999.0


def smooth(start: float, end: float, value):
    """From 0 at the start to 1 at the end, level at both."""
    share = np.clip((np.asarray(value, dtype=float) - start) / (end - start), 0.0, 1.0)
    return share * share * (3.0 - 2.0 * share)


def distance(u, v, u0: float, u1: float, v0: float, v1: float):
    """Distance to a rectangle, 0 inside."""
    return np.hypot(np.maximum(np.maximum(u0 - u, u - u1), 0.0), np.maximum(np.maximum(v0 - v, v - v1), 0.0))


def pad(z, away, level, apron):
    """Blend ground into the apron that falls away from a house's walls."""
    fall, reach = apron
    return z + (level - fall * away - z) * (1.0 - smooth(reach, reach + 4.0, away))


def channel(z, s, t, knots, half_width: float, side_slope: float):
    """Cut a trapezoid along straight pieces between (s, t, bottom)."""
    for (s0, t0, z0), (s1, t1, z1) in pairwise(knots):
        length = np.hypot(s1 - s0, t1 - t0)
        along = np.clip(((s - s0) * (s1 - s0) + (t - t0) * (t1 - t0)) / length**2, 0.0, 1.0)
        off = np.hypot(s - s0 - along * (s1 - s0), t - t0 - along * (t1 - t0))
        z = np.minimum(z, z0 + along * (z1 - z0) + np.maximum(off - half_width, 0.0) / side_slope)
    return z


def micro_relief(east, north):
    """Lawn as feet and mowers leave it: waves of 3 to 14 m, 0.8 cm in all."""
    generator = np.random.default_rng(7)
    waves = np.zeros(np.broadcast(east, north).shape)
    for _ in range(24):
        length, angle, phase = generator.uniform(3.0, 14.0), *generator.uniform(0.0, 2.0 * np.pi, 2)
        waves += np.cos(2.0 * np.pi / length * (east * np.cos(angle) + north * np.sin(angle)) + phase)
    return 0.008 * np.sqrt(2.0 / 24.0) * waves


def lidar_error(generator, paved, in_swale, *, cell: float):
    """What lidar reads too high, by cell.

    Each part is normal: 2.0 cm that hold together over some 15 m (strips and their calibration), 1.2 cm over some
    2 m (grass), and 1.8 cm from cell to cell, half as much on paving. Grass in the swales reads 2 cm high on top.
    """
    white = 0.018 * generator.standard_normal(paved.shape) * np.where(paved, 0.5, 1.0)

    def correlated(length: float, size: float):
        field = gaussian_filter(generator.standard_normal(paved.shape), length / cell, mode="wrap")
        return size * field / field.std()

    return correlated(15.0, 0.020) + correlated(2.0, 0.012) + white + 0.02 * in_swale


def round_walls(u0: float, u1: float, v0: float, v1: float):
    """Places just outside a house's walls."""
    around = [(u, v) for u in np.linspace(u0 - 0.8, u1 + 0.8, 5) for v in (v0 - 0.8, v1 + 0.8)]
    around += [(u, v) for v in np.linspace(v0 - 0.8, v1 + 0.8, 4)[1:-1] for u in (u0 - 0.8, u1 + 0.8)]
    return np.array(around).T


def facets(z, east, north, places, under, *, cell: float):
    """Bare earth under a house: triangles between ground at places outside its walls.

    East and north run from the raster's corner: coordinates near zero, since triangulation loses digits at a
    northing of millions.
    """
    px, py = places
    rows, columns = np.floor(-py / cell).astype(int), np.floor(px / cell).astype(int)
    surface = LinearNDInterpolator(np.column_stack([px, py]), z[rows, columns])
    z = z.copy()
    z[under] = surface(east[under], north[under])
    return z
