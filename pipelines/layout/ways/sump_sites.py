"""The place for a sump that costs least: gravity lines to it, the pressure line from it and power together."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from shapely import Point

from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.laid_lines import AT_END, pieces_of, without_own
from pipelines.layout.routing.pressure import pressure_ways, route_pressure
from pipelines.layout.routing.search import search_grid
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutedLine, RoutePipe, RouteSpec, SearchEffort
from pipelines.layout.routing.straighten import straighten
from pipelines.layout.routing.view import RouteView, settled_view
from terrain.arrays import BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class SumpSite:
    """A sump where it costs least, with what drains to it and what leaves it.

    Attributes
    ----------
    point : shapely Point
        Where it stands.
    ground, inlet : float
        Ground, and lowest invert that comes in. [m]
    inflows : tuple of RoutedLine
        Gravity lines to it, upstream before downstream.
    pressure : RoutedLine
        The line that leaves it.
    serves : tuple of str
        Ids of the collectors that drain to it.
    cost : float
        Lines, the sump as given, and power. [money]
    """

    point: Point
    ground: float
    inlet: float
    inflows: tuple[RoutedLine, ...]
    pressure: RoutedLine
    serves: tuple[str, ...]
    cost: float


def site_sumps(
    field: RouteField,
    collectors: Sequence[Collector],
    outfall: OutfallTarget,
    spec: RouteSpec,
    pressure_pipe: RoutePipe,
    places: BoolArray,
    *,
    deepest_inlet: float,
    sump_cost: float = 0.0,
    power: Point | None = None,
    power_cost: float = 0.0,
    cover: float = 0.3,
    radius: float = 0.0,
    clearance: float = 0.0,
    effort: SearchEffort | None = None,
) -> tuple[tuple[SumpSite, ...], tuple[str, ...]]:
    """Where sumps cost least, gravity lines to them, pressure line and power together; ids that none can serve."""
    known = [outfall.point, *(each.point for each in collectors), *([] if power is None else [power])]
    view = settled_view(field, known)
    sites, unserved = _site_sumps(
        view.field, [replace(each, point=view.point(each.point)) for each in collectors],
        replace(outfall, point=view.point(outfall.point)), spec, pressure_pipe, view.array(places), deepest_inlet,
        sump_cost, None if power is None else view.point(power), power_cost, cover,
        radius, clearance, effort,
    )
    return tuple(_on_map(site, view, known) for site in sites), unserved


def _on_map(site: SumpSite, view: RouteView, known: Sequence[Point]) -> SumpSite:
    point = Point(*view.on_map(np.array([[site.point.x, site.point.y]]), known)[0])
    places = [point, *known]
    return replace(
        site, point=point, pressure=replace(site.pressure, xy=view.on_map(site.pressure.xy, places)),
        inflows=tuple(replace(line, xy=view.on_map(line.xy, places)) for line in site.inflows),
    )


def _site_sumps(
    field: RouteField, collectors: Sequence[Collector], outfall: OutfallTarget, spec: RouteSpec,
    pressure_pipe: RoutePipe, places: BoolArray, deepest_inlet: float, sump_cost: float, power: Point | None,
    power_cost: float, cover: float, radius: float, clearance: float, effort: SearchEffort | None,
) -> tuple[tuple[SumpSite, ...], tuple[str, ...]]:
    columns = field.grid.shape[1]
    end = field.nearest_allowed(outfall.point.x, outfall.point.y)
    rows, cols = np.nonzero(places & field.allowed)
    if end is None or not rows.size:
        return (), tuple(each.id for each in collectors)
    ways = pressure_ways(field, pressure_pipe, spec, cover, end)
    onward = ways[0].min(axis=1)[rows * columns + cols] + outfall.cost + sump_cost
    x, y = field.grid.centres(rows, cols)
    # where a sump stands in a basin's cell it stands in its place and takes the grate
    grates = {tuple(int(v) for v in field.grid.cells(each.point.x, each.point.y)): each.point
              for each in collectors if each.through}
    if power is not None:
        onward = onward + power_cost * np.hypot(x - power.x, y - power.y)
    sumps = [
        OutfallTarget(f"sump@{r},{c}", grates.get((int(r), int(c)), Point(px, py)),
                      float(field.ground[r, c]) - deepest_inlet, float(cost))
        for r, c, px, py, cost in zip(rows, cols, x, y, onward, strict=True) if np.isfinite(cost)
    ]
    no_taper = replace(spec, taper_length=0.0)
    # a basin that becomes the sump needs no drop of its own
    grid = search_grid(field, collectors, sumps, no_taper, effort=effort)
    unserved = [collectors[i].id for i in grid.unserved]
    lines, left = straighten(field, grid.runs, collectors, sumps, no_taper)
    unserved += [collectors[i].id for i in left]
    sites: list[SumpSite] = []
    for target in sumps:
        inflows = _lines_to(target.id, lines)
        if not inflows:
            continue
        serves = tuple(dict.fromkeys(name for line in inflows for name in line.serves))
        name = f"sump-{len(sites) + 1}"
        # it passes under the lines that come to its sump
        laid = [piece for line in inflows if line.length > 1e-6
                for piece in pieces_of(line.id, line.line, spec.pipes[line.pipe].outside, spec.pipes[line.pipe].wall,
                                       clearance, 0.0, at_end=AT_END if line.to_id == target.id else 0.0)]
        under = replace(field, crossings=(*field.crossings, *laid))
        pressure = route_pressure(under, target.point, outfall, pressure_pipe, spec, cover=cover, from_id=name,
                                  line_id=f"pressure-{len(sites) + 1}", serves=serves, ways=ways)
        if pressure is None:
            unserved += serves
            continue
        ending = [line for line in inflows if line.to_id == target.id]
        # a basin or a junction where the sump stands is the sump: what came into it comes into the sump
        begun = {line.id for line in inflows}
        at_sump = [line for line in ending if line.length <= (radius if line.from_id in begun else 1e-6)]
        in_place = {line.id for line in at_sump} | {line.from_id for line in at_sump if line.from_id not in begun}
        pressure = without_own(pressure)
        inflows = tuple(
            replace(without_own(line), to_id=name, cost=line.cost - (target.cost if line.to_id == target.id else 0.0))
            if line.to_id in {target.id, *in_place} else without_own(line)
            for line in inflows if line.id not in in_place
        )
        distance = 0.0 if power is None else target.point.distance(power)
        sites.append(SumpSite(
            target.point, float(field.ground[field.grid.cells(target.point.x, target.point.y)]),
            min(float(line.inverts[-1]) for line in ending), inflows, pressure, serves,
            sum(line.cost for line in inflows) + pressure.cost + sump_cost + power_cost * distance,
        ))
    return tuple(sites), tuple(unserved)


def _lines_to(end: str, lines: Sequence[RoutedLine]) -> tuple[RoutedLine, ...]:
    """The tree of lines that ends at an id, in the order given."""
    ends = {end}
    kept = []
    for line in reversed(lines):
        if line.to_id in ends:
            kept.append(line)
            ends |= {line.id, line.from_id}
    return tuple(reversed(kept))
