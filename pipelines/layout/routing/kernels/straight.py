"""Compiled choice of a straight line's bends, and what a line with given bends costs."""

from typing import Any

import numpy as np
from numba import njit

from pipelines.layout.routing.kernels.forest_state import NONE
from pipelines.layout.routing.kernels.laying import EPSILON, lay_segment
from pipelines.layout.routing.kernels.ways import sees_past

LEAST_PIECE = 1e-6
"""What a piece of a line costs on top, so that none is cut in two for nothing. [money]"""


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
                bends: Any, tolerance: float, heading_out: float, stubs: Any, joined: int, by_height: bool) -> Any:
    """Cheapest line through some of a path's points, straight from each to the next that is kept."""
    n = x.size
    cost, invert = np.full((n, n), np.inf), np.full((n, n), np.nan)
    before = np.full((n, n), -1)
    none, marks = np.empty((0, 5)), np.empty((hits.shape[0], 3))
    paid, entry = np.empty(n), np.empty(n)
    for i in range(n - 1):
        for j in range(i + 1, n):
            next_to = (j == i + 1 and j < joined) or (i == joined - 1 and j == n - 1)
            first, last_bit = stubs[0] if i == 0 else 0.0, stubs[1] if j == n - 1 else 0.0
            if not next_to and not sees_past(walls, x[i], y[i], x[j], y[j], first, last_bit):
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
                price += LEAST_PIECE
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
def _segment(bed: Any, tube: Any, walls: Any, hits: Any, asked: Any, kept: Any, marks: Any, none: Any) -> Any:
    """Last invert and cost of a segment, NaN where it cannot be laid; `asked` is all that hangs on but the ground: its
    run, ends, first invert and what may touch walls. What was asked before is taken from `kept`."""
    _, x0, y0, x1, y1, z, first, last_bit = asked
    mixed = int(x0 * 4096.0) * 73856093 ^ int(y0 * 4096.0) * 19349663 ^ int(x1 * 4096.0) * 83492791
    at = int(z * 65536.0) if np.isfinite(z) else 0
    row = kept[(mixed ^ int(y1 * 4096.0) * 49979687 ^ at * 15485863) % kept.shape[0]]
    known = True
    for i in range(8):
        known = known and row[i] == asked[i]
    if not known:
        for i in range(8):
            row[i] = asked[i]
        row[8], row[9] = np.nan, 0.0
        if sees_past(walls, x0, y0, x1, y1, first, last_bit):
            row[8], row[9], _ = lay_segment(bed, tube, hits, x0, y0, x1, y1, z, marks, none)
    return row[8], row[9]


@njit(cache=True)
def line_value(bed: Any, tube: Any, walls: Any, hits: Any, x: Any, y: Any, z: float, bends: Any, tolerance: float,
               heading_out: float, stubs: Any, run: int, kept: Any) -> Any:
    """What a line with given vertices costs when it lies as high as it can; `kept` holds segments by run."""
    none, marks = np.empty((0, 5)), np.empty((hits.shape[0], 3))
    cost, off = 0.0, 0.0
    last = x.size - 2
    for i in range(last + 1):
        asked = (float(run), x[i], y[i], x[i + 1], y[i + 1], z, stubs[0] if i == 0 else 0.0,
                 stubs[1] if i == last else 0.0)
        z, price = _segment(bed, tube, walls, hits, asked, kept, marks, none)
        if np.isnan(z):
            return np.inf, z, 0.0
        heading = heading_of(x[i], y[i], x[i + 1], y[i + 1])
        after = heading_out if i == last else heading_of(x[i + 1], y[i + 1], x[i + 2], y[i + 2])
        if not np.isnan(after):
            units = bend_units(after - heading, 11.25)
            if units < 0:  # sharper than any bend: dear, so that what is moved gets away from it
                units = 4
            turn = abs((after - heading + 180.0) % 360.0 - 180.0)
            off += max(0.0, abs(turn - 22.5 * units) - tolerance)
            cost += bends[units]
        cost += price
    return cost, z, off
