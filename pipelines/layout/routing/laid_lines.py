"""Lines that are laid already, as what later lines must keep their clear height from."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString
from shapely.ops import substring

from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.spec import RoutedLine
from pipelines.layout.routing.steps import Crossing, crossed_by_steps, hits_of_crossings

OWN = "own line "
"""What the ids of lines of the same plan begin with."""
LAID_TO = 0.02
"""Profiles are laid to this. [m]"""
PIECE = 1.0
"""Pieces of a line, each held to lie level. [m]"""
AT_END = 1.0
"""So near to its lower end a line meets others that end there too. [m]"""


def pieces_of(
    name: str, line: LineString, outside: float, wall: float, clearance: float, cost: float, *, at_end: float = AT_END
) -> list[Crossing]:
    """A laid line in pieces, z its invert, each with the clear height that is wanted around its pipe. [m], [money]

    Its last stretch is left out, where others may end too [m]: none where it joins another line.
    """
    along = np.arange(0.0, max(line.length - at_end, 0.0), PIECE)
    found = []
    for start in along:
        piece = substring(line, float(start), min(float(start) + PIECE, line.length - at_end))
        heights = shapely.get_coordinates(piece, include_z=True)[:, 2]
        if piece.length <= 0.0:
            continue
        middle = float(heights.max() + heights.min()) / 2.0 + outside / 2.0 - wall
        around = clearance + LAID_TO + outside / 2.0 + float(np.ptp(heights)) / 2.0
        found.append(Crossing(OWN + name, OWN, shapely.force_2d(piece), cost, middle, around))
    return found


def with_laid(field: RouteField, laid: Iterable[Crossing]) -> RouteField:
    """A field in which lines that are laid already are crossed with care."""
    more = tuple(laid)
    if not more:
        return field
    cost, low, high = crossed_by_steps(field.passable, more, field.grid)
    return replace(
        field, crossings=(*field.crossings, *more), crossing_cost=field.crossing_cost + cost,
        band_low=np.minimum(field.band_low, low), band_high=np.maximum(field.band_high, high),
        hits=np.vstack([field.hits, hits_of_crossings(more)]),
    )


def without_own(line: RoutedLine) -> RoutedLine:
    """A line that tells what is buried of others alone, and not the lines of its own plan that it crosses."""
    return replace(line, crossings=tuple(name for name in line.crossings if not name.startswith(OWN)))
