"""Low spots of the ground as ponds that water is routed through."""

from collections.abc import Mapping, Sequence

import numpy as np

from pipelines.hydrology.ponds import PondNode
from pipelines.hydrology.storage import StageOutflow, StageStorage
from terrain.low_spots import LowSpot

FILM = 0.001
"""Depth that flat ground shut in by walls holds before the rest counts as overflow. [m]"""


def storage_of_low_spot(spot: LowSpot) -> StageStorage:
    """Stage and storage of a low spot.

    Parameters
    ----------
    spot : LowSpot
        With its levels, areas and volumes.

    Returns
    -------
    StageStorage
        Of flat ground without depth, a film of a millimetre. [m], [m2], [m3]

    Raises
    ------
    StorageError
        If its levels don't make a storage.
    """
    rising = np.concatenate([[True], np.diff(spot.volumes) > 0.0])
    levels, areas, volumes = spot.levels[rising], spot.areas[rising], spot.volumes[rising]
    if levels.size < 2:
        bottom, area = spot.bottom_elevation, float(spot.areas[-1])
        levels, areas = np.array([bottom, bottom + FILM]), np.array([area, area])
        volumes = np.array([0.0, area * FILM])
    return StageStorage(levels, areas, volumes)


def ponds_of_low_spots(
    spots: Sequence[LowSpot],
    infiltration_rates: Mapping[str, float],
    *,
    onward: Mapping[str, str] | None = None,
    outlets: Mapping[str, tuple[StageOutflow, str]] | None = None,
) -> tuple[PondNode, ...]:
    """Ponds of a set of low spots, those that merge with the pond they merge into.

    Parameters
    ----------
    spots : sequence of LowSpot
        All that `find_low_spots` listed.
    infiltration_rates : mapping of str to float
        By low spot; none where not named. [m/s]
    onward : mapping of str to str or None
        By low spot: what takes its overflow where no low spot does, such as an edge.
    outlets : mapping of str to (StageOutflow, str) or None
        By low spot: what a pipe takes by level [m], [m3/s], and where that goes.

    Returns
    -------
    tuple of PondNode
        One a low spot.

    Raises
    ------
    StorageError
        If a low spot's levels don't make a storage.
    """
    onward, outlets = onward or {}, outlets or {}
    ponds = []
    for spot in spots:
        outlet, outlet_to = outlets.get(spot.id, (None, None))
        ponds.append(
            PondNode(
                id=spot.id,
                storage=storage_of_low_spot(spot),
                spills_to=spot.spills_to or onward.get(spot.id),
                contained_in=spot.contained_in,
                infiltration_rate=infiltration_rates.get(spot.id, 0.0),
                outlet=outlet,
                outlet_to=outlet_to,
            )
        )
    return tuple(ponds)
