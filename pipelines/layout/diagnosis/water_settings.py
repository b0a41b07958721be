"""How runoff is reckoned on a lot, and the time that it takes over a region."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from pipelines.hydrology.flow_path import PUBLISHED, Travel, TravelRules, along_path
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.hydrology.standing_water import WATCHED
from pipelines.hydrology.surface_map import SurfaceMap
from pipelines.layout.diagnosis.division import Once, Region
from terrain.arrays import FloatArray, IntArray
from terrain.flow.drainage import Drainage


@dataclass(frozen=True, slots=True)
class WaterSettings:
    """How runoff is reckoned on this lot.

    Attributes
    ----------
    compacted : bool
        Soil taken one group worse than mapped.
    tolerable : dict of str to float
        Depth that is put up with, by low spot; 0 where not named. [m]
    travel : TravelRules
        What travel time is reckoned by.
    watched : float
        How long after the storm standing water is followed. [s]
    known, ponds : Once
        Runoff of regions that was reckoned already, with works or without, and water that stood in low spots.
    """

    compacted: bool
    tolerable: Mapping[str, float]
    travel: TravelRules = PUBLISHED
    watched: float = WATCHED
    known: Once = field(default_factory=Once, compare=False)
    ponds: Once = field(default_factory=Once, compare=False)


def travel_of(
    region: Region, drainage: Drainage, surfaces: SurfaceMap, rain: DesignRain, settings: WaterSettings
) -> Travel:
    """Time along the longest way over a region."""
    distance, heights = _profile(region.path, drainage)
    keys = surfaces.key_at(region.path[: len(distance) - 1])
    return along_path(distance, heights, keys, two_year_24h_depth=rain.two_year_24h_depth, rules=settings.travel)


def _profile(path: IntArray, drainage: Drainage) -> tuple[FloatArray, FloatArray]:
    grid = drainage.ground.grid
    x, y = grid.centres(path // grid.shape[1], path % grid.shape[1])
    distance = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    heights = drainage.ground.elevation.ravel()[path]
    if path.size == 1:
        # a region of one cell: half a cell of way, level
        return np.array([0.0, 0.5 * grid.cell_width]), np.repeat(heights, 2)
    return distance, heights
