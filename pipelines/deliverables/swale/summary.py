"""summary.json of a check of swales: always in SI, null for what is unknown."""

from typing import Any

from pipelines.deliverables.findings.swale import SwaleFinding, SwaleFindings
from pipelines.deliverables.swale.layers import verdict_rows
from pipelines.deliverables.words.say import say, say_all
from pipelines.layout.swale.judgement import CrossingFinding
from pipelines.layout.swale.remedies.culvert_remedy import CulvertRemedy
from pipelines.layout.swale.swale_costs import PricedJob
from terrain.unit_table import HOUR


def swale_summary(findings: SwaleFindings) -> dict[str, Any]:
    """The summary of a check of swales."""
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
        "return_period_yr": findings.return_period,
        "storm_depth_m": findings.storm_depth,
        "freeboard_m": findings.freeboard,
        "lidar_rmse_m": findings.rmse,
        "swales": [_swale(found) for found in findings.swales],
        "lots": [
            {
                "lot": each.lot,
                "name": each.name,
                "swale": each.swale,
                "area_m2": each.area,
                "roof_area_m2": each.roof_area,
                "runoff_volume_m3": each.volume,
                "station_from_m": each.station_from,
                "station_to_m": each.station_to,
            }
            for each in findings.lots
        ],
        "discharges": [
            {"id": each.id, "flow_m3s": each.flow, "swale": each.swale, "station_m": each.station}
            for each in findings.discharges
        ],
        "hidden_culverts": [
            {
                "id": each.id,
                "swale": each.swale.id,
                "height_m": each.bank.height,
                "width_m": each.bank.width,
                "depth_m": each.bank.spot.depth,
                "depth_open_m": each.depth_open,
                "why": say(each.why, "si"),
                "measure": say(each.measure, "si"),
            }
            for each in findings.hidden_culverts
        ],
        "warnings": list(say_all(findings.warnings, "si")),
        "cautions": [say(caution.text, "si") for caution in findings.cautions],
    }


def _swale(found: SwaleFinding) -> dict[str, Any]:
    site = found.site
    capacities = [each.capacity for each in found.reaches if each.capacity is not None]
    return {
        "id": site.id,
        "name": site.name,
        "answer": found.answer,
        "why": say(found.why, "si"),
        "length_m": site.thalweg.length,
        "fall_m": site.thalweg.fall,
        "grade": site.thalweg.grade,
        "turned": site.thalweg.turned,
        "largest_shift_m": float(abs(site.thalweg.shift).max()),
        "stations": len(site.sections),
        "drained_area_m2": float(found.ground.total.sum()),
        "peak_flow_m3s": float(found.flow.peak[-1]),
        "runoff_volume_m3": float(found.flow.volume[-1]),
        "least_capacity_m3s": min(capacities, default=None),
        "cell_loss": float(found.capacity.cell_loss.mean()),
        "first_overtops_yr": found.first_overtops,
        "full_with_lot": found.full_at,
        "verdicts": [
            {
                "id": row["id"],
                "name": row["name"],
                "of": row["of"],
                "answer": row["answer"],
                "short_level_m": row["short_level"],
                "short_flow_m3s": row["short_flow"],
                "why": row["why"],
                "measure": row["measure"],
            }
            for row in verdict_rows(found, "si")
        ],
        "against_grade": [
            {
                "reach": each.reach.id,
                "station_from_m": each.reach.adverse.start,
                "station_to_m": each.reach.adverse.end,
                "rise_m": each.reach.adverse.rise,
                "error_m": each.reach.adverse.error,
            }
            for each in found.reaches
            if each.against_grade and each.reach.adverse is not None
        ],
        "culverts": [
            _culvert(each, remedy)
            for each, remedy in zip(found.crossings, found.remedies, strict=True)
            if each.crossing.given
        ],
        "suspected_culverts": [
            {
                "id": each.crossing.id,
                "station_m": each.crossing.ridge.crest,
                "drive_level_m": each.crossing.ridge.lowest,
                "headwater_m": each.headwater,
                "tailwater_m": each.tailwater,
                "why": say(each.why, "si"),
                "measure": say(each.measure, "si"),
            }
            for each in found.crossings
            if not each.crossing.given
        ],
        "standing_water": [
            {
                "id": pond.id,
                "station_from_m": pond.start,
                "station_to_m": pond.end,
                "depth_m": pond.depth,
                "length_m": pond.length,
                "volume_m3": pond.volume,
                "stands_h": None if pond.time is None else pond.time / HOUR,
                "sure": pond.sure,
                "behind": pond.behind or None,
            }
            for pond in found.ponds
        ],
        "outlets": [
            {
                "id": each.outlet.id,
                "name": each.outlet.name,
                "kind": each.outlet.kind,
                "station_m": each.outlet.station,
                "flow_m3s": each.outlet.flow if each.outlet.flow > 0.0 else None,
                "tailwater": each.tailwater.state,
                "drowned_h": each.tailwater.submerged / HOUR,
                "above_outlet_m": each.tailwater.above,
                "line_lost": None if each.behind is None else each.behind.lost,
                "answer": each.verdict.answer,
            }
            for each in found.outlets
        ],
        "recut": [
            {
                "stretch": stretch.id,
                "needed": stretch.needed,
                "cost": _cost(stretch.cost),
                "volume_m3": None if stretch.recut is None else stretch.recut.total,
                "filled_m3": None if stretch.recut is None else stretch.recut.filled,
                "slope": None if stretch.recut is None else stretch.recut.slope,
                "gap": None if stretch.recut is None else stretch.recut.gap,
                "as_asked": stretch.recut is not None and stretch.recut.as_asked,
                "why_not": None if stretch.why_not is None else say(stretch.why_not, "si"),
            }
            for stretch in found.recut
        ],
        "lot_sums": [
            {
                "lot": each.lot or None,
                "added_flow_m3s": each.added,
                "total_flow_m3s": each.total,
                "peak_flow_m3s": each.peak,
                "room_m": each.room,
                "full": each.full,
            }
            for each in found.lot_sums
        ],
    }


def _culvert(each: CrossingFinding, remedy: CulvertRemedy | None) -> dict[str, Any]:
    culvert = each.crossing.drive.culvert
    return {
        "id": each.crossing.id,
        "station_m": each.crossing.start,
        "diameter_m": each.crossing.diameter,
        "silt_m": None if culvert is None else culvert.barrel.silt,
        "drive_level_m": each.crossing.ridge.lowest,
        "flow_m3s": each.flow,
        "through_m3s": each.through,
        "over_m3s": each.over,
        "headwater_m": each.headwater,
        "tailwater_m": each.tailwater,
        "governs": each.governs,
        "answer": each.answer,
        "why": say(each.why, "si"),
        "warnings": list(say_all(each.warnings, "si")),
        "remedy": None
        if remedy is None
        else {
            "diameter_m": None if remedy.size is None else remedy.size.inside,
            "barrels": remedy.barrels,
            "headwater_m": remedy.headwater,
            "drive_raised_m": remedy.raised,
            "cost": _cost(remedy.cost),
            "why": say(remedy.why, "si"),
        },
    }


def _cost(job: PricedJob | None) -> dict[str, float] | None:
    return None if job is None else {"low": job.low, "likely": job.likely, "high": job.high}
