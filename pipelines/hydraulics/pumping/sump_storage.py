"""Water that waits for a pump: a hydrograph through storage and a pump that runs whenever there is water."""

from dataclasses import dataclass
from math import inf

import numpy as np

from pipelines.hydraulics.limits import require_not_negative, require_positive
from terrain.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class PumpedStorm:
    """Where the water of a storm went at a pump.

    Attributes
    ----------
    step : float
        [s]
    pumped, spilled : (n,) float ndarray
        Mean flow of each step that the pump delivers, and that finds the storage full and backs up. [m3/s]
    stored : (n + 1,) float ndarray
        In the storage before the first step and after each. [m3]
    """

    step: float
    pumped: FloatArray
    spilled: FloatArray
    stored: FloatArray


def route_through_pump(inflow: FloatArray, step: float, *, delivered: float, capacity: float) -> PumpedStorm:
    """A hydrograph through a storage that a pump empties at a constant flow.

    Parameters
    ----------
    inflow : (n,) float ndarray
        Mean flow of each step. [m3/s]
    step : float
        [s]
    delivered : float
        That the pump delivers while there is water. [m3/s]
    capacity : float
        Of the storage; may be infinite. [m3]

    Returns
    -------
    PumpedStorm
        [m3/s], [m3]

    Raises
    ------
    HydraulicsError
        If a number means nothing.

    Notes
    -----
    S1 = min(max(S0 + (I - Q) dt, 0), capacity): exact for an inflow that is constant over a step. The pump is taken to
    run at its delivered flow for the share of a step that there is water for.

    References
    ----------
    .. [1] Chow, V. T., Maidment, D. R., Mays, L. W., "Applied Hydrology", 1988, sec. 8.1, storage by continuity.
    """
    require_positive(step=step)
    require_not_negative(delivered=delivered, least_inflow=float(np.min(inflow, initial=0.0)))
    if capacity != inf:
        require_not_negative(capacity=capacity)
    stored = np.zeros(inflow.size + 1)
    for k, net in enumerate(((inflow - delivered) * step).tolist()):
        stored[k + 1] = min(max(stored[k] + net, 0.0), capacity)
    came = stored[:-1] / step + inflow
    pumped = np.minimum(came, delivered)
    spilled = np.maximum(came - pumped - stored[1:] / step, 0.0)
    return PumpedStorm(step, pumped, spilled, stored)


def storage_needed(inflow: FloatArray, step: float, *, delivered: float) -> float:
    """Least storage with which nothing of a hydrograph backs up at a pump.

    Parameters
    ----------
    inflow : (n,) float ndarray
        Mean flow of each step. [m3/s]
    step : float
        [s]
    delivered : float
        That the pump delivers while there is water. [m3/s]

    Returns
    -------
    float
        [m3]

    Raises
    ------
    HydraulicsError
        If a number means nothing.

    References
    ----------
    .. [1] As of `route_through_pump`; the greatest distance between the mass curves of inflow and pump.
    """
    return float(route_through_pump(inflow, step, delivered=delivered, capacity=inf).stored.max())
