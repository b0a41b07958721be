"""Compiled laying of lines in any direction: how high a pipe can lie along them, and what that costs."""

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from pipelines.layout.routing.kernels.forest_state import trench_price
from pipelines.layout.routing.kernels.ways import ground_at

EPSILON = 1e-7


class Bed(NamedTuple):
    """The ground that a line is laid in; arrays (rows, cols)."""

    ground: Any  # [m]
    cover: Any  # least cover [m]
    deepest: Any  # lowest bottom of a trench [m]
    surface: Any  # [money/m]
    dig: Any  # factor on the trench [-]
    permit: Any  # in the right of way
    permit_cost: float  # of entering it [money]
    left: float
    top: float
    width: float
    height: float
    trench: Any  # (2, n) table of depth and cost [m], [money/m]


class Tube(NamedTuple):
    """The pipe that is laid, and the outfall that it goes to in the end."""

    slope: float  # least [-]
    crown: float  # outside diameter less wall [m]
    wall: float  # [m]
    below: float  # wall and bedding [m]
    cost: float  # [money/m]
    end_x: float
    end_y: float
    end_level: float  # lowest invert at the outfall [m]
    taper: float  # length of the end taper [m]


@njit(cache=True)
def station(bed: Any, tube: Any, x: float, y: float) -> Any:
    """Ground, highest invert, lowest invert, surface cost, dig factor at a point, and whether a permit is needed.

    Stations lie half a cell apart: the cover of all cells within a quarter of a cell holds, so that none is passed
    over between two of them. On the edge between cells costs are their means.
    """
    row, column = (bed.top - y) / bed.height - 0.5, (x - bed.left) / bed.width - 0.5
    ground = ground_at(bed.ground, row, column)
    deepest = ground_at(bed.deepest, row, column)
    cover, surface, dig, permit, count = 0.0, 0.0, 0.0, False, 0
    for i in range(int(np.floor(row + 0.25 - 1e-6)), int(np.floor(row + 0.75 + 1e-6)) + 1):
        for j in range(int(np.floor(column + 0.25 - 1e-6)), int(np.floor(column + 0.75 + 1e-6)) + 1):
            r, c = min(max(i, 0), bed.ground.shape[0] - 1), min(max(j, 0), bed.ground.shape[1] - 1)
            if not np.isfinite(bed.ground[r, c]):
                continue
            cover = max(cover, bed.cover[r, c])
            if abs(row - i) <= 0.5 + 1e-6 and abs(column - j) <= 0.5 + 1e-6:
                surface, dig, count = surface + bed.surface[r, c], dig + bed.dig[r, c], count + 1
                permit = permit or bed.permit[r, c]
    cap = ground - cover - tube.crown
    away = np.hypot(x - tube.end_x, y - tube.end_y)
    if away <= tube.taper + EPSILON:
        # a way in the taper may be so much longer than the straight distance: bends, a detour by a cell's centre
        cap = max(cap, tube.end_level + tube.slope * (1.1 * away + np.hypot(bed.width, bed.height)))
    share = 1.0 / max(count, 1)
    return ground, cap, deepest + tube.below, share * surface, share * dig, permit


@njit(cache=True)
def parts_of(bed: Any, dx: float, dy: float) -> int:
    """Parts into which a segment is cut: stations half a cell apart, those of the grid's own steps among them."""
    return max(1, int(np.ceil(2.0 * max(abs(dx) / bed.width, abs(dy) / bed.height) - 1e-6)))


@njit(cache=True)
def find_hits(hits: Any, x0: float, y0: float, x1: float, y1: float, marks: Any) -> Any:
    """Where a segment crosses what may be crossed with care."""
    cost, count = 0.0, 0
    dx, dy = x1 - x0, y1 - y0
    length = np.hypot(dx, dy)
    for k in range(hits.shape[0]):
        ex, ey = hits[k, 2] - hits[k, 0], hits[k, 3] - hits[k, 1]
        across = dx * ey - dy * ex
        if across == 0.0:
            continue
        share = ((hits[k, 0] - x0) * ey - (hits[k, 1] - y0) * ex) / across
        at = ((hits[k, 0] - x0) * dy - (hits[k, 1] - y0) * dx) / across
        if share < -1e-9 or share > 1.0 + 1e-9 or at < 0.0 or at > 1.0:
            continue
        cost += hits[k, 4] * (0.5 if share < 1e-9 or share > 1.0 - 1e-9 else 1.0)
        if hits[k, 5] < hits[k, 6]:
            marks[count, 0], marks[count, 1], marks[count, 2] = share * length, hits[k, 5], hits[k, 6]
            count += 1
    return cost, count


@njit(cache=True)
def lay_segment(bed: Any, tube: Any, hits: Any, x0: float, y0: float, x1: float, y1: float, z: float,
                marks: Any, out: Any) -> Any:
    """Lay a straight segment as high as it can lie."""
    length = np.hypot(x1 - x0, y1 - y0)
    parts = parts_of(bed, x1 - x0, y1 - y0)
    ds = length / parts
    cost, crossed = find_hits(hits, x0, y0, x1, y1, marks)
    ground, surface, dig, street = 0.0, 0.0, 0.0, True
    for k in range(parts + 1):
        share = k / parts
        g, cap, floor, s, f, p = station(bed, tube, x0 + share * (x1 - x0), y0 + share * (y1 - y0))
        end = z if k == 0 else min(z - tube.slope * ds, cap)
        for m in range(crossed):
            # on both sides of what it crosses a pipe lies over it, or under it where it cannot
            if (k - 1) * ds < marks[m, 0] + EPSILON and marks[m, 0] < (k + 1) * ds + EPSILON:
                ahead = max(0.0, marks[m, 0] - k * ds)
                low, high = marks[m, 1] - tube.crown, marks[m, 2] + tube.wall
                if end - tube.slope * ahead >= high - EPSILON:
                    floor = max(floor, high + tube.slope * ahead)
                else:
                    end = min(end, low)
                    cap = min(cap, low)
        if k > 0:
            if not end >= floor - EPSILON:
                return np.nan, 0.0, 0
            depth = 0.5 * (ground - z + g - end) + tube.below
            price = trench_price(bed.trench, depth)
            cost += ds * (tube.cost + 0.5 * (surface + s) + 0.5 * (dig + f) * price)
            if p and not street:
                cost += bed.permit_cost
        ground, surface, dig, street, z = g, s, f, p, end
        if out.shape[0] > parts:
            out[k, 0], out[k, 1], out[k, 2], out[k, 3], out[k, 4] = share * length, g, cap, floor, z
    return z, cost, parts + 1


@njit(cache=True)
def grade_breaks(along: Any, highest: Any, floor: Any, slope: float, loss: float) -> Any:
    """Few straight grades under a profile, nowhere deeper below it than `loss` where that can be."""
    n = along.size
    breaks, inverts = np.empty(n, np.int64), np.empty(n)
    breaks[0], inverts[0] = 0, highest[0]
    count, i = 1, 0
    while i < n - 1:
        z = inverts[count - 1]
        steepest, flattest = -np.inf, -slope
        to, end = i + 1, min(highest[i + 1], z - slope * (along[i + 1] - along[i]))
        for j in range(i + 1, n):
            ds = along[j] - along[i]
            if ds <= 0.0:
                continue
            flattest = min(flattest, (highest[j] - z) / ds)
            steepest = max(steepest, (floor[j] - z) / ds)
            if flattest < steepest - 1e-9:
                break
            good = True
            for m in range(i + 1, j + 1):
                if highest[m] - (z + flattest * (along[m] - along[i])) > loss + EPSILON:
                    good = False
                    break
            if good:
                to, end = j, z + flattest * ds
        breaks[count], inverts[count] = to, end
        count += 1
        i = to
    return breaks[:count], inverts[:count]


@njit(cache=True)
def priced(bed: Any, tube: Any, hits: Any, x: Any, y: Any, z: Any) -> float:
    """Pipe, trench, surface and crossings along a line with given inverts. [money]"""
    cost, marks = 0.0, np.empty((hits.shape[0], 3))
    for i in range(x.size - 1):
        length = np.hypot(x[i + 1] - x[i], y[i + 1] - y[i])
        parts = parts_of(bed, x[i + 1] - x[i], y[i + 1] - y[i])
        cost += find_hits(hits, x[i], y[i], x[i + 1], y[i + 1], marks)[0]
        before, _, _, surface, dig, street = station(bed, tube, x[i], y[i])
        before -= z[i]
        for k in range(1, parts + 1):
            share = k / parts
            at_x, at_y = x[i] + share * (x[i + 1] - x[i]), y[i] + share * (y[i + 1] - y[i])
            g, _, _, s, f, p = station(bed, tube, at_x, at_y)
            after = g - (z[i] + share * (z[i + 1] - z[i]))
            price = trench_price(bed.trench, 0.5 * (before + after) + tube.below)
            cost += length / parts * (tube.cost + 0.5 * (surface + s) + 0.5 * (dig + f) * price)
            if p and not street:
                cost += bed.permit_cost
            before, surface, dig, street = after, s, f, p
    return cost


@njit(cache=True)
def least_start(along: Any, floor: Any, slope: float, end_level: float) -> float:
    """Lowest invert that a line can begin with and still end at a level, above its floor all along. [m]"""
    need = end_level
    for k in range(along.size - 1, 0, -1):
        need = max(need, floor[k]) + slope * (along[k] - along[k - 1])
    return float(need)
