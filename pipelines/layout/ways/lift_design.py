"""A lift: where its sump stands, the line it pushes through, and what really comes out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point

from pipelines.hydraulics.pipe_catalogue import Pipe, find_pipe
from pipelines.hydraulics.pumping.lift import LiftResult, size_lift
from pipelines.hydraulics.pumping.lift_limits import LiftLimits, float_levels, lift_limits
from pipelines.hydraulics.pumping.pressure_line import PressureLine
from pipelines.hydraulics.pumping.pump_curve import PumpCurve, pump_curve
from pipelines.hydraulics.pumping.sump_basin import SumpBasin, sump_basin
from pipelines.inputs.rules import Rules
from pipelines.layout.catching.sites import heights_along
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.plan import Fitting, PipeRun, Sump
from pipelines.layout.routing.spec import RoutedLine
from pipelines.layout.ways.lines import STATION, crossings_of
from terrain.arrays import FloatArray
from terrain.reason import reason

PRESSURE_PIPES = ("1-1/2 in sch 40", "2 in sch 40", "3 in sch 40")


def assumed_curve(rules: Rules) -> PumpCurve:
    """Curve of the pump that is assumed where none is given: a straight line from shut-off to its last flow."""
    return pump_curve(
        [0.0, rules["assumed_pump_end_flow"].likely],
        [rules["assumed_pump_shut_off"].likely, rules["assumed_pump_end_head"].likely],
    )


@dataclass(frozen=True, slots=True, eq=False)
class LiftDesign:
    """A sump with its pressure line.

    Attributes
    ----------
    sump : Sump
        The pumped basin.
    run : PipeRun
        Its pressure line.
    fittings : tuple of Fitting
        On it.
    result : LiftResult
        Operating point, heads, starts, and larger pipes beside it.
    line : PressureLine
        What the pump pushes against.
    """

    sump: Sump
    run: PipeRun
    fittings: tuple[Fitting, ...]
    result: LiftResult
    line: PressureLine


def design_lift(
    situation: Situation,
    curve: PumpCurve,
    point: Point,
    inlet: float,
    inflow: float,
    line: RoutedLine,
    *,
    outfall: str,
    outlet_level: float,
    number: int,
    run_number: int,
    crossing_kinds: Mapping[str, str],
) -> LiftDesign:
    """Size a sump, its pump's line and what comes out."""
    rules = situation.rules
    ground_here = float(heights_along(LineString([point, point]), situation.drainage)[0])
    wider = rules["sump_width_wider"]
    widths = (rules["sump_width"].likely, wider.low, wider.high)
    basins = [_yard_basin(rules, ground_here - inlet, width) for width in widths]
    # floats stand at the same heights in all of them
    bottom = inlet - basins[0].levels.inlet
    off = bottom + basins[0].levels.off
    laid, ground = _pressure_line(line, situation)
    highest = max(outlet_level, max(z for _, _, z in laid.coords))
    lift = highest - off
    elbows_45 = sum(len(angles) for _, angles in line.fittings)
    fittings = {"elbow_90": int(rules["elbows_at_sump"].likely), "elbow_45": elbows_45, "check_valve": 1}
    result, pipe, basin = _sized(curve, lift, laid.length, fittings, basins, inflow, lift_limits(rules))
    sump_id, run_id = f"sump-{number}", f"run-{run_number}"
    coordinates = list(laid.coords)
    depths = np.array([z for _, _, z in coordinates])
    run = PipeRun(
        id=run_id,
        from_id=sump_id,
        to_id=outfall,
        kind="pressure",
        purpose="discharge",
        size=pipe.size,
        standard=pipe.standard,
        pipe_key=pipe.key,
        line=laid,
        ground=tuple(float(z) for z in ground),
        length=float(laid.length),
        slope=None,
        invert_up=float(coordinates[0][2]),
        invert_down=float(coordinates[-1][2]),
        peak_flow=result.operating_flow,
        velocity=result.velocity,
        capacity=result.operating_flow,
        filled=None,
        least_cover=float((ground[:-1] - depths[:-1]).min() - pipe.outside + pipe.wall),
        deepest=float((ground - depths).max() + pipe.wall),
        under_paving=float(shapely.length(shapely.intersection(shapely.force_2d(laid), situation.paving))),
        crossings=crossings_of(line, crossing_kinds),
    )
    sump = Sump(
        id=sump_id,
        drains_to=run_id,
        point=point,
        lift=lift,
        operating_flow=result.operating_flow,
        operating_head=result.operating_head,
        velocity=result.velocity,
        inflow=inflow,
        starts_per_hour=result.starts_per_hour or 0.0,
        basin=reason("sump_basin_size", width=basin.diameter, depth=basin.depth),
        ground_elevation=bottom + basin.depth,
        inlet_elevation=inlet,
        off_elevation=off,
        bottom_elevation=bottom,
        minutes_without_power=result.minutes_without_power or 0.0,
        warnings=result.warnings,
        relief_flow=result.relief_flow,
    )
    parts = [
        Fitting(f"fitting-{run_id}-1", f"check valve with relief hole, {pipe.size}", run_id, point),
        *(
            Fitting(f"fitting-{run_id}-{k + 2}", f"45 degree elbow, {pipe.size}", run_id, Point(line.xy[vertex]))
            for k, vertex in enumerate(vertex for vertex, angles in line.fittings for _ in angles)
        ),
    ]
    pressure = PressureLine(lift, laid.length, result.inside, result.hazen_williams, fittings)
    return LiftDesign(sump, run, tuple(parts), result, pressure)


def _yard_basin(rules: Rules, inlet_depth: float, width: float) -> SumpBasin:
    """Basin of a width, as deep as its inlet needs."""
    inlet = rules["sump_inlet"].likely
    lid = rules["sump_lid"].likely
    depth = max(rules["sump_depth"].likely, inlet + max(inlet_depth, lid))
    return sump_basin(width, depth, float_levels(rules), lid=lid)


def _pressure_line(line: RoutedLine, situation: Situation) -> tuple[LineString, FloatArray]:
    """The line with a vertex every metre, and the ground above each. [m]"""
    dense = shapely.segmentize(line.line, STATION)
    xyz = shapely.get_coordinates(dense, include_z=True)
    stations = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line.xy, axis=0).T))])
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xyz[:, :2], axis=0).T))])
    laid = LineString(np.column_stack([xyz[:, :2], np.interp(at, stations, line.inverts)]))
    return laid, heights_along(laid, situation.drainage)


def _sized(
    curve: PumpCurve,
    lift: float,
    length: float,
    fittings: Mapping[str, int],
    basins: Sequence[SumpBasin],
    inflow: float,
    limits: LiftLimits,
) -> tuple[LiftResult, Pipe, SumpBasin]:
    """The smallest pipe and basin that move what arrives without short-cycling or too fast a line.

    Where none moves all of it, those that move most; where the pump would short-cycle in every basin, the smallest
    basin with the smallest pipe that is not too fast, and the result says which basin would do.
    """
    pipes = [find_pipe(key) for key in PRESSURE_PIPES]
    sound: list[tuple[LiftResult, Pipe, SumpBasin]] = []
    for pipe in pipes:
        for basin in basins:
            result = size_lift(
                curve, pipe, static_lift=lift, length=length, fittings=fittings, basin=basin, inflow=inflow,
                limits=limits,
            )
            starts = result.starts_per_hour
            if result.velocity > limits.fastest or starts is None or starts > limits.starts_per_hour:
                continue
            if result.operating_flow >= inflow:
                return result, pipe, basin
            sound.append((result, pipe, basin))
    if sound:
        return max(sound, key=lambda each: each[0].operating_flow)
    basin = basins[0]
    results = [
        size_lift(
            curve, pipe, static_lift=lift, length=length, fittings=fittings, basin=basin, inflow=inflow, limits=limits
        )
        for pipe in pipes
    ]
    slow = [k for k, result in enumerate(results) if result.velocity <= limits.fastest]
    chosen = slow[0] if slow else len(pipes) - 1
    return results[chosen], pipes[chosen], basin
