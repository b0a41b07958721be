"""Laying gravity lines from collectors to outfalls: settings tried in turn, pipes priced, spare and verdict told."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from pipelines.hydraulics.manning import full_pipe_capacity
from pipelines.hydraulics.pipe_catalogue import Pipe, find_pipe, sizes_of
from pipelines.inputs.ground_rules import lidar_noise
from pipelines.inputs.rules import Rules
from pipelines.inputs.site_sections import Layout
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.catching.sites import BasinSite, DrainSite
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.plan import Outfall, Verdict
from pipelines.layout.quantities.take_off import UnitPrice
from pipelines.layout.routing.fall_to_spare import fall_to_spare
from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.router import route_forest
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutedForest, RoutedLine, RoutePipe, RouteSpec
from pipelines.layout.ways.lines import END_TAPER, LaidLines, LineGround, lay_lines
from pipelines.layout.ways.outfall_sites import OutfallSite
from terrain.lidar_error import fall_error
from terrain.reason import Reason

FOOT = 0.3048
STANDARD = "SDR-35"
MOST_SIZES = 4
SHOT_ERROR = 0.01
"""Error of a fall between two shots of a level; common practice, no source. [m]"""
SIGMAS = 1.28
"""Standard errors by which a fall must stand clear of nothing: one in ten is then wrong. [-]"""
SIX_INCH = 0.14
"""Pipe of a smaller nominal size is small. [m]"""
DEEP_DIG = 0.9
"""Below this a trench costs more a foot than above it; common practice, no source. [m]"""


@dataclass(frozen=True, slots=True)
class LaySettings:
    """How lines are laid: least slope [-], least cover under lawn [m], and what a reader must know of it."""

    slope: float
    cover: float
    words: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class LayGround:
    """What lines are laid in.

    Attributes
    ----------
    situation : Situation
        The lot.
    field : RouteField
        Where a trench may run.
    prices : mapping of str to UnitPrice
        For pipe, labour and fittings.
    layout : Layout
        Choices that must be kept.
    keep_out : tuple of (shapely Geometry, str)
        Keep-outs without their setbacks, and the kind of each in small letters. [m]
    """

    situation: Situation
    field: RouteField
    prices: Mapping[str, UnitPrice]
    layout: Layout
    keep_out: tuple[tuple[BaseGeometry, str], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class GravityAnswer:
    """Gravity lines for some collectors.

    Attributes
    ----------
    settings : LaySettings
        What they were laid by.
    lines : LaidLines
        Runs, fittings, grade line.
    forest : RoutedForest
        As routed.
    outfalls : tuple of Outfall
        Those that are used.
    unserved : dict of str to Reason
        Collectors without a gravity line, and why.
    spare, error : dict of str to float
        By collector that is served: fall to spare by the trade's target, and its standard error. [m]
    margin : dict of str to float
        By collector that is served: fall to spare by the slope and cover that its line is laid by. [m]
    """

    settings: LaySettings
    lines: LaidLines
    forest: RoutedForest
    outfalls: tuple[Outfall, ...]
    unserved: dict[str, Reason]
    spare: dict[str, float]
    error: dict[str, float]
    margin: dict[str, float]


def settings_to_try(rules: Rules, layout: Layout) -> tuple[LaySettings, ...]:
    """Slopes and covers to lay by, the trade's target first, then its floors."""
    slopes, covers = rules["slope_4in_smooth"], rules["cover_lawn"]
    target, floor = (layout.slope, layout.slope) if layout.slope else (slopes.likely, slopes.low)
    deep, shallow = (layout.cover, layout.cover) if layout.cover else (covers.likely, covers.low)
    flat = f"laid at {100.0 * floor:.2g} %, the floor for this pipe: it needs a careful level and cleaning"
    thin = f"covered by {shallow / 0.0254:.0f} in at the least: no wheels over it"
    tried = [LaySettings(target, deep)]
    if shallow < deep:
        tried.append(LaySettings(target, shallow, thin))
    if floor < target:
        tried.append(LaySettings(floor, deep, flat))
    if floor < target and shallow < deep:
        tried.append(LaySettings(floor, shallow, f"{flat}; {thin}"))
    return tuple(tried)


def lay_gravity(
    ground: LayGround,
    catching: Catching,
    flows: Mapping[str, float],
    wanted: Sequence[str],
    targets: Sequence[OutfallSite],
    settings: LaySettings,
    *,
    first: int = 1,
) -> GravityAnswer:
    """The cheapest gravity lines for some collectors; a pipe that would surcharge a grate goes up a size."""
    spec, pipes = route_spec(ground, settings)
    field = replace(ground.field, cover=np.maximum(ground.field.cover, settings.cover))
    places = {f"{site.id}#{k}": site for k, site in enumerate(targets)}
    ends = [OutfallTarget(name, site.point, site.level) for name, site in places.items()]
    where = line_ground(ground, catching, flows, places)
    for smallest in range(len(pipes)):
        fewer = replace(spec, pipes=spec.pipes[smallest:])
        collectors = collectors_of(catching, flows, wanted, fewer, settings)
        forest = route_forest(field, collectors, ends, fewer)
        lines = lay_lines(
            forest, pipes[smallest:], where, first=first,
            downspouts=frozenset(spout.id for spout in catching.downspouts),
        )
        if smallest == len(pipes) - 1 or not forest.lines:
            break
        if all(drowned_from_below(name, lines, where.rims, where.tailwater) for name in lines.surcharged):
            break
    spare, error, margin = _spares(ground, catching, flows, forest, places, settings, fewer)
    outfalls = _used_outfalls(forest, places, where, spare, error, margin)
    return GravityAnswer(settings, lines, forest, outfalls, forest.unserved, spare, error, margin)


def drowned_from_below(
    name: str, lines: LaidLines, rims: Mapping[str, float], tailwater: Mapping[str, float]
) -> bool:
    """Whether a collector lies below the water that its line ends in, so that no size of pipe helps."""
    return name in rims and name in lines.served and rims[name] <= tailwater[lines.served[name]]


def route_spec(ground: LayGround, settings: LaySettings) -> tuple[RouteSpec, tuple[Pipe, ...]]:
    """What lines are made of and what their parts cost."""
    rules, prices = ground.situation.rules, ground.prices
    if ground.layout.pipe:
        chosen = find_pipe(ground.layout.pipe)
        pipes = tuple(p for p in sizes_of(chosen.standard) if p.inside >= chosen.inside)[:MOST_SIZES]
    else:
        pipes = sizes_of(STANDARD)[:MOST_SIZES]
    labour = prices["labour"].likely if "labour" in prices else 0.0
    width = rules["trench_width_solid"].likely
    # the trade's rate of digging is of a trench 12 x 18 in, so a volume an hour
    a_cube = labour / (rules["hand_trench_rate"].likely * 3600.0 * 1.5 * FOOT**2)
    depths = (0.0, 0.3, 0.6, DEEP_DIG, 1.2, 1.5)
    costs = tuple(width * a_cube * (d + max(d - DEEP_DIG, 0.0)) for d in depths)
    laying = 2.0 * labour / (rules["pipe_rate"].likely * 3600.0)
    laid = [(pipe, slope) for pipe in pipes for slope in _slopes(pipe, settings, rules, ground.layout)]
    pipes = tuple(pipe for pipe, _ in laid)
    routed = []
    for pipe, slope in laid:
        price = prices.get(f"{pipe.key} pipe")
        routed.append(
            RoutePipe(
                key=pipe.key,
                outside=pipe.outside,
                wall=pipe.wall,
                min_slope=slope,
                capacity=full_pipe_capacity(pipe.inside, slope, pipe.roughness),
                cost=(price.likely / FOOT if price is not None else 0.0) + laying,
            )
        )
    fitting = prices["pipe fitting"].likely if "pipe fitting" in prices else 0.0
    spec = RouteSpec(
        pipes=tuple(routed),
        trench_depths=depths,
        trench_costs=costs,
        bend_22=fitting,
        bend_45=fitting,
        junction=2.0 * fitting,
        taper_length=END_TAPER,
        dig_tolerance=rules["digging_tolerance"].likely,
        basin_drop=rules["loss_at_basin"].likely,
        joint_angle=rules["joint_angle"].likely,
        grade_break=rules["grade_break_cost"].likely,
    )
    return spec, pipes


def _slopes(pipe: Pipe, settings: LaySettings, rules: Rules, layout: Layout) -> list[float]:
    """Least slopes that a pipe may be laid at: steeper, it carries more before the next size is needed."""
    if layout.slope:
        return [layout.slope]
    target = rules["slope_4in_smooth"].likely
    if pipe.nominal < SIX_INCH:
        return sorted({settings.slope, max(settings.slope, target)})
    large = rules["slope_6in_smooth"]
    least = large.likely if settings.slope >= target else large.low
    return sorted({min(least, settings.slope), large.likely, max(large.likely, target)})


def collectors_of(
    catching: Catching, flows: Mapping[str, float], wanted: Sequence[str], spec: RouteSpec, settings: LaySettings
) -> list[Collector]:
    """Collectors as the router sees them, each with the highest invert that its pipe can have."""
    found: list[Collector] = []

    def crown(flow: float) -> float:
        return spec.pipes[spec.pipe_for(flow)].crown

    for site in catching.sites:
        if site.id not in wanted:
            continue
        flow = flows.get(site.id, 0.0)
        if isinstance(site, DrainSite):
            invert = float(site.inverts[-1]) - spec.basin_drop
            found.append(Collector(site.id, site.low_end, invert, flow))
        elif isinstance(site, BasinSite):
            invert = site.ground - settings.cover - crown(flow) - spec.basin_drop
            found.append(Collector(site.id, site.point, invert, flow, through=True))
        else:
            found.append(Collector(site.id, site.point, site.ground - settings.cover - crown(flow), flow))
    return found


def line_ground(
    ground: LayGround, catching: Catching, flows: Mapping[str, float], places: Mapping[str, OutfallSite]
) -> LineGround:
    """What lines are laid through: rims, grate flows, what is crossed, outfalls and their water."""
    rims: dict[str, float] = {basin.id: basin.ground for basin in catching.basins}
    rims |= {drain.id: float(drain.ground[-1]) for drain in catching.drains}
    rims |= {spout.id: spout.ground for spout in catching.downspouts}
    outfalls = outfall_names(places)
    return LineGround(
        drainage=ground.situation.drainage,
        paving=ground.situation.paving,
        crossing_words={crossing.id: f"{crossing.kind}: dig by hand" for crossing in ground.field.crossings},
        rims=rims,
        surface_flows={basin.id: flows.get(basin.id, 0.0) for basin in catching.basins},
        outfall_ids=outfalls,
        tailwater={outfalls[name]: site.tailwater for name, site in places.items()},
    )


def outfall_names(places: Mapping[str, OutfallSite]) -> dict[str, str]:
    """Id of the outfall feature of each place: places of one outfall are told apart by a letter."""
    count: dict[str, int] = {}
    for site in places.values():
        count[site.id] = count.get(site.id, 0) + 1
    seen: dict[str, int] = {}
    names: dict[str, str] = {}
    for target, site in places.items():
        seen[site.id] = seen.get(site.id, 0) + 1
        names[target] = site.id if count[site.id] == 1 else f"{site.id}-{seen[site.id]}"
    return names


def _spares(
    ground: LayGround,
    catching: Catching,
    flows: Mapping[str, float],
    forest: RoutedForest,
    places: Mapping[str, OutfallSite],
    laid_by: LaySettings,
    laid_with: RouteSpec,
) -> tuple[dict[str, float], dict[str, float], dict[str, float]]:
    """By collector that is served: fall to spare by the trade's target, its error, and by what its line is laid by."""
    spare: dict[str, float] = {}
    error: dict[str, float] = {}
    margin: dict[str, float] = {}
    target = settings_to_try(ground.situation.rules, ground.layout)[0]
    spec, _ = route_spec(ground, target)
    served = list(_ends(forest).items())
    names = [name for name, _ in served]
    by_target = {each.id: each for each in collectors_of(catching, flows, names, spec, target)}
    as_laid = {each.id: each for each in collectors_of(catching, flows, names, laid_with, laid_by)}
    for name, end in served:
        way = _way_of(name, forest)
        pipe = spec.pipes[spec.pipe_for(by_target[name].flow)]
        told = [
            spare_to(ground, catching, flows, name, places[end]),
            spare_along(ground, by_target, [(line, pipe) for line in way], places[end], spec, target.cover),
        ]
        # a line that goes round a low has more to spare than the shortest way through it
        spare[name], error[name] = max(each for each in told if each is not None)
        parts = [(line, laid_with.pipes[line.pipe]) for line in way]
        margin[name], _ = spare_along(ground, as_laid, parts, places[end], laid_with, laid_by.cover)
    return spare, error, margin


def spare_to(
    ground: LayGround, catching: Catching, flows: Mapping[str, float], name: str, outfall: OutfallSite
) -> tuple[float, float] | None:
    """Fall to spare from a collector to an outfall by the trade's target slope and cover, and its error. [m]"""
    settings = settings_to_try(ground.situation.rules, ground.layout)[0]
    spec, _ = route_spec(ground, settings)
    field = replace(ground.field, cover=np.maximum(ground.field.cover, settings.cover))
    (collector,) = collectors_of(catching, flows, [name], spec, settings)
    pipe = spec.pipes[spec.pipe_for(collector.flow)]
    fall = fall_to_spare(
        field, OutfallTarget(outfall.id, outfall.point, outfall.level), pipe,
        spec if collector.through else replace(spec, basin_drop=0.0),
    )
    cell = field.nearest_allowed(collector.point.x, collector.point.y)
    if cell is None or not np.isfinite(fall.spare[cell]):
        return None
    # what the collector itself allows may bind before the ground along the way does
    needed = outfall.level + spec.dig_tolerance + pipe.min_slope * float(fall.length[cell])
    own = collector.invert - needed
    if own <= float(fall.spare[cell]):
        return own, error_of_fall(collector.point, outfall.point, ground)
    binding = int(fall.binding[cell])
    x, y = field.grid.centres(binding // field.grid.shape[1], binding % field.grid.shape[1])
    return float(fall.spare[cell]), error_of_fall(Point(float(x), float(y)), outfall.point, ground)


def spare_along(
    ground: LayGround,
    collectors: Mapping[str, Collector],
    way: Sequence[tuple[RoutedLine, RoutePipe]],
    outfall: OutfallSite,
    spec: RouteSpec,
    cover: float,
) -> tuple[float, float]:
    """Fall to spare along the way of lines as they are laid, and its error. [m]"""
    field, grid = ground.field, ground.field.grid
    start = collectors[way[0][0].from_id]
    need, ahead = outfall.level + spec.dig_tolerance, 0.0
    least, binding = np.inf, start.point
    for line, pipe in reversed(way):
        step = 0.5 * min(grid.cell_width, grid.cell_height)
        points = shapely.get_coordinates(shapely.segmentize(LineString(line.xy), step))
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        rest = along[-1] - along
        rows, columns = grid.cells(points[:, 0], points[:, 1])
        rows, columns = np.clip(rows, 0, grid.shape[0] - 1), np.clip(columns, 0, grid.shape[1] - 1)
        left = field.ground[rows, columns] - np.maximum(field.cover[rows, columns], cover) - pipe.crown
        left -= need + pipe.min_slope * rest
        # at a collector its own invert counts, not the cells beside it
        beside = (along < 1.0) & (line.from_id in collectors)
        left[~np.isfinite(left) | (ahead + rest <= spec.taper_length) | beside] = np.inf
        if left.min() < least:
            least, binding = float(left.min()), Point(points[int(np.argmin(left))])
        need, ahead = need + pipe.min_slope * float(along[-1]), ahead + float(along[-1])
        passed = collectors.get(line.from_id)
        if passed is not None and passed is not start and passed.through:
            need += spec.basin_drop
    if start.invert - need < least:
        least, binding = start.invert - need, start.point
    return least, error_of_fall(binding, outfall.point, ground)


def out_of_reach(
    ground: LayGround,
    catching: Catching,
    flows: Mapping[str, float],
    wanted: Sequence[str],
    targets: Sequence[OutfallSite],
    settings: LaySettings,
) -> dict[str, str]:
    """Collectors that no line can serve whatever its way: even the shortest needs more fall than there is."""
    spec, _ = route_spec(ground, settings)
    short: dict[str, float] = {}
    collectors = collectors_of(catching, flows, wanted, spec, settings)
    for site in targets:
        fall = fall_to_spare(ground.field, OutfallTarget(site.id, site.point, site.level), spec.pipes[0], spec)
        for collector in collectors:
            cell = ground.field.nearest_allowed(collector.point.x, collector.point.y)
            length = float(fall.length[cell]) if cell is not None else np.nan
            if np.isfinite(length):
                slope = spec.pipes[spec.pipe_for(collector.flow)].min_slope
                left = collector.invert - site.level - slope * length
                short[collector.id] = max(short.get(collector.id, -np.inf), left)
    return {
        name: f"short of fall by {-left / FOOT:.2f} ft ({-left * 100.0:.0f} cm) even on the shortest way"
        for name, left in short.items()
        if left < 0.0
    }


def error_of_fall(upper: Point, lower: Point, ground: LayGround) -> float:
    """Standard error of the fall between two places: of lidar, or of level shots near them. [m]"""
    rmse, noise = ground.situation.rmse, lidar_noise(ground.situation.rules)
    between = fall_error(rmse, float(shapely.distance(upper, lower)), **noise)
    shots = ground.situation.shots
    if not shots:
        return between
    nearest = [min(float(shapely.distance(place, shot)) for shot in shots) for place in (upper, lower)]
    by_shots = float(np.hypot(fall_error(rmse, nearest[0], **noise), fall_error(rmse, nearest[1], **noise)))
    return max(min(between, by_shots), SHOT_ERROR)


def verdict_of(spare: float, error: float) -> Verdict:
    """Whether a fall to spare stands clear of its error."""
    if abs(spare) <= SIGMAS * error:
        return "cannot_tell"
    return "sure" if spare > 0.0 else "no"


def verdict_as_laid(spare: float, margin: float, error: float) -> Verdict:
    """Verdict on a line that is laid: it falls all the way by this ground, so it is never a plain no.

    Sure where the trade's target stands clear of its error; also where it is clearly missed and the floors that the
    line is laid by stand clear.
    """
    by_target = verdict_of(spare, error)
    if by_target == "no":
        return "sure" if verdict_of(margin, error) == "sure" else "cannot_tell"
    return by_target


def _way_of(name: str, forest: RoutedForest) -> list[RoutedLine]:
    """Lines from a collector down to the outfall."""
    lines = {line.id: line for line in forest.lines}
    starts = {line.from_id: line for line in forest.lines if line.from_id not in lines}
    way = [starts[name]]
    while True:
        line = lines.get(way[-1].to_id) or starts.get(way[-1].to_id)
        if line is None:
            return way
        way.append(line)


def _ends(forest: RoutedForest) -> dict[str, str]:
    """Target that each served collector's water reaches."""
    onward = {line.id: line.to_id for line in forest.lines}
    starts = {line.from_id: line.id for line in forest.lines}
    ends: dict[str, str] = {}
    for line in forest.lines:
        at = line.to_id
        while at in onward or at in starts:
            at = onward[at] if at in onward else onward[starts[at]]
        ends |= dict.fromkeys(line.serves, at)
    return ends


def _used_outfalls(
    forest: RoutedForest,
    places: Mapping[str, OutfallSite],
    where: LineGround,
    spare: Mapping[str, float],
    error: Mapping[str, float],
    margin: Mapping[str, float],
) -> tuple[Outfall, ...]:
    outfalls: dict[str, Outfall] = {}
    for name, target in _ends(forest).items():
        site, outfall_id = places[target], where.outfall_ids[target]
        before = outfalls.get(outfall_id)
        if before is not None and before.fall_to_spare is not None and before.fall_to_spare <= spare[name]:
            continue
        outfalls[outfall_id] = Outfall(
            id=outfall_id, kind=site.kind, point=site.point, verified=site.verified, level=site.level,
            fall_to_spare=spare[name], fall_error=error[name],
            verdict=verdict_as_laid(spare[name], margin[name], error[name]), to_confirm=site.to_confirm,
            highest_level=site.high_water,
        )
    return tuple(outfalls[name] for name in sorted(outfalls))

