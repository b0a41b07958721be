"""What head a pump makes at what flow, from the points its seller prints."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import log
from typing import Literal

import numpy as np
from scipy.interpolate import PchipInterpolator

from pipelines.hydraulics.errors import HydraulicsError
from terrain.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class PumpCurve:
    """Head against flow, falling; made by `pump_curve`.

    Attributes
    ----------
    flow : (n,) float ndarray
        Rising. [m3/s]
    head : (n,) float ndarray
        Falling. [m]
    between : str
        How it is read between its points: quadratic (two points), power (three), monotone (more).
    """

    flow: FloatArray
    head: FloatArray
    between: Literal["quadratic", "power", "monotone"]

    @property
    def shut_off_head(self) -> float:
        """Head at its first point, which is at no flow for a whole curve. [m]"""
        return float(self.head[0])

    @property
    def last_flow(self) -> float:
        """Where it ends; it is never read past that. [m3/s]"""
        return float(self.flow[-1])


def pump_curve(flow: Sequence[float] | FloatArray, head: Sequence[float] | FloatArray) -> PumpCurve:
    """Pump curve from points.

    Two points that start at no flow are joined by H = H0 - b Q^2, three that do by H = H0 - b Q^c; any others by
    monotone cubic pieces, which never rise between falling points.

    Parameters
    ----------
    flow : sequence of float
        Rising, no value twice. [m3/s]
    head : sequence of float
        Falling. [m]

    Returns
    -------
    PumpCurve
        [m3/s], [m]

    Raises
    ------
    HydraulicsError
        If there are fewer than two points, a number is negative or not finite, flows repeat or fall, or heads do not
        fall.

    References
    ----------
    .. [1] Fritsch and Butland, "A method for constructing local monotone piecewise cubic interpolants", SIAM J. Sci.
       Stat. Comput. 5, 1984, doi:10.1137/0905021.
    """
    flows = np.asarray(flow, dtype=np.float64)
    heads = np.asarray(head, dtype=np.float64)
    if flows.ndim != 1 or flows.shape != heads.shape or flows.size < 2:
        raise HydraulicsError(
            f"a pump curve needs at least two points, here are {flows.size} flows and {heads.size} heads"
        )
    faults = [fault for point in range(flows.size) for fault in _faults(flows, heads, point)]
    if faults:
        raise HydraulicsError("pump curve: " + "; ".join(faults))
    if flows[0] > 0 or flows.size > 3:
        return PumpCurve(flows, heads, "monotone")
    return PumpCurve(flows, heads, "quadratic" if flows.size == 2 else "power")


def head_at(curve: PumpCurve, flow: float) -> float:
    """Head of the pump at a flow.

    Parameters
    ----------
    curve : PumpCurve
        The pump.
    flow : float
        Within the curve. [m3/s]

    Returns
    -------
    float
        [m]

    Raises
    ------
    HydraulicsError
        If the flow lies outside the curve: it is not extended.

    References
    ----------
    .. [1] Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5, 1984, doi:10.1137/0905021.
    """
    first, last = float(curve.flow[0]), curve.last_flow
    if not first <= flow <= last:
        raise HydraulicsError(
            f"flow {flow:.3g} m3/s lies outside the pump curve, which runs from {first:.3g} to {last:.3g} m3/s: it is "
            "not read past its ends"
        )
    if curve.between == "monotone":
        return float(_pieces(curve)(flow))
    drop = curve.head[0] - curve.head[-1]
    exponent = 2.0
    if curve.between == "power":
        exponent = log((curve.head[0] - curve.head[1]) / drop) / log(curve.flow[1] / last)
    return float(curve.head[0] - drop * (flow / last) ** exponent)


@lru_cache(maxsize=32)
def _pieces(curve: PumpCurve) -> PchipInterpolator:
    return PchipInterpolator(curve.flow, curve.head)


def _faults(flows: FloatArray, heads: FloatArray, point: int) -> list[str]:
    said = []
    for name, values in (("flow", flows), ("head", heads)):
        if not (np.isfinite(values[point]) and values[point] >= 0):
            said.append(f"{name} of point {point + 1} is {values[point]}, it must be a finite number of 0 or above")
    if said or point == 0:
        return said
    if flows[point] == flows[point - 1]:
        said.append(f"flow of point {point + 1} is the same as of point {point}")
    elif flows[point] < flows[point - 1]:
        said.append(f"flow of point {point + 1} is below that of point {point}: put the points in rising order of flow")
    if heads[point] >= heads[point - 1]:
        said.append(f"head of point {point + 1} is not below that of point {point}: head must fall as flow grows")
    return said
