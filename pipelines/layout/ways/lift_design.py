"""A lift: where its sump stands, the line it pushes through, and what really comes out."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, Point

from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.pipe_catalogue import Pipe, find_pipe
from pipelines.hydraulics.pumping.lift import LiftResult, size_lift
from pipelines.hydraulics.pumping.lift_limits import LiftLimits, float_levels, lift_limits
from pipelines.hydraulics.pumping.pressure_line import PressureLine
from pipelines.hydraulics.pumping.pump_curve import PumpCurve, pump_curve
from pipelines.hydraulics.pumping.sump_basin import SumpBasin, sump_basin
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.inputs.rules import Rules
from pipelines.layout.catching.sites import heights_along
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.plan import Fitting, FrenchDrain, PipeRun, Said, Sump
from pipelines.layout.routing.spec import RoutedLine
from pipelines.layout.ways.lines import STATION, crossings_of
from terrain.arrays import FloatArray
from terrain.reason import Reason, reason


def pressure_pipes(rules: Rules) -> tuple[Pipe, ...]:
    """Pipes that a pressure line may be, small before large."""
    pipes = [find_pipe(name) for name in rules["pressure_pipes"].names]
    loose = [pipe.key for pipe in pipes if pipe.hazen_williams is None]
    if loose:
        raise HydraulicsError(f"{', '.join(loose)}: no pipe for pressure; write one as in '2 in sch 40'")
    return tuple(sorted(pipes, key=lambda pipe: pipe.inside))


def assumed_curve(rules: Rules) -> PumpCurve:
    """Curve of the pump that is assumed where none is given: a straight line from shut-off to its last flow."""
    return pump_curve(
        [0.0, rules["assumed_pump_end_flow"].likely],
        [rules["assumed_pump_shut_off"].likely, rules["assumed_pump_end_head"].likely],
    )


@dataclass(frozen=True, slots=True, eq=False)
class LiftDesign:
    """A sump with its pressure lines.

    Attributes
    ----------
    sump : Sump
        The pumped basin.
    runs : tuple of PipeRun
        A pressure line for each pump.
    stone : tuple of FrenchDrain
        Trenches whose voids store what the pump cannot move at once.
    fittings : tuple of Fitting
        On the lines.
    result : LiftResult
        Operating point, heads, starts, and larger pipes beside it.
    line : PressureLine
        What one pump pushes against.
    inflow : Hydrograph
        What reaches the sump in the design storm with the works; its peak is the sump's inflow.
    """

    sump: Sump
    runs: tuple[PipeRun, ...]
    stone: tuple[FrenchDrain, ...]
    fittings: tuple[Fitting, ...]
    result: LiftResult
    line: PressureLine
    inflow: Hydrograph

    @property
    def copes(self) -> bool:
        """Pumps and storage take what reaches the sump, or the hollows it comes from stay within what is tolerated."""
        return self.sump.copes

    @property
    def why_copes(self) -> Said:
        """By what it copes, or what it falls short by."""
        return self.sump.why_copes


@dataclass(frozen=True, slots=True)
class LiftOption:
    """One size of a lift: the pumps, each on a line of its own of one pipe, and the basin they stand in."""

    result: LiftResult
    pipe: Pipe
    basin: SumpBasin


@dataclass(frozen=True, slots=True, eq=False)
class LiftPlace:
    """Where a lift stands and what it must push through, whatever its size.

    Attributes
    ----------
    situation : Situation
        The lot.
    curve : PumpCurve
        Of the pump.
    point : shapely Point
        Of the sump.
    inlet : float
        Lowest invert that comes in. [m]
    route : RoutedLine
        Its pressure line as routed.
    laid : LineString
        As laid; z is the invert. [m]
    ground : (n,) float ndarray
        Above each vertex of it. [m]
    basins : tuple of SumpBasin
        The widths that are tried, whose floats stand at the same heights.
    static_lift : float
        [m]
    """

    situation: Situation
    curve: PumpCurve
    point: Point
    inlet: float
    route: RoutedLine
    laid: LineString
    ground: FloatArray
    basins: tuple[SumpBasin, ...]
    static_lift: float

    @property
    def fittings(self) -> dict[str, int]:
        """On a line, by kind."""
        elbows_45 = sum(len(angles) for _, angles in self.route.fittings)
        elbows_90 = int(self.situation.rules["elbows_at_sump"].likely)
        return {"elbow_90": elbows_90, "elbow_45": elbows_45, "check_valve": 1}

    @property
    def bottom(self) -> float:
        """Of the basin. [m]"""
        return self.inlet - self.basins[0].levels.inlet

    @property
    def on_level(self) -> float:
        """At which the first pump starts. [m]"""
        return self.bottom + self.basins[0].levels.on


def lift_place(
    situation: Situation, curve: PumpCurve, point: Point, inlet: float, route: RoutedLine, *, outlet_level: float
) -> LiftPlace:
    """What a lift must push through from a sump at a place."""
    rules = situation.rules
    ground_here = float(heights_along(LineString([point, point]), situation.drainage)[0])
    wider = rules["sump_width_wider"]
    widths = (rules["sump_width"].likely, wider.low, wider.high)
    basins = tuple(_yard_basin(rules, ground_here - inlet, width) for width in widths)
    off = inlet - basins[0].levels.inlet + basins[0].levels.off
    laid, ground = _pressure_line(route, situation)
    highest = max(outlet_level, max(z for _, _, z in laid.coords))
    return LiftPlace(situation, curve, point, inlet, route, laid, ground, basins, highest - off)


def lift_options(place: LiftPlace, inflow: float) -> tuple[tuple[LiftOption, ...], tuple[Reason, ...]]:
    """Sizes of a lift that may be built, one pump before two, small pipe before large; and pipes refused, with why.

    Of each pipe the smallest basin in which the pump does not short-cycle. Where every line is too fast or every
    basin too small, the smallest basin with the smallest pipe that is not too fast stands alone for one pump and for
    two, and its result says which basin would do.
    """
    limits = lift_limits(place.situation.rules)
    pipes = pressure_pipes(place.situation.rules)
    found = [(pipe, _sound(place, inflow, limits, pipe)) for pipe in pipes]
    sound = [(pipe, option.basin) for pipe, option in found if isinstance(option, LiftOption)]
    refused = tuple(why for _, why in found if isinstance(why, Reason))
    if not sound:
        results = [_result_of(place, inflow, limits, pipe, place.basins[0], 1) for pipe in pipes]
        slow = [k for k, result in enumerate(results) if result.velocity <= limits.fastest]
        sound, refused = [(pipes[slow[0] if slow else -1], place.basins[0])], ()
    options = tuple(
        LiftOption(_result_of(place, inflow, limits, pipe, basin, pumps), pipe, basin)
        for pumps in (1, 2) for pipe, basin in sound
    )
    return options, refused


def with_inflow(place: LiftPlace, option: LiftOption, inflow: float) -> LiftOption:
    """The same size, told for another inflow. [m3/s]"""
    limits = lift_limits(place.situation.rules)
    result = _result_of(place, inflow, limits, option.pipe, option.basin, option.result.pumps)
    return replace(option, result=result)


def _sound(place: LiftPlace, inflow: float, limits: LiftLimits, pipe: Pipe) -> LiftOption | Reason:
    """A pipe with the smallest basin that it does not short-cycle in, or why it is refused."""
    for basin in place.basins:
        result = _result_of(place, inflow, limits, pipe, basin, 1)
        starts = result.starts_per_hour or 0.0
        if result.velocity > limits.fastest:
            return reason("lift_too_fast", pipe=pipe.key, velocity=result.velocity, most=limits.fastest)
        if starts <= limits.starts_per_hour:
            return LiftOption(result, pipe, basin)
    return reason("lift_short_cycles", pipe=pipe.key, starts=starts, width=basin.diameter)


def _result_of(
    place: LiftPlace, inflow: float, limits: LiftLimits, pipe: Pipe, basin: SumpBasin, pumps: int
) -> LiftResult:
    return size_lift(
        place.curve, pipe, static_lift=place.static_lift, length=float(place.laid.length), fittings=place.fittings,
        basin=basin, inflow=inflow, limits=limits, pumps=pumps,
    )


def design_lift(
    place: LiftPlace,
    option: LiftOption,
    *,
    outfall: str,
    number: int,
    run_number: int,
    crossing_kinds: Mapping[str, str],
    inflow: Hydrograph,
    storage: float,
    stone: tuple[FrenchDrain, ...],
    copes: bool,
    why_copes: Reason,
    compared: tuple[Reason, ...],
) -> LiftDesign:
    """A lift of one size as works: its sump, a pressure line for each pump, and their fittings."""
    result, pipe, basin = option.result, option.pipe, option.basin
    sump_id = f"sump-{number}"
    first = _pressure_run(place, option, f"run-{run_number}", sump_id, outfall, crossing_kinds)
    runs = (first, *(
        replace(first, id=f"run-{run_number + more}", beside=first.id) for more in range(1, result.pumps)
    ))
    sump = Sump(
        id=sump_id,
        drains_to=first.id,
        point=place.point,
        lift=place.static_lift,
        operating_flow=result.operating_flow,
        operating_head=result.operating_head,
        velocity=result.velocity,
        inflow=result.inflow or 0.0,
        starts_per_hour=result.starts_per_hour or 0.0,
        basin=reason("sump_basin_size", width=basin.diameter, depth=basin.depth),
        ground_elevation=place.bottom + basin.depth,
        inlet_elevation=place.inlet,
        off_elevation=place.bottom + basin.levels.off,
        bottom_elevation=place.bottom,
        minutes_without_power=result.minutes_without_power or 0.0,
        # what is more than the pumps move waits in storage, where the lift copes
        warnings=tuple(said for said in result.warnings if not (copes and said.code == "more_than_the_pump_moves")),
        delivered_flow=result.delivered_flow,
        pumps=result.pumps,
        storage=storage,
        copes=copes,
        why_copes=why_copes,
        compared=compared,
    )
    parts = tuple(part for run in runs for part in _parts(place, pipe, run.id))
    pressure = PressureLine(
        place.static_lift, float(place.laid.length), result.inside, result.hazen_williams, place.fittings
    )
    return LiftDesign(sump, runs, stone, parts, result, pressure, inflow)


def _pressure_run(
    place: LiftPlace, option: LiftOption, run_id: str, sump_id: str, outfall: str, crossing_kinds: Mapping[str, str]
) -> PipeRun:
    """One pump's line; what flows in it is what that pump delivers."""
    pipe, laid, ground = option.pipe, place.laid, place.ground
    delivered = option.result.delivered_flow / option.result.pumps
    coordinates = list(laid.coords)
    depths = np.array([z for _, _, z in coordinates])
    paved = shapely.intersection(shapely.force_2d(laid), place.situation.paving)
    return PipeRun(
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
        peak_flow=delivered,
        velocity=option.result.velocity,
        capacity=delivered,
        filled=None,
        least_cover=float((ground[:-1] - depths[:-1]).min() - pipe.outside + pipe.wall),
        deepest=float((ground - depths).max() + pipe.wall),
        under_paving=float(shapely.length(paved)),
        crossings=crossings_of(place.route, crossing_kinds),
    )


def _parts(place: LiftPlace, pipe: Pipe, run_id: str) -> tuple[Fitting, ...]:
    elbows = [vertex for vertex, angles in place.route.fittings for _ in angles]
    return (
        Fitting(f"fitting-{run_id}-1", f"check valve with relief hole, {pipe.size}", run_id, place.point),
        *(
            Fitting(f"fitting-{run_id}-{k + 2}", f"45 degree elbow, {pipe.size}", run_id, Point(place.route.xy[vertex]))
            for k, vertex in enumerate(elbows)
        ),
    )


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
