"""Runoff cell by cell, from the same surfaces and numbers as the sub-catchments, so that both hold the same water."""

from collections.abc import Mapping, Sequence

import numpy as np

from pipelines.hydrology.errors import SurfaceError
from pipelines.hydrology.losses import effective_curve_numbers, runoff_curve_number
from pipelines.hydrology.sub_catchment import SurfaceShare
from pipelines.hydrology.surfaces import surface_share
from terrain.arrays import BoolArray, FloatArray, IntArray


def shares_by_label(
    labels: IntArray,
    surface_codes: IntArray,
    surfaces: Sequence[str],
    *,
    cell_area: float,
    group: str,
    slopes: Mapping[int, float] | None = None,
    return_period: float | None = None,
    unconnected: BoolArray | None = None,
    compacted: bool = True,
) -> dict[int, tuple[SurfaceShare, ...]]:
    """Surfaces of each sub-catchment, counted from cells.

    Parameters
    ----------
    labels : (rows, cols) int ndarray
        Sub-catchment of each cell, negative outside.
    surface_codes : (rows, cols) int ndarray
        Index into `surfaces`.
    surfaces : sequence of str
        Keys or words.
    cell_area : float
        [m2]
    group : str
        Hydrologic soil group as mapped.
    slopes : mapping of int to float or None
        Mean ground slope by label, 2 % where not given. [-]
    return_period : float or None
        Of the design storm. [yr]
    unconnected : (rows, cols) bool ndarray or None
        Impervious cells whose water crosses grass.
    compacted : bool
        Whether to take the soil one group worse than mapped.

    Returns
    -------
    dict of int to tuple of SurfaceShare
        By label, in rising order; areas in m2.

    Raises
    ------
    SurfaceError
        If shapes differ, a code has no surface, or a surface or group is unknown.

    References
    ----------
    .. [1] As of `pipelines.hydrology.surfaces.surface_share`.
    """
    keys, counts, _ = _kinds(labels, surface_codes, surfaces, unconnected)
    shares: dict[int, list[SurfaceShare]] = {}
    for (label, code, apart), count in zip(keys.tolist(), counts.tolist(), strict=True):
        share = surface_share(
            surfaces[code],
            count * cell_area,
            group,
            slope=(slopes or {}).get(label, 0.02),
            return_period=return_period,
            connected=not apart,
            compacted=compacted,
        )
        shares.setdefault(label, []).append(share)
    return {label: tuple(parts) for label, parts in sorted(shares.items())}


def runoff_by_cell(
    labels: IntArray,
    surface_codes: IntArray,
    surfaces: Sequence[str],
    shares: Mapping[int, Sequence[SurfaceShare]],
    rain: float,
    *,
    unconnected: BoolArray | None = None,
) -> FloatArray:
    """Depth that runs off each cell.

    Parameters
    ----------
    labels, surface_codes : (rows, cols) int ndarray
        As given to `shares_by_label`.
    surfaces : sequence of str
        As given to `shares_by_label`.
    shares : mapping of int to sequence of SurfaceShare
        Its answer.
    rain : float
        [m]
    unconnected : (rows, cols) bool ndarray or None
        As given to `shares_by_label`.

    Returns
    -------
    (rows, cols) float ndarray
        0 outside. Over each label, depth times cell area adds up to the runoff volume of its shares. [m]

    Raises
    ------
    SurfaceError
        If shapes differ or a code has no surface.

    References
    ----------
    .. [1] As of `pipelines.hydrology.losses.runoff_of_shares`.
    """
    keys, _, inverse = _kinds(labels, surface_codes, surfaces, unconnected)
    depths = np.zeros(len(keys) + 1)
    at = 0
    for label in np.unique(keys[:, 0]).tolist():
        # shares of a label were made in the order of its kinds
        for number in effective_curve_numbers(shares[label]):
            depths[at] = runoff_curve_number(rain, number)
            at += 1
    runoff = np.zeros(labels.shape)
    runoff[labels >= 0] = depths[inverse]
    return runoff


def _kinds(
    labels: IntArray, surface_codes: IntArray, surfaces: Sequence[str], unconnected: BoolArray | None
) -> tuple[IntArray, IntArray, IntArray]:
    """Label, surface and connection of each kind of cell, how many there are, and the kind of each cell inside."""
    apart = np.zeros(labels.shape, dtype=np.bool_) if unconnected is None else unconnected
    if not labels.shape == surface_codes.shape == apart.shape:
        raise SurfaceError(
            f"labels of shape {labels.shape}, surfaces of {surface_codes.shape} and connections of {apart.shape}: "
            "give rasters of one shape"
        )
    inside = labels >= 0
    codes = surface_codes[inside]
    if codes.size and not 0 <= int(codes.min()) <= int(codes.max()) < len(surfaces):
        raise SurfaceError(f"surface codes from {codes.min()} to {codes.max()} for {len(surfaces)} surfaces")
    rows = np.stack([labels[inside], codes, apart[inside].astype(np.int64)], axis=1)
    keys, inverse, counts = np.unique(rows, axis=0, return_inverse=True, return_counts=True)
    return keys, counts, inverse.reshape(-1)
