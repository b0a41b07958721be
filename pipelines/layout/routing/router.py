"""Gravity lines from collectors to outfalls: searched on a grid, then made straight."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipelines.layout.routing.clear_lines import crossing_pairs, kept_clear, too_close
from pipelines.layout.routing.fall_to_spare import shortest_way
from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.pipe_layer import PipeLayer, without_repeats
from pipelines.layout.routing.search import NO_FALL, GridForest, search_grid
from pipelines.layout.routing.spec import (
    Collector,
    OutfallTarget,
    RoutedForest,
    RoutedLine,
    RouteSpec,
    SearchEffort,
)
from pipelines.layout.routing.straighten import own_line, straighten
from pipelines.layout.routing.view import settled_view
from terrain.arrays import FloatArray
from terrain.kept import kept

MOST_OF_FOREST = 1 << 19
"""Places and heights that are looked at for one forest before what is left is laid line by line. [-]"""
# what outfalls are held to lie higher, one after the other, where a line fits the grid and not the ground [m]
MARGINS = (0.0, 0.02, 0.05, 0.1)
MOST_TRIED = 12
"""Nearest outfalls, and as many others, to which a collector's shortest way is tried. [-]"""
SURELY = 0.001
"""A line that ends lower than it may by more than this cannot be laid. [m]"""


@kept
def route_forest(
    field: RouteField,
    collectors: Sequence[Collector],
    outfalls: Sequence[OutfallTarget],
    spec: RouteSpec,
    most: int = MOST_OF_FOREST,
) -> RoutedForest:
    """Cheapest forest of gravity lines from collectors to outfalls, ready to be laid.

    The forest is searched along the steps of the grid and then made straight. Where a collector's own straight line
    is cheaper, or where only the shortest way in any direction has fall enough, that is taken. No more than `most`
    places are looked at for lines that join.
    """
    places = [*(each.point for each in collectors), *(each.point for each in outfalls)]
    view = settled_view(field, places)
    effort = SearchEffort(most)
    forest = _route_forest(
        view.field, [replace(each, point=view.point(each.point)) for each in collectors],
        [replace(each, point=view.point(each.point)) for each in outfalls], spec, effort,
    )
    forest = replace(forest, places=effort.places, cut_short=effort.cut_short)
    return replace(forest, lines=tuple(replace(line, xy=view.on_map(line.xy, places)) for line in forest.lines))


def _route_forest(
    field: RouteField, collectors: Sequence[Collector], outfalls: Sequence[OutfallTarget], spec: RouteSpec,
    effort: SearchEffort,
) -> RoutedForest:
    first = _one_by_one(field, collectors, outfalls, spec, effort)
    return kept_clear(
        first, field, collectors, spec, lambda free, rest: _one_by_one(free, rest, outfalls, spec, effort)
    )


def _one_by_one(
    field: RouteField, collectors: Sequence[Collector], outfalls: Sequence[OutfallTarget], spec: RouteSpec,
    effort: SearchEffort,
) -> RoutedForest:
    """The cheapest forest, in which trees may still cross each other."""
    grid, lines = _searched(field, collectors, outfalls, spec, effort)
    layer = PipeLayer(field, spec)
    unserved = {collectors[i].id: why for i, why in grid.unserved.items()}
    lines = _straight_where_cheaper(layer, lines, collectors, outfalls)
    for i, why in grid.unserved.items():
        name = f"run-{len(lines) + 1}"
        line = _shortest(layer, collectors[i], outfalls, name, lines) if why == NO_FALL else None
        if line is not None:
            lines = [*lines, line]
            del unserved[collectors[i].id]
    return RoutedForest(
        lines=tuple(lines), cost=sum(line.cost for line in lines), lower_bound=grid.lower_bound, grid_cost=grid.cost,
        exact=grid.exact, unserved=unserved,
    )


def _searched(
    field: RouteField, collectors: Sequence[Collector], outfalls: Sequence[OutfallTarget], spec: RouteSpec,
    effort: SearchEffort,
) -> tuple[GridForest, list[RoutedLine]]:
    best: tuple[int, GridForest, list[RoutedLine]] = len(collectors) + 1, GridForest((), 0.0, 0.0, True, {}), []
    for margin in MARGINS:
        higher = [replace(outfall, level=outfall.level + margin) for outfall in outfalls]
        grid = search_grid(field, collectors, higher, spec, effort=effort)
        lines, left = straighten(field, grid.runs, collectors, outfalls, spec)
        missing = len(grid.unserved) + len(left)
        if missing < best[0]:
            unserved = grid.unserved | dict.fromkeys(left, NO_FALL)
            best = missing, replace(grid, unserved=unserved, exact=grid.exact and not left), list(lines)
        if not left:
            break
    return best[1], best[2]


def _straight_where_cheaper(
    layer: PipeLayer, lines: list[RoutedLine], collectors: Sequence[Collector], outfalls: Sequence[OutfallTarget]
) -> list[RoutedLine]:
    """Replace lines by straight ones: a collector's own, or all of them, where that is cheaper."""
    served = {name for line in lines for name in line.serves}
    straight: dict[str, RoutedLine] = {}
    for collector in collectors:
        if collector.id not in served:
            continue
        name = f"run-{len(straight) + 1}"
        found = [line for outfall in outfalls if (line := _straight(layer, collector, outfall, name)) is not None]
        if found:
            straight[collector.id] = min(found, key=lambda line: line.cost)
    alone = list(straight.values())
    cheaper = len(alone) == len(served) and sum(s.cost for s in alone) < sum(line.cost for line in lines)
    if cheaper and not crossing_pairs(alone, layer.spec):
        return alone
    ends = {outfall.id for outfall in outfalls}
    joined = {line.to_id for line in lines}
    better: list[RoutedLine] = []
    for line in lines:
        by_itself = line.to_id in ends and len(line.serves) == 1 and line.from_id == line.serves[0]
        own = straight.get(line.from_id) if by_itself and not {line.id, line.from_id} & joined else None
        if own is not None and own.cost < line.cost:
            others = [other for other in lines if other is not line]
            if not any(too_close(own, other, layer.spec) for other in [*others, *better]):
                line = replace(own, id=line.id)
        better.append(line)
    return better


def _straight(layer: PipeLayer, collector: Collector, outfall: OutfallTarget, name: str) -> RoutedLine | None:
    a, b = collector.point, outfall.point
    ends = np.array([[a.x, a.y], [b.x, b.y]])
    if a.distance(b) < 1e-6 or not layer.sees(ends[0], ends[1]):
        return None
    return _own(layer, collector, outfall, ends, name)


def _shortest(
    layer: PipeLayer, collector: Collector, outfalls: Sequence[OutfallTarget], name: str, laid: Sequence[RoutedLine]
) -> RoutedLine | None:
    """The cheapest of a collector's shortest ways to the outfalls that can be laid, clear of others if one is."""
    field, spec = layer.field, layer.spec
    at = field.nearest_allowed(collector.point.x, collector.point.y)
    if at is None:
        return None
    found = []
    for outfall in _worth_trying(collector, outfalls, spec):
        way = shortest_way(field, *at, outfall.point)
        if len(way):
            way = without_repeats(np.vstack([[collector.point.x, collector.point.y], way]))
            line = _own(layer, collector, outfall, way, name)
            found += [] if line is None else [line]
    crossed = {id(line): sum(too_close(line, other, spec) for other in laid) for line in found}
    return min(found, key=lambda line: (crossed[id(line)], line.cost), default=None)


def _worth_trying(
    collector: Collector, outfalls: Sequence[OutfallTarget], spec: RouteSpec
) -> Sequence[OutfallTarget]:
    """Outfalls to which the flattest pipe would fall were its way straight; of many the nearest, and those with most
    fall to spare."""
    flattest = min(pipe.min_slope for pipe in spec.pipes[spec.pipe_for(collector.flow):])
    away = [collector.point.distance(outfall.point) for outfall in outfalls]
    spare = [collector.invert - flattest * far - outfall.level - spec.dig_tolerance
             for far, outfall in zip(away, outfalls, strict=True)]
    falling = [k for k in range(len(outfalls)) if spare[k] >= -SURELY]
    nearest, freest = (sorted(falling, key=key)[:MOST_TRIED] for key in (away.__getitem__, lambda k: -spare[k]))
    return [outfalls[k] for k in sorted({*nearest, *freest})]


def _own(
    layer: PipeLayer, collector: Collector, outfall: OutfallTarget, way: FloatArray, name: str
) -> RoutedLine | None:
    """A collector's own line along a way, with a larger pipe where only its flatter slope gets there."""
    spec = layer.spec
    first = spec.pipe_for(collector.flow)
    for pipe in range(first, len(spec.pipes)):
        if pipe == first or spec.pipes[pipe].min_slope < spec.pipes[first].min_slope:
            line = own_line(layer, collector, outfall, pipe, way, name)
            if line is not None:
                return line
    return None
