"""From ground, water and plan to the lines, low spots and totals that are handed over."""

from collections.abc import Callable, Mapping, Sequence

import geopandas as gpd
import numpy as np
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from pipelines.deliverables.findings.lot import (
    CollectorFlow,
    FlowPath,
    PondCourse,
    PumpPicture,
    StandingWater,
    StormWater,
    SuspectedCulvert,
)
from pipelines.hydraulics.pumping.pressure_line import line_head
from pipelines.hydraulics.pumping.pump_curve import PumpCurve, head_at
from pipelines.hydraulics.pumping.sump_storage import route_through_pump
from pipelines.hydrology.hydrographs import add_hydrographs
from pipelines.hydrology.standing_water import PoolWater
from pipelines.hydrology.sub_catchment import Hydrograph, SubCatchment
from pipelines.inputs.ground_rules import lidar_noise, site_puddles
from pipelines.inputs.rules import Rules
from pipelines.inputs.shapes.frontage import Frontage
from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.layout.diagnosis.division import SIDES
from pipelines.layout.diagnosis.hidden_culverts import HiddenCulvert
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import SpotPlace, Trouble
from pipelines.layout.other_storms import OtherStorm
from pipelines.layout.swale.found_outfall import OutfallLook
from pipelines.layout.ways.lift_design import LiftDesign
from terrain.arrays import BoolArray, FloatArray
from terrain.flow.cells_to_polygons import nested_polygons
from terrain.flow.drainage import Drainage
from terrain.flow.flow_paths import find_flow_paths
from terrain.flow.found_paths import found_paths
from terrain.flow.low_spots import LowSpot, settle_water
from terrain.lidar.grounds import PossibleGrounds
from terrain.lidar_error import fall_error
from terrain.reason import Reason, reason
from terrain.unit_table import HOUR

GIVEN = ("hardscape", "roofs", "right_of_way", "keep_out", "barriers", "utilities", "culverts", "downspouts",
         "complaints")  # fmt: skip
"""Tables of the site file that are shown as they were given."""
HOURS = np.concatenate([np.arange(0.0, 24.0, 0.5), np.arange(24.0, 48.0, 2.0), np.arange(48.0, 97.0, 6.0)])
"""Since the rain began, at which water is told. [h]"""
FIRST_HOURS = np.arange(0.0, 6.0, 0.25)
"""The same of a rain that is over before. [h]"""


def flow_paths_of(
    drainage: Drainage,
    spots: Sequence[LowSpot],
    rules: Rules,
    *,
    outside: BoolArray | None = None,
    studied: BoolArray | None = None,
    grounds: PossibleGrounds | None = None,
) -> tuple[FlowPath, ...]:
    """Lines of flow, those that most ground drains through first.

    `outside` are cells whose water comes onto the lot from beyond it; lines that miss `studied` are left out. Each is
    counted on the grounds that lidar allows.
    """
    grid = drainage.ground.grid
    columns = grid.shape[1]
    near = None if studied is None else _near_lot(drainage, studied)
    sigmas, noise, rmse = rules["flow_path_sigmas"].likely, lidar_noise(rules), rules["lidar_rmse"].likely
    lines = find_flow_paths(
        drainage, min_area=rules["flow_path_least_area"].likely, low_spots=(*spots, *site_puddles(drainage, rules)),
        marks=outside,
    )
    shown = [path for path in lines if near is None or near[path.cells].any()]
    paths: list[FlowPath] = []
    for path in sorted(found_paths(shown, drainage, grounds), key=lambda path: -path.contributing_area):
        x, y = grid.centres(path.cells // columns, path.cells % columns)
        line = LineString(np.column_stack([x, y]))
        paths.append(
            FlowPath(
                id=f"path-{len(paths) + 1}",
                line=line,
                contributing_area=path.contributing_area,
                run_on=None if outside is None else path.marked,
                certain=path.fall > sigmas * fall_error(rmse, float(line.length), **noise),
                when_full=path.when_full,
                climb=path.climb,
                found=path.found,
            )
        )
    return tuple(paths)


def held_upslope(runoff: Sequence[SubCatchment]) -> float:
    """What low spots upslope keep of the water that runs off there. [m3]"""
    return sum(row.runoff_volume - row.hydrograph.volume for row in runoff if row.id.endswith("-upslope"))


def _near_lot(drainage: Drainage, studied: BoolArray) -> BoolArray:
    """Studied cells and those their water steps into."""
    near = studied.ravel().copy()
    target = drainage.target[near]
    near[target[target >= 0]] = True
    return near


def low_spots_of(
    situation: Situation,
    places: Mapping[str, SpotPlace],
    troubles: Sequence[Trouble],
    before: LotWater,
    after: LotWater,
    excess: FloatArray,
    soaking: Callable[[LowSpot], float],
    spills_above: Mapping[str, float],
) -> tuple[StandingWater, ...]:
    """Every listed low spot on studied ground, with its water in the design storm before and after.

    Those that count in the reckoning are routed; one inside another follows the water of the outer one; a puddle
    too small to be routed holds what settles in it.
    """
    film = situation.rules["standing_film"].likely
    studied = situation.studied.ravel()
    spots = [spot for spot in situation.spots if studied[spot.cells].any()]
    by_id = {spot.id: spot for spot in situation.spots}
    settled = settle_water(situation.drainage, excess, spots)
    known = {number: places[spot.id].shape for number, spot in enumerate(spots) if spot.id in places}
    shapes = nested_polygons([spot.cells for spot in spots], situation.grid, known)
    shape_of = {spot.id: shape for spot, shape in zip(spots, shapes, strict=True)}
    wrong = {trouble.spot.spot.id: trouble for trouble in reversed(troubles) if trouble.spot is not None}
    order = sorted(spots, key=lambda spot: _order(spot, places.get(spot.id), wrong.get(spot.id), situation))
    rows = []
    for rank, spot in enumerate(order, start=1):
        outer = _routed(spot, by_id, before)
        inside = spot.cells[situation.on_parcel.ravel()[spot.cells]]
        heights = situation.drainage.ground.elevation.ravel()[inside] - spot.bottom_elevation
        dry = float(heights.min(initial=np.inf))
        if outer is None:
            stored, rate = settled.stored.get(spot.id, 0.0), soaking(spot)
            water = water_after = _puddle(spot, stored, rate, film)
            hours = hours_after = _puddle(spot, stored, rate, dry + film)[1]
        else:
            pool = before.standing[outer]
            later = after.standing.get(outer, pool)
            water = _of_outer(spot, by_id[outer], pool, film)
            water_after = _of_outer(spot, by_id[outer], later, film)
            hours, hours_after = (_of_outer(spot, by_id[outer], each, dry + film)[1] for each in (pool, later))
        over = np.maximum(water[0] - heights, 0.0)
        rows.append(
            StandingWater(
                spot=spot,
                shape=shape_of[spot.id],
                on_parcel=bool(situation.on_parcel.ravel()[spot.cells].any()),
                hours=water[1],
                hours_after=water_after[1],
                storm_depth=water[0],
                storm_depth_after=water_after[0],
                storm_volume=water[2],
                storm_volume_after=water_after[2],
                spilled=before.standing[spot.id].spill.volume if spot.id in before.standing else water[3],
                spilled_after=after.standing[spot.id].spill.volume if spot.id in after.standing else water_after[3],
                rank=rank,
                why=_why(spot, places.get(spot.id), wrong.get(spot.id), spills_above.get(spot.id)),
                depth_on_lot=max(water[0] - dry, 0.0),
                depth_on_lot_after=max(water_after[0] - dry, 0.0),
                area_on_lot=float(np.count_nonzero(over)) * situation.grid.cell_area,
                volume_on_lot=float(over.sum()) * situation.grid.cell_area,
                hours_on_lot=hours if inside.size else 0.0,
                hours_on_lot_after=hours_after if inside.size else 0.0,
            )
        )
    return tuple(rows)


def _order(
    spot: LowSpot, place: SpotPlace | None, trouble: Trouble | None, situation: Situation
) -> tuple[float, ...]:
    on_lot = bool(situation.on_parcel.ravel()[spot.cells].any())
    weight = {"wall": 0.0, "paving": 1.0, "lawn": 2.0}[place.place] if place is not None else 3.0
    seen = place is not None and any(each.complaint is not None for each in place.every)
    # of a place in trouble what lies there, not the whole of a low spot that reaches beyond it
    area, volume = spot.area, spot.volume
    if place is not None and place.heights.size:
        area, volume = place.area_under(np.inf), place.volume_under(spot.depth)
    return (float(not on_lot), float(not seen), float(trouble is None), weight, -area, -volume)


def _why(spot: LowSpot, place: SpotPlace | None, trouble: Trouble | None, spills_above: float | None) -> Reason:
    if trouble is not None:
        return reason("low_spot_in_trouble", why=trouble.why, spills_above=spills_above)
    if place is not None:
        doubtful = spot.within_lidar_error
        return reason("low_spot_tolerated", place=place.name, doubtful=doubtful, spills_above=spills_above)
    return reason("low_spot_inside_another") if spot.contained_in is not None else reason("low_spot_too_small")


def _routed(spot: LowSpot, by_id: Mapping[str, LowSpot], water: LotWater) -> str | None:
    """Id of the routed low spot that this one is, or lies in."""
    at: LowSpot | None = spot
    while at is not None:
        if at.id in water.standing:
            return at.id
        at = by_id.get(at.contained_in) if at.contained_in is not None else None
    return None


def _of_outer(
    spot: LowSpot, outer: LowSpot, water: PoolWater, film: float
) -> tuple[float, float | None, float, float]:
    """Depth [m], time [h], most water [m3] and spill [m3] of a low spot under the water of the one it lies in."""
    dry = spot.bottom_elevation - outer.bottom_elevation
    depth = min(max(water.depth - dry, 0.0), spot.depth if spot is not outer else water.depth)
    seconds = water.time_over(dry + film)
    hours = seconds / HOUR if np.isfinite(seconds) else None
    volume = float(np.interp(spot.bottom_elevation + depth, spot.levels, spot.volumes))
    return depth, hours, volume, 0.0


def _puddle(spot: LowSpot, stored: float, soaking: float, film: float) -> tuple[float, float | None, float, float]:
    level = float(np.interp(stored, spot.volumes, spot.levels))
    depth = level - spot.bottom_elevation
    hours = max(depth - film, 0.0) / soaking / HOUR if soaking > 0.0 else None
    return depth, hours, stored, 0.0


def leaving_of(
    before: LotWater, after: LotWater, served: Mapping[str, str], limits: Mapping[str, float]
) -> tuple[tuple[str, float, float, float, float], ...]:
    """What leaves the lot in the design storm, by side and by outfall."""
    rows = []
    for side in SIDES:
        then, now = before.leaving[side], after.leaving[side]
        if then.volume > 0.0 or now.volume > 0.0:
            rows.append((side, then.peak, then.volume, now.peak, now.volume))
    for outfall in dict.fromkeys(served.values()):
        parts = [after.taken[name] for name, end in served.items() if end == outfall and name in after.taken]
        flow = add_hydrographs(parts) if parts else Hydrograph(60.0, np.zeros(2))
        rows.append((outfall, 0.0, 0.0, min(flow.peak, limits.get(outfall, np.inf)), flow.volume))
    return tuple(rows)


def storms_of(storms: Sequence[OtherStorm]) -> tuple[StormWater, ...]:
    """Water at each low spot in each storm, before and after."""
    longest = max((storm.rain.storm.duration for storm in storms), default=0.0) / HOUR
    hours = np.union1d(FIRST_HOURS, HOURS) if longest < FIRST_HOURS[-1] else HOURS
    return tuple(
        StormWater(
            name=storm.rain.storm.name,
            return_period=storm.rain.return_period,
            depth=storm.rain.storm.depth,
            design=storm.design,
            standing=tuple(
                (name, water.depth, storm.after.standing[name].depth if name in storm.after.standing else water.depth)
                for name, water in storm.before.standing.items()
            ),
            rain_ends=storm.rain.storm.duration / HOUR,
            courses=tuple(
                PondCourse(
                    name, hours, water.depth_at(hours * HOUR),
                    storm.after.standing.get(name, water).depth_at(hours * HOUR),
                )
                for name, water in storm.before.standing.items()
            ),
        )
        for storm in storms
    )


def given_near(layers: SiteLayers, place: BaseGeometry) -> dict[str, gpd.GeoDataFrame]:
    """Tables of the site file that are shown as they were given, as far as they touch a place."""
    tables = {name: getattr(layers, name) for name in GIVEN}
    if layers.right_of_way.empty:
        tables["frontage"] = _frontage_table(layers.frontage)
    return {name: table[table.intersects(place)].reset_index(drop=True) for name, table in tables.items()}


def _frontage_table(frontage: Frontage) -> gpd.GeoDataFrame:
    edges = frontage.edges
    return gpd.GeoDataFrame(
        {
            "id": [str(number) for number in range(1, len(edges) + 1)], "side": [edge.side for edge in edges],
            "width_m": [edge.width for edge in edges], "known_by": frontage.state,
        },
        geometry=[edge.line for edge in edges],
    )


def hydrographs_of(water: LotWater, collectors: Sequence[str]) -> tuple[CollectorFlow, ...]:
    """What comes to each collector in the design storm, and what it takes."""
    return tuple(CollectorFlow(name, water.arriving[name], water.taken[name]) for name in collectors
                 if name in water.arriving)


def lift_hydrographs(lifts: Sequence[LiftDesign]) -> tuple[CollectorFlow, ...]:
    """What reaches each sump in the design storm, and what its pumps deliver of it."""
    told = []
    for lift in lifts:
        step, sump = lift.inflow.step, lift.sump
        storm = route_through_pump(lift.inflow.flow, step, delivered=sump.delivered_flow, capacity=sump.storage)
        told.append(CollectorFlow(sump.id, lift.inflow, Hydrograph(step, storm.pumped)))
    return tuple(told)


def pumps_of(lifts: Sequence[LiftDesign], curve: PumpCurve, *, given: bool) -> tuple[PumpPicture, ...]:
    """Each pump's curve against its line's."""
    flow = np.linspace(float(curve.flow[0]), curve.last_flow, 60)
    pump = np.array([head_at(curve, float(q)) for q in flow])
    return tuple(
        PumpPicture(
            sump=lift.sump.id, flow=flow, pump_head=pump,
            line_head=np.array([line_head(lift.line, float(q)).total for q in flow]), given=given,
        )
        for lift in lifts
    )


def suspected_of(
    looks: Sequence[OutfallLook], unseen: Sequence[HiddenCulvert] = ()
) -> tuple[SuspectedCulvert, ...]:
    """Suspected culverts that hold water back as far as an outfall, and banks that may hide one, each once."""
    found: dict[tuple[float, float], SuspectedCulvert] = {}
    for look in looks:
        for each in look.suspected:
            why = reason("suspected_drive", distance=each.distance, height=each.height, outfall=look.outfall)
            at = (each.point.x, each.point.y)
            found.setdefault(at, SuspectedCulvert(f"culvert-{len(found) + 1}", each.point, why))
    return (*found.values(), *(SuspectedCulvert(each.id, each.bank.point, each.why) for each in unseen))
