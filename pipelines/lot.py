"""The main job: from a site file to everything that is found and proposed on one lot."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np
from shapely import Point

from pipelines.deliverables.findings.gathering import (
    flow_paths_of,
    hydrographs_of,
    leaving_of,
    low_spots_of,
    pumps_of,
    storms_of,
)
from pipelines.deliverables.findings.lot import Balance, Benchmark, Caution, Findings, InputFile
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.hydraulics.pumping.pump_curve import pump_curve
from pipelines.hydrology.design_rain import DesignRain, design_rain
from pipelines.hydrology.flow_path import travel_rules
from pipelines.hydrology.low_spot_ponds import rain_that_fills
from pipelines.hydrology.runoff_table import runoff_bounds
from pipelines.hydrology.surface_map import COVER, SOIL_GROUP, SurfaceMap, group_at, map_surfaces
from pipelines.hydrology.surfaces import infiltration_rate, surface_of
from pipelines.inputs.errors import SiteFileError
from pipelines.inputs.ground_rules import ground_limits, site_low_spots
from pipelines.inputs.input_files import input_files
from pipelines.inputs.site_file import SiteFile
from pipelines.inputs.site_ground import SiteInputs, open_site, read_lot_ground
from pipelines.inputs.tables.prices import Prices, default_prices, read_prices
from pipelines.inputs.tables.pump_points import read_pump_points
from pipelines.inputs.tables.rain_table_file import read_rain_table
from pipelines.layout.diagnosis.diagnose import Reckoning
from pipelines.layout.diagnosis.division import parcel_cells, studied_ground
from pipelines.layout.diagnosis.lot_water import excess_by_cell
from pipelines.layout.diagnosis.misfits import find_misfits
from pipelines.layout.diagnosis.situation import Situation, describe_lot
from pipelines.layout.options import PlanInputs
from pipelines.layout.other_storms import OtherStorm, other_storms, when_all_is_clogged
from pipelines.layout.plan import Said
from pipelines.layout.planner import LotPlan, plan_lot
from pipelines.layout.quantities.cautions import cautions_for
from pipelines.layout.storm_by_storm import edges_by_storm
from pipelines.layout.ways.lift_design import assumed_curve
from terrain.arrays import BoolArray
from terrain.errors import LotshedError
from terrain.first_run import COMPILING, compiles_first
from terrain.flow.drainage import Drainage, drain_ground
from terrain.flow.lot_ground import refuse_unfit
from terrain.flow.pysheds_adapter import self_check, with_pysheds
from terrain.ground import ROOF, Ground
from terrain.reason import reason
from terrain.unit_table import Units

Progress = Callable[[str, float | None], None]


@dataclass(frozen=True, slots=True, eq=False)
class LotInputs:
    """A site opened with its tables read, before any height is.

    Attributes
    ----------
    opened : SiteInputs
        Site file, raster header, shapes, level shots.
    rain : DesignRain
        The run's one rain.
    prices : Prices
        By item.
    pump : tuple of ndarray or None
        Flow [m3/s] and head [m] of the pump's curve.
    warnings : tuple of Said
        What was assumed.
    """

    opened: SiteInputs
    rain: DesignRain
    prices: Prices
    pump: "tuple[np.ndarray, np.ndarray] | None"
    warnings: tuple[Said, ...]


def open_lot(path: Path) -> LotInputs:
    """Read and check everything that a site file names but the heights.

    Parameters
    ----------
    path : Path
        The site file.

    Returns
    -------
    LotInputs
        Ready for `screen_lot`.

    Raises
    ------
    LotshedError
        If anything cannot be used; the message says what, where and what to do.
    """
    opened = open_site(path)
    site = opened.site
    refuse_unfit(opened.source, opened.layers.parcel, ground_limits(site.rules))
    _check_names(site)
    table = None if site.rain.table is None else read_rain_table(site.rain.table)
    rain = design_rain(site.rain, table, site.rules)
    prices = default_prices() if site.prices is None else read_prices(site.prices.file)
    pump = None
    if site.pump is not None:
        points = read_pump_points(site.pump.curve)
        pump_curve(points.flow, points.head)
        pump = (points.flow, points.head)
    warnings: tuple[Said, ...] = (
        *opened.source.warnings, *opened.layers.warnings, *prices.warnings, *rain.notes, *_assumed(opened),
    )
    return LotInputs(opened, rain, prices, pump, warnings)


def check_site(path: Path) -> tuple[Units, tuple[Said, ...]]:
    """Check all inputs of a site and tell what a run would do with them.

    Parameters
    ----------
    path : Path
        The site file.

    Returns
    -------
    units : str
        us or si, as the site file asks.
    told : tuple of Said
        The resolved plan, a line each.

    Raises
    ------
    LotshedError
        If anything cannot be used.
    """
    lot = open_lot(path)
    opened = lot.opened
    source, site = opened.source, opened.site
    return site.units, (
        reason("dry_run_readable", site=site.name),
        reason(
            "dry_run_ground", file=str(source.path), cell_width=source.cell_width, cell_height=source.cell_height,
            unit=source.vertical.unit, told_by=source.vertical.told_by, error=opened.rmse,
        ),
        reason("dry_run_map", crs=source.grid.frame.crs.name),
        *(reason("dry_run_layer", key=layer.key, layer=layer.words) for layer in opened.layers.sources),
        reason("dry_run_storm", storm=lot.rain.storm.name, depth=lot.rain.storm.depth),
        reason("dry_run_pump_and_prices", pump_given=lot.pump is not None, prices_given=site.prices is not None),
        *(reason("dry_run_warning", warning=warning) for warning in lot.warnings),
    )


def screen_lot(path: Path, *, progress: Progress = lambda text, done: None, self_check: bool = False) -> Findings:
    """Screen one lot: read the ground, follow the water, propose works, and say how sure that is.

    Parameters
    ----------
    path : Path
        The site file.
    progress : callable
        Told in words what is being done, and how far it is: 0 to 1, None for a note. [-]
    self_check : bool
        Also hold our own drainage against pysheds.

    Returns
    -------
    Findings
        For the rooms that write it down.

    Raises
    ------
    LotshedError
        If anything that the site names cannot be used.
    """
    progress("reading the site file and what it names", 0.02)
    lot = open_lot(path)
    if compiles_first():
        progress(COMPILING, None)
    progress("reading the ground and growing the window", 0.1)
    opened = lot.opened
    surface, ground = read_lot_ground(opened, lambda window: _drains_to_lot(window, opened))
    progress("following the water", 0.3)
    drainage = with_pysheds(drain_ground(ground))
    if self_check:
        progress("holding our own drainage against pysheds", 0.35)
        _self_check(drainage)
    spots = site_low_spots(drainage, opened.site.rules, prefix="low-")
    progress("diagnosing the lot in the design storm, and planning", 0.5)
    situation = describe_lot(opened.site, opened.layers, drainage, spots, opened.rmse, shots=_shots(opened))
    reckoning = _reckoning(lot, situation, ground)
    planned = plan_lot(
        PlanInputs(
            opened.site,
            opened.layers,
            situation,
            reckoning,
            lot.prices,
            None if lot.pump is None else pump_curve(*lot.pump),
        )
    )
    progress("running the other storms of the table", 0.85)
    storms = other_storms(situation, reckoning, planned, planned.capacities)
    progress("gathering the findings", 0.95)
    warnings: list[Said] = [*lot.warnings, *(said for said in surface.warnings if said not in lot.warnings)]
    warnings += find_misfits(situation, opened.layers)
    warnings += when_all_is_clogged(situation, planned, storms[-1])
    return _findings(lot, situation, reckoning, planned, storms, tuple(warnings))


def _check_names(site: SiteFile) -> None:
    """Names in the site file that other rooms look up: found before the work, with the file and key."""
    try:
        key = "[soil] cover"
        surface_of(site.soil.cover or COVER)
        key = "[layout] pipe"
        if site.layout.pipe:
            find_pipe(site.layout.pipe)
    except LotshedError as error:
        raise SiteFileError(f"site file {site.path}: {key}: {error}") from None


def _assumed(opened: SiteInputs) -> Iterator[Said]:
    """What is missing in the site file and what is assumed for it."""
    site, layers = opened.site, opened.layers
    if site.elevation.rmse is None:
        yield reason("assumed_lidar_error", error=opened.rmse)
    if site.soil.group is None and site.soil.source is None:
        yield reason("assumed_soil", group=SOIL_GROUP, cover=site.soil.cover or COVER)
    elif site.soil.source is not None:
        bare = layers.parcel.difference(layers.soils.union_all()).area / layers.parcel.area
        if bare > 0.01:
            yield reason("assumed_soil_outside", share=float(bare), group=SOIL_GROUP)
    if site.soil.compacted:
        yield reason("assumed_compacted")
    if site.roofs is None:
        yield reason("missing_roofs")
    else:
        own = layers.roofs[layers.roofs.intersects(layers.parcel)]
        if site.house.foundation is None and not (own["foundation"] != "").any():
            yield reason("missing_foundation", distance=site.rules["stone_wall_offset"].likely)
        if site.downspouts is None:
            yield reason("missing_downspouts")
    if site.hardscape is None:
        yield reason("missing_hardscape")
    if site.right_of_way is None:
        yield reason("missing_right_of_way")
    if site.outfalls is None:
        yield reason("missing_outfalls")
    if site.utilities is None:
        yield reason("missing_utilities")
    if site.elevation.flown is None:
        yield reason("missing_flown")


def _drains_to_lot(window: Ground, opened: SiteInputs) -> BoolArray:
    drainage = drain_ground(window)
    return studied_ground(drainage, parcel_cells(opened.layers.parcel, drainage))


def _self_check(drainage: Drainage) -> None:
    differences = self_check(drainage)
    if differences:
        # no fault of the input, so no error of ours that blames it
        raise RuntimeError("our drainage and pysheds differ on this ground: " + "; ".join(differences))


def _reckoning(lot: LotInputs, situation: Situation, ground: Ground) -> Reckoning:
    site, layers = lot.opened.site, lot.opened.layers
    group = (site.soil.group or SOIL_GROUP).upper()
    surfaces: SurfaceMap = map_surfaces(
        situation.grid,
        cover=site.soil.cover or COVER,
        roofs=ground.kind == ROOF,
        paving=[
            (shape, "gravel" if "gravel" in str(kind).lower() else "paved")
            for shape, kind in zip(layers.hardscape.geometry, layers.hardscape["kind"], strict=True)
        ],
        soils=list(zip(layers.soils.geometry, layers.soils["group"], strict=True)),
        default_group=group,
    )
    return Reckoning(
        surfaces, lot.rain, site.soil.compacted, travel_rules(site.rules), site.rules["standing_followed"].likely
    )


def _findings(
    lot: LotInputs,
    situation: Situation,
    reckoning: Reckoning,
    planned: LotPlan,
    storms: tuple[OtherStorm, ...],
    warnings: tuple[Said, ...],
) -> Findings:
    opened = lot.opened
    site, layers, grid = opened.site, opened.layers, situation.grid
    before, after = planned.diagnosis.water, planned.water
    group = (site.soil.group or SOIL_GROUP).upper()
    soaking = infiltration_rate(group, compacted=site.soil.compacted)
    excess = excess_by_cell(planned.diagnosis.division, before, reckoning.surfaces)
    studied_roofs = (situation.drainage.ground.kind == ROOF) & situation.on_parcel
    bounds = runoff_bounds(after.runoff)
    parameters: tuple[tuple[Said, Said, str], ...] = (
        (reason("parameter_storm"), lot.rain.storm.name, ""),
        (
            reason("parameter_runoff_bounds"),
            reason("runoff_bounds", dry=bounds.dry, wet=bounds.wet),
            "published: NRCS, antecedent runoff conditions I and III",
        ),
        (reason("parameter_soaking"), reason("soaking_rate", rate=soaking.likely), soaking.source),
    )
    return Findings(
        name=site.name,
        version=version("lotshed"),
        units=site.units,
        frame=grid.frame,
        parcel=layers.parcels,
        roofs=layers.roofs,
        hardscape=layers.hardscape,
        ground=situation.drainage.ground.elevation,
        grid=grid,
        inputs=tuple(
            InputFile(read.key, read.file, read.sha256, read.crs, read.cell_size)
            for read in input_files(site, opened.source, layers)
        ),
        studied_area=float(np.count_nonzero(situation.studied)) * grid.cell_area,
        parcel_area=float(layers.parcel.area),
        run_on_area=float(np.count_nonzero(situation.studied & ~situation.on_parcel)) * grid.cell_area,
        roof_area=float(np.count_nonzero(studied_roofs)) * grid.cell_area,
        flow_paths=flow_paths_of(situation),
        low_spots=low_spots_of(
            situation, planned.diagnosis.places, planned.diagnosis.troubles, before, after, excess,
            lambda spot: infiltration_rate(
                group_at(reckoning.surfaces, spot.cells), compacted=reckoning.compacted
            ).likely,
            _spills_above(situation, planned),
        ),
        runoff=after.runoff,
        plan=planned.plan,
        balance=Balance(after.rain, after.soaked, after.left, after.stands, after.collected),
        leaving=leaving_of(before, after, planned.served, planned.limits),
        warnings=(*warnings, *planned.plan.warnings),
        cautions=tuple(
            Caution(name, text)
            for name, text in cautions_for(planned.plan, septic_or_well=_septic_or_well(opened))
        ),
        parameters=parameters,
        rules=situation.rules,
        vertical_datum=_datum(opened),
        storms=storms_of(storms),
        edges=edges_by_storm(
            situation, reckoning, storms, None if planned.reshaped is None else planned.reshaped.situation
        ),
        hydrographs=hydrographs_of(after, [site.id for site in planned.built.sites]),
        pumps=pumps_of(
            planned.lifts,
            pump_curve(*lot.pump) if lot.pump is not None else assumed_curve(site.rules),
            given=lot.pump is not None,
        ),
        benchmark=_benchmark(opened, situation),
        levels_given=opened.shots is not None,
        fall_to_spare=planned.spare,
    )


def _spills_above(situation: Situation, planned: LotPlan) -> dict[str, float]:
    """Rain above which each low spot spills, by what drains to it directly. [m]"""
    found: dict[str, float] = {}
    division, water = planned.diagnosis.division, planned.diagnosis.water
    for spot in situation.counted_spots:
        shares = [
            share
            for region, row in zip(division.regions, water.runoff, strict=True)
            if region.place == spot.id
            for share in row.shares
        ]
        rain = rain_that_fills(spot.volume, shares) if shares and spot.volume > 0.0 and not spot.enclosed else None
        if rain is not None:
            found[spot.id] = rain
    return found


def _benchmark(opened: SiteInputs, situation: Situation) -> Benchmark | None:
    """What a crew tells grades from: the first level shot, else the sill."""
    if opened.shots is not None:
        return Benchmark(reason("benchmark_shot", point=opened.shots.points[0]), float(opened.shots.heights[0]), True)
    if situation.floor is not None:
        return Benchmark(reason("benchmark_sill"), situation.floor, False)
    return None


def _shots(opened: SiteInputs) -> tuple[Point, ...]:
    read = opened.shots
    return () if read is None else tuple(Point(*each) for each in zip(read.x, read.y, read.heights, strict=True))


def _septic_or_well(opened: SiteInputs) -> bool:
    kinds = opened.layers.keep_out["kind"].str.lower()
    return bool(kinds.str.contains("septic|well").any())


def _datum(opened: SiteInputs) -> Said:
    if opened.shots is not None:
        return reason("datum_of_shots")
    crs = opened.source.crs
    vertical = [part.name for part in crs.sub_crs_list if part.is_vertical] if crs.is_compound else []
    return vertical[0] if vertical else reason("datum_not_said")
