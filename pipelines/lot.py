"""The main job: from a site file to everything that is found and proposed on one lot."""

from collections.abc import Callable
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
from pipelines.hydrology.design_rain import DesignRain, rain_assumed, rain_from_table, rain_given
from pipelines.hydrology.low_spot_ponds import rain_that_fills
from pipelines.hydrology.runoff_table import runoff_bounds
from pipelines.hydrology.surface_map import SurfaceMap, group_at, map_surfaces
from pipelines.hydrology.surfaces import infiltration_rate, surface_of
from pipelines.inputs.errors import SiteFileError
from pipelines.inputs.input_files import input_files
from pipelines.inputs.site_file import SiteFile
from pipelines.inputs.site_ground import SiteInputs, open_site, read_lot_ground, shots_in_words
from pipelines.inputs.tables.prices import Prices, default_prices, read_prices
from pipelines.inputs.tables.pump_points import read_pump_points
from pipelines.inputs.tables.rain_table_file import read_rain_table
from pipelines.layout.diagnosis.diagnose import Reckoning
from pipelines.layout.diagnosis.division import parcel_cells, studied_ground
from pipelines.layout.diagnosis.lot_water import excess_by_cell
from pipelines.layout.diagnosis.misfits import find_misfits
from pipelines.layout.diagnosis.situation import Situation, describe_lot
from pipelines.layout.other_storms import OtherStorm, other_storms, when_all_is_clogged
from pipelines.layout.planner import LotPlan, PlanInputs, plan_lot
from pipelines.layout.quantities.cautions import cautions_for
from pipelines.layout.ways.lift_design import assumed_curve
from terrain.arrays import BoolArray
from terrain.errors import LotshedError
from terrain.first_run import COMPILING, compiles_first
from terrain.flow.drainage import Drainage, drain_ground
from terrain.flow.lot_ground import refuse_unfit
from terrain.flow.low_spots import find_low_spots
from terrain.flow.pysheds_adapter import self_check, with_pysheds
from terrain.ground import ROOF, Ground

Progress = Callable[[str, float | None], None]

RETURN_PERIOD = 10.0
"""Design storm where a rain table is given without a return period. [yr]"""
SOIL_GROUP = "C"
COVER = "lawn, fair"


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
    warnings : tuple of str
        What was assumed.
    """

    opened: SiteInputs
    rain: DesignRain
    prices: Prices
    pump: "tuple[np.ndarray, np.ndarray] | None"
    warnings: tuple[str, ...]


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
    refuse_unfit(opened.source, opened.layers.parcel)
    _check_names(site)
    rain, assumed = _rain(site)
    prices = default_prices() if site.prices is None else read_prices(site.prices.file)
    pump = None
    if site.pump is not None:
        points = read_pump_points(site.pump.curve)
        pump_curve(points.flow, points.head)
        pump = (points.flow, points.head)
    warnings = (*opened.source.warnings, *opened.layers.warnings, *prices.warnings, *assumed, *_assumed(opened))
    return LotInputs(opened, rain, prices, pump, warnings)


def check_site(path: Path) -> str:
    """Check all inputs of a site and say what a run would do with them.

    Parameters
    ----------
    path : Path
        The site file.

    Returns
    -------
    str
        The resolved plan, a line each.

    Raises
    ------
    LotshedError
        If anything cannot be used.
    """
    lot = open_lot(path)
    opened = lot.opened
    source, site = opened.source, opened.site
    layers = [f"{layer.key}: {layer.words}" for layer in opened.layers.sources]
    lines = [
        f"{site.name}: all inputs can be read.",
        f"ground: {source.path}, cells {source.cell_width:.3g} x {source.cell_height:.3g} m, heights in "
        f"{source.vertical.unit} ({source.vertical.told_by}), lidar error {opened.rmse * 100.0:.0f} cm",
        f"map: {source.grid.frame.crs.name}",
        *layers,
        f"design storm: {lot.rain.storm.name}, {lot.rain.storm.depth * 1000.0:.0f} mm "
        f"({lot.rain.storm.depth / 0.0254:.2f} in)",
        f"pump curve: {'as given' if lot.pump is not None else 'assumed'}; prices: "
        f"{'as given over the defaults' if site.prices is not None else 'defaults'}",
        *(f"warning: {warning}" for warning in lot.warnings),
    ]
    return "\n".join(lines)


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
    surface, ground, fit = read_lot_ground(opened, lambda window: _drains_to_lot(window, opened))
    progress("following the water", 0.3)
    drainage = with_pysheds(drain_ground(ground))
    if self_check:
        progress("holding our own drainage against pysheds", 0.35)
        _self_check(drainage)
    spots = find_low_spots(drainage, rmse=opened.rmse, prefix="low-")
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
    warnings = [*lot.warnings, *(text for text in surface.warnings if text not in lot.warnings)]
    if fit is not None and opened.shots is not None:
        warnings += shots_in_words(fit, opened.shots)
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


def _rain(site: SiteFile) -> tuple[DesignRain, tuple[str, ...]]:
    rain = site.rain
    assumed: list[str] = []
    if rain.table is not None:
        table = read_rain_table(rain.table)
        years = rain.return_period
        if years is None:
            years = RETURN_PERIOD
            assumed.append(f"no return period is given: {years:g} years are taken")
        design = rain_from_table(table, years, distribution=rain.distribution or "nested")
    elif rain.depth is not None and rain.duration is not None:
        design = rain_given(rain.depth, rain.duration)
    else:
        design = rain_assumed()
    return design, (*assumed, *design.notes)


def _assumed(opened: SiteInputs) -> list[str]:
    """What is missing in the site file and what is taken for it."""
    site, layers = opened.site, opened.layers
    said: list[str] = []
    if site.elevation.rmse is None:
        said.append(f"no accuracy of the lidar is given: {opened.rmse * 100.0:.0f} cm are taken")
    if site.soil.group is None and site.soil.source is None:
        said.append(f"no soil is given: hydrologic group {SOIL_GROUP} under {site.soil.cover or COVER} is taken")
    elif site.soil.source is not None:
        bare = layers.parcel.difference(layers.soils.union_all()).area / layers.parcel.area
        if bare > 0.01:
            said.append(f"the soils given leave {bare:.0%} of the lot out: group {SOIL_GROUP} is taken there")
    if site.soil.compacted:
        said.append("the soil of a built lot is taken one hydrologic group worse than mapped (soil.compacted)")
    if site.roofs is None:
        said.append("no roofs are given: the ground can be read, but no works are sited against a house")
    else:
        own = layers.roofs[layers.roofs.intersects(layers.parcel)]
        if site.house.foundation is None and not (own["foundation"] != "").any():
            said.append("no foundation is given: stone is kept 4 ft off the house, as from a crawl space or basement")
        if site.downspouts is None:
            said.append("no downspouts are given: roof water is taken to drip along the eaves")
    if site.hardscape is None:
        said.append("no hardscape is given: nothing marks what must stay dry but the house")
    if site.right_of_way is None:
        said.append("no right of way is given: nobody can tell a neighbour's ground from the street's")
    if site.outfalls is None:
        said.append("no outfall is given: places beyond the frontage are looked for, and none of them is verified")
    if site.utilities is None:
        said.append("no utilities are given: lines in the ground are not known")
    if site.elevation.flown is None:
        said.append("the year of the lidar is not given: if house or grading are newer, it shows another lot")
    return said


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
    return Reckoning(surfaces, lot.rain, site.soil.compacted)


def _findings(
    lot: LotInputs,
    situation: Situation,
    reckoning: Reckoning,
    planned: LotPlan,
    storms: tuple[OtherStorm, ...],
    warnings: tuple[str, ...],
) -> Findings:
    opened = lot.opened
    site, layers, grid = opened.site, opened.layers, situation.grid
    before, after = planned.diagnosis.water, planned.water
    group = (site.soil.group or SOIL_GROUP).upper()
    soaking = infiltration_rate(group, compacted=site.soil.compacted)
    excess = excess_by_cell(planned.diagnosis.division, before, reckoning.surfaces)
    studied_roofs = (situation.drainage.ground.kind == ROOF) & situation.on_parcel
    bounds = runoff_bounds(after.runoff)
    parameters = (
        *situation.rules.in_words(),
        ("design storm", lot.rain.storm.name, ""),
        (
            "runoff of the studied ground, on dry and on wet soil",
            f"{bounds.dry:.1f} to {bounds.wet:.1f} m3",
            "published: NRCS, antecedent runoff conditions I and III",
        ),
        ("soaking of standing water", f"{soaking.likely * 3.6e6:.1f} mm/h", soaking.source),
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
        vertical_datum=_datum(opened),
        storms=storms_of(storms),
        hydrographs=hydrographs_of(after, [site.id for site in planned.built.sites]),
        pumps=pumps_of(
            planned.lifts,
            pump_curve(*lot.pump) if lot.pump is not None else assumed_curve(),
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
        return Benchmark(f"level shot {opened.shots.points[0]!r}", float(opened.shots.heights[0]), True)
    if situation.floor is not None:
        return Benchmark("sill of the house", situation.floor, False)
    return None


def _shots(opened: SiteInputs) -> tuple[Point, ...]:
    read = opened.shots
    return () if read is None else tuple(Point(*each) for each in zip(read.x, read.y, read.heights, strict=True))


def _septic_or_well(opened: SiteInputs) -> bool:
    kinds = opened.layers.keep_out["kind"].str.lower()
    return bool(kinds.str.contains("septic|well").any())


def _datum(opened: SiteInputs) -> str:
    if opened.shots is not None:
        return "the datum of the level shots"
    crs = opened.source.crs
    vertical = [part.name for part in crs.sub_crs_list if part.is_vertical] if crs.is_compound else []
    return vertical[0] if vertical else "not said by the raster"
