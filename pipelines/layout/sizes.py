"""Two sizes of the works: the least that drains in time, and what keeps paving dry in a lighter storm."""

from collections.abc import Mapping
from dataclasses import replace

from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.layout.catching.design_flows import DesignFlows, design_flows, run_with_works
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.diagnosis.diagnose import Diagnosis, Reckoning
from pipelines.layout.diagnosis.division import Division
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import Tolerance


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
