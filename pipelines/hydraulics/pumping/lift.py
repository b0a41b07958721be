"""A lift: where the pump's curve meets the line's, and what follows from that."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, isfinite, pi

from scipy.optimize import brentq

from pipelines.hydraulics.errors import HydraulicsError, PumpTooWeakError
from pipelines.hydraulics.limits import require_not_negative, require_positive
from pipelines.hydraulics.pipe_catalogue import Pipe, next_sizes_up
from pipelines.hydraulics.pumping.lift_limits import LiftLimits, velocity_warnings
from pipelines.hydraulics.pumping.pressure_line import PressureLine, line_head, relief_hole_flow
from pipelines.hydraulics.pumping.pump_curve import PumpCurve, head_at
from pipelines.hydraulics.pumping.sump_basin import Cycling, SumpBasin, cycle_volume_needed, worst_cycling
from terrain.reason import Reason, reason
from terrain.unit_table import MINUTE


@dataclass(frozen=True, slots=True)
class LiftResult:
    """A pump on its line in its basin; what hangs on basin or inflow is None without them.

    Attributes
    ----------
    inside, hazen_williams : float
        Inside diameter and C that friction rests on. [m], [-]
    pumps : int
        Each on a line of its own; what else is told here is of one of them, but `delivered_flow` and `excess_inflow`.
    operating_flow, operating_head : float
        Where the curves meet; the flow is a least one where `past_curve_end`. [m3/s], [m]
    static_lift, friction_head, fittings_head, exit_head : float
        Parts of the operating head. [m]
    velocity : float
        In the line. [m/s]
    past_curve_end : bool
        The pump would move more than the last point of its curve.
    relief_flow : float
        Of the operating flow, what the relief hole under the check valve sends back. [m3/s]
    drain_back : float
        Water that runs back into the basin when the pump stops. [m3]
    inflow, excess_inflow : float or None
        Peak that arrives, and how much of it is more than is delivered. [m3/s]
    worst : Cycling or None
        At the inflow that makes most starts.
    cycle_volume, cycle_volume_needed : float or None
        Between on and off, and what keeps starts to the limit. [m3]
    minutes_without_power : float or None
        Until the basin runs over at the peak inflow with the pump dead, from pump on. [min]
    alternatives : tuple of LiftResult
        The same line in the next larger sizes.
    """

    pipe_key: str
    pumps: int
    inside: float
    hazen_williams: float
    operating_flow: float
    operating_head: float
    static_lift: float
    friction_head: float
    fittings_head: float
    exit_head: float
    velocity: float
    past_curve_end: bool
    relief_flow: float
    drain_back: float
    inflow: float | None
    excess_inflow: float | None
    worst: Cycling | None
    cycle_volume: float | None
    cycle_volume_needed: float | None
    minutes_without_power: float | None
    warnings: tuple[Reason, ...]
    alternatives: tuple["LiftResult", ...] = ()

    @property
    def delivered_flow(self) -> float:
        """What leaves by the lines: the operating flow less what the relief hole sends back, of all pumps. [m3/s]"""
        return self.pumps * max(self.operating_flow - self.relief_flow, 0.0)

    @property
    def minor_head(self) -> float:
        """Fittings and exit. [m]"""
        return self.fittings_head + self.exit_head

    @property
    def jet_height(self) -> float:
        """How high water stands over an open end that points up; air and falling water make what is seen lower. [m]"""
        return self.exit_head

    @property
    def starts_per_hour(self) -> float | None:
        """At the worst inflow; None without a basin. [1/h]"""
        return None if self.worst is None else self.worst.starts_per_hour


def operating_flow(curve: PumpCurve, line: PressureLine) -> float:
    """Flow at which the pump's head equals what the line takes.

    Parameters
    ----------
    curve : PumpCurve
        The pump.
    line : PressureLine
        The line.

    Returns
    -------
    float
        Infinite where they would meet past the end of the curve. [m3/s]

    Raises
    ------
    PumpTooWeakError
        If the pump does not reach the static lift.
    HydraulicsError
        If they would meet before the first point of the curve.

    References
    ----------
    .. [1] White, "Fluid Mechanics", ch. 11, matching a pump to a system.
    """

    def spare(flow: float) -> float:
        return head_at(curve, flow) - line_head(line, flow).total

    first, last = float(curve.flow[0]), curve.last_flow
    if curve.shut_off_head <= line.static_lift:
        raise PumpTooWeakError(curve.shut_off_head, line.static_lift)
    if spare(first) <= 0:
        raise HydraulicsError("pump and line meet before the first point of the curve: add points of less flow")
    if spare(last) > 0:
        return inf
    return float(brentq(spare, first, last, xtol=1e-14, rtol=1e-12))


LIMITS = LiftLimits()
ROUND_OFF = 1e-9
"""Share by which an inflow may be over what is delivered and still be the same. [-]"""


def size_lift(
    curve: PumpCurve,
    pipe: Pipe,
    *,
    static_lift: float,
    length: float,
    fittings: Mapping[str, int],
    basin: SumpBasin | None = None,
    inflow: float | None = None,
    limits: LiftLimits = LIMITS,
    pumps: int = 1,
    alternatives: int = 2,
) -> LiftResult:
    """A pump on a line: operating point, head breakdown, velocity, starts, and the same line in larger sizes.

    Parameters
    ----------
    curve : PumpCurve
        The pump.
    pipe : Pipe
        The discharge line's pipe.
    static_lift : float
        From the pump-off level to the highest point of the line or its outlet, whichever is higher. [m]
    length : float
        Of the line. [m]
    fittings : mapping of str to int
        How many elbow_90, elbow_45 and check_valve; the exit is always counted.
    basin : SumpBasin, optional
        Without one no starts and storage are given.
    inflow : float, optional
        Peak that arrives. [m3/s]
    limits : LiftLimits, optional
        What it is warned of, and the size of its relief hole.
    pumps : int, optional
        That deliver together, each on a line of its own. [-]
    alternatives : int, optional
        How many larger sizes to set beside it. [-]

    Returns
    -------
    LiftResult
        [m3/s], [m], [m/s]

    Raises
    ------
    PumpTooWeakError
        If the pump does not reach the static lift, or its relief hole sends back all that it moves.
    HydraulicsError
        If a number is out of range, a fitting unknown, or the pipe has no C.

    References
    ----------
    .. [1] Hazen and Williams, "Hydraulic Tables", 3rd ed., 1920; Crane, "Flow of Fluids", TP-410.
    .. [2] US Army, EI 11C201 (UFC 3-240-04A), March 1997, Table 7-1, for the starts.
    """
    require_positive(length=length, pumps=pumps)
    if inflow is not None:
        require_not_negative(inflow=inflow)
    if pipe.hazen_williams is None:
        raise HydraulicsError(f"{pipe.key!r} is no pressure pipe, it has no Hazen-Williams C: take sch 40")
    line = PressureLine(static_lift, length, pipe.inside, pipe.hazen_williams, fittings)
    larger = tuple(
        size_lift(
            curve, other, static_lift=static_lift, length=length, fittings=fittings, basin=basin, inflow=inflow,
            limits=limits, pumps=pumps, alternatives=0,
        )
        for other in next_sizes_up(pipe, alternatives)
    )
    return _result(curve, pipe.key, line, basin, inflow, limits, pumps, larger)


def _result(
    curve: PumpCurve,
    pipe_key: str,
    line: PressureLine,
    basin: SumpBasin | None,
    inflow: float | None,
    limits: LiftLimits,
    pumps: int,
    alternatives: tuple[LiftResult, ...],
) -> LiftResult:
    flow = operating_flow(curve, line)
    past_end = not isfinite(flow)
    if past_end:
        flow = curve.last_flow
    head = line_head(line, flow)
    relief = relief_hole_flow(head.total, limits.relief_hole) if line.fittings.get("check_valve") else 0.0
    leaves = max(flow - relief, 0.0)
    if leaves == 0.0:
        # the relief hole sends back all that the pump moves
        raise PumpTooWeakError(curve.shut_off_head, line.static_lift)
    # the relief hole lets the line empty when the pump stops; at once, to be safe
    drain_back = pi * line.inside**2 / 4 * line.length
    worst = needed = minutes = None
    if basin is not None:
        worst = worst_cycling(leaves, basin.cycle_volume, drain_back)
        needed = cycle_volume_needed(leaves, limits.starts_per_hour, drain_back, limits.float_margin)
        if inflow is not None:
            minutes = basin.reserve_volume / inflow / MINUTE if inflow > 0 else inf
    return LiftResult(
        pipe_key=pipe_key,
        pumps=pumps,
        inside=line.inside,
        hazen_williams=line.hazen_williams,
        operating_flow=flow,
        operating_head=head.total,
        static_lift=head.static,
        friction_head=head.friction,
        fittings_head=head.fittings,
        exit_head=head.exit,
        velocity=head.velocity,
        past_curve_end=past_end,
        relief_flow=relief,
        drain_back=drain_back,
        inflow=inflow,
        excess_inflow=None if inflow is None else max(inflow - pumps * leaves, 0.0),
        worst=worst,
        cycle_volume=None if basin is None else basin.cycle_volume,
        cycle_volume_needed=needed,
        minutes_without_power=minutes,
        warnings=(
            *_curve_warnings(curve, flow, past_end),
            *velocity_warnings(head.velocity, limits),
            *_inflow_warnings(pumps * leaves, inflow, minutes),
            *_cycling_warnings(worst, needed, basin, limits.starts_per_hour),
        ),
        alternatives=alternatives,
    )


def _curve_warnings(curve: PumpCurve, flow: float, past_end: bool) -> list[Reason]:
    said = []
    if past_end:
        said.append(reason("pump_past_its_curve", flow=flow))
    if curve.between == "quadratic":
        said.append(reason("pump_curve_of_two_points"))
    return said


def _inflow_warnings(delivered: float, inflow: float | None, minutes: float | None) -> list[Reason]:
    said = []
    if inflow is not None and inflow > delivered * (1.0 + ROUND_OFF):
        said.append(reason("more_than_the_pump_moves", inflow=inflow, excess=inflow - delivered))
    if minutes is not None and isfinite(minutes):
        said.append(reason("sump_without_power", time=minutes * MINUTE))
    return said


def _cycling_warnings(
    worst: Cycling | None, needed: float | None, basin: SumpBasin | None, most: float
) -> tuple[Reason, ...]:
    if worst is None or needed is None or basin is None or worst.starts_per_hour <= most:
        return ()
    # the width that would hold it between the floats as they are
    width = (needed / (pi / 4 * (basin.levels.on - basin.levels.off))) ** 0.5
    cure = reason("sump_that_would_do", volume=needed, most=most, drawdown=needed / basin.area, width=width)
    if worst.rest > 0:
        return (reason("pump_short_cycles", starts=worst.starts_per_hour, inflow=worst.inflow, cure=cure),)
    return (reason("pump_chases_its_line", cure=cure),)
