"""The map of a lot, from its findings and the layers that are handed over."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any, cast

import numpy as np
import pandas as pd
import shapely
from shapely import Geometry
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from pipelines.deliverables.files.symbols import symbol_of
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.report.blocks import Number
from pipelines.deliverables.report.context_map import context_map
from pipelines.deliverables.report.figures.ground_picture import Bounds, ground_picture
from pipelines.deliverables.report.figures.map_picture import (
    MapFeature,
    MapLayer,
    MapNote,
    MapPicture,
    PondBed,
    PondShown,
    StormShown,
)
from pipelines.deliverables.report.figures.map_svg import seen
from pipelines.deliverables.report.lot.answer import design_storm, improves
from pipelines.deliverables.report.lot.columns import COLUMNS, columns_of
from pipelines.deliverables.report.numbers import LayerWords, number
from pipelines.deliverables.words.say import say
from pipelines.layout.plan import PipeRun, PipeSegment
from terrain.flow.cells_to_polygons import cells_polygon
from terrain.unit_table import Units

MARGIN = 3.0
"""Ground around the lot and its works that is seen at first. [m]"""
MOST_LABELLED = 4
"""Low spots whose depth is written on the map. [-]"""
NAMES = {
    "low_spots": "Low spot", "flow_paths": "Flow path", "sub_catchments": "Sub-catchment",
    "surface_works": "Surface work", "catch_basins": "Catch basin", "french_drains": "French drain",
    "channel_drains": "Channel drain",
    "pipe_runs": "Pipe run", "sumps": "Sump basin", "fittings": "Fitting", "level_shots": "Level shot",
    "outfalls": "Outfall", "parcel": "Lot",
}  # fmt: skip


def lot_map(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> MapPicture:
    """The map of a lot."""
    drawn = _layers(findings, layers, units)
    drawn = tuple(layer for layer in drawn if layer.features)
    view = _view(findings)
    spread = [layer for layer in drawn if layer.name in ("sub_catchments", "low_spots", "pipe_runs", "outfalls")]
    reach = findings.rules["surroundings"].likely
    near = (view[0] - reach, view[1] - reach, view[2] + reach, view[3] + reach)
    whole = _inside(_inside(_together([view, *(_bounds(layer.features) for layer in spread)]), near),
                    findings.grid.bounds)
    ground = ground_picture(findings.ground, findings.grid, whole)
    drawn = tuple(replace(layer, features=_touching(layer.features, whole)) for layer in drawn)
    drawn = tuple(layer for layer in drawn if layer.features)
    storms = _storms(findings, units)
    hours: list[float] = next((course.hours.tolist() for storm in findings.storms for course in storm.courses), [])
    return MapPicture(
        ground, drawn, view, units, _beds(findings, storms), storms, tuple(hours), findings.grid.shape[1],
        findings.picture,
        improved=improves(findings),
    )


def _layers(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> tuple[MapLayer, ...]:
    plan = findings.plan

    def features(
        name: str, rows: Iterable[Any], shape: str, *values: str, label: bool = False
    ) -> tuple[MapFeature, ...]:
        words = LayerWords(layers, name, units, COLUMNS[name])
        return tuple(
            MapFeature(
                row.id, f"{NAMES[name]} {row.id}", getattr(row, shape),
                symbol_of(name, {value: getattr(row, value) for value in values}),
                words[row.id], row.id if label else "",
            )
            for row in rows
        )

    parcel = MapFeature(
        "parcel", "The lot", shapely.union_all(findings.parcel.geometry.array), 0,
        LayerWords(layers, "parcel", units, COLUMNS["parcel"])[str(layers["parcel"]["id"].iloc[0])],
    )
    given = context_map(layers, findings.frame, units)
    paths = sorted(findings.flow_paths, key=lambda path: path.contributing_area)
    return (
        MapLayer("sub_catchments", "Sub-catchments",
                 features("sub_catchments", findings.runoff, "shape", "run_on"), on=False),
        given["hardscape"],
        given["roofs"],
        given["right_of_way"],
        given["keep_out"],
        MapLayer("low_spots", "Low spots, by depth", _low_spots(findings, layers, units)),
        MapLayer("water_depth", "Standing water, as it is, deepest in the design storm", _standing(findings)),
        MapLayer("surface_works", "Surface works", _surface(findings, layers, units),
                 on=plan.surface is not None and plan.surface.proposed),
        MapLayer("flow_paths", "Flow paths, by contributing area and odds",
                 features("flow_paths", paths, "line", "when_full", "run_on", "found_pct", "contributing_area")),
        MapLayer("fall_to_spare", "Fall to spare", _spare(layers, findings, units), on=False),
        MapLayer("parcel", "Lot", (parcel,)),
        given["frontage"],
        given["barriers"],
        given["utilities"],
        given["site_culverts"],
        MapLayer("french_drains", "French drains", features("french_drains", plan.french_drains, "line", label=True)),
        MapLayer("channel_drains", "Channel drains",
                 features("channel_drains", plan.channel_drains, "line", label=True)),
        MapLayer("pipe_runs", "Pipe runs", tuple(
            replace(feature, notes=_run_notes(run, units))
            for feature, run in zip(features("pipe_runs", plan.pipe_runs, "line", "kind", label=True), plan.pipe_runs,
                                    strict=True)
        )),
        given["downspouts"],
        given["keep_out_marks"],
        MapLayer("fittings", "Fittings", features("fittings", plan.fittings, "point", "kind")),
        MapLayer("hidden_culverts", "Banks that may hide a culvert", _under_banks(layers, findings, units)),
        MapLayer("outfalls", "Outfalls", features("outfalls", plan.outfalls, "point", "given", label=True)),
        MapLayer("outfall_moves", "Outfalls as drawn", _moved(layers, findings, units)),
        MapLayer("catch_basins", "Catch basins", features("catch_basins", plan.catch_basins, "point", label=True)),
        MapLayer("sumps", "Sump basins", features("sumps", plan.sumps, "point", label=True)),
        MapLayer("level_shots", "Level shots", features("level_shots", plan.level_shots, "point", label=True)),
        MapLayer("suspected_culverts", "Suspected culverts", tuple(
            MapFeature(each.id, f"Suspected culvert {each.id}", each.point, 0, (("Why", say(each.why, units)),),
                       each.id)
            for each in findings.suspected_culverts
        )),
        given["complaints"],
    )  # fmt: skip


def _run_notes(run: PipeRun, units: Units) -> tuple[MapNote, ...]:
    """Size and slope beside each segment of a run, an invert at each end."""
    line = shapely.force_2d(run.line)
    size = f"{run.size} {run.standard}"
    parts = run.segments or (PipeSegment(0.0, run.length, run.slope or 0.0, None),)
    along = [
        MapNote(
            f"{size}, {number(part.slope, 'slope', units).text}" if run.kind == "gravity" else f"{size}, pressure",
            substring(line, part.start, part.end),
        )
        for part in parts
    ]
    ends = ((run.invert_up, 0.0), (run.invert_down, 1.0))
    return (*along, *(
        MapNote(f"inv {number(level, 'level', units).text}", shapely.line_interpolate_point(line, at, normalized=True))
        for level, at in ends
    ))  # fmt: skip


def _surface(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> tuple[MapFeature, ...]:
    """Soil moved and downspouts led away, proposed or compared."""
    surface = findings.plan.surface
    if surface is None:
        return ()
    symbol = symbol_of("surface_works", {"proposed": surface.proposed})
    shapes = findings.frame.from_map(layers["surface_works"].geometry.array)
    words = LayerWords(layers, "surface_works", units, COLUMNS["surface_works"])
    return tuple(
        MapFeature(
            work.id, f"{NAMES['surface_works']} {work.id}", shape, symbol,
            words[work.id], work.kind,
        )
        for work, shape in zip(surface.works, shapes, strict=True)
    )


def _spare(layers: Mapping[str, pd.DataFrame], findings: Findings, units: Units) -> tuple[MapFeature, ...]:
    """Contours of the fall to spare, each with its value beside it."""
    frame, words = layers["fall_to_spare"], LayerWords(layers, "fall_to_spare", units, COLUMNS["fall_to_spare"])
    found = []
    for name, shape in zip(frame["id"], findings.frame.from_map(frame.geometry.array), strict=True):
        rows = words[name]
        value = rows[0][1]
        told = value.value if isinstance(value, Number) else None
        label = value.text if isinstance(value, Number) else ""
        symbol = symbol_of("fall_to_spare", {"spare": told})
        title = f"Short of fall by {label.removeprefix('-')}" if label.startswith("-") else f"Fall to spare {label}"
        found.append(MapFeature(name, title, shape, symbol, rows, label))
    return tuple(found)


def _under_banks(layers: Mapping[str, pd.DataFrame], findings: Findings, units: Units) -> tuple[MapFeature, ...]:
    """Where a culvert would lie under each bank."""
    frame, words = layers["hidden_culverts"], LayerWords(layers, "hidden_culverts", units, COLUMNS["hidden_culverts"])
    symbol = symbol_of("hidden_culverts", {})
    return tuple(
        MapFeature(f"{name}-line", f"{name}: may hide a culvert", shape, symbol,
                   words[name])
        for name, shape in zip(frame["id"], findings.frame.from_map(frame.geometry.array), strict=True)
    )  # fmt: skip


def _moved(layers: Mapping[str, pd.DataFrame], findings: Findings, units: Units) -> tuple[MapFeature, ...]:
    """From where an outfall was drawn on the bank to the bed."""
    frame, words = layers["outfall_moves"], LayerWords(layers, "outfall_moves", units, COLUMNS["outfall_moves"])
    symbol = symbol_of("outfall_moves", {})
    return tuple(
        MapFeature(f"{name}-drawn", f"{name} as drawn, and moved to the bed", shape, symbol,
                   words[name])
        for name, shape in zip(frame["id"], findings.frame.from_map(frame.geometry.array), strict=True)
    )  # fmt: skip


def _low_spots(
    findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units
) -> tuple[MapFeature, ...]:
    """Deepest last, so that one inside another can be tapped."""
    found = []
    words = LayerWords(layers, "low_spots", units, columns_of("low_spots", improved=improves(findings)))
    for water in sorted(findings.low_spots, key=lambda each: -each.spot.area):
        rows = words[water.spot.id]
        named = water.on_parcel and water.rank <= MOST_LABELLED
        deep = water.depth_on_lot if water.on_parcel else water.storm_depth
        label = number(deep, "depth", units).text if named and deep > 0.005 else ""
        found.append(
            MapFeature(water.spot.id, f"{NAMES['low_spots']} {water.spot.id}", cast(BaseGeometry, water.shape),
                       symbol_of("low_spots", {"depth": water.spot.depth}), rows, label)
        )  # fmt: skip
    return tuple(found)


def _standing(findings: Findings) -> tuple[MapFeature, ...]:
    """Water of the design storm at its deepest, as the lot is: what paper shows where a page paints it by the hour."""
    heights = findings.ground.ravel()
    depth = np.zeros(heights.size)
    for water in findings.low_spots:
        cells = water.spot.cells
        depth[cells] = np.fmax(depth[cells], water.spot.bottom_elevation + water.storm_depth - heights[cells])
    wet = np.flatnonzero(depth > findings.rules["standing_film"].likely)
    kinds = np.array([symbol_of("water_depth", {"depth": float(each)}) for each in depth[wet]], dtype=np.int64)
    return tuple(
        MapFeature(f"water-{kind}", "", cast(BaseGeometry, cells_polygon(wet[kinds == kind], findings.grid)), kind)
        for kind in np.unique(kinds).tolist()
    )


def _touching(features: Sequence[MapFeature], bounds: Bounds) -> tuple[MapFeature, ...]:
    """What is seen of the features: a neighborhood's roofs and a hillside's run-on reach far beyond a lot."""
    seen_at = shapely.box(*bounds)
    return tuple(
        feature if shapely.covers(seen_at, feature.shape)
        else replace(feature, shape=cast(BaseGeometry, shapely.intersection(feature.shape, seen_at)))
        for feature in features if shapely.intersects(feature.shape, seen_at)
    )


def _beds(findings: Findings, storms: Sequence[StormShown]) -> tuple[PondBed, ...]:
    """Beds of what is shown, by rank."""
    shown = {pond.id for storm in storms for pond in storm.ponds}
    return tuple(
        PondBed(water.spot.id, water.spot.cells, water.spot.bottom_elevation, water.spot.id)
        for water in sorted(findings.low_spots, key=lambda each: each.rank)
        if water.spot.id in shown
    )


def _storms(findings: Findings, units: Units) -> tuple[StormShown, ...]:
    """Every storm that was run, with the same low spots in each: those whose water was followed through it."""
    listed = {each.spot.id for each in findings.low_spots}
    if not listed:
        return ()
    none = np.empty(0)
    if not findings.storms:
        ponds = tuple(
            PondShown(each.spot.id, (each.storm_depth, each.storm_depth_after), none, none)
            for each in findings.low_spots
        )
        return (StormShown(design_storm(findings, units) or "Design storm", True, ponds),)
    found = []
    for storm in sorted(findings.storms, key=lambda each: each.depth):
        courses = {course.id: course for course in storm.courses}
        ponds = tuple(
            PondShown(name, (before, after), *((courses[name].depth, courses[name].depth_after) if courses else
                                               (none, none)))
            for name, before, after in storm.standing
            if name in listed
        )  # fmt: skip
        found.append(StormShown(say(storm.name, units), storm.design, ponds, storm.rain_ends))
    return tuple(found)


def _view(findings: Findings) -> Bounds:
    plan = findings.plan
    shapes: list[Geometry] = [shapely.union_all(findings.parcel.geometry.array)]
    shapes += [run.line for run in plan.pipe_runs]
    shapes += [drain.line for drain in plan.french_drains]
    shapes += [channel.line for channel in plan.channel_drains]
    used = {run.to_id for run in plan.pipe_runs}
    shapes += [basin.point for basin in plan.catch_basins]
    shapes += [sump.point for sump in plan.sumps]
    # where no line is laid, the outfall that none reaches is part of the answer
    shapes += [row.point for row in plan.outfalls if row.id in used or not plan.pipe_runs]
    west, south, east, north = shapely.total_bounds(np.array(shapes, dtype=object)).tolist()
    return seen((west, south, east, north), MARGIN, 1.25)


def _bounds(features: Sequence[MapFeature]) -> Bounds:
    west, south, east, north = shapely.total_bounds(np.array([each.shape for each in features], dtype=object)).tolist()
    return west, south, east, north


def _together(listed: Sequence[Bounds]) -> Bounds:
    boxes = np.array(listed)
    west, south = boxes[:, :2].min(axis=0).tolist()
    east, north = boxes[:, 2:].max(axis=0).tolist()
    return west, south, east, north


def _inside(bounds: Bounds, limits: Bounds) -> Bounds:
    return (max(bounds[0], limits[0]), max(bounds[1], limits[1]), min(bounds[2], limits[2]), min(bounds[3], limits[3]))
