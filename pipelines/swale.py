"""The reviewer's job: from a site file to whether its swales take what comes to them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np
import shapely
from shapely import Point, box

from pipelines.deliverables.findings.gathering import given_near
from pipelines.deliverables.findings.lot import Caution, InputFile
from pipelines.deliverables.findings.swale import (
    AddedDischarge,
    LotShare,
    LotSum,
    SideGround,
    SwaleFinding,
    SwaleFindings,
)
from pipelines.hydrology.along_swale import SwaleFlow
from pipelines.hydrology.lot_balance import runoff_volumes
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.inputs.input_files import input_files
from pipelines.inputs.lot_results import LotResult
from pipelines.layout.quantities.cautions import swale_cautions
from pipelines.layout.swale.case import (
    Progress,
    SwaleCase,
    closed_by_ground,
    divide_case,
    filling_of,
    measure_case,
    open_swales,
    rain_of,
)
from pipelines.layout.swale.discharges import WhatIf, lot_results, place_discharges
from pipelines.layout.swale.filling import Filling
from pipelines.layout.swale.hidden_banks import SwaleBank, opened_banks, told_banks
from pipelines.layout.swale.judgement import ReachFinding, judge_crossings, judge_reaches
from pipelines.layout.swale.levels import SwaleLevels, level_series, overtops, swale_levels, with_still_water
from pipelines.layout.swale.lot_names import names_of, told_apart
from pipelines.layout.swale.outlets import SwaleOutlet, judge_outlet
from pipelines.layout.swale.remedies.culvert_remedy import culvert_remedy
from pipelines.layout.swale.remedies.recut_stretches import RecutStretch, priced_stretches, recut_swale
from pipelines.layout.swale.site import SwaleSite
from pipelines.layout.swale.standing import SwalePond, standing_along, still_level
from pipelines.layout.swale.water import (
    PointDischarge,
    SwaleWater,
    lot_shares,
    side_areas,
    swale_flows,
)
from terrain.arrays import FloatArray
from terrain.flow.cells_to_polygons import label_polygons
from terrain.reason import Reason, reason
from terrain.unit_table import Units

__all__ = ["CheckPlan", "WhatIf", "check_swale", "plan_of_check"]

_RANK = {"short": 3, "holds_water": 2, "cannot_tell": 1, "takes_it": 0}
# beside those of the swale itself
_RULES_USED = (
    "n_swale", "outlet_above_swale", "tolerable_lawn_depth", "tolerable_lawn_time", "lidar_rmse",
    "default_return_period", "least_time_of_concentration", "longest_sheet_flow", "flat_slope", "flat_slope_added",
    "pond_on_path", "pipe_crew", "waste_pipe", "waste_stone", "stone_density", "basin_bed", "swell_earth",
    "set_up_hours", "overhead_and_profit", "contingency",
)  # fmt: skip
_KINDS_USED = ("swale_", "embankment_")


@dataclass(frozen=True, slots=True)
class CheckPlan:
    """What a check would do, and in which units its reader reads."""

    units: Units
    steps: tuple[Reason, ...]


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
        Told each stage and the share of the work that is done. [-]
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
    opened = open_swales(site_path)
    rain = rain_of(opened.inputs, opened.rules)
    results = lot_results(opened.inputs, lots)
    case = measure_case(opened, tell)
    discharges, outlets = place_discharges(case, results, add_discharges)
    tell("following the water", 0.5)
    water = divide_case(case, rain, [shape for result in results for shape in result.piped])
    flows = swale_flows(water, rain, discharges, case.velocities)
    storms = {
        years: swale_flows(water, other, discharges, case.velocities)
        for years, other in sorted(rain.of_other_periods().items())
    }
    tell("finding levels", 0.7)
    areas = side_areas(water)
    found = []
    for position, site in enumerate(case.sites):
        side = SideGround(**areas[position])
        by_storm = {
            years: swale_levels(site, each[position].peak, case.rules, downstream_level=case.downstream_level)
            for years, each in storms.items()
        }
        sums = _lot_sums(case, position, rain, results, discharges)
        found.append(
            swale_finding(case, position, site, side, flows[position], by_storm, outlets[position], sums, rain)
        )
        tell("finding levels", 0.7 + 0.3 * (position + 1) / len(case.sites))
    return findings_of_swales(case, rain, water, discharges, tuple(found))


def plan_of_check(site_path: Path, *, lots: Path | None = None) -> CheckPlan:
    """Check all inputs of a check and say what it would do, without reading the ground.

    Parameters
    ----------
    site_path : Path
        The site file.
    lots : Path, optional
        A folder of screened lots.

    Returns
    -------
    CheckPlan
        Each thing that would be done.

    Raises
    ------
    LotshedError
        If an input cannot be used; the message says what, where and what to do.
    """
    opened = open_swales(site_path)
    inputs = opened.inputs
    rain = rain_of(inputs, opened.rules)
    site, raster = inputs.site, inputs.source.path.name
    steps = [reason("swale_plan", site=site.name, count=len(opened.lines), raster=raster)]
    for line, name, own in zip(opened.lines, opened.names, opened.culverts, strict=True):
        steps.append(reason("swale_plan_line", name=name, length=line.length, culverts=len(own)))
    steps.append(
        reason("swale_plan_rain", years=rain.return_period, depth=rain.storm.depth, others=len(rain.of_other_periods()))
    )
    names = tuple(result.name for result in lot_results(inputs, lots))
    steps.append(reason("swale_plan_discharges", lots=names))
    return CheckPlan(site.units, tuple(steps))


def _lot_sums(
    case: SwaleCase,
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
    site = case.sites[position]
    asked = [each for each in discharges if not each.lot]
    sums = []
    for count in range(len(here) + 1):
        within = here[:count]
        added = [each for each in discharges if each.lot in {result.name for result in within}]
        water = divide_case(case, rain, [shape for result in within for shape in result.piped])
        flow = swale_flows(water, rain, [*asked, *added], case.velocities)[position]
        levels = swale_levels(site, flow.peak, case.rules, downstream_level=case.downstream_level)
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


def swale_finding(
    case: SwaleCase,
    position: int,
    site: SwaleSite,
    side: SideGround,
    flow: SwaleFlow,
    by_storm: Mapping[float, SwaleLevels],
    outlets: Sequence[SwaleOutlet],
    sums: tuple[LotSum, ...],
    rain: DesignRain,
) -> SwaleFinding:
    """One swale with the design storm's flow and the levels of the table's storms, from the lightest to the heaviest,
    judged at every reach, drive and outlet."""
    level_at = case.downstream_level

    def fillings(point: Point) -> Filling | None:
        spot = closed_by_ground(case, site, point)
        return None if spot is None else filling_of(case, rain, spot)

    levels = swale_levels(site, flow.peak, case.rules, downstream_level=level_at)
    ponds = standing_along(
        site, case.drainage, case.spots, flow.volume, rules=case.rules, soaking_rate=case.soaking_rates[position]
    )
    for pond in ponds:
        filling = fillings(shapely.line_interpolate_point(shapely.force_2d(site.thalweg.line), pond.deepest))
        if filling is not None:
            levels = with_still_water(site, levels, pond.start, pond.end, float(filling.stage[-1]))
    firsts = [
        next((years for years, each in by_storm.items() if overtops(site, each, reach)), None)
        for reach in site.reaches
    ]
    reaches = judge_reaches(site, levels, case.capacities[position], ponds, firsts, case.rules, cover=case.cover)
    series = np.zeros((0, 0))
    if outlets:
        series = level_series(
            site, flow.flow, case.rules, standing=still_level(site, ponds), downstream_level=level_at
        )
    found = tuple(
        judge_outlet(
            site, outlet, reaches, series, flow.flow, flow.step, case.rules, filling=fillings(Point(outlet.x, outlet.y))
        )
        for outlet in sorted(outlets, key=lambda each: each.station)
    )
    crossings = judge_crossings(site, levels)
    remedies = tuple(culvert_remedy(site, each, case.prices, case.rules) for each in crossings)
    worst = max(reaches, key=lambda each: (_RANK[each.verdict.answer], -each.room))
    over = [each for each in firsts if each is not None]
    return SwaleFinding(
        site, side, flow, levels, case.capacities[position], ponds, _pond_shapes(case, ponds), reaches,
        crossings, found, remedies, _recut(case, site, reaches), sums, min(over) if over else None,
        worst.verdict.answer, _why(worst), by_storm,
    )  # fmt: skip


def _why(worst: ReachFinding) -> Reason:
    reach = worst.reach
    return reason("swale_worst_reach", reach=reach.id, start=reach.start, end=reach.end, why=worst.verdict.why)


def _recut(case: SwaleCase, site: SwaleSite, reaches: Sequence[ReachFinding]) -> tuple[RecutStretch, ...]:
    keeping = [
        (each.reach.first, each.reach.last)
        for each in reaches
        if each.verdict.answer == "holds_water" or each.against_grade
    ]
    stretches = recut_swale(site, case.inputs.layers.utilities, keeping, case.rules)
    return priced_stretches(stretches, case.prices, case.rules)


def _pond_shapes(case: SwaleCase, ponds: Sequence[SwalePond]) -> tuple[shapely.Geometry, ...]:
    shapes = []
    for pond in ponds:
        labels = np.full(case.ground.grid.shape, -1, dtype=np.int64)
        wet = pond.spot.cells[case.ground.elevation.ravel()[pond.spot.cells] < pond.level]
        labels.ravel()[wet if len(wet) else pond.spot.cells] = 0
        shapes.append(label_polygons(labels, case.ground.grid)[0])
    return tuple(shapes)


def findings_of_swales(
    case: SwaleCase,
    rain: DesignRain,
    water: SwaleWater,
    discharges: Sequence[PointDischarge],
    found: tuple[SwaleFinding, ...],
    *,
    by_lot: bool = True,
    hidden: tuple[SwaleBank, ...] | None = None,
) -> SwaleFindings:
    """All that is handed over of swales that were judged, with what each lot sends over the surface if `by_lot`; banks
    that may hide a culvert are looked for where they are not given."""
    site = case.inputs.site
    added = tuple(
        AddedDischarge(each.id, each.flow, case.sites[each.swale].id, each.station) for each in discharges
    )
    piped = any(each.lot for each in discharges)
    notes = (reason("swale_lots_at_peak"),) if piped else ()
    if hidden is None:
        hidden = told_banks(case, opened_banks(case), [[pond.spot for pond in each.ponds] for each in found])
    files = input_files(site, case.inputs.source, case.inputs.layers)
    return SwaleFindings(
        name=site.name,
        version=version("lotshed"),
        units=site.units,
        frame=case.ground.grid.frame,
        grid=case.ground.grid,
        swales=found,
        lots=_lots(case, rain, water) if by_lot else (),
        discharges=added,
        return_period=rain.return_period,
        storm_depth=rain.storm.depth,
        freeboard=case.rules["swale_freeboard"].likely,
        rmse=case.inputs.rmse,
        inputs=tuple(InputFile(each.key, each.file, each.sha256, each.crs, each.cell_size) for each in files),
        warnings=(*case.warnings, *rain.notes, *notes, *(each.why for each in hidden)),
        cautions=tuple(Caution(id, text) for id, text in swale_cautions()),
        rules=tuple(rule for key, rule in case.rules.items() if key in _RULES_USED or key.startswith(_KINDS_USED)),
        vertical_datum=case.inputs.source.vertical_datum,
        ground=case.ground.elevation,
        hidden_culverts=hidden,
        picture=case.inputs.picture,
        given=given_near(case.inputs.layers, box(*case.ground.grid.bounds)),
    )


def _lots(case: SwaleCase, rain: DesignRain, water: SwaleWater) -> tuple[LotShare, ...]:
    depths: dict[int, FloatArray] = {
        inflow.stretch: runoff_volumes(case.surfaces, inflow.cells, inflow.shares, rain.storm.depth)
        for inflow in water.inflows
    }
    layer = case.inputs.layers.parcels
    parcels = list(zip(layer["id"], layer.geometry, strict=True))
    names = dict(zip(layer["id"], told_apart(names_of(layer), list(layer["id"])), strict=True))
    return tuple(
        LotShare(lot, names[lot], case.sites[swale].id, *numbers)
        for lot, swale, *numbers in lot_shares(water, parcels, depths)
    )
