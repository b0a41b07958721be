"""Culverts of a check of swales as layers, given and suspected."""

from collections.abc import Sequence
from typing import Any

import pandas as pd
import shapely

from pipelines.deliverables.files.layer_table import layers, make_layer
from pipelines.deliverables.findings.swale import SwaleFindings
from pipelines.deliverables.words.say import say, say_all
from pipelines.layout.swale.remedies.culvert_remedy import CulvertRemedy
from terrain.unit_table import Units


def layer_of(
    findings: SwaleFindings, name: str, shapes: Sequence[Any] | None, columns: dict[str, list[Any]]
) -> pd.DataFrame:
    """One layer, its shapes brought to the map."""
    placed = None if shapes is None else [findings.frame.to_map(shape) for shape in shapes]
    return make_layer(name, findings.units, crs=findings.frame.crs, geometry=placed, **columns)


def columns_of(rows: Sequence[dict[str, Any]], name: str) -> dict[str, list[Any]]:
    """Rows turned into the columns that a layer is promised with."""
    return {column.name: [row[column.name] for row in rows] for column in layers()[name].columns}


def culverts_layer(findings: SwaleFindings) -> pd.DataFrame:
    """The layer culverts: those that are given, and what would do where one is too small."""
    rows, shapes = [], []
    for found in findings.swales:
        for each, remedy in zip(found.crossings, found.remedies, strict=True):
            culvert = each.crossing.drive.culvert
            if culvert is None or each.crossing.line is None:
                continue
            rows.append(
                {
                    "id": each.crossing.id,
                    "swale": found.site.id,
                    "station": each.crossing.start,
                    "bore": each.crossing.diameter,
                    "material": each.crossing.material,
                    "length": culvert.length,
                    "invert_up": culvert.invert_up,
                    "invert_down": culvert.invert_down,
                    "drive_level": each.crossing.ridge.lowest,
                    "peak_flow": each.flow,
                    "through": each.through,
                    "over": each.over,
                    "headwater": each.headwater,
                    "tailwater": each.tailwater,
                    "governs": each.governs,
                    "answer": each.answer,
                    "why": say(each.why, findings.units),
                    "silt": culvert.barrel.silt,
                    "warnings": "; ".join(say_all(each.warnings, findings.units)),
                    **_remedy(remedy, findings.units),
                }
            )
            shapes.append(each.crossing.line)
    return layer_of(findings, "culverts", shapes, columns_of(rows, "culverts"))


def suspected_culverts_layer(findings: SwaleFindings) -> pd.DataFrame:
    """The layer suspected_culverts: where to look for one."""
    rows, shapes = [], []
    for found in findings.swales:
        for each in found.crossings:
            if each.crossing.given:
                continue
            dam = each.crossing.dam
            rows.append(
                {
                    "id": each.crossing.id,
                    "swale": found.site.id,
                    "station": each.crossing.ridge.crest,
                    "height": None if dam is None else dam.height,
                    "height_error": None if dam is None else dam.error,
                    "drive_level": each.crossing.ridge.lowest,
                    "headwater": each.headwater,
                    "why": say(each.why, findings.units),
                }
            )
            shapes.append(shapely.line_interpolate_point(found.site.thalweg.line, each.crossing.ridge.crest))
    for bank in findings.hidden_culverts:
        top = bank.bank.spot.spill_elevation
        rows.append(
            {
                "id": bank.id,
                "swale": bank.swale.id,
                "station": bank.swale.station_of(bank.bank.point),
                "height": bank.bank.height,
                "height_error": None,
                "drive_level": top,
                "headwater": None,
                "why": say(bank.why, findings.units),
            }
        )
        shapes.append(shapely.Point(bank.bank.point.x, bank.bank.point.y, top))
    return layer_of(findings, "suspected_culverts", shapes, columns_of(rows, "suspected_culverts"))


def _remedy(remedy: CulvertRemedy | None, units: Units) -> dict[str, Any]:
    cost = None if remedy is None else remedy.cost
    return {
        "would_do": None if remedy is None or remedy.size is None else remedy.size.inside,
        "would_do_barrels": None if remedy is None else remedy.barrels,
        "cost_low": None if cost is None else cost.low,
        "cost_likely": None if cost is None else cost.likely,
        "cost_high": None if cost is None else cost.high,
        "remedy": "" if remedy is None else say(remedy.why, units),
    }
