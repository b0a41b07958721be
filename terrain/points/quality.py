"""What points say of the accuracy of the ground that is made from them."""

from dataclasses import dataclass

import numpy as np
from shapely.geometry.base import BaseGeometry

from terrain.arrays import BoolArray
from terrain.flow.burnt_cells import cells_inside
from terrain.grid import Frame
from terrain.points.cells import counted, density_where_any, fit_planes, window_grid
from terrain.reading.points_window import GROUND, WATER, PointCloud

_COARSE = 2.0
_LEAST_FOR_A_PLANE = 8.0
# the smoothest fifth of the ground stands for paving, which nobody has drawn yet. Common practice, no source
_SMOOTHEST = 20.0


@dataclass(frozen=True, slots=True)
class PointQuality:
    """Density and scatter of points.

    Attributes
    ----------
    density, ground_density : float
        Of all returns kept, and of those on the ground, where there are any. [1/m2]
    ground_share : float
        Share of the lot's cells of 2 m without a roof that hold a ground point. [-]
    bare_area : float
        Of its cells that hold none. [m2]
    bare_middle : tuple of float or None
        Their middle from the middle of the lot, east and north. [m]
    roughness : float
        What ground points scatter about planes of 2 m on the smoothest fifth of the ground; NaN where too few lie in
        a cell to tell. [m]
    """

    density: float
    ground_density: float
    ground_share: float
    bare_area: float
    bare_middle: tuple[float, float] | None
    roughness: float


def point_quality(cloud: PointCloud, frame: Frame, lot: BaseGeometry, roofs: BaseGeometry) -> PointQuality:
    """Say what points can bear on a lot."""
    grid = window_grid(cloud, frame, _COARSE)
    on_lot: BoolArray = cells_inside(grid, lot)
    if not roofs.is_empty:
        on_lot &= ~cells_inside(grid, roofs.buffer(_COARSE))
    ground = cloud.of(cloud.kind == GROUND)
    bare = on_lot & (counted(ground, grid) + counted(cloud.of(cloud.kind == WATER), grid) == 0)
    rows, columns = np.nonzero(bare)
    middle = None
    if rows.size:
        x, y = grid.centres(rows, columns)
        middle = float(x.mean() - lot.centroid.x), float(y.mean() - lot.centroid.y)
    cells = int(on_lot.sum())
    fit = fit_planes(ground, grid, with_neighbours=False)
    rms = fit.rms[(fit.points >= _LEAST_FOR_A_PLANE) & np.isfinite(fit.rms)]
    return PointQuality(
        density_where_any(cloud, frame), density_where_any(ground, frame), 1.0 - rows.size / cells if cells else 1.0,
        rows.size * grid.cell_area, middle, float(np.percentile(rms, _SMOOTHEST)) if rms.size else float("nan"),
    )  # fmt: skip
