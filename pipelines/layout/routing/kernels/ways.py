"""Compiled part of the fall to spare: shortest ways in any direction round walls, and what binds along them."""

from typing import Any

import numpy as np
from numba import njit

from pipelines.layout.routing.kernels.heap import heap_drop_first, heap_push


@njit(cache=True)
def sees(walls: Any, x0: float, y0: float, x1: float, y1: float) -> bool:
    """Whether no wall, a row (x0, y0, x1, y1), is met or touched on the straight line between two points."""
    dx, dy = x1 - x0, y1 - y0
    left, right = min(x0, x1), max(x0, x1)
    low, high = min(y0, y1), max(y0, y1)
    for k in range(walls.shape[0]):
        ax, ay, bx, by = walls[k, 0], walls[k, 1], walls[k, 2], walls[k, 3]
        if max(ax, bx) < left or min(ax, bx) > right or max(ay, by) < low or min(ay, by) > high:
            continue
        side_a = dx * (ay - y0) - dy * (ax - x0)
        side_b = dx * (by - y0) - dy * (bx - x0)
        if (side_a > 0.0 and side_b > 0.0) or (side_a < 0.0 and side_b < 0.0):
            continue
        ex, ey = bx - ax, by - ay
        side_0 = ex * (y0 - ay) - ey * (x0 - ax)
        side_1 = ex * (y1 - ay) - ey * (x1 - ax)
        if (side_0 > 0.0 and side_1 > 0.0) or (side_0 < 0.0 and side_1 < 0.0):
            continue
        return False
    return True


@njit(cache=True)
def sees_past(walls: Any, x0: float, y0: float, x1: float, y1: float, first: float, last: float) -> bool:
    """`sees`, but for so much of the line at its beginning and at its end. [m]"""
    length = np.hypot(x1 - x0, y1 - y0)
    if first + last >= length:
        return True
    a, b = first / length, 1.0 - last / length
    return bool(sees(walls, x0 + a * (x1 - x0), y0 + a * (y1 - y0), x0 + b * (x1 - x0), y0 + b * (y1 - y0)))


@njit(cache=True)
def shortest_ways(
    passable: Any, steps: Any, x: Any, y: Any, walls: Any, first: int, source_sees: bool, wanted: Any
) -> Any:
    """Shortest ways to a source from the cells wanted and all that lie nearer, straight where nothing is in between.

    Dijkstra's search over the cells, in which a cell may take over its neighbour's next point where it sees it.
    """
    rows, columns, ways = passable.shape
    cells = rows * columns
    distance = np.full(cells + 1, np.inf)
    onward = np.full(cells + 1, -1)
    done = np.zeros(cells, np.bool_)
    order = np.empty(cells, np.int64)
    reached, missing = 0, np.count_nonzero(wanted)
    room = cells * (ways + 1)
    keys, items, size = np.empty(room), np.empty(room, np.int64), np.int64(0)
    distance[cells] = 0.0
    distance[first] = np.hypot(x[first] - x[cells], y[first] - y[cells])
    onward[first] = cells
    size = heap_push(keys, items, size, distance[first], first)
    while size > 0 and missing > 0:
        cell = items[0]
        size = heap_drop_first(keys, items, size)
        if done[cell]:
            continue
        done[cell] = True
        order[reached] = cell
        reached += 1
        if wanted[cell]:
            missing -= 1
        row, column = cell // columns, cell % columns
        for d in range(ways):
            if not passable[row, column, d]:
                continue
            to = (row + steps[d, 0]) * columns + column + steps[d, 1]
            if done[to]:
                continue
            point = onward[cell]
            if point != cells or source_sees:
                length = distance[point] + np.hypot(x[to] - x[point], y[to] - y[point])
                if length < distance[to] - 1e-12 and sees(walls, x[to], y[to], x[point], y[point]):
                    distance[to] = length
                    onward[to] = point
                    size = heap_push(keys, items, size, length, to)
                    continue
            length = distance[cell] + np.hypot(x[to] - x[cell], y[to] - y[cell])
            if length < distance[to] - 1e-12:
                distance[to] = length
                onward[to] = cell
                size = heap_push(keys, items, size, length, to)
    for cell in range(cells):
        if not done[cell]:
            distance[cell], onward[cell] = np.inf, -1
    return distance, onward, order[:reached]


@njit(cache=True)
def ground_at(ground: Any, row: float, column: float) -> float:
    """Ground between cell centres, bilinear over the known ones; row and column count from the first centre."""
    rows, columns = ground.shape
    row = min(max(row, 0.0), rows - 1.0)
    column = min(max(column, 0.0), columns - 1.0)
    i, j = min(int(row), rows - 2) if rows > 1 else 0, min(int(column), columns - 2) if columns > 1 else 0
    total, weight = 0.0, 0.0
    for di in range(2):
        for dj in range(2):
            r, c = min(i + di, rows - 1), min(j + dj, columns - 1)
            w = (1.0 - abs(row - (i + di))) * (1.0 - abs(column - (j + dj)))
            if w > 0.0 and np.isfinite(ground[r, c]):
                total += w * ground[r, c]
                weight += w
    return total / weight if weight > 0.0 else np.nan


@njit(cache=True)
def spare_along_ways(
    ground: Any, cover: Any, order: Any, onward: Any, distance: Any, x: Any, y: Any,
    left: float, top: float, width: float, height: float,
    crown: float, need: float, slope: float, taper: float, basin_drop: float, known: Any,
) -> Any:
    """Least of what is available less what is needed, along each cell's way; NaN where it is no more than is known."""
    columns = ground.shape[1]
    cells = ground.size
    spare = np.full(cells, np.nan)
    through = np.full(cells + 1, np.inf)
    binding = np.full(cells + 1, -1)
    at_cell = np.full(cells, -1)
    # what comes after a cell is asked only of those where another's way bends
    bends = np.zeros(cells + 1, np.bool_)
    for cell in order:
        bends[onward[cell]] = True
    spacing = 0.5 * min(width, height)
    for cell in order:
        point = onward[cell]
        own = ground[cell // columns, cell % columns] - cover[cell // columns, cell % columns] - crown
        own -= need + slope * distance[cell]
        least, where = through[point], binding[point]
        if point < cells and distance[point] > taper:
            row, column = point // columns, point % columns
            value = ground[row, column] - cover[row, column] - crown - need - slope * distance[point]
            if value < least:
                least, where = value, point
        enough = -np.inf if bends[cell] else known[cell]
        if min(own - basin_drop, least) <= enough:
            continue
        length = distance[cell] - distance[point]
        parts = max(1, int(np.ceil(length / spacing)))
        for k in range(1, parts):
            share = k / parts
            along = distance[point] + share * length
            if along <= taper:
                continue
            sx = x[point] + share * (x[cell] - x[point])
            sy = y[point] + share * (y[cell] - y[point])
            row, column = (top - sy) / height - 0.5, (sx - left) / width - 0.5
            i = min(max(int(np.floor(row + 0.5)), 0), ground.shape[0] - 1)
            j = min(max(int(np.floor(column + 0.5)), 0), columns - 1)
            value = ground_at(ground, row, column) - cover[i, j] - crown - need - slope * along
            if value < least:
                least, where = value, i * columns + j
                if least <= enough:
                    break
        if least <= enough:
            continue
        through[cell] = least
        binding[cell] = where
        if own - basin_drop <= least:
            spare[cell] = own - basin_drop
            at_cell[cell] = cell
        else:
            spare[cell] = least
            at_cell[cell] = where
    return spare, at_cell


@njit(cache=True)
def spare_on_grounds(
    ground: Any, cover: Any, order: Any, onward: Any, distance: Any, x: Any, y: Any,
    left: float, top: float, width: float, height: float,
    crown: float, need: float, slope: float, taper: float, basin_drop: float, asked: Any,
    above: Any, first_row: int, first_column: int,
) -> Any:
    """`spare_along_ways` on many grounds, each so much above the one given (rows, columns, grounds), of cells asked."""
    rows, columns, count = above.shape
    cells, wide = ground.size, ground.shape[1]
    spare = np.full((cells, count), np.nan, np.float32)
    through = np.full((cells + 1, count), np.inf, np.float32)
    bends = np.zeros(cells + 1, np.bool_)
    for cell in order:
        bends[onward[cell]] = True
    least = np.empty(count, np.float32)
    for cell in order:
        if not (asked[cell] or bends[cell]):
            continue
        point = onward[cell]
        length = distance[cell] - distance[point]
        parts = max(1, int(np.ceil(length / (0.5 * min(width, height)))))
        least[:] = through[point]
        for k in range(parts + 1):
            share = k / parts
            along = distance[point] + share * length
            if k < parts and along <= taper:
                continue
            sx, sy = x[point] + share * (x[cell] - x[point]), y[point] + share * (y[cell] - y[point])
            row, column = (top - sy) / height - 0.5, (sx - left) / width - 0.5
            i = min(max(int(np.floor(row + 0.5)), 0), ground.shape[0] - 1)
            j = min(max(int(np.floor(column + 0.5)), 0), wide - 1)
            value = np.float32(ground_at(ground, row, column) - cover[i, j] - crown - need - slope * along)
            higher = above[min(max(i - first_row, 0), rows - 1), min(max(j - first_column, 0), columns - 1)]
            if k == parts:
                through[cell] = least
                if asked[cell]:
                    spare[cell] = np.minimum(least, value - np.float32(basin_drop) + higher)
            elif not np.isnan(value):
                for g in range(count):
                    least[g] = min(least[g], value + higher[g])
    return spare
