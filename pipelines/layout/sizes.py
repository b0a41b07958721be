"""Sizes of the works: what drains in time, what catches what runs by too, what keeps paving dry in a lighter storm."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from pipelines.hydraulics.grate import basin_grates, grate_capacity
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.layout.catching.design_flows import DesignFlows, design_flows, drain_capacity, run_with_works
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.cure_on_grounds import WorksOnGrounds
from pipelines.layout.cured import TroubleLeft, troubles_left
from pipelines.layout.diagnosis.diagnose import Diagnosis, Reckoning
from pipelines.layout.diagnosis.division import Division
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import Tolerance
from pipelines.layout.ways.fall import SURE_SHARE

PARTS = 8
"""Flows between the least and all that comes are tried in so many parts. [-]"""
MORE_GROUNDS = 0.1
"""Larger works are worth a look where they end what is wrong on so many more of the grounds. [-]"""
NEARLY = 0.95
"""Works that end it on so much of the share on which the largest do are large enough. [-]"""


def not_ended(left: Sequence[TroubleLeft]) -> int:
    """Troubles that are over their limit, or may be by what passes through a pond."""
    return sum(not each.surely_ended for each in left)


def flows_that_catch(
    situation: Situation, reckoning: Reckoning, found: Diagnosis, catching: Catching, division: Division,
    least: DesignFlows, on_grounds: WorksOnGrounds | None,
) -> DesignFlows | None:
    """Design flows at which basins take so much of what comes to them that more troubles end; where grounds are
    counted, basins and drains so much of what comes on nine of ten that they end on more: a part more than the least
    that do. None where they take it all, or all that a grate takes ends no more."""

    def tried(flows: Mapping[str, float]) -> tuple[int, float, Mapping[str, float]]:
        water = run_with_works(situation, reckoning, found, catching, division, flows)
        over = not_ended(troubles_left(found, catching, division, water, situation.rules))
        # of several basins in one pond one takes its water
        comes = {site.id: water.arriving[site.id].peak for site in catching.sites if site.id in water.arriving}
        return over, share_ended(on_grounds, flows), comes

    before, ended, comes = tried(least.flows)
    if not before and ended >= SURE_SHARE:
        return None
    most = _most_taken(situation, catching, comes, on_grounds)
    most = {name: flow for name, flow in most.items() if flow > least.flows.get(name, np.inf)}

    def flows(part: int) -> dict[str, float]:
        more = {name: least.flows[name] + part / PARTS * (flow - least.flows[name]) for name, flow in most.items()}
        drains = {
            drain.id: min(more[drain.into], drain_capacity(drain, situation.rules))
            for drain in catching.drains if drain.into in more
        }
        return least.flows | more | drains

    if not most:
        return None
    fewest, best, _ = tried(flows(PARTS))
    if fewest >= before and best < ended + MORE_GROUNDS:
        return None

    def enough(part: int) -> bool:
        over, share, _ = tried(flows(part))
        return over <= fewest and share >= NEARLY * best

    low, high = 1, PARTS
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle + 1, high)
    # what comes is no surer than that
    taken = flows(min(low + 1, PARTS))
    spots = {basin.id for basin in catching.basins if basin.spot is not None}
    short = {name: max(comes[name] - flow, 0.0) if name in most else least.short.get(name, 0.0)
             for name, flow in taken.items() if name not in spots}
    return replace(
        least, flows=taken, short={name: more for name, more in short.items() if more > 1e-6},
        caught=tuple(sorted(most)),
    )


def share_ended(on_grounds: WorksOnGrounds | None, capacities: Mapping[str, float]) -> float:
    """Share of the grounds on which works that take so much end every trouble; 1 where they are not counted. [-]"""
    return 1.0 if on_grounds is None else float(on_grounds.ended(capacities).mean())


def _most_taken(
    situation: Situation, catching: Catching, comes: Mapping[str, float], on_grounds: WorksOnGrounds | None
) -> dict[str, float]:
    """What comes to basins on nine of ten grounds, or on the likeliest if that is more, as far as the largest grate
    takes it; and to drains, where grounds are counted, as far as they take it. [m3/s]"""
    often = {} if on_grounds is None else on_grounds.comes_on(SURE_SHARE)
    most = {
        basin.id: min(max(comes[basin.id], often.get(basin.id, 0.0)), _largest_grate(basin.under_tree, situation))
        for basin in catching.basins if basin.id in comes
    }
    return most | {
        drain.id: min(often[drain.id], drain_capacity(drain, situation.rules))
        for drain in catching.drains if drain.id in often
    }


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
