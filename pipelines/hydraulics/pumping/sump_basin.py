"""The basin a pump stands in: float levels, how often the pump starts, what it holds without power."""

from dataclasses import dataclass
from math import inf, pi, sqrt

from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_not_negative, require_positive
from terrain.unit_table import HOUR, INCH

MOST_STARTS_PER_HOUR = 15.0
"""Above it the motor suffers; common practice, as NEMA MG 10 allows a 1 hp two-pole motor. [1/h]"""

FLOAT_MARGIN = 1.5
"""Water between on and off over what drains back, so that it does not lift the float; common practice. [-]"""


@dataclass(frozen=True, slots=True)
class FloatLevels:
    """Heights above the basin's bottom; `inlet` is the invert of the lowest pipe that comes in. [m]"""

    off: float
    on: float
    alarm: float
    inlet: float


YARD_LEVELS = FloatLevels(8 * INCH, 20 * INCH, 23 * INCH, 24 * INCH)
"""Those of a yard sump; common practice, no source."""

LID = 6 * INCH
"""Least height of a sump's rim above its inlet; common practice, no source. [m]"""


@dataclass(frozen=True, slots=True)
class SumpBasin:
    """A round basin, measured inside. [m]"""

    diameter: float
    depth: float
    levels: FloatLevels

    @property
    def area(self) -> float:
        """[m2]"""
        return pi * self.diameter**2 / 4

    @property
    def cycle_volume(self) -> float:
        """Water between pump on and pump off. [m3]"""
        return self.area * (self.levels.on - self.levels.off)

    @property
    def reserve_volume(self) -> float:
        """Water it can take above pump on before it runs over the rim. [m3]"""
        return self.area * (self.depth - self.levels.on)


def sump_basin(diameter: float, depth: float, levels: FloatLevels = YARD_LEVELS, *, lid: float = LID) -> SumpBasin:
    """Round basin with float levels; where it is too shallow for its inlet, that and what hangs on it stand lower."""
    require_positive(diameter=diameter, depth=depth)
    sunk = max(0.0, levels.inlet + lid - depth)
    levels = FloatLevels(levels.off, levels.on - sunk, levels.alarm - sunk, levels.inlet - sunk)
    require_not_negative(pump_off_level=levels.off)
    if not levels.off < levels.on < levels.alarm <= depth or not levels.on < levels.inlet <= depth:
        raise HydraulicsError(
            f"a basin {depth / INCH:.3g} in deep cannot hold pump off at {levels.off / INCH:.3g}, on at "
            f"{levels.on / INCH:.3g}, alarm at {levels.alarm / INCH:.3g} and inlet at {levels.inlet / INCH:.3g} in "
            "above its bottom: each must lie above the one before and below the rim; take a deeper basin"
        )
    return SumpBasin(diameter, depth, levels)


@dataclass(frozen=True, slots=True)
class Cycling:
    """How a pump runs and rests.

    Attributes
    ----------
    starts_per_hour : float
        [1/h]
    inflow : float
        At which that is. [m3/s]
    run, rest : float
        Of one cycle; no rest where what drains back starts it again at once. [s]
    """

    starts_per_hour: float
    inflow: float
    run: float
    rest: float


def worst_cycling(pump_flow: float, cycle_volume: float, drain_back: float = 0.0) -> Cycling:
    """Starts an hour at the inflow that makes them most.

    Parameters
    ----------
    pump_flow : float
        That the pump moves. [m3/s]
    cycle_volume : float
        Between pump on and off. [m3]
    drain_back : float, optional
        Water that runs back out of the line when the pump stops. [m3]

    Returns
    -------
    Cycling
        [1/h], [m3/s], [s]

    Raises
    ------
    HydraulicsError
        If the pump's flow or the volume is not above zero, or the drain-back negative.

    Notes
    -----
    A cycle lasts (V - b)/q + V/(Q - q). It is shortest, (sqrt(V) + sqrt(V - b))^2 / Q, at
    q = Q sqrt(V - b) / (sqrt(V) + sqrt(V - b)); with no drain-back at half the pump's flow, where it lasts 4 V/Q.

    References
    ----------
    .. [1] US Army, EI 11C201 (UFC 3-240-04A), March 1997, Table 7-1: V = t q / 4 for b = 0.
    """
    require_positive(pump_flow=pump_flow, cycle_volume=cycle_volume)
    require_not_negative(drain_back=drain_back)
    if drain_back >= cycle_volume:
        return cycling_at(0.0, pump_flow, cycle_volume, drain_back)
    full, fresh = sqrt(cycle_volume), sqrt(cycle_volume - drain_back)
    return cycling_at(pump_flow * fresh / (full + fresh), pump_flow, cycle_volume, drain_back)


def cycling_at(inflow: float, pump_flow: float, cycle_volume: float, drain_back: float = 0.0) -> Cycling:
    """Starts an hour, run and rest at one inflow.

    Parameters
    ----------
    inflow, pump_flow : float
        [m3/s]
    cycle_volume, drain_back : float
        [m3]

    Returns
    -------
    Cycling
        No starts where nothing comes, or where as much comes as the pump moves and it never stops. [1/h], [m3/s], [s]

    Raises
    ------
    HydraulicsError
        If the pump's flow or the volume is not above zero, or another number negative.

    References
    ----------
    .. [1] US Army, EI 11C201 (UFC 3-240-04A), March 1997, ch. 7.
    """
    require_positive(pump_flow=pump_flow, cycle_volume=cycle_volume)
    require_not_negative(inflow=inflow, drain_back=drain_back)
    if inflow >= pump_flow:
        return Cycling(0.0, inflow, inf, 0.0)
    if drain_back >= cycle_volume:
        # the line's water alone lifts the float, so the pump chases it without rest even when nothing comes
        run = drain_back / (pump_flow - inflow)
        return Cycling(HOUR / run, inflow, run, 0.0)
    run = cycle_volume / (pump_flow - inflow)
    if inflow == 0:
        return Cycling(0.0, 0.0, run, inf)
    rest = (cycle_volume - drain_back) / inflow
    return Cycling(HOUR / (run + rest), inflow, run, rest)


def cycle_volume_needed(
    pump_flow: float,
    starts_per_hour: float = MOST_STARTS_PER_HOUR,
    drain_back: float = 0.0,
    float_margin: float = FLOAT_MARGIN,
) -> float:
    """Water between pump on and off that keeps starts at the worst inflow to a number.

    Parameters
    ----------
    pump_flow : float
        [m3/s]
    starts_per_hour : float, optional
        [1/h]
    drain_back : float, optional
        [m3]
    float_margin : float, optional
        Least volume over the drain-back. [-]

    Returns
    -------
    float
        [m3]

    Raises
    ------
    HydraulicsError
        If the flow or the starts are not above zero, or the drain-back negative.

    References
    ----------
    .. [1] US Army, EI 11C201 (UFC 3-240-04A), March 1997, Table 7-1: V = t q / 4 for no drain-back.
    """
    require_positive(pump_flow=pump_flow, starts_per_hour=starts_per_hour)
    require_not_negative(drain_back=drain_back)
    root = sqrt(pump_flow * HOUR / starts_per_hour)
    # below sqrt(b) the run alone is long enough, and only the float's margin over what drains back counts
    needed = ((root + drain_back / root) / 2) ** 2 if root**2 > drain_back else 0.0
    return max(needed, float_margin * drain_back)
