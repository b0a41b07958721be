"""Low spots of the ground as storages: what they hold by level, and the rain that fills them."""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import brentq

from pipelines.hydrology.errors import StorageError
from pipelines.hydrology.losses import effective_curve_numbers, runoff_curve_number, total_area
from pipelines.hydrology.storage import StageStorage
from pipelines.hydrology.sub_catchment import SurfaceShare
from pipelines.inputs.limits import require_positive
from terrain.flow.low_spots import LowSpot

FILM = 0.001
"""Depth that flat ground shut in by walls holds before the rest counts as overflow. [m]"""


def storage_of_low_spot(spot: LowSpot) -> StageStorage:
    """Stage and storage of a low spot."""
    rising = np.concatenate([[True], np.diff(spot.volumes) > 0.0])
    levels, areas, volumes = spot.levels[rising], spot.areas[rising], spot.volumes[rising]
    if levels.size < 2:
        bottom, area = spot.bottom_elevation, float(spot.areas[-1])
        levels, areas = np.array([bottom, bottom + FILM]), np.array([area, area])
        volumes = np.array([0.0, area * FILM])
    return StageStorage(levels, areas, volumes)


def rain_that_fills(volume: float, shares: Sequence[SurfaceShare], *, most: float = 1.0) -> float | None:
    """Depth of rain whose runoff from a ground fills a low spot: it spills only above that.

    Parameters
    ----------
    volume : float
        Of the low spot at its sill. [m3]
    shares : sequence of SurfaceShare
        Surfaces of all the ground that drains to it.
    most : float
        Deepest rain looked at. [m]

    Returns
    -------
    float or None
        None where not even the deepest does. What soaks in meanwhile is not counted. [m]

    Raises
    ------
    SurfaceError
        If the ground has no area.
    StorageError
        If the volume is not finite and positive.

    References
    ----------
    .. [1] As of `pipelines.hydrology.losses.runoff_of_shares`, solved for the rain.
    """
    require_positive(StorageError, volume=volume, most=most)
    area = total_area(shares)

    parts = [(share.area / area, number) for share, number in zip(shares, effective_curve_numbers(shares), strict=True)]

    def excess(rain: float) -> float:
        return sum(part * runoff_curve_number(rain, number) for part, number in parts) * area - volume

    return float(brentq(excess, 0.0, most, xtol=1e-7)) if excess(most) >= 0.0 else None
