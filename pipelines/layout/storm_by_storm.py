"""What stands at everything that must stay dry, storm by storm, as it is and with the improvements."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, takewhile

import numpy as np

from pipelines.hydrology.standing_water import PoolWater
from pipelines.layout.diagnosis.houses import nearest_house
from pipelines.layout.diagnosis.protected import ground_in_spots
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.other_storms import OtherStorm
from terrain.flow.low_spots import LowSpot
from terrain.reason import Reason, reason


@dataclass(frozen=True, slots=True, eq=False)
class EdgeInStorm:
    """Water at one edge in one storm.

    Attributes
    ----------
    edge : str
        Patio, drive or house.
    kind : str
        paving or wall.
    storm : OtherStorm
        Which one.
    depth, depth_after : float
        Deepest on the edge's own ground, as it is and with the improvements. [m]
    time, time_after : float
        How long water stands there, infinite where nothing takes it. [s]
    room, room_after : float or None
        From the highest water beside the house up to its sill; None for paving, and without a sill's level. [m]
    """

    edge: str
    kind: str
    storm: OtherStorm
    depth: float
    depth_after: float
    time: float
    time_after: float
    room: float | None
    room_after: float | None


def edges_by_storm(
    situation: Situation, storms: Sequence[OtherStorm], then: Situation | None = None
) -> tuple[EdgeInStorm, ...]:
    """Every protected edge in every storm, edge by edge, from the lightest storm to the heaviest.

    `then` is the lot after its surface was changed.
    """
    return tuple(_rows(situation, then or situation, storms))


def in_words(rows: Sequence[EdgeInStorm], *, improved: bool, film: float) -> tuple[Reason, ...]:
    """For each edge what its owner asks for: up to which storm it is dry, and what the design storm does there."""
    return tuple(
        reason(
            "edge_in_storms", edge=edge, improved=improved,
            before=_told([(row.storm, row.depth, row.time) for row in group], film),
            after=_told([(row.storm, row.depth_after, row.time_after) for row in group], film) if improved else None,
        )
        for edge, group in ((edge, list(rows)) for edge, rows in groupby(rows, key=lambda row: row.edge))
    )


def _told(storms: Sequence[tuple[OtherStorm, float, float]], film: float) -> Reason:
    dry = list(takewhile(lambda each: each[1] <= film, storms))
    storm, depth, time = next(each for each in storms if each[0].design)
    return reason(
        "dry_up_to",
        all=len(dry) == len(storms),
        dry=dry[-1][0].rain.return_period if dry else None,
        design=storm.rain.return_period,
        depth=None if depth <= film else depth,
        time=time if np.isfinite(time) else None,
    )


def _rows(situation: Situation, then: Situation, storms: Sequence[OtherStorm]) -> Iterator[EdgeInStorm]:
    film = situation.rules["standing_film"].likely
    lots = [(each, {spot.id: spot for spot in each.counted_spots}) for each in (situation, then)]
    for edge in situation.edges:
        grounds = [ground_in_spots(edge, lot.drainage, spots) for lot, spots in lots]
        for storm in storms:
            before, after = (
                _water(ground, spots, water.standing, film)
                for ground, (_, spots), water in zip(grounds, lots, (storm.before, storm.after), strict=True)
            )
            house = nearest_house(situation.each_house, edge.shape) if edge.kind == "wall" else None
            sill = None if house is None else house.floor
            yield EdgeInStorm(
                edge.name, edge.kind, storm, before[0], after[0], before[1], after[1],
                _room(sill, before[2]), _room(sill, after[2]),
            )


def _water(
    ground: Mapping[str, float],
    spots: Mapping[str, LowSpot],
    standing: Mapping[str, PoolWater],
    film: float,
) -> tuple[float, float, float | None]:
    """Depth [m], time [s] and level [m] of the deepest water there; no level where none stands."""
    found: tuple[float, float, float | None] = (0.0, 0.0, None)
    for name, lowest in ground.items():
        if name not in standing:
            continue
        water, dry = standing[name], lowest - spots[name].bottom_elevation
        if water.depth - dry > found[0]:
            found = (water.depth - dry, water.time_over(dry + film), spots[name].bottom_elevation + water.depth)
    return found


def _room(sill: float | None, level: float | None) -> float | None:
    return None if sill is None or level is None else sill - level
