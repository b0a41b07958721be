"""How lines are laid: settings tried in turn, pipes and what their parts cost, collectors as the router sees them."""

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pipelines.hydraulics.manning import full_pipe_capacity
from pipelines.hydraulics.pipe_catalogue import Pipe, find_pipe, sizes_of
from pipelines.inputs.rules import Rule, Rules
from pipelines.inputs.site_sections import Layout
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.catching.sites import BasinSite, DrainSite
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.quantities.take_off import UnitPrice
from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.spec import Collector, RoutePipe, RouteSpec, SearchEffort
from pipelines.layout.ways.lines import LineSurroundings
from pipelines.layout.ways.outfall_sites import OutfallSite
from terrain.reason import Reason, reason
from terrain.unit_table import FOOT, HOUR

STANDARD = "SDR-35"
SIX_INCH = 0.14
"""Pipe of a smaller nominal size is small. [m]"""


@dataclass(frozen=True, slots=True)
class LaySettings:
    """How lines are laid: least slope [-], least cover under lawn [m], and what a reader must know of it."""

    slope: float
    cover: float
    notes: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class WayGround:
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
    protected_paving : shapely Geometry
        Paving that is to be protected. [m]
    effort : SearchEffort
        What was searched for lines of the whole plan, and how much may be.
    """

    situation: Situation
    field: RouteField
    prices: Mapping[str, UnitPrice]
    layout: Layout
    keep_out: tuple[tuple[BaseGeometry, str], ...] = ()
    protected_paving: BaseGeometry = dataclasses.field(default_factory=Polygon)
    effort: SearchEffort = dataclasses.field(default_factory=SearchEffort)


def settings_to_try(rules: Rules, layout: Layout) -> tuple[LaySettings, ...]:
    """Slopes and covers to lay by, the trade's target first, then its floors."""
    slopes, covers = _slope_rule(rules, layout), rules["cover_lawn"]
    target, floor = (layout.slope, layout.slope) if layout.slope else (slopes.likely, slopes.low)
    deep, shallow = (layout.cover, layout.cover) if layout.cover else (covers.likely, covers.low)
    flat, thin = reason("laid_at_floor", slope=floor), reason("covered_thinly", cover=shallow)
    tried = [LaySettings(target, deep)]
    if shallow < deep:
        tried.append(LaySettings(target, shallow, (thin,)))
    if floor < target:
        tried.append(LaySettings(floor, deep, (flat,)))
    if floor < target and shallow < deep:
        tried.append(LaySettings(floor, shallow, (flat, thin)))
    return tuple(tried)


def _slope_rule(rules: Rules, layout: Layout) -> Rule:
    smooth = not layout.pipe or find_pipe(layout.pipe).interior == "smooth"
    return rules["slope_4in_smooth"] if smooth else rules["slope_corrugated"]


def route_spec(ground: WayGround, settings: LaySettings) -> tuple[RouteSpec, tuple[Pipe, ...]]:
    """What lines are made of and what their parts cost."""
    rules, prices = ground.situation.rules, ground.prices
    most = max(1, int(rules["pipe_sizes_tried"].likely))
    if ground.layout.pipe:
        chosen = find_pipe(ground.layout.pipe)
        pipes = tuple(p for p in sizes_of(chosen.standard) if p.inside >= chosen.inside)[:most]
    else:
        pipes = sizes_of(STANDARD)[:most]
    labour = prices["labour"].likely if "labour" in prices else 0.0
    width = rules["trench_width_solid"].likely
    # the trade's rate of digging is of a trench 12 x 18 in, so a volume an hour
    a_cube = labour / (rules["hand_trench_rate"].likely * HOUR * 1.5 * FOOT**2)
    deep = rules["deep_dig_depth"].likely
    depths = tuple(sorted({0.0, 0.3, 0.6, deep, 1.2, 1.5}))
    costs = tuple(width * a_cube * (d + max(d - deep, 0.0)) for d in depths)
    laying = 2.0 * labour / (rules["pipe_rate"].likely * HOUR)
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
        taper_length=rules["outlet_taper"].likely,
        dig_tolerance=rules["digging_tolerance"].likely,
        basin_drop=rules["loss_at_basin"].likely,
        joint_angle=rules["joint_angle"].likely,
        grade_break=rules["grade_break_cost"].likely,
        clearance=rules["pipe_clearance"].likely,
        crossing=rules["crossing_hours"].likely / HOUR * labour,
    )
    return spec, pipes


def _slopes(pipe: Pipe, settings: LaySettings, rules: Rules, layout: Layout) -> list[float]:
    """Least slopes that a pipe may be laid at: steeper, it carries more before the next size is needed."""
    if layout.slope:
        return [layout.slope]
    target = _slope_rule(rules, layout).likely
    if pipe.nominal < SIX_INCH or pipe.interior != "smooth":
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
            if site.into:
                continue
            invert = float(site.inverts[-1]) - spec.basin_drop
            found.append(Collector(site.id, site.low_end, invert, flow))
        elif isinstance(site, BasinSite):
            arms = [float(drain.inverts[-1]) for drain in catching.drains if drain.into == site.id]
            # a trench that ends in the basin comes in above the pipe that leaves it
            invert = min([site.ground - settings.cover - crown(flow), *arms]) - spec.basin_drop
            found.append(Collector(site.id, site.point, invert, flow, through=True))
        else:
            found.append(Collector(site.id, site.point, site.ground - settings.cover - crown(flow), flow))
    return found


def line_ground(
    ground: WayGround, catching: Catching, flows: Mapping[str, float], places: Mapping[str, OutfallSite]
) -> LineSurroundings:
    """What lines are laid through: rims, grate flows, what is crossed, outfalls and their water."""
    rims: dict[str, float] = {basin.id: basin.ground for basin in catching.basins}
    rims |= {drain.id: float(drain.ground[-1]) for drain in catching.drains}
    rims |= {spout.id: spout.ground for spout in catching.downspouts}
    outfalls = outfall_names(places)
    return LineSurroundings(
        drainage=ground.situation.drainage,
        paving=ground.situation.paving,
        crossing_kinds={crossing.id: crossing.kind for crossing in ground.field.crossings},
        rims=rims,
        surface_flows={basin.id: flows.get(basin.id, 0.0) for basin in catching.basins},
        outfall_ids=outfalls,
        tailwater={outfalls[name]: site.tailwater for name, site in places.items()},
        rules=ground.situation.rules,
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


