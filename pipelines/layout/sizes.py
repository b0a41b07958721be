"""Sizes of the works: what drains in time, what catches what runs by too, what keeps paving dry in a lighter storm."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from pipelines.hydraulics.grate import basin_grates, grate_capacity
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.layout.catching.design_flows import DesignFlows, design_flows, drain_capacity, run_with_works
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.cured import TroubleLeft, troubles_left
from pipelines.layout.diagnosis.diagnose import Diagnosis, Reckoning
from pipelines.layout.diagnosis.division import Division
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import Tolerance

PARTS = 8
"""Flows between the least and all that comes are tried in so many parts. [-]"""


def not_ended(left: Sequence[TroubleLeft]) -> int:
    """Troubles that are over their limit, or may be by what passes through a pond."""
    return sum(not each.surely_ended for each in left)


def flows_that_catch(
    situation: Situation, reckoning: Reckoning, found: Diagnosis, catching: Catching, division: Division,
    least: DesignFlows,
) -> DesignFlows | None:
    """Design flows at which basins take so much of what comes to them that more troubles end, a part more than the
    least that do; None where they take it all, or all that a grate takes ends no more."""

    basins = catching.basins

    def left(flows: Mapping[str, float]) -> tuple[int, Mapping[str, float]]:
        water = run_with_works(situation, reckoning, found, catching, division, flows)
        over = not_ended(troubles_left(found, catching, division, water, situation.rules))
        # of several basins in one pond one takes its water
        return over, {basin.id: water.arriving[basin.id].peak for basin in basins if basin.id in water.arriving}

    before, comes = left(least.flows)
    most = {
        basin.id: min(comes[basin.id], _largest_grate(basin.under_tree, situation))
        for basin in basins
        if comes.get(basin.id, 0.0) > least.flows[basin.id]
    }
    most = {name: flow for name, flow in most.items() if flow > least.flows[name]}
    if not before or not most:
        return None

    def flows(part: int) -> dict[str, float]:
        more = {name: least.flows[name] + part / PARTS * (flow - least.flows[name]) for name, flow in most.items()}
        drains = {
            drain.id: min(more[drain.into], drain_capacity(drain, situation.rules))
            for drain in catching.drains if drain.into in more
        }
        return least.flows | more | drains

    fewest, _ = left(flows(PARTS))
    if fewest >= before:
        return None
    low, high = 1, PARTS
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if left(flows(middle))[0] <= fewest else (middle + 1, high)
    # what comes is no surer than that
    low = min(low + 1, PARTS)
    spots = {basin.id for basin in basins if basin.spot is not None}
    short = {name: max(comes[name] - flow, 0.0) if name in most else least.short.get(name, 0.0)
             for name, flow in flows(low).items() if name not in spots}
    return replace(
        least, flows=flows(low), short={name: more for name, more in short.items() if more > 1e-6},
        caught=tuple(sorted(most)),
    )


def _largest_grate(under_tree: bool, situation: Situation) -> float:
    """What the largest grate takes. [m3/s]"""
    rules = situation.rules
    *_, grate = basin_grates(
        rules["basin_9in_flow"].likely, rules["basin_12in_flow"].likely, open_share=rules["grate_open_area"].likely
    )
    clogging = rules["grate_clogging_trees" if under_tree else "grate_clogging"].likely
    return grate_capacity(grate, rules["grate_ponding"].likely, clogging=clogging)


def flows_that_keep_dry(
    situation: Situation,
    reckoning: Reckoning,
    rain: DesignRain,
    found: Diagnosis,
    catching: Catching,
    division: Division,
    least: DesignFlows,
) -> DesignFlows | None:
    """Design flows at which no water stands on paving in a lighter storm either; None where no basin stands in any."""
    on_paving = [
        basin.id for basin in catching.basins if basin.spot is not None and found.places[basin.spot].place == "paving"
    ]
    if not on_paving:
        return None
    strict = replace(found, rules=replace(found.rules, paving=Tolerance(found.rules.film, 0.0)))
    dry = design_flows(situation, replace(reckoning, rain=rain), strict, catching, division)
    more = {name: max(least.flows[name], dry.flows[name]) for name in on_paving}
    return replace(least, flows=least.flows | more)


def keeps_dry(
    situation: Situation,
    reckoning: Reckoning,
    rain: DesignRain,
    found: Diagnosis,
    served: Catching,
    division: Division,
    capacities: Mapping[str, float],
) -> bool:
    """Whether no water stands on any paving in a storm with works of given capacities."""
    water = run_with_works(situation, replace(reckoning, rain=rain), found, served, division, capacities)
    return all(
        water.standing[name].depth <= place.dry + found.rules.film
        for name, place in found.places.items()
        if place.place == "paving" and place.on_parcel and name in water.standing
    )
