"""summary.json: the run's answer for scripts, always in SI, null for what is unknown."""

from typing import Any

import geopandas as gpd

from pipelines.deliverables.findings.lot import Balance, Findings, StandingWater
from pipelines.deliverables.words.say import say
from pipelines.layout.diagnosis.hidden_culverts import HiddenCulvert
from pipelines.layout.parts import CaughtBy, Part, SurfaceOnly, WithPipes
from pipelines.layout.plan import Alternative, CatchBasin, Discharge, FrenchDrain, Sump
from pipelines.layout.swale.found_outfall import CulvertLook, OutfallLook
from terrain.grid import Frame
from terrain.unit_table import HOUR


def summary(findings: Findings) -> dict[str, Any]:
    """The summary of one lot."""
    plan = findings.plan
    dry = findings.not_needed_on
    return {
        "name": findings.name,
        "version": findings.version,
        "inputs": [
            {
                "key": file.key,
                "file": file.file,
                "sha256": file.sha256,
                "crs": file.crs,
                "cell_size_m": file.cell_size,
            }
            for file in findings.inputs
        ],
        "verdict": say(plan.verdict, "si"),
        "sure": plan.parts.verdict,
        "parts": {name: _part(part) for name, part in plan.parts.named},
        "study_area_m2": findings.studied_area,
        "parcel_area_m2": findings.parcel_area,
        "run_on_area_m2": findings.run_on_area,
        "passing_by_area_m2": findings.passing_area,
        "low_spots_upslope": findings.spots_upslope,
        "held_upslope_m3": findings.held_upslope,
        "roof_area_m2": findings.roof_area,
        "low_spots": [_low_spot(water) for water in sorted(findings.low_spots, key=lambda water: water.spot.id)],
        "catch_basins": [_catch_basin(basin) for basin in sorted(plan.catch_basins, key=lambda basin: basin.id)],
        "french_drains": [_french_drain(drain) for drain in sorted(plan.french_drains, key=lambda drain: drain.id)],
        "pumps": [_pump(sump) for sump in sorted(plan.sumps, key=lambda sump: sump.id)],
        "discharges": [_discharge(line) for line in plan.discharges],
        "surface_only": None if plan.surface is None else _surface(plan.surface),
        "caught_by": [_caught_by(each) for each in plan.caught_by],
        "sizes": [
            {
                "keeps_dry_yr": size.keeps_dry,
                "catches_what_runs_by": size.catches,
                "holds": size.holds,
                "chosen": size.chosen,
                "cost_low": size.low,
                "cost_likely": size.likely,
                "cost_high": size.high,
            }
            for size in plan.sizes
        ],
        "outfall": [_outfall(look, findings.frame) for look in findings.outfall_looks],
        "hidden_culverts": [_hidden(each, findings.frame) for each in findings.hidden_culverts],
        "not_needed_pct": None if dry is None else 100.0 * dry["dry"] / dry["grounds"],
        "alternatives": [_alternative(way) for way in plan.alternatives],
        "storms": [
            {
                "edge": row.edge,
                "kind": row.kind,
                "return_period_yr": row.storm.rain.return_period,
                "rain_m": row.storm.rain.storm.depth,
                "design": row.storm.design,
                "depth_m": row.depth,
                "stands_h": row.time / HOUR,
                "room_m": row.room,
                "depth_after_m": row.depth_after,
                "stands_after_h": row.time_after / HOUR,
                "room_after_m": row.room_after,
            }
            for row in findings.edges
        ],
        "leaving": [
            {
                "place": place,
                "peak_before_m3s": peak_before,
                "volume_before_m3": volume_before,
                "peak_after_m3s": peak_after,
                "volume_after_m3": volume_after,
            }
            for place, peak_before, volume_before, peak_after, volume_after in findings.leaving
        ],
        "water_balance": _balance(findings.balance),
        "not_buildable": [say(fault, "si") for fault in plan.faults],
        "warnings": [say(warning, "si") for warning in findings.warnings],
        "cautions": [say(caution.text, "si") for caution in findings.cautions],
    }


def _part(part: Part) -> dict[str, Any]:
    only = None if part.only is None else say(part.only, "si")
    return {"state": part.state, "why": say(part.why, "si"), "only": only}


def _low_spot(water: StandingWater) -> dict[str, Any]:
    spot = water.spot
    return {
        "id": spot.id,
        "rank": water.rank,
        "on_parcel": water.on_parcel,
        "depth_m": spot.depth,
        "area_m2": spot.area,
        "volume_m3": spot.volume,
        "spill_elevation_m": spot.spill_elevation,
        "enclosed": spot.enclosed,
        "within_lidar_error": spot.within_lidar_error,
        "found_pct": None if spot.found is None else 100.0 * spot.found,
        "before": {
            "depth_m": water.storm_depth,
            "volume_m3": water.storm_volume,
            "spilled_m3": water.spilled,
            "stands_h": water.hours,
        },
        "before_on_lot": {
            "depth_m": water.depth_on_lot,
            "area_m2": water.area_on_lot,
            "volume_m3": water.volume_on_lot,
            "stands_h": water.hours_on_lot,
        },
        "after": {
            "depth_m": water.storm_depth_after,
            "volume_m3": water.storm_volume_after,
            "spilled_m3": water.spilled_after,
            "stands_h": water.hours_after,
        },
    }


def _catch_basin(basin: CatchBasin) -> dict[str, Any]:
    return {
        "id": basin.id,
        "drains_to": basin.drains_to,
        "grate": basin.grate,
        "peak_flow_m3s": basin.peak_flow,
        "capacity_m3s": basin.capacity,
        "ponding_m": basin.ponding,
        "ground_elevation_m": basin.ground_elevation,
        "invert_elevation_m": basin.invert_elevation,
        "provisional": basin.provisional,
        "why": say(basin.why, "si"),
    }


def _french_drain(drain: FrenchDrain) -> dict[str, Any]:
    return {
        "id": drain.id,
        "drains_to": drain.drains_to,
        "length_m": drain.length,
        "width_m": drain.width,
        "depth_m": drain.depth,
        "peak_flow_m3s": drain.peak_flow,
        "why": say(drain.why, "si"),
    }


def _pump(sump: Sump) -> dict[str, Any]:
    return {
        "id": sump.id,
        "pumps": sump.pumps,
        "lift_m": sump.lift,
        "inflow_m3s": sump.inflow,
        "delivered_flow_m3s": sump.delivered_flow,
        "operating_flow_m3s": sump.operating_flow,
        "storage_m3": sump.storage,
        "starts_per_hour": sump.starts_per_hour,
        "minutes_without_power": sump.minutes_without_power,
        "copes": sump.copes,
        "why": say(sump.why_copes, "si"),
        "compared": [say(each, "si") for each in sump.compared],
    }


def _discharge(line: Discharge) -> dict[str, Any]:
    return {
        "mode": line.mode,
        "verdict": line.verdict,
        "why": say(line.why, "si"),
        "fall_to_spare_m": line.fall_to_spare,
        "fall_error_m": line.fall_error,
        "lift_m": line.lift,
        "outfall": line.outfall,
        "serves": list(line.serves),
    }


def _outfall(look: OutfallLook, frame: Frame) -> dict[str, Any]:
    return {
        "id": look.outfall,
        "state": look.state,
        "why": say(look.why, "si"),
        "level_m": look.level,
        "peak_flow_m3s": look.flow,
        "submerged_h": look.submerged / HOUR if look.flow is not None else None,
        "stands_m": look.stands if look.flow is not None else None,
        "followed_m": look.followed_length,
        "culverts": [_culvert(each, frame) for each in look.culverts],
    }


def _hidden(each: HiddenCulvert, frame: Frame) -> dict[str, Any]:
    place = frame.to_map(gpd.GeoSeries([each.bank.point])).iloc[0]
    return {
        "id": each.id,
        "easting": place.x,
        "northing": place.y,
        "height_m": each.bank.height,
        "width_m": each.bank.width,
        "dams": each.bank.spot.id,
        "depth_m": each.depth,
        "depth_open_m": each.depth_open,
        "run_on_m2": each.run_on,
        "run_on_open_m2": each.run_on_open,
        "troubles_gone_if_open": [say(place, "si") for place in each.ends],
        "troubles_new_if_open": [say(place, "si") for place in each.begins],
        "why": say(each.why, "si"),
    }


def _culvert(each: CulvertLook, frame: Frame) -> dict[str, Any]:
    place = frame.to_map(gpd.GeoSeries([each.point])).iloc[0]
    return {
        "id": each.id,
        "easting": place.x,
        "northing": place.y,
        "downstream_m": each.distance,
        "suspected": each.suspected,
        "small": each.small,
        "silted": each.silted,
        "assumed": each.assumed,
        "backs_up": each.backs_up,
    }


def _caught_by(caught: CaughtBy) -> dict[str, Any]:
    return {
        "kind": caught.kind,
        "chosen": caught.chosen,
        "ends_it": caught.ended,
        "place": None if caught.place is None else say(caught.place, "si"),
        "depth_m": caught.depth,
        "over_h": None if caught.over is None else caught.over / HOUR,
        "trench_length_m": caught.length,
        "basins_in_paving": caught.cut,
        "why_not": None if caught.why is None else say(caught.why, "si"),
        "cost_low": caught.low,
        "cost_likely": caught.likely,
        "cost_high": caught.high,
    }


def _with_pipes(both: WithPipes) -> dict[str, Any]:
    return {
        "chosen": both.chosen,
        "flow_spared": both.less,
        "left": [say(each, "si") for each in both.left],
        "place": None if both.place is None else say(both.place, "si"),
        "depth_m": both.depth,
        "over_h": None if both.over is None else both.over / HOUR,
        "cost_low": both.low,
        "cost_likely": both.likely,
        "cost_high": both.high,
        "pipes_alone_likely": both.pipes_alone,
        "why_not": None if both.why is None else say(both.why, "si"),
    }


def _surface(surface: SurfaceOnly) -> dict[str, Any]:
    return {
        "state": surface.state,
        "chosen": surface.chosen,
        "works": [
            {
                "id": work.id,
                "kind": work.kind,
                "length_m": work.length,
                "height_m": work.height,
                "fill_m3": work.fill,
                "cut_m3": work.cut,
                "area_m2": work.area,
                "why": say(work.why, "si"),
            }
            for work in surface.works
        ],
        "left": [say(each, "si") for each in surface.left],
        "refused": None if surface.refused is None else say(surface.refused, "si"),
        "sends": [
            {
                "place": place,
                "peak_before_m3s": peak_before,
                "peak_after_m3s": peak_after,
                "volume_before_m3": volume_before,
                "volume_after_m3": volume_after,
            }
            for place, peak_before, peak_after, volume_before, volume_after in surface.sends
        ],
        "cost_low": surface.low,
        "cost_likely": surface.likely,
        "cost_high": surface.high,
        "relaid": [say(each, "si") for each in surface.relaid],
        "with_pipes": None if surface.with_pipes is None else _with_pipes(surface.with_pipes),
    }


def _alternative(way: Alternative) -> dict[str, Any]:
    return {
        "mode": way.mode,
        "possible": way.possible,
        "chosen": way.chosen,
        "cost_low": way.low,
        "cost_likely": way.likely,
        "cost_high": way.high,
        "deepest_m": way.deepest,
        "fall_to_spare_m": way.fall_to_spare,
        "depends_on": say(way.depends_on, "si"),
    }


def _balance(balance: Balance) -> dict[str, float]:
    return {
        "rain_m3": balance.rain,
        "infiltrated_m3": balance.infiltrated,
        "leaves_m3": balance.leaves,
        "stands_m3": balance.stands,
        "collected_m3": balance.collected,
    }
