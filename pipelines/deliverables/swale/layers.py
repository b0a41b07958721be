"""What a check of swales found, as the layers and tables of its GeoPackage."""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd
import shapely
from shapely import LineString, Point
from shapely.ops import substring

from pipelines.deliverables.files.context_layers import context_layers, on_map
from pipelines.deliverables.files.layer_table import layers, make_layer
from pipelines.deliverables.files.place import OUTPUTS
from pipelines.deliverables.findings.swale import SwaleFinding, SwaleFindings
from pipelines.deliverables.swale.culvert_layers import (
    columns_of,
    culverts_layer,
    layer_of,
    suspected_culverts_layer,
)
from pipelines.deliverables.words.quantities import format_quantity
from pipelines.deliverables.words.rules import rule_words
from pipelines.deliverables.words.say import say
from pipelines.layout.swale.judgement import ReachFinding
from pipelines.layout.swale.outlets import OutletFinding
from terrain.unit_table import Units

_LEAST_STRETCH = 0.5
"""Of a reach as it is drawn. [m]"""


def swale_tables(findings: SwaleFindings, *, outputs: Sequence[str] = ()) -> dict[str, pd.DataFrame]:
    """Every layer and table that is promised, empty ones included, in the order in which they are listed."""
    makers = (
        _swales, stations_layer, _cross_sections, _reaches, culverts_layer, suspected_culverts_layer,
        _standing_water, _recut, _outlets, _verdicts, _lot_inflows, _lot_sums, _cautions,
    )  # fmt: skip
    tables = {maker.__name__.removeprefix("_").removesuffix("_layer"): maker(findings) for maker in makers}
    rows = list(_run_info(findings, outputs))
    run_info = make_layer("run_info", findings.units, key=[key for key, _ in rows], value=[value for _, value in rows])
    given = on_map(context_layers(findings.given, findings.units), findings.frame)
    return {**tables, **given, "run_info": run_info}


def stations_table(findings: SwaleFindings) -> pd.DataFrame:
    """The rows of stations.csv: those of the layer stations, with easting and northing in the map's coordinates."""
    layer = stations_layer(findings)
    table = pd.DataFrame(layer.drop(columns=layer.geometry.name))
    table.insert(3, "easting", [round(point.x, 3) for point in layer.geometry])
    table.insert(4, "northing", [round(point.y, 3) for point in layer.geometry])
    return table


def stations_layer(findings: SwaleFindings) -> pd.DataFrame:
    """The layer stations, one point a cross-section."""
    columns: dict[str, list[Any]] = {column.name: [] for column in layers()["stations"].columns}
    shapes = []
    for found in findings.swales:
        site, levels = found.site, found.levels
        shift = np.interp(site.station, site.thalweg.station, site.thalweg.shift)
        bank, flow = site.bank, found.flow
        values = {
            "id": site.station_ids,
            "swale": [site.id] * len(site.sections),
            "reach": [_reach_of(found, index) for index in range(len(site.sections))],
            "station": site.station,
            "ground": site.bottom,
            "left_bank": [section.left_level for section in site.sections],
            "right_bank": [section.right_level for section in site.sections],
            "width": [section.width for section in site.sections],
            "depth": [section.depth for section in site.sections],
            "shift": shift,
            "grade": site.slope,
            "side_area": found.ground.total,
            "side_roof": found.ground.roof,
            "side_paved": found.ground.paved,
            "side_volume": flow.side,
            "peak_flow": flow.peak,
            "volume": flow.volume,
            "level": levels.level,
            "normal_level": levels.normal,
            "room": bank - levels.level,
            "velocity": levels.surface.velocity,
            "froude": levels.surface.froude,
            "critical": levels.surface.critical,
            "capacity": found.capacity.bank_full,
            "capacity_with_freeboard": found.capacity.with_freeboard,
            "cell_loss": found.capacity.cell_loss,
            "over_bank": levels.over_bank,
        }
        for name, listed in values.items():
            columns[name].extend(np.asarray(listed).tolist() if not isinstance(listed, list) else listed)
        shapes += [Point(section.x, section.y, section.bottom) for section in site.sections]
    return layer_of(findings, "stations", shapes, columns)


def _reach_of(found: SwaleFinding, index: int) -> str:
    return next((each.reach.id for each in found.reaches if each.reach.first <= index <= each.reach.last), "")


def _swales(findings: SwaleFindings) -> pd.DataFrame:
    rows = []
    for found in findings.swales:
        site = found.site
        capacities = [each.capacity for each in found.reaches if each.capacity is not None]
        shift = np.abs(site.thalweg.shift)
        rows.append(
            {
                "id": site.id,
                "name": site.name,
                "length": site.thalweg.length,
                "fall": site.thalweg.fall,
                "grade": site.thalweg.grade,
                "turned": site.thalweg.turned,
                "shift": float(shift.max()),
                "mean_shift": float(shift.mean()),
                "drained_area": float(found.ground.total.sum()),
                "peak_flow": float(found.flow.peak[-1]),
                "runoff_volume": float(found.flow.volume[-1]),
                "least_capacity": min(capacities, default=None),
                "cell_loss": float(found.capacity.cell_loss.mean()),
                "first_overtops": found.first_overtops,
                "full_with_lot": found.full_at,
                "answer": found.answer,
                "why": say(found.why, findings.units),
            }
        )
    shapes = [found.site.thalweg.line for found in findings.swales]
    return layer_of(findings, "swales", shapes, columns_of(rows, "swales"))


def _cross_sections(findings: SwaleFindings) -> pd.DataFrame:
    rows, shapes = [], []
    for found in findings.swales:
        for id, section in zip(found.site.station_ids, found.site.sections, strict=True):
            rows.append(
                {
                    "id": id,
                    "swale": found.site.id,
                    "station": section.station,
                    "width": section.width,
                    "depth": section.depth,
                    "bank_full": section.bank_full,
                    "left_bank": section.left_kind,
                    "right_bank": section.right_kind,
                    "cut_short": section.left_cut or section.right_cut,
                }
            )
            shapes.append(section.line)
    return layer_of(findings, "cross_sections", shapes, columns_of(rows, "cross_sections"))


def _reaches(findings: SwaleFindings) -> pd.DataFrame:
    rows, shapes = [], []
    for found in findings.swales:
        flat = shapely.force_2d(found.site.thalweg.line)
        for each in found.reaches:
            reach = each.reach
            rows.append(
                {
                    "id": reach.id,
                    "swale": found.site.id,
                    "station_from": reach.start,
                    "station_to": reach.end,
                    "grade": reach.grade,
                    "against_grade": each.against_grade,
                    "rise": None if reach.adverse is None else reach.adverse.rise,
                    "rise_error": None if reach.adverse is None else reach.adverse.error,
                    "capacity": each.capacity,
                    "capacity_with_freeboard": each.capacity_with_freeboard,
                    "peak_flow": each.peak,
                    "room": each.room,
                    "velocity": each.velocity,
                    "permissible_velocity": each.permissible,
                    "erodes": each.erodes,
                    "standing_depth": each.standing.depth if each.standing is not None else 0.0,
                    "first_overtops": each.first_overtops,
                    **_answer(each, findings.units),
                }
            )
            shapes.append(drawn_stretch(flat, reach.start, reach.end))
    return layer_of(findings, "reaches", shapes, columns_of(rows, "reaches"))


def drawn_stretch(line: LineString, start: float, end: float) -> LineString:
    """Part of a line; of a reach of one section a little beside it, since a layer of lines holds no points. [m]"""
    first = max(min(start, line.length - _LEAST_STRETCH), 0.0) if end - start < _LEAST_STRETCH else start
    part: LineString = substring(line, first, max(end, first + _LEAST_STRETCH))
    return part


def _answer(judged: ReachFinding | OutletFinding, units: Units) -> dict[str, Any]:
    verdict = judged.verdict
    return {
        "answer": verdict.answer,
        "short_level": verdict.short_level,
        "short_flow": verdict.short_flow,
        "why": say(verdict.why, units),
        "measure": say(verdict.measure, units),
    }


def _standing_water(findings: SwaleFindings) -> pd.DataFrame:
    rows, shapes = [], []
    for found in findings.swales:
        for pond, shape in zip(found.ponds, found.pond_shapes, strict=True):
            rows.append(
                {
                    "id": pond.id,
                    "swale": found.site.id,
                    "station_from": pond.start,
                    "station_to": pond.end,
                    "length": pond.length,
                    "depth": pond.depth,
                    "area": pond.spot.area,
                    "volume": pond.volume,
                    "level": pond.level,
                    "stands": pond.time,
                    "sure": pond.sure,
                    "behind": pond.behind,
                }
            )
            shapes.append(shape)
    return layer_of(findings, "standing_water", shapes, columns_of(rows, "standing_water"))


def _recut(findings: SwaleFindings) -> pd.DataFrame:
    rows, shapes = [], []
    for found in findings.swales:
        ids = found.site.station_ids
        for stretch in found.recut:
            if stretch.recut is None:
                continue
            falls = -np.diff(stretch.recut.bottom) / np.diff(stretch.recut.station)
            for number, index in enumerate(range(stretch.first, stretch.last + 1)):
                section = found.site.sections[index]
                bottom = float(stretch.recut.bottom[number])
                rows.append(
                    {
                        "id": ids[index].replace("station", "recut"),
                        "swale": found.site.id,
                        "stretch": stretch.id,
                        "station": section.station,
                        "ground": float(stretch.recut.ground[number]),
                        "bottom": bottom,
                        "cut": float(stretch.recut.cut[number]),
                        "area": float(stretch.recut.area[number]),
                        "volume": float(stretch.recut.volume[number]),
                        "slope": float(falls[number]) if number < len(falls) else None,
                        "capacity": float(stretch.capacity[number]),
                        "needed": stretch.needed,
                        "cost_low": None if stretch.cost is None else stretch.cost.low,
                        "cost_likely": None if stretch.cost is None else stretch.cost.likely,
                        "cost_high": None if stretch.cost is None else stretch.cost.high,
                        "as_asked": stretch.recut.as_asked,
                        "why": "" if stretch.why_not is None else say(stretch.why_not, findings.units),
                    }
                )
                shapes.append(Point(section.x, section.y, bottom))
    return layer_of(findings, "recut", shapes, columns_of(rows, "recut"))


def _outlets(findings: SwaleFindings) -> pd.DataFrame:
    rows, shapes = [], []
    for found in findings.swales:
        for each in found.outlets:
            outlet = each.outlet
            rows.append(
                {
                    "id": outlet.id,
                    "name": outlet.name,
                    "swale": found.site.id,
                    "kind": outlet.kind,
                    "station": outlet.station,
                    "invert": outlet.invert,
                    "invert_assumed": outlet.invert_assumed,
                    "flow": outlet.flow if outlet.flow > 0.0 else None,
                    "tailwater": each.tailwater.state,
                    "drowned": each.tailwater.submerged,
                    "drowned_share": each.tailwater.share,
                    "highest_level": each.tailwater.highest,
                    "above_outlet": each.tailwater.above,
                    "line_lost": None if each.behind is None else each.behind.lost,
                    "line_surcharges": None if each.behind is None else each.behind.surcharges,
                    **_answer(each, findings.units),
                }
            )
            shapes.append(Point(outlet.x, outlet.y))
    return layer_of(findings, "outlets", shapes, columns_of(rows, "outlets"))


def verdict_rows(found: SwaleFinding, units: Units) -> Iterator[dict[str, Any]]:
    """Answers of one swale: its reaches, drives and outlets, downstream."""
    for reach in found.reaches:
        id = reach.reach.id
        yield {"id": id, "name": id, "swale": found.site.id, "of": "reach", **_answer(reach, units)}
    for drive in found.crossings:
        yield {
            "id": drive.crossing.id,
            "name": drive.crossing.id,
            "swale": found.site.id,
            "of": "drive",
            "answer": drive.answer,
            "short_level": 0.0,
            "short_flow": drive.over if drive.crossing.given else 0.0,
            "why": say(drive.why, units),
            "measure": say(drive.measure, units),
        }
    for outlet in found.outlets:
        id, name = outlet.outlet.id, outlet.outlet.name
        yield {"id": id, "name": name, "swale": found.site.id, "of": "outlet", **_answer(outlet, units)}


def _verdicts(findings: SwaleFindings) -> pd.DataFrame:
    rows = [row for found in findings.swales for row in verdict_rows(found, findings.units)]
    return layer_of(findings, "verdicts", None, columns_of(rows, "verdicts"))


def _lot_inflows(findings: SwaleFindings) -> pd.DataFrame:
    rows = [
        {
            "id": f"{each.lot}-{each.swale}",
            "lot": each.lot,
            "name": each.name,
            "swale": each.swale,
            "area": each.area,
            "roof_area": each.roof_area,
            "volume": each.volume,
            "station_from": each.station_from,
            "station_to": each.station_to,
        }
        for each in findings.lots
    ]
    return layer_of(findings, "lot_inflows", None, columns_of(rows, "lot_inflows"))


def _lot_sums(findings: SwaleFindings) -> pd.DataFrame:
    rows = [
        {
            "id": f"{found.site.id}-{number:03d}",
            "swale": found.site.id,
            "lot": each.lot,
            "added_flow": each.added,
            "total_flow": each.total,
            "peak_flow": each.peak,
            "room": each.room,
            "full": each.full,
        }
        for found in findings.swales
        for number, each in enumerate(found.lot_sums)
    ]
    return layer_of(findings, "lot_sums", None, columns_of(rows, "lot_sums"))


def _cautions(findings: SwaleFindings) -> pd.DataFrame:
    return make_layer(
        "cautions", findings.units, id=[each.id for each in findings.cautions],
        text=[say(each.text, findings.units) for each in findings.cautions],
    )  # fmt: skip


def _run_info(findings: SwaleFindings, outputs: Sequence[str]) -> Iterator[tuple[str, str]]:
    frame = findings.frame
    authority = frame.crs.to_authority()
    yield "program", "lotshed"
    yield "version", findings.version
    yield "name", findings.name
    yield "units", findings.units
    yield "crs", ":".join(authority) if authority else frame.crs.name
    yield "crs_name", frame.crs.name
    yield "z_unit_m", repr(frame.unit)
    yield "vertical_datum", say(findings.vertical_datum, findings.units)
    yield "cell_width_m", repr(findings.grid.cell_width)
    yield "cell_height_m", repr(findings.grid.cell_height)
    yield "return_period_yr", "" if findings.return_period is None else f"{findings.return_period:g}"
    yield "storm_depth_m", f"{findings.storm_depth:.6g}"
    yield "freeboard_m", f"{findings.freeboard:.6g}"
    yield "lidar_rmse_m", f"{findings.rmse:.6g}"
    for file in findings.inputs:
        yield f"input.{file.key}.file", file.file
        yield f"input.{file.key}.sha256", file.sha256
        if file.crs is not None:
            yield f"input.{file.key}.crs", file.crs
    for each in findings.discharges:
        flow, station = (
            format_quantity(value, kind, findings.units)
            for value, kind in ((each.flow, "large_flow"), (each.station, "length"))
        )
        yield f"discharge.{each.id}", f"{flow} to {each.swale} at station {station}"
    for rule in findings.rules:
        yield f"parameter.{rule.key}", f"{rule_words(rule, findings.units)} [{rule.mark}]"
    for number, warning in enumerate(findings.warnings, start=1):
        yield f"warning.{number}", say(warning, findings.units)
    yield OUTPUTS, ", ".join(outputs)
