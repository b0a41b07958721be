"""A drive over a swale: its culvert and the drive itself share the flow."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import brentq

from pipelines.hydraulics.channel.culvert import Culvert, CulvertFlow, culvert_flow
from pipelines.hydraulics.limits import require_finite, require_not_negative
from pipelines.hydraulics.weir import ROADWAY_COEFFICIENT, overtopping_flow
from terrain.arrays import FloatArray

# Share of the free flow that a submerged road passes, by tailwater over headwater above the crest: read off the
# curve for paved roads from memory.
_SUBMERGED = np.array([0.0, 0.80, 0.86, 0.90, 0.93, 0.96, 0.98, 1.0])
_SHARE = np.array([1.0, 1.0, 0.98, 0.95, 0.90, 0.80, 0.70, 0.55])


@dataclass(frozen=True, slots=True, eq=False)
class DriveCrossing:
    """A drive across a swale.

    Attributes
    ----------
    culvert : Culvert or None
        None where none is known: all water goes over the drive.
    along, crest : (n,) float ndarray
        Distance along the drive's ridge, rising, and its height. [m]
    coefficient : float
        Of the drive as a weir. [m^0.5/s]
    """

    culvert: Culvert | None
    along: FloatArray
    crest: FloatArray
    coefficient: float = ROADWAY_COEFFICIENT

    @property
    def lowest(self) -> float:
        """Level at which water begins to run over it. [m]"""
        return float(self.crest.min())


@dataclass(frozen=True, slots=True)
class CrossingFlow:
    """How a flow passes a drive.

    Attributes
    ----------
    headwater : float
        Level upstream. [m]
    through, over : float
        What the culvert and the drive carry. [m3/s]
    governs : str
        inlet, outlet (of the culvert), weir, or none where nothing flows.
    culvert : CulvertFlow or None
        How the culvert runs.
    """

    headwater: float
    through: float
    over: float
    governs: Literal["inlet", "outlet", "weir", "none"]
    culvert: CulvertFlow | None


def drive_weir_flow(crossing: DriveCrossing, headwater: float, tailwater: float) -> float:
    """Flow over a drive, less where the tailwater drowns it.

    Parameters
    ----------
    crossing : DriveCrossing
        The drive.
    headwater, tailwater : float
        Levels up- and downstream. [m]

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    HydraulicsError
        If a level is not finite.

    References
    ----------
    .. [1] FHWA, "Hydraulic Design of Highway Culverts", HDS-5, 3rd ed., FHWA-HIF-12-026, 2012, ch. 3, roadway
       overtopping; the share of a submerged road from memory of its chart.
    """
    require_finite(headwater=headwater, tailwater=tailwater)
    if headwater <= crossing.lowest:
        return 0.0
    free = overtopping_flow(crossing.along, crossing.crest, headwater, crossing.coefficient)
    submerged = max(tailwater - crossing.lowest, 0.0) / (headwater - crossing.lowest)
    return free * float(np.interp(submerged, _SUBMERGED, _SHARE))


def crossing_flow(crossing: DriveCrossing, flow: float, *, tailwater: float) -> CrossingFlow:
    """Level upstream of a drive at which its culvert and the drive together pass a flow.

    Parameters
    ----------
    crossing : DriveCrossing
        The drive.
    flow : float
        [m3/s]
    tailwater : float
        Level downstream. [m]

    Returns
    -------
    CrossingFlow
        [m], [m3/s]

    Raises
    ------
    HydraulicsError
        If the flow is negative or the level not finite.

    References
    ----------
    .. [1] FHWA, HDS-5, 3rd ed., FHWA-HIF-12-026, 2012, ch. 3: culvert and road share the flow at one headwater.
    """
    require_not_negative(flow=flow)
    require_finite(tailwater=tailwater)
    culvert = crossing.culvert
    if flow == 0.0:
        level = tailwater if culvert is None else culvert_flow(culvert, flow, tailwater=tailwater).headwater
        return CrossingFlow(level, 0.0, 0.0, "none", None)
    if culvert is None:
        return CrossingFlow(_weir_level(crossing, flow, tailwater), 0.0, flow, "weir", None)

    def over(through: float) -> float:
        return drive_weir_flow(crossing, culvert_flow(culvert, through, tailwater=tailwater).headwater, tailwater)

    all_through = culvert_flow(culvert, flow, tailwater=tailwater)
    if all_through.headwater <= crossing.lowest:
        return CrossingFlow(all_through.headwater, flow, 0.0, all_through.governs, all_through)
    least = 1e-6 * flow
    if least + over(least) >= flow:
        # the drive is so low that it takes the flow before the culvert runs
        return CrossingFlow(max(_weir_level(crossing, flow, tailwater), tailwater), 0.0, flow, "weir", None)
    through = float(brentq(lambda part: part + over(part) - flow, least, flow, xtol=1e-6 * flow, rtol=1e-7))
    shared = culvert_flow(culvert, through, tailwater=tailwater)
    over_drive = flow - through
    governs: Literal["inlet", "outlet", "weir"] = "weir" if over_drive > through else shared.governs
    return CrossingFlow(shared.headwater, through, over_drive, governs, shared)


def _weir_level(crossing: DriveCrossing, flow: float, tailwater: float) -> float:
    low = max(crossing.lowest, tailwater)
    if drive_weir_flow(crossing, low, tailwater) >= flow:
        return low
    high = low + 0.1
    while drive_weir_flow(crossing, high, tailwater) < flow:
        high += high - low
    return float(brentq(lambda level: drive_weir_flow(crossing, level, tailwater) - flow, low, high, xtol=1e-7))
