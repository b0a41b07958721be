"""What one lot's stages come to as a row of the town, at either depth."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely import MultiPolygon, Point, Polygon

from pipelines.deliverables.findings.lot import Findings, StandingWater
from pipelines.deliverables.findings.town import (
    LOT_LAYERS,
    Depth,
    LotDischarge,
    LotPlanned,
    LotRecord,
    LotRow,
    Outflow,
)
from pipelines.deliverables.lot.layers import lot_tables, runoff_table, standing_layer
from pipelines.deliverables.unit_systems import unit_system
from pipelines.deliverables.words.say import say
from pipelines.layout.plan import Mode
from pipelines.layout.ways.outfall_water import candidates
from pipelines.lot import findings_of
from pipelines.lot_stages import LotStages
from pipelines.town.lot_flows import links_of, most_leaves, outflows_of, outlets_of, piped_of
from pipelines.town.need import need_of
from terrain.ground import ROOF

NEEDS_MOST: tuple[Mode, ...] = ("pump", "daylight", "soakaway", "gravity", "none")
SIDE_NAMES = {"edge_n": "north", "edge_e": "east", "edge_s": "south", "edge_w": "west"}


@dataclass(frozen=True, slots=True, eq=False)
class LotAnswer:
    """A lot's record, and at the depth `plan` the findings that its report is made of."""

    record: LotRecord
    findings: Findings | None


def answer_lot(
    stages: LotStages, lot: str, depth: Depth, neighbors: gpd.GeoDataFrame | None, *, inputs_key: str = ""
) -> LotAnswer:
    """Run the stages that a depth asks for and gather what the town keeps of them.

    Parameters
    ----------
    stages : LotStages
        Of the lot.
    lot : str
        Its id.
    depth : str
        ground or plan.
    neighbors : GeoDataFrame or None
        Other lots around it in the metric frame, their ids in the column `lot`.
    inputs_key : str
        Hash of what it was made from.

    Returns
    -------
    LotAnswer
        Its record.
    """
    findings = findings_of(stages) if depth == "plan" else None
    standing = stages.standing(stages.water) if findings is None else findings.low_spots
    surface = outflows_of(stages, lot, planned=False)
    row = _row(stages, lot, standing, surface, findings, inputs_key)
    layers = _layers(stages, standing, findings)
    links = links_of(stages, lot, neighbors)
    if findings is None:
        return LotAnswer(LotRecord(row, links, surface, layers=layers), None)
    outflows = outflows_of(stages, lot, planned=True)
    return LotAnswer(LotRecord(row, links, outflows, outlets_of(stages), piped_of(stages), layers), findings)


def _row(
    stages: LotStages,
    lot: str,
    standing: tuple[StandingWater, ...],
    surface: tuple[Outflow, ...],
    findings: Findings | None,
    inputs_key: str,
) -> LotRow:
    here, opened, frame = stages.situation, stages.lot.opened, stages.frame
    need = need_of(stages, standing)
    inside = [water for water in standing if water.on_parcel and water.spot.id in stages.places]
    called = [water for water in inside if not water.spot.within_lidar_error or water.spot.found is None]
    hours = [water.hours_on_lot for water in called if water.hours_on_lot is not None]
    cell = here.grid.cell_area
    roof = (stages.drainage.ground.kind == ROOF) & here.on_parcel
    leaves = most_leaves(surface)
    return LotRow(
        lot=lot,
        name=opened.site.name,
        status="done",
        parcel=cast("Polygon | MultiPolygon", frame.to_map(opened.layers.parcel)),
        street=_street(stages),
        area=float(opened.layers.parcel.area),
        run_on_area=float(np.count_nonzero(here.studied & ~here.on_parcel)) * cell,
        roof_area=float(np.count_nonzero(roof)) * cell,
        low_spots=len(called),
        deepest=max((water.depth_on_lot for water in called), default=0.0),
        longest=max(hours, default=0.0),
        need=need.score,
        need_why=say(need.why, unit_system(opened.site.units)),
        found_pct=None if need.found is None else 100.0 * need.found,
        leaves=leaves,
        frontage=any(SIDE_NAMES[leaves] in side for side in opened.layers.frontage.sides) if leaves else False,
        fall_to_spare=_fall_to_spare(stages, need.worst),
        planned=None if findings is None else _planned(findings),
        inputs_key=inputs_key,
    )


def _layers(
    stages: LotStages, standing: tuple[StandingWater, ...], findings: Findings | None
) -> Mapping[str, pd.DataFrame]:
    units = unit_system(stages.lot.opened.site.units)
    if findings is not None:
        tables = lot_tables(findings, units)
        return {name: tables[name] for name in (*LOT_LAYERS, "runoff")}
    return {
        "low_spots": standing_layer(standing, units, improved=False, frame=stages.frame),
        "runoff": runoff_table(stages.water.runoff, units),
    }


def _street(stages: LotStages) -> str:
    """By the lot's address, else by the right of way nearest to its frontage."""
    layers = stages.lot.opened.layers
    address = str(layers.parcels["address"].iloc[0] or "").strip()
    number, _, street = address.partition(" ")
    if street and number[:1].isdigit():
        return street
    ways = layers.right_of_way[layers.right_of_way["name"].astype(bool)]
    if ways.empty:
        return ""
    near = ways.geometry.distance(layers.parcel)
    return str(ways["name"].loc[near.idxmin()])


def _fall_to_spare(stages: LotStages, worst: Point | None) -> float | None:
    """Of a small line straight from the worst place, as deep as cover asks, to the place off the lot that leaves most.

    A first look, before any line is laid: what lies between is not asked.
    """
    here, rules = stages.situation, stages.situation.rules
    if worst is None:
        return None
    sites, _ = candidates(stages.lot.opened.layers, here)
    slope, cover = rules["slope_4in_smooth"].low, rules["cover_lawn"].low
    return max((worst.z - cover - slope * worst.distance(site.point) - site.level for site in sites), default=None)


def _planned(findings: Findings) -> LotPlanned:
    plan, units = findings.plan, unit_system(findings.units)
    cost = next((way for way in plan.alternatives if way.chosen and way.likely), None)
    peaks: dict[str, float] = {}
    for run in plan.pipe_runs:
        peaks[run.to_id] = peaks.get(run.to_id, 0.0) + run.peak_flow
    return LotPlanned(
        mode=min((line.mode for line in plan.discharges), key=NEEDS_MOST.index, default="none"),
        headline=say(plan.verdict, units),
        **{name: part.state for name, part in plan.parts.named},
        low=None if cost is None else cost.low,
        likely=None if cost is None else cost.likely,
        high=None if cost is None else cost.high,
        discharges=tuple(
            LotDischarge(
                line.outfall or "",
                line.mode,
                line.verdict,
                line.fall_to_spare,
                line.lift,
                peaks.get(line.outfall or "", 0.0),
            )
            for line in plan.discharges
        ),
    )
