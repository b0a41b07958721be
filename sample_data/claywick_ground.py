"""The ground of Claywick Hills: the true surface as a function, and what an aircraft's lidar makes of it."""

from itertools import pairwise

import numpy as np
from claywick_lots import (
    CELL,
    COLUMNS,
    DRIVE_WIDTH,
    FIELD_DITCH,
    FRONT,
    LOTS,
    NORTH,
    NORTH_SWALE,
    POND_LEVEL,
    POND_OUTLET,
    POND_RADII,
    POND_S,
    REAR,
    ROAD_EDGE,
    ROAD_END,
    ROWS,
    SEED,
    SHOULDER,
    SIDE_SWALE,
    SOUTH_SWALE,
    SWALE_T,
    UPPER_HOUSES,
    WEST,
    Lot,
    crown,
    to_st,
    to_xy,
)
from ground_forms import NODATA, channel, distance, facets, lidar_error, micro_relief, pad, round_walls, smooth

# Holes in the point cloud: (s, t, radius).
HOLES = ((92.0, 62.0, 1.1), (33.0, -41.0, 0.9), (170.0, 44.0, 1.3), (288.0, 2.0, 1.6), (221.0, -30.5, 0.8))


def true_surface(x, y):
    """Height of bare ground, free of lidar's errors; under a house the pad that it stands on, over water its level.

    Parameters
    ----------
    x, y : array_like
        Easting and northing. [m]

    Returns
    -------
    ndarray
        Height. [m]
    """
    s, t = to_st(x, y)
    z = _land(s, t)
    for each in LOTS:
        z = _built(z, each, s, t)
    for _, walls in UPPER_HOUSES:
        z = pad(z, distance(s, t, *walls), 0.25 + _land(*_middle(walls)), (0.03, 1.5))
    z = _road(z, s, t)
    z = z + micro_relief(x - WEST, y - NORTH) * _roughness(s, t)
    z = channel(z, s, t, SIDE_SWALE, 0.2, 6.0)
    z = channel(z, s, t, NORTH_SWALE, 0.3, 2.5)
    z = channel(z, s, t, SOUTH_SWALE, 0.3, 2.5)
    z = channel(z, s, t, FIELD_DITCH, 0.3, 3.0)
    z = channel(z, s, t, POND_OUTLET, 1.0, 3.0)
    z = _pond(z, s, t)
    for each in LOTS:
        z = _drive_over_swale(z, each, s, t)
    return z


def grid():
    """Easting and northing of the raster's cell centres."""
    x = WEST + (np.arange(COLUMNS) + 0.5) * CELL
    y = NORTH - (np.arange(ROWS) + 0.5) * CELL
    return np.meshgrid(x, y)


def build(seed: int = SEED, *, noise: float = 1.0):
    """The ground raster as lidar of this seed would give it, rounded to 1 cm.

    The error is that of `ground_forms.lidar_error`. Under a house the surface is facets between the ground along
    its walls.

    Parameters
    ----------
    seed : int
        Seed of the error.
    noise : float
        Multiplies the error; 0 leaves the true surface with facets, holes and rounding.

    Returns
    -------
    (rows, cols) float32 ndarray
        Height, `NODATA` in holes. [m]
    """
    x, y = grid()
    s, t = to_st(x, y)
    error = lidar_error(np.random.default_rng(seed), is_paved(s, t), _in_swale(s, t), cell=CELL)
    z = true_surface(x, y) + noise * error
    for each in LOTS:
        z = _under(z, x, y, each.middle, each.side, each.house)
    for _, walls in UPPER_HOUSES:
        z = _under(z, x, y, 0.0, 1, walls)
    z = np.where(_pond_reach(s, t) < 1.0, POND_LEVEL, z)
    z = np.round(z, 2)
    for hole_s, hole_t, radius in HOLES:
        z[np.hypot(s - hole_s, t - hole_t) < radius] = NODATA
    return z.astype(np.float32)


def is_paved(s, t):
    """Whether a place is road, drive or patio."""
    paved = (np.abs(t) < ROAD_EDGE) & (s < ROAD_END)
    for each in LOTS:
        u, v = _own(each, s, t)
        paved |= (np.abs(u - each.drive) < DRIVE_WIDTH / 2) & (v > ROAD_EDGE) & (v < 19.0)
        if each.patio:
            paved |= distance(u, v, *each.patio) <= 0.0
    return paved


def _land(s, t):
    """The hill, the lots' graded ground and the meadow, before houses, road and ditches."""
    z = np.where(t >= 0.0, _side(s, np.abs(t), +1), _side(s, np.abs(t), -1))
    beyond = np.maximum(np.abs(t) - REAR, 0.0)
    hill = 0.07 * beyond - 0.12 * 4.0 * np.logaddexp(0.0, (beyond - 34.0) / 4.0)
    hill = hill * (1.0 - 0.7 * smooth(190.0, 290.0, s)) + 0.12 * 4.0 * np.logaddexp(0.0, -34.0 / 4.0)
    z = z + np.where(t > 0.0, hill, -0.03 * beyond)
    draw = 0.45 * np.exp(-(((s - 60.0) / 8.0) ** 2)) * smooth(28.0, 46.0, t) * (1.0 - smooth(66.0, 78.0, t))
    return z - draw


def _side(s, v, side: int):
    lots = [each for each in LOTS if each.side == side]
    first, last = lots[0], lots[-1]
    bounds = [first.west] + [b.west + b.inset - a.inset for a, b in pairwise(lots)] + [last.west + last.width]
    total = np.zeros(np.broadcast(s, v).shape)
    shore = ((0.0, 0.15), (FRONT, 0.18), (REAR, 0.18))
    grades = [(first.grade, None)] + [(each.grade, each) for each in lots] + [(shore, None)]
    half = 5.0 + 0.3 * np.maximum(v - REAR, 0.0)  # banks between lots flatten out behind them
    steps = [np.ones_like(total)] + [smooth(at - half, at + half, s) for at in bounds] + [np.zeros_like(total)]
    for index, (grade, each) in enumerate(grades):
        level = each.reference if each is not None and each.level else crown(s)
        start = () if grade is shore else ((SHOULDER, -0.10),)
        height = np.interp(v, *np.array(start + grade).T)
        total = total + (steps[index] - steps[index + 1]) * (level + height)
    return total


def _built(z, each: Lot, s, t):
    """The pad of a house, the hollow behind it, its patio and its drive."""
    u, v = _own(each, s, t)
    z = pad(z, distance(u, v, *each.house), each.height(each.pad), each.apron)
    if each.hollow is not None:
        u0, v0, half_length, half_width = each.hollow_at
        rho = np.hypot((u - u0) / half_length, (v - v0) / half_width)
        bowl = each.height(each.hollow) + each.rim * rho**2
        z = z + (bowl - z) * (1.0 - smooth(1.0, 1.7, rho))
    if each.false_pit is not None:
        rho = np.hypot(u - each.false_pit[0], v - each.false_pit[1]) / 1.6
        z = z - 0.105 * np.exp(-(rho**2))
    if each.patio is not None:
        u0, v0, *_ = each.hollow_at
        if each.hollow is not None and distance(u0, v0, *each.patio) == 0.0:
            slab = each.height(each.hollow) + 0.006 * np.abs(v - v0)  # settled towards its middle
        else:
            slab = each.height(each.pad - 0.05) - 0.02 * (v - each.patio[2])
        z = z + (slab - z) * (1.0 - smooth(0.0, 0.6, distance(u, v, *each.patio)))
    beside = np.abs(u - each.drive) - DRIVE_WIDTH / 2
    on_lot = (v > FRONT) & (v < 20.5)
    drive = z + (_drive_level(each, s, v) - z) * (1.0 - smooth(0.0, 1.2, np.maximum(beside, v - 19.0)))
    return np.where(on_lot & (beside < 1.2), drive, z)


def _drive_level(each: Lot, s, v):
    front = crown(s) + np.interp(v, [ROAD_EDGE, SWALE_T, FRONT], [-0.06, -each.dip, 0.06])
    return front + smooth(FRONT, 18.0, v) * (each.height(each.pad - 0.06) - front)


def _drive_over_swale(z, each: Lot, s, t):
    """The fill that carries a drive over the swale: all that a raster sees of its culvert."""
    u, v = _own(each, s, t)
    beside = np.maximum(np.abs(u - each.drive) - DRIVE_WIDTH / 2, 0.0)
    fill = _drive_level(each, s, v) - beside / 1.5
    over = np.where(beside > 0.0, np.maximum(z, fill), fill)
    return np.where((v > ROAD_EDGE) & (v <= FRONT) & (beside < 2.0), over, z)


def _road(z, s, t):
    v = np.abs(t)
    road = crown(s) - 0.02 * v - 0.04 * np.maximum(v - ROAD_EDGE, 0.0)
    return np.where((v < SHOULDER) & (s < ROAD_END), road, z)


def _pond_reach(s, t):
    return np.hypot((s - POND_S) / POND_RADII[0], t / POND_RADII[1])


def _pond(z, s, t):
    """Banks at 1 in 4 down to the water, which reads as a level surface."""
    outside = (_pond_reach(s, t) - 1.0) * POND_RADII[1]
    return np.where(outside < 0.0, POND_LEVEL, np.minimum(z, POND_LEVEL + 0.02 + 0.25 * outside))


def _roughness(s, t):
    return np.where(is_paved(s, t), 0.1, 1.0)


def _in_swale(s, t):
    return (np.abs(np.abs(t) - SWALE_T) < 1.0) & (s < POND_S - POND_RADII[0]) & ~is_paved(s, t)


def _under(z, x, y, origin: float, side: int, walls):
    """Facets under one house."""
    u, v = round_walls(*walls)
    px, py = to_xy(origin + u, side * v)
    s, t = to_st(x, y)
    u0, u1, v0, v1 = walls
    under = distance(s - origin, side * t, u0 - 0.4, u1 + 0.4, v0 - 0.4, v1 + 0.4) <= 0.0
    # in coordinates near zero, since triangulation loses digits at a northing of millions
    return facets(z, x - WEST, y - NORTH, (px - WEST, py - NORTH), under, cell=CELL)


def _own(each: Lot, s, t):
    return s - each.middle, each.side * t


def _middle(walls):
    return np.array((walls[0] + walls[1]) / 2), np.array((walls[2] + walls[3]) / 2)
