"""By how much a gravity line from anywhere on the lot to an outfall has fall to spare, or is short of it."""

from collections.abc import Sequence
from dataclasses import dataclass

import contourpy
import numpy as np
from shapely import LineString

from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.kernels.ways import sees, shortest_ways, spare_along_ways
from pipelines.layout.routing.spec import OutfallTarget, RoutePipe, RouteSpec
from pipelines.layout.routing.steps import STEPS
from terrain.arrays import FloatArray, IntArray
from terrain.grid import Grid


@dataclass(frozen=True, slots=True, eq=False)
class FallToSpare:
    """The fall to spare to one outfall.

    Attributes
    ----------
    outfall : OutfallTarget
        Where the lines would end.
    grid : Grid
        Its cells.
    spare : (rows, cols) float ndarray
        Fall that is left over, negative where it is short, NaN where there is no allowed way. [m]
    length : (rows, cols) float ndarray
        Of the shortest allowed way, NaN where there is none. [m]
    binding : (rows, cols) int ndarray
        Flat index of the cell where the way has least to spare, -1 where there is none.
    onward : (cells + 1,) int ndarray
        Next point of each cell's way: a flat index, `cells` for the outfall, -1 where there is none.
    """

    outfall: OutfallTarget
    grid: Grid
    spare: FloatArray
    length: FloatArray
    binding: IntArray
    onward: IntArray

    def way_from(self, row: int, column: int) -> FloatArray:
        """Vertices of the shortest allowed way from a cell to the outfall. [m]"""
        columns = self.grid.shape[1]
        cells = self.grid.shape[0] * columns
        at = row * columns + column
        points: list[tuple[float, float]] = []
        while 0 <= at < cells and self.onward[at] >= 0:
            x, y = self.grid.centres(at // columns, at % columns)
            points.append((float(x), float(y)))
            at = int(self.onward[at])
        if points:
            points.append((self.outfall.point.x, self.outfall.point.y))
        return np.array(points, dtype=np.float64).reshape(-1, 2)


def fall_to_spare(
    field: RouteField,
    outfall: OutfallTarget,
    pipe: RoutePipe,
    spec: RouteSpec,
    *,
    slope: float | None = None,
) -> FallToSpare:
    """Fall to spare from every cell of a field to one outfall.

    Along the shortest allowed way from a cell, the least of what each of its points q has available over what is
    needed there: ground - cover - outside diameter + wall, less level + slope x way to the outfall + digging
    tolerance. At the cell itself the drop through a basin is needed too. The cover of the last stretch before the
    outfall is not asked for.

    Notes
    -----
    spare(p) = min over q of (ground - cover - od + wall)(q) - (level + slope x distance(q, outfall) + tolerance);
    the parts are common practice, no source.
    """
    grid = field.grid
    rows, columns = grid.shape
    r, c = np.divmod(np.arange(rows * columns), columns)
    x, y = grid.centres(r, c)
    x, y = np.append(x, outfall.point.x), np.append(y, outfall.point.y)
    lost = np.full(grid.shape, np.nan)
    start = field.nearest_allowed(outfall.point.x, outfall.point.y)
    if start is None:
        return FallToSpare(outfall, grid, lost, lost.copy(), np.full(grid.shape, -1),
                           np.full(rows * columns + 1, -1))
    first = start[0] * columns + start[1]
    clear = bool(sees(field.walls, x[first], y[first], x[-1], y[-1]))
    distance, onward, order = shortest_ways(field.passable, STEPS, x, y, field.walls, first, clear)
    spare, binding = spare_along_ways(
        field.ground, field.cover, order, onward, distance, x, y,
        grid.left, grid.top, grid.cell_width, grid.cell_height,
        pipe.crown, outfall.level + spec.dig_tolerance, pipe.min_slope if slope is None else slope, spec.taper_length,
        spec.basin_drop,
    )
    length = np.where(np.isfinite(distance[:-1]), distance[:-1], np.nan)
    return FallToSpare(outfall, grid, spare.reshape(grid.shape), length.reshape(grid.shape),
                       binding.reshape(grid.shape), onward)


def spare_contours(field_of_fall: FloatArray, grid: Grid, levels: Sequence[float]) -> list[tuple[float, LineString]]:
    """Contour lines of a fall to spare. [m]"""
    rows, columns = grid.shape
    if rows < 2 or columns < 2:
        return []
    x, _ = grid.centres(np.zeros(columns), np.arange(columns))
    _, y = grid.centres(np.arange(rows), np.zeros(rows))
    generator = contourpy.contour_generator(x, y, field_of_fall)
    lines = [(float(level), np.asarray(line, dtype=np.float64)) for level in levels for line in generator.lines(level)]
    return [(level, LineString(line)) for level, line in lines if len(line) > 1]
