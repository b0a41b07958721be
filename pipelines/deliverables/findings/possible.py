"""What may be wrong beside a house or on paving: on too many possible grounds to hide, on too few to build for."""

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from pipelines.deliverables.findings.lot import PossibleTrouble, StandingWater
from pipelines.layout.diagnosis.possible_troubles import PlaceOnGrounds
from pipelines.layout.diagnosis.troubles import SpotPlace, Trouble
from terrain.reason import Reason, reason

POSSIBLE_FROM = 0.1
"""What is wrong on this share of the grounds is told as possible, up to that from which it is called. [-]"""


def possible_troubles(
    on_grounds: Sequence[PlaceOnGrounds], places: Mapping[str, SpotPlace], troubles: Sequence[Trouble], *,
    called_from: float,
) -> tuple[PossibleTrouble, ...]:
    """What is possible at houses and paving where nothing is called, the likeliest first."""
    called = {each.name for each in troubles}
    walls = any(each.edge is not None and each.edge.kind == "wall" for each in troubles)
    told = [
        each for each in on_grounds
        if each.kind != "lawn" and POSSIBLE_FROM <= each.found < called_from
        and each.name not in called and not (each.kind == "wall" and walls)
    ]
    return tuple(
        PossibleTrouble(
            reason(
                "possible_trouble", place=each.name, wet=int(np.count_nonzero(each.wet)), grounds=int(each.wet.size)
            ),
            tuple(_spots_at(each, places.values(), called_from)),
        )
        for each in sorted(told, key=lambda each: -each.found)
    )


def not_needed_on(on_grounds: Sequence[PlaceOnGrounds], troubles: Sequence[Trouble]) -> Reason | None:
    """Grounds on which nothing is wrong anywhere, where nobody has seen that it is; None where they are too few."""
    if not on_grounds or not troubles or any(each.found is None for each in troubles):
        return None
    dry = ~np.any([each.wet for each in on_grounds], axis=0)
    if np.mean(dry) < POSSIBLE_FROM:
        return None
    return reason("not_needed_on_grounds", dry=int(np.count_nonzero(dry)), grounds=int(dry.size))


def _spots_at(place: PlaceOnGrounds, spots: Iterable[SpotPlace], called_from: float) -> Iterable[str]:
    for each in spots:
        there = any(part.name == place.name for part in (each, *each.others))
        if there and each.spot.found is not None and POSSIBLE_FROM <= each.spot.found < called_from:
            yield each.spot.id


def told_by_number(low_spots: Sequence[StandingWater], possible: Sequence[PossibleTrouble]) -> frozenset[str]:
    """Low spots that terminal and page list: those that are called, one inside another with it, and possible ones."""
    called = {
        each.spot.id for each in low_spots
        if not each.spot.within_lidar_error or each.why.code == "low_spot_in_trouble"
    }
    inside = {each.spot.id for each in low_spots if each.spot.contained_in in called}
    return frozenset(called - inside).union(*(each.spots for each in possible))
