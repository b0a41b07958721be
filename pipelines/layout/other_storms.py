"""The lot in other storms of the rain table, and what the heaviest does when every drain is clogged."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import label
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.inputs.rules import Rules
from pipelines.layout.catching.design_flows import NOTHING_HELD_BACK, run_with_works
from pipelines.layout.diagnosis.diagnose import Reckoning, settings_for
from pipelines.layout.diagnosis.houses import HouseGround, nearest_house
from pipelines.layout.diagnosis.lot_water import LotWater, run_storm
from pipelines.layout.diagnosis.protected import ground_in_spots
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.planner import LotPlan
from pipelines.layout.surface.surface_only import dry_where_gone, storm_on
from pipelines.layout.swale.found_outfall import OutfallLook
from terrain.flow.low_spots import LowSpot
from terrain.grid import Grid
from terrain.ground import OPEN
from terrain.reason import Reason, reason

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
    return tuple(
        own if rain is reckoning.rain else _run(situation, replace(reckoning, rain=rain), planned, capacities)
        for rain in rains_run(reckoning.rain, situation.rules)
    )


def rains_run(rain: DesignRain, rules: Rules) -> tuple[DesignRain, ...]:
    """The design rain among the table's other return periods that are run, from the lightest to the heaviest."""
    years = rain.return_period
    if years is None:
        return (rain,)
    others = [
        other
        for period, other in list(rain.of_other_periods().items())[: int(rules["storms_run"].likely)]
        if abs(period - years) >= 1e-6 * years
    ]
    return tuple(sorted([rain, *others], key=lambda each: each.storm.depth))


def _run(
    situation: Situation, reckoning: Reckoning, planned: LotPlan, capacities: Mapping[str, float]
) -> OtherStorm:
    found = planned.diagnosis
    spots = {spot.id: spot for spot in situation.counted_spots}
    before = run_storm(
        found.division, situation.drainage, spots, reckoning.surfaces, reckoning.rain, {},
        settings_for(found.places, found.rules, reckoning),
    )
    after, lot = before, planned.reshaped
    if lot is not None and not capacities:
        after = storm_on(lot, reckoning, before)
    elif capacities:
        # how the outfall's water rises is known of the design storm: a heavier one holds back as much at the least
        heavier = reckoning.rain.storm.depth > planned.diagnosis.water.runoff[0].storm_depth
        held = planned.held if heavier else NOTHING_HELD_BACK
        on, wrong = (situation, found) if lot is None else (lot.situation, lot.found)
        after = run_with_works(on, reckoning, wrong, planned.built, planned.division, capacities, held)
        after = after if lot is None else dry_where_gone(after, before)
    return OtherStorm(reckoning.rain, False, before, after)


def when_all_is_clogged(situation: Situation, planned: LotPlan, heaviest: OtherStorm) -> tuple[Reason, ...]:
    """Where the heaviest storm stands and runs over beside a house with every drain clogged or the power out."""
    rules = situation.rules
    freeboard, near_house = rules["sill_freeboard"].likely, rules["near_house"].likely
    troubled = {each.spot.spot.id for each in planned.diagnosis.troubles if each.spot is not None}
    by_id: dict[str, LowSpot] = {spot.id: spot for spot in situation.counted_spots}
    depths = {
        spot_id: water.depth - place.dry
        for spot_id, place in planned.diagnosis.places.items()
        if (water := heaviest.before.standing.get(spot_id)) is not None
        and (place.sill_distance <= near_house or spot_id in troubled)
        and water.depth > place.dry + planned.diagnosis.rules.film
    }
    places = planned.diagnosis.places
    ponds = {
        spot_id: by_id[spot_id].bottom_elevation + places[spot_id].dry + depth for spot_id, depth in depths.items()
    }
    backed = {spot_id: _backed_up(situation, planned, by_id[spot_id], level) for spot_id, level in ponds.items()}
    levels = {spot_id: level for spot_id, (_, level) in backed.items()}
    beside = {spot_id: nearest_house(situation.each_house, places[spot_id].shape) for spot_id in levels}
    rooms = {
        spot_id: None if (house := beside[spot_id]) is None or house.floor is None else house.floor - level
        for spot_id, level in levels.items()
    }
    near = {spot_id: room is not None and room < freeboard for spot_id, room in rooms.items()}
    floor = min((house.floor for house in situation.each_house if house.floor is not None), default=None)
    unknown = tuple(look.outfall for look in _joined(planned) if look.heaviest is None)
    told = {outfall for outfall, _ in backed.values()}
    at_sill = tuple(
        reason(
            "outfall_at_sill", outfall=look.outfall, years=heaviest.rain.return_period, room=floor - look.heaviest,
            freeboard=freeboard,
        )
        for look in planned.looks
        if floor is not None and look.heaviest is not None and look.outfall not in told
        and floor - look.heaviest < freeboard
    )  # fmt: skip
    at_sill += _outfalls_near_the_sill(planned, floor, freeboard)
    return at_sill + tuple(
        reason(
            "clogged", built=bool(planned.plan.pipe_runs), pumped=bool(planned.lifts),
            years=heaviest.rain.return_period, depth=depths[spot_id] + level - ponds[spot_id],
            place=places[spot_id].name, outfall=backed[spot_id][0],
            room=rooms[spot_id], freeboard=freeboard, near=near[spot_id], unknown=unknown,
            at_wall=_over_wall_ground(situation, by_id[spot_id], beside[spot_id], places[spot_id].shape, level),
            # one place that reaches up to the sill, and no other may be told as leaving the floor dry
            dry=not any(near.values()) and not at_sill,
            onward=_runs_over(by_id[spot_id], situation.grid, ponds[spot_id]),
        )
        for spot_id, level in levels.items()
    )


def _over_wall_ground(
    situation: Situation, spot: LowSpot, house: HouseGround | None, shape: BaseGeometry, level: float
) -> float | None:
    """How far a level stands over the lowest ground at a wall that a low spot reaches, along the walls near it where a
    higher level reaches farther; None where it is below. [m]"""
    walls = [edge for edge in situation.edges if edge.kind == "wall"]
    ground = [low for edge in walls for low in ground_in_spots(edge, situation.drainage, {spot.id: spot}).values()]
    if not ground and house is not None and (spot.spill_elevation is None or level > spot.spill_elevation + 1e-3):
        ground = house.ground_near(shape, situation.rules["near_house"].likely).tolist()
    over = level - min(ground, default=np.inf)
    return over if over > 0.0 else None


def _joined(planned: LotPlan) -> list[OutfallLook]:
    """Outfalls whose water can come back through a gravity line."""
    ends = {line.outfall for line in planned.plan.discharges if line.mode == "gravity"}
    return [look for look in planned.looks if look.outfall in ends]


def _backed_up(situation: Situation, planned: LotPlan, spot: LowSpot, pond: float) -> tuple[str | None, float]:
    """The outfall whose water, through the spot's own gravity line or over the ground, stands higher there than the
    pond; the higher level. [m]
    """
    collectors = {basin.id for basin in planned.built.basins if basin.spot == spot.id}
    joined = {
        line.outfall
        for line in planned.plan.discharges
        if line.mode == "gravity" and collectors.intersection(line.serves)
    }
    found = [
        (look.heaviest, look.outfall)
        for look in planned.looks
        if look.heaviest is not None and look.heaviest > pond
        and (look.outfall in joined or _over_the_ground(situation, spot, look.point, look.heaviest))
    ]  # fmt: skip
    level, outfall = max(found, default=(pond, None))
    return outfall, level


def _over_the_ground(situation: Situation, spot: LowSpot, outfall: Point, level: float) -> bool:
    """Whether water that stands to a level at an outfall reaches a low spot over ground that lies lower."""
    ground, grid = situation.drainage.ground, situation.grid
    row, column = (int(each) for each in grid.cells(outfall.x, outfall.y))
    if not (0 <= row < grid.shape[0] and 0 <= column < grid.shape[1]):
        return spot.spill_elevation is not None and level > spot.spill_elevation
    pools, _ = label((ground.kind == OPEN) & (ground.elevation < level), np.ones((3, 3)))
    return bool(pools[row, column] > 0 and pools[row, column] == pools.flat[spot.bottom])


def _outfalls_near_the_sill(planned: LotPlan, floor: float | None, freeboard: float) -> tuple[Reason, ...]:
    """Outfalls that were not followed in the heaviest storm, and stand up to the sill, less its freeboard, in the
    design storm: a line joins them to the house's ground.
    """
    if floor is None or not planned.plan.pipe_runs:
        return ()
    rooms = [
        (look, floor - look.level - (look.rise or 0.0))
        for look in planned.looks
        if look.level is not None and look.heaviest is None
    ]
    return tuple(
        reason("outfall_against_sill", outfall=look.outfall, room=room, rises=bool(look.rise), freeboard=freeboard)
        for look, room in rooms
        if room < freeboard
    )


def _runs_over(spot: LowSpot, grid: Grid, level: float) -> Reason:
    """Whether and where water at a level leaves a low spot."""
    if spot.spill_cell is None or spot.spill_elevation is None:
        return reason("no_way_over_ground")
    if level < spot.spill_elevation - 1e-3:
        return reason("does_not_run_over")
    columns = grid.shape[1]
    x, y = grid.centres(np.array([spot.bottom, spot.spill_cell]) // columns,
                        np.array([spot.bottom, spot.spill_cell]) % columns)
    turned = np.degrees(np.arctan2(x[1] - x[0], y[1] - y[0]))
    return reason("runs_over", side=SIDES[round(turned / 45.0) % 8])
