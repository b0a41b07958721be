"""Lines of one forest kept clear of each other: where they would cross without clear height, one is laid round."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import shapely
from shapely import LineString

from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.laid_lines import AT_END as OPEN_END
from pipelines.layout.routing.laid_lines import pieces_of, with_laid, without_own
from pipelines.layout.routing.spec import Collector, RoutedForest, RoutedLine, RouteSpec

AT_END = 0.05
"""Lines that meet this near to an end of one of them are joined there. [m]"""
MOST_PAIRS = 3
"""Pairs of lines that cross for which a way round is looked for."""

Router = Callable[[RouteField, Sequence[Collector]], RoutedForest]


def too_close(one: RoutedLine, other: RoutedLine, spec: RouteSpec) -> bool:
    """Whether two lines cross, or share a stretch, with less than the clear height wanted between their pipes."""
    lines = [LineString(line.xy) for line in (one, other)]
    ends = np.vstack([line.xy[[0, -1]] for line in (one, other)])
    for place in shapely.get_coordinates(shapely.intersection(*lines)):
        if float(np.hypot(*(ends - place).T).min()) <= AT_END:
            continue
        (low, below), (high, above) = sorted(
            ((_invert_at(line, place), spec.pipes[line.pipe]) for line in (one, other)), key=lambda told: told[0]
        )
        if high - above.wall - (low + below.crown) < spec.clearance - 1e-6:
            return True
    return False


def crossing_pairs(lines: Sequence[RoutedLine], spec: RouteSpec) -> list[tuple[RoutedLine, RoutedLine]]:
    """Pairs of lines that cross without clear height."""
    return [pair for pair in combinations(lines, 2) if too_close(*pair, spec)]


def kept_clear(
    first: RoutedForest, field: RouteField, collectors: Sequence[Collector], spec: RouteSpec, route: Router
) -> RoutedForest:
    """A forest without such crossings: of two trees that cross, one stays and all else is routed round it.

    As routed where that leaves a collector unserved or crosses no less.
    """
    best = len(first.unserved), len(crossing_pairs(first.lines, spec)), first.cost
    chosen = first
    for forest in _laid_round(first, field, collectors, spec, route) if best[1] else ():
        told = len(forest.unserved), len(crossing_pairs(forest.lines, spec)), forest.cost
        if told < best:
            best, chosen = told, forest
    return chosen


def _laid_round(
    first: RoutedForest, field: RouteField, collectors: Sequence[Collector], spec: RouteSpec, route: Router
) -> Iterator[RoutedForest]:
    tried: set[str] = set()
    for line in (line for pair in crossing_pairs(first.lines, spec)[:MOST_PAIRS] for line in pair):
        tree = _tree_of(line, first.lines)
        if tree[-1].id in tried:
            continue
        tried.add(tree[-1].id)
        served = {name for each in tree for name in each.serves}
        laid = [
            piece for each in tree for pipe in (spec.pipes[each.pipe],)
            for piece in pieces_of(each.id, each.line, pipe.outside, pipe.wall, spec.clearance, spec.crossing,
                                   at_end=OPEN_END if each is tree[-1] else 0.0)
        ]
        rest = route(with_laid(field, laid), [each for each in collectors if each.id not in served])
        kept = _renamed(tree, 1)
        lines = (*kept, *(without_own(each) for each in _renamed(rest.lines, 1 + len(kept))))
        yield replace(first, lines=lines, cost=sum(each.cost for each in lines), unserved=rest.unserved)


def _tree_of(line: RoutedLine, lines: Sequence[RoutedLine]) -> list[RoutedLine]:
    """All lines whose water leaves where a line's does, upstream before downstream."""
    end = _end_of(line, lines)
    return [each for each in lines if _end_of(each, lines) is end]


def _end_of(line: RoutedLine, lines: Sequence[RoutedLine]) -> RoutedLine:
    """The last line on a line's way out; a line ends at another, or at the collector that another leaves."""
    after = next((each for each in lines if line.to_id in (each.id, each.from_id) and each is not line), None)
    return line if after is None else _end_of(after, lines)


def _renamed(lines: Sequence[RoutedLine], first: int) -> list[RoutedLine]:
    names = {line.id: f"run-{first + k}" for k, line in enumerate(lines)}
    return [
        replace(line, id=names[line.id], from_id=names.get(line.from_id, line.from_id),
                to_id=names.get(line.to_id, line.to_id))
        for line in lines
    ]


def _invert_at(line: RoutedLine, place: np.ndarray) -> float:
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line.xy, axis=0).T))])
    at = shapely.line_locate_point(LineString(line.xy), shapely.Point(*place))
    return float(np.interp(at, along, line.inverts))
