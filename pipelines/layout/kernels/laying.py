"""Compiled laying of lines in any direction: how high a pipe can lie along them, and what that costs."""

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from pipelines.layout.kernels.forest import NONE, trench_price
from pipelines.layout.kernels.ways import ground_at, sees

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
    """Where a segment crosses what may be crossed with care.

    Parameters
    ----------
    hits : (m, 7) float ndarray
        Edges of what may be crossed, (x, y, x, y), price of crossing one, and the heights between which no part of a
        pipe may lie there. [m], [money], [m]
    x0, y0, x1, y1 : float
        Ends of the segment. [m]
    marks : (m, 3) float ndarray
        Filled with distance along and those heights. [m]

    Returns
    -------
    cost : float
        Half of it where the segment only begins or ends on an edge. [money]
    count : int
        Rows of `marks` that were filled.
    """
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
            marks[count] = share * length, hits[k, 5], hits[k, 6]
            count += 1
    return cost, count


@njit(cache=True)
def lay_segment(bed: Any, tube: Any, hits: Any, x0: float, y0: float, x1: float, y1: float, z: float,
                marks: Any, out: Any) -> Any:
    """Lay a straight segment as high as it can lie.

    Parameters
    ----------
    bed, tube, hits
        Where, what, and across what.
    x0, y0, x1, y1 : float
        Its ends. [m]
    z : float
        Invert at its beginning. [m]
    marks : (m, 3) float ndarray
        Room for as many crossings as there are hits.
    out : (n, 5) float ndarray
        Where it holds at least as many rows as the segment has stations: filled with distance, ground, highest and
        lowest invert, invert of each. [m]

    Returns
    -------
    invert : float
        At its end, NaN where it cannot be laid. [m]
    cost : float
        Pipe, trench, surface and crossings. [money]
    stations : int
        Rows of `out` that were filled.
    """
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
            out[k] = share * length, g, cap, floor, z
    return z, cost, parts + 1


@njit(cache=True)
def heading_of(x0: float, y0: float, x1: float, y1: float) -> float:
    """Heading from one point to another, counted from east against the clock. [degrees]"""
    return float(np.degrees(np.arctan2(y1 - y0, x1 - x0)))


@njit(cache=True)
def bend_units(turn: float, tolerance: float) -> int:
    """How many 22.5 degree steps of fittings make a turn within the joints' tolerance, -1 for none. [degrees]"""
    turn = abs((turn + 180.0) % 360.0 - 180.0)
    units = int(np.floor(turn / 22.5 + 0.5))
    return units if units <= 4 and abs(turn - 22.5 * units) <= tolerance + 1e-9 else -1


@njit(cache=True)
def straightest(bed: Any, tube: Any, walls: Any, hits: Any, x: Any, y: Any, z0: float, end_level: float,
                bends: Any, tolerance: float, heading_out: float, joined: int, by_height: bool) -> Any:
    """Cheapest line through some of a path's points, straight from each to the next that is kept.

    Parameters
    ----------
    bed, tube
        Where, and what.
    walls : (m, 4) float ndarray
        What a line may not touch.
    hits : (m, 7) float ndarray
        What it may cross with care: see `find_hits`.
    x, y : (n,) float ndarray
        Points of a path, others by which it may end, and its end; the first and the last are kept. [m]
    z0, end_level : float
        Invert at the first point, and the lowest at the last. [m]
    bends : (5,) float ndarray
        Price of a bend of 0, 22.5, 45, 67.5, 90 degrees. [money]
    tolerance : float
        How far a bend may be off such an angle. [degrees]
    heading_out : float
        Heading of the line that it joins at its end, NaN for none. [degrees]
    joined : int
        How many of the points are the path's own, each in reach of the next, the last of them in reach of the end.
    by_height : bool
        Whether the highest line is wanted rather than the cheapest.

    Returns
    -------
    kept : (m,) int ndarray
        Positions of the points kept, empty where no line can be laid.
    """
    n = x.size
    cost, invert = np.full((n, n), np.inf), np.full((n, n), np.nan)
    before = np.full((n, n), -1)
    none, marks = np.empty((0, 5)), np.empty((hits.shape[0], 3))
    paid, entry = np.empty(n), np.empty(n)
    for i in range(n - 1):
        for j in range(i + 1, n):
            next_to = (j == i + 1 and j < joined) or (i == joined - 1 and j == n - 1)
            if not next_to and not sees(walls, x[i], y[i], x[j], y[j]):
                continue
            out = heading_out if j == n - 1 else np.nan
            _ways_in(x, y, i, j, out, z0, cost, invert, bends, tolerance, paid, entry)
            # of the ways to i the cheapest, then such as come in higher than all that were tried: no other is better
            tried = -np.inf
            while True:
                h = _next_way_in(paid, entry, max(i, 1), tried, by_height)
                if h < 0:
                    break
                tried = entry[h]
                end, price, _ = lay_segment(bed, tube, hits, x[i], y[i], x[j], y[j], entry[h], marks, none)
                if np.isnan(end) or (j == n - 1 and end < end_level - EPSILON):
                    continue
                better = end > invert[i, j] + 1e-9 if by_height else paid[h] + price < cost[i, j]
                if better or cost[i, j] == np.inf:
                    cost[i, j], invert[i, j], before[i, j] = paid[h] + price, end, h if i > 0 else NONE
    last, best = -1, np.inf
    for i in range(n - 1):
        value = -invert[i, n - 1] if by_height else cost[i, n - 1]
        if cost[i, n - 1] < np.inf and value < best:
            best, last = value, i
    return _points_kept(before, last)


@njit(cache=True)
def _ways_in(x: Any, y: Any, i: int, j: int, heading_out: float, z0: float, cost: Any, invert: Any, bends: Any,
             tolerance: float, paid: Any, entry: Any) -> None:
    """For each point before i: what a line by way of it has cost once it turns towards j, and its invert at i.

    The first segment has no point before it and is told at 0.
    """
    heading = heading_of(x[i], y[i], x[j], y[j])
    last = 0.0
    if not np.isnan(heading_out):
        units = bend_units(heading_out - heading, tolerance)
        last = bends[units] if units >= 0 else np.inf
    paid[0], entry[0] = last, z0
    for h in range(i):
        units = bend_units(heading - heading_of(x[h], y[h], x[i], y[i]), tolerance)
        paid[h] = last + cost[h, i] + bends[units] if units >= 0 else np.inf
        entry[h] = invert[h, i]


@njit(cache=True)
def _next_way_in(paid: Any, entry: Any, count: int, above: float, by_height: bool) -> int:
    """The cheapest of the ways that come in higher than a height, or the highest; -1 where there is none."""
    chosen = -1
    for h in range(count):
        if paid[h] == np.inf or not entry[h] > above + 1e-9:
            continue
        if chosen < 0 or (entry[h] > entry[chosen] if by_height else paid[h] < paid[chosen]):
            chosen = h
    return chosen


@njit(cache=True)
def _points_kept(before: Any, last: int) -> Any:
    """Points of a line from its last segment back, in their order."""
    n = before.shape[0]
    kept = np.empty(n, np.int64)
    if last < 0:
        return kept[:0]
    count, at, to = 1, last, n - 1
    kept[0] = n - 1
    while at >= 0:
        kept[count] = at
        count += 1
        at, to = before[at, to], at
    return kept[:count][::-1].copy()


@njit(cache=True)
def line_value(bed: Any, tube: Any, walls: Any, hits: Any, x: Any, y: Any, z: float, bends: Any, tolerance: float,
               heading_out: float, first_clear: bool, last_clear: bool) -> Any:
    """What a line with given vertices costs when it lies as high as it can.

    Parameters
    ----------
    bed, tube, walls, hits, bends, tolerance, heading_out
        As of `straightest`.
    x, y : (n,) float ndarray
        Its vertices. [m]
    z : float
        Invert at the first. [m]
    first_clear, last_clear : bool
        Whether its first and last segments are known to touch no wall.

    Returns
    -------
    cost : float
        Infinite where it cannot be laid. [money]
    invert : float
        At its end. [m]
    off : float
        Sum of the degrees by which bends are off what fittings and joints make. [degrees]
    """
    none, marks = np.empty((0, 5)), np.empty((hits.shape[0], 3))
    cost, off = 0.0, 0.0
    last = x.size - 2
    for i in range(last + 1):
        known = (i == 0 and first_clear) or (i == last and last_clear)
        if not known and not sees(walls, x[i], y[i], x[i + 1], y[i + 1]):
            return np.inf, z, 0.0
        heading = heading_of(x[i], y[i], x[i + 1], y[i + 1])
        after = heading_out if i == last else heading_of(x[i + 1], y[i + 1], x[i + 2], y[i + 2])
        if not np.isnan(after):
            units = bend_units(after - heading, 11.25)
            if units < 0:
                return np.inf, z, 0.0
            turn = abs((after - heading + 180.0) % 360.0 - 180.0)
            off += max(0.0, abs(turn - 22.5 * units) - tolerance)
            cost += bends[units]
        z, price, _ = lay_segment(bed, tube, hits, x[i], y[i], x[i + 1], y[i + 1], z, marks, none)
        if np.isnan(z):
            return np.inf, z, 0.0
        cost += price
    return cost, z, off


@njit(cache=True)
def grade_breaks(along: Any, highest: Any, floor: Any, slope: float, loss: float) -> Any:
    """Few straight grades under a profile, nowhere deeper below it than `loss` where that can be.

    Parameters
    ----------
    along, highest, floor : (n,) float ndarray
        Distance, invert of the highest profile, and the lowest that an invert may have. [m]
    slope, loss : float
        Least slope, and how much deeper the grades may lie. [-], [m]

    Returns
    -------
    breaks : (m,) int ndarray
        Stations at which the grade changes, ends included.
    inverts : (m,) float ndarray
        [m]
    """
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
