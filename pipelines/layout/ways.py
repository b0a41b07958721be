"""The ways to carry a lot's water off, each laid out as far as it goes: gravity, daylight, pump, soakaway."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely import Point

from pipelines.hydraulics.errors import PumpTooWeakError
from pipelines.hydraulics.pump_curve import PumpCurve
from pipelines.inputs.site_file import SiteFile
from pipelines.layout.collection import BasinSite
from pipelines.layout.design_flows import DesignFlows
from pipelines.layout.fall_to_spare import fall_to_spare
from pipelines.layout.laying import (
    GravityAnswer,
    LayGround,
    LaySettings,
    collectors_of,
    error_of_fall,
    lay_gravity,
    route_spec,
    settings_to_try,
    verdict_of,
)
from pipelines.layout.lift_design import LiftDesign, design_lift
from pipelines.layout.lines import LaidLines
from pipelines.layout.outfall_sites import OutfallSite
from pipelines.layout.plan import Discharge, Fitting, Mode, Outfall, Verdict
from pipelines.layout.pressure_route import route_pressure
from pipelines.layout.proposal import Catching
from pipelines.layout.quantities import Works
from pipelines.layout.route_spec import OutfallTarget
from pipelines.layout.situation import Situation

FOOT = 0.3048
SUMP_TRIES = 8
"""Places that are tried for a sump. [-]"""
SUMP_REACH = 12.0
"""How far from what it lifts a sump is looked for. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class WayInputs:
    """All that a way is laid out from.

    Attributes
    ----------
    site : SiteFile
        What the site file says.
    ground : LayGround
        What lines are laid in.
    catching : Catching
        What collects.
    flows : DesignFlows
        What it must take.
    outfalls, daylights : tuple of OutfallSite
        Where lines may end.
    curve : PumpCurve
        Of the pump.
    curve_given : bool
        Whether the user gave it.
    """

    site: SiteFile
    ground: LayGround
    catching: Catching
    flows: DesignFlows
    outfalls: tuple[OutfallSite, ...]
    daylights: tuple[OutfallSite, ...]
    curve: PumpCurve
    curve_given: bool

    @property
    def situation(self) -> Situation:
        """The lot."""
        return self.ground.situation

    @property
    def wanted(self) -> tuple[str, ...]:
        """Ids of basins and drains: what must be served."""
        return tuple(site.id for site in (*self.catching.basins, *self.catching.drains))

    @property
    def spouts(self) -> tuple[str, ...]:
        """Ids of downspouts: served where gravity serves them."""
        return tuple(site.id for site in self.catching.downspouts)


@dataclass(frozen=True, slots=True, eq=False)
class LaidOut:
    """One way, laid out.

    Attributes
    ----------
    mode : str
        gravity, daylight, pump or soakaway.
    possible : bool
        False where it cannot be laid out; `depends_on` then says why.
    works : Works
        Lines, sumps and fittings; basins and drains come with the plan.
    outfalls : tuple of Outfall
        Where lines end.
    discharges : tuple of Discharge
        Lines of works, and how sure each is.
    served : mapping of str to str
        Outfall by collector.
    capacities : mapping of str to float
        What each collector's line takes. [m3/s]
    limits : mapping of str to float
        Most that leaves by an outfall. [m3/s]
    lines : tuple of LaidLines
        The gravity lines, for their grade lines.
    fall_to_spare, deepest : float or None
        Least, and deepest dig. [m]
    depends_on : str
        What must hold for it.
    warnings, deciding : tuple of str
        What a reader must know; the shots that decide.
    """

    mode: Mode
    possible: bool
    works: Works = field(default_factory=Works)
    outfalls: tuple[Outfall, ...] = ()
    discharges: tuple[Discharge, ...] = ()
    served: Mapping[str, str] = field(default_factory=dict)
    capacities: Mapping[str, float] = field(default_factory=dict)
    limits: Mapping[str, float] = field(default_factory=dict)
    lines: tuple[LaidLines, ...] = ()
    fall_to_spare: float | None = None
    deepest: float | None = None
    depends_on: str = ""
    warnings: tuple[str, ...] = ()
    deciding: tuple[str, ...] = ()

    @property
    def sure(self) -> bool:
        """Whether every line of it is sure."""
        return self.possible and all(each.verdict == "sure" for each in self.discharges)


def lay_out_ways(inputs: WayInputs) -> tuple[LaidOut, ...]:
    """Every way to carry the water off.

    Parameters
    ----------
    inputs : WayInputs
        The lot, what collects, and where it may end.

    Returns
    -------
    tuple of LaidOut
        Gravity, daylight, pump and soakaway, possible or not.
    """
    gravity = _by_gravity(inputs, inputs.outfalls, "gravity")
    daylight = _by_gravity(inputs, inputs.daylights, "daylight")
    pump = _by_pump(inputs, gravity)
    return (gravity[0], daylight[0], pump, _by_soakaway(inputs))


def _by_gravity(
    inputs: WayInputs, targets: Sequence[OutfallSite], mode: Mode
) -> tuple[LaidOut, GravityAnswer | None]:
    if not targets:
        none = {
            "gravity": "no outfall was given and none was found beyond the frontage",
            "daylight": "no place on the lot lies low enough, clear of line, walk and house, and drains to the street",
        }[mode]
        return LaidOut(mode, False, depends_on=none), None
    best: GravityAnswer | None = None
    for settings in settings_to_try(inputs.situation.rules, inputs.site.layout):
        answer = lay_gravity(
            inputs.ground, inputs.catching, inputs.flows.flows, (*inputs.wanted, *inputs.spouts), targets, settings
        )
        if best is None or _unserved(answer, inputs.wanted) < _unserved(best, inputs.wanted):
            best = answer
        if not _unserved(best, inputs.wanted):
            break
    assert best is not None
    missing = [name for name in inputs.wanted if name in best.unserved]
    if missing:
        why = best.unserved[missing[0]]
        return LaidOut(mode, False, depends_on=f"{', '.join(missing)}: {why}", fall_to_spare=_least(best)), best
    return _laid_by_gravity(inputs, best, mode), best


def _unserved(answer: GravityAnswer, wanted: Sequence[str]) -> int:
    return sum(name in answer.unserved for name in wanted)


def _least(answer: GravityAnswer) -> float | None:
    return min(answer.spare.values(), default=None)


def _laid_by_gravity(inputs: WayInputs, answer: GravityAnswer, mode: Mode) -> LaidOut:
    discharges, deciding = _discharges(inputs, answer, mode)
    warnings = list(_line_warnings(inputs, answer))
    depends = sorted({outfall.to_confirm for outfall in answer.outfalls if outfall.to_confirm})
    return LaidOut(
        mode=mode,
        possible=True,
        works=Works(pipe_runs=answer.lines.runs, fittings=(*answer.lines.fittings, *_pop_ups(answer))),
        outfalls=answer.outfalls,
        discharges=discharges,
        served=answer.lines.served,
        capacities={name: inputs.flows.flows[name] for name in answer.lines.served},
        lines=(answer.lines,),
        fall_to_spare=_least(answer),
        deepest=max((run.deepest for run in answer.lines.runs), default=None),
        depends_on=" ".join(depends),
        warnings=tuple(warnings),
        deciding=deciding,
    )


def _pop_ups(answer: GravityAnswer) -> list[Fitting]:
    return [
        Fitting(f"fitting-{outfall.id}", "pop-up", run.id, outfall.point)
        for outfall in answer.outfalls
        if outfall.kind == "daylight"
        for run in answer.lines.runs
        if run.to_id == outfall.id
    ]


def _line_warnings(inputs: WayInputs, answer: GravityAnswer) -> list[str]:
    said = []
    if answer.settings.words and answer.lines.runs:
        said.append(f"gravity lines are {answer.settings.words}")
    for name in answer.lines.surcharged:
        said.append(f"water comes out of {name} in the design storm: its line is too small even in the largest size")
    for name in inputs.spouts:
        if name in answer.unserved:
            why = answer.unserved[name]
            said.append(f"{name} cannot be tied in by gravity ({why}): lead it over the ground instead")
    if any(line.near_line for line in answer.forest.lines):
        said.append("a line runs nearer to a neighbour's line than the offset asks: find the pins first")
    if any(line.assumed for line in answer.forest.lines):
        said.append("no right of way is given: whose ground lies between the lot and the outfall must be asked")
    if not answer.forest.exact:
        said.append(
            f"more collectors than are searched exactly: another layout may cost up to {answer.forest.gap:.0%} less"
        )
    return said


def _discharges(
    inputs: WayInputs, answer: GravityAnswer, mode: Mode
) -> tuple[tuple[Discharge, ...], tuple[str, ...]]:
    """One for each outfall that lines end at."""
    discharges: list[Discharge] = []
    deciding: list[str] = []
    for outfall in answer.outfalls:
        serves = tuple(name for name, end in answer.lines.served.items() if end == outfall.id)
        told = [(answer.spare[name], answer.error[name], name) for name in serves if name in answer.spare]
        spare, error, tightest = min(told) if told else (None, None, serves[0])
        verdict = "cannot_tell" if spare is None or error is None else verdict_of(spare, error)
        why = _why(spare, error, tightest, outfall, verdict)
        if verdict != "sure":
            shots = (f"the ground at {tightest}", f"the bottom of {outfall.id} ({outfall.kind})")
            deciding += [shot for shot in shots if shot not in deciding]
            why += f" Two shots of a level would settle it: {shots[0]} and {shots[1]}."
        if not outfall.verified and mode == "gravity":
            verdict = "cannot_tell"
            why += " The outfall was found in the lidar, not given: confirm that it is one."
        discharges.append(Discharge(serves, outfall.id, mode, verdict, why, spare, error, None))
    return tuple(discharges), tuple(deciding)


def _why(spare: float | None, error: float | None, name: str, outfall: Outfall, verdict: str) -> str:
    if spare is None or error is None:
        return f"The fall from {name} to {outfall.id} cannot be read from this ground."
    words = f"{spare / FOOT:.2f} ft ({spare * 100:.0f} cm) of fall to spare from {name} to {outfall.id}"
    doubt = f"the lidar's error of that fall is {error / FOOT:.2f} ft ({error * 100:.0f} cm)"
    if verdict == "sure":
        return f"{words}, and {doubt}."
    if verdict == "no":
        return f"{words}: it is short by more than {doubt}."
    return f"{words}, but {doubt}: it may be short."


def _by_pump(inputs: WayInputs, gravity: tuple[LaidOut, GravityAnswer | None]) -> LaidOut:
    """Lift what gravity cannot serve; where gravity serves all, lift all for comparison. Roofs never go through it."""
    if not inputs.outfalls:
        return LaidOut("pump", False, depends_on="no outfall was given and none was found beyond the frontage")
    laid, answer = gravity
    lifted = [name for name in inputs.wanted if answer is None or name in answer.unserved]
    if laid.possible or not lifted:
        lifted = list(inputs.wanted)
    by_gravity = [name for name in (*inputs.wanted, *inputs.spouts) if name not in lifted]
    rest = _rest_by_gravity(inputs, by_gravity)
    first = len(rest.lines.runs) + 1 if rest is not None else 1
    try:
        found = _cheapest_lift(inputs, lifted, first)
    except PumpTooWeakError as error:
        return LaidOut("pump", False, depends_on=str(error))
    if found is None:
        return LaidOut("pump", False, depends_on="no place for a sump can be reached, or no way leads on from it")
    feed, lift, outfall = found
    return _laid_by_pump(inputs, lifted, rest, feed, lift, outfall)


def _rest_by_gravity(inputs: WayInputs, names: Sequence[str]) -> GravityAnswer | None:
    if not names:
        return None
    best: GravityAnswer | None = None
    for settings in settings_to_try(inputs.situation.rules, inputs.site.layout):
        answer = lay_gravity(
            inputs.ground, inputs.catching, inputs.flows.flows, names, inputs.outfalls, settings
        )
        if best is None or len(answer.unserved) < len(best.unserved):
            best = answer
        if not best.unserved:
            break
    return best


def sump_places(inputs: WayInputs, lifted: Sequence[str]) -> list[Point]:
    """Places where a sump may stand, nearest to what it lifts first.

    On the lot, its edge 5 ft from any wall and its pit outside the 45-degree plane of the footing, clear of
    keep-outs and paving.

    Parameters
    ----------
    inputs : WayInputs
        The lot.
    lifted : sequence of str
        Ids of what it lifts.

    Returns
    -------
    list of shapely Point
        At most `SUMP_TRIES`, apart from each other. [m]
    """
    situation, rules = inputs.situation, inputs.situation.rules
    radius = rules["sump_width"].likely / 2.0
    pit = rules["sump_depth"].likely + 0.5
    footing = situation.footing_depth if situation.footing_depth is not None else 0.3
    off_wall = max(rules["sump_wall_offset"].likely + radius, pit - footing + radius)
    free = shapely.difference(
        shapely.buffer(situation.parcel, -rules["line_offset"].likely),
        shapely.union_all([shapely.buffer(situation.roofs, off_wall), situation.keep_out, situation.paving]),
    )
    starts = [site.point if isinstance(site, BasinSite) else site.low_end
              for site in (*inputs.catching.basins, *inputs.catching.drains) if site.id in lifted]
    field_grid = inputs.ground.field.grid
    rows, columns = np.nonzero(inputs.ground.field.allowed)
    x, y = field_grid.centres(rows, columns)
    inside = shapely.contains_xy(free, x, y)
    away = sum(np.hypot(x - start.x, y - start.y) for start in starts)
    chosen: list[Point] = []
    for k in np.argsort(np.where(inside, away, np.inf), kind="stable"):
        if not inside[k] or away[k] > SUMP_REACH * len(starts) or len(chosen) == SUMP_TRIES:
            break
        point = Point(float(x[k]), float(y[k]))
        if all(shapely.distance(point, other) >= 2.0 for other in chosen):
            chosen.append(point)
    return chosen


def _cheapest_lift(
    inputs: WayInputs, lifted: Sequence[str], first: int
) -> tuple[GravityAnswer, LiftDesign, OutfallSite] | None:
    """The place for a sump whose lines cost least, collectors to it and pressure line from it together."""
    rules = inputs.situation.rules
    settings = LaySettings(rules["slope_4in_smooth"].likely, rules["cover_lawn"].low)
    spec, _ = route_spec(inputs.ground, settings)
    best: tuple[float, GravityAnswer, LiftDesign, OutfallSite] | None = None
    weak: PumpTooWeakError | None = None
    for point in sump_places(inputs, lifted):
        heights = inputs.ground.field.ground[inputs.ground.field.grid.cells(point.x, point.y)]
        site = OutfallSite("sump-1", "sump", point, float(heights) - 1.1, float(heights) - 1.1, True, "")
        feed = lay_gravity(inputs.ground, inputs.catching, inputs.flows.flows, lifted, (site,), settings, first=first)
        if feed.unserved or not feed.lines.runs:
            continue
        onward = [
            (route.cost, k, route)
            for k, outfall in enumerate(inputs.outfalls)
            if (route := route_pressure(inputs.ground.field, point, _target(outfall), spec)) is not None
        ]
        if not onward:
            continue
        cost, k, route = min(onward, key=lambda each: each[:2])
        outfall = inputs.outfalls[k]
        inflow = sum(inputs.flows.flows[name] for name in lifted)
        try:
            lift = design_lift(
                inputs.situation, inputs.curve, point, min(run.invert_down for run in feed.lines.runs), inflow, route,
                outfall=outfall.id, outlet_level=outfall.level, number=1, run_number=first + len(feed.lines.runs),
                crossing_words={c.id: f"{c.kind}: dig by hand" for c in inputs.ground.field.crossings},
            )
        except PumpTooWeakError as error:
            weak = error
            continue
        total = feed.forest.cost + cost
        if best is None or total < best[0]:
            best = (total, feed, lift, outfall)
    if best is None and weak is not None:
        raise weak
    return None if best is None else best[1:]


def _target(site: OutfallSite) -> OutfallTarget:
    return OutfallTarget(site.id, site.point, site.level)


def _laid_by_pump(
    inputs: WayInputs,
    lifted: Sequence[str],
    rest: GravityAnswer | None,
    feed: GravityAnswer,
    lift: LiftDesign,
    outfall: OutfallSite,
) -> LaidOut:
    total = sum(inputs.flows.flows[name] for name in lifted)
    moved = min(1.0, lift.sump.operating_flow / total) if total > 0.0 else 1.0
    capacities = {name: inputs.flows.flows[name] * moved for name in lifted}
    outfalls: dict[str, Outfall] = {each.id: each for each in (rest.outfalls if rest is not None else ())}
    discharges: tuple[Discharge, ...] = ()
    warnings: list[str] = [f"{lift.sump.id}: {text}" for text in lift.sump.warnings]
    served = dict.fromkeys(lifted, outfall.id)
    deciding: tuple[str, ...] = ()
    if rest is not None:
        discharges, deciding = _discharges(inputs, rest, "gravity")
        warnings += _line_warnings(inputs, rest)
        capacities |= {name: inputs.flows.flows[name] for name in rest.lines.served}
        served |= rest.lines.served
    if not inputs.curve_given:
        warnings.append("no pump curve is given: 28 ft at no flow to 5 ft at 90 gpm is assumed (common practice)")
    verdict, spare, error = _lift_verdict(inputs, lifted, outfall)
    outfalls.setdefault(
        outfall.id,
        Outfall(outfall.id, outfall.kind, outfall.point, outfall.verified, outfall.level, spare, error, None,
                outfall.to_confirm),
    )
    why = (
        f"{lift.sump.lift / FOOT:.1f} ft ({lift.sump.lift:.2f} m) of static lift; the pump on its line moves "
        f"{lift.sump.operating_flow * 15850.3:.0f} gpm ({lift.sump.operating_flow * 1000.0:.1f} l/s)."
    )
    if verdict == "cannot_tell":
        shots = (f"the ground at {lifted[0]}", f"the bottom of {outfall.id} ({outfall.kind})")
        deciding = (*deciding, *(shot for shot in shots if shot not in deciding))
        why += f" Gravity is short by less than the lidar can tell: shots at {shots[0]} and {shots[1]} would settle it."
    pumped = Discharge(tuple(lifted), outfall.id, "pump", verdict, why, spare, error, lift.sump.lift)
    runs = (*(rest.lines.runs if rest is not None else ()), *feed.lines.runs, lift.run)
    fittings = (*(rest.lines.fittings if rest is not None else ()), *feed.lines.fittings, *lift.fittings)
    depends = "Power at the sump, and someone who tests the pump."
    return LaidOut(
        mode="pump",
        possible=True,
        works=Works(pipe_runs=runs, sumps=(lift.sump,), fittings=fittings),
        outfalls=tuple(outfalls[name] for name in sorted(outfalls)),
        discharges=(*discharges, pumped),
        served=served,
        capacities=capacities,
        limits={outfall.id: lift.sump.operating_flow} if outfall.id not in (rest.lines.served.values() if rest else ())
        else {},
        lines=tuple(each.lines for each in (rest, feed) if each is not None),
        fall_to_spare=spare,
        deepest=max(run.deepest for run in runs),
        depends_on=f"{depends} {outfall.to_confirm}",
        warnings=tuple(warnings),
        deciding=deciding,
    )


def _lift_verdict(
    inputs: WayInputs, lifted: Sequence[str], outfall: OutfallSite
) -> tuple[Verdict, float | None, float | None]:
    """Whether a lift is needed for sure: how far gravity falls short of the outfall, against the lidar's error."""
    spares = spare_to(inputs, lifted, outfall)
    if spares is None:
        return "sure", None, None
    spare, error = spares
    return ("cannot_tell" if verdict_of(spare, error) == "cannot_tell" else "sure"), spare, error


def spare_to(
    inputs: WayInputs, names: Sequence[str], outfall: OutfallSite
) -> tuple[float, float] | None:
    """Least fall to spare, and its error, from some collectors to an outfall; negative where gravity is short. [m]"""
    settings = settings_to_try(inputs.situation.rules, inputs.site.layout)[0]
    spec, _ = route_spec(inputs.ground, settings)
    lay_field = replace(inputs.ground.field, cover=np.maximum(inputs.ground.field.cover, settings.cover))
    found: list[tuple[float, float]] = []
    for collector in collectors_of(inputs.catching, inputs.flows.flows, names, spec, settings):
        pipe = spec.pipes[spec.pipe_for(collector.flow)]
        fall = fall_to_spare(lay_field, _target(outfall), pipe, slope=pipe.min_slope)
        cell = lay_field.nearest_allowed(collector.point.x, collector.point.y)
        if cell is not None and np.isfinite(fall.spare[cell]):
            found.append((float(fall.spare[cell]), error_of_fall(collector.point, outfall.point, inputs.ground)))
    return min(found, default=None)


def _by_soakaway(inputs: WayInputs) -> LaidOut:
    soil = inputs.site.soil
    if soil.tested_rate is None or soil.water_table is None:
        return LaidOut(
            "soakaway",
            False,
            depends_on="not assessed: it needs a rate tested on site at its depth and the depth of high water "
            "(soil.tested_rate and soil.water_table in the site file); a soil map alone does not do",
        )
    return LaidOut("soakaway", False, depends_on="not assessed")
