"""A lift: where the pump's curve meets the line's, and what follows from that."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, isfinite, pi

from scipy.optimize import brentq

from pipelines.hydraulics.errors import HydraulicsError, PumpTooWeakError
from pipelines.hydraulics.limits import require_not_negative, require_positive
from pipelines.hydraulics.pipe_catalogue import Pipe, inside_diameter, next_sizes_up
from pipelines.hydraulics.pumping.pressure_line import (
    PressureLine,
    jet_height,
    line_head,
    relief_hole_flow,
    velocity_warnings,
)
from pipelines.hydraulics.pumping.pump_curve import PumpCurve, head_at
from pipelines.hydraulics.pumping.sump_basin import (
    MOST_STARTS_PER_HOUR,
    Cycling,
    SumpBasin,
    cycle_volume_needed,
    cycling_at,
    worst_cycling,
)
from terrain.unit_table import FOOT, GALLON_PER_MINUTE


@dataclass(frozen=True, slots=True)
class LiftResult:
    """A pump on its line in its basin.

    Attributes
    ----------
    pipe_key : str
        Pipe of the catalogue.
    inside, hazen_williams : float
        Inside diameter and C that friction rests on. [m], [-]
    operating_flow, operating_head : float
        Where the curves meet; the flow is a least one where `past_curve_end`. [m3/s], [m]
    static_lift, friction_head, minor_head, fittings_head, exit_head : float
        Parts of the operating head; minor is fittings and exit. [m]
    velocity : float
        In the line. [m/s]
    jet_height : float
        Velocity head at the open end. [m]
    past_curve_end : bool
        The pump would move more than the last point of its curve.
    relief_flow : float
        Of the operating flow, what the relief hole under the check valve sends back. [m3/s]
    drain_back : float
        Water that runs back into the basin when the pump stops. [m3]
    inflow : float or None
        Peak that arrives. [m3/s]
    excess_inflow : float or None
        How much of it is more than the pump moves. [m3/s]
    worst, at_inflow : Cycling or None
        At the inflow that makes most starts, and at the peak; None without a basin.
    cycle_volume, cycle_volume_needed : float or None
        Between on and off, and what keeps starts to the limit. [m3]
    minutes_without_power : float or None
        Until the basin runs over at the peak inflow with the pump dead, from pump on. [min]
    warnings : tuple of str
        What a reader must know.
    alternatives : tuple of LiftResult
        The same line in the next larger sizes.
    """

    pipe_key: str
    inside: float
    hazen_williams: float
    operating_flow: float
    operating_head: float
    static_lift: float
    friction_head: float
    fittings_head: float
    exit_head: float
    velocity: float
    jet_height: float
    past_curve_end: bool
    relief_flow: float
    drain_back: float
    inflow: float | None
    excess_inflow: float | None
    worst: Cycling | None
    at_inflow: Cycling | None
    cycle_volume: float | None
    cycle_volume_needed: float | None
    minutes_without_power: float | None
    warnings: tuple[str, ...]
    alternatives: tuple["LiftResult", ...] = ()

    @property
    def minor_head(self) -> float:
        """Fittings and exit. [m]"""
        return self.fittings_head + self.exit_head

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
        raise PumpTooWeakError(
            f"the pump makes {_head(curve.shut_off_head)} at its first point and the static lift is "
            f"{_head(line.static_lift)}: nothing comes out; take a pump with more head"
        )
    if spare(first) <= 0:
        raise HydraulicsError(
            f"pump and line meet before the first point of the curve, {_flow(first)}: add points of less flow"
        )
    if spare(last) > 0:
        return inf
    return float(brentq(spare, first, last, xtol=1e-14, rtol=1e-12))


def size_lift(
    curve: PumpCurve,
    pipe: Pipe,
    *,
    static_lift: float,
    length: float,
    fittings: Mapping[str, int],
    basin: SumpBasin | None = None,
    inflow: float | None = None,
    outlet_bore: float | None = None,
    hazen_williams: float | None = None,
    by_average_wall: bool = False,
    line_drains_back: bool = True,
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
        How many elbow_90, elbow_45, check_valve, ...; the exit is always counted.
    basin : SumpBasin, optional
        Without one no starts and storage are given.
    inflow : float, optional
        Peak that arrives. [m3/s]
    outlet_bore : float, optional
        Inside diameter of the open end where it differs. [m]
    hazen_williams : float, optional
        C in place of the catalogue's. [-]
    by_average_wall : bool, optional
        Take the smaller inside diameter in circulation.
    line_drains_back : bool, optional
        The line empties into the basin when the pump stops, as the relief hole lets it; at once, to be safe.
    alternatives : int, optional
        How many larger sizes to set beside it. [-]

    Returns
    -------
    LiftResult
        [m3/s], [m], [m/s]

    Raises
    ------
    PumpTooWeakError
        If the pump does not reach the static lift.
    HydraulicsError
        If a number is out of range, a fitting unknown, or the pipe has no C.

    References
    ----------
    .. [1] Hazen and Williams, "Hydraulic Tables", 3rd ed., 1920; Crane, "Flow of Fluids", TP-410.
    .. [2] US Army, EI 11C201 (UFC 3-240-04A), March 1997, Table 7-1, for the starts.
    """
    require_positive(length=length)
    if inflow is not None:
        require_not_negative(inflow=inflow)
    c_factor = hazen_williams if hazen_williams is not None else pipe.hazen_williams
    if c_factor is None:
        raise HydraulicsError(f"{pipe.key!r} is no pressure pipe, it has no Hazen-Williams C: take sch 40, or give C")
    line = PressureLine(
        static_lift, length, inside_diameter(pipe, by_average_wall=by_average_wall), c_factor, fittings, outlet_bore
    )
    larger = tuple(
        size_lift(
            curve, other, static_lift=static_lift, length=length, fittings=fittings, basin=basin, inflow=inflow,
            outlet_bore=outlet_bore, hazen_williams=hazen_williams, by_average_wall=by_average_wall,
            line_drains_back=line_drains_back, alternatives=0,
        )
        for other in next_sizes_up(pipe, alternatives)
    )
    return _result(curve, pipe.key, line, basin, inflow, line_drains_back, larger)


def _result(
    curve: PumpCurve,
    pipe_key: str,
    line: PressureLine,
    basin: SumpBasin | None,
    inflow: float | None,
    line_drains_back: bool,
    alternatives: tuple[LiftResult, ...],
) -> LiftResult:
    flow = operating_flow(curve, line)
    past_end = not isfinite(flow)
    if past_end:
        flow = curve.last_flow
    head = line_head(line, flow)
    relief = relief_hole_flow(head.total) if line.fittings.get("check_valve") else 0.0
    drain_back = pi * line.inside**2 / 4 * line.length if line_drains_back else 0.0
    worst = at_inflow = needed = minutes = None
    if basin is not None:
        worst = worst_cycling(flow, basin.cycle_volume, drain_back)
        needed = cycle_volume_needed(flow, MOST_STARTS_PER_HOUR, drain_back)
        if inflow is not None:
            at_inflow = cycling_at(inflow, flow, basin.cycle_volume, drain_back)
            minutes = basin.reserve_volume / inflow / 60 if inflow > 0 else inf
    return LiftResult(
        pipe_key=pipe_key,
        inside=line.inside,
        hazen_williams=line.hazen_williams,
        operating_flow=flow,
        operating_head=head.total,
        static_lift=head.static,
        friction_head=head.friction,
        fittings_head=head.fittings,
        exit_head=head.exit,
        velocity=head.velocity,
        jet_height=jet_height(flow, line.outlet_bore or line.inside),
        past_curve_end=past_end,
        relief_flow=relief,
        drain_back=drain_back,
        inflow=inflow,
        excess_inflow=None if inflow is None else max(inflow - flow, 0.0),
        worst=worst,
        at_inflow=at_inflow,
        cycle_volume=None if basin is None else basin.cycle_volume,
        cycle_volume_needed=needed,
        minutes_without_power=minutes,
        warnings=(
            *_curve_warnings(curve, flow, past_end),
            *velocity_warnings(head.velocity),
            *_inflow_warnings(flow, inflow, minutes),
            *_cycling_warnings(worst, needed, basin),
        ),
        alternatives=alternatives,
    )


def _curve_warnings(curve: PumpCurve, flow: float, past_end: bool) -> tuple[str, ...]:
    said = []
    if past_end:
        said.append(
            f"the pump would move more than the last point of its curve, {_flow(flow)}: the curve is not read past its "
            "end, so take this as the least it moves and get the rest of the curve"
        )
    if curve.between == "quadratic":
        said.append("the curve has two points only and is read as a parabola between them")
    return tuple(said)


def _inflow_warnings(flow: float, inflow: float | None, minutes: float | None) -> tuple[str, ...]:
    said = []
    if inflow is not None and inflow > flow:
        said.append(f"{_flow(inflow)} arrive at the peak, {_flow(inflow - flow)} more than the pump moves: it backs up")
    if minutes is not None and isfinite(minutes):
        said.append(f"without power the basin runs over after {minutes:.1f} min at the peak inflow")
    return tuple(said)


def _cycling_warnings(worst: Cycling | None, needed: float | None, basin: SumpBasin | None) -> tuple[str, ...]:
    if worst is None or needed is None or basin is None or worst.starts_per_hour <= MOST_STARTS_PER_HOUR:
        return ()
    drawdown = needed / basin.area
    # the width that would hold it between the floats as they are
    width = (needed / (pi / 4 * (basin.levels.on - basin.levels.off))) ** 0.5
    cure = (
        f"{needed * 1000:.0f} litres ({needed / GALLON_PER_MINUTE / 60:.0f} gal) between on and off would keep it to "
        f"{MOST_STARTS_PER_HOUR:.0f}: {drawdown / FOOT * 12:.0f} in of drawdown in this basin, or a basin "
        f"{width / FOOT * 12:.0f} in wide with the floats as they are"
    )
    if worst.rest > 0:
        return (f"short-cycles: {worst.starts_per_hour:.0f} starts an hour at {_flow(worst.inflow)} of inflow; {cure}",)
    return (f"short-cycles without end: what drains back out of the line lifts the float again; {cure}",)


def _flow(flow: float) -> str:
    return f"{flow / GALLON_PER_MINUTE:.1f} gpm ({flow * 1000:.2f} l/s)"


def _head(head: float) -> str:
    return f"{head / FOOT:.1f} ft ({head:.2f} m)"
