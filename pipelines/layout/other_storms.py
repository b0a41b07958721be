"""The lot in other storms of the rain table, and what the heaviest does when every drain is clogged."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pipelines.hydrology.design_rain import DesignRain
from pipelines.layout.catching.design_flows import run_with_works
from pipelines.layout.diagnosis.diagnose import Reckoning, settings_for
from pipelines.layout.diagnosis.lot_water import LotWater, run_storm
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.planner import LotPlan
from terrain.flow.low_spots import LowSpot
from terrain.grid import Grid

MOST_STORMS = 7
NEAR_HOUSE = 3.0
"""A low spot this near a house is told against its sill; a value of this project. [m]"""
SIDES = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


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
    """Run the table's other return periods too, from the lightest to the heaviest."""
    own = OtherStorm(reckoning.rain, True, planned.diagnosis.water, planned.water)
    years = reckoning.rain.return_period
    if years is None:
        return (own,)
    storms = [
        _run(situation, replace(reckoning, rain=rain), planned, capacities)
        for period, rain in list(reckoning.rain.of_other_periods().items())[:MOST_STORMS]
        if abs(period - years) >= 1e-6 * years
    ]
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


def when_all_is_clogged(situation: Situation, planned: LotPlan, heaviest: OtherStorm) -> tuple[str, ...]:
    """Where the water of the heaviest storm stands and runs over beside a house with every drain clogged or power
    out.
    """
    said: list[str] = []
    freeboard = situation.rules["sill_freeboard"].likely
    period = heaviest.rain.return_period
    name = f"the {period:g}-year storm" if period is not None else "the design storm"
    troubled = {each.spot.spot.id for each in planned.diagnosis.troubles if each.spot is not None}
    by_id: dict[str, LowSpot] = {spot.id: spot for spot in situation.counted_spots}
    for spot_id, place in planned.diagnosis.places.items():
        water = heaviest.before.standing.get(spot_id)
        beside = place.sill_distance <= NEAR_HOUSE or spot_id in troubled
        if water is None or not beside or water.depth <= planned.diagnosis.rules.film:
            continue
        level = by_id[spot_id].bottom_elevation + water.depth
        onward = _runs_over(by_id[spot_id], situation.grid, level)
        if situation.floor is None:
            said.append(
                f"with the works clogged or the power out, {name} stands {water.depth / 0.0254:.1f} in "
                f"({water.depth * 100.0:.0f} cm) deep on {place.name} and {onward}; the "
                "sill's level is not given"
            )
        elif level > situation.floor - freeboard:
            room = situation.floor - level
            size = f"{abs(room) / 0.0254:.1f} in ({abs(room) * 100.0:.0f} cm)"
            reaches = f"to within {size} of the sill" if room >= 0.0 else f"{size} above the sill"
            said.append(
                f"with the works clogged or the power out, {name} rises on {place.name} {reaches}; "
                f"{freeboard / 0.0254:.0f} in of room are asked for. It {onward}"
            )
        else:
            room = situation.floor - level
            said.append(
                f"with the works clogged or the power out, {name} stands {water.depth / 0.0254:.1f} in "
                f"({water.depth * 100.0:.0f} cm) deep on {place.name}, {room / 0.0254:.0f} in ({room * 100.0:.0f} cm) "
                f"below the sill: no water at the floor by that. It {onward}"
            )
    return tuple(said)


def _runs_over(spot: LowSpot, grid: Grid, level: float) -> str:
    """Whether and where water at a level leaves a low spot."""
    if spot.spill_cell is None or spot.spill_elevation is None:
        return "has no way out over the ground"
    if level < spot.spill_elevation - 1e-3:
        return "does not run over"
    columns = grid.shape[1]
    x, y = grid.centres(np.array([spot.bottom, spot.spill_cell]) // columns,
                        np.array([spot.bottom, spot.spill_cell]) % columns)
    turned = np.degrees(np.arctan2(x[1] - x[0], y[1] - y[0]))
    return f"runs over on the {SIDES[round(turned / 45.0) % 8]} side"
