"""The ridge of a drive across a swale: what water must rise over to pass it."""

from dataclasses import dataclass

import numpy as np
from shapely import LineString

from terrain.arrays import FloatArray
from terrain.ground import Ground
from terrain.reading.surface import Surface
from terrain.sampling import sample_bilinear
from terrain.swale.thalweg import Thalweg


@dataclass(frozen=True, slots=True, eq=False)
class DriveRidge:
    """A drive's highest line across a swale.

    Attributes
    ----------
    start, crest, end : float
        Stations where the drive begins, is highest over the thalweg, and ends. [m]
    offsets, heights : (n,) float ndarray
        Distance from the thalweg to the right, looking downstream, and the ridge's height there. [m]
    """

    start: float
    crest: float
    end: float
    offsets: FloatArray
    heights: FloatArray
    line: LineString

    @property
    def lowest(self) -> float:
        """Level at which water begins to pass over it. [m]"""
        return float(self.heights.min())


def find_ridge(
    surface: Surface | Ground, thalweg: Thalweg, start: float, end: float, *, left: float, right: float
) -> DriveRidge:
    """Trace the ridge between two stations: at each offset, the highest ground on the way along the swale."""
    step = min(surface.grid.cell_width, surface.grid.cell_height)
    across = np.linspace(-left, right, max(int(np.ceil((left + right) / step)), 2) + 1)
    along = np.linspace(start, end, max(int(np.ceil((end - start) / step)), 2) + 1)
    tx, ty = thalweg.tangents()
    x, y = (np.interp(along, thalweg.station, values) for values in (thalweg.x, thalweg.y))
    # one direction for the whole drive keeps its ridge straight
    dx, dy = float(np.interp((start + end) / 2, thalweg.station, tx)), float(
        np.interp((start + end) / 2, thalweg.station, ty)
    )
    length = float(np.hypot(dx, dy))
    dx, dy = dx / length, dy / length
    at_x, at_y = x[:, None] + across * dy, y[:, None] - across * dx
    heights = sample_bilinear(surface.elevation, surface.grid, at_x, at_y)
    known = ~np.isnan(heights).any(axis=0)
    heights, across, at_x, at_y = heights[:, known], across[known], at_x[:, known], at_y[:, known]
    top = np.argmax(heights, axis=0)
    columns = np.arange(len(across))
    ridge = heights[top, columns]
    line = LineString(np.column_stack([at_x[top, columns], at_y[top, columns], ridge]))
    over = heights[:, int(np.argmin(np.abs(across)))]
    # the middle of a flat top
    crest = float(along[over >= over.max() - 0.01].mean())
    return DriveRidge(float(start), crest, float(end), across, ridge, line)
