"""The lot in other storms of the rain table, and what the heaviest does when every drain is clogged."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from pipelines.hydrology.design_rain import DesignRain, rain_from_table
from pipelines.hydrology.errors import RainError
from pipelines.layout.design_flows import run_with_works
from pipelines.layout.lot_water import LotWater, run_storm
from pipelines.layout.planner import LotPlan
from pipelines.layout.proposal import Reckoning, settings_for
from pipelines.layout.situation import Situation
from terrain.low_spots import LowSpot

MOST_STORMS = 7


@dataclass(frozen=True, slots=True, eq=False)
class OtherStorm:
    """One storm on the lot as it is, and with the works.

    Attributes
    ----------
    rain : DesignRain
        The storm.
    design : bool
        The storm that the works are designed for.
    before, after : LotWater
        Without works and with them.
    """

    rain: DesignRain
    design: bool
    before: LotWater
    after: LotWater


def other_storms(
    situation: Situation, reckoning: Reckoning, planned: LotPlan, capacities: Mapping[str, float]
) -> tuple[OtherStorm, ...]:
    """Run the table's other return periods too, from the lightest to the heaviest.

    Parameters
    ----------
    situation : Situation
        The lot.
    reckoning : Reckoning
        Surfaces, design rain, soil.
    planned : LotPlan
        The plan, with the design storm before and after.
    capacities : mapping of str to float
        What each collector takes. [m3/s]

    Returns
    -------
    tuple of OtherStorm
        The design storm alone where there is no table.
    """
    own = OtherStorm(reckoning.rain, True, planned.diagnosis.water, planned.water)
    table, years = reckoning.rain.table, reckoning.rain.return_period
    if table is None or years is None:
        return (own,)
    storms: list[OtherStorm] = []
    for period in table.return_periods[:MOST_STORMS].tolist():
        if abs(period - years) < 1e-6 * years:
            continue
        try:
            rain = rain_from_table(table, float(period))
        except RainError:
            # a column that the storm cannot be made from is left out
            continue
        storms.append(_run(situation, replace(reckoning, rain=rain), planned, capacities))
    return tuple(sorted([own, *storms], key=lambda storm: storm.rain.storm.depth))


def _run(
    situation: Situation, reckoning: Reckoning, planned: LotPlan, capacities: Mapping[str, float]
) -> OtherStorm:
    found = planned.diagnosis
    spots = {spot.id: spot for spot in situation.counted_spots}
    before = run_storm(
        found.division, situation.drainage, spots, reckoning.surfaces, reckoning.rain, {},
        settings_for(found.places, found.rules, reckoning),
    )
    after = before
    if capacities:
        after = run_with_works(situation, reckoning, found, planned.built, planned.division, capacities)
    return OtherStorm(reckoning.rain, False, before, after)


def sills_in_danger(situation: Situation, planned: LotPlan, heaviest: OtherStorm) -> tuple[str, ...]:
    """Low spots whose water, with every drain clogged or the power out, comes near a sill in the heaviest storm.

    Parameters
    ----------
    situation : Situation
        For houses and their floor.
    planned : LotPlan
        For the places.
    heaviest : OtherStorm
        The heaviest storm that is known; its water before works is that with all of them clogged.

    Returns
    -------
    tuple of str
        Warnings (freeboard of 6 in: common practice, no source).
    """
    said: list[str] = []
    freeboard = situation.rules["sill_freeboard"].likely
    period = heaviest.rain.return_period
    name = f"the {period:g}-year storm" if period is not None else "the design storm"
    by_id: dict[str, LowSpot] = {spot.id: spot for spot in situation.counted_spots}
    for spot_id, place in planned.diagnosis.places.items():
        water = heaviest.before.standing.get(spot_id)
        if water is None or place.sill_distance > 3.0 or water.depth <= 0.0:
            continue
        level = by_id[spot_id].bottom_elevation + water.depth
        if situation.floor is None:
            said.append(
                f"with the works clogged or the power out, {name} stands {water.depth / 0.0254:.1f} in "
                f"({water.depth * 100.0:.0f} cm) deep on {place.name} beside the house; the sill's level is not given"
            )
        elif level > situation.floor - freeboard:
            room = situation.floor - level
            said.append(
                f"with the works clogged or the power out, {name} rises on {place.name} to within "
                f"{room / 0.0254:.1f} in ({room * 100.0:.0f} cm) of the sill; {freeboard / 0.0254:.0f} in are asked for"
            )
    return tuple(said)
