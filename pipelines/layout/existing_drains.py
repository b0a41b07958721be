"""What is said of drains that are there: what is relied on, and what is cleared and tested before anything is built."""

from collections.abc import Iterator

import shapely

from pipelines.inputs.rules import Rules
from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.inputs.shapes.spout_ends import ExistingDrain, SpoutEnd, existing_drains, spout_ends
from terrain.reason import Reason, reason


def checks_of_drains(layers: SiteLayers, rules: Rules) -> tuple[Reason, ...]:
    """Drains of the lot to clear and test, and pipes of downspouts whose end nobody knows: before all else."""
    ends, found = spout_ends(layers, rules), []
    for drain in existing_drains(layers, rules):
        if drain.relied_on or not shapely.intersects(drain.line, layers.parcel):
            continue
        found.append(
            reason("check_existing_drain", drain=drain.id, state=drain.condition or "unknown", small=not drain.large,
                   spouts=_on(drain, ends), forbidden=drain.forbidden)
        )  # fmt: skip
    blind = tuple(_name(each) for each in ends if each.place is None and each.drain is None)
    return (*found, *((reason("check_spout_pipes", spouts=blind),) if blind else ()))


def told_of_drains(layers: SiteLayers, rules: Rules) -> Iterator[Reason]:
    """What is taken on a person's word: roof water that leaves by a pipe that runs."""
    ends = spout_ends(layers, rules)
    for drain in existing_drains(layers, rules):
        spouts = _on(drain, ends)
        if not drain.relied_on or not spouts:
            continue
        inside = bool(shapely.intersects(layers.parcel, drain.end))
        yield reason("roof_in_drain", spouts=spouts, drain=drain.id, inside=inside)
        if shapely.intersects(layers.frontage.neighbors, drain.end):
            yield reason("drain_ends_next_door", drain=drain.id)
    street = tuple(_name(each) for each in ends if each.place is not None and each.drain is None)
    if street:
        yield reason("roof_to_street", spouts=street)


def _on(drain: ExistingDrain, ends: tuple[SpoutEnd, ...]) -> tuple[str, ...]:
    return tuple(_name(each) for each in ends if each.drain is not None and each.drain.id == drain.id)


def _name(spout: SpoutEnd) -> str:
    return f"downspout-{spout.id}"
