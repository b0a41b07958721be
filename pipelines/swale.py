"""The reviewer's job: from a site file to whether its swales take what comes to them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely import Point

from pipelines.deliverables.findings import Caution, InputFile
from pipelines.deliverables.swale_findings import (
    AddedDischarge,
    LotShare,
    LotSum,
    SideGround,
    SwaleFinding,
    SwaleFindings,
)
from pipelines.hydraulics.pipe_catalogue import Pipe, find_pipe
from pipelines.hydrology.along_swale import SwaleFlow
from pipelines.hydrology.design_rain import DesignRain, rain_assumed, rain_from_table, rain_given
from pipelines.hydrology.lot_balance import runoff_volumes
from pipelines.hydrology.surface_map import PAVED, SurfaceMap, group_at, map_surfaces
from pipelines.hydrology.surfaces import infiltration_rate
from pipelines.inputs.errors import LayerError
from pipelines.inputs.input_files import input_files
from pipelines.inputs.lot_results import LotResult, read_lot_results
from pipelines.inputs.quantity_words import format_quantity
from pipelines.inputs.rain_table_file import read_rain_table
from pipelines.inputs.site_ground import SiteInputs, open_site, shots_in_words
from pipelines.inputs.swale_ground import read_swale_ground
from pipelines.layout.cautions import swale_cautions
from pipelines.layout.recut import RecutRules
from pipelines.layout.swale_judgement import JudgeRules, ReachFinding, judge_crossings, judge_reaches
from pipelines.layout.swale_levels import SwaleCapacity, level_series, overtops, swale_capacity, swale_levels
from pipelines.layout.swale_outlets import SwaleOutlet, judge_outlet
from pipelines.layout.swale_recut import RecutStretch, recut_swale
from pipelines.layout.swale_site import SwaleRules, SwaleSite, check_swale_lines, culverts_by_swale, measure_swale
from pipelines.layout.swale_standing import SwalePond, standing_along, still_level
from pipelines.layout.swale_water import (
    PointDischarge,
    SwaleWater,
    divide_to_swales,
    lot_shares,
    place_discharge,
    place_or_refuse,
    side_areas,
    swale_flows,
)
from pipelines.layout.tailwater import GravityLine
from terrain.arrays import FloatArray
from terrain.cells_to_polygons import label_polygons
from terrain.drainage import Drainage, drain_ground
from terrain.ground import ROOF, Ground
from terrain.low_spots import LowSpot, find_low_spots
from terrain.surface import Surface

Progress = Callable[[str, float | None], None]

DEFAULT_RETURN_PERIOD = 10.0
ASSUMED_GROUP = "C"
ASSUMED_COVER = "lawn, fair"
GRASS = "grass_mixture"
_ON_SWALE = 10.0
_RANK = {"short": 3, "holds_water": 2, "cannot_tell": 1, "takes_it": 0}
# A swale that runs bank-full is not thought to run slower or faster than this. [m/s]
_SLOWEST, _FASTEST = 0.2, 3.0


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


@dataclass(frozen=True, slots=True, eq=False)
class _Job:
    """Everything a check has read and measured before any storm."""

    inputs: SiteInputs
    surface: Surface
    ground: Ground
    drainage: Drainage
    spots: tuple[LowSpot, ...]
    surfaces: SurfaceMap
    sites: tuple[SwaleSite, ...]
    capacities: tuple[SwaleCapacity, ...]
    rules: JudgeRules
    freeboard: float
    roughness: float
    downstream_level: float | None
    velocities: tuple[float, ...]
    soaking_rates: tuple[float, ...]
    warnings: tuple[str, ...]


def check_swale(
    site_path: Path,
    *,
    progress: Progress | None = None,
    add_discharges: Sequence[WhatIf] = (),
    lots: Path | None = None,
) -> SwaleFindings:
    """Check every swale of a site file.

    Parameters
    ----------
    site_path : Path
        The site file; its [swales] names the lines.
    progress : callable, optional
        Told each stage and how far the work is, from 0 to 1.
    add_discharges : sequence of WhatIf
        Discharges to try.
    lots : Path, optional
        A folder of screened lots whose discharges are added, besides those that the site file names.

    Returns
    -------
    SwaleFindings
        Everything found, in SI and the metric frame.

    Raises
    ------
    LotshedError
        If an input cannot be used; the message says what, where and what to do.
    """
    tell = progress or (lambda stage, share: None)
    tell("reading the site", 0.0)
    job = _measure(site_path, tell)
    rain, others = _rain_of(job.inputs)
    results = _lot_results(job.inputs, lots)
    discharges, outlets = _discharges(job, results, add_discharges)
    tell("following the water", 0.5)
    water = _divide(job, rain, [shape for result in results for shape in result.piped])
    flows = swale_flows(water, rain, discharges, job.velocities)
    storms = {years: swale_flows(water, other, discharges, job.velocities) for years, other in others.items()}
    tell("finding levels", 0.7)
    areas = side_areas(water)
    found = []
    for position, site in enumerate(job.sites):
        side = SideGround(**areas[position])
        by_storm = {years: each[position] for years, each in storms.items()}
        sums = _lot_sums(job, position, rain, results, discharges)
        found.append(_check_one(job, position, site, side, flows[position], by_storm, outlets[position], sums))
        tell("finding levels", 0.7 + 0.3 * (position + 1) / len(job.sites))
    return _findings(job, rain, water, discharges, tuple(found))


def plan_of_check(site_path: Path, *, lots: Path | None = None) -> str:
    """Check all inputs of a check and say what it would do, without reading the ground.

    Parameters
    ----------
    site_path : Path
        The site file.
    lots : Path, optional
        A folder of screened lots.

    Returns
    -------
    str
        A line for each thing that would be done.

    Raises
    ------
    LotshedError
        If an input cannot be used; the message says what, where and what to do.
    """
    inputs, lines, names, culverts = _open(site_path)
    rain, others = _rain_of(inputs)
    count = f"{len(lines)} {'swale' if len(lines) == 1 else 'swales'}"
    said = [f"{inputs.site.name}: check {count} on {inputs.source.path.name}"]
    for line, name, own in zip(lines, names, culverts, strict=True):
        length = format_quantity(line.length, "length", inputs.site.units)
        said.append(f"{name}: {length} as drawn, {len(own)} culverts given")
    storm = "one storm" if rain.return_period is None else f"the {rain.return_period:g}-year storm"
    depth = format_quantity(rain.storm.depth, "rain", inputs.site.units)
    said.append(f"rain: {storm} of {depth}, {len(others)} others")
    results = _lot_results(inputs, lots)
    said.append(f"discharges of lots: {', '.join(result.name for result in results) or 'none'}")
    return "\n".join(said)


def _open(site_path: Path) -> tuple[SiteInputs, list[shapely.LineString], list[str], list[Any]]:
    inputs = open_site(site_path, several_parcels=True)
    if inputs.site.swales is None or inputs.layers.swales.empty:
        raise LayerError(
            f"site file {site_path}: it names no swale; add a table [swales] with the file and layer of lines drawn "
            "along the swales"
        )
    layer = inputs.layers.swales
    lines = [shapely.force_2d(line) for line in layer.geometry]
    given = [str(name) or f"swale {feature}" for name, feature in zip(layer["name"], layer["id"], strict=True)]
    names = [name if "swale" in name.lower() else f"swale {name}" for name in given]
    check_swale_lines(lines, names, inputs.layers.roofs)
    return inputs, lines, names, culverts_by_swale(lines, inputs.layers.culverts)


def _measure(site_path: Path, tell: Progress) -> _Job:
    inputs, lines, names, culverts = _open(site_path)
    given, rules = inputs.site.swales, inputs.site.rules
    assert given is not None
    tell("reading the ground", 0.1)
    surface, ground, fit = read_swale_ground(inputs, lines, names)
    drainage = drain_ground(ground)
    tell("measuring the swales", 0.3)
    roughness = given.roughness if given.roughness is not None else rules["n_swale"].likely
    measured = SwaleRules(
        spacing=given.spacing if given.spacing is not None else 5.0, roughness=roughness, rmse=inputs.rmse
    )
    sites = tuple(
        measure_swale(ground, surface, line, culverts[k], id=f"S{k + 1}", name=names[k], rules=measured)
        for k, line in enumerate(lines)
    )
    freeboard = given.freeboard if given.freeboard is not None else rules["swale_freeboard"].likely
    cell = max(ground.grid.cell_width, ground.grid.cell_height)
    capacities = tuple(swale_capacity(site, freeboard=freeboard, cell=cell) for site in sites)
    surfaces, notes = _surfaces(inputs, ground)
    if fit is not None and inputs.shots is not None:
        notes += shots_in_words(fit, inputs.shots)
    judge = JudgeRules(
        freeboard=freeboard,
        rmse=inputs.rmse,
        cover=given.cover or GRASS,
        tolerable_depth=rules["tolerable_lawn_depth"].likely,
        tolerable_hours=rules["tolerable_lawn_time"].likely / 3600.0,
        units=inputs.site.units,
    )
    return _Job(
        inputs, surface, ground, drainage, find_low_spots(drainage, rmse=inputs.rmse), surfaces, sites, capacities,
        judge, freeboard, roughness, given.downstream_level,
        tuple(float(np.clip(np.median(each.velocity), _SLOWEST, _FASTEST)) for each in capacities),
        tuple(_soaking_rate(inputs, surfaces, site) for site in sites),
        (*inputs.layers.warnings, *surface.warnings, *notes, *(said for site in sites for said in site.warnings)),
    )  # fmt: skip


def _surfaces(inputs: SiteInputs, ground: Ground) -> tuple[SurfaceMap, tuple[str, ...]]:
    site, layers = inputs.site, inputs.layers
    notes = []
    if site.soil.group is None and layers.soils.empty:
        notes.append(f"No soil is given: hydrologic group {ASSUMED_GROUP} is assumed.")
    if site.soil.cover is None:
        notes.append(f"No cover is given: {ASSUMED_COVER} is assumed.")
    if layers.roofs.empty:
        notes.append("No roofs are given: their water is taken to run off as from lawn, which is on the low side.")
    known = {"gravel", "dirt", "water"}
    paving = [
        (shape, kind if kind in known else PAVED)
        for shape, kind in zip(layers.hardscape.geometry, layers.hardscape["kind"], strict=True)
    ]
    surfaces = map_surfaces(
        ground.grid,
        cover=site.soil.cover or ASSUMED_COVER,
        roofs=ground.kind == ROOF,
        paving=paving,
        soils=list(zip(layers.soils.geometry, layers.soils["group"], strict=True)),
        default_group=site.soil.group or ASSUMED_GROUP,
    )
    return surfaces, tuple(notes)


def _soaking_rate(inputs: SiteInputs, surfaces: SurfaceMap, site: SwaleSite) -> float:
    if inputs.site.soil.tested_rate is not None:
        return inputs.site.soil.tested_rate
    grid = surfaces.grid
    rows, columns = grid.cells(site.thalweg.x, site.thalweg.y)
    cells = np.clip(rows, 0, grid.shape[0] - 1) * grid.shape[1] + np.clip(columns, 0, grid.shape[1] - 1)
    return infiltration_rate(group_at(surfaces, cells), compacted=inputs.site.soil.compacted).likely


def _rain_of(inputs: SiteInputs) -> tuple[DesignRain, dict[float, DesignRain]]:
    """Design rain, and that of every return period of the table."""
    given = inputs.site.rain
    if given.table is not None:
        table = read_rain_table(given.table)
        distribution = given.distribution or "nested"
        years = given.return_period if given.return_period is not None else DEFAULT_RETURN_PERIOD
        others = {
            float(each): rain_from_table(table, float(each), distribution=distribution)
            for each in table.return_periods
        }
        return rain_from_table(table, years, distribution=distribution), others
    if given.depth is not None and given.duration is not None:
        return rain_given(given.depth, given.duration), {}
    return rain_assumed(), {}


def _divide(job: _Job, rain: DesignRain, piped: Sequence[shapely.Polygon | shapely.MultiPolygon]) -> SwaleWater:
    return divide_to_swales(
        job.sites, job.drainage, job.surfaces, two_year_24h_depth=rain.two_year_24h_depth,
        return_period=rain.return_period, compacted=job.inputs.site.soil.compacted, piped=piped,
    )  # fmt: skip


def _lot_results(inputs: SiteInputs, lots: Path | None) -> tuple[LotResult, ...]:
    given = inputs.site.swales
    folders = [*(given.discharges if given is not None else ()), *([lots] if lots is not None else [])]
    results: dict[Path, LotResult] = {}
    for folder in folders:
        for result in read_lot_results(folder, inputs.source.grid.frame):
            results.setdefault(result.folder.resolve(), result)
    return tuple(results.values())


def _discharges(
    job: _Job, results: Sequence[LotResult], asked: Sequence[WhatIf]
) -> tuple[tuple[PointDischarge, ...], list[list[SwaleOutlet]]]:
    """Point discharges on the swales, and every outlet there, given, laid out or asked about."""
    frame = job.ground.grid.frame
    placed: list[PointDischarge] = []
    outlets: list[list[SwaleOutlet]] = [[] for _ in job.sites]
    for result in results:
        for outlet in result.outlets:
            near = 2.0 * _ON_SWALE if outlet.kind in ("swale", "ditch") else _ON_SWALE / 2.0
            each = place_discharge(job.sites, outlet.id, result.name, outlet.flow, outlet.point, within=near)
            if each is None:
                continue
            placed.append(each)
            pipe = find_pipe(outlet.size) if outlet.size else None
            line = _gravity_line(job, outlet.line, pipe, outlet.run_flow)
            outlets[each.swale].append(
                _outlet(job, each, outlet.kind, outlet.point, None if line is None else line.invert_down,
                        0.0 if pipe is None else pipe.inside, line)
            )  # fmt: skip
    for number, one in enumerate(asked, start=1):
        point = frame.from_map(Point(one.easting, one.northing))
        each = place_or_refuse(job.sites, f"what-if {number}", one.flow, point)
        placed.append(each)
        outlets[each.swale].append(_outlet(job, each, "what_if", point, None, 0.0, None))
    layer = job.inputs.layers.outfalls
    for shape, kind, level, feature in zip(layer.geometry, layer["kind"], layer["level_m"], layer["id"], strict=True):
        point = shape if shape.geom_type == "Point" else shapely.centroid(shape)
        each = place_discharge(job.sites, f"outfall {feature}", "", 0.0, point, within=_ON_SWALE / 2.0)
        if each is not None and kind in ("swale", "ditch"):
            known = float(level) if np.isfinite(level) else None
            outlets[each.swale].append(_outlet(job, each, str(kind), point, known, 0.0, None))
    return tuple(placed), outlets


def _outlet(
    job: _Job,
    placed: PointDischarge,
    kind: str,
    point: Point,
    invert: float | None,
    diameter: float,
    line: GravityLine | None,
) -> SwaleOutlet:
    site = job.sites[placed.swale]
    bottom = float(np.interp(placed.station, site.profile.station, site.profile.bottom))
    above = job.inputs.site.rules["outlet_above_swale"].likely
    return SwaleOutlet(
        placed.id, kind, point.x, point.y, placed.station, bottom + above if invert is None else invert,
        invert is None, diameter, placed.flow, line,
    )  # fmt: skip


def _gravity_line(
    job: _Job, line: shapely.LineString | None, pipe: Pipe | None, flow: float
) -> GravityLine | None:
    if line is None or not line.has_z or pipe is None or line.length <= 0.0:
        return None
    (x, y, up), (_, _, down) = line.coords[0], line.coords[-1]
    grid = job.ground.grid
    row, column = grid.cells(x, y)
    inside = 0 <= row < grid.shape[0] and 0 <= column < grid.shape[1]
    rim = float(job.surface.elevation[row, column]) if inside else np.nan
    if not np.isfinite(rim):
        return None
    return GravityLine(pipe.inside, line.length, pipe.roughness, up, down, max(rim, up + pipe.inside), flow)


def _lot_sums(
    job: _Job,
    position: int,
    rain: DesignRain,
    results: Sequence[LotResult],
    discharges: Sequence[PointDischarge],
) -> tuple[LotSum, ...]:
    """The swale with none, one, two ... of the lots that discharge to it."""
    names = {each.lot for each in discharges if each.lot and each.swale == position}
    here = [result for result in results if result.name in names]
    if not here:
        return ()
    site = job.sites[position]
    asked = [each for each in discharges if not each.lot]
    sums = []
    for count in range(len(here) + 1):
        within = here[:count]
        added = [each for each in discharges if each.lot in {result.name for result in within}]
        water = _divide(job, rain, [shape for result in within for shape in result.piped])
        flow = swale_flows(water, rain, [*asked, *added], job.velocities)[position]
        levels = swale_levels(site, flow.peak, downstream_level=job.downstream_level)
        mine = [each for each in added if each.swale == position]
        room = float((site.bank - levels.level).min())
        sums.append(
            LotSum(
                here[count - 1].name if count else "",
                sum(each.flow for each in mine if each.lot == here[count - 1].name) if count else 0.0,
                sum(each.flow for each in mine),
                float(flow.peak[-1]),
                room,
                bool(levels.over_bank.any()),
            )
        )
    return tuple(sums)


def _check_one(
    job: _Job,
    position: int,
    site: SwaleSite,
    side: SideGround,
    flow: SwaleFlow,
    storms: dict[float, SwaleFlow],
    outlets: Sequence[SwaleOutlet],
    sums: tuple[LotSum, ...],
) -> SwaleFinding:
    level_at = job.downstream_level
    levels = swale_levels(site, flow.peak, downstream_level=level_at)
    ponds = standing_along(
        site, job.drainage, job.spots, flow.volume, rmse=job.inputs.rmse,
        soaking_rate=job.soaking_rates[position],
    )
    by_storm = {
        years: swale_levels(site, each.peak, downstream_level=level_at) for years, each in sorted(storms.items())
    }
    firsts = [
        next((years for years, each in by_storm.items() if overtops(site, each, reach)), None)
        for reach in site.reaches
    ]
    reaches = judge_reaches(site, levels, job.capacities[position], ponds, firsts, job.rules)
    series = np.zeros((0, 0))
    if outlets:
        series = level_series(site, flow.flow, standing=still_level(site, ponds), downstream_level=level_at)
    found = tuple(
        judge_outlet(site, outlet, reaches, series, flow.flow, flow.step, job.rules)
        for outlet in sorted(outlets, key=lambda each: each.station)
    )
    crossings = judge_crossings(site, levels, job.rules.units)
    worst = max(reaches, key=lambda each: (_RANK[each.verdict.answer], -each.room))
    over = [each for each in firsts if each is not None]
    return SwaleFinding(
        site, side, flow, levels, job.capacities[position], ponds, _pond_shapes(job, ponds), reaches, crossings, found,
        _recut(job, site), sums, min(over) if over else None, worst.verdict.answer, _why(job, worst),
    )  # fmt: skip


def _why(job: _Job, worst: ReachFinding) -> str:
    start, end = (format_quantity(at, "length", job.rules.units) for at in (worst.reach.start, worst.reach.end))
    return f"reach {worst.reach.id}, station {start} to {end}: {worst.verdict.why}"


def _recut(job: _Job, site: SwaleSite) -> tuple[RecutStretch, ...]:
    given, rules = job.inputs.site.swales, job.inputs.site.rules
    assert given is not None

    def choose(value: float | None, key: str) -> float:
        return value if value is not None else rules[key].likely

    return recut_swale(
        site,
        job.inputs.layers.utilities,
        rules=RecutRules(
            slope=rules["swale_slope"].likely,
            max_depth=choose(given.max_depth, "swale_max_depth"),
            max_top_width=choose(given.max_top_width, "swale_max_top_width"),
            fill=rules["swale_fill"].likely,
        ),
        bottom_width=choose(given.bottom_width, "swale_bottom_width"),
        side_slope=1.0 / choose(given.side_slope, "swale_side_slope"),
        roughness=job.roughness,
        units=job.rules.units,
    )


def _pond_shapes(job: _Job, ponds: Sequence[SwalePond]) -> tuple[shapely.Geometry, ...]:
    shapes = []
    for pond in ponds:
        labels = np.full(job.ground.grid.shape, -1, dtype=np.int64)
        wet = pond.spot.cells[job.ground.elevation.ravel()[pond.spot.cells] < pond.level]
        labels.ravel()[wet if len(wet) else pond.spot.cells] = 0
        shapes.append(label_polygons(labels, job.ground.grid)[0])
    return tuple(shapes)


def _findings(
    job: _Job,
    rain: DesignRain,
    water: SwaleWater,
    discharges: Sequence[PointDischarge],
    found: tuple[SwaleFinding, ...],
) -> SwaleFindings:
    site = job.inputs.site
    depths: dict[int, FloatArray] = {
        inflow.stretch: runoff_volumes(job.surfaces, inflow.cells, inflow.shares, rain.storm.depth)
        for inflow in water.inflows
    }
    parcels = list(zip(job.inputs.layers.parcels["id"], job.inputs.layers.parcels.geometry, strict=True))
    lots = tuple(
        LotShare(lot, job.sites[swale].id, *numbers)
        for lot, swale, *numbers in lot_shares(water, parcels, depths)
    )
    added = tuple(
        AddedDischarge(each.id, each.flow, job.sites[each.swale].id, each.station) for each in discharges
    )
    piped = any(each.lot for each in discharges)
    notes = (
        "Lots' discharges are taken at their peak through the whole storm, which is on the high side; the ground that "
        "they pipe is taken out of the surface runoff.",
    ) if piped else ()
    files = input_files(site, job.inputs.source, job.inputs.layers)
    return SwaleFindings(
        name=site.name,
        version=version("lotshed"),
        units=site.units,
        frame=job.ground.grid.frame,
        grid=job.ground.grid,
        swales=found,
        lots=lots,
        discharges=added,
        return_period=rain.return_period,
        storm_depth=rain.storm.depth,
        freeboard=job.freeboard,
        rmse=job.inputs.rmse,
        inputs=tuple(InputFile(each.key, each.file, each.sha256, each.crs, each.cell_size) for each in files),
        warnings=(*job.warnings, *rain.notes, *notes),
        cautions=tuple(Caution(id, text) for id, text in swale_cautions()),
        parameters=_parameters(job),
        vertical_datum=job.inputs.source.vertical_datum,
    )


def _parameters(job: _Job) -> tuple[tuple[str, str, str], ...]:
    rules = job.inputs.site.rules
    keys = (
        "n_swale", "swale_freeboard", "swale_slope", "swale_side_slope", "swale_bottom_width", "swale_max_depth",
        "swale_max_top_width", "swale_fill", "outlet_above_swale", "tolerable_lawn_depth", "tolerable_lawn_time",
        "lidar_rmse",
    )  # fmt: skip
    return tuple((key, rules[key].words, rules[key].mark) for key in keys)
