"""Which way is chosen, and what the plan says of it at the top."""

from collections.abc import Mapping

from pipelines.layout.catching.proposal import Catching
from pipelines.layout.diagnosis.diagnose import Diagnosis
from pipelines.layout.plan import Alternative, Mode
from pipelines.layout.quantities.take_off import Cost
from pipelines.layout.ways.way_values import Way, WayInputs
from terrain.reason import Reason, reason

PREFERENCE: tuple[Mode, ...] = ("gravity", "daylight", "soakaway", "pump")


def choose_way(ways: Mapping[Mode, Way], fixed: str | None) -> Way | None:
    """A sure way before one that cannot be told, gravity before daylight before a pump; the site file's choice wins.

    A pump is for where nothing else may work. No way is asked for that cannot be chosen, so that it need not be laid.
    """
    allowed = {"gravity": PREFERENCE[:2], "pump": PREFERENCE[3:]}.get(fixed or "", PREFERENCE)
    possible: list[Way] = []
    for mode in allowed:
        if mode == "pump" and any(_may_work(way) for way in possible):
            break
        way = ways[mode]
        if way.possible and _settled(way):
            return way
        if way.possible:
            possible.append(way)
    return possible[0] if possible else None


def alternative_of(way: Way, cost: Cost | None, *, chosen: bool) -> Alternative:
    """One way beside the others."""
    low, likely, high = (None, None, None) if cost is None else (cost.low, cost.likely, cost.high)
    return Alternative(
        way.mode, way.possible, low, likely, high, way.deepest, way.fall_to_spare, way.depends_on, chosen
    )


def leaves_by(inputs: WayInputs, chosen: Way, found: Diagnosis) -> Reason:
    """How the water leaves."""
    street, catching = inputs.situation.right_of_way, inputs.catching
    ends = {
        "roadside_swale" if end.kind == "swale" and street is not None and street.intersects(end.point) else end.kind
        for end in chosen.outfalls
        if end.verdict is not None
    }
    to = ends.pop() if len(ends) == 1 else ""
    lift = max((each.lift for each in chosen.discharges if each.lift is not None), default=None)
    if chosen.mode == "pump":
        rest = [name for each in chosen.discharges if each.mode == "gravity" for name in each.serves]
        spouts = {site.id for site in catching.downspouts}
        return reason(
            "leaves_pumped", places=_pumped_places(chosen, found, catching), lift=lift, rest=bool(rest),
            roof=set(rest) <= spouts, asked=inputs.site.layout.lift == "pump",
        )
    if chosen.mode == "soakaway":
        return reason("leaves_soaking")
    if chosen.fall_to_spare is not None and chosen.fall_to_spare < 0.0:
        return reason("leaves_short_of_fall", mode=chosen.mode, to=to, short=-chosen.fall_to_spare)
    return reason("leaves_by_gravity", mode=chosen.mode, to=to, spare=chosen.fall_to_spare)


def _pumped_places(chosen: Way, found: Diagnosis, catching: Catching) -> tuple[Reason, ...]:
    """Places whose water is lifted."""
    pumped = {name for each in chosen.discharges if each.mode == "pump" for name in each.serves}
    spots = [site.spot for site in catching.basins if site.id in pumped and site.spot is not None]
    return tuple(dict.fromkeys(found.places[spot].name for spot in spots if spot in found.places))


def _may_work(way: Way) -> bool:
    return all(each.verdict != "no" for each in way.discharges)


def _settled(way: Way) -> bool:
    """Whether every line of it is sure, but for an outfall that nobody confirmed."""
    return way.sure or _only_unverified(way)


def _only_unverified(way: Way) -> bool:
    return any(not outfall.given for outfall in way.outfalls) and all(
        outfall.verdict == "sure" for outfall in way.outfalls if outfall.verdict is not None
    )
