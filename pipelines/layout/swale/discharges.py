"""Discharges to swales: from screened lots, asked about, and the outlets that a site file gives."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from shapely import LineString, Point

from pipelines.hydraulics.pipe_catalogue import Pipe, find_pipe
from pipelines.inputs.lot_results import LotResult, read_lot_results
from pipelines.inputs.site_ground import SiteInputs
from pipelines.layout.swale.case import SwaleCase
from pipelines.layout.swale.lot_names import name_at, names_of, told_apart
from pipelines.layout.swale.outlets import SwaleOutlet
from pipelines.layout.swale.tailwater import GravityLine
from pipelines.layout.swale.water import PointDischarge, place_discharge, place_or_refuse


@dataclass(frozen=True, slots=True)
class WhatIf:
    """A discharge that someone asks about.

    Attributes
    ----------
    flow : float
        [m3/s]
    easting, northing : float
        Where it comes out, in the map's coordinates. [map units]
    """

    flow: float
    easting: float
    northing: float


def lot_results(inputs: SiteInputs, lots: Path | None) -> tuple[LotResult, ...]:
    """Results of the lots that discharge to a site's swales, each once."""
    given = inputs.site.swales
    folders = [*(given.discharges if given is not None else ()), *([lots] if lots is not None else [])]
    results: dict[Path, LotResult] = {}
    for folder in folders:
        for result in read_lot_results(folder, inputs.source.grid.frame):
            results.setdefault(result.folder.resolve(), result)
    return tuple(results.values())


def place_discharges(
    case: SwaleCase, results: Sequence[LotResult], asked: Sequence[WhatIf]
) -> tuple[tuple[PointDischarge, ...], list[list[SwaleOutlet]]]:
    """Point discharges on the swales, and every outlet there: laid out, asked about, or given without a flow."""
    frame, rules = case.ground.grid.frame, case.rules
    beside, farthest = rules["swale_outlet_near"].likely, rules["swale_discharge_farthest"].likely
    placed: list[PointDischarge] = []
    outlets: list[list[SwaleOutlet]] = [[] for _ in case.sites]
    for result in results:
        for outlet in result.outlets:
            near = rules["swale_lot_outlet_near"].likely if outlet.kind in ("swale", "ditch") else beside
            each = place_discharge(case.sites, outlet.id, result.name, outlet.flow, outlet.point, within=near)
            if each is None:
                continue
            placed.append(each)
            pipe = find_pipe(outlet.size) if outlet.size else None
            line = _gravity_line(case, outlet.line, pipe, outlet.run_flow)
            outlets[each.swale].append(
                _outlet(case, each, outlet.kind, outlet.point, None if line is None else line.invert_down,
                        0.0 if pipe is None else pipe.inside, line, result.name)
            )  # fmt: skip
    for number, one in enumerate(asked, start=1):
        point = frame.from_map(Point(one.easting, one.northing))
        each = place_or_refuse(case.sites, f"what-if {number}", one.flow, point, within=farthest)
        placed.append(each)
        outlets[each.swale].append(_outlet(case, each, "what_if", point, None, 0.0, None))
    layer = case.inputs.layers.outfalls
    parcels = case.inputs.layers.parcels
    rows = zip(layer.geometry, layer["kind"], layer["level_m"], layer["id"], names_of(layer), strict=True)
    for shape, kind, level, feature, name in rows:
        point = shape if shape.geom_type == "Point" else shapely.centroid(shape)
        each = place_discharge(case.sites, f"outfall {feature}", "", 0.0, point, within=beside)
        if each is None or kind not in ("swale", "ditch"):
            continue
        # a lot that lays its outlet there has said more of it
        same = rules["swale_same_outlet"].likely
        known_better = any(shapely.distance(point, Point(o.x, o.y)) < same for o in outlets[each.swale])
        if not known_better:
            known = float(level) if np.isfinite(level) else None
            outlets[each.swale].append(
                _outlet(case, each, str(kind), point, known, 0.0, None, name or name_at(point, parcels))
            )
    return tuple(placed), _named(outlets)


def _named(outlets: list[list[SwaleOutlet]]) -> list[list[SwaleOutlet]]:
    every = [each for own in outlets for each in own]
    names = iter(told_apart([each.name for each in every], [each.id for each in every]))
    return [[replace(each, name=next(names)) for each in own] for own in outlets]


def _outlet(
    case: SwaleCase,
    placed: PointDischarge,
    kind: str,
    point: Point,
    invert: float | None,
    diameter: float,
    line: GravityLine | None,
    name: str = "",
) -> SwaleOutlet:
    site = case.sites[placed.swale]
    bottom = float(np.interp(placed.station, site.profile.station, site.profile.bottom))
    above = case.rules["outlet_above_swale"].likely
    return SwaleOutlet(
        placed.id, kind, point.x, point.y, placed.station, bottom + above if invert is None else invert,
        invert is None, diameter, placed.flow, line, name,
    )  # fmt: skip


def _gravity_line(
    case: SwaleCase, line: LineString | None, pipe: Pipe | None, flow: float
) -> GravityLine | None:
    if line is None or not line.has_z or pipe is None or line.length <= 0.0:
        return None
    (x, y, up), (_, _, down) = line.coords[0], line.coords[-1]
    grid = case.ground.grid
    row, column = grid.cells(x, y)
    inside = 0 <= row < grid.shape[0] and 0 <= column < grid.shape[1]
    rim = float(case.surface.elevation[row, column]) if inside else np.nan
    if not np.isfinite(rim):
        return None
    return GravityLine(pipe.inside, line.length, pipe.roughness, up, down, max(rim, up + pipe.inside), flow)
