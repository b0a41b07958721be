"""A score from 0 to 100 by which lots are ranked: what stands where, how deep, how long, how near a house.

A ranking of this project, not a rule of the trade: each place where water stands or runs at something counts
`weight * (depth / DEEP + hours / LONG) / 2`, each term at most 1, times the share of grounds on which it is there; the
score is 100 less what is left of 100 after each place has taken its part of it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from shapely import Point

from pipelines.deliverables.findings.lot import StandingWater
from pipelines.layout.diagnosis.troubles import SpotPlace
from pipelines.lot_stages import LotStages
from terrain.reason import Reason, reason
from terrain.unit_table import HOUR

WEIGHT = {"wall": 1.0, "paving": 0.6, "lawn": 0.3}
"""Of water at a wall, on paving, on a lawn; a value of this project. [-]"""
ARRIVING = 0.4
"""Part of its weight for water that runs at a wall or onto paving and does not stand there. [-]"""
DEEP, LONG = 0.15, 24.0
"""Water this deep [m], or that stands this long [h], counts in full; values of this project."""
NEAR_HOUSE = 5.0
"""A lawn's water this near a house counts half as much as paving's more. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class Need:
    """How much a lot needs a visit.

    Attributes
    ----------
    score : float
        0 to 100. [-]
    why : Reason
        The place that counts most.
    worst : Point or None
        Where that is, z its ground; None where nothing stands. [m]
    found : float or None
        Share of the grounds on which it is there. [-]
    """

    score: float
    why: Reason
    worst: Point | None
    found: float | None


def need_of(stages: LotStages, standing: Sequence[StandingWater]) -> Need:
    """Score a lot by its water as it is.

    Parameters
    ----------
    stages : LotStages
        Of the lot, to its diagnosis.
    standing : sequence of StandingWater
        Its low spots in the design storm.

    Returns
    -------
    Need
        Score and what makes it.
    """
    parts = sorted((*_standing(stages, standing), *_arriving(stages)), key=lambda part: -part[0])
    if not parts:
        return Need(0.0, reason("need_none"), None, None)
    left = 1.0
    for share, *_ in parts:
        left *= 1.0 - share
    _, why, worst, found = parts[0]
    return Need(100.0 * (1.0 - left), why, worst, found)


Part = tuple[float, Reason, Point | None, float | None]


def _standing(stages: LotStages, standing: Sequence[StandingWater]) -> Iterator[Part]:
    grid = stages.situation.grid
    for water in standing:
        place = stages.places.get(water.spot.id)
        if place is None or not water.on_parcel or water.depth_on_lot <= stages.diagnosis.rules.standing_film:
            continue
        hours, found = water.hours_on_lot, water.spot.found
        severe = min(water.depth_on_lot / DEEP, 1.0) + min((LONG if hours is None else hours) / LONG, 1.0)
        x, y = grid.centres(*divmod(water.spot.bottom, grid.shape[1]))
        yield (
            _weight(place) * 0.5 * severe * (1.0 if found is None else found),
            reason(
                "need_standing",
                place=place.name,
                depth=water.depth_on_lot,
                time=None if hours is None else hours * HOUR,
            ),
            Point(float(x), float(y), water.spot.bottom_elevation),
            found,
        )


def _weight(place: SpotPlace) -> float:
    weight = WEIGHT[place.place]
    return (
        weight + 0.5 * (WEIGHT["paving"] - weight)
        if place.place == "lawn" and place.sill_distance <= NEAR_HOUSE
        else weight
    )


def _arriving(stages: LotStages) -> Iterator[Part]:
    for trouble in stages.diagnosis.troubles:
        if trouble.kind == "arriving" and trouble.edge is not None:
            share = ARRIVING * WEIGHT[trouble.edge.kind] * (1.0 if trouble.found is None else trouble.found)
            yield share, reason("need_arriving", why=trouble.why), None, trouble.found
