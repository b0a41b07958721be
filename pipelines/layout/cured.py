"""What is wrong, held against its limit again with the works in place."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import shapely

from pipelines.inputs.rules import Rules
from pipelines.layout.catching.design_flows import tolerated_over_grate
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.catching.sites import BasinSite, DrainSite
from pipelines.layout.diagnosis.diagnose import Diagnosis, unit_peak
from pipelines.layout.diagnosis.division import Division
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.diagnosis.protected import ProtectedEdge
from pipelines.layout.diagnosis.running import running_at
from pipelines.layout.diagnosis.troubles import Trouble
from terrain.reason import Reason, reason

FLOW_ROUNDING = 1e-6
"""Flows that differ by less are one. [m3/s]"""


@dataclass(frozen=True, slots=True, eq=False)
class TroubleLeft:
    """One trouble with the works in place.

    Attributes
    ----------
    depth, limit : float
        Water there and what is tolerated. [m]
    over, longest : float
        How long it stands deeper than that, infinite where it still does when last looked at, and how long it may. [s]
    arrives, flow, most : float
        What would run at it without works, what does, and what may. [m3/s]
    past : tuple of Reason
        Works and low spots that let by what runs at it, and how much.
    through : tuple of Reason
        Low spots at it through whose ponds more passes than may run at it.
    """

    trouble: Trouble
    depth: float = 0.0
    limit: float = 0.0
    over: float = 0.0
    longest: float = 0.0
    arrives: float = 0.0
    flow: float = 0.0
    most: float = 0.0
    past: tuple[Reason, ...] = ()
    through: tuple[Reason, ...] = ()

    @property
    def ended(self) -> bool:
        """Whether it is within its limit."""
        dry_in_time = self.depth <= self.limit or self.over <= self.longest
        return dry_in_time and self.flow <= self.most + FLOW_ROUNDING

    @property
    def surely_ended(self) -> bool:
        """Whether it is, wherever what passes through a pond there runs."""
        return self.ended and not self.through


def troubles_left(
    found: Diagnosis, catching: Catching, division: Division, water: LotWater, rules: Rules
) -> tuple[TroubleLeft, ...]:
    """Every trouble of the lot as it is, with the works that `water` was run with on their division of the ground."""
    return tuple(_left(found, catching, division, water, rules))


def worst_standing(left: Sequence[TroubleLeft]) -> TroubleLeft | None:
    """The place where water stands longest over its limit."""
    standing = (each for each in left if each.trouble.spot is not None)
    return max(standing, key=lambda each: (not each.ended, each.over, each.depth), default=None)


def told_left(left: TroubleLeft) -> Reason:
    """What one of them still does, beside what is tolerated."""
    name = left.trouble.name
    if left.ended and left.through:
        return told_through(left)
    if left.trouble.edge is not None:
        return reason("left_running", place=name, flow=left.flow, most=left.most, arrives=left.arrives)
    to_the_end = left.over == float("inf")
    return reason(
        "left_standing", place=name, depth=left.depth, limit=left.limit, over=None if to_the_end else left.over,
        longest=left.longest,
    )


def _left(
    found: Diagnosis, catching: Catching, division: Division, water: LotWater, rules: Rules
) -> Iterator[TroubleLeft]:
    drained = {basin.spot for basin in catching.basins}
    stands = {trouble.name for trouble in found.troubles if trouble.spot is not None}
    for trouble in found.troubles:
        if trouble.spot is not None:
            stood = water.standing.get(trouble.spot.spot.id)
            if stood is None:
                yield TroubleLeft(trouble)
                continue
            grate = trouble.spot.spot.id in drained
            # works that dry the patio and leave the wall beside it under the same water do not end the trouble
            for place in trouble.spot.every:
                limit = tolerated_over_grate(place, found.rules, rules) if grate else found.rules.at(place.place)
                yield TroubleLeft(
                    replace(trouble, name=place.name), depth=max(stood.depth - place.dry, 0.0), limit=limit.depth,
                    over=stood.time_over(place.dry + found.rules.counts_from(limit)), longest=limit.duration,
                )
        elif trouble.edge is not None:
            most = found.rules.arriving_wall if trouble.edge.kind == "wall" else found.rules.arriving_paving
            if trouble.why["seen"] is not None or trouble.name in stands:
                most *= found.rules.seen_share
            caught = _caught_near(trouble.edge, catching, found.rules.complaint_reach)
            runs = running_at(trouble.edge, division, water, unit_peak(found.water), caught)
            past, through = (
                tuple(_past(place, onto, catching, water) for place, onto in some.items() if onto > most)
                for some in (runs.past, runs.through)
            )
            yield TroubleLeft(
                trouble, arrives=runs.arrives, flow=runs.flow, most=most, past=past, through=through
            )


def _caught_near(edge: ProtectedEdge, catching: Catching, reach: float) -> set[str]:
    """Places where works within reach of an edge catch what runs over it."""
    near = [
        site for site in catching.sites
        if shapely.distance(edge.shape, site.line if isinstance(site, DrainSite) else site.point) <= reach
    ]
    return {(site.spot if isinstance(site, BasinSite) else None) or site.id for site in near}


def against_today(left: Sequence[TroubleLeft], today: Diagnosis) -> tuple[TroubleLeft, ...]:
    """The same on ground that is reshaped, beside what runs at each edge on the lot as it is."""
    runs = {trouble.name: trouble.why["flow"] for trouble in today.troubles if trouble.edge is not None}
    return tuple(replace(each, arrives=max(each.arrives, runs.get(each.trouble.name, 0.0))) for each in left)


def told_running(left: TroubleLeft) -> Reason:
    """What still runs at an edge of what ran at it, where that is within its limit."""
    return reason("runs_within", place=left.trouble.name, flow=left.flow, most=left.most, arrives=left.arrives)


def told_through(left: TroubleLeft) -> Reason:
    """What passes through a pond at an edge, and may run over it."""
    return reason("runs_through", place=left.trouble.name, most=left.most, through=left.through)


def _past(place: str, onto: float, catching: Catching, water: LotWater) -> Reason:
    """What is let by at a low spot or by works."""
    works = next((basin.id for basin in catching.basins if basin.spot == place), place)
    if works not in water.taken:
        return reason("spills_onto", spot=place, onto=onto)
    comes, takes = water.arriving[works].peak, water.taken[works].peak
    on = water.standing[place].spill.peak if place in water.standing else comes - takes
    # a pond gives off at its peak less than what comes to it at the storm's
    held = max(comes - takes - on, 0.0)
    return reason("lets_by", works=works, comes=comes, takes=takes, held=held, on=on, onto=onto)


def told_balances(left: Sequence[TroubleLeft]) -> tuple[Reason, ...]:
    """What is caught, held back and let by of what comes to works, and where that goes; each of the works once."""
    goes: dict[str, list[Reason]] = {}
    let_by: dict[str, Mapping[str, float]] = {}
    for each in left:
        for surely, some in ((True, each.past), (False, each.through)):
            for let in some:
                values = dict(let.values)
                name = str(values.get("works", values.get("spot")))
                let_by[name] = values
                goes.setdefault(name, []).append(
                    reason("goes_to", flow=values["onto"], place=each.trouble.name, most=each.most, surely=surely)
                )
    return tuple(_balance(name, values, goes[name]) for name, values in let_by.items())


def _balance(name: str, values: Mapping[str, float], goes: Sequence[Reason]) -> Reason:
    to, may = (tuple(each for each in goes if each["surely"] == surely) for surely in (True, False))
    if "comes" not in values:
        return reason("balance_of_spot", spot=name, reaches=to, may=may)
    # what goes past two places may be the same water
    aside = max(values["on"] - goes[0]["flow"], 0.0) if len(goes) == 1 else None
    return reason(
        "balance_of_works", works=name, comes=values["comes"], takes=values["takes"], held=values["held"],
        on=values["on"], reaches=to, may=may, aside=aside,
    )
