"""Runoff cell by cell, from the same surfaces and numbers as the sub-catchments, so that both hold the same water."""

from collections.abc import Sequence

import numpy as np

from pipelines.hydrology.errors import SurfaceError
from pipelines.hydrology.losses import effective_curve_numbers, runoff_curve_number
from pipelines.hydrology.sub_catchment import SurfaceShare
from pipelines.hydrology.surface_map import SurfaceMap
from terrain.arrays import FloatArray, IntArray


def runoff_volumes(
    surfaces: SurfaceMap, cells: IntArray, shares: Sequence[SurfaceShare], rain: float
) -> FloatArray:
    """Volume that runs off each cell of a sub-catchment.

    Parameters
    ----------
    surfaces : SurfaceMap
        By cell.
    cells : (n,) int ndarray
        Flat indices of the sub-catchment.
    shares : sequence of SurfaceShare
        Of these cells, as `shares_of` gives them.
    rain : float
        [m]

    Returns
    -------
    (n,) float ndarray
        They add up to the sub-catchment's runoff volume. [m3]

    Raises
    ------
    SurfaceError
        If the shares are not those of the cells, or the rain means nothing.

    References
    ----------
    .. [1] As of `pipelines.hydrology.losses.runoff_of_shares`.
    """
    # shares stand in the order of surface and soil group, as the kinds of cell do here
    kinds = surfaces.surface.ravel()[cells] * 4 + surfaces.group.ravel()[cells]
    found, inverse, counts = np.unique(kinds, return_inverse=True, return_counts=True)
    areas = counts * surfaces.grid.cell_area
    if len(shares) != found.size or not np.allclose([share.area for share in shares], areas, rtol=1e-9):
        raise SurfaceError(
            f"{len(shares)} shares of {sum(share.area for share in shares):g} m2 for {found.size} kinds of cell on "
            f"{areas.sum():g} m2: give the shares of these cells"
        )
    depths = np.array([runoff_curve_number(rain, number) for number in effective_curve_numbers(shares)])
    return np.asarray(depths[inverse] * surfaces.grid.cell_area, dtype=np.float64)
