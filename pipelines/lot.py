"""The main job: from a site file to everything that is found and proposed on one lot."""

from collections.abc import Callable
from contextlib import nullcontext
from functools import partial
from importlib.metadata import version
from pathlib import Path

import numpy as np
from rasterio import Env

from pipelines.compile_first import compile_beside
from pipelines.deliverables.findings.crossings import crossing_points
from pipelines.deliverables.findings.gathering import (
    given_near,
    held_upslope,
    hydrographs_of,
    leaving_of,
    lift_hydrographs,
    pumps_of,
    storms_of,
    suspected_of,
)
from pipelines.deliverables.findings.lot import Balance, Benchmark, Caution, Findings, InputFile
from pipelines.deliverables.findings.possible import not_needed_on, possible_troubles
from pipelines.get_ready import get_ready
from pipelines.hydraulics.pumping.pump_curve import pump_curve
from pipelines.hydrology.runoff_table import runoff_bounds
from pipelines.hydrology.surfaces import infiltration_rate
from pipelines.inputs.input_files import input_files
from pipelines.inputs.site_ground import SiteInputs
from pipelines.layout.diagnosis.lot_water import outlined
from pipelines.layout.diagnosis.misfits import find_misfits
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.other_storms import when_all_is_clogged
from pipelines.layout.plan import Said
from pipelines.layout.quantities.cautions import cautions_for
from pipelines.layout.storm_by_storm import edges_by_storm
from pipelines.layout.ways.lift_design import assumed_curve
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import STAGES, LotStages
from terrain.beside import beside, two_may_work
from terrain.first_run import compiles_first, compiling_words
from terrain.flow.drainage import Drainage
from terrain.flow.pysheds_adapter import same_by_pysheds, self_check
from terrain.ground import ROOF
from terrain.reason import reason

Progress = Callable[[str, float | None], None]

TOLD = {stage: (doing, done) for stage, doing, done in STAGES}


def screen_lot(
    path: Path,
    *,
    progress: Progress = lambda text, done: None,
    self_check: bool = False,
    grounds: int | None = None,
    traced: Path | None = None,
    chosen_alone: bool = False,
) -> Findings:
    """Screen one lot: read the ground, follow the water, propose works, and say how sure that is.

    Parameters
    ----------
    path : Path
        The site file.
    progress : callable
        Told in words what is being done, and how far it is: 0 to 1, None for a note. [-]
    self_check : bool
        Also hold our own drainage against pysheds.
    grounds : int, optional
        How many of the grounds that lidar allows the answer is tried on, in place of what the site file says; 1 takes
        the raster as it is. [-]
    traced : Path, optional
        A drawing that is read in the place of the one that the site file names.
    chosen_alone : bool
        Tell no way off the lot beside the chosen one, which costs less time.

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
    lot = open_lot(path, grounds=grounds, traced=traced)
    first = compiles_first()
    if first:
        progress(compiling_words(), None)
        compile_beside()
    # once for all: each shape that is burnt into cells would set up its own
    with Env.from_defaults():
        stages = LotStages(lot, beside_pysheds=False, chosen_alone=chosen_alone)
        _run(stages, progress, end="drainage")
        if self_check:
            progress("holding our own drainage against pysheds", 0.35)
            _self_check(stages.drainage)
        _run(stages, progress, end="low_spots")
        # what both need
        _ = stages.situation
        with beside(lambda: stages.looks) as looks:
            _run(stages, progress, end="places_on_grounds")
            # on a first run other processes compile what this would load
            if two_may_work() and not first:
                get_ready()
            progress(*TOLD["looks"])
            stages.take_looks(looks())
        compare = partial(same_by_pysheds, stages.drainage)
        # where pysheds has run here already, its threads do not live on in a child
        with nullcontext(compare) if self_check else beside(compare) as same:
            _run(stages, progress)
            agree = same()
        if not agree:
            stages = LotStages(lot, chosen_alone=chosen_alone)
            _run(stages, progress)
    progress("gathering the findings", 0.95)
    return findings_of(stages)


def _run(stages: LotStages, progress: Progress, *, end: str = STAGES[-1][0]) -> None:
    """Run the stages that were not run yet, to one of them."""
    for stage, told in TOLD.items():
        if stage not in vars(stages):
            progress(*told)
            getattr(stages, stage)
        if stage == end:
            return


def _self_check(drainage: Drainage) -> None:
    differences = self_check(drainage)
    if differences:
        # no fault of the input, so no error of ours that blames it
        raise RuntimeError("our drainage and pysheds differ on this ground: " + "; ".join(differences))


def findings_of(stages: LotStages) -> Findings:
    """All that is handed over of the stages of one lot."""
    lot, situation, planned = stages.lot, stages.situation, stages.planned
    opened = lot.opened
    warnings: list[Said] = [*lot.warnings, *(said for said in stages.ground[0].warnings if said not in lot.warnings)]
    warnings += find_misfits(situation, opened.layers)
    warnings += when_all_is_clogged(situation, planned, stages.storms[-1])
    site, layers, grid = opened.site, opened.layers, situation.grid
    before, after = planned.diagnosis.water, planned.water
    group = (site.soil.group or site.rules["default_soil_group"].name).upper()
    soaking = infiltration_rate(group, compacted=site.soil.compacted)
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
        passing_area=stages.passing_area,
        spots_upslope=0 if situation.upslope is None else len(situation.upslope.spots),
        held_upslope=held_upslope(after.runoff),
        roof_area=float(np.count_nonzero(studied_roofs)) * grid.cell_area,
        flow_paths=stages.flow_paths,
        low_spots=stages.standing(after),
        runoff=outlined(after.runoff, planned.division),
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
        storms=storms_of(stages.storms),
        edges=edges_by_storm(
            situation, stages.storms,
            None if planned.reshaped is None else planned.reshaped.situation,
        ),
        hydrographs=(
            *hydrographs_of(after, [site.id for site in planned.built.sites]), *lift_hydrographs(planned.lifts),
        ),
        pumps=pumps_of(
            planned.lifts,
            pump_curve(*lot.pump) if lot.pump is not None else assumed_curve(site.rules),
            given=lot.pump is not None,
        ),
        benchmark=_benchmark(opened, situation),
        levels_given=opened.shots is not None,
        fall_to_spare=stages.fall_to_spare,
        odds_of_fall=stages.odds_of_fall,
        outfall_looks=planned.looks,
        picture=opened.picture,
        given=given_near(layers, layers.parcel.buffer(situation.rules["surroundings"].likely)),
        suspected_culverts=suspected_of(planned.looks, stages.unseen),
        hidden_culverts=stages.unseen,
        not_needed_on=not_needed_on(stages.places_on_grounds, planned.diagnosis.troubles),
        possible=possible_troubles(stages.places_on_grounds, stages.places, planned.diagnosis.troubles,
                                   called_from=situation.rules["called_from"].likely),
        crossings=crossing_points(planned.plan.pipe_runs, layers.utilities),
    )


def _benchmark(opened: SiteInputs, situation: Situation) -> Benchmark | None:
    """What a crew tells grades from: the first level shot, else the sill."""
    if opened.shots is not None:
        return Benchmark(reason("benchmark_shot", point=opened.shots.points[0]), float(opened.shots.heights[0]), True)
    if situation.floor is not None:
        return Benchmark(reason("benchmark_sill"), situation.floor, False)
    return None


def _septic_or_well(opened: SiteInputs) -> bool:
    kinds = opened.layers.keep_out["kind"].str.lower()
    return bool(kinds.str.contains("septic|well").any())


def _datum(opened: SiteInputs) -> Said:
    if opened.shots is not None and not opened.shots.own_datum:
        return reason("datum_of_shots")
    crs = opened.source.crs
    vertical = [part.name for part in crs.sub_crs_list if part.is_vertical] if crs.is_compound else []
    return vertical[0] if vertical else reason("datum_not_said")
