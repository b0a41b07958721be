"""Gravity lines from collectors to outfalls: routed, laid as pipe, with the fall that each has to spare."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.layout.catching.proposal import Catching
from pipelines.layout.plan import Outfall, Verdict
from pipelines.layout.routing.router import MOST_OF_FOREST, route_forest
from pipelines.layout.routing.spec import OutfallTarget, RoutedForest, RoutedLine, RouteSpec
from pipelines.layout.ways.fall import spare_along, spare_to, verdict_as_laid, verdict_by_count
from pipelines.layout.ways.lines import LineSurroundings, PipeLines, lay_lines
from pipelines.layout.ways.outfall_sites import OutfallSite
from pipelines.layout.ways.settings import (
    LaySettings,
    WayGround,
    collectors_of,
    line_ground,
    route_spec,
    settings_to_try,
)
from terrain.arrays import BoolArray, FloatArray
from terrain.reason import Reason


@dataclass(frozen=True, slots=True, eq=False)
class GravityAnswer:
    """Gravity lines for some collectors.

    Attributes
    ----------
    settings : LaySettings
        What they were laid by.
    lines : PipeLines
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
    floor : dict of str to (grounds,) float ndarray
        By collector that is served: fall to spare by the trade's floors, on each ground that lidar allows. [m]
    """

    settings: LaySettings
    lines: PipeLines
    forest: RoutedForest
    outfalls: tuple[Outfall, ...]
    unserved: dict[str, Reason]
    spare: dict[str, float]
    error: dict[str, float]
    margin: dict[str, float]
    floor: dict[str, FloatArray]

    def holds(self, names: Sequence[str], over: float = 0.0) -> BoolArray:
        """Grounds on which all of some lines have their fall to an outfall so much higher; none where not counted."""
        every = [self.floor[name] >= over for name in names if self.floor[name].size]
        return np.all(every, axis=0) if every else np.empty(0, dtype=np.bool_)

    def least(self, names: Sequence[str]) -> tuple[float, ...]:
        """Least that any of some lines has to spare by the floors on each ground; none where not counted. [m]"""
        every = [self.floor[name] for name in names if self.floor[name].size]
        return tuple(np.min(every, axis=0).tolist()) if every else ()


def lay_gravity(
    ground: WayGround,
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
        forest = route_forest(field, collectors, ends, fewer, min(ground.effort.left, MOST_OF_FOREST))
        ground.effort.add(forest)
        lines = lay_lines(
            forest, pipes[smallest:], where, first=first,
            downspouts=frozenset(spout.id for spout in catching.downspouts),
        )
        if smallest == len(pipes) - 1 or not forest.lines:
            break
        if all(submerged_from_below(name, lines, where.rims, where.tailwater) for name in lines.surcharged):
            break
    told = _spares(ground, catching, flows, forest, places, settings, fewer)
    answer = GravityAnswer(settings, lines, forest, (), forest.unserved, *told)
    return replace(answer, outfalls=_used_outfalls(answer, places, where))


def verdict_of_lines(
    answer: GravityAnswer, names: Sequence[str], tightest: str, sigmas: float, *, over: float = 0.0
) -> Verdict:
    """Whether lines to one outfall have their fall, the tightest named: by counting grounds, else by the error of it.

    They fall all the way on the best estimate, so it is never a plain no.
    """
    holds = answer.holds(names, over)
    if not holds.size:
        spare, margin = answer.spare[tightest], answer.margin[tightest]
        return verdict_as_laid(spare, margin, answer.error[tightest], sigmas, over=over)
    return "sure" if verdict_by_count(holds) == "sure" else "cannot_tell"


def submerged_from_below(
    name: str, lines: PipeLines, rims: Mapping[str, float], tailwater: Mapping[str, float]
) -> bool:
    """Whether a collector lies below the water that its line ends in, so that no size of pipe helps."""
    return name in rims and name in lines.served and rims[name] <= tailwater[lines.served[name]]


def _spares(
    ground: WayGround,
    catching: Catching,
    flows: Mapping[str, float],
    forest: RoutedForest,
    places: Mapping[str, OutfallSite],
    laid_by: LaySettings,
    laid_with: RouteSpec,
) -> tuple[dict[str, float], dict[str, float], dict[str, float], dict[str, FloatArray]]:
    """By collector that is served: fall to spare by the trade's target, its error, by what its line is laid by, and by
    the trade's floors on each ground that lidar allows."""
    spare: dict[str, float] = {}
    error: dict[str, float] = {}
    margin: dict[str, float] = {}
    floor: dict[str, FloatArray] = {}
    tried = settings_to_try(ground.situation.rules, ground.layout)
    target, least = tried[0], tried[-1]
    spec, _ = route_spec(ground, target)
    loosest, _ = route_spec(ground, least)
    served = list(_ends(forest).items())
    names = [name for name, _ in served]
    by_target = {each.id: each for each in collectors_of(catching, flows, names, spec, target)}
    by_floor = {each.id: each for each in collectors_of(catching, flows, names, loosest, least)}
    as_laid = {each.id: each for each in collectors_of(catching, flows, names, laid_with, laid_by)}
    for name, end in served:
        way = _way_of(name, forest)
        pipe = spec.pipes[spec.pipe_for(by_target[name].flow)]
        told = [
            spare_to(ground, catching, flows, name, places[end]),
            spare_along(ground, by_target, [(line, pipe) for line in way], places[end], spec, target.cover),
        ]
        # a line that goes round a low has more to spare than the shortest way through it
        spare[name], error[name], *_ = max((each for each in told if each is not None), key=lambda each: each[:2])
        parts = [(line, laid_with.pipes[line.pipe]) for line in way]
        margin[name] = spare_along(ground, as_laid, parts, places[end], laid_with, laid_by.cover).spare
        thin = loosest.pipes[loosest.pipe_for(by_floor[name].flow)]
        parts = [(line, thin) for line in way]
        floor[name] = spare_along(ground, by_floor, parts, places[end], loosest, least.cover).on_grounds
    return spare, error, margin, floor


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
    answer: GravityAnswer, places: Mapping[str, OutfallSite], where: LineSurroundings
) -> tuple[Outfall, ...]:
    outfalls: dict[str, Outfall] = {}
    spare, error = answer.spare, answer.error
    sigmas, ends = where.rules["verdict_sigmas"].likely, _ends(answer.forest)
    for name, target in ends.items():
        site, outfall_id = places[target], where.outfall_ids[target]
        before = outfalls.get(outfall_id)
        if before is not None and before.fall_to_spare is not None and before.fall_to_spare <= spare[name]:
            continue
        outfalls[outfall_id] = Outfall(
            id=outfall_id, kind=site.kind, point=site.point, verified=site.verified, level=site.level,
            fall_to_spare=spare[name], fall_error=error[name],
            verdict=verdict_of_lines(
                answer, [each for each, end in ends.items() if end == target], name, sigmas, over=site.over
            ),
            to_confirm=site.to_confirm, highest_level=site.high_water, given=site.given, under=site.under,
            over=site.over, moved_from=site.moved_from,
        )
    return tuple(outfalls[name] for name in sorted(outfalls))
